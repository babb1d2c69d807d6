"""Every board with the pieces cut from it, the holes in them, and what is left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from intake.report.board_drawings import (
    BoardStock,
    Box,
    HoleOnBoard,
    OffcutBox,
    PieceShape,
    box_of,
    inside,
    is_reveal,
    overlap,
    roomiest_cell,
    size_words,
)
from intake.report.drawing import Drawing, Point, Sheet, rectangle, text_width_mm
from intake.report.words import millimetres, name_of, plain

EDGE_LABEL_LEAST_MM = 60.0
NOTCH_LETTER_MM = 1.9
BOARD_GAP_MM = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSet:
    """Boards that are counted together: those of a room, or those of the reveals."""

    word: str
    stock: tuple[BoardStock, ...]
    pieces: tuple[PieceShape, ...]
    offcuts: tuple[OffcutBox, ...]


def cut_plan(sets: Sequence[CutSet], *, title: str, scale: float = 25.0, across_mm: float = 269.0) -> list[Drawing]:
    """Return every board with the pieces cut from it and what is left, one row of boards to a drawing.

    Parameters
    ----------
    sets
        The boards, room by room, and those of the reveals.
    title
        Heading of the drawings.
    scale
        25 for 1:25.
    across_mm
        Width to fill, mm of paper.
    """
    rows: list[list[tuple[CutSet, BoardStock, int, float]]] = []
    at_x = 0.0
    for cut_set in sets:
        for size in cut_set.stock:
            for number in size.numbers:
                if not rows or (at_x + size.width_mm) / scale > across_mm - 4.0:
                    rows.append([])
                    at_x = 0.0
                rows[-1].append((cut_set, size, number, at_x))
                at_x += size.width_mm + BOARD_GAP_MM * scale
    drawings = []
    for index, row in enumerate(rows):
        sheet = Sheet(scale)
        told = []
        for cut_set, size, number, x in row:
            _board(sheet, cut_set, size, number, (x, -size.length_mm))
            own = [
                f"{piece.id} {size_words(piece.on_board)}"
                for piece in cut_set.pieces
                if piece.board == number and piece.on_board
            ]
            told.append(f"{cut_set.word} {number}: {', '.join(own) or 'nothing'}")
        part = f", part {index + 1} of {len(rows)}" if len(rows) > 1 else ""
        drawings.append(
            Drawing(
                name="cut_plan",
                title=f"{title}{part}",
                alt=f"Cut plan of {len(row)} boards. {'; '.join(told)}. All in millimetres, board face up.",
                scale=scale,
                items=tuple(sheet.items),
            )
        )
    return drawings


def _board(sheet: Sheet, cut_set: CutSet, size: BoardStock, number: int, origin: Point) -> None:
    scale = sheet.scale

    def place(points: Sequence[Point]) -> tuple[Point, ...]:
        return tuple((origin[0] + x, origin[1] + y) for x, y in points)

    sheet.path("BOARDS", place(rectangle(0, 0, size.width_mm, size.length_mm)), closed=True, pen="thick", hatch="waste")
    for offcut in cut_set.offcuts:
        if offcut.board == number:
            _offcut(sheet, offcut, place)
    for piece in cut_set.pieces:
        if piece.board != number or len(piece.on_board) < 3:
            continue
        outline = place(piece.on_board)
        holes = [place(hole) for hole in piece.on_board_holes]
        sheet.path("BOARDS", outline, closed=True, pen="medium", fill="#ffffff")
        for hole in holes:
            sheet.path("BOARDS", hole, closed=True, pen="medium", fill="#ffffff", hatch="waste")
        around = [box_of(place([(c.box[0], c.box[1]), (c.box[2], c.box[3] + 4 * scale)])) for c in piece.holes]
        _name_cut(sheet, piece, outline, holes, around)
        for cut in piece.holes:
            _hole(sheet, cut, place, size.width_mm)
    middle = origin[0] + size.width_mm / 2
    words = f"{cut_set.word} {number}: {millimetres(size.width_mm)} × {millimetres(size.length_mm)}"
    sheet.words("BOARDS", (middle, origin[1] - 4.6 * scale), words, letter_mm=2.2)


def _name_cut(
    sheet: Sheet,
    piece: PieceShape,
    outline: Sequence[Point],
    holes: Sequence[Sequence[Point]],
    obstacles: Sequence[Box],
) -> None:
    """Write a piece's name and size in the plan: a rectangle's in figures, a shape's along its edges."""
    scale = sheet.scale
    left, bottom, right, top = roomiest_cell(outline, holes)
    x = (left + right) / 2
    heights = [bottom + share * (top - bottom) for share in (0.5, 0.65, 0.8, 0.35, 0.9)]
    clear = [
        y for y in heights if not any(overlap((left, y - 8 * scale, right, y + 6 * scale), box) for box in obstacles)
    ]
    y = (clear or heights)[0]
    shaped = len(outline) != 4 or bool(holes)
    part = name_of(piece.role).replace("reveal ", "") if is_reveal(piece) else ""
    where = ", ".join(text for text in (name_of(piece.wall), name_of(piece.opening or ""), part) if text)
    lines = [where] if shaped else [size_words(outline).replace(" by ", " × "), where]
    wide = max(text_width_mm(line, 1.9) for line in lines[:1]) * scale
    if wide > right - left and not shaped and top - bottom > wide:
        sheet.words("BOARDS", (x - 0.4 * scale, y), f"{piece.id}   {lines[0]}", letter_mm=1.9, turn_deg=90, halo=True)
    else:
        low = top - bottom < 12.0 * scale
        name_y = y + (0.4 if low else 1.0) * scale
        sheet.words("BOARDS", (x, name_y), piece.id, letter_mm=2.4 if low else 3.2, bold=True, halo=True)
        for index, line in enumerate(lines):
            if text_width_mm(line, 1.9) * scale < right - left and y - (3.0 + 3.2 * index) * scale > bottom:
                sheet.words(
                    "BOARDS", (x, name_y - (3.2 + 3.0 * index) * scale), plain(line, limit=26), letter_mm=1.9, halo=True
                )
    if shaped:
        for ring in (outline, *holes):
            _edge_figures(sheet, ring)


def _hole(sheet: Sheet, hole: HoleOnBoard, place: object, board_mm: float) -> None:
    assert callable(place)
    left, bottom, right, top = hole.box
    sheet.path("ELECTRICAL", place(rectangle(left, bottom, right - left, top - bottom)), closed=True, pen="medium")
    words = plain(f"{hole.name}: {millimetres(hole.from_left_mm)} in, {millimetres(hole.from_foot_mm)} up", limit=40)
    half = text_width_mm(words, 1.8) * sheet.scale / 2
    middle = min(max((left + right) / 2, half), max(half, board_mm - half))
    x, y = place([(middle, top)])[0]
    sheet.words("ELECTRICAL", (x, y + 1.0 * sheet.scale), words, letter_mm=1.8, halo=True)


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


def _edge_figures(sheet: Sheet, ring: Sequence[Point]) -> None:
    """Write the length of each edge beside it, inside the piece."""
    scale = sheet.scale
    clockwise = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True)) < 0
    for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True):
        length = math.hypot(x1 - x0, y1 - y0)
        text = millimetres(length)
        if length < EDGE_LABEL_LEAST_MM or text_width_mm(text, NOTCH_LETTER_MM) * scale > length:
            continue
        inward = (-(y1 - y0) / length, (x1 - x0) / length)
        if clockwise:
            inward = (-inward[0], -inward[1])
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        if abs(y1 - y0) <= abs(x1 - x0):
            at, turn = (x, y + (0.9 if inward[1] > 0 else -2.9) * scale), 0.0
        else:
            at, turn = (x + (2.9 if inward[0] > 0 else -0.9) * scale, y), 90.0
        sheet.words("DIMENSIONS", at, text, letter_mm=NOTCH_LETTER_MM, turn_deg=turn, halo=True)


def on_board_place(piece: PieceShape, at: Point) -> Point:
    """Return where a point of the wall lies on the board that a piece is cut from, mm."""
    quarter = round(piece.turned_deg / 90) % 4
    cos, sin = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter]
    (x0, y0), (u0, v0) = piece.on_wall[0], piece.on_board[0]
    dx, dy = at[0] - x0, at[1] - y0
    return u0 + cos * dx - sin * dy, v0 + sin * dx + cos * dy


def hole_on_board(piece: PieceShape, name: str, box: Box) -> HoleOnBoard | None:
    """Return a hole of the wall (left, bottom, width, height, mm) as cut in a piece, or None where it misses it."""
    left, bottom, _, _ = box_of(piece.on_wall)
    x, y = box[0] + box[2] / 2, box[1] + box[3] / 2
    if not inside(piece.on_wall, (x, y)):
        return None
    first = on_board_place(piece, (box[0], box[1]))
    last = on_board_place(piece, (box[0] + box[2], box[1] + box[3]))
    placed = (min(first[0], last[0]), min(first[1], last[1]), max(first[0], last[0]), max(first[1], last[1]))
    return HoleOnBoard(name=name, box=placed, from_left_mm=box[0] - left, from_foot_mm=box[1] - bottom)
