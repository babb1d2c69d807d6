"""A drawing as SVG: in the page, and, at true size, in the PDF."""

from __future__ import annotations

from html import escape

from intake.report.drawing import LAYERS, PEN_MM, Dimension, Disc, Drawing, Item, Path, Point, Words

DASH_MM = {"solid": "", "dashed": "2 1.2", "dotted": "0.3 0.9", "chain": "4 1 0.6 1"}
LETTER_TO_SIZE = 1.38  # font size over height of capitals and figures, for ordinary faces
PAGE_FONT = "inherit"

# Hatches are small pictures repeated: name -> (width, height in mm of paper, marks).
HATCHES = {
    "brick": (2.4, 2.4, '<path d="M0 2.4L2.4 0" stroke="#555" stroke-width=".14"/>'),
    "insulation": (
        3.0,
        3.0,
        '<path d="M0 .75L.75 0L2.25 3L3 2.25M0 .75L1.5 3M1.5 0L3 2.25" fill="none" stroke="#666" stroke-width=".1"/>',
    ),
    "board": (1.2, 1.2, '<circle cx=".6" cy=".6" r=".13" fill="#555"/>'),
    "plaster": (1.6, 1.6, '<circle cx=".4" cy=".4" r=".1" fill="#555"/><circle cx="1.2" cy="1.1" r=".1" fill="#555"/>'),
    "wood": (3.2, 1.0, '<path d="M0 .5Q.8 .2 1.6 .5T3.2 .5" fill="none" stroke="#777" stroke-width=".12"/>'),
    "waste": (1.8, 1.8, '<path d="M0 0L1.8 1.8M0 1.8L1.8 0" stroke="#aaa" stroke-width=".1"/>'),
}


def svg(drawing: Drawing, *, font: str = PAGE_FONT, labelled: bool = True, prefix: str = "") -> str:
    """Return the drawing as an SVG element whose units are millimetres of paper.

    Parameters
    ----------
    drawing
        What to draw.
    font
        Font family of the words.
    labelled
        Say what it shows to a screen reader (role, title and description).
    prefix
        Makes the ids of this drawing unlike those of the others in the page.
    """
    left, _, _, top = drawing.bounds()
    width, height = drawing.paper_size_mm()
    margin, scale = drawing.margin_mm, drawing.scale

    def paper(point: Point) -> Point:
        return ((point[0] - left) / scale + margin, (top - point[1]) / scale + margin)

    used = {item.hatch for item in drawing.items if isinstance(item, Path) and item.hatch}
    patterns = "".join(_pattern(name, prefix) for name in sorted(used))
    body = "".join(_item(item, paper, scale, prefix) for item in drawing.items)
    figures = [dimension_words(item, scale) for item in drawing.items if isinstance(item, Dimension)]
    body += "".join(_words(words, paper(words.at)) for words in figures)  # last, so that no line crosses a figure
    label = f' role="img" aria-label="{escape(drawing.alt, quote=True)}"' if labelled else ""
    if labelled:  # in the page: letters alike in size from drawing to drawing
        widest = round(width * 4.6)
        label += f' style="max-width:{widest}px;min-width:min(36rem,{widest}px)"'
    family = "" if font == PAGE_FONT else f' font-family="{escape(font, quote=True)}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}mm" '
        f'height="{_n(height)}mm"{label}{family}><defs>{patterns}</defs>{body}</svg>'
    )


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _pattern(name: str, prefix: str) -> str:
    width, height, marks = HATCHES[name]
    size = f'width="{width}" height="{height}"'
    return f'<pattern id="{prefix}{name}" {size} patternUnits="userSpaceOnUse">{marks}</pattern>'


def _item(item: Item, paper: object, scale: float, prefix: str) -> str:
    assert callable(paper)
    if isinstance(item, Path):
        return _path(item, [paper(point) for point in item.points], prefix)
    if isinstance(item, Disc):
        x, y = paper(item.centre)
        pen = _pen(item.pen, item.layer, None)
        return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(item.radius_mm / scale)}" fill="{item.fill or "none"}"{pen}/>'
    if isinstance(item, Words):
        return _words(item, paper(item.at))
    return _dimension(item, paper, scale)


def _pen(pen: str | None, layer: str, colour: str | None, dash: str = "solid") -> str:
    if pen is None:
        return ""
    dashes = f' stroke-dasharray="{DASH_MM[dash]}"' if DASH_MM[dash] else ""
    width = PEN_MM[pen]  # type: ignore[index]
    return f' stroke="{colour or LAYERS[layer][1]}" stroke-width="{width}"{dashes}'


def _path(item: Path, points: list[Point], prefix: str) -> str:
    steps = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points) + ("Z" if item.closed else "")
    pen = _pen(item.pen, item.layer, item.colour, item.dash)
    base = f'<path d="{steps}" fill="{item.fill or "none"}"{pen}/>'
    if item.hatch:
        base = (f'<path d="{steps}" fill="{item.fill}"/>' if item.fill else "") + (
            f'<path d="{steps}" fill="url(#{prefix}{item.hatch})"{pen}/>'
        )
    return base


def _words(item: Words, at: Point) -> str:
    x, y = _n(at[0]), _n(at[1])
    turn = f' transform="rotate({_n(-item.turn_deg)} {x} {y})"' if item.turn_deg else ""
    weight = ' font-weight="bold"' if item.bold else ""
    halo = ' paint-order="stroke" stroke="#fff" stroke-width="0.9" stroke-linejoin="round"' if item.halo else ""
    anchor = "" if item.anchor == "start" else f' text-anchor="{item.anchor}"'
    size = _n(item.letter_mm * LETTER_TO_SIZE)
    return (
        f'<text x="{x}" y="{y}" font-size="{size}" fill="{item.colour or LAYERS[item.layer][1]}"'
        f"{anchor}{weight}{halo}{turn}>{escape(item.text)}</text>"
    )


def _dimension(item: Dimension, paper: object, scale: float) -> str:
    assert callable(paper)
    colour = LAYERS[item.layer][1]
    level = item.along == "x"
    ends = [(item.first[0], item.line_at), (item.second[0], item.line_at)]
    if not level:
        ends = [(item.line_at, item.first[1]), (item.line_at, item.second[1])]
    lines: list[tuple[Point, Point]] = []
    for measured, end in zip((item.first, item.second), ends, strict=True):
        lines.append(_extension(measured, end, level=level, scale=scale))
    tick = 1.0 * scale
    lines.append((ends[0], ends[1]))
    lines += [((x - tick, y - tick), (x + tick, y + tick)) for x, y in ends]
    drawn = "".join(
        f"M{_n(a[0])} {_n(a[1])}L{_n(b[0])} {_n(b[1])}" for a, b in ((paper(p), paper(q)) for p, q in lines)
    )
    return f'<path d="{drawn}" fill="none" stroke="{colour}" stroke-width="0.14"/>'


def _extension(measured: Point, end: Point, *, level: bool, scale: float) -> tuple[Point, Point]:
    """Return the extension line: a small gap at the thing, a small overrun at the dimension line."""
    gap, over = 1.2 * scale, 1.0 * scale
    if level:
        sign = 1.0 if end[1] > measured[1] else -1.0
        return (measured[0], measured[1] + sign * gap), (end[0], end[1] + sign * over)
    sign = 1.0 if end[0] > measured[0] else -1.0
    return (measured[0] + sign * gap, measured[1]), (end[0] + sign * over, end[1])


def dimension_words(item: Dimension, scale: float) -> Words:
    """Return the words of a dimension: above a level line, left of an upright one and turned."""
    if item.along == "x":
        at = ((item.first[0] + item.second[0]) / 2, item.line_at + 0.9 * scale)
        return Words(layer=item.layer, at=at, text=item.text, letter_mm=2.2, halo=True)
    at = (item.line_at - 0.9 * scale, (item.first[1] + item.second[1]) / 2)
    return Words(layer=item.layer, at=at, text=item.text, letter_mm=2.2, turn_deg=90, halo=True)
