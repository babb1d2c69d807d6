"""Charts in one plain style: black on white, shapes and labels before colour. Coordinates are millimetres of paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from intake.report.drawing import Drawing, Point, Sheet, rectangle
from intake.report.words import plain

WIDTH_MM, HEIGHT_MM = 150.0, 72.0
GRID = "#c9c9c9"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FILLS = (("#2b2b2b", None), ("#ffffff", "brick"), ("#bdbdbd", None), ("#ffffff", "board"), ("#777777", None))
SHAPES = ("disc", "square", "triangle", "diamond", "ring", "cross", "bar", "plus")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoint:
    """One lining in the chart of transmittance against depth."""

    family: str
    depth_mm: float
    u: float
    on_front: bool
    chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A straight axis: values from low to high on start to end (mm of paper)."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Return where a value lies, mm of paper."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def nice_step(span: float, wanted: int = 5) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that divides a span into about so many parts."""
    rough = span / max(1, wanted)
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough * 0.999)


def _ticks(axis: Axis, step: float) -> list[float]:
    first = math.ceil(axis.low / step - 1e-9)
    return [index * step for index in range(first, math.floor(axis.high / step + 1e-9) + 1)]


def _frame(
    sheet: Sheet, x: Axis | None, y: Axis | None, *, x_words: str, y_words: str, steps: tuple[float, float]
) -> None:
    """Add grid, ticks and axis names; an axis that is None is a list of names, drawn by the caller."""
    if y is not None:
        for value in _ticks(y, steps[1]):
            sheet.path("NOTES", ((0.0, y.at(value)), (WIDTH_MM, y.at(value))), pen="fine", colour=GRID)
            text = f"{value:.{max(0, -math.floor(math.log10(steps[1]) + 1e-9))}f}"
            sheet.words("NOTES", (-1.5, y.at(value) - 0.9), text, letter_mm=2.1, anchor="end")
    if x is not None:
        for value in _ticks(x, steps[0]):
            sheet.path("NOTES", ((x.at(value), 0.0), (x.at(value), -1.2)), pen="thin")
            sheet.words("NOTES", (x.at(value), -4.4), f"{value:g}", letter_mm=2.1)
    sheet.path("NOTES", ((0.0, 0.0), (WIDTH_MM, 0.0)), pen="thin")
    if x_words:
        sheet.words("NOTES", (WIDTH_MM / 2, -9.0), x_words, letter_mm=2.3)
    if y_words:
        sheet.words("NOTES", (-10.5, HEIGHT_MM / 2), y_words, letter_mm=2.3, turn_deg=90)


def u_against_depth(points: Sequence[ChartPoint], *, wall: str, target: float | None) -> Drawing | None:
    """Return the chart of transmittance against space lost; filled marks are on the front, the ring is the choice."""
    if not points:
        return None
    sheet = Sheet(1.0)
    depth_high = 20.0 * math.ceil(max(point.depth_mm for point in points) / 20.0 + 0.2)
    u_high = 0.1 * math.ceil(max([*(point.u for point in points), target or 0.0]) / 0.1 + 0.3)
    x = Axis(low=0.0, high=depth_high, start=0.0, end=WIDTH_MM)
    y = Axis(low=0.0, high=u_high, start=0.0, end=HEIGHT_MM)
    steps = (nice_step(depth_high, 8), nice_step(u_high, 6))
    _frame(sheet, x, y, x_words="space taken from the room, mm", y_words="U after lining, W/m²K", steps=steps)
    if target is not None:
        sheet.path("NOTES", ((0.0, y.at(target)), (WIDTH_MM, y.at(target))), pen="medium", dash="dashed")
        sheet.words(
            "NOTES", (WIDTH_MM, y.at(target) + 1.0), f"target {target:.2f}", letter_mm=2.2, anchor="end", halo=True
        )
    families = list(dict.fromkeys(point.family for point in points))
    for family_index, family in enumerate(families):
        own = sorted((point for point in points if point.family == family), key=lambda point: point.depth_mm)
        line = [(x.at(point.depth_mm), y.at(point.u)) for point in own]
        if len(line) > 1:
            sheet.path("NOTES", line, pen="fine", colour="#8a8a8a")
        for point, at in zip(own, line, strict=True):
            _mark(sheet, at, SHAPES[family_index % len(SHAPES)], filled=point.on_front)
            if point.chosen:
                sheet.disc("NOTES", at, 2.6, pen="medium")
                sheet.words(
                    "NOTES", (at[0] + 3.6, at[1] + 1.4), "chosen", letter_mm=2.2, anchor="start", bold=True, halo=True
                )
    _legend(sheet, families)
    chosen = next((point for point in points if point.chosen), None)
    told = f" The chosen board takes {chosen.depth_mm:g} mm and gives {chosen.u:.2f}." if chosen else ""
    return Drawing(
        name="chart_u_depth",
        title=f"{wall}: warmth against space",
        alt=f"Chart of transmittance after lining against depth taken from the room, {len(points)} linings of "
        f"{len(families)} kinds.{told} The same figures are in the table of linings.",
        scale=1.0,
        items=tuple(sheet.items),
    )


def _mark(sheet: Sheet, at: Point, shape: str, *, filled: bool, size: float = 1.1) -> None:
    fill = "#111111" if filled else "#ffffff"
    (x, y), r = at, size
    if shape in ("disc", "ring"):
        sheet.disc("NOTES", at, r if shape == "disc" else 0.6 * r, fill=fill)
        return
    rings = {
        "square": rectangle(x - r, y - r, 2 * r, 2 * r),
        "triangle": ((x - r, y - r), (x + r, y - r), (x, y + r)),
        "diamond": ((x, y - 1.3 * r), (x + 1.3 * r, y), (x, y + 1.3 * r), (x - 1.3 * r, y)),
        "bar": rectangle(x - 0.5 * r, y - 1.3 * r, r, 2.6 * r),
    }
    if shape in rings:
        sheet.path("NOTES", rings[shape], closed=True, fill=fill)
        return
    pairs = (((-r, -r), (r, r)), ((-r, r), (r, -r))) if shape == "cross" else (((-r, 0), (r, 0)), ((0, -r), (0, r)))
    for (x1, y1), (x2, y2) in pairs:
        sheet.path("NOTES", ((x + x1, y + y1), (x + x2, y + y2)), pen="medium" if filled else "thin")


def _legend(sheet: Sheet, families: Sequence[str]) -> None:
    y = HEIGHT_MM - 2.0
    for index, family in enumerate(families):
        _mark(sheet, (WIDTH_MM + 5.0, y), SHAPES[index % len(SHAPES)], filled=True)
        sheet.words("NOTES", (WIDTH_MM + 8.0, y - 0.9), plain(family, limit=30), letter_mm=2.2, anchor="start")
        y -= 4.6
    sheet.words("NOTES", (WIDTH_MM + 3.6, y - 1.5), "filled: no other lining is", letter_mm=2.0, anchor="start")
    sheet.words("NOTES", (WIDTH_MM + 3.6, y - 4.7), "both thinner and warmer", letter_mm=2.0, anchor="start")


def condensation_by_month(
    planes: Sequence[tuple[str, Sequence[float]]], *, wall: str, limit_g_m2: float | None
) -> Drawing:
    """Return the water at each plane at the end of each month, g/m²; an empty chart says that there is none."""
    sheet = Sheet(1.0)
    planes = [plane for plane in planes if any(value > 0.05 for value in plane[1])]
    totals = [sum(values[month] for _, values in planes) for month in range(12)] if planes else [0.0] * 12
    most = max(max(totals) * 1.1, 10.0)
    most = max(most, limit_g_m2 * 1.1) if limit_g_m2 is not None and max(totals) > 0.3 * limit_g_m2 else most
    y = Axis(low=0.0, high=most, start=0.0, end=HEIGHT_MM)
    _frame(sheet, None, y, x_words="", y_words="water at the month's end, g/m²", steps=(1.0, nice_step(most)))
    width = WIDTH_MM / 12
    for month, name in enumerate(MONTHS):
        sheet.words("NOTES", ((month + 0.5) * width, -4.4), name, letter_mm=2.2)
        base = 0.0
        for index, (_, values) in enumerate(planes):
            if values[month] > 0.05:
                fill, hatch = FILLS[index % len(FILLS)]
                bottom, height = y.at(base), y.at(base + values[month]) - y.at(base)
                box = rectangle((month + 0.2) * width, bottom, 0.6 * width, height)
                sheet.path("NOTES", box, closed=True, fill=fill, hatch=hatch)
                base += values[month]
    if limit_g_m2 is not None and limit_g_m2 <= most:
        sheet.path("NOTES", ((0.0, y.at(limit_g_m2)), (WIDTH_MM, y.at(limit_g_m2))), pen="medium", dash="dashed")
        words = f"{limit_g_m2:g}: water begins to run down"
        sheet.words("NOTES", (WIDTH_MM, y.at(limit_g_m2) + 1.0), words, letter_mm=2.2, anchor="end", halo=True)
    for index, (name, _) in enumerate(planes):
        fill, hatch = FILLS[index % len(FILLS)]
        at_y = HEIGHT_MM - 3.0 - 5.0 * index
        sheet.path("NOTES", rectangle(WIDTH_MM + 4.0, at_y - 1.2, 3.0, 3.0), closed=True, fill=fill, hatch=hatch)
        sheet.words("NOTES", (WIDTH_MM + 8.5, at_y - 0.6), plain(name, limit=34), letter_mm=2.2, anchor="start")
    if not planes:
        words = "no condensation in any month: screening only"
        sheet.words("NOTES", (WIDTH_MM / 2, HEIGHT_MM / 2), words, letter_mm=3.0, halo=True)
    top = max(totals)
    told = f"at most {top:.0f} g/m² in {MONTHS[totals.index(top)]}" if planes else "none in any month"
    return Drawing(
        name="chart_moisture",
        title=f"{wall}: condensation between the layers, month by month",
        alt=f"Bar chart of condensed water by month: {told}.",
        scale=1.0,
        items=tuple(sheet.items),
    )


def bars(
    rows: Sequence[tuple[str, float, str]],
    *,
    name: str,
    title: str,
    alt: str,
    high: float,
    axis_words: str,
    limit: tuple[float, str] | None = None,
    low: float = 0.0,
) -> Drawing:
    """Return level bars with their names before and their figures after them.

    Parameters
    ----------
    rows
        (name, value, figure in words), drawn from the top.
    low, high
        Ends of the axis, in the values' unit.
    limit
        A value to mark and its words; bars that stay below it are hatched.
    """
    sheet = Sheet(1.0)
    pitch, bar = 9.0, 5.0
    height = pitch * len(rows)
    axis = Axis(low=low, high=high, start=0.0, end=WIDTH_MM)
    for value in _ticks(axis, nice_step(high - low)):
        sheet.path("NOTES", ((axis.at(value), 0.0), (axis.at(value), height)), pen="fine", colour=GRID)
        sheet.words("NOTES", (axis.at(value), -4.4), f"{round(value, 6):g}", letter_mm=2.1)
    for index, (label, value, words) in enumerate(rows):
        y = height - pitch * (index + 1) + (pitch - bar) / 2
        fill, hatch = FILLS[int(limit is not None and value < limit[0])]
        sheet.path("NOTES", rectangle(0.0, y, axis.at(value), bar), closed=True, fill=fill, hatch=hatch)
        sheet.words("NOTES", (-2.0, y + 1.5), plain(label, limit=34), letter_mm=2.3, anchor="end")
        sheet.words("NOTES", (axis.at(value) + 1.5, y + 1.5), words, letter_mm=2.3, anchor="start", halo=True)
    if limit is not None:
        sheet.path("NOTES", ((axis.at(limit[0]), -0.5), (axis.at(limit[0]), height + 1.5)), pen="medium", dash="dashed")
        sheet.words("NOTES", (axis.at(limit[0]), height + 2.6), limit[1], letter_mm=2.2, halo=True)
    sheet.path("NOTES", ((0.0, 0.0), (WIDTH_MM, 0.0)), pen="thin")
    sheet.words("NOTES", (WIDTH_MM / 2, -9.0), axis_words, letter_mm=2.3)
    return Drawing(name=name, title=title, alt=alt, scale=1.0, items=tuple(sheet.items))
