"""The fewest boards for a set-out: an endless board for the bound, its shapes held while boards are counted out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator.columns import build
from estimator.layout_records import Effort
from estimator.setting_out import Job, Programme
from estimator.sharing import roll_length, with_strips_first
from estimator.solving import DONE, Hold, held, solve, values


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A solution on ``count`` boards; no layout of its kind does with fewer than ``bound``."""

    job: Job
    built: Programme
    value: Mapping[str, int]
    count: int
    bound: int


STRIPS = 5  # strips for small pieces tried when boards are counted out; the bound allows one for each piece
HOLD = 0.2  # work for the rest once a shape or a set-out is held; a tenth of this is usual
EASY = 0.985  # a roll this much shorter than the boards at hand can mostly be shared out over them
TRIED = 2  # shapes, and set-outs, of solutions of the endless board that are tried
HOLDS: tuple[tuple[Hold, int], ...] = (("shape", 2), ("set-out", 0))
# short tries of different kinds, then long ones: with or without a start, strength of the relaxation, share of the work
SEARCHES = (
    (True, 2, 0.05), (False, 2, 0.05), (False, 1, 0.05), (False, 0, 0.05),
    (True, 2, 0.2), (False, 2, 0.2), (False, 1, 0.2), (False, 0, 0.2),
)  # fmt: skip


def fewest(job: Job, effort: Effort, most: int) -> Found | None:
    """Return a solution with the fewest boards found, or None where the rules leave none.

    Parameters
    ----------
    job
        The set-out.
    effort
        Limits on the solver's work.
    most
        A count that another rule gives; where the search for a bound finds nothing, it starts there.
    """
    pitch = job.board.width_mm + job.rules.kerf_mm
    bound, guess, found = area_bound(job), most, None
    pool: list[dict[str, int]] = []
    for early in (True, False):
        roll = build(job, boards=None)
        status, solver = solve(
            roll,
            work=effort.bound,
            minimise=roll_length(roll, job.rules.kerf_mm),
            enough=(lambda value, bound: value < math.inf and _boards(value, pitch) <= _boards(bound, pitch))
            if early
            else None,
            pool=pool,
        )
        if status == "INFEASIBLE":
            return None
        if status not in DONE:
            break
        guess = max(1, _boards(solver.objective_value, pitch))
        bound = max(bound, _boards(solver.best_objective_bound, pitch))
        found = shapes_held(job, guess, pool)
        if found is not None:
            found = replace(found, bound=bound)
            break
        if status == "OPTIMAL":
            break
    counts = range(max(guess, bound), max(guess, most) + len(job.faces) + 2) if found is None else ()
    for count in counts:
        status, built, value = place(job, count, effort.place, pool)
        if value is not None:
            found = Found(job=job, built=built, value=value, count=count, bound=bound)
            break
        if status == "INFEASIBLE" and bound == count:
            bound += 1  # every strip that a piece could need was on offer, so this count is ruled out
    return None if found is None else _tidied(_with_fewer(found, effort), effort)


def _boards(length: float, pitch: int) -> int:
    return math.ceil((length - 1e-6) / pitch)


def _with_fewer(found: Found, effort: Effort) -> Found:
    """Return a solution with fewer boards as long as one is found, and the bound as far as it can be raised."""
    job = found.job
    pitch = job.board.width_mm + job.rules.kerf_mm
    while found.count > found.bound:
        fewer = found.count - 1
        roll = build(job, boards=None)
        length = roll_length(roll, job.rules.kerf_mm)
        roll.model.add(length <= fewer * pitch)
        pool: list[dict[str, int]] = []
        status, _ = solve(
            roll,
            work=effort.prove,
            minimise=length,
            enough=lambda value, _, most=fewer * pitch: value <= EASY * most,  # type: ignore[misc]
            pool=pool,
        )
        if status in DONE:
            status, built, value = place(job, fewer, effort.place / 2, pool)
            if value is not None:
                found = Found(job=job, built=built, value=value, count=fewer, bound=found.bound)
                continue
        if status == "INFEASIBLE":
            found = replace(found, bound=found.count)
        break
    return found


def _tidied(found: Found, effort: Effort) -> Found:
    """Return the solution with the same boards and as few joints at risk, then as few cuts, as the work allows."""
    if effort.tidy <= 0:
        return found
    value, used = with_strips_first(found.value)
    built = build(found.job, boards=found.count, share_strips=max(STRIPS, used))
    goal = 1000 * sum(built.risk) + sum(built.cuts)
    status, solver = solve(built, work=effort.tidy, minimise=goal, hint=value)
    if status in DONE:
        return replace(found, built=built, value=values(built, solver))
    return found


def shapes_held(job: Job, count: int, pool: Sequence[Mapping[str, int]], work: float = HOLD) -> Found | None:
    """Return a layout on ``count`` boards with the shape, or the set-out, of a solution of the endless board.

    Parameters
    ----------
    job
        The set-out.
    count
        Boards at hand.
    pool
        Solutions of the endless board. The shortest rolls are tried: mostly widths can be shifted, or small pieces be
        put elsewhere, so that everything shares the boards.
    work
        Limit on the solver's work for each.
    """
    whole = build(job, boards=count) if pool else None
    for hold, linear in HOLDS:
        seen: list[dict[str, int]] = []
        for value in reversed(pool):
            assert whole is not None
            start = held(whole, value, hold)
            if start in seen:
                continue
            seen.append(start)
            status, solver = solve(whole, work=work, hint=start, hold=hold, linear=linear)
            if status in DONE:
                return Found(job=job, built=whole, value=values(whole, solver), count=count, bound=area_bound(job))
            if len(seen) == TRIED:
                break
    return None


def place(
    job: Job, count: int, work: float, pool: Sequence[Mapping[str, int]]
) -> tuple[str, Programme, Mapping[str, int] | None]:
    """Return how the search for a layout on ``count`` boards ended; INFEASIBLE only when nothing was held back."""
    found = shapes_held(job, count, pool, min(HOLD, work / 4))
    if found is not None:
        return "FEASIBLE", found.built, found.value
    built = build(job, boards=count, share_strips=STRIPS)
    status, hint = "UNKNOWN", pool[-1] if pool else None
    for started, linear, share in SEARCHES:
        start = hint if started else None
        status, solver = solve(built, work=share * work, hint=start, linear=linear)
        if status in DONE:
            return status, built, values(built, solver)
        if status == "INFEASIBLE":
            break
    if status == "INFEASIBLE" and len(built.smalls) > STRIPS:
        status = "UNKNOWN"
    return status, built, None


def area_bound(job: Job) -> int:
    """Return how many boards the area alone asks for."""
    net = 0.0
    for i, face in enumerate(job.faces):
        taken = sum(c.depth for c in job.corners if c.left_face == i) + sum(
            c.depth for c in job.corners if c.right_face == i
        )
        net += face.net_area_m2 * 1e6 - face.width * job.foot_gaps[i] - taken * max(face.height_left, face.height_right)
    return max(1, math.ceil(net / (job.board.width_mm * job.board.length_mm) - 1e-9))
