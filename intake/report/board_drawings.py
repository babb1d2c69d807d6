"""Boards on the wall, and the wall's pieces on their boards."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from intake.report.drawing import Drawing, Point, Sheet, rectangle, text_width_mm
from intake.report.elevation import draw_wall, feature_box, layer_of, opening_box, wall_outline
from intake.report.words import millimetres, name_of, plain
from intake.results import WallResult

PIECE_FILLS = ("#ffffff", "#f1f1f1")
EDGE_LABEL_LEAST_MM = 60.0
NOTCH_LETTER_MM = 1.9
BOARD_GAP_MM = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceShape:
    """A piece of board: its outline on the wall and on the board it is cut from, mm."""

    id: str
    wall: str
    role: str
    board: int
    on_wall: tuple[Point, ...]
    on_wall_holes: tuple[tuple[Point, ...], ...]
    on_board: tuple[Point, ...]
    on_board_holes: tuple[tuple[Point, ...], ...]
    opening: str | None = None
    turned: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OffcutBox:
    """What is left of a board, mm in the board's frame."""

    name: str
    board: int
    box: tuple[float, float, float, float]
    reusable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardStock:
    """One size of board and how many of it, numbered as the pieces name them."""

    width_mm: float
    length_mm: float
    numbers: tuple[int, ...]


def box_of(points: Sequence[Point]) -> tuple[float, float, float, float]:
    """Return left, bottom, right, top."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def boards_elevation(
    wall: WallResult,
    *,
    pieces: Sequence[PieceShape],
    dabs: Sequence[tuple[Point, ...]],
    ribbons: Sequence[tuple[Point, ...]],
    fixings: Sequence[Point],
    joints_at_risk: Sequence[tuple[Point, Point]],
    scale: float,
) -> Drawing | None:
    """Return the boards as they stand on a wall, with joints, cut-outs and dabs, or None where there is nothing."""
    outline = wall_outline(wall)
    own = [piece for piece in pieces if piece.wall == wall.id and not _is_reveal(piece)]
    if outline is None or not own:
        return None
    sheet = Sheet(scale)
    draw_wall(sheet, wall, quiet=True)
    for index, piece in enumerate(own):
        fill = PIECE_FILLS[index % 2]
        sheet.path("BOARDS", piece.on_wall, closed=True, pen="medium", fill=fill)
        for hole in piece.on_wall_holes:
            sheet.path("BOARDS", hole, closed=True, pen="medium", fill="#ffffff")
    for ribbon in ribbons:
        sheet.path("DABS", ribbon, closed=True, pen="fine", fill="#e2ddd2")
    for dab in dabs:
        sheet.path("DABS", dab, closed=True, pen="fine", fill="#cfc8b8")
    for piece in own:
        sheet.path("BOARDS", piece.on_wall, closed=True, pen="medium")
    for opening in wall.openings:
        box = opening_box(opening)
        if box is not None:
            sheet.path("OPENINGS", rectangle(*box), closed=True, pen="medium")
            label = plain(f"{name_of(opening.kind)} {name_of(opening.id)}", limit=28)
            sheet.words("NOTES", (box[0] + box[2] / 2, box[1] + box[3] / 2), label, letter_mm=2.2)
    for feature in wall.features:
        _cut_out(sheet, wall, feature.id)
    for x, y in fixings:
        arm = 1.1 * scale
        sheet.path("FIXINGS", ((x - arm, y - arm), (x + arm, y + arm)), pen="medium")
        sheet.path("FIXINGS", ((x - arm, y + arm), (x + arm, y - arm)), pen="medium")
    for start, end in joints_at_risk:
        sheet.path("BOARDS", (start, end), pen="thick", dash="dashed")
    for piece in own:
        _name_piece(sheet, piece)
    _joint_dimensions(sheet, own, outline, scale)
    name = name_of(wall.id)
    return Drawing(
        name="boards",
        title=f"{name}: boards, joints and adhesive",
        alt=f"Elevation of {name} with {len(own)} numbered pieces of board: "
        + "; ".join(f"{piece.id} {_size(piece.on_wall)}" for piece in own)
        + ". All in millimetres.",
        scale=scale,
        items=tuple(sheet.items),
    )


def _is_reveal(piece: PieceShape) -> bool:
    return any(word in piece.role for word in ("reveal", "jamb", "head", "sill", "soffit"))


def _size(points: Sequence[Point]) -> str:
    left, bottom, right, top = box_of(points)
    return f"{millimetres(right - left)} by {millimetres(top - bottom)}"


def _cut_out(sheet: Sheet, wall: WallResult, feature_id: str) -> None:
    feature = next(item for item in wall.features if item.id == feature_id)
    box = feature_box(feature)
    if box is None or box[2] <= 0 or box[3] <= 0:
        return
    hole = feature.kind in ("socket", "switch", "data", "aerial", "vent", "airbrick")
    layer = layer_of(feature.kind)
    sheet.path(
        layer,
        rectangle(*box),
        closed=True,
        pen="medium" if hole else "fine",
        dash="solid" if hole else "dashed",
        fill="#ffffff" if hole else None,
    )
    if hole:
        text = f"{name_of(feature.id)}: hole {millimetres(box[0])} in, {millimetres(box[1])} up"
        at = (box[0] + box[2] / 2, box[1] + box[3] + 1.2 * sheet.scale)
        sheet.words(layer, at, plain(text, limit=44), letter_mm=1.9, halo=True)


def _name_piece(sheet: Sheet, piece: PieceShape) -> None:
    at = roomiest_point(piece.on_wall, piece.on_wall_holes)
    left, _, right, _ = box_of(piece.on_wall)
    sheet.words("BOARDS", (at[0], at[1] + 1.0 * sheet.scale), piece.id, letter_mm=3.4, bold=True, halo=True)
    words = f"from board {piece.board}"
    if text_width_mm(words, 2.0) * sheet.scale < right - left:
        sheet.words("BOARDS", (at[0], at[1] - 2.6 * sheet.scale), words, letter_mm=2.0, halo=True)


def roomiest_point(outline: Sequence[Point], holes: Sequence[Sequence[Point]] = ()) -> Point:
    """Return a point well inside a right-angled outline: the middle of its largest clear cell.

    The outline's own x and y values cut it into cells; neighbouring cells are joined along the taller direction.
    """
    rings = [outline, *holes]
    xs = sorted({round(x, 3) for ring in rings for x, _ in ring})
    ys = sorted({round(y, 3) for ring in rings for _, y in ring})
    best, best_size = (sum(xs) / len(xs), sum(ys) / len(ys)), -1.0
    for i, x0 in enumerate(xs[:-1]):
        for x1 in xs[i + 1 :]:
            for j, y0 in enumerate(ys[:-1]):
                for y1 in ys[j + 1 :]:
                    size = min(x1 - x0, 1.6 * (y1 - y0)) + 0.001 * (x1 - x0) * (y1 - y0) / 1000
                    if size > best_size and _clear(rings, xs, ys, (x0, y0, x1, y1)):
                        best, best_size = ((x0 + x1) / 2, (y0 + y1) / 2), size
    return best


def _clear(
    rings: Sequence[Sequence[Point]], xs: Sequence[float], ys: Sequence[float], box: tuple[float, float, float, float]
) -> bool:
    x0, y0, x1, y1 = box
    columns = [(a + b) / 2 for a, b in zip(xs, xs[1:], strict=False) if a >= x0 and b <= x1]
    rows = [(a + b) / 2 for a, b in zip(ys, ys[1:], strict=False) if a >= y0 and b <= y1]
    return all(sum(_inside(ring, (x, y)) for ring in rings) % 2 == 1 for x in columns for y in rows)


def _inside(ring: Sequence[Point], at: Point) -> bool:
    inside = False
    for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True):
        if (y0 > at[1]) != (y1 > at[1]) and at[0] < x0 + (at[1] - y0) / (y1 - y0) * (x1 - x0):
            inside = not inside
    return inside


def _joint_dimensions(sheet: Sheet, pieces: Sequence[PieceShape], outline: Sequence[Point], scale: float) -> None:
    """Add the chain of joints along the floor and the whole, and joint positions from the left edge."""
    right = max(x for x, _ in outline)
    floor = min(bottom for _, bottom, _, _ in (box_of(piece.on_wall) for piece in pieces))
    boxes = [box_of(piece.on_wall) for piece in pieces]
    low = [box for box in boxes if box[1] < floor + 60.0]
    edges = sorted({round(x, 1) for box in low for x in (box[0], box[2])})
    edges = [edge for index, edge in enumerate(edges) if index == 0 or edge - edges[index - 1] > 6.0]
    row = -9.0 * scale
    for a, b in zip(edges, edges[1:], strict=False):
        sheet.dimension_x(a, b, 0.0, millimetres(b - a), line_at=row)
    if len(edges) > 3:
        running = "joints from the left: " + ", ".join(millimetres(edge) for edge in edges[1:-1])
        sheet.words("DIMENSIONS", (right / 2, row - 5.5 * scale), running, letter_mm=2.2)
    high = max(top for _, _, _, top in boxes)
    low_top = [box for box in boxes if box[3] > high - 60.0]
    top_edges = sorted({round(x, 1) for box in low_top for x in (box[0], box[2])})
    top_edges = [edge for index, edge in enumerate(top_edges) if index == 0 or edge - top_edges[index - 1] > 6.0]
    if top_edges != edges:
        row = max(y for _, y in outline) + 6.0 * scale
        for a, b in zip(top_edges, top_edges[1:], strict=False):
            sheet.dimension_x(a, b, max(y for _, y in outline), millimetres(b - a), line_at=row)


def cut_plan(
    room: str,
    *,
    stock: Sequence[BoardStock],
    pieces: Sequence[PieceShape],
    offcuts: Sequence[OffcutBox],
    scale: float = 25.0,
    across_mm: float = 269.0,
) -> list[Drawing]:
    """Return every board with the pieces cut from it and what is left, one row of boards to a drawing.

    Parameters
    ----------
    room
        The room's name.
    stock, pieces, offcuts
        The boards and what is cut from them.
    scale
        25 for 1:25.
    across_mm
        Width to fill, mm of paper.
    """
    rows: list[list[tuple[BoardStock, int, float]]] = []
    at_x = 0.0
    for size in stock:
        for number in size.numbers:
            if not rows or (at_x + size.width_mm) / scale > across_mm - 4.0:
                rows.append([])
                at_x = 0.0
            rows[-1].append((size, number, at_x))
            at_x += size.width_mm + BOARD_GAP_MM * scale
    drawings = []
    for index, row in enumerate(rows):
        sheet = Sheet(scale)
        numbers = [number for _, number, _ in row]
        for size, number, x in row:
            _board(sheet, size, number, (x, -size.length_mm), pieces, offcuts)
        own = [piece for piece in pieces if piece.board in numbers]
        kept = sum(1 for offcut in offcuts if offcut.reusable and offcut.board in numbers)
        part = f", part {index + 1} of {len(rows)}" if len(rows) > 1 else ""
        drawings.append(
            Drawing(
                name="cut_plan",
                title=f"{room}: cut plan{part}",
                alt=f"Cut plan of {len(row)} boards for {room}: "
                + "; ".join(f"board {piece.board}: {piece.id} {_size(piece.on_board)}" for piece in own)
                + f". {kept} offcuts are large enough to keep. All in millimetres, board face up.",
                scale=scale,
                items=tuple(sheet.items),
            )
        )
    return drawings


def _board(
    sheet: Sheet,
    size: BoardStock,
    number: int,
    origin: Point,
    pieces: Sequence[PieceShape],
    offcuts: Sequence[OffcutBox],
) -> None:
    scale = sheet.scale

    def place(points: Sequence[Point]) -> tuple[Point, ...]:
        return tuple((origin[0] + x, origin[1] + y) for x, y in points)

    sheet.path("BOARDS", place(rectangle(0, 0, size.width_mm, size.length_mm)), closed=True, pen="thick", hatch="waste")
    for offcut in offcuts:
        if offcut.board == number:
            _offcut(sheet, offcut, place)
    for piece in pieces:
        if piece.board != number:
            continue
        outline = place(piece.on_board)
        holes = [place(hole) for hole in piece.on_board_holes]
        sheet.path("BOARDS", outline, closed=True, pen="medium", fill="#ffffff")
        for hole in holes:
            sheet.path("BOARDS", hole, closed=True, pen="medium", fill="#ffffff", hatch="waste")
        at = roomiest_point(outline, holes)
        left, bottom, right, top = box_of(outline)
        small = min(right - left, top - bottom) < 9.0 * scale
        sheet.words("BOARDS", at, piece.id, letter_mm=2.2 if small else 3.2, bold=True, halo=True)
        where = name_of(piece.wall) + (f", {name_of(piece.opening)}" if piece.opening else "")
        if not small and text_width_mm(where, 1.9) * scale < right - left:
            sheet.words("BOARDS", (at[0], at[1] - 3.2 * scale), plain(where, limit=24), letter_mm=1.9, halo=True)
        for ring in (outline, *holes):
            _edge_figures(sheet, ring, box_of(ring) if len(ring) == 4 else None)
    middle = origin[0] + size.width_mm / 2
    words = f"board {number}: {millimetres(size.width_mm)} × {millimetres(size.length_mm)}"
    sheet.words("BOARDS", (middle, origin[1] - 4.6 * scale), words, letter_mm=2.2)


def _offcut(sheet: Sheet, offcut: OffcutBox, place: object) -> None:
    assert callable(place)
    left, bottom, right, top = offcut.box
    corners = place(rectangle(left, bottom, right - left, top - bottom))
    fill = "#ffffff" if offcut.reusable else None
    hatch = None if offcut.reusable else "waste"
    sheet.path("BOARDS", corners, closed=True, pen="thin", dash="dashed", fill=fill, hatch=hatch)
    if offcut.reusable and min(right - left, top - bottom) > 4.0 * sheet.scale:
        x, y = place([((left + right) / 2, (bottom + top) / 2)])[0]
        words = f"keep {offcut.name}: {millimetres(right - left)} × {millimetres(top - bottom)}"
        upright = text_width_mm(words, 1.9) * sheet.scale > right - left
        sheet.words("BOARDS", (x, y), words, letter_mm=1.9, turn_deg=90 if upright else 0)


def _edge_figures(sheet: Sheet, ring: Sequence[Point], box: tuple[float, float, float, float] | None) -> None:
    """Write the length of each edge beside it, inside the piece; of a rectangle one width and one height."""
    scale = sheet.scale
    clockwise = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True)) < 0
    done: set[str] = set()
    for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True):
        length = math.hypot(x1 - x0, y1 - y0)
        level = abs(y1 - y0) <= abs(x1 - x0)
        kind = "level" if level else "upright"
        if length < EDGE_LABEL_LEAST_MM or (box is not None and kind in done):
            continue
        text = millimetres(length)
        if text_width_mm(text, NOTCH_LETTER_MM) * scale > length:
            continue
        done.add(kind)
        inward = (-(y1 - y0) / length, (x1 - x0) / length)
        if clockwise:
            inward = (-inward[0], -inward[1])
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        if level:
            sheet.words(
                "DIMENSIONS",
                (x, y + (0.9 if inward[1] > 0 else -2.9) * scale),
                text,
                letter_mm=NOTCH_LETTER_MM,
                halo=True,
            )
        else:
            sheet.words(
                "DIMENSIONS",
                (x + (2.9 if inward[0] > 0 else -0.9) * scale, y),
                text,
                letter_mm=NOTCH_LETTER_MM,
                turn_deg=90,
                halo=True,
            )
