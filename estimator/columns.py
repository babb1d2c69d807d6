"""The set-out of a room's boards as an integer programme: where joints stand and what is cut from which board.

Boards stand upright. A wall is covered by columns; a column is a rectangle of the full lined height (with a notch or
a hole where it passes an opening). An opening is treated in one of three ways: *open*, the columns stop inside it and
pieces fill in over and under it; *joint*, two columns meet inside it; *span*, one column passes it. Small pieces are
stacked in strips of boards or in what is cut out of columns. All numbers are whole millimetres, so that "best" means
best among such layouts on a 1 mm grid.
"""

from __future__ import annotations

from typing import Any

from estimator.boards import BoardRules, BoardSize
from estimator.faces import Face
from estimator.setting_out import ColumnVars, Item, Job, Place, Programme, Small, Var, Zone, cut_out_heights, zones
from estimator.sharing import add_boards, add_stacks, add_strips


def build(job: Job, *, boards: int | None, share_strips: int | None = None) -> Programme:
    """Return the programme for ``job``.

    Parameters
    ----------
    job
        The faces and rules.
    boards
        How many boards there are; None drops the boards and keeps one endless board of the same length, which gives a
        lower bound.
    share_strips
        The most strips for small pieces; None allows one for each small piece, which loses nothing.
    """
    from ortools.sat.python import cp_model

    p = Programme(model=cp_model.CpModel())
    ends: dict[int, list[Var]] = {i: [0, f.width] for i, f in enumerate(job.faces)}
    for n, corner in enumerate(job.corners):
        through = p.choice(f"corner{n}")
        ends[corner.left_face][1] = job.faces[corner.left_face].width - corner.depth * (1 - through)
        ends[corner.right_face][0] = corner.depth * through
    for i, face in enumerate(job.faces):
        _wall(p, job, i, face, ends[i][0], ends[i][1])
        p.starts[i] = (ends[i][0], ends[i][1])
    add_strips(p, job, share_strips)
    add_stacks(p, job)
    if boards is not None:
        add_boards(p, job, boards)
    return p


def _wall(p: Programme, job: Job, i: int, face: Face, start: Var, end: Var) -> None:
    rules, width = job.rules, job.board.width_mm
    clear = 0 if job.keep == "none" else rules.jamb_clear_mm
    between = zones(face, job.foot_gaps[i])
    run_start, carried, glue_in = start, 0, 0
    p.columns[i], p.fills[i] = [], []
    for k in range(len(between) + 1):
        last = k == len(between)
        zone = None if last else between[k]
        if zone is None:
            run_end, glue, stop_in = end, 0, None
            room_right = face.width
        else:
            run_end = p.integer(zone.left, zone.right, f"w{i}.z{k}.end")
            stop_in = p.integer(zone.left, zone.right, f"w{i}.z{k}.start")
            glue = _zone(p, job, i, k, zone, run_end, stop_in, clear, start, end)
            room_right = zone.right
        room_left = between[k - 1].left if k else 0
        no_left = k == 0 and bool(between) and between[0].left <= 0
        no_right = last and bool(between) and between[-1].right >= face.width
        if no_left:
            p.model.add(run_end == start)
            p.model.add(glue == 0)
        elif no_right:
            p.model.add(run_start == run_end)
            if not isinstance(glue_in, int):
                p.model.add(glue_in == 0)
        else:
            count = -(-(room_right - room_left) // width) + 1
            low = between[k - 1].right + clear if k else 0
            high = zone.left - clear if zone else face.width
            joints = _joint_domain(job, face, low, high)
            carried = _run(p, job, i, k, run_start, run_end, count, joints, glue_in, carried, glue, k == 0, last)
        run_start, glue_in = stop_in, glue
    # implied by the chains, but it gives the bound its strength: the pieces of a wall make up its length
    p.model.add(sum(c.item for c in p.columns[i]) + sum(p.fills[i]) == end - start)


def _joint_domain(job: Job, face: Face, low: int, high: int) -> Any:
    from ortools.sat.python import cp_model

    clear, box_clear = job.rules.jamb_clear_mm, job.rules.socket_clear_mm
    shut: list[tuple[int, int]] = []
    if job.keep != "none":
        for gap in face.gaps:
            shut += [(gap.left - clear + 1, gap.left + clear - 1), (gap.right - clear + 1, gap.right + clear - 1)]
    if job.keep == "all":
        shut += [(b.left - box_clear, b.right + box_clear) for b in face.boxes]
    allowed, at = [], low
    for a, b in sorted(shut):
        if a > at:
            allowed.append((at, min(a - 1, high)))
        at = max(at, b + 1)
    if at <= high:
        allowed.append((at, high))
    return cp_model.Domain.from_intervals([[a, b] for a, b in allowed if a <= b])


def _zone(
    p: Programme, job: Job, i: int, k: int, zone: Zone, run_end: Var, next_start: Var, clear: int, start: Var, end: Var
) -> Var:
    """Add the choice at an opening and its small pieces; return whether one column passes it."""
    m, rules, name, width = p.model, job.rules, f"w{i}.z{k}", zone.right - zone.left
    face = job.faces[i]
    span, joint, opened = _ways(p, face, name, zone, run_end, next_start, clear)
    pieces = max(1, -(-(width - 2 * clear) // job.board.width_mm))
    parts = [p.integer(0, job.board.width_mm, f"{name}.part{j}") for j in range(pieces)]
    p.fills[i] += parts
    m.add(sum(parts) == next_start - run_end)
    for part in parts:
        m.add(part >= min(rules.least_piece_mm, width)).only_enforce_if(opened)
        m.add(part == 0).only_enforce_if(~opened)
    if not zone.simple:
        m.add(opened == 0)
    for band, height in (("head", zone.head), ("sill", zone.sill)):
        if height <= 0 or not zone.simple:
            continue
        p.bands.append((i, zone, band, opened, parts, run_end, k))
        if height > job.board.length_mm:
            m.add(opened == 0)
            continue
        for j, part in enumerate(parts):
            p.smalls.append(
                Small(name=f"{name}.{band}{j}", width=part, height=height, present=opened, turn=rules.turn_small_pieces)
            )
        p.risk.append(2 * opened)
        p.cuts.append(2 * opened)
    p.risk.append(joint)
    if zone.simple and len(job.tiers[i]) == 1:
        _cut_outs(p, job, i, name, zone, run_end, next_start, span)
    return span


def _ways(
    p: Programme, face: Face, name: str, zone: Zone, run_end: Var, next_start: Var, clear: int
) -> tuple[Var, Var, Var]:
    """Add the three ways past an opening; return span, joint and open."""
    m = p.model
    span, joint, opened = (p.choice(f"{name}.{way}") for way in ("span", "joint", "open"))
    m.add_exactly_one(span, joint, opened)
    if zone.left > 0:
        m.add(run_end >= zone.left + clear).only_enforce_if(~span)
    if zone.right < face.width:
        m.add(next_start <= zone.right - clear).only_enforce_if(~span)
    m.add(run_end == zone.left).only_enforce_if(span)
    m.add(next_start == run_end).only_enforce_if(span)
    m.add(next_start == run_end).only_enforce_if(joint)
    if zone.left > 0:
        m.add(next_start >= zone.left + clear).only_enforce_if(joint)
    if zone.right < face.width:
        m.add(run_end <= zone.right - clear).only_enforce_if(joint)
    return span, joint, opened


def _cut_outs(p: Programme, job: Job, i: int, name: str, zone: Zone, run_end: Var, next_start: Var, span: Var) -> None:
    """Add what is cut out of the columns at an opening as places for small pieces."""
    m, width, face = p.model, zone.right - zone.left, job.faces[i]
    bottom, top = cut_out_heights(zone, job.foot_gaps[i], job.rules.kerf_mm)
    tall = top - bottom
    cut_left, cut_right = (p.integer(0, width, f"{name}.cut_{side}") for side in ("left", "right"))
    for cut, whole, spanned in (
        (cut_left, run_end - zone.left, width - 2 * job.rules.kerf_mm),
        (cut_right, zone.right - next_start, 0),
    ):
        some = p.choice(f"{cut.name}.some", follows=True)
        m.add(cut == whole - job.rules.kerf_mm).only_enforce_if(~span, some)
        m.add(cut == max(0, spanned)).only_enforce_if(span)
        m.add(cut == 0).only_enforce_if(~some)
    if zone.left > 0:
        p.places.append(Place(name=f"{name}.cut_left", width=cut_left, height=tall))
    if zone.right < face.width:
        p.places.append(Place(name=f"{name}.cut_right", width=cut_right, height=tall))


def _run(
    p: Programme,
    job: Job,
    i: int,
    k: int,
    start: Var,
    end: Var,
    count: int,
    joints: Any,
    glue_in: Var,
    carried: Var,
    glue: Var,
    first: bool,
    last: bool,
) -> Var:
    """Add the columns from ``start`` to ``end``; return the width carried on past ``end`` by one board."""
    m, full, least = p.model, job.board.width_mm, job.rules.least_strip_mm
    used = [p.choice(f"w{i}.r{k}.c{c}") for c in range(count)]
    m.add(used[0] == 1)
    at, chain = start, carried
    least_here = min(least, job.faces[i].width)
    for c in range(count):
        name = f"w{i}.r{k}.c{c}"
        if c:
            m.add_implication(used[c], used[c - 1])
        final = c == count - 1
        edge = end if final else p.integer(0, job.faces[i].width, f"{name}.end")
        w = p.integer(0, full, f"{name}.width")
        m.add(w == edge - at)
        m.add(w >= 1).only_enforce_if(used[c])
        m.add(w == 0).only_enforce_if(~used[c])
        if c:
            joint_before = at  # a joint stands where a used column follows a used one
            m.add_linear_expression_in_domain(joint_before, joints).only_enforce_if(used[c])
        item = p.integer(0, full, f"{name}.item")
        so_far = p.integer(0, full, f"{name}.chain")
        if c == 0:
            m.add(so_far == w + (carried if not isinstance(glue_in, int) else 0))
        else:
            m.add(so_far == w).only_enforce_if(used[c])
            m.add(so_far == chain).only_enforce_if(~used[c])
        ends_here = used[c] if final else p.choice(f"{name}.last")
        if not final:
            m.add(ends_here == used[c] - used[c + 1])
        glued = _glued(p, name, ends_here, glue)
        whole = p.choice(f"{name}.piece")
        m.add(whole == used[c] - glued)
        m.add(item == so_far).only_enforce_if(whole)
        m.add(item <= full * whole)
        m.add(item >= least_here).only_enforce_if(whole)
        interior = not (first and c == 0) and not (last and final)
        part = _cut_column(p, name, item, whole, full, (ends_here if last else 0) if interior else None)
        p.columns[i].append(
            ColumnVars(name=name, start=at, end=edge, used=used[c], glued=glued, item=item, interior=interior)
        )
        _column_pieces(p, job, i, name, item, whole, part)
        at, chain = edge, so_far
    if isinstance(glue, int):
        return 0
    onward = p.integer(0, full, f"w{i}.r{k}.carried")
    m.add(onward == chain).only_enforce_if(glue)
    m.add(onward == 0).only_enforce_if(~glue)
    return onward


def _glued(p: Programme, name: str, ends_here: Var, glue: Var) -> Var:
    """Return whether a column goes on past the opening at the end of its run."""
    if isinstance(glue, int):
        return 0
    glued = p.choice(f"{name}.glued")
    p.model.add_bool_and(ends_here, glue).only_enforce_if(glued)
    p.model.add_bool_or(~ends_here, ~glue, glued)
    return glued


def _cut_column(p: Programme, name: str, item: Var, whole: Var, full: int, at_corner: Var | None) -> Var:
    """Add whether a column is narrower than a board, which is a risk unless its cut edge can go into a corner."""
    part = p.choice(f"{name}.cut", follows=True)
    p.model.add(item == full).only_enforce_if(whole, ~part)
    p.model.add(item < full).only_enforce_if(part)
    p.model.add_implication(part, whole)
    p.cuts.append(part)
    if at_corner is not None:
        bad = p.choice(f"{name}.bad", follows=True)
        p.model.add(bad >= part - at_corner)
        p.risk.append(bad)
    return part


def _column_pieces(p: Programme, job: Job, i: int, name: str, item: Var, whole: Var, part: Var) -> None:
    for tier, height in enumerate(job.tiers[i]):
        label = f"{name}.t{tier}"
        if 2 * height + job.rules.kerf_mm > job.board.length_mm:
            p.items.append(Item(name=label, width=item, present=whole, full=part))
        else:
            p.smalls.append(Small(name=label, width=item, height=height, present=whole, turn=False))


def greatest_tier_heights(lined: int, board: BoardSize, rules: BoardRules) -> tuple[int, ...]:
    """Return the heights of the pieces that make up a column of ``lined`` mm, main piece first.

    Raises
    ------
    ValueError
        When two boards above each other do not reach.
    """
    if lined <= board.length_mm:
        return (lined,)
    strip = max(lined - board.length_mm, rules.least_strip_mm)
    if strip > board.length_mm:
        raise ValueError(f"a lined height of {lined} mm is more than two boards of {board.length_mm} mm")
    return (lined - strip, strip)
