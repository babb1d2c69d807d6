"""Lining faces: what is covered, and impossible sizes named."""

from __future__ import annotations

from dataclasses import replace

import pytest

from estimator.faces import is_lined, lining_face, shifted
from tests.board_cases import NORTH, case, feature, known, wall, window
from vision.walls import MeasuredOpening


def test_places_are_planned_to_the_nearest_millimetre_and_a_half_counts_up() -> None:
    face, findings = lining_face(case(wall(width=3999.6, height=2399.5, openings=(window(width=1200.7, left=1399.6),))))
    assert findings == [] and face is not None
    assert (face.width, face.height_left) == (4000, 2400)
    down, _ = lining_face(case(wall(width=4000.4, height=2400.4)))
    assert down is not None and (down.width, down.height_left) == (4000, 2400)
    assert (face.gaps[0].left, face.gaps[0].right) == (1400, 2600)


@pytest.mark.parametrize(
    ("openings", "code", "said"),
    [
        ((window(width=4100, left=0),), "B004", "width_mm 4100 is not less than the wall's 4000"),
        ((window(left=3200),), "B005", "from 3200 to 4400 mm, past the wall's ends (0 to 4000)"),
        ((window(sill=-40),), "B006", "sill_mm is -40, below the floor"),
        ((window(sill=1300),), "B007", "its head is at 2500 mm, above the ceiling at 2400"),
        ((window(), window("w2", left=2500)), "B008", "openings w1 (1400 to 2600 mm) and w2 (2500 to 3700 mm) overlap"),
        ((window(width=0),), "B003", "0 x 1200 mm is no size"),
    ],
)
def test_an_impossible_opening_is_a_finding_that_names_it(openings: tuple[object, ...], code: str, said: str) -> None:
    face, findings = lining_face(case(wall(openings=openings)))  # type: ignore[arg-type]
    assert face is None
    assert [f.code for f in findings if f.severity == "stop"] == [code]
    assert said in findings[0].message
    assert findings[0].where["wall"] == "north" and "opening" in findings[0].where


def test_a_wall_without_a_size_says_which_one_is_missing() -> None:
    bare = replace(wall(), width_mm=None, width_bottom_mm=None, width_top_mm=None)
    face, findings = lining_face(case(bare))
    assert face is None
    assert findings[0].message == "north: width_mm is not known, so no boards are laid on it."


def test_an_opening_without_a_size_is_boarded_over_and_said_so() -> None:
    face, findings = lining_face(case(wall(openings=(window(left_mm=None),))))
    assert face is not None and face.gaps == ()
    assert (findings[0].code, findings[0].severity) == ("B002", "warn")


def test_moving_a_width_moves_top_and_bottom_and_an_opening_only_itself() -> None:
    moved = shifted(NORTH, {"width_mm": 12.0, "openings.w1.left_mm": -5.0})
    assert moved.width_bottom_mm == moved.width_top_mm == moved.width_mm == known(4012)
    assert moved.openings[0].left_mm == known(1395)
    assert moved.openings[0].width_mm == NORTH.openings[0].width_mm
    assert shifted(NORTH, {"width_bottom_mm": 10.0}).width_mm == known(4005)


def test_only_inside_faces_of_cold_walls_are_lined() -> None:
    assert is_lined(case(NORTH))
    assert not is_lined(case(NORTH, faces="partition"))
    assert not is_lined(case(NORTH, line=False))
    assert not is_lined(case(NORTH, side="outside"))


def test_a_sloping_ceiling_keeps_both_heights_and_one_known_height_serves_for_both() -> None:
    slope = replace(wall(), height_left_mm=known(2100.2), height_right_mm=known(2399.0), height_mm=known(2250))
    face, _ = lining_face(case(slope))
    assert face is not None
    assert (face.height_left, face.height_right) == (2100, 2399)
    for bare in (
        replace(wall(), height_left_mm=None, height_right_mm=None),
        replace(wall(), height_left_mm=None, height_mm=None),
        replace(wall(), height_right_mm=None, height_mm=None),
    ):
        face, findings = lining_face(case(bare))
        assert findings == []
        assert face is not None
        assert (face.height_left, face.height_right) == (2400, 2400)


@pytest.mark.parametrize(
    "opening",
    [window(left=-15), window(left=4015 - 1200), window(sill=-15), window(sill=2415 - 1200)],
    ids=["left end", "right end", "floor", "ceiling"],
)
def test_an_opening_may_stick_out_by_the_slack_and_is_cut_off_at_the_wall(opening: MeasuredOpening) -> None:
    face, findings = lining_face(case(wall(openings=(opening,))))
    assert findings == []
    assert face is not None
    gap = face.gaps[0]
    assert 0 <= gap.left < gap.right <= 4000
    assert 0 <= gap.bottom < gap.top <= 2400


def test_a_whole_number_of_millimetres_is_not_rounded_away() -> None:
    face, _ = lining_face(case(wall(width=4000, height=2400, openings=(window(left=1400, width=1200),))))
    assert face is not None
    gap = face.gaps[0]
    assert (face.width, face.height_left) == (4000, 2400)
    assert (gap.left, gap.right, gap.bottom, gap.top) == (1400, 2600, 900, 2100)


def test_a_box_is_rounded_outwards_and_one_without_a_width_is_a_line() -> None:
    socket = feature("s1", "socket", 500.6, 300, 86.2, 86)
    face, _ = lining_face(case(wall(features=(socket, replace(socket, id="s2", width_mm=None)))))
    assert face is not None
    assert [(box.left, box.right) for box in face.boxes] == [(500, 587), (500, 501)]


@pytest.mark.parametrize(("bottom", "overlap"), [(2000, False), (1999, True)])
def test_a_light_that_stands_on_a_doors_head_does_not_overlap_it(bottom: float, overlap: bool) -> None:
    door = window("d1", left=300, width=900, sill=0, height=2000)
    light = window("l1", left=300, width=900, sill=bottom, height=300)
    for openings in ((door, light), (light, door)):
        _, findings = lining_face(case(wall(openings=openings)))
        assert ("B008" in {f.code for f in findings}) is overlap


def test_windows_that_touch_side_by_side_do_not_overlap() -> None:
    pair = (window("w1", left=600, width=900), window("w2", left=1500, width=900))
    for openings in (pair, pair[::-1]):
        face, findings = lining_face(case(wall(openings=openings)))
        assert findings == []
        assert face is not None
        assert [(g.id, g.left, g.right) for g in face.gaps] == [("w1", 600, 1500), ("w2", 1500, 2400)]


def test_an_opening_may_stand_up_to_the_higher_end_of_a_sloping_ceiling() -> None:
    tall = window(left=2700, width=1000, sill=1200, height=1190)
    for left, right in ((2100, 2399), (2399, 2100)):
        slope = replace(
            wall(openings=(tall,)), height_left_mm=known(left), height_right_mm=known(right), height_mm=known(2250)
        )
        face, findings = lining_face(case(slope))
        assert findings == []
        assert face is not None
        assert face.gaps[0].top == 2390


@pytest.mark.parametrize("size", [{"width": 0}, {"height": 0}, {"height": -5}])
def test_an_opening_without_extent_is_refused(size: dict[str, float]) -> None:
    face, findings = lining_face(case(wall(openings=(window(**size),))))  # type: ignore[arg-type]
    assert face is None
    assert [f.code for f in findings] == ["B003"]
