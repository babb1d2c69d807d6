"""A room's boards: how few will do, where each piece stands on the wall, and what it is cut from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator import columns as programme
from estimator.boards import BoardRules, BoardSize
from estimator.faces import Face
from estimator.layout_records import Effort, RoomLayout
from estimator.setting_out import Corner, Job, Keep, Programme
from estimator.sharing import roll_length


def board_for(height: int, sizes: Sequence[BoardSize], rules: BoardRules) -> tuple[BoardSize, int]:
    """Return the shortest board on sale that reaches a ceiling at ``height`` mm, and the foot gap that goes with it.

    Where none reaches, the longest is returned; the rest is made up with strips.

    Raises
    ------
    ValueError
        When ``sizes`` is empty.
    """
    if not sizes:
        raise ValueError("no board sizes to choose from")
    for size in sizes:
        if height - rules.foot_gap_most_mm <= size.length_mm:
            return size, max(rules.foot_gap_mm, height - size.length_mm)
    return sizes[-1], rules.foot_gap_mm


def make_job(faces: Sequence[Face], *, corners: Sequence[Corner], sizes: Sequence[BoardSize], rules: BoardRules) -> Job:
    """Return the set-out job for the faces of a room: one board size, foot gaps and column heights."""
    tallest = max(max(f.height_left, f.height_right) for f in faces)
    board, _ = board_for(tallest, sizes, rules)
    gaps, tiers = [], []
    for face in faces:
        height = max(face.height_left, face.height_right)
        over = height - board.length_mm
        gap = over if rules.foot_gap_mm < over <= rules.foot_gap_most_mm else rules.foot_gap_mm
        gaps.append(gap)
        tiers.append(programme.greatest_tier_heights(height - gap, board, rules))
    return Job(
        faces=tuple(faces), corners=tuple(corners), board=board, rules=rules, foot_gaps=tuple(gaps), tiers=tuple(tiers)
    )


def lay_boards(
    faces: Sequence[Face],
    *,
    sizes: Sequence[BoardSize],
    rules: BoardRules,
    corners: Sequence[Corner] = (),
    effort: Effort | None = None,
) -> RoomLayout:
    """Return the layout of a room with the fewest boards found, and how few could do.

    The joint rules are kept wherever a layout that keeps them needs no more boards than the trade's rule of full
    columns; otherwise the socket rule and then the jamb rule give way, and each joint at risk says so.

    Parameters
    ----------
    faces
        Faces to be lined.
    sizes
        Boards on sale at the thickness wanted, shortest first.
    rules
        Setting-out rules.
    corners
        Corners where two of the linings meet.
    effort
        Limits on the solver's work.

    Raises
    ------
    ValueError
        When there is no face or no size, or a face is higher than two boards.
    """
    if not faces:
        raise ValueError("no face to lay boards on")
    effort = effort or Effort()
    job = make_job(faces, corners=corners, sizes=sizes, rules=rules)
    most = trade_count(job)
    best: _Found | None = None
    for keep in ("all", "jambs", "none"):
        found = _fewest(_with_keep(job, keep), effort, most)
        if found is None:
            continue
        if best is None or found.count < best.count:
            best = found
        if best.count <= most:
            break
    if best is None:
        raise ValueError("no layout found: the openings leave no room for boards")
    return _layout(best, most)


def fits_on(
    faces: Sequence[Face],
    count: int,
    *,
    like: RoomLayout,
    rules: BoardRules,
    corners: Sequence[Corner] = (),
    work: float = 0.4,
) -> bool | None:
    """Return whether the faces can be lined from ``count`` boards of the size and under the joint rules of ``like``.

    Parameters
    ----------
    faces, corners, rules
        As for :func:`lay_boards`.
    count
        Boards at hand.
    like
        A layout of nearly the same faces; its solution is where the search starts.
    work
        Limit on the solver's work.

    Returns
    -------
    bool or None
        True with a layout in hand, False by proof, None when the work ran out first.
    """
    try:
        job = _with_keep(make_job(faces, corners=corners, sizes=[like.board], rules=rules), like.kept)
    except ValueError:
        return False
    if count < _area_bound(job):
        return False
    built = programme.build(job, boards=count, share_strips=STRIPS)
    status, _ = programme.solve(built, work=0.2 * work, hint=like.solution)
    if status in ("OPTIMAL", "FEASIBLE"):
        return True
    pitch = job.board.width_mm + job.rules.kerf_mm
    roll = programme.build(job, boards=None)
    roll.model.add(roll_length(roll, job.rules.kerf_mm) <= count * pitch)
    status, _ = programme.solve(roll, work=0.4 * work)
    if status in ("INFEASIBLE", "UNKNOWN"):
        return False if status == "INFEASIBLE" else None
    status, _ = programme.solve(built, work=0.4 * work, linear=0)
    return True if status in ("OPTIMAL", "FEASIBLE") else None


def trade_count(job: Job) -> int:
    """Return the count by the trade's rule: full columns wall by wall, openings not taken off, strips made up."""
    total = 0
    for face, tiers in zip(job.faces, job.tiers, strict=True):
        across = -(-face.width // job.board.width_mm)
        for height in tiers:
            total += -(-across // max(1, (job.board.length_mm + job.rules.kerf_mm) // (height + job.rules.kerf_mm)))
    return total


def _with_keep(job: Job, keep: Keep) -> Job:
    return Job(
        faces=job.faces,
        corners=job.corners,
        board=job.board,
        rules=job.rules,
        foot_gaps=job.foot_gaps,
        tiers=job.tiers,
        keep=keep,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    job: Job
    built: Programme
    value: Mapping[str, int]
    count: int
    bound: int


STRIPS = 5  # strips for small pieces tried when boards are counted out; the bound allows one for each piece


def _fewest(job: Job, effort: Effort, most: int) -> _Found | None:
    pitch = job.board.width_mm + job.rules.kerf_mm
    roll = programme.build(job, boards=None)
    length = roll_length(roll, job.rules.kerf_mm)
    status, solver = programme.solve(roll, work=effort.bound, minimise=length)
    if status not in ("OPTIMAL", "FEASIBLE"):
        if status == "INFEASIBLE":
            return None
        hint, guess, bound = {}, most, _area_bound(job)
    else:
        hint = programme.values(roll, solver)
        guess = max(1, math.ceil(round(solver.objective_value) / pitch))
        bound = max(_area_bound(job), math.ceil(math.ceil(solver.best_objective_bound - 1e-6) / pitch))
    found = None
    for count in range(max(guess, bound), max(guess, most) + len(job.faces) + 2):
        status, built, value = _place(job, count, effort.place, hint)
        if value is not None:
            found = _Found(job=job, built=built, value=value, count=count, bound=bound)
            break
        if status == "INFEASIBLE" and bound == count:
            bound += 1  # every strip that a piece could need was on offer, so this count is ruled out
    return None if found is None else _tidied(_with_fewer(found, effort), effort)


def _with_fewer(found: _Found, effort: Effort) -> _Found:
    """Return a solution with fewer boards as long as one is found, and the bound as far as it can be raised."""
    job = found.job
    pitch = job.board.width_mm + job.rules.kerf_mm
    while found.count > found.bound:
        fewer = found.count - 1
        roll = programme.build(job, boards=None)
        roll.model.add(roll_length(roll, job.rules.kerf_mm) <= fewer * pitch)
        status, solver = programme.solve(roll, work=effort.prove)
        if status in ("OPTIMAL", "FEASIBLE"):
            status, built, value = _place(job, fewer, effort.place, programme.values(roll, solver))
            if value is not None:
                found = _Found(job=job, built=built, value=value, count=fewer, bound=found.bound)
                continue
        if status == "INFEASIBLE":
            found = replace(found, bound=found.count)
        break
    return found


def _tidied(found: _Found, effort: Effort) -> _Found:
    """Return the solution with the same boards and as few joints at risk, then as few cuts, as the work allows."""
    if effort.tidy <= 0:
        return found
    goal = 1000 * sum(found.built.risk) + sum(found.built.cuts)
    status, solver = programme.solve(found.built, work=effort.tidy, minimise=goal, hint=found.value)
    if status in ("OPTIMAL", "FEASIBLE"):
        return replace(found, value=programme.values(found.built, solver))
    return found


def _place(
    job: Job, count: int, work: float, hint: Mapping[str, int]
) -> tuple[str, Programme, Mapping[str, int] | None]:
    """Return how the search for a layout on ``count`` boards ended; INFEASIBLE only when nothing was held back."""
    built = programme.build(job, boards=count, share_strips=STRIPS)
    status = "UNKNOWN"
    for start, linear, share in ((hint, 2, 0.2), (None, 2, 0.25), (None, 1, 0.25), (None, 0, 0.3)):
        status, solver = programme.solve(built, work=share * work, hint=start, linear=linear)
        if status in ("OPTIMAL", "FEASIBLE"):
            return status, built, programme.values(built, solver)
        if status == "INFEASIBLE":
            break
    if status == "INFEASIBLE" and len(built.smalls) > STRIPS:
        status = "UNKNOWN"
    return status, built, None


def _area_bound(job: Job) -> int:
    net = 0.0
    for i, face in enumerate(job.faces):
        taken = sum(c.depth for c in job.corners if c.left_face == i) + sum(
            c.depth for c in job.corners if c.right_face == i
        )
        net += face.net_area_m2 * 1e6 - face.width * job.foot_gaps[i] - taken * max(face.height_left, face.height_right)
    return max(1, math.ceil(net / (job.board.width_mm * job.board.length_mm) - 1e-9))


def _layout(found: _Found, most: int) -> RoomLayout:
    from estimator.cut_plan import draw_pieces

    pieces, offcuts, joints = draw_pieces(found.job, found.built, found.value)
    net = sum(p.on_wall.area for p in pieces)
    job = found.job
    return RoomLayout(
        board=job.board,
        count=found.count,
        lower_bound=found.bound,
        proved=found.count == found.bound,
        column_count=most,
        area_count=math.ceil(1.1 * net / (job.board.width_mm * job.board.length_mm) - 1e-9),
        pieces=tuple(pieces),
        offcuts=tuple(offcuts),
        joints=tuple(joints),
        kept=job.keep,
        foot_gaps_mm={f.wall: g for f, g in zip(job.faces, job.foot_gaps, strict=True)},
        run_through=tuple(
            job.faces[c.left_face if found.value[f"corner{n}"] else c.right_face].wall
            for n, c in enumerate(job.corners)
        ),
        solution=found.value,
    )
