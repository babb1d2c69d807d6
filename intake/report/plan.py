"""The room from above: its walls, the lining, and the floor that the lining takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from intake.report.drawing import Anchor, Dash, Drawing, Point, Sheet, text_width_mm
from intake.report.words import millimetres, plain

UNKNOWN_THICKNESS_MM = 110.0  # drawn depth of a wall whose thickness was not measured
UNKNOWN_LENGTH_MM = 1500.0  # drawn length of a wall that was not measured
TURN = ((1.0, 0.0), (0.0, -1.0), (-1.0, 0.0), (0.0, 1.0))  # clockwise seen from above, the room on the right


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWall:
    """One wall of a room as drawn in plan, mm; ``openings`` are (left, width) along it."""

    name: str
    length_mm: float | None
    thickness_mm: float | None
    build_up_mm: float
    openings: tuple[tuple[float, float], ...] = ()


def room_plan(room: str, walls: Sequence[PlanWall | None], *, scale: float, floor_words: str) -> Drawing | None:
    """Return the plan of a room, its corners drawn square, or None where no wall was measured.

    Parameters
    ----------
    room
        The room's name.
    walls
        Clockwise seen from above; None is a gap.
    scale
        50 for 1:50.
    floor_words
        The floor area lost, in words, set in the room.
    """
    if not any(wall is not None and wall.length_mm is not None for wall in walls):
        return None
    sheet = Sheet(scale)
    at: Point = (0.0, 0.0)
    corners: list[Point] = [at]
    closed = len(walls) >= 4
    for index, wall in enumerate(walls):
        along = TURN[index % 4]
        length = _length(walls, index)
        if wall is not None:
            before = _lining_of(walls, index - 1, closed=closed)
            after = _lining_of(walls, index + 1, closed=closed)
            _draw(sheet, wall, at, along, length, before=before, after=after)
        at = (at[0] + along[0] * length, at[1] + along[1] * length)
        corners.append(at)
    x = sum(point[0] for point in corners) / len(corners)
    y = sum(point[1] for point in corners) / len(corners)
    if len(walls) == 1:
        y -= 14.0 * scale
    sheet.words("NOTES", (x, y), plain(room, limit=30), letter_mm=3.0, bold=True, halo=True)
    sheet.words("NOTES", (x, y - 4.5 * scale), floor_words, letter_mm=2.3, halo=True)
    lined = [wall for wall in walls if wall is not None and wall.build_up_mm > 0]
    names = ", ".join(f"{wall.name} comes forward {wall.build_up_mm:g}" for wall in lined) or "no wall is lined"
    return Drawing(
        name="plan",
        title=f"{room}: plan with the floor lost",
        alt=f"Plan of {room} from above: {names}. {floor_words}. Corners are drawn square. All in millimetres.",
        scale=scale,
        items=tuple(sheet.items),
    )


def _length(walls: Sequence[PlanWall | None], index: int) -> float:
    """Return a wall's length as drawn, mm: measured, else that of the wall opposite, else a stand-in."""
    for place in (index, index + 2, index - 2):
        if 0 <= place < len(walls) and (place == index or len(walls) >= 3):
            wall = walls[place]
            if wall is not None and wall.length_mm is not None:
                return wall.length_mm
    return UNKNOWN_LENGTH_MM


def _lining_of(walls: Sequence[PlanWall | None], index: int, *, closed: bool) -> float:
    if not closed and not 0 <= index < len(walls):
        return 0.0
    wall = walls[index % len(walls)]
    return wall.build_up_mm if wall is not None else 0.0


def _draw(sheet: Sheet, wall: PlanWall, at: Point, along: Point, length: float, *, before: float, after: float) -> None:
    """Add one wall: the structure outside the line, the lining inside, its name and length."""
    outward = (-along[1], along[0])

    def place(s: float, out: float) -> Point:
        return at[0] + along[0] * s + outward[0] * out, at[1] + along[1] * s + outward[1] * out

    known = wall.length_mm is not None
    thick = wall.thickness_mm if wall.thickness_mm is not None else UNKNOWN_THICKNESS_MM
    solid = known and wall.thickness_mm is not None
    edges = sorted((max(0.0, left), min(length, left + width)) for left, width in wall.openings)
    start = 0.0
    for left, right in [*edges, (length, length)]:
        if left > start:
            ring = [place(start, 0), place(left, 0), place(left, thick), place(start, thick)]
            dash: Dash = "solid" if solid else "dashed"
            hatch = "brick" if solid else None
            sheet.path("WALL", ring, closed=True, pen="medium", dash=dash, fill="#efe9e2", hatch=hatch)
        start = right
    for left, right in edges:
        for out in (0.0, 0.45 * thick, 0.55 * thick, thick):
            sheet.path("OPENINGS", (place(left, out), place(right, out)), pen="fine")
    depth = wall.build_up_mm
    if depth > 0:
        stops = [
            before if before > 0 else 0.0,
            *(edge for pair in edges for edge in pair),
            length - (after if after else 0.0),
        ]
        for left, right in zip(stops[::2], stops[1::2], strict=True):
            if right > left:
                ring = [place(left, 0), place(right, 0), place(right, -depth), place(left, -depth)]
                sheet.path("INSULATION", ring, closed=True, pen="thin", fill="#ffffff", hatch="insulation")
        if before > 0:
            ring = [place(0, 0), place(before, 0), place(before, -depth), place(0, -depth)]
            sheet.path("INSULATION", ring, closed=True, pen="thin", fill="#ffffff", hatch="insulation")
    _label(sheet, wall, place, length, thick, along)


def _label(sheet: Sheet, wall: PlanWall, place: object, length: float, thick: float, along: Point) -> None:
    assert callable(place)
    scale = sheet.scale
    text = plain(wall.name, limit=30)
    words = f"{text}  {millimetres(length)}" if wall.length_mm is not None else f"{text}, not measured"
    middle = place(length / 2, thick + 3.0 * scale)
    if along[0]:
        y = middle[1] if along[0] > 0 else middle[1] - 2.0 * scale
        sheet.words("DIMENSIONS", (middle[0], y), words, letter_mm=2.4)
        return
    wide = text_width_mm(words, 2.4) * scale > length
    turn = 0.0 if wide else 90.0
    x = middle[0] + (2.0 * scale if along[1] < 0 and not wide else 0.0)
    anchor: Anchor = ("start" if along[1] < 0 else "end") if wide else "middle"
    sheet.words("DIMENSIONS", (x, middle[1]), words, letter_mm=2.4, turn_deg=turn, anchor=anchor)
