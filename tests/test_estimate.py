"""The whole estimate: what estimate.json needs, the order, the verdicts, and that data files steer it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import pytest

from estimator import room_boards
from estimator.bill import people_to_lift
from estimator.break_points import CALLS, Calls
from estimator.construction import Construction
from estimator.count_risk import CountRisk, count_risk
from estimator.estimate import estimate_survey
from estimator.estimate_records import Estimate
from estimator.faces import Face
from estimator.inputs import Design, Room, WallCase
from estimator.layout_records import RoomLayout
from estimator.prices import load_prices
from estimator.room_boards import LEAST_CALLS, calls_for, corners_of, with_stray_walls
from estimator.settled_first import what_it_is_made_of
from tests.board_cases import BACK, NORTH, SITE, back_room, case, feature, wall, window

VERDICTS = {"nothing_found_against", "tape_first", "not_before", "cannot_say"}


@cache
def back() -> Estimate:
    return estimate_survey(back_room(), rooms=[BACK], design=Design())


def test_the_estimate_carries_what_the_contract_names() -> None:
    estimate = back()
    room = estimate.rooms[0]
    assert room.id == "back" and room.boards is not None
    assert room.boards.count == room.boards.lower_bound == 6 and room.boards.proved
    assert room.boards.pieces and room.boards.offcuts and room.element_share == pytest.approx(1.0)
    assert {w.id for w in estimate.walls} == {"north", "east"}
    for each in estimate.walls:
        assert each.verdict in VERDICTS
        assert each.u_existing["from_calculated"] is not None and each.u_existing["from_measured"] is not None
        assert {
            "insulation",
            "insulation_mm",
            "build_up_mm",
            "u",
            "f_rsi",
            "moisture",
            "floor_area_m2",
            "saving_kwh",
            "cost",
        } <= set(each.options[0])
        assert set(each.options[0]["u"]) == {"from_calculated", "from_measured"}  # type: ignore[call-overload]
    assert all(line.why and line.quantity > 0 and line.unit for line in estimate.order)
    assert estimate.solver_calls <= 40


def test_the_order_misses_nothing_that_the_walls_ask_for() -> None:
    keys = {line.key for line in back().order}
    assert keys >= {
        "laminate_2400", "reveal_board", "adhesive", "primer", "fixing", "sealant", "foil_tape", "joint_tape",
        "joint_mix", "skim", "bead", "window_board", "skirting", "back_box",
        "socket_move", "radiator_move", "radiator_bracket", "pattress_timber", "delivery",
    }  # fmt: skip
    assert "asbestos_sample" not in keys  # said not to be there


def test_pieces_offcuts_and_saw_cuts_make_up_the_boards() -> None:
    boards = back().rooms[0].boards
    assert boards is not None
    bought = boards.count * boards.board.area_m2
    pieces, offcuts = boards.used_m2, sum(o.area_m2 for o in boards.offcuts)
    assert pieces + offcuts <= bought
    assert bought - pieces - offcuts < 0.01 * bought


def test_two_people_lift_a_board_and_one_van_brings_them() -> None:
    load = back().load
    assert load is not None
    assert load.people_per_board == 2 and load.van_loads == 1
    assert load.board_kg == pytest.approx(2.88 * (12.5 * 0.68 + 50 * 0.035), abs=0.1)


@pytest.mark.parametrize(
    ("weight_kg", "people"), [(10, 1), (16, 1), (17, 2), (28, 2), (33, 2), (34, 3), (37, 3), (60, 5)]
)
def test_a_team_lifts_less_than_its_members_alone(weight_kg: float, people: int) -> None:
    # HSE guidance on L23, from memory: 25 kg a person near the body; a team of two lifts two thirds of it, three a half
    assert people_to_lift(weight_kg, alone_kg=16) == people


def test_a_changed_price_changes_its_line_and_the_bill_only() -> None:
    cheap = estimate_survey(
        back_room(), rooms=[BACK], design=Design(), prices=load_prices("[laminate_2400]\nlow = 10\nhigh = 11")
    )
    line = next(x for x in cheap.order if x.key == "laminate_2400")
    assert line.cost == (60, 66)
    assert [x.quantity for x in cheap.order] == [x.quantity for x in back().order]
    assert cheap.bill.total[1] < back().bill.total[1]
    assert back().bill.invented and not cheap.bill.invented


def test_a_water_pipe_makes_the_verdict_wait_until_it_has_moved() -> None:
    wet = case(wall(features=(feature("p", "water_pipe", 3800, 0, 22, 2400),)))
    estimate = estimate_survey([wet], rooms=[Room(id="back", walls=("north",))], design=Design())
    assert estimate.walls[0].verdict == "not_before"
    assert "water pipes have moved to the warm side" in estimate.walls[0].conditions
    assert any(f.code == "B030" and f.severity == "stop" for f in estimate.findings)
    assert any(t.key == "pipes" and t.stop for t in estimate.sequence)


def test_an_impossible_opening_leaves_nothing_to_say_and_no_boards() -> None:
    estimate = estimate_survey([case(wall(openings=(window(left=3500),)))], rooms=[], design=Design())
    assert estimate.rooms[0].boards is None
    assert estimate.walls[0].verdict == "cannot_say"
    assert any(f.code == "B005" for f in estimate.findings)
    assert not any(line.key.startswith("laminate") for line in estimate.order)


def test_a_thickness_that_nobody_sells_says_what_there_is() -> None:
    estimate = estimate_survey([case(NORTH)], rooms=[], design=Design(insulation_mm=55.0))
    found = next(f for f in estimate.findings if f.code == "B010")
    assert "no board on sale has 55 mm" in found.message and "50, 60" in found.remedy


def test_a_high_ceiling_asks_for_boards_made_to_order() -> None:
    estimate = estimate_survey([case(wall(height=2630))], rooms=[], design=Design())
    line = next(x for x in estimate.order if x.item == "insulated plasterboard")
    assert "2700 x 1200 mm, to order" in line.spec
    assert any(f.code == "B017" for f in estimate.findings)


def test_a_partition_is_not_lined_and_a_survey_without_walls_is_empty() -> None:
    estimate = estimate_survey([case(wall("p"), faces="partition")], rooms=[], design=Design())
    assert estimate.order == () and not estimate.walls[0].lined
    nothing = estimate_survey([], rooms=[], design=Design())
    assert (nothing.rooms, nothing.walls, nothing.order, nothing.sequence, nothing.load) == ((), (), (), (), None)


def test_walls_that_no_room_names_still_get_their_boards() -> None:
    cases = [case(wall("a")), case(wall("b"), room=None)]
    rooms = with_stray_walls([Room(id="back", walls=())], cases)
    assert [r.walls for r in rooms] == [(None, "a"), ("b",)]


def test_a_wall_s_right_end_meets_the_next_one_s_left_and_a_gap_meets_nothing() -> None:
    faces = [Face(wall=w, width=3000, height_left=2400, height_right=2400) for w in "abc"]
    around = corners_of(Room(id="r", walls=("a", "b", "c")), faces, 70)
    assert [(c.left_face, c.right_face) for c in around] == [(0, 1), (1, 2), (2, 0)]
    gap = corners_of(Room(id="r", walls=("a", None, "b", "c")), faces, 70)
    assert [(c.left_face, c.right_face) for c in gap] == [(1, 2), (2, 0)]
    two = corners_of(Room(id="r", walls=("a", "b")), faces, 70)
    assert [(c.left_face, c.right_face) for c in two] == [(0, 1)]


def test_textured_coating_that_is_not_ruled_out_in_an_old_house_brings_a_sample() -> None:
    unsaid = case(wall(), site=replace(SITE, textured_coating=None))
    keys = {line.key for line in estimate_survey([unsaid], rooms=[], design=Design()).order}
    assert "asbestos_sample" in keys


def test_a_corner_of_two_linings_shortens_one_of_them() -> None:
    boards = back().rooms[0].boards
    assert boards is not None and len(boards.run_through) == 1
    lined = sum(p.on_wall.area for p in boards.pieces) / 1e6
    assert lined == pytest.approx(4.0 * 2.39 - 1.44 + 3.6 * 2.39 - 0.072 * 2.39, abs=0.01)


def test_the_same_survey_gives_the_same_estimate() -> None:
    assert estimate_survey(back_room(), rooms=[BACK], design=Design()) == back()


def test_rules_that_nobody_has_checked_for_years_are_said_to_be_old() -> None:
    later = estimate_survey(back_room(), rooms=[BACK], design=Design(), on=date(2033, 1, 1))
    assert any("more than a year ago" in finding.message for finding in later.findings)
    assert not any("more than a year ago" in finding.message for finding in back().findings)


def test_a_wall_of_unknown_construction_is_not_lined_before_it_is_known_what_it_is() -> None:
    """Solid or cavity where that is open; filled or empty where a cavity is sure; nothing where it is decided."""
    estimate = estimate_survey([case(wall("north"), built=None)], rooms=[], design=Design())
    assert estimate.walls[0].construction is not None
    assert estimate.walls[0].construction.verdict == "unknown"
    assert estimate.walls[0].conditions[0].startswith("it is known whether the wall is solid or has a cavity")
    assert estimate.walls[0].verdict in ("not_before", "cannot_say")


@pytest.mark.parametrize(
    ("verdict", "cavity", "wanted"),
    [
        ("unknown", 0.5, "solid or has a cavity"),
        ("unknown", 0.97, "the cavity is filled"),
        ("solid_brick", 0.0, None),
    ],
)
def test_what_must_be_known_of_the_construction_depends_on_what_is_open(
    verdict: str, cavity: float, wanted: str | None
) -> None:
    judged = Construction(
        verdict=verdict,
        probability={},
        family={"solid": 1 - cavity, "cavity": cavity},
        likeliest="cavity_empty",
        thickness_mm=None,
        cues=(),
        settle="",
        follows="",
    )
    told = what_it_is_made_of(judged)
    assert (wanted in told[0]) if wanted else told == ()


def test_a_room_that_eats_its_solver_calls_says_so_and_leaves_the_next_room_enough(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    had: dict[str, int] = {}

    def greedy(room: str, cases: Sequence[WallCase], layout: RoomLayout, **more: Any) -> CountRisk:
        calls: Calls = more["calls"]
        had[room] = calls.left
        found = count_risk(room, cases, layout, **more)
        while room == "a" and calls.take():
            pass
        return found

    monkeypatch.setattr(room_boards, "count_risk", greedy)
    cases = [case(wall(name, 3000 + 20 * n)) for n, name in enumerate("pqrs")]
    rooms = [Room(id=r, walls=(w, None)) for r, w in zip("abcd", "pqrs", strict=True)]
    estimate = estimate_survey(cases, rooms=rooms, design=Design())
    assert [f.where for f in estimate.findings if f.code == "B041"] == [{"room": "a"}]
    assert min(had.values()) >= LEAST_CALLS
    assert had["a"] < CALLS
    assert sum(had.values()) <= 2 * CALLS  # rooms together wait not much longer than one
    assert estimate.solver_calls <= sum(had.values())


def test_a_lone_room_has_all_the_solver_calls_and_a_cheap_one_leaves_its_own_to_the_others() -> None:
    assert calls_for(1, made=0).left == CALLS
    assert calls_for(2, made=4).left > calls_for(2, made=20).left
    assert calls_for(3, made=CALLS).left == LEAST_CALLS
