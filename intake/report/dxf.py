"""A drawing as DXF: millimetres at full size, one layer per trade."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from intake.report.drawing import LAYERS, Dash, Dimension, Disc, Drawing, Path, Pen, Words

if TYPE_CHECKING:
    from ezdxf.document import Drawing as DxfDocument

LINE_WEIGHTS: dict[Pen, int] = {"fine": 9, "thin": 18, "medium": 30, "thick": 50}  # hundredths of a millimetre
LINE_TYPES: dict[Dash, str] = {"solid": "CONTINUOUS", "dashed": "DASHED", "dotted": "DOT", "chain": "DASHDOT"}
DIMENSION_STYLE = "PERPEND"
OURS = b"999\nDrawn by perpend; made again with every report.\n"  # a DXF comment, gone once another program saves it


def dxf(drawing: Drawing) -> bytes:
    """Return the drawing as the bytes of a DXF file (R2010), model space in millimetres.

    Parameters
    ----------
    drawing
        What to draw; its scale sets the height of letters and dimension marks only.

    Notes
    -----
    Each closed outline is one lightweight polyline, each dimension a real linear dimension whose measurement is the
    model's own; its words are the rounded figure. Fills and hatches belong to paper and are left out.
    """
    import ezdxf

    document = ezdxf.new("R2010", setup=["linetypes"], units=4)
    document.header["$MEASUREMENT"] = 1
    document.header["$LTSCALE"] = drawing.scale
    for name, (colour, _) in LAYERS.items():
        document.layers.add(name, color=colour)
    document.styles.add("PERPEND", font="arial.ttf")
    _add_dimension_style(document, drawing.scale)
    space = document.modelspace()
    for item in drawing.items:
        _add(space, item, drawing.scale)
    stream = io.StringIO()
    document.write(stream)
    return OURS + stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def _add_dimension_style(document: DxfDocument, scale: float) -> None:
    style = document.dimstyles.new(DIMENSION_STYLE)
    style.dxf.dimtxsty = "PERPEND"
    style.dxf.dimscale = scale
    style.dxf.dimtxt = 2.2
    style.dxf.dimtsz = 1.0  # oblique ticks
    style.dxf.dimexo = 1.2
    style.dxf.dimexe = 1.0
    style.dxf.dimgap = 0.8
    style.dxf.dimtad = 1  # words above the line
    style.dxf.dimtih = 0
    style.dxf.dimtoh = 0
    style.dxf.dimdec = 0
    style.dxf.dimlunit = 2


def _add(space: Any, item: Path | Disc | Words | Dimension, scale: float) -> None:
    if isinstance(item, Path):
        if item.pen is None:
            return
        attributes = {
            "layer": item.layer,
            "lineweight": LINE_WEIGHTS[item.pen],
            "linetype": LINE_TYPES[item.dash],
        }
        if len(item.points) == 2 and not item.closed:
            space.add_line(item.points[0], item.points[1], dxfattribs=attributes)
        else:
            space.add_lwpolyline(item.points, close=item.closed, dxfattribs=attributes)
    elif isinstance(item, Disc):
        space.add_circle(item.centre, item.radius_mm, dxfattribs={"layer": item.layer})
    elif isinstance(item, Words):
        _add_words(space, item, scale)
    else:
        base = (item.first[0], item.line_at) if item.along == "x" else (item.line_at, item.first[1])
        space.add_linear_dim(
            base=base,
            p1=item.first,
            p2=item.second,
            angle=0 if item.along == "x" else 90,
            text=item.text.replace("\u00a0", " "),
            dimstyle=DIMENSION_STYLE,
            dxfattribs={"layer": item.layer},
        ).render()


def _add_words(space: Any, item: Words, scale: float) -> None:
    from ezdxf.enums import TextEntityAlignment

    align = {
        "start": TextEntityAlignment.LEFT,
        "middle": TextEntityAlignment.CENTER,
        "end": TextEntityAlignment.RIGHT,
    }[item.anchor]
    text = space.add_text(
        item.text.replace("\u00a0", " ").replace("%%", "% %"),
        height=item.letter_mm * scale,
        rotation=item.turn_deg,
        dxfattribs={"layer": item.layer, "style": "PERPEND"},
    )
    text.set_placement(item.at, align=align)
