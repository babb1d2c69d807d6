"""Boards on the wall, and the wall's pieces on their boards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from intake.report.drawing import Drawing, Point, Sheet, rectangle, text_width_mm
from intake.report.elevation import draw_wall, feature_box, feature_label, layer_of, opening_box, wall_outline
from intake.report.words import millimetres, name_of, plain
from intake.results import WallResult

PIECE_FILLS = ("#ffffff", "#f1f1f1")
HOLES = ("socket", "switch", "data", "aerial", "vent", "airbrick", "air_brick", "light")

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleOnBoard:
    """A hole for a socket or the like, mm: its box on the board; how far in and up it is on the piece as it hangs."""

    name: str
    box: Box
    from_left_mm: float
    from_foot_mm: float


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
    turned_deg: int = 0
    holes: tuple[HoleOnBoard, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class OffcutBox:
    """What is left of a board, mm in the board's frame."""

    name: str
    board: int
    box: Box
    reusable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardStock:
    """One size of board and how many of it, numbered as the pieces name them."""

    width_mm: float
    length_mm: float
    numbers: tuple[int, ...]


def box_of(points: Sequence[Point]) -> Box:
    """Return left, bottom, right, top."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def boards_elevation(
    wall: WallResult,
    *,
    pieces: Sequence[PieceShape],
    dabs: Sequence[tuple[Point, ...]],
    ribbons: Sequence[tuple[Point, ...]],
    lines: Sequence[tuple[Point, ...]],
    fixings: Sequence[Point],
    joints_at_risk: Sequence[tuple[Point, Point]],
    scale: float,
) -> Drawing | None:
    """Return the boards as they stand on a wall, with joints, cut-outs and dabs, or None where there is nothing."""
    outline = wall_outline(wall)
    own = [piece for piece in pieces if piece.wall == wall.id and len(piece.on_wall) > 2 and not is_reveal(piece)]
    if outline is None or not own:
        return None
    sheet = Sheet(scale)
    draw_wall(sheet, wall, quiet=True)
    for index, piece in enumerate(own):
        fill = PIECE_FILLS[index % 2]
        sheet.path("BOARDS", piece.on_wall, closed=True, pen="medium", fill=fill)
        for hole in piece.on_wall_holes:
            sheet.path("BOARDS", hole, closed=True, pen="medium", fill="#ffffff")
    for layer_fill, patches in (("#e2ddd2", ribbons), ("#cfc8b8", dabs)):
        for patch in patches:
            sheet.path("DABS", patch, closed=True, pen="fine", fill=layer_fill)
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
    _draw_fixings(sheet, lines, fixings)
    for start, end in joints_at_risk:
        sheet.path("BOARDS", (start, end), pen="thick", dash="dashed")
    obstacles = _obstacles(wall, scale)
    for piece in own:
        _name_piece(sheet, piece, obstacles)
    _joint_dimensions(sheet, own, outline, scale)
    name = name_of(wall.id)
    return Drawing(
        name="boards",
        title=f"{name}: boards, joints and fixing",
        alt=f"Elevation of {name} with {len(own)} numbered pieces of board: "
        + "; ".join(f"{piece.id} {size_words(piece.on_wall)}" for piece in own)
        + ". All in millimetres.",
        scale=scale,
        items=tuple(sheet.items),
    )


def _draw_fixings(sheet: Sheet, lines: Sequence[tuple[Point, ...]], fixings: Sequence[Point]) -> None:
    arm = 1.1 * sheet.scale
    for line in lines:
        sheet.path("FIXINGS", line, pen="thin", dash="chain")
    for x, y in fixings:
        sheet.path("FIXINGS", ((x - arm, y - arm), (x + arm, y + arm)), pen="medium")
        sheet.path("FIXINGS", ((x - arm, y + arm), (x + arm, y - arm)), pen="medium")


def is_reveal(piece: PieceShape) -> bool:
    """Return whether a piece goes into an opening, not on the wall."""
    return any(word in piece.role for word in ("reveal", "jamb", "head", "sill", "soffit"))


def size_words(points: Sequence[Point]) -> str:
    """Return ``1 200 by 2 620``, the size of the box about an outline."""
    left, bottom, right, top = box_of(points)
    return f"{millimetres(right - left)} by {millimetres(top - bottom)}"


def _cut_out(sheet: Sheet, wall: WallResult, feature_id: str) -> None:
    feature = next(item for item in wall.features if item.id == feature_id)
    box = feature_box(feature)
    if box is None or box[2] <= 0 or box[3] <= 0:
        return
    hole = feature.kind in HOLES
    sheet.path(
        layer_of(feature.kind),
        rectangle(*box),
        closed=True,
        pen="medium" if hole else "fine",
        dash="solid" if hole else "dashed",
        fill="#ffffff" if hole else None,
    )
    at = (box[0] + box[2] / 2, box[1] + box[3] + 1.2 * sheet.scale)
    sheet.words(layer_of(feature.kind), at, plain(feature_label(feature), limit=26), letter_mm=1.9, halo=True)


def _obstacles(wall: WallResult, scale: float) -> list[Box]:
    """Return what the names of pieces should keep clear of: things on the wall with their labels."""
    boxes = []
    for feature in wall.features:
        box = feature_box(feature)
        if box is not None:
            wide = max(box[2], text_width_mm(feature_label(feature), 1.9) * scale) / 2 + scale
            middle = box[0] + box[2] / 2
            boxes.append((middle - wide, box[1] - scale, middle + wide, box[1] + box[3] + 5 * scale))
    return boxes


def _name_piece(sheet: Sheet, piece: PieceShape, obstacles: Sequence[Box]) -> None:
    scale = sheet.scale
    words = f"from board {piece.board}"
    cell = roomiest_cell(piece.on_wall, piece.on_wall_holes)
    fits = text_width_mm(words, 2.0) * scale < cell[2] - cell[0]
    wide = (text_width_mm(words, 2.0) if fits else 4.0 * len(piece.id)) * scale / 2
    x = (cell[0] + cell[2]) / 2
    heights = [cell[1] + share * (cell[3] - cell[1]) for share in (0.5, 0.65, 0.8, 0.35, 0.2, 0.9)]
    clear = [
        y for y in heights if not any(overlap((x - wide, y - 4 * scale, x + wide, y + 6 * scale), o) for o in obstacles)
    ]
    y = (clear or heights)[0]
    plate = rectangle(x - wide, y - 3.4 * scale if fits else y, 2 * wide, (8.4 if fits else 5.0) * scale)
    sheet.path("NOTES", plate, closed=True, pen=None, fill="#ffffff")
    sheet.words("BOARDS", (x, y + 1.0 * scale), piece.id, letter_mm=3.4, bold=True, halo=True)
    if fits:
        sheet.words("BOARDS", (x, y - 2.6 * scale), words, letter_mm=2.0, halo=True)


def overlap(one: Box, other: Box) -> bool:
    """Return whether two boxes share any area."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def roomiest_cell(outline: Sequence[Point], holes: Sequence[Sequence[Point]] = ()) -> Box:
    """Return left, bottom, right, top of the roomiest rectangle inside a right-angled outline.

    The outline's own x and y values cut it into cells; rectangles of whole cells are tried.
    """
    rings = [outline, *holes]
    xs = sorted({round(x, 3) for ring in rings for x, _ in ring})
    ys = sorted({round(y, 3) for ring in rings for _, y in ring})
    best, best_size = (xs[0], ys[0], xs[-1], ys[-1]), -1.0
    for i, x0 in enumerate(xs[:-1]):
        for x1 in xs[i + 1 :]:
            for j, y0 in enumerate(ys[:-1]):
                for y1 in ys[j + 1 :]:
                    size = min(x1 - x0, 1.6 * (y1 - y0)) + 0.001 * (x1 - x0) * (y1 - y0) / 1000
                    if size > best_size and _clear(rings, xs, ys, (x0, y0, x1, y1)):
                        best, best_size = (x0, y0, x1, y1), size
    return best


def _clear(rings: Sequence[Sequence[Point]], xs: Sequence[float], ys: Sequence[float], box: Box) -> bool:
    x0, y0, x1, y1 = box
    columns = [(a + b) / 2 for a, b in pairwise(xs) if a >= x0 and b <= x1]
    rows = [(a + b) / 2 for a, b in pairwise(ys) if a >= y0 and b <= y1]
    return all(sum(inside(ring, (x, y)) for ring in rings) % 2 == 1 for x in columns for y in rows)


def inside(ring: Sequence[Point], at: Point) -> bool:
    """Return whether a point lies inside a closed ring (even-odd rule)."""
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
    for a, b in pairwise(edges):
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
        for a, b in pairwise(top_edges):
            sheet.dimension_x(a, b, max(y for _, y in outline), millimetres(b - a), line_at=row)
