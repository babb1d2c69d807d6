"""Sections through wall and window: plan at the jamb, upright at sill and head, layers to scale."""

from __future__ import annotations

from dataclasses import dataclass

from intake.report.drawing import Anchor, Drawing, Point, Sheet, rectangle
from intake.report.words import millimetres

SHOWN_MM = 330.0  # how much of the wall is drawn beside the opening
GLASS_MM = 150.0  # how much of the glass is drawn
WINDOW_BOARD_MM = 25.0  # invented default: thickness of a window board
SILL_TO_HEAD_MM = 270.0  # drawn height of the broken opening
PLASTER_ON_REVEAL_MM = 13.0  # common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerBand:
    """One layer of the lining, from the old face towards the room."""

    label: str
    thickness_mm: float
    hatch: str | None
    dabs: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionSizes:
    """What the sections are drawn from, mm; None where not known."""

    wall: str
    opening: str
    reveal_mm: float
    frame_mm: float
    outer_reveal_mm: float | None
    structure: str
    structure_hatch: str
    plaster_mm: float
    layers: tuple[LayerBand, ...]
    reveal_layers: tuple[LayerBand, ...]
    visible_frame_mm: float | None
    window_board_mm: float | None
    overhang_mm: float
    fixing_mm: float | None

    @property
    def build_up_mm(self) -> float:
        """How far the face comes forward, mm."""
        return sum(layer.thickness_mm for layer in self.layers)

    @property
    def reveal_lining_mm(self) -> float:
        """Thickness of the reveal's lining, mm."""
        return sum(layer.thickness_mm for layer in self.reveal_layers)

    @property
    def outer_mm(self) -> float:
        """Outer reveal as drawn, mm: nought where it is not known."""
        return self.outer_reveal_mm or 0.0

    @property
    def thickness_mm(self) -> float:
        """Whole wall as drawn, mm."""
        return self.reveal_mm + self.frame_mm + self.outer_mm


def figure(value: float) -> str:
    """Return a thickness as the trade writes it: 82.5, 130."""
    return f"{round(value, 1):g}"


def jamb_section(sizes: SectionSizes, *, scale: float = 5.0) -> Drawing:
    """Return the level section through wall, jamb and frame, the room below, the open air above."""
    sheet = Sheet(scale)
    reveal, frame, whole, depth = sizes.reveal_mm, sizes.frame_mm, sizes.thickness_mm, sizes.build_up_mm
    _jamb_masonry(sheet, sizes)
    x_frame = sizes.visible_frame_mm if sizes.visible_frame_mm is not None else 45.0
    _frame(sheet, rectangle(-12.0, reveal, 12.0 + x_frame, frame))
    _frame(sheet, rectangle(x_frame, reveal + 0.15 * frame, 38.0, 0.7 * frame))
    for share in (0.42, 0.58):
        y = reveal + share * frame
        sheet.path("OPENINGS", ((x_frame + 38.0, y), (x_frame + GLASS_MM, y)), pen="fine")
    y = 0.0
    for layer in sizes.layers:
        _band(sheet, layer, rectangle(-SHOWN_MM, y - layer.thickness_mm, SHOWN_MM, layer.thickness_mm), level=True)
        y -= layer.thickness_mm
    x = 0.0
    for layer in sizes.reveal_layers:
        _band(sheet, layer, rectangle(x, -depth, layer.thickness_mm, depth + reveal), level=False)
        x += layer.thickness_mm
    sheet.path("WALL", ((-SHOWN_MM, 0.0), (0.0, 0.0), (0.0, reveal)), pen="medium", dash="dashed")
    sheet.path("WALL", ((-SHOWN_MM, -depth - 25), (-SHOWN_MM, whole + 25)), pen="thin", dash="chain")
    _jamb_words(sheet, sizes, x_frame)
    alt = (
        f"Level section through {sizes.wall} at the jamb of {sizes.opening}: reveal {millimetres(reveal)}, frame "
        f"{millimetres(frame)}, lining {figure(depth)} thick in front of the old face"
        + (f", reveal lining {figure(sizes.reveal_lining_mm)}." if sizes.reveal_layers else ".")
        + " All in millimetres."
    )
    return Drawing(
        name="section_jamb",
        title=f"{sizes.wall}, {sizes.opening}: section at the jamb, seen from above",
        alt=alt,
        scale=scale,
        items=tuple(sheet.items),
    )


def _jamb_masonry(sheet: Sheet, sizes: SectionSizes) -> None:
    plaster = sizes.plaster_mm
    inner = ((-SHOWN_MM, plaster), (-PLASTER_ON_REVEAL_MM, plaster), (-PLASTER_ON_REVEAL_MM, sizes.reveal_mm))
    outer = ((0.0, sizes.reveal_mm + sizes.frame_mm), (0.0, sizes.thickness_mm), (-SHOWN_MM, sizes.thickness_mm))
    ring: tuple[Point, ...] = (*inner, (-PLASTER_ON_REVEAL_MM, sizes.reveal_mm + sizes.frame_mm), *outer)
    sheet.path("WALL", ring, closed=True, pen="medium", fill="#efe9e2", hatch=sizes.structure_hatch)
    skin = (
        (-SHOWN_MM, 0.0),
        (0.0, 0.0),
        (0.0, sizes.reveal_mm),
        (-PLASTER_ON_REVEAL_MM, sizes.reveal_mm),
        (-PLASTER_ON_REVEAL_MM, plaster),
        (-SHOWN_MM, plaster),
    )
    sheet.path("WALL", skin, closed=True, pen="fine", fill="#ffffff", hatch="plaster")


def _frame(sheet: Sheet, corners: tuple[Point, ...]) -> None:
    sheet.path("OPENINGS", corners, closed=True, pen="medium", fill="#ffffff", hatch="wood")


def _band(sheet: Sheet, layer: LayerBand, corners: tuple[Point, ...], *, level: bool) -> None:
    """Add one layer of the lining; dabs as blocks with air between them."""
    trade = {"insulation": "INSULATION", "board": "BOARDS"}.get(layer.hatch or "", "DABS")
    sheet.path(trade, corners, closed=True, pen="thin", fill="#ffffff", hatch=None if layer.dabs else layer.hatch)
    if not layer.dabs:
        return
    left, right = min(x for x, _ in corners), max(x for x, _ in corners)
    bottom, top = min(y for _, y in corners), max(y for _, y in corners)
    along = (left, right) if level else (bottom, top)
    start = along[1] - 60.0
    while start > along[0]:
        length = min(60.0, along[1] - start)
        block = (
            rectangle(start, bottom, length, top - bottom) if level else rectangle(left, start, right - left, length)
        )
        sheet.path("DABS", block, closed=True, pen="fine", fill="#9a9a9a")
        start -= 200.0


def _jamb_words(sheet: Sheet, sizes: SectionSizes, x_frame: float) -> None:
    scale = sheet.scale
    reveal, frame, whole, depth = sizes.reveal_mm, sizes.frame_mm, sizes.thickness_mm, sizes.build_up_mm
    right = x_frame + GLASS_MM + 9 * scale
    sheet.dimension_y(-depth, 0.0, x_frame + GLASS_MM, figure(depth), line_at=right)
    for low, high in ((0.0, reveal), (reveal, reveal + frame), (reveal + frame, whole)):
        if high - low > 0.5:
            sheet.dimension_y(low, high, x_frame + GLASS_MM, millimetres(high - low), line_at=right)
    if sizes.outer_reveal_mm is not None:
        sheet.dimension_y(0.0, whole, x_frame + GLASS_MM, millimetres(whole), line_at=right + 7 * scale)
    labels = [(f"{sizes.structure}", (sizes.plaster_mm + whole) / 2), ("old plaster face, dashed", 0.0)]
    y = 0.0
    for layer in sizes.layers:
        labels.append((f"{figure(layer.thickness_mm)} {layer.label}", y - layer.thickness_mm / 2))
        y -= layer.thickness_mm
    _leaders(sheet, labels, from_x=-SHOWN_MM + 30, text_x=-SHOWN_MM - 8 * scale, anchor="end")
    base = -depth - 9 * scale
    lining = sizes.reveal_lining_mm
    if lining > 0:
        sheet.dimension_x(0.0, lining, -depth, figure(lining), line_at=base)
    if sizes.visible_frame_mm is not None:
        sheet.dimension_x(0.0, x_frame, -depth, millimetres(x_frame), line_at=base - 7 * scale)
        at = (x_frame + 3 * scale, base - 7.5 * scale)
        sheet.words("DIMENSIONS", at, "frame seen now", letter_mm=2.2, anchor="start")
        if lining > 0:
            left = x_frame - lining
            words = f"frame still seen {figure(left)}" if left > 0 else "reveal lining covers the whole frame"
            sheet.words("DIMENSIONS", (x_frame + 3 * scale, base - 0.5 * scale), words, letter_mm=2.2, anchor="start")
    sheet.words("NOTES", (-SHOWN_MM / 2, whole + 3 * scale), "outside", letter_mm=2.5)
    sheet.words("NOTES", (x_frame + GLASS_MM * 0.62, -depth + 2 * scale), "room", letter_mm=2.5)


def _leaders(sheet: Sheet, labels: list[tuple[str, float]], *, from_x: float, text_x: float, anchor: Anchor) -> None:
    """Add labels in a column with lines to their layers, spread so that no two overlap."""
    gap = 4.0 * sheet.scale
    ordered = sorted(labels, key=lambda label: -label[1])
    ys = [y for _, y in ordered]
    for _ in range(60):
        for index in range(len(ys) - 1):
            short = gap - (ys[index] - ys[index + 1])
            if short > 1e-6:
                ys[index] += short / 2
                ys[index + 1] -= short / 2
    for (text, target), y in zip(ordered, ys, strict=True):
        side = 1.5 * sheet.scale if anchor == "end" else -1.5 * sheet.scale
        sheet.path("NOTES", ((text_x + side, y), (from_x - side, target), (from_x, target)), pen="fine")
        sheet.disc("NOTES", (from_x, target), 0.5 * sheet.scale, pen=None, fill="#111111")
        sheet.words("NOTES", (text_x, y - 0.9 * sheet.scale), text, letter_mm=2.3, anchor=anchor)


def sill_section(sizes: SectionSizes, *, scale: float = 5.0) -> Drawing:
    """Return the upright section through sill and head, the open air at the left, the room at the right."""
    sheet = Sheet(scale)
    depth, reveal, frame = sizes.build_up_mm, sizes.reveal_mm, sizes.frame_mm
    whole, head = sizes.thickness_mm, SILL_TO_HEAD_MM
    low, high = -140.0, head + 120.0
    below = -WINDOW_BOARD_MM if sizes.window_board_mm is not None else 0.0
    inner = -sizes.plaster_mm
    foot = ((-whole, low), (inner, low), (inner, below), (-reveal, below), (-reveal, 0.0), (-whole, 0.0))
    for masonry in (foot, rectangle(-whole, head, whole - sizes.plaster_mm, high - head)):
        hatch = sizes.structure_hatch
        sheet.path("WALL", masonry, closed=True, pen="medium", fill="#efe9e2", hatch=hatch)
    for bottom, top in ((low, below), (head, high)):
        plaster = rectangle(inner, bottom, sizes.plaster_mm, top - bottom)
        sheet.path("WALL", plaster, closed=True, pen="fine", fill="#ffffff", hatch="plaster")
    _window(sheet, sizes)
    x = 0.0
    lining = sizes.reveal_lining_mm
    for layer in sizes.layers:
        _band(sheet, layer, rectangle(x, low, layer.thickness_mm, below - low), level=False)
        _band(sheet, layer, rectangle(x, head, layer.thickness_mm, high - head), level=False)
        x += layer.thickness_mm
    y = head
    for layer in sizes.reveal_layers:
        _band(sheet, layer, rectangle(-reveal, y - layer.thickness_mm, reveal + depth, layer.thickness_mm), level=True)
        y -= layer.thickness_mm
    if sizes.window_board_mm is not None:
        board = rectangle(-reveal, below, sizes.window_board_mm, WINDOW_BOARD_MM)
        sheet.path("JOINERY", board, closed=True, pen="medium", fill="#ffffff", hatch="wood")
    sheet.path("WALL", ((0.0, low), (0.0, high)), pen="medium", dash="dashed")
    for y_break in (low, high):
        sheet.path("WALL", ((-whole - 25, y_break), (depth + 25, y_break)), pen="thin", dash="chain")
    _sill_words(sheet, sizes, low, high, lining)
    board_words = (
        f", window board {millimetres(sizes.window_board_mm)} deep" if sizes.window_board_mm is not None else ""
    )
    alt = (
        f"Upright section through {sizes.wall} at the sill and head of {sizes.opening}: reveal {millimetres(reveal)}, "
        f"frame {millimetres(frame)}, lining {figure(depth)} thick{board_words}. All in millimetres."
    )
    return Drawing(
        name="section_sill",
        title=f"{sizes.wall}, {sizes.opening}: section at sill and head",
        alt=alt,
        scale=scale,
        items=tuple(sheet.items),
    )


def _window(sheet: Sheet, sizes: SectionSizes) -> None:
    near, far, head = -sizes.reveal_mm, -sizes.reveal_mm - sizes.frame_mm, SILL_TO_HEAD_MM
    shown = sizes.visible_frame_mm if sizes.visible_frame_mm is not None else 45.0
    for y in (0.0, head - shown):
        _frame(sheet, rectangle(far, y, near - far, shown))
    for low, high in ((shown, shown + 38.0), (head - shown - 38.0, head - shown)):
        _frame(sheet, rectangle(far + 0.15 * sizes.frame_mm, low, 0.7 * sizes.frame_mm, high - low))
    for share in (0.42, 0.58):
        x = far + share * sizes.frame_mm
        sheet.path("OPENINGS", ((x, shown + 38.0), (x, 0.46 * head)), pen="fine")
        sheet.path("OPENINGS", ((x, 0.54 * head), (x, head - shown - 38.0)), pen="fine")


def _sill_words(sheet: Sheet, sizes: SectionSizes, low: float, high: float, lining: float) -> None:
    scale = sheet.scale
    depth, reveal, frame, whole = sizes.build_up_mm, sizes.reveal_mm, sizes.frame_mm, sizes.thickness_mm
    row = low - 9 * scale
    sheet.dimension_x(0.0, depth, low, figure(depth), line_at=row)
    for start, end in ((-whole, -reveal - frame), (-reveal - frame, -reveal), (-reveal, 0.0)):
        if end - start > 0.5:
            sheet.dimension_x(start, end, low, millimetres(end - start), line_at=row)
    if sizes.outer_reveal_mm is not None:
        sheet.dimension_x(-whole, 0.0, low, millimetres(whole), line_at=row - 7 * scale)
    if sizes.window_board_mm is not None:
        y = 9 * scale
        text = f"window board {millimetres(sizes.window_board_mm)}"
        sheet.dimension_x(-reveal, -reveal + sizes.window_board_mm, 0.0, text, line_at=y)
    if lining > 0:
        sheet.dimension_y(SILL_TO_HEAD_MM - lining, SILL_TO_HEAD_MM, depth, figure(lining), line_at=depth + 9 * scale)
    labels = []
    x = 0.0
    target = high - 40.0
    for layer in sizes.layers:
        labels.append((f"{figure(layer.thickness_mm)} {layer.label}", (x + layer.thickness_mm / 2, target)))
        x += layer.thickness_mm
    text_x = depth + 12 * scale
    y = high - 4 * scale
    for text, (at_x, at_y) in labels:
        sheet.path("NOTES", ((text_x - 1.5 * scale, y + 0.8 * scale), (at_x, at_y)), pen="fine")
        sheet.disc("NOTES", (at_x, at_y), 0.5 * scale, pen=None, fill="#111111")
        sheet.words("NOTES", (text_x, y), text, letter_mm=2.3, anchor="start")
        y -= 4.4 * scale
        target -= 12.0
    if sizes.fixing_mm is not None:
        words = f"fixing {millimetres(sizes.fixing_mm)} long, two a board near the top"
        sheet.words("NOTES", (text_x, y), words, letter_mm=2.3, anchor="start")
    sheet.words("NOTES", (-whole - 3 * scale, SILL_TO_HEAD_MM / 2), "outside", letter_mm=2.5, anchor="end")
    sheet.words("NOTES", (depth + 6 * scale, SILL_TO_HEAD_MM / 2), "room", letter_mm=2.5, anchor="start")
