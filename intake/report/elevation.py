"""The wall as measured, drawn square on: outline, openings, things on it, dimension lines."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from intake.report.drawing import Drawing, Point, Sheet, rectangle, text_width_mm
from intake.report.words import KEYS, NBSP, listing, millimetres, name_of, plain, quantity, wall_length
from intake.results import FeatureResult, OpeningResult, ValueSd, WallResult

ROW_MM = 7.0  # between rows of dimension lines, on paper
FIRST_ROW_MM = 8.0
LABEL_LIMIT = 28
ELECTRICAL = {"socket", "switch", "light", "fuse_board", "consumer_unit", "meter", "aerial", "thermostat"}
PLUMBING = {"radiator", "pipe", "boiler", "gas_pipe", "flue", "fire", "towel_rail"}


def layer_of(kind: str) -> str:
    """Return the trade's layer for a kind of feature."""
    plain_kind = kind.lower()
    if plain_kind in ELECTRICAL:
        return "ELECTRICAL"
    return "HEATING-PLUMBING" if plain_kind in PLUMBING else "JOINERY"


def opening_box(opening: OpeningResult) -> tuple[float, float, float, float] | None:
    """Return left, bottom, width, height of an opening in mm, or None where one was not measured."""
    parts = (opening.left_mm, opening.sill_mm, opening.width_mm, opening.height_mm)
    if any(part is None for part in parts):
        return None
    left, bottom, width, height = (part.value for part in parts if part is not None)
    return left, bottom, width, height


def feature_box(feature: FeatureResult) -> tuple[float, float, float, float] | None:
    """Return left, bottom, width, height of a feature in mm, a missing size as 0; None where its place is missing."""
    if feature.left_mm is None or feature.bottom_mm is None:
        return None
    width = feature.width_mm.value if feature.width_mm else 0.0
    height = feature.height_mm.value if feature.height_mm else 0.0
    return feature.left_mm.value, feature.bottom_mm.value, width, height


def wall_outline(wall: WallResult) -> tuple[Point, ...] | None:
    """Return the corners of the plaster, bottom left first, anticlockwise; a rectangle where only sizes are known."""
    if wall.outline_mm and len(wall.outline_mm) == 4:
        return tuple((float(x), float(y)) for x, y in wall.outline_mm)
    if wall.width_mm is None or wall.height_mm is None:
        return None
    return rectangle(0.0, 0.0, wall.width_mm.value, wall.height_mm.value)


def elevation(wall: WallResult, *, scale: float) -> Drawing | None:
    """Return the dimensioned elevation of a wall, or None where its size was not measured.

    Parameters
    ----------
    wall
        The wall as geometry.json has it.
    scale
        20 for 1:20.
    """
    outline = wall_outline(wall)
    if outline is None:
        return None
    sheet = Sheet(scale)
    draw_wall(sheet, wall)
    label_things(sheet, wall)
    _dimension_rows(sheet, wall, outline)
    _dimension_columns(sheet, wall, outline)
    name = name_of(wall.id)
    return Drawing(
        name="elevation",
        title=f"{name}: elevation as measured",
        alt=_alt(wall, name),
        scale=scale,
        items=tuple(sheet.items),
    )


def draw_wall(sheet: Sheet, wall: WallResult, *, quiet: bool = False) -> None:
    """Add the outline, the openings and the things on the wall, without words."""
    outline = wall_outline(wall)
    if outline is None:
        return
    sheet.path("WALL", outline, closed=True, pen="thick", fill=None)
    for opening in wall.openings:
        _draw_opening(sheet, opening, quiet=quiet)
    for feature in wall.features:
        _draw_feature(sheet, feature)


def opening_outline(opening: OpeningResult) -> tuple[Point, ...] | None:
    """Return the opening's corners on the plaster, bottom left first, or None."""
    if opening.front_mm and len(opening.front_mm) == 4:
        return tuple((float(x), float(y)) for x, y in opening.front_mm)
    box = opening_box(opening)
    return rectangle(*box) if box else None


def _draw_opening(sheet: Sheet, opening: OpeningResult, *, quiet: bool) -> None:
    front = opening_outline(opening)
    if front is None:
        return
    sheet.path("OPENINGS", front, closed=True, pen="medium", fill="#ffffff")
    back = (
        tuple((float(x), float(y)) for x, y in opening.back_mm)
        if opening.back_mm and len(opening.back_mm) == 4
        else None
    )
    if back is None or quiet:
        return
    sheet.path("OPENINGS", back, closed=True, pen="thin", fill="#eef3f7")
    for near, far in zip(front, back, strict=True):
        sheet.path("OPENINGS", (near, far), pen="fine")


def _draw_feature(sheet: Sheet, feature: FeatureResult) -> None:
    box = feature_box(feature)
    if box is None:
        return
    layer = layer_of(feature.kind)
    left, bottom, width, height = box
    if width <= 0 or height <= 0:
        reach = 1.5 * sheet.scale
        sheet.path(layer, ((left - reach, bottom), (left + reach, bottom)), pen="medium")
        sheet.path(layer, ((left, bottom - reach), (left, bottom + reach)), pen="medium")
        return
    sheet.path(layer, rectangle(left, bottom, width, height), closed=True, pen="medium", fill="#ffffff")
    if feature.kind == "radiator":
        fins = min(60, max(3, round(width / 90)))
        for index in range(1, fins):
            x = left + width * index / fins
            sheet.path(layer, ((x, bottom + 0.06 * height), (x, bottom + 0.94 * height)), pen="fine")
    elif feature.kind in ("socket", "switch"):
        for share in (0.3, 0.7) if feature.kind == "socket" and width > 110 else (0.5,):
            sheet.disc(layer, (left + share * width, bottom + height / 2), 0.14 * height, fill="#111111")
    elif feature.kind in ("vent", "airbrick", "air_brick"):
        for share in (0.25, 0.5, 0.75):
            sheet.path(layer, ((left, bottom + share * height), (left + width, bottom + share * height)), pen="fine")


def label_things(sheet: Sheet, wall: WallResult) -> None:
    """Add the names of openings and features beside or inside them."""
    for opening in wall.openings:
        front = opening_outline(opening)
        if front is None:
            continue
        x, y = sum(p[0] for p in front) / len(front), sum(p[1] for p in front) / len(front)
        kind = name_of(opening.kind)
        sheet.words("NOTES", (x, y), plain(f"{kind} {name_of(opening.id)}", limit=LABEL_LIMIT), bold=True, halo=True)
        if opening.reveal_depth_mm is not None:
            text = f"reveal {millimetres(opening.reveal_depth_mm.value)}"
            sheet.words("NOTES", (x, y - 4.2 * sheet.scale), text, letter_mm=2.2, halo=True)
    for feature in wall.features:
        box = feature_box(feature)
        if box is None:
            continue
        left, bottom, width, height = box
        text = feature_label(feature)
        inside = text_width_mm(text, 2.0) * sheet.scale < 0.9 * width and 10 * sheet.scale < height
        at = (left + width / 2, bottom + height / 2 - sheet.scale if inside else bottom + height + 1.2 * sheet.scale)
        sheet.words(layer_of(feature.kind), at, text, letter_mm=2.0, halo=True)


def feature_label(feature: FeatureResult) -> str:
    """Return a feature's kind and id in a few words, the kind once."""
    kind, name = name_of(feature.kind), name_of(feature.id)
    return plain(name if kind in name or (name in kind and len(name) > 2) else f"{kind} {name}", limit=LABEL_LIMIT)


def _dimension_rows(sheet: Sheet, wall: WallResult, outline: Sequence[Point]) -> None:
    """Add the level dimension lines below: openings as a chain, things on the wall as a chain, the whole."""
    bottom = min(y for _, y in outline)
    right = wall.width_mm.value if wall.width_mm else max(x for x, _ in outline)
    row = bottom - FIRST_ROW_MM * sheet.scale
    openings = sorted(box for o in wall.openings if (box := opening_box(o)) is not None)
    stops = [(b[0], b[0] + b[2]) for b in openings]
    if stops and _chain(sheet, stops, right, row):
        row -= ROW_MM * sheet.scale
    features = sorted(box for f in wall.features if (box := feature_box(f)) is not None)
    marks = [(b[0], b[0] + b[2]) for b in features]
    if marks:
        row = _feature_rows(sheet, marks, right, row)
    if wall.width_mm is not None:
        sheet.dimension_x(0.0, wall.width_mm.value, 0.0, _overall(wall.width_mm), line_at=row)


def _chain(sheet: Sheet, stops: Sequence[tuple[float, float]], end: float, row: float) -> bool:
    """Add the chain 0 - first - ... - end along one row; False where the parts overlap."""
    edges = [0.0]
    for first, last in stops:
        edges += [first, last]
    edges.append(end)
    if any(b < a - 0.5 for a, b in pairwise(edges)):
        return False
    for a, b in pairwise(edges):
        if b - a >= 1.0:
            sheet.dimension_x(a, b, 0.0, millimetres(b - a), line_at=row)
    return True


def _feature_rows(sheet: Sheet, marks: Sequence[tuple[float, float]], end: float, row: float) -> float:
    """Add the things on the wall as chains, a new row where they overlap; return the next free row."""
    left_over = list(marks)
    while left_over:
        now: list[tuple[float, float]] = []
        later: list[tuple[float, float]] = []
        for first, last in left_over:
            (now if not now or first >= now[-1][1] else later).append((first, last))
        _chain(sheet, now, end, row)
        row -= ROW_MM * sheet.scale
        left_over = later
    return row


def _dimension_columns(sheet: Sheet, wall: WallResult, outline: Sequence[Point]) -> None:
    """Add the upright dimension lines: openings at the left, things at the right, the whole at both ends."""
    left = min(x for x, _ in outline)
    right = max(x for x, _ in outline)
    top = wall.height_mm.value if wall.height_mm else max(y for _, y in outline)
    column = left - FIRST_ROW_MM * sheet.scale
    spans = sorted(
        {(round(box[1], 3), round(box[1] + box[3], 3)) for o in wall.openings if (box := opening_box(o)) is not None}
    )
    for low, high in _apart(spans):
        edges = [0.0, low, high, top]
        for a, b in pairwise(edges):
            if b - a >= 1.0:
                sheet.dimension_y(a, b, 0.0, millimetres(b - a), line_at=column)
        column -= ROW_MM * sheet.scale
    if wall.height_left_mm is not None:
        sheet.dimension_y(0.0, wall.height_left_mm.value, 0.0, _overall(wall.height_left_mm), line_at=column)
    elif wall.height_mm is not None:
        sheet.dimension_y(0.0, wall.height_mm.value, 0.0, _overall(wall.height_mm), line_at=column)
    column = right + FIRST_ROW_MM * sheet.scale
    heights = sorted({round(at[1], 3) for f in wall.features if (at := feature_box(f)) is not None and at[1] > 1})
    for level in _spaced(heights, 5 * sheet.scale)[:3]:
        sheet.dimension_y(0.0, level, right, millimetres(level), line_at=column)
        column += ROW_MM * sheet.scale
    if wall.height_right_mm is not None:
        foot = outline[1][1]
        text = _overall(wall.height_right_mm)
        sheet.dimension_y(foot, foot + wall.height_right_mm.value, right, text, line_at=column)


def _apart(spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the spans that differ visibly (over 15 mm), at most three."""
    kept: list[tuple[float, float]] = []
    for low, high in spans:
        if not any(abs(low - a) < 15 and abs(high - b) < 15 for a, b in kept):
            kept.append((low, high))
    return kept[:3]


def _spaced(values: Sequence[float], least: float) -> list[float]:
    kept: list[float] = []
    for value in values:
        if not kept or value - kept[-1] >= least:
            kept.append(value)
    return kept


def _overall(measured: ValueSd) -> str:
    value, spread = quantity(measured)
    return f"{value}{NBSP}±{NBSP}{spread}"


def _alt(wall: WallResult, name: str) -> str:
    parts = [f"Elevation of {name}, {wall_length(wall.width_mm)} wide and {wall_length(wall.height_mm)} high"]
    for opening in wall.openings:
        box = opening_box(opening)
        kind = f"{name_of(opening.kind)} {name_of(opening.id)}"
        if box is None:
            parts.append(f"{kind} not measured")
        else:
            left, bottom, width, height = (millimetres(value) for value in box)
            parts.append(f"{kind} {width} by {height}, {left} {KEYS['left_mm']} and {bottom} above the floor")
    placed = [name_of(f.id) for f in wall.features if feature_box(f) is not None]
    if placed:
        parts.append(f"also drawn: {listing(placed)}")
    return "; ".join(parts) + ". All in millimetres."


def scale_that_fits(widest_mm: float, tallest_mm: float, *, page_mm: tuple[float, float]) -> float:
    """Return the first usual scale at which a wall with its dimension lines fits on the page.

    Parameters
    ----------
    widest_mm, tallest_mm
        Size of the wall, mm.
    page_mm
        Width and height to fill, mm of paper.
    """
    around_mm = (48.0, 33.0)
    for scale in (20.0, 25.0, 50.0, 100.0, 200.0):
        if widest_mm / scale + around_mm[0] <= page_mm[0] and tallest_mm / scale + around_mm[1] <= page_mm[1]:
            return scale
    return 500.0
