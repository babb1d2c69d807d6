"""The drawings: one geometry for SVG, PDF and DXF, true to geometry.json."""

from __future__ import annotations

import io
import math
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import ezdxf
import pytest
from ezdxf import recover
from hypothesis import given
from hypothesis import strategies as st

from intake.report.board_drawings import PieceShape, roomiest_cell
from intake.report.charts import ChartPoint, bars, condensation_by_month, nice_step, u_against_depth
from intake.report.cut_plan import hole_on_board, on_board_place
from intake.report.drawing import LAYERS, Drawing, Sheet, rectangle
from intake.report.drawing import Path as DrawnPath
from intake.report.dxf import dxf
from intake.report.elevation import elevation
from intake.report.figures import COLUMN_MM, SECTION_SCALES, to_scale
from intake.report.plan import PlanWall, room_plan
from intake.report.section import LayerBand, SectionSizes, jamb_section, sill_section
from intake.report.svg import svg
from intake.results import WallResult
from tests import report_example as example

TOLERANCE_MM = 0.1  # asked of the DXF against geometry.json


def north(**changes: Any) -> WallResult:
    return WallResult.model_validate(example.wall_north() | changes)


def north_elevation() -> Drawing:
    drawing = elevation(north(), scale=20.0)
    assert drawing is not None
    return drawing


def read_back(drawing: Drawing, tmp_path: Path) -> Any:
    """Return the model space of a DXF after the auditor has found nothing."""
    file = tmp_path / f"{drawing.name}.dxf"
    file.write_bytes(dxf(drawing))
    document, auditor = recover.readfile(file)
    assert not auditor.errors
    assert not auditor.fixes
    again = io.StringIO()
    document.write(again)
    assert not ezdxf.read(io.StringIO(again.getvalue())).audit().errors
    return document.modelspace()


def edge_lengths(polyline: Any) -> list[float]:
    points = [(x, y) for x, y, *_ in polyline.get_points()]
    return [math.dist(a, b) for a, b in zip(points, [*points[1:], points[0]], strict=True)]


def values_of(data: Any, prefix: str = "") -> dict[str, float]:
    """Return every length of a wall of geometry.json by its path."""
    found: dict[str, float] = {}
    for key, value in data.items():
        if isinstance(value, dict) and "value" in value and key.endswith("_mm"):
            found[prefix + key] = value["value"]
        elif isinstance(value, list):
            for item in value:
                if isinstance(item, dict) and "id" in item:
                    found |= values_of(item, f"{prefix}{key}.{item['id']}.")
    return found


def test_dxf_dimensions_measure_what_geometry_says(tmp_path: Path) -> None:
    """Every size of the wall, its openings and things is measured by a real dimension, to 0.1 mm."""
    space = read_back(north_elevation(), tmp_path)
    measured = [entity.get_measurement() for entity in space.query("DIMENSION")]
    wanted = values_of(example.wall_north())
    shown = ("width_mm", "left_mm", "height_mm", "sill_mm", "height_left_mm", "height_right_mm")
    for path, value in wanted.items():
        thing = path.startswith("features.")
        if path in ("height_mm", "width_bottom_mm", "width_top_mm") or (thing and path.endswith("height_mm")):
            continue  # the ends' own heights are dimensioned; things show where they stand and how wide they are
        if path.split(".")[-1] not in shown:
            continue
        if thing and path.endswith("left_mm") and "s1" not in path:
            continue  # in a chain only the first stop is measured from the wall's edge
        assert min(abs(value - length) for length in measured) <= TOLERANCE_MM, path


def test_dxf_outlines_have_the_lengths_of_geometry(tmp_path: Path) -> None:
    """The wall's four edges are bottom, right, top and left as measured; so are the opening's corners."""
    space = read_back(north_elevation(), tmp_path)
    wall = next(e for e in space.query("LWPOLYLINE") if e.dxf.layer == "WALL")
    said = example.wall_north()
    expected = [said[key]["value"] for key in ("width_bottom_mm", "height_right_mm", "width_top_mm", "height_left_mm")]
    corners = [tuple(point) for point in said["outline_mm"]]
    exact = [math.dist(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    assert edge_lengths(wall) == pytest.approx(exact, abs=1e-6)
    assert edge_lengths(wall) == pytest.approx(expected, abs=TOLERANCE_MM)
    fronts = [e for e in space.query("LWPOLYLINE") if e.dxf.layer == "OPENINGS"]
    front = [tuple(point) for point in said["openings"][0]["front_mm"]]
    assert any(
        [(x, y) for x, y, *_ in e.get_points()] == [pytest.approx(corner, abs=1e-6) for corner in front] for e in fronts
    )


def test_dxf_is_in_millimetres_with_a_layer_for_each_trade(tmp_path: Path) -> None:
    file = tmp_path / "e.dxf"
    file.write_bytes(dxf(north_elevation()))
    document = ezdxf.readfile(file)
    assert document.header["$INSUNITS"] == 4
    assert set(LAYERS) <= {layer.dxf.name for layer in document.layers}
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert {"WALL", "OPENINGS", "ELECTRICAL", "HEATING-PLUMBING", "DIMENSIONS"} <= used


def test_a_change_of_the_geometry_moves_the_drawing_and_its_figures() -> None:
    before = elevation(north(), scale=20.0)
    after = elevation(north(width_mm=example.v(3987.6, 5.1), outline_mm=None), scale=20.0)
    assert before is not None
    assert after is not None
    assert "3\u00a0871" in svg(before)
    assert "3\u00a0871" not in svg(after)
    assert "3\u00a0988" in svg(after)


def test_a_wall_without_size_has_no_drawing() -> None:
    assert elevation(north(width_mm=None, outline_mm=None), scale=20.0) is None


def test_svg_is_sound_and_at_its_scale() -> None:
    """The drawing's width in millimetres of paper is the model's over the scale, plus the margins."""
    drawing = north_elevation()
    tree = ElementTree.fromstring(svg(drawing))
    width = float(tree.attrib["width"].removesuffix("mm"))
    assert width == pytest.approx(drawing.paper_size_mm()[0], abs=0.01)
    left, _, right, _ = drawing.bounds()
    assert width == pytest.approx((right - left) / 20.0 + 2 * drawing.margin_mm, abs=0.01)
    wall = next(item for item in drawing.items if isinstance(item, DrawnPath) and item.layer == "WALL")
    first = re.search(r'd="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)', svg(drawing))
    assert first is not None
    x0, y0, x1, y1 = (float(group) for group in first.groups())
    assert math.hypot(x1 - x0, y1 - y0) * 20.0 == pytest.approx(math.dist(*wall.points[:2]), abs=0.2)


def test_hostile_words_stay_words_in_every_format(tmp_path: Path) -> None:
    sheet = Sheet(1.0)
    hostile = '<script>alert("x")</script> & \u202eevil \U0001f9f1 %%u {\\P}'
    sheet.words("NOTES", (0.0, 0.0), hostile)
    drawing = Drawing(name="w", title=hostile, alt=hostile, scale=1.0, items=tuple(sheet.items))
    tree = ElementTree.fromstring(svg(drawing))
    assert [node.text for node in tree.iter() if node.tag.endswith("text")] == [hostile + "\u202c"]  # closed
    assert not [node for node in tree.iter() if "script" in node.tag]
    space = read_back(drawing, tmp_path)
    assert len(space.query("TEXT")) == 1


def section(**changes: Any) -> SectionSizes:
    sizes: dict[str, Any] = {
        "wall": "north",
        "opening": "window w1",
        "reveal_mm": 130.0,
        "frame_mm": 70.0,
        "outer_reveal_mm": 30.0,
        "structure": "solid brick",
        "structure_hatch": "brick",
        "plaster_mm": 13.0,
        "layers": (
            LayerBand(label="adhesive dabs", thickness_mm=10.0, hatch=None, dabs=True),
            LayerBand(label="phenolic", thickness_mm=60.0, hatch="insulation"),
            LayerBand(label="plasterboard", thickness_mm=12.5, hatch="board"),
        ),
        "reveal_layers": (),
        "visible_frame_mm": 44.0,
        "window_board_mm": 242.5,
        "overhang_mm": 30.0,
        "fixing_mm": 138.0,
    }
    return SectionSizes(**(sizes | changes))


def test_the_section_shows_the_build_up_and_the_window_board() -> None:
    """130 reveal + 82.5 build-up + 30 overhang = 242.5, shown as 242 or 243; the whole wall is 230."""
    assert section().build_up_mm == pytest.approx(82.5)
    assert section().thickness_mm == pytest.approx(230.0)
    for drawing in (jamb_section(section()), sill_section(section())):
        text = svg(drawing)
        for words in (">82.5<", ">130<", ">70<", ">30<", ">230<"):
            assert words in text
    assert re.search(r"window board 24[23]", svg(sill_section(section())))


def test_a_section_without_an_outer_reveal_claims_no_thickness() -> None:
    assert ">230<" not in svg(jamb_section(section(outer_reveal_mm=None)))


def test_the_plan_names_each_wall_and_leaves_gaps_open() -> None:
    walls = [
        PlanWall(name="north", length_mm=3871.0, thickness_mm=231.0, build_up_mm=82.5, openings=((1343.0, 1204.0),)),
        PlanWall(name="east", length_mm=3598.0, thickness_mm=None, build_up_mm=0.0),
        None,
        PlanWall(name="west", length_mm=None, thickness_mm=None, build_up_mm=0.0),
    ]
    drawing = room_plan("back", walls, scale=50.0, floor_words="floor lost 0.32 m²")
    assert drawing is not None
    text = svg(drawing)
    for words in ("3\u00a0871", "3\u00a0598", "west, not measured", "floor lost 0.32 m²"):
        assert words in text
    assert room_plan("back", [None], scale=50.0, floor_words="") is None


def test_the_charts_draw_in_svg_and_say_what_they_show() -> None:
    points = [
        ChartPoint(family="a", depth_mm=40.0 + 10 * i, u=0.5 - 0.05 * i, on_front=True, chosen=i == 2) for i in range(5)
    ]
    warmth = u_against_depth(points, wall="north", target=0.30)
    assert warmth is not None
    dry = condensation_by_month([], wall="north", limit_g_m2=200.0)
    wet = condensation_by_month([("gap", [13.0] * 12)], wall="north", limit_g_m2=200.0)
    errors = bars(
        [("scale", 60.0, "60 in 100")], name="b", title="t", alt="Bars: scale 60.", high=100.0, axis_words="share"
    )
    for chart in (warmth, dry, wet, errors):
        ElementTree.fromstring(svg(chart))
        assert len(chart.alt) > 10
    assert "no condensation in any month" in svg(dry)
    assert u_against_depth([], wall="north", target=None) is None


@given(st.floats(min_value=0.01, max_value=1e5), st.integers(min_value=2, max_value=12))
def test_axis_steps_are_1_2_or_5_and_few(span: float, wanted: int) -> None:
    step = nice_step(span, wanted)
    figure = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(figure - nice) for nice in (1.0, 2.0, 5.0, 10.0)) < 1e-6
    assert span / step <= wanted * 1.01


def piece(turned_deg: int, on_board: tuple[tuple[float, float], ...]) -> PieceShape:
    return PieceShape(
        id="N1",
        wall="north",
        role="column",
        board=1,
        on_wall=rectangle(1000.0, 10.0, 600.0, 2600.0),
        on_wall_holes=(),
        on_board=on_board,
        on_board_holes=(),
        turned_deg=turned_deg,
    )


@pytest.mark.parametrize(
    ("turned_deg", "on_board", "box"),
    [
        (0, ((0, 0), (600, 0), (600, 2600), (0, 2600)), (100, 290, 247, 377)),
        (180, ((600, 2600), (0, 2600), (0, 0), (600, 0)), (353, 2223, 500, 2310)),
        (90, ((2600, 0), (2600, 600), (0, 600), (0, 0)), (2223, 100, 2310, 247)),
    ],
    ids=["upright", "upside down", "lying"],
)
def test_a_socket_hole_turns_with_its_piece(
    turned_deg: int, on_board: tuple[tuple[float, float], ...], box: tuple[float, ...]
) -> None:
    """The wall's corners land on the board's corners, and a hole 100 in and 290 up goes with them."""
    shape = piece(turned_deg, on_board)
    for wall_point, board_point in zip(shape.on_wall, on_board, strict=True):
        assert on_board_place(shape, wall_point) == pytest.approx(board_point)
    hole = hole_on_board(shape, "s1", (1100.0, 300.0, 147.0, 87.0))
    assert hole is not None
    assert hole.box == pytest.approx(box)
    assert (hole.from_left_mm, hole.from_foot_mm) == (100.0, 290.0)
    assert hole_on_board(shape, "s2", (3000.0, 300.0, 147.0, 87.0)) is None


def test_a_name_is_put_where_the_piece_is_roomiest() -> None:
    """Of an L-shaped piece the broad leg, clear of the cut-out."""
    outline = ((0, 0), (1200, 0), (1200, 900), (700, 900), (700, 2600), (0, 2600))
    left, bottom, right, top = roomiest_cell(outline)
    assert right <= 700 or top <= 900
    assert (right - left) * (top - bottom) >= 1200 * 900


def test_bars_below_the_limit_are_hatched_and_others_are_not() -> None:
    """What is too cold is told from what is warm enough without colour; without a limit nothing is hatched."""
    rows = [("a", 0.5, "0.50"), ("b", 0.9, "0.90"), ("c", 0.7, "0.70")]
    kept: dict[str, object] = {"name": "x", "title": "x", "alt": "x", "high": 1.0, "axis_words": "x"}
    for limit, hatched in (((0.75, "least"), [True, False, True]), (None, [False, False, False])):
        drawing = bars(rows, limit=limit, **kept)  # type: ignore[arg-type]
        filled = [item for item in drawing.items if isinstance(item, DrawnPath) and item.closed]
        assert [item.hatch is not None for item in filled] == hatched


@pytest.mark.parametrize("outer_reveal_mm", [30.0, 150.0, 800.0])
def test_a_section_too_wide_for_the_page_takes_the_next_scale_and_is_not_shrunk(outer_reveal_mm: float) -> None:
    sizes = section(outer_reveal_mm=outer_reveal_mm, visible_frame_mm=60.0)
    for draw in (jamb_section, sill_section):
        drawing = to_scale(lambda scale, draw=draw: draw(sizes, scale=scale))  # type: ignore[misc]
        width, height = drawing.paper_size_mm()
        assert width <= COLUMN_MM[0]
        assert height <= COLUMN_MM[1]
        assert drawing.scale in SECTION_SCALES
    assert to_scale(lambda scale: sill_section(section(), scale=scale)).scale == 5.0
