"""Reveal linings and their boards."""

from __future__ import annotations

from dataclasses import replace

import pytest

from estimator.boards import board_rules
from estimator.estimate import estimate_survey
from estimator.inputs import Design, Room
from estimator.reveals import allowed_insulation_mm, cut_reveals, reveal_area_m2, reveal_linings
from tests.board_cases import case, wall, window

RULES = board_rules()


def test_two_jambs_and_a_soffit_by_arithmetic() -> None:
    """(2 x 1.2 + 1.2) x 0.15 m = 0.54 m2."""
    assert reveal_area_m2(1200, 1200, 150) == pytest.approx(0.54)


@pytest.mark.parametrize(
    ("shown", "insulation"), [(60, 30), (50, 20), (45.5, 20), (45.4, 15), (44, 15), (35.5, 10), (35, None)]
)
def test_the_frame_in_sight_limits_the_lining(shown: float, insulation: float | None) -> None:
    """By arithmetic: insulation + 12.5 board + 5 bed + 8 clearance must fit; 20 mm need 45.5."""
    assert allowed_insulation_mm(shown, RULES) == insulation


def test_pieces_run_from_the_frame_to_the_new_face_and_fit_their_boards() -> None:
    subject = case(wall(openings=(window(), window("w2", left=2700, width=1000))))
    linings, pieces, findings = reveal_linings(subject, build_up_mm=72.5, rules=RULES)
    assert findings == []
    assert {p.depth_mm for p in pieces} == {203}
    assert sorted(p.role for p in pieces if p.opening == "w1") == [
        "reveal_jamb",
        "reveal_jamb",
        "reveal_sill",
        "reveal_soffit",
    ]
    lots, findings = cut_reveals(pieces, linings, rules=RULES)
    assert findings == [] and [(lot.count, lot.proved, lot.insulation_mm) for lot in lots] == [(1, True, 30.0)]
    area = sum(p.on_board.area for p in lots[0].pieces)
    assert area == sum(p.length_mm * p.depth_mm for p in pieces)


def test_what_is_not_known_of_a_reveal_is_a_finding() -> None:
    no_depth = case(wall(openings=(window(reveal_depth_mm=None),)))
    linings, pieces, findings = reveal_linings(no_depth, build_up_mm=72.5, rules=RULES)
    assert (linings, pieces, [f.code for f in findings]) == ([], [], ["B020"])
    no_frame = case(wall(openings=(window(visible_frame_mm=None),)))
    linings, _, findings = reveal_linings(no_frame, build_up_mm=72.5, rules=RULES)
    assert linings[0].insulation_mm == 15 and [f.code for f in findings] == ["B021"]
    thin = case(wall(openings=(window(visible_frame_mm=30.0),)))
    linings, pieces, findings = reveal_linings(thin, build_up_mm=72.5, rules=RULES)
    assert linings[0].lining_mm is None and pieces == []
    assert "30 mm of frame show, and the thinnest reveal board needs 35.5" in findings[0].message


def test_a_door_has_no_sill_and_no_window_board() -> None:
    door = replace(window("d", sill=0, height=2040), kind="door")
    linings, pieces, _ = reveal_linings(case(wall(openings=(door,))), build_up_mm=72.5, rules=RULES)
    assert linings[0].window_board_mm is None
    assert [p.role for p in pieces].count("reveal_sill") == 0


def test_the_heat_part_decides_the_reveals_insulation_as_far_as_the_frame_lets_it() -> None:
    wide, narrow = (case(wall(openings=(window(visible_frame_mm=mm),))) for mm in (80.0, 44.0))
    both = {"w1": 20.0}
    (plain,), _, _ = reveal_linings(wide, build_up_mm=72.5, rules=RULES)
    (wished,), _, _ = reveal_linings(wide, build_up_mm=72.5, rules=RULES, wanted_mm=both)
    (barred,), _, _ = reveal_linings(narrow, build_up_mm=72.5, rules=RULES, wanted_mm=both)
    assert (plain.insulation_mm, wished.insulation_mm, barred.insulation_mm) == (30, 20, 15)


def test_the_board_plan_and_the_heat_part_say_one_figure_for_the_reveal_and_for_the_return() -> None:
    subject = case(wall(openings=(window(visible_frame_mm=44.0),)))
    found = estimate_survey([subject], rooms=[Room(id="back", walls=("north",))], design=Design())
    (north,) = found.walls
    assert north.heat is not None and north.heat.junctions is not None
    (by_heat,) = north.heat.junctions.windows
    (by_plan,) = north.openings
    assert by_heat.chosen is not None and by_plan.lining_mm is not None
    assert by_heat.chosen.thickness_mm == by_plan.lining_mm + 5  # its bed
    advised = north.heat.junctions.advised_return_mm
    assert advised is not None
    assert {m.where_mm["length_mm"] for m in north.moves if m.thing.startswith("return")} == {advised}
