"""Boards, pieces, offcuts and fixings as the estimate gives them, ready to be drawn and listed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from intake.report import reading
from intake.report.board_drawings import HOLES, BoardStock, OffcutBox, PieceShape, is_reveal
from intake.report.cut_plan import hole_on_board
from intake.report.drawing import Point
from intake.report.elevation import feature_box
from intake.report.reading import Data
from intake.report.words import name_of
from intake.results import Geometry

REVEALS = "reveals"
MOST_BOARDS = 400  # more than any room takes: a count beyond it is a slip and is not drawn out
LAYOUT_KEYS = {"count", "pieces", "offcuts", "board"}


def layout_of_wall(estimate: Data, wall: str) -> Data:
    """Return the layout of the room that a wall's boards belong to; empty where there is none."""
    for room in reading.items(estimate, "rooms"):
        boards = reading.find(room, "boards")
        if any(piece.get("wall") == wall for piece in reading.items(boards, "pieces")):
            return boards  # type: ignore[no-any-return]
    return {}


def layouts_of(estimate: Data) -> list[tuple[str, Data]]:
    """Return every layout with its title: the wall boards room by room, then the boards of the reveals."""
    found: list[tuple[str, Data]] = []
    for room in reading.items(estimate, "rooms"):
        boards = reading.find(room, "boards")
        if isinstance(boards, dict):
            found.append((name_of(reading.text(room, "id", "room") or "room"), boards))
    found += [(REVEALS, layout) for layout in reading.records(reading.find(estimate, "reveals"), LAYOUT_KEYS)]
    return found


def ring(data: object) -> tuple[Point, ...]:
    """Return a list of pairs as points; nothing where it is not one."""
    return tuple(reading.points(data))


def polygon(data: object) -> tuple[Point, ...]:
    """Return a list of pairs as an outline; nothing where it is not one."""
    corners = ring(data)
    return corners if len(corners) > 2 else ()


def rings(data: Data, key: str) -> list[tuple[Point, ...]]:
    """Return the polygons listed under a key."""
    found = reading.find(data, key)
    return [points for item in found if len(points := ring(item)) > 2] if isinstance(found, Sequence) else []


def _outline(data: object) -> tuple[tuple[Point, ...], tuple[tuple[Point, ...], ...]]:
    if isinstance(data, dict):
        return polygon(data.get("outer")), tuple(rings(data, "holes"))
    return polygon(data), ()


def pieces_of(layout: Data) -> list[PieceShape]:
    """Return the pieces of a room's layout."""
    pieces = []
    labels = piece_labels(reading.items(layout, "pieces"))
    for piece, label in zip(reading.items(layout, "pieces"), labels, strict=True):
        on_wall, wall_holes = _outline(piece.get("on_wall"))
        on_board, board_holes = _outline(piece.get("on_board"))
        if not on_wall and not on_board:
            continue
        pieces.append(
            PieceShape(
                id=label,
                wall=reading.text(piece, "wall"),
                role=reading.text(piece, "role", "part"),
                board=int(reading.number(piece, "board") or 0),
                on_wall=on_wall,
                on_wall_holes=wall_holes,
                on_board=on_board,
                on_board_holes=board_holes,
                opening=reading.text(piece, "opening") or None,
                turned_deg=int(reading.number(piece, "turned_deg") or 0),
            )
        )
    return pieces


def piece_labels(pieces: Sequence[Data]) -> list[str]:
    """Return a short label for each piece: the fewest letters that tell the walls apart, and a number."""
    if pieces and all("reveal" in reading.text(piece, "role") for piece in pieces):
        return [f"R{index + 1}" for index in range(len(pieces))]
    walls = list(dict.fromkeys(reading.text(piece, "wall") for piece in pieces))
    names = ["".join(char for char in name_of(wall).title() if char.isalnum()) or "W" for wall in walls]
    length = next((n for n in range(1, 5) if len({name[:n] for name in names}) == len(names)), 0)
    short = {
        wall: name[:length] if length else f"{index + 1}."
        for index, (wall, name) in enumerate(zip(walls, names, strict=True))
    }
    counts: dict[str, int] = {}
    labels = []
    for piece in pieces:
        wall = reading.text(piece, "wall")
        counts[wall] = counts.get(wall, 0) + 1
        labels.append(f"{short[wall]}{counts[wall]}")
    return labels


def with_holes(pieces: Sequence[PieceShape], geometry: Geometry) -> list[PieceShape]:
    """Return the pieces with the holes for sockets and the like that fall in them."""
    walls = {wall.id: wall for wall in geometry.walls}
    found = []
    for piece in pieces:
        holes = []
        on_face = piece.wall in walls and not is_reveal(piece)
        for feature in walls[piece.wall].features if on_face else []:
            box = feature_box(feature)
            if (
                box is not None
                and box[2] > 0
                and box[3] > 0
                and feature.kind in HOLES
                and piece.on_wall
                and piece.on_board
            ):
                hole = hole_on_board(piece, name_of(feature.id), box)
                holes += [hole] if hole is not None else []
        found.append(replace(piece, holes=tuple(holes)))
    return found


def offcuts_of(layout: Data) -> list[OffcutBox]:
    """Return the offcuts of a room's layout; those to keep are lettered."""
    boxes = []
    letters = iter("abcdefghijklmnopqrstuvwxyz")
    for offcut in reading.items(layout, "offcuts"):
        corners = [reading.number(offcut, f"box.{index}") for index in range(4)]
        known = [corner for corner in corners if corner is not None]
        if len(known) < 4:
            continue
        reusable = bool(offcut.get("reusable"))
        left, bottom, right, top = known
        boxes.append(
            OffcutBox(
                name=next(letters, "z") if reusable else "",
                board=int(reading.number(offcut, "board") or 0),
                box=(left, bottom, right, top),
                reusable=reusable,
            )
        )
    return boxes


def stock_of(layout: Data) -> list[BoardStock]:
    """Return the boards of a room's layout by size."""
    width, length = reading.number(layout, "board.width_mm"), reading.number(layout, "board.length_mm")
    count = min(int(reading.number(layout, "count") or 0), MOST_BOARDS)
    numbers = sorted({piece.board for piece in pieces_of(layout) if 0 <= piece.board <= MOST_BOARDS})
    if width is None or length is None or not count:
        return []
    first = min(numbers, default=1)
    return [BoardStock(width_mm=width, length_mm=length, numbers=tuple(range(first, first + max(count, len(numbers)))))]


def fixing_of(estimate: Data, wall: str) -> Data:
    """Return how one wall's boards are fixed; empty where the estimate does not say."""
    found = reading.records(estimate, {"dabs", "fixings"}, wall=wall)
    return found[0] if found else {}


def joints_at_risk(layout: Data, wall: str) -> list[tuple[Point, Point]]:
    """Return the joints of one wall that may crack."""
    joints = [joint for joint in reading.items(layout, "joints") if joint.get("risk") and joint.get("wall") == wall]
    ends = [reading.points([joint.get("start"), joint.get("end")]) for joint in joints]
    return [(pair[0], pair[1]) for pair in ends if len(pair) == 2]
