"""One drawing as a list of lines, areas, words and dimensions, from which SVG, PDF and DXF are all made.

Model coordinates are millimetres of the real thing, x to the right, y up. Sizes that belong to the paper (letters,
distances of dimension lines, pens) are millimetres of paper and are multiplied by ``scale`` (20 for 1:20).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from intake.report.words import plain

Point = tuple[float, float]
Pen = Literal["fine", "thin", "medium", "thick"]
Dash = Literal["solid", "dashed", "dotted", "chain"]
Anchor = Literal["start", "middle", "end"]

PEN_MM: dict[Pen, float] = {"fine": 0.1, "thin": 0.18, "medium": 0.3, "thick": 0.55}
LETTER_MM = 2.5  # usual height of letters on paper
LONGEST_WORDS = 64  # characters of one line of words in a drawing

# One layer per trade: name in the DXF file, AutoCAD colour index, colour on paper.
LAYERS: dict[str, tuple[int, str]] = {
    "WALL": (7, "#111111"),
    "OPENINGS": (4, "#111111"),
    "BOARDS": (3, "#111111"),
    "DABS": (8, "#4a4a4a"),
    "FIXINGS": (6, "#111111"),
    "INSULATION": (30, "#111111"),
    "ELECTRICAL": (1, "#111111"),
    "HEATING-PLUMBING": (5, "#111111"),
    "JOINERY": (34, "#111111"),
    "DIMENSIONS": (2, "#1d4e89"),
    "NOTES": (7, "#111111"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A line or an area through points; ``closed`` joins the last to the first."""

    layer: str
    points: tuple[Point, ...]
    closed: bool = False
    pen: Pen | None = "thin"
    dash: Dash = "solid"
    fill: str | None = None
    hatch: str | None = None
    colour: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A circle; ``radius_mm`` in the model's millimetres."""

    layer: str
    centre: Point
    radius_mm: float
    pen: Pen | None = "thin"
    fill: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of words; ``letter_mm`` is the height of its letters on paper."""

    layer: str
    at: Point
    text: str
    letter_mm: float = LETTER_MM
    anchor: Anchor = "middle"
    turn_deg: float = 0.0
    bold: bool = False
    halo: bool = False
    colour: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A dimension between two points, its line ``away_mm`` of paper from them (positive: left of first to second).

    ``along`` is the direction measured: "x", "y".
    """

    first: Point
    second: Point
    text: str
    along: Literal["x", "y"]
    line_at: float
    layer: str = "DIMENSIONS"


Item = Path | Disc | Words | Dimension


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A drawing: its items in the model's millimetres and the scale its paper sizes were chosen for.

    ``name`` makes the file name, ``title`` and ``alt`` are for people; ``margin_mm`` of paper is kept free around it.
    """

    name: str
    title: str
    alt: str
    scale: float
    items: tuple[Item, ...]
    margin_mm: float = 2.0
    unit: str = "mm"

    def bounds(self) -> tuple[float, float, float, float]:
        """Return left, bottom, right, top of all items, words estimated, in the model's millimetres."""
        xs: list[float] = []
        ys: list[float] = []
        for item in self.items:
            for x, y in _extent(item, self.scale):
                xs.append(x)
                ys.append(y)
        return (min(xs), min(ys), max(xs), max(ys)) if xs else (0.0, 0.0, 1.0, 1.0)

    def paper_size_mm(self) -> tuple[float, float]:
        """Return width and height on paper, margin included, in mm."""
        left, bottom, right, top = self.bounds()
        return (
            (right - left) / self.scale + 2 * self.margin_mm,
            (top - bottom) / self.scale + 2 * self.margin_mm,
        )


def text_width_mm(text: str, letter_mm: float) -> float:
    """Return roughly how wide a line of words is on paper, mm (common practice: 0.62 of the letters' height each)."""
    return 0.62 * letter_mm * 1.25 * len(text)


def _extent(item: Item, scale: float) -> list[Point]:
    if isinstance(item, Path):
        return list(item.points)
    if isinstance(item, Disc):
        (x, y), r = item.centre, item.radius_mm
        return [(x - r, y - r), (x + r, y + r)]
    if isinstance(item, Words):
        return words_box(item, scale)
    if item.along == "x":
        return [(item.first[0], item.line_at + 3.6 * scale), (item.second[0], item.line_at - 1.5 * scale)]
    return [(item.line_at - 3.6 * scale, item.first[1]), (item.line_at + 1.5 * scale, item.second[1])]


def words_box(item: Words, scale: float) -> list[Point]:
    """Return two opposite corners of the box that a line of words fills, in the model's millimetres."""
    width = text_width_mm(item.text, item.letter_mm) * scale
    height = item.letter_mm * scale * 1.2
    before = {"start": 0.0, "middle": 0.5, "end": 1.0}[item.anchor] * width
    x, y = item.at
    if abs(item.turn_deg) == 90:
        return [(x - height, y - before), (x + 0.3 * height, y + width - before)]
    return [(x - before, y - 0.3 * height), (x + width - before, y + height)]


def rectangle(left: float, bottom: float, width: float, height: float) -> tuple[Point, ...]:
    """Return the corners of a rectangle, anticlockwise from the bottom left."""
    return ((left, bottom), (left + width, bottom), (left + width, bottom + height), (left, bottom + height))


@dataclass(slots=True)
class Sheet:
    """A drawing in the making: short ways to add items."""

    scale: float
    items: list[Item] = field(default_factory=list)

    def path(
        self,
        layer: str,
        points: Sequence[Point],
        *,
        closed: bool = False,
        pen: Pen | None = "thin",
        dash: Dash = "solid",
        fill: str | None = None,
        hatch: str | None = None,
        colour: str | None = None,
    ) -> None:
        """Add a line or an area."""
        self.items.append(
            Path(
                layer=layer,
                points=tuple(points),
                closed=closed,
                pen=pen,
                dash=dash,
                fill=fill,
                hatch=hatch,
                colour=colour,
            )
        )

    def words(
        self,
        layer: str,
        at: Point,
        text: str,
        *,
        letter_mm: float = LETTER_MM,
        anchor: Anchor = "middle",
        turn_deg: float = 0.0,
        bold: bool = False,
        halo: bool = False,
        colour: str | None = None,
    ) -> None:
        """Add a line of words, its foot at the point; one too long for any drawing ends with an ellipsis."""
        self.items.append(
            Words(
                layer=layer,
                at=at,
                text=plain(text, limit=LONGEST_WORDS),
                letter_mm=letter_mm,
                anchor=anchor,
                turn_deg=turn_deg,
                bold=bold,
                halo=halo,
                colour=colour,
            )
        )

    def disc(
        self, layer: str, centre: Point, radius_mm: float, *, pen: Pen | None = "thin", fill: str | None = None
    ) -> None:
        """Add a circle."""
        self.items.append(Disc(layer=layer, centre=centre, radius_mm=radius_mm, pen=pen, fill=fill))

    def dimension_x(self, x1: float, x2: float, y: float, text: str, *, line_at: float) -> None:
        """Add a level dimension from x1 to x2, measured at height y, its line at ``line_at``."""
        self.items.append(Dimension(first=(x1, y), second=(x2, y), text=text, along="x", line_at=line_at))

    def dimension_y(self, y1: float, y2: float, x: float, text: str, *, line_at: float) -> None:
        """Add an upright dimension from y1 to y2, measured at x, its line at ``line_at``."""
        self.items.append(Dimension(first=(x, y1), second=(x, y2), text=text, along="y", line_at=line_at))
