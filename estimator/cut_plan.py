"""The cut plan: a solved set-out turned into outlines on the wall and on the boards, joints and offcuts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from estimator.faces import Face
from estimator.layout_records import Joint, Offcut, Piece
from estimator.outlines import Point, Rect, outlines
from estimator.setting_out import Job, Programme, cut_out_heights, zones

Placing = Callable[[Point], Point]
Values = Mapping[str, int]


@dataclass(slots=True, kw_only=True)
class _Block:
    """A rectangle to be cut in one go: a tier of a column, or a piece over or under an opening (wall frame, mm)."""

    name: str
    face: int
    role: str
    box: Rect
    opening: str | None = None
    wants: str = ""  # the side that should keep its factory edge
    board: int = -1
    place: Placing | None = None
    turned: int = 0
    factory: set[str] = field(default_factory=set)

    @property
    def width(self) -> float:
        return self.box[2] - self.box[0]

    @property
    def height(self) -> float:
        return self.box[3] - self.box[1]


def draw_pieces(job: Job, built: Programme, value: Values) -> tuple[list[Piece], list[Offcut], list[Joint]]:
    """Return the pieces, offcuts and joints of a solution (``value`` by variable name)."""
    blocks: dict[str, _Block] = {}
    joints: list[Joint] = []
    for i in range(len(job.faces)):
        columns = _columns(job, built, value, i)
        for n, (left, right, name) in enumerate(columns):
            wants = "right" if n == 0 else "left"
            for tier, box in enumerate(_tiers(job, i, left, right, n)):
                blocks[f"{name}.t{tier}"] = _Block(
                    name=f"{name}.t{tier}", face=i, role="column" if tier == 0 else "strip", box=box, wants=wants
                )
        _bands(job, built, value, i, blocks)
    offcuts = _put_on_boards(job, built, value, blocks)
    pieces = _pieces(job, blocks)
    for i in range(len(job.faces)):
        joints += _joints(job, built, value, i, blocks)
    return pieces, sorted(offcuts, key=lambda o: (o.board, o.box)), joints


def _columns(job: Job, built: Programme, value: Values, i: int) -> list[tuple[int, int, str]]:
    """Return left, right and name of each column piece of face ``i``."""
    found, left = [], None
    for c in built.columns[i]:
        if not value[c.name]:
            continue
        start, end = _value(value, c.start), _value(value, c.end)
        left = start if left is None else left
        if value.get(f"{c.name}.glued", 0):
            continue
        found.append((left, end, c.name))
        left = None
    return found


def _value(value: Values, var: object) -> int:
    """Return the value of a variable, a number, or the simple expressions that corners make."""
    if isinstance(var, int):
        return var
    name = getattr(var, "name", None)
    if isinstance(name, str) and name in value:
        return value[name]
    return _evaluate(value, var)


def _evaluate(value: Values, expression: object) -> int:
    from ortools.sat.python import cp_model

    flat = cp_model.FlatIntExpr(expression)
    return int(flat.offset + sum(c * value[v.name] for v, c in zip(flat.vars, flat.coeffs, strict=True)))


def _lined(job: Job, i: int, left: float, right: float) -> tuple[float, float]:
    face = job.faces[i]
    return float(job.foot_gaps[i]), max(face.ceiling(left), face.ceiling(right))


def _tiers(job: Job, i: int, left: float, right: float, n: int) -> list[Rect]:
    """Return the boxes of a column, main piece first; the strip is at the top of every other column only."""
    bottom, top = _lined(job, i, left, right)
    if len(job.tiers[i]) == 1:
        return [(left, bottom, right, top)]
    main, strip = job.tiers[i]
    if n % 2 == 0:
        return [(left, bottom, right, bottom + main), (left, bottom + main, right, max(top, bottom + main))]
    return [(left, bottom + strip, right, max(top, bottom + strip)), (left, bottom, right, bottom + strip)]


def _bands(job: Job, built: Programme, value: Values, i: int, blocks: dict[str, _Block]) -> None:
    for face, zone, band, opened, parts, start, k in built.bands:
        if face != i or not value[opened.name]:
            continue
        x = _value(value, start)
        gap = zone.gaps[0]
        for j, part in enumerate(parts):
            w = value[part.name]
            bottom, top = _lined(job, i, x, x + w)
            box = (x, gap.top, x + w, top) if band == "head" else (x, bottom, x + w, gap.bottom)
            name = f"w{i}.z{k}.{band}{j}"
            blocks[name] = _Block(name=name, face=i, role="infill", box=box, opening=gap.id)
            x += w


def _put_on_boards(job: Job, built: Programme, value: Values, blocks: dict[str, _Block]) -> list[Offcut]:
    kerf, width, length = job.rules.kerf_mm, job.board.width_mm, job.board.length_mm
    offcuts: list[Offcut] = []
    on_board: dict[int, list[tuple[str, int]]] = {}
    for (n, b), here in built.board_of.items():
        if value[here.name]:
            item = built.items[n]
            w = value[item.width.name]
            on_board.setdefault(b, []).append((item.name, w))
    numbers = {b: n for n, b in enumerate(sorted(on_board), start=1)}
    strips: dict[str, tuple[int, Rect]] = {}
    for b, items in on_board.items():
        number = numbers[b]
        whole = [(name, w) for name, w in items if name in blocks]
        whole.sort(key=lambda item: -item[1])
        ends = whole[:1] + (whole[-1:] if len(whole) > 1 else [])
        middle = whole[1:-1] if len(whole) > 1 else []
        x = 0.0
        for name, w in whole[:1] + middle:
            _stand(job, blocks[name], number, x, w, "left" if x == 0 else "", w == width)
            offcuts += _over(job, blocks[name], number, x, w)
            x += w + kerf
        right = float(width)
        if len(ends) > 1:
            name, w = ends[1]
            _stand(job, blocks[name], number, width - w, w, "right", False)
            offcuts += _over(job, blocks[name], number, width - w, w)
            right = width - w - kerf
        for name, w in items:
            if name not in blocks:
                strips[name] = (number, (x, 0.0, x + w, float(length)))
                x += w + kerf
        if right - x > 0:
            offcuts.append(_offcut(job, number, (x, 0.0, right, float(length))))
    for j, place in enumerate(built.places):
        inside = [(s, turned) for (s, p, turned), here in built.stack.items() if p == j and value[here.name]]
        if place.name in strips:
            number, box = strips[place.name]
            offcuts += _stack(job, built, value, blocks, inside, number, box, lambda q: q, 0)
        elif not place.name.startswith("strip"):
            region, host = _cut_out(job, built, value, blocks, place.name)
            if host is None or region[2] - region[0] <= 0:
                continue
            assert host.place is not None  # every column stands on a board by now
            offcuts += _stack(job, built, value, blocks, inside, host.board, region, host.place, host.turned)
    return offcuts


def _stand(job: Job, block: _Block, board: int, x: float, w: float, side: str, full: bool) -> None:
    """Put a column on a board with its left edge at ``x``, turned if that puts its factory edge right."""
    block.board = board
    turn = bool(side) and not full and block.wants != side
    left, bottom, right, top = block.box
    if turn:
        block.place = lambda q: (x + right - q[0], top - q[1])
        block.turned = 180
    else:
        block.place = lambda q: (x + q[0] - left, q[1] - bottom)
    block.factory = {"left", "right"} if full else {block.wants} if side else set()


def _over(job: Job, block: _Block, board: int, x: float, w: float) -> list[Offcut]:
    bottom = block.height + job.rules.kerf_mm
    return [_offcut(job, board, (x, bottom, x + w, float(job.board.length_mm)))] if job.board.length_mm > bottom else []


def _cut_out(
    job: Job, built: Programme, value: Values, blocks: dict[str, _Block], name: str
) -> tuple[Rect, _Block | None]:
    """Return the rectangle that an opening takes out of a column (wall frame) and the column."""
    label, side = name.rsplit(".cut_", 1)
    i, k = (int(part[1:]) for part in label.split("."))
    zone = zones(job.faces[i], job.foot_gaps[i])[k]
    kerf = job.rules.kerf_mm
    # the programme's own width may be left at 0 where nothing is cut from it, so it is taken from where columns end
    if value[f"{label}.span"]:
        width = zone.right - zone.left - 2 * kerf if side == "left" else 0
    elif side == "left":
        width = value[f"{label}.end"] - zone.left - kerf
    else:
        width = zone.right - value[f"{label}.start"] - kerf
    width = max(0, width)
    bottom, top = cut_out_heights(zone, job.foot_gaps[i], kerf)
    left = zone.left + kerf if side == "left" else zone.right - kerf - width
    region = (float(left), float(bottom), float(left + width), float(top))
    hosts = [
        b
        for b in blocks.values()
        if b.face == i and b.role == "column" and b.box[0] <= region[0] and b.box[2] >= region[2] and b.board > 0
    ]
    return region, hosts[0] if hosts and width else None


def _stack(
    job: Job,
    built: Programme,
    value: Values,
    blocks: dict[str, _Block],
    inside: list[tuple[int, bool]],
    board: int,
    region: Rect,
    outer: Placing,
    outer_deg: int,
) -> list[Offcut]:
    """Stack small pieces from the foot of ``region`` up; return what is left of it."""
    kerf = job.rules.kerf_mm
    left, bottom, right, top = region
    offcuts, y = [], bottom
    for s, turned in inside:
        block = blocks[built.smalls[s].name]
        w, h = (block.height, block.width) if turned else (block.width, block.height)
        block.board, block.turned = board, (outer_deg + (90 if turned else 0)) % 360
        block.place = _composed(outer, block.box, left, y, turned)
        if not turned and outer_deg == 0:
            ends = {"left": left == 0, "right": left + w == job.board.width_mm}
            block.factory = {side for side, whole in ends.items() if whole}
        if right - left - w > kerf:
            offcuts.append(_offcut(job, board, _sent(outer, (left + w + kerf, y, right, y + h))))
        y += h + kerf
    if top - y > 0:
        offcuts.append(_offcut(job, board, _sent(outer, (left, y, right, top))))
    return offcuts


def _composed(outer: Placing, box: Rect, x: float, y: float, turned: bool) -> Placing:
    if turned:
        return lambda q: outer((x + box[3] - q[1], y + q[0] - box[0]))
    return lambda q: outer((x + q[0] - box[0], y + q[1] - box[1]))


def _sent(place: Placing, box: Rect) -> Rect:
    (x0, y0), (x1, y1) = place((box[0], box[1])), place((box[2], box[3]))
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _offcut(job: Job, board: int, box: Rect) -> Offcut:
    keep = min(box[2] - box[0], box[3] - box[1]) >= job.rules.reusable_mm
    return Offcut(board=board, box=box, reusable=keep)


def _pieces(job: Job, blocks: dict[str, _Block]) -> list[Piece]:
    found: list[Piece] = []
    for i, face in enumerate(job.faces):
        mine = sorted((b for b in blocks.values() if b.face == i), key=lambda b: (b.box[0], b.box[1]))
        holes = [(float(g.left), float(g.bottom), float(g.right), float(g.top)) for g in face.gaps]
        number = 0
        for block in mine:
            assert block.place is not None  # a block without a board would be a wrong solution
            left, bottom, right, top = block.box
            for outline in outlines(left, right, bottom, top, openings=holes, ceiling=face.ceiling):
                number += 1
                found.append(
                    Piece(
                        id=f"{face.wall} {number}",
                        wall=face.wall,
                        role=block.role,
                        on_wall=outline,
                        board=block.board,
                        on_board=outline.moved(block.place),
                        turned_deg=block.turned,
                        opening=block.opening,
                    )
                )
    return found


def _joints(job: Job, built: Programme, value: Values, i: int, blocks: dict[str, _Block]) -> list[Joint]:
    face = job.faces[i]
    columns = [b for b in blocks.values() if b.face == i and b.role == "column"]
    columns.sort(key=lambda b: b.box[0])
    found = []
    for a, b in pairwise(columns):
        if a.box[2] != b.box[0]:
            continue
        x = a.box[2]
        cut = "right" not in a.factory or "left" not in b.factory
        found += [
            _joint(job, face, x, y0, y1, "a cut edge meets another board" if cut else "")
            for y0, y1 in _solid(job, i, x)
        ]
    for block in blocks.values():
        if block.face == i and block.role == "infill":
            ends = [block.box[0], block.box[2]] if block.name.endswith("0") else [block.box[2]]
            found += [
                _joint(job, face, x, block.box[1], block.box[3], "a cut piece over or under an opening")
                for x in ends
                if 0 < x < face.width
            ]
    if len(job.tiers[i]) > 1:
        for b in columns:
            strip = blocks[b.name.replace(".t0", ".t1")]
            y = max(strip.box[1], b.box[1])
            if strip.height > 0:
                found.append(
                    Joint(
                        wall=face.wall,
                        start=(b.box[0], y),
                        end=(b.box[2], y),
                        risk="a horizontal joint: the ceiling is higher than a board",
                    )
                )
    return sorted(found, key=lambda j: (j.start, j.end))


def _solid(job: Job, i: int, x: float) -> list[tuple[float, float]]:
    """Return the heights over which there is wall on both sides of ``x``."""
    bottom, top = _lined(job, i, x, x)
    cuts = sorted((g.bottom, g.top) for g in job.faces[i].gaps if g.left < x < g.right)
    spans, at = [], bottom
    for low, high in cuts:
        if low > at:
            spans.append((at, float(low)))
        at = max(at, float(high))
    return [*spans, (at, top)] if top > at else spans


def _joint(job: Job, face: Face, x: float, bottom: float, top: float, risk: str) -> Joint:
    clear = job.rules.jamb_clear_mm
    for gap in face.gaps:
        if min(abs(x - gap.left), abs(x - gap.right)) < clear:
            risk = f"within {clear} mm of a jamb of {gap.id}"
    for box in face.boxes:
        if box.left - job.rules.socket_clear_mm <= x <= box.right + job.rules.socket_clear_mm:
            risk = f"in line with {box.id}"
    return Joint(wall=face.wall, start=(x, bottom), end=(x, top), risk=risk)
