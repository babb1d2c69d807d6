"""What moves when a wall comes forward."""

from __future__ import annotations

from dataclasses import replace

import pytest

from estimator.boards import board_rules, sizes_on_sale
from estimator.faces import lining_face
from estimator.inputs import Room, WallCase
from estimator.knock_on import what_moves
from estimator.knock_on_features import Move
from estimator.layout import lay_boards
from estimator.layout_records import RoomLayout
from estimator.reveals import reveal_linings
from tests.board_cases import BACK, NORTH, SITE, case, feature, wall, window
from vision.findings import Finding
from vision.walls import MeasuredFeature

RULES = board_rules()
BUILD_UP = 82.5


def moves_of(subject: WallCase, *, room: Room = BACK) -> tuple[list[Move], list[Finding], RoomLayout]:
    face, _ = lining_face(subject)
    assert face is not None
    layout = lay_boards([face], sizes=sizes_on_sale(60), rules=RULES)
    openings, _, _ = reveal_linings(subject, build_up_mm=BUILD_UP, rules=RULES)
    moves, findings = what_moves(
        subject, room=room, build_up_mm=BUILD_UP, lining_mm=72.5, layout=layout, openings=openings, rules=RULES,
        neighbours=[subject, case(wall("east", 3000), line=False, faces="party")],
    )  # fmt: skip
    return moves, findings, layout


def with_thing(thing: MeasuredFeature) -> WallCase:
    return case(wall(features=(thing,)))


def test_a_new_window_board_is_reveal_and_build_up_and_overhang_deep() -> None:
    """By arithmetic: 130 + 82.5 + 30 = 242.5, so 243 mm; 1200 + 2 x 82.5 = 1365 mm long."""
    moves, _, _ = moves_of(case(NORTH))
    board = next(m for m in moves if "window board" in m.action)
    assert (board.where_mm["depth_mm"], board.where_mm["length_mm"]) == (243, 1365)
    assert "reveal 130 + build-up 82.5 + overhang 30" in board.action


def test_a_radiator_is_drained_moved_forward_and_hung_on_timber() -> None:
    moves, _, _ = moves_of(case(NORTH))
    trades = {m.trade: m for m in moves if m.thing == "rad"}
    assert set(trades) == {"plumber", "joiner"}
    assert "drain" in trades["plumber"].action and trades["plumber"].where_mm["forward_mm"] == BUILD_UP
    assert "82.5 mm of play" in trades["plumber"].ask


def test_a_socket_has_its_hole_on_the_wall_and_on_the_board_it_is_cut_in() -> None:
    moves, _, layout = moves_of(case(NORTH))
    move = next(m for m in moves if m.trade == "electrician")
    assert "100 to 150 mm to spare" in move.action and "registered electrician" in move.caution
    hole = move.where_mm
    assert (hole["left_mm"], hole["bottom_mm"]) == (500, 300)
    assert hole["board_right_mm"] - hole["board_left_mm"] == pytest.approx(146)
    assert hole["board_top_mm"] - hole["board_bottom_mm"] == pytest.approx(86)
    piece = next(
        p for p in layout.pieces if p.board == move.board and p.on_wall.box[0] <= 500 and p.on_wall.box[2] >= 646
    )
    left, bottom, right, top = piece.on_board.box
    assert left <= hole["board_left_mm"] and hole["board_right_mm"] <= right
    assert bottom <= hole["board_bottom_mm"] and hole["board_top_mm"] <= top


@pytest.mark.parametrize("kind", ["water_pipe", "heating pipe", "pipe"])
def test_a_water_pipe_behind_the_lining_is_a_stop_and_moves_to_the_warm_side(kind: str) -> None:
    moves, findings, _ = moves_of(with_thing(feature("p1", kind, 3800, 0, 22, 2400)))
    stop = next(f for f in findings if f.code == "B030")
    assert stop.severity == "stop" and "freezes and cannot be reached" in stop.message
    assert "warm side" in stop.remedy and stop.where == {"wall": "north", "feature": "p1"}
    assert any(m.trade == "plumber" and "room side of the lining" in m.action for m in moves)


@pytest.mark.parametrize(
    ("kind", "code", "severity", "trade", "words"),
    [
        ("flue", "B031", "stop", "gas engineer", "no board that burns"),
        ("chimney breast", "B031", "stop", "gas engineer", "no board that burns"),
        ("airbrick", "B032", "warn", "yourself", "must stay open"),
        ("vent", "B032", "warn", "yourself", "must stay open"),
        ("gas_pipe", "B033", "warn", "gas engineer", "carries or burns gas"),
        ("consumer unit", "B034", "warn", "electrician", "stands on the wall"),
        ("shower", "B035", "warn", "plumber", "wet room"),
    ],
)
def test_dangerous_things_on_the_wall_are_findings_for_the_right_trade(
    kind: str, code: str, severity: str, trade: str, words: str
) -> None:
    moves, findings, _ = moves_of(with_thing(feature("x", kind, 900, 600, 300, 300)))
    found = next(f for f in findings if f.code == code)
    assert found.severity == severity and words in found.message and found.where["feature"] == "x"
    assert any(m.trade == trade and m.thing == "x" for m in moves)


def test_skirtings_of_the_side_walls_are_cut_back_and_doors_take_no_skirting() -> None:
    door = replace(window("d1", left=500, width=838, sill=0, height=2040), kind="door")
    moves, _, _ = moves_of(case(wall(openings=(door,))))
    skirting = next(m for m in moves if m.thing == "skirting")
    assert skirting.buy["skirting"] == pytest.approx(3.162)
    assert "cut the skirtings of the side walls back by 82.5 mm" in skirting.action
    assert any("widen the door lining by 82.5 mm" in m.action for m in moves)


def test_a_return_is_named_where_the_lining_meets_a_wall_that_is_not_lined() -> None:
    moves, _, _ = moves_of(case(NORTH))
    returned = [m for m in moves if m.thing.startswith("return")]
    assert any("party wall" in m.action and m.where_mm["length_mm"] == 450 for m in returned)


def test_a_professional_looks_at_joists_unless_they_are_said_not_to_be_there() -> None:
    unsaid = case(NORTH, site=replace(SITE, joists=None))
    assert any(m.trade == "building professional" for m in moves_of(unsaid)[0])
    no_joists = case(NORTH, site=replace(SITE, joists=False))
    assert not any(m.trade == "building professional" for m in moves_of(no_joists)[0])


def test_stairs_and_wet_rooms_are_warned_of_with_the_clear_width_that_is_left() -> None:
    stair = case(NORTH, site=replace(SITE, extra={"clear_width_mm": 860.0}))
    _, findings, _ = moves_of(stair, room=Room(id="landing", walls=("north", "east")))
    assert any(f.code == "B036" and "778 mm of clear width" in f.message for f in findings)
    _, findings, _ = moves_of(case(NORTH), room=Room(id="bathroom", walls=("north", "east")))
    assert any(f.code == "B035" for f in findings)
    _, findings, _ = moves_of(case(NORTH))
    assert not {"B035", "B036"} & {f.code for f in findings}


def test_a_thing_nobody_foresaw_still_moves() -> None:
    moves, findings, _ = moves_of(with_thing(feature("bell", "doorbell", 100, 1500, 80, 80)))
    assert any(m.thing == "bell" and "refix it on the new face" in m.action for m in moves)
    assert findings == []
