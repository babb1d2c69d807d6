"""A room's boards: how few will do, where each piece stands on the wall, and what it is cut from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator import columns as programme
from estimator.boards import BoardRules, BoardSize
from estimator.faces import Face
from estimator.fewest import EASY, HOLD, Found, area_bound, fewest, place, shapes_held
from estimator.layout_records import Effort, RoomLayout
from estimator.setting_out import Corner, Job
from estimator.sharing import roll_length
from estimator.solving import DONE, Hold, solve, values


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
    best: Found | None = None
    for keep in ("all", "jambs", "none"):
        found = fewest(replace(job, keep=keep), effort, most)
        if found is None:
            continue
        if best is None or found.count < best.count:
            best = found
        if best.count <= most:
            break
    if best is None:
        raise ValueError("no layout found: the openings leave no room for boards")
    return _layout(best, most)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Whether a number of boards is enough: True with the solution at hand, False by proof, None not known."""

    fits: bool | None
    solution: Mapping[str, int] | None = None


def fits_on(
    faces: Sequence[Face],
    count: int,
    *,
    like: RoomLayout,
    rules: BoardRules,
    corners: Sequence[Corner] = (),
    shapes: Sequence[Mapping[str, int]] = (),
    work: float = 1.0,
) -> Fit:
    """Return whether the faces can be lined from ``count`` boards of the size and under the joint rules of ``like``.

    Parameters
    ----------
    faces, corners, rules
        As for :func:`lay_boards`.
    count
        Boards at hand.
    like
        A layout of nearly the same faces.
    shapes
        Solutions of nearly the same faces: whether one of them does with other widths is looked at first.
    work
        Limit on the solver's work.
    """
    try:
        job = replace(make_job(faces, corners=corners, sizes=[like.board], rules=rules), keep=like.kept)
    except ValueError:
        return Fit(fits=False)
    if count < area_bound(job):
        return Fit(fits=False)
    known = _as_before(job, count, shapes, min(HOLD, work / 4))
    if known is not None:
        return Fit(fits=True, solution=known)
    most = count * (job.board.width_mm + job.rules.kerf_mm)
    roll = programme.build(job, boards=None)
    pool: list[dict[str, int]] = []
    status, solver = solve(
        roll,
        work=0.4 * work,
        minimise=roll_length(roll, job.rules.kerf_mm),
        enough=lambda value, bound: bound > most or value <= EASY * most,
        pool=pool,
    )
    if status == "INFEASIBLE" or (status in DONE and solver.best_objective_bound > most + 1e-6):
        return Fit(fits=False)
    if status in DONE and EASY * solver.objective_value > most:
        # as far beyond the boards at hand as an easy roll is within them: the long searches have found nothing there
        found = shapes_held(job, count, pool, min(HOLD, 0.15 * work))
        return Fit(fits=None) if found is None else Fit(fits=True, solution=found.value)
    status, _, value = place(job, count, 0.6 * work, pool)
    return Fit(fits=True if value is not None else False if status == "INFEASIBLE" else None, solution=value)


def _as_before(job: Job, count: int, shapes: Sequence[Mapping[str, int]], work: float) -> Mapping[str, int] | None:
    """Return a solution with the shape of one of ``shapes``, or with the set-out of the first."""
    whole = programme.build(job, boards=count)
    tries: list[tuple[Mapping[str, int], Hold, int]] = [(shape, "shape", 2) for shape in shapes]
    for shape, hold, linear in [*tries, *((shape, "set-out", 0) for shape in shapes[:1])]:
        status, solver = solve(whole, work=work, hint=shape, hold=hold, linear=linear)
        if status in DONE:
            return values(whole, solver)
    return None


def trade_count(job: Job) -> int:
    """Return the count by the trade's rule: full columns wall by wall, openings not taken off, strips made up."""
    total = 0
    for face, tiers in zip(job.faces, job.tiers, strict=True):
        across = -(-face.width // job.board.width_mm)
        for height in tiers:
            total += -(-across // max(1, (job.board.length_mm + job.rules.kerf_mm) // (height + job.rules.kerf_mm)))
    return total


def _layout(found: Found, most: int) -> RoomLayout:
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
