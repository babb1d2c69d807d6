"""Where little was measured or said, the estimator does what it can, and asks for the rest by name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from estimator import boards, cutting, rdsap, tables
from estimator.boards import board_rules, sizes_on_sale
from estimator.break_points import Calls
from estimator.climate import dew_point_c
from estimator.construction import Construction, judge_construction
from estimator.construction_evidence import whole_thickness
from estimator.construction_network import age_likelihood, bond_likelihood
from estimator.construction_tables import read_tables
from estimator.count_risk import CountRisk, count_risk
from estimator.existing_walls import existing_wall
from estimator.faces import lining_face, shifted
from estimator.fixing import _spread, feature_box
from estimator.inputs import Design, Room, WallCase
from estimator.junction_models import JunctionResult, reveal_section
from estimator.junction_study import _neighbour_words, _return_words
from estimator.knock_on import what_moves
from estimator.layout import lay_boards
from estimator.order_materials import fixing_lines, window_board_lines
from estimator.prices import default_prices, load_prices
from estimator.reveals import cut_reveals, reveal_linings
from estimator.tape_list import tape_list
from estimator.tape_reasons import size_of
from tests import board_cases, test_construction, test_fixing, test_knock_on
from tests.board_cases import BACK, NORTH, feature, known, wall, window
from vision.findings import PerpendError
from vision.walls import DeclaredOpening, Measured

RULES = board_rules()


def moved(case: WallCase, *, room: Room = BACK) -> tuple[set[str], set[str]]:
    """Return the things that move and the findings' codes."""
    moves, findings = what_moves(
        case, room=room, build_up_mm=72.5, lining_mm=62.5, layout=None, openings=(), rules=RULES
    )
    return {move.thing for move in moves}, {finding.code for finding in findings}


# Construction


def judged(**said: object) -> Construction:
    return judge_construction(test_construction.case(test_construction.opening(reveal=110), **said))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("key", "word", "known_words"),
    [
        ("extension", "perhaps", "yes, no or unknown"),
        ("built_band", "long ago", "an RdSAP band letter"),
        ("window_type", "round", "sash"),
    ],
)
def test_an_answer_that_is_not_understood_is_asked_again_with_the_words_that_are(
    key: str, word: str, known_words: str
) -> None:
    found = [f for f in judged(**{key: word}).findings if word in f.message or word in f.remedy]
    assert found
    assert known_words in found[0].message + found[0].remedy


def test_the_year_of_an_extension_counts_in_place_of_the_houses() -> None:
    old = judged(built=1908)
    own = judged(built=1908, extension="yes", extension_built="1995")
    assert own.probability["solid_brick"] < old.probability["solid_brick"]
    odd = judged(built=1908, extension="yes", extension_built="lately")
    assert any("a year such as 1975" in f.message + f.remedy for f in odd.findings)


def test_an_extension_of_unknown_age_leaves_all_years_since_the_house_open() -> None:
    open_years = judged(built=1908, extension="yes")
    assert open_years.probability["solid_brick"] < judged(built=1908).probability["solid_brick"]
    assert any("extension" in f.message.lower() for f in open_years.findings)


def test_a_band_of_years_and_a_kind_of_window_count_where_nothing_better_is_known() -> None:
    bare = judged()
    late = judged(built_band="K")
    assert late.probability["solid_brick"] < bare.probability["solid_brick"]
    assert not [f for f in late.findings if "not understood" in f.message]
    deep = judged(window_type="box_sash")
    assert deep.probability != bare.probability
    assert not [f for f in deep.findings if "window_type" in f.message + f.remedy]
    ageless = judged(extension="yes")  # of a house that nobody has dated
    assert ageless.probability == bare.probability


def test_a_taped_thickness_of_wall_or_opening_is_taken_before_any_sum() -> None:
    case = test_construction.case(test_construction.opening(reveal=110, outer=30, frame=70, thickness=200))
    taped = replace(case, declared=replace(case.declared, taped={"thickness_mm": 338.0}))
    assert whole_thickness(taped, []) == Measured(value=338.0, sd=whole_thickness(taped, []).sd)  # type: ignore[union-attr]
    at_edge = replace(case, measured=replace(case.measured, thickness_mm=Measured(value=251.0, sd=9.0)))
    assert whole_thickness(at_edge, []) == Measured(value=251.0, sd=9.0)
    opening = replace(
        case, declared=replace(case.declared, openings=(DeclaredOpening(id="w1", taped={"thickness_mm": 345.0}),))
    )
    found = whole_thickness(opening, [])
    assert found is not None
    assert found.value == 345.0


def test_a_reading_without_weight_or_an_age_outside_all_bands_says_nothing() -> None:
    nothing = bond_likelihood({})
    assert (nothing == 1.0).all()
    assert bond_likelihood({"flemish": 0.9}).max() > bond_likelihood({"flemish": 0.9}).min()
    assert (age_likelihood(2200, 2300) == 1.0).all()


def test_tables_whose_probabilities_do_not_add_up_are_refused() -> None:
    from estimator import construction_tables

    good = read_tables()
    bad = replace(good, lining=tuple(replace(row, probability=2 * row.probability) for row in good.lining))
    with pytest.raises(PerpendError, match=r"layers.csv, lining: the probabilities add to 2\.0000; they must add to 1"):
        construction_tables._refuse_sums(bad)


@pytest.mark.parametrize(
    ("band", "nation", "years"),
    [
        ("1930-1949", "england", (1930, 1949)),
        ("before 1900", "england", (0, 1899)),
        ("1983 on", "england", (1983, 9999)),
        ("1972", "england", (1972, 1972)),
        ("B", "england", (1900, 1929)),
        ("b", "scotland", (1919, 1929)),
        ("quite old", "england", None),
    ],
)
def test_a_band_of_years_is_understood_in_letters_and_in_years(
    band: str, nation: str, years: tuple[int, int] | None
) -> None:
    if band.lower() == "b":  # the letters' years are the table's; they must hold their own middle
        found = rdsap.band_years(band, nation=nation)
        assert found is not None
        assert rdsap.age_band(sum(found) // 2, nation=nation) == "B"
    else:
        assert rdsap.band_years(band, nation=nation) == years


def test_a_year_after_all_bands_has_none() -> None:
    assert rdsap.age_band(12_000) is None


# Tables and prices


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[table]\ntitle = "x"\nedition = "1"\n', "the header has no checked"),
        ('[table]\ntitle = "x"\nedition = "1"\nchecked = "today"\n', "Write it as a date"),
    ],
)
def test_a_table_without_a_proper_date_is_refused(text: str, words: str) -> None:
    with pytest.raises(PerpendError, match=words):
        tables.parse_table("x", text)


@pytest.mark.parametrize("value", ['"wide"', "-3", "true"])
def test_a_board_rule_that_is_no_number_is_refused(value: str) -> None:
    own = tables.read_table("board_rules")
    field = next(iter(own.rows))
    rows = {**own.rows, field: {**own.rows[field], "value": {'"wide"': "wide", "-3": -3, "true": True}[value]}}
    with pytest.raises(PerpendError, match="Write a number of at least 0"):
        boards.board_rules(replace(own, rows=rows))


def test_a_price_may_be_a_pair_or_low_and_high_and_nothing_else() -> None:
    pair = load_prices("[heat]\n'fuel.gas_boiler' = [0.06, 0.08]\n")
    named = load_prices("[adhesive]\nlow = 9\nhigh = 11\n")
    assert pair.rows.keys() == named.rows.keys()
    with pytest.raises(PerpendError, match=r"'adhesive' is 30\. Write a table"):
        load_prices("adhesive = 30\n")
    with pytest.raises(PerpendError, match="gas_boiler"):
        load_prices("[heat]\n'fuel.gas_boiler' = 0.06\n")


def test_a_vapour_pressure_that_is_none_has_no_dew_point() -> None:
    with pytest.raises(PerpendError, match="must be above 0"):
        dew_point_c(0.0)


# Faces and boards


@pytest.mark.parametrize("missing", ["width_mm", "height_mm", "left_mm", "sill_mm"])
def test_an_opening_with_a_size_missing_is_named_with_the_size(missing: str) -> None:
    part = replace(window(), **{missing: None})  # type: ignore[arg-type]
    _, findings = lining_face(board_cases.case(wall(openings=(part,))))
    assert any(missing in f.message or missing in f.remedy for f in findings)


def test_a_door_without_a_sill_stands_on_the_floor() -> None:
    door = replace(window("d1", left=300, width=800, height=2000), kind="door", sill_mm=None)
    face, findings = lining_face(board_cases.case(wall(openings=(door,))))
    assert face is not None
    assert findings == []
    assert face.gaps[0].bottom <= 10


def test_moving_a_size_that_is_not_there_moves_nothing_and_the_rest_as_said() -> None:
    bare = replace(NORTH, width_bottom_mm=None)
    out = shifted(bare, {"width_mm": 10.0, "openings.w1.left_mm": 5.0, "openings.w1.nothing": 3.0})
    assert out.width_bottom_mm is None
    assert out.width_mm is not None
    assert NORTH.width_mm is not None
    assert out.width_mm.value == NORTH.width_mm.value + 10.0
    assert out.openings[0].left_mm == known(1405.0)


def test_a_feature_without_a_place_has_no_box_and_one_without_a_size_is_a_socket() -> None:
    socket = feature("s1", "socket", 500, 300, 146, 86)
    assert feature_box(replace(socket, left_mm=None)) is None
    box = feature_box(replace(socket, width_mm=None, height_mm=None))
    assert box == (500, 300, 586, 386)


@pytest.mark.parametrize("piece", [(2000, 500), (0, 500), (500, -1)])
def test_a_piece_that_no_board_gives_is_refused_by_number(piece: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match=f"piece 1 of {piece[0]} x {piece[1]} mm cannot be cut"):
        cutting.cut_rectangles([(100, 100), piece], board=(1200, 2400), kerf=3, turn=False)


def test_nothing_to_cut_takes_no_board_and_unturned_pieces_bound_as_they_lie() -> None:
    assert cutting.cut_rectangles([], board=(1200, 2400), kerf=3).boards == 0
    tall = [(700, 1300)] * 3
    assert cutting.cut_rectangles(tall, board=(1200, 2400), kerf=3, turn=False).lower_bound == 3


def test_nothing_to_lay_and_no_size_on_sale_are_refused_in_words() -> None:
    face, _ = lining_face(board_cases.case(NORTH))
    assert face is not None
    with pytest.raises(ValueError, match="no face to lay boards on"):
        lay_boards([], sizes=sizes_on_sale(60), rules=RULES)
    with pytest.raises(ValueError, match="no board sizes"):
        lay_boards([face], sizes=[], rules=RULES)


def test_an_opening_whose_width_or_height_nobody_knows_has_no_reveal_boards() -> None:
    part = replace(window(), width_mm=None)
    openings, pieces, findings = reveal_linings(board_cases.case(wall(openings=(part,))), build_up_mm=72.5, rules=RULES)
    assert (list(openings), list(pieces), list(findings)) == ([], [], [])


def test_a_reveal_deeper_than_a_board_is_a_wall_of_its_own() -> None:
    deep = replace(window(), reveal_depth_mm=known(1500.0))
    openings, pieces, _ = reveal_linings(board_cases.case(wall(openings=(deep,))), build_up_mm=72.5, rules=RULES)
    lots, findings = cut_reveals(pieces, openings, rules=RULES)
    assert {f.code for f in findings} == {"B023"} or not pieces
    assert all(lot.count >= 0 for lot in lots)


# What moves


def test_without_its_width_a_wall_has_no_skirting_or_coving_to_move() -> None:
    things = (feature("c1", "coving", 0, 2300, 4000, 100), feature("p1", "picture rail", 0, 2000, 4000, 50))
    whole = board_cases.case(wall(features=things))
    bare = replace(whole, measured=replace(whole.measured, width_mm=None))
    assert {"skirting", "coving"} <= moved(whole)[0]
    assert not {"skirting", "coving"} & moved(bare)[0]


def test_a_wall_that_is_in_no_room_has_no_neighbours_to_return_to() -> None:
    alone = moved(board_cases.case(NORTH), room=Room(id="loft", walls=()))[0]
    assert "skirting" in alone


def test_a_flue_or_a_stair_is_said() -> None:
    site = replace(board_cases.SITE, extra={"flue": "yes"})
    assert "B037" in moved(board_cases.case(NORTH, site=site))[1]
    narrow = replace(board_cases.SITE, extra={"clear_width_mm": 800})
    stair = board_cases.case(wall("stair"), site=narrow)
    assert "B036" in moved(stair, room=Room(id="stair", walls=("stair",)))[1]


@pytest.mark.parametrize(
    "kind",
    ["socket", "switch", "radiator", "gas_pipe", "water_pipe", "boiler", "airbrick", "vent", "curtain pole", "sink"],
)
def test_each_thing_on_a_wall_moves_even_where_its_size_or_board_is_not_known(kind: str) -> None:
    thing = replace(feature("t1", kind, 500, 300, 146, 86), left_mm=None, width_mm=None)
    things, _ = moved(board_cases.case(wall(features=(thing,))))
    assert "t1" in things


# The tape list


def risk_of(case: WallCase) -> CountRisk:
    face, _ = lining_face(case)
    assert face is not None
    layout = lay_boards([face], sizes=sizes_on_sale(50), rules=RULES)
    return count_risk("back", [case], layout, sizes=sizes_on_sale(50), corners=(), rules=RULES, calls=Calls())


def test_sizes_are_found_by_wall_and_key_and_are_none_where_there_is_no_such_thing() -> None:
    cases = [board_cases.case(NORTH)]
    assert size_of(cases, ("north", "width_mm")) == NORTH.width_mm
    assert size_of(cases, ("north", "openings.w1.sill_mm")) == NORTH.openings[0].sill_mm
    assert size_of(cases, ("north", "openings.w9.sill_mm")) is None
    assert size_of(cases, ("south", "width_mm")) is None
    assert size_of(cases, ("north", "id")) is None


def test_exactly_known_sizes_leave_the_count_without_risk_and_nothing_to_tape() -> None:
    exact = wall(sd=0.0)
    exact = replace(exact, covariance_mm2=np.zeros((len(exact.keys), len(exact.keys))))
    case = board_cases.case(exact)
    risk = risk_of(case)
    assert risk.to_order == risk.count
    items = tape_list(
        [case], risks=[risk], openings=(), heats={}, constructions={}, design=Design(), prices=default_prices(),
        rules=RULES,
    )  # fmt: skip
    assert [item.key for item in items if item.key.endswith("width_mm")] == []


# Junctions


def result(mm: float, factor: float, *, next_room: float | None = None) -> JunctionResult:
    return JunctionResult(
        junction="party wall", variant_mm=mm, psi_w_mk=0.1, f_rsi=factor, f_rsi_next_room=next_room, f_rsi_away=None,
        coldest="wall", coldest_at_mm=(0.0, 0.0),
    )  # fmt: skip


def test_a_corner_that_is_warm_enough_wants_no_return_and_a_neighbour_who_is_not_there_no_warning() -> None:
    returns = [result(0, 0.80), result(500, 0.85)]
    assert _return_words("party wall", returns, 0.0) == (
        "The corner with the party wall reaches 0.80 without a return (0.75 is the least)."
    )
    assert "from 0.80 without a return to 0.85" in _return_words("party wall", returns, 500.0)
    assert _return_words("party wall", returns, None).endswith("ask a professional.")
    assert _neighbour_words("party wall", result(0, 0.7), result(500, 0.8)) == ()
    (told,) = _neighbour_words("party wall", result(0, 0.7), result(500, 0.8, next_room=0.62))
    assert "from 0.70 to 0.62" in told


def test_a_wall_without_plaster_has_none_round_its_windows() -> None:
    size = {"outer_reveal_mm": 30.0, "frame_mm": 70.0, "visible_frame_mm": 44.0}
    plastered = existing_wall("solid_brick").layers
    assert plastered[-1].name.endswith("plaster")
    with_it, without = (
        [b for b in reveal_section(layers, None, reveal=None, **size).blocks if b.name == "reveal"]
        for layers in (plastered, plastered[:-1])
    )
    assert [block.right - block.left for block in with_it] == [plastered[-1].thickness_mm]
    assert without == []


# What each way of fixing takes


@pytest.mark.parametrize(
    ("method", "needs", "not_needed"),
    [
        ("adhesive_dabs", {"adhesive", "primer"}, {"foam_adhesive", "batten", "screw"}),
        ("foam_adhesive", {"foam_adhesive"}, {"batten"}),
        ("battens", {"batten", "screw"}, {"foam_adhesive", "primer"}),
        ("full_bed", {"adhesive"}, {"foam_adhesive", "batten"}),
    ],
)
def test_each_way_of_fixing_orders_what_it_takes_and_nothing_else(
    method: str, needs: set[str], not_needed: set[str]
) -> None:
    fixing, _, _ = test_fixing.fixed(method)
    keys = {line.key for line in fixing_lines([fixing], [], RULES)}
    assert needs <= keys
    assert not not_needed & keys


def test_no_wall_takes_nothing_to_fix_and_an_opening_without_a_board_none() -> None:
    assert fixing_lines([], [], RULES) == []
    door = replace(window("d1", left=300, width=800, sill=0, height=2000), kind="door")
    openings, _, _ = reveal_linings(board_cases.case(wall(openings=(door,))), build_up_mm=72.5, rules=RULES)
    assert window_board_lines(openings, RULES) == []


def test_beside_a_door_the_ribbon_and_the_battens_keep_off_its_foot() -> None:
    door = replace(window("d1", left=90, width=300, sill=0, height=2000), kind="door")
    subject = board_cases.case(wall(openings=(door,)))
    (gap,) = lining_face(subject)[0].gaps  # type: ignore[union-attr]
    way = shapely.box(gap.left + 1, 0, gap.right - 1, gap.top - 1)
    dabbed, _, _ = test_fixing.fixed("adhesive_dabs", of=subject)
    ribbons = [shapely.Polygon(p) for p in dabbed.ribbons]
    assert ribbons
    assert not any(ribbon.intersects(way) for ribbon in ribbons)
    assert any(ribbon.bounds[1] < 200 and ribbon.bounds[0] > gap.right for ribbon in ribbons)  # along the foot
    battened, _, _ = test_fixing.fixed("battens", of=subject)
    rails = [(a, b) for a, b in battened.lines if a[1] == b[1] and gap.left <= a[0] < b[0] <= gap.right]
    assert [a[1] for a, _ in rails] == [gap.top]  # one over the door, none under it


def test_rows_are_spread_from_end_to_end_no_further_apart_than_said() -> None:
    assert _spread(0.0, 1200.0, 600.0) == [0.0, 600.0, 1200.0]
    assert _spread(0.0, 1201.0, 600.0) == pytest.approx([0.0, 1201 / 3, 2402 / 3, 1201.0])
    assert _spread(10.0, 4.0, 600.0) == [7.0]  # narrower than its own edges: one in the middle


def test_a_socket_has_its_hole_on_the_board_that_covers_it_and_on_none_where_no_board_does() -> None:
    things = (feature("near", "socket", 300, 300, 146, 86), feature("far", "socket", 2500, 300, 146, 86))
    stray = feature("stray", "socket", 1900, 1300, 146, 86)  # where the window is
    moves, _, layout = test_knock_on.moves_of(board_cases.case(wall(openings=(window(),), features=(*things, stray))))
    board = {m.thing: m.board for m in moves if m.action.startswith("cut the hole")}
    assert board["stray"] is None
    assert board["near"] is not None
    assert board["far"] is not None
    assert board["near"] != board["far"]
    for name, left in (("near", 300), ("far", 2500)):
        over = [p for p in layout.pieces if p.board == board[name]]
        assert any(p.on_wall.box[0] <= left and p.on_wall.box[2] >= left + 146 for p in over)
