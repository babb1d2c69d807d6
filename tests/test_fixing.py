"""Dabs, ribbons, beads and fixings."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from estimator.boards import board_rules, board_weight_kg, sizes_on_sale
from estimator.faces import Face, lining_face
from estimator.fixing import WallFixing, adhesive_kg, fix_wall, fixing_length_mm
from estimator.inputs import WallCase
from estimator.layout import lay_boards
from estimator.layout_records import RoomLayout
from tests.board_cases import NORTH, case, wall, window

RULES = board_rules()


def fixed(method: str, *, board_mm: float = 12.5, of: WallCase | None = None) -> tuple[WallFixing, Face, RoomLayout]:
    face, _ = lining_face(of or case(NORTH))
    assert face is not None
    layout = lay_boards([face], sizes=sizes_on_sale(40), rules=RULES)
    fixing = fix_wall(
        face, layout, features=NORTH.features, method=method, insulation="pir", insulation_mm=40, board_mm=board_mm,
        gap_mm=10, rules=RULES,
    )  # fmt: skip
    return fixing, face, layout


@pytest.mark.parametrize(("depth", "kg"), [(10, 5.3), (12, 6.3), (15, 7.9), (20, 10.6)])
def test_adhesive_of_a_board_with_a_perimeter_ribbon_and_eight_dabs(depth: float, kg: float) -> None:
    """Common practice, no source: 1.1 kg/m2 and mm. Ribbon 50 mm round 2.4 x 1.2 m, eight dabs of 60 x 250 mm."""
    contact = 2 * (2.4 + 1.2) * 0.050 + 8 * 0.060 * 0.250
    assert adhesive_kg(contact, depth) == pytest.approx(kg, abs=0.06)


@pytest.mark.parametrize(
    ("insulation", "plaster", "length"), [(40, 15, 117.5), (40, 0, 102.5), (60, 15, 137.5), (60, 0, 122.5)]
)
def test_a_fixing_goes_through_every_layer_and_forty_millimetres_into_the_masonry(
    insulation: float, plaster: float, length: float
) -> None:
    """By arithmetic: 12.5 board + insulation + 10 gap + plaster + 40 in the wall."""
    found = fixing_length_mm(board_mm=12.5, insulation_mm=insulation, gap_mm=10, rules=RULES, plaster_mm=plaster)
    assert found == pytest.approx(length)


@pytest.mark.parametrize(("insulation", "kg"), [(25, 26.8), (40, 28.2), (60, 30.0), (80, 31.9)])
def test_a_board_of_rigid_foam_weighs_what_its_layers_weigh(insulation: float, kg: float) -> None:
    """By arithmetic: 8.5 kg/m2 of board and 32 kg/m3 of foam on 2.88 m2."""
    size = sizes_on_sale(insulation)[0]
    assert board_weight_kg(size, insulation="pir", insulation_mm=insulation, board_mm=12.5) == pytest.approx(
        kg, abs=0.06
    )


def test_dabs_cover_a_fifth_of_the_board_and_keep_off_openings_boxes_and_ribbons() -> None:
    """Trade articles on dry lining: contact at least 20 %."""
    fixing, face, layout = fixed("adhesive_dabs")
    assert fixing.contact_share is not None and 0.20 <= fixing.contact_share <= 0.35
    window = shapely.box(1400, 900, 2600, 2100)
    socket = shapely.box(500, 300, 646, 386)
    ribbons = [shapely.Polygon(p) for p in fixing.ribbons]
    for dab in map(shapely.Polygon, fixing.dabs):
        assert not dab.intersects(window) and not dab.intersects(socket)
        assert all(dab.intersection(r).area < 1 for r in ribbons)
    joints = [j.start[0] for j in layout.joints if j.start[0] == j.end[0]]
    assert all(not p[0][0] < x < p[1][0] for p in fixing.dabs for x in joints)
    assert face.width == 4000


def test_ribbons_close_round_the_wall_the_window_and_the_socket() -> None:
    fixing, _, _ = fixed("adhesive_dabs")
    whole = shapely.unary_union([shapely.Polygon(p).buffer(1) for p in fixing.ribbons])
    rings = [shapely.Polygon(g.exterior) for g in whole.geoms]
    assert len(rings) == 3 and all(len(g.interiors) == 1 for g in whole.geoms)
    assert any(r.contains(shapely.box(1400, 900, 2600, 2100)) and r.area < 3e6 for r in rings)
    assert any(r.contains(shapely.box(500, 300, 646, 386)) and r.area < 1e5 for r in rings)


def test_each_method_has_its_own_quantities() -> None:
    dabs, foam, battens = (fixed(m)[0] for m in ("adhesive_dabs", "foam_adhesive", "battens"))
    assert dabs.contact_share is not None
    contact = dabs.contact_share * dabs.board_area_m2
    assert dabs.adhesive_kg == pytest.approx(contact * 13 * 1.1 * 1.1)
    assert foam.adhesive_kg is None and foam.foam_cans == pytest.approx((8.12 / 10, 8.12 / 6), rel=0.01)
    assert battens.adhesive_kg is None and battens.batten_m > 20 and battens.screws > battens.batten_m * 3
    assert (dabs.flat_mm, foam.flat_mm) == (15, 10)
    assert dabs.primer_litres > 0 and battens.primer_litres == 0
    assert len(dabs.fixings) == 2 * len(fixed("adhesive_dabs")[2].pieces)


def test_a_thin_board_gets_more_lines_of_dabs() -> None:
    assert len(fixed("adhesive_dabs", board_mm=9.5)[0].dabs) > len(fixed("adhesive_dabs")[0].dabs)


def test_fixings_go_through_board_and_not_through_the_window() -> None:
    fixing, _, layout = fixed("foam_adhesive")
    pieces = shapely.unary_union([shapely.Polygon(p.on_wall.outer, p.on_wall.holes) for p in layout.pieces])
    assert fixing.fixings and all(pieces.contains(shapely.Point(q)) for q in fixing.fixings)


@pytest.mark.parametrize("method", ["adhesive_dabs", "foam_adhesive"])
def test_each_piece_over_or_under_an_opening_has_fixings_of_its_own(method: str) -> None:
    fixing, _, layout = fixed(method)
    small = [shapely.Polygon(p.on_wall.outer) for p in layout.pieces if p.role == "infill"]
    assert small and all(sum(piece.contains(shapely.Point(q)) for q in fixing.fixings) == 2 for piece in small)


@pytest.mark.parametrize("from_corner", [20, 40, 60, 70, 74, 80, 200])
@pytest.mark.parametrize("method", ["adhesive_dabs", "foam_adhesive", "battens"])
def test_nothing_is_fixed_across_a_door_however_near_the_corner_it_is(from_corner: float, method: str) -> None:
    door = replace(window("d1", left=from_corner, width=800, sill=0, height=2000), kind="door")
    fixing, face, _ = fixed(method, of=case(wall(openings=(door,))))
    (gap,) = face.gaps
    way = shapely.box(gap.left + 1, -1, gap.right - 1, gap.top - 1)
    assert fixing.ribbons or method == "battens"
    assert not any(shapely.Polygon(p).intersects(way) for p in fixing.ribbons)
    assert not any(shapely.LineString(line).intersects(way) for line in fixing.lines)
    assert not any(shapely.Polygon(p).intersects(way) for p in fixing.dabs)
