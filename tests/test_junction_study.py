"""The study of a wall's junctions: how far to return, which reveal board, in words."""

from __future__ import annotations

import pytest

from estimator.existing_walls import existing_wall
from estimator.junction_models import LEAST_FACTOR, JunctionResult
from estimator.junction_study import RETURNS_MM, advised_return_mm, study_junctions
from estimator.linings import make_lining
from vision.walls import DeclaredOpening, Measured, MeasuredOpening

WALL = existing_wall("solid_brick").layers
LINING = make_lining("phenolic", 60.0)


def _opening(name: str = "w1", *, reveal: float = 128.0) -> MeasuredOpening:
    size = Measured(value=1200.0, sd=4.0)
    return MeasuredOpening(
        id=name,
        kind="window",
        width_mm=size,
        height_mm=size,
        left_mm=size,
        sill_mm=size,
        reveal_depth_mm=Measured(value=reveal, sd=3.0),
    )


def _result(mm: float, psi: float, factor: float) -> JunctionResult:
    return JunctionResult(
        junction="x",
        variant_mm=mm,
        psi_w_mk=psi,
        f_rsi=factor,
        f_rsi_next_room=None,
        f_rsi_away=None,
        coldest="wall",
        coldest_at_mm=(0.0, 0.0),
    )


def test_the_advised_return_is_the_shortest_that_is_warm_enough_and_leaves_little() -> None:
    returns = [_result(0, 1.0, 0.60), _result(300, 0.3, 0.80), _result(500, 0.05, 0.85), _result(1000, 0.0, 0.85)]
    assert advised_return_mm(returns) == 500


def test_no_return_is_advised_where_none_is_warm_enough() -> None:
    assert advised_return_mm([_result(0, 1.0, 0.5), _result(1000, 0.0, 0.74)]) is None


def test_no_return_is_needed_where_it_brings_nothing() -> None:
    assert advised_return_mm([_result(0, 0.1, 0.8), _result(1000, 0.1, 0.8)]) == 0


def test_a_solid_wall_wants_a_return_of_common_practice() -> None:
    """Common practice, no source: returns of 400 to 500 mm along party and partition walls."""
    for party in (True, False):
        study = study_junctions(WALL, LINING, party=party)
        assert study.advised_return_mm is not None
        assert 300 <= study.advised_return_mm <= 600
        assert [r.variant_mm for r in study.returns] == list(RETURNS_MM)
        assert study.words[0].startswith("Return the lining")


def test_an_unknown_neighbour_is_taken_as_the_colder_one() -> None:
    unknown, party = (study_junctions(WALL, LINING, party=p) for p in (None, True))
    assert [r.f_rsi for r in unknown.returns] == [r.f_rsi for r in party.returns]
    assert "party wall or partition" in unknown.words[0]


def test_a_window_is_told_its_board_and_whether_it_fits() -> None:
    declared = DeclaredOpening(id="w1", frame_mm=70, visible_frame_mm=44)
    (window,) = study_junctions(WALL, LINING, party=True, openings=[(_opening(), declared)]).windows
    assert window.outer_reveal_mm == 30
    assert window.assumed == ()
    assert window.advised is not None
    away = window.advised.result.f_rsi_away
    assert away is not None and away >= LEAST_FACTOR
    assert window.advised.fits == (window.advised.thickness_mm + 8 <= 44)
    # the board plan decides by the same rule: 15 + 12.5 mm of board, 5 of bed and 8 of clearance are 40.5 mm of 44
    assert window.chosen is not None and window.chosen.thickness_mm == 32.5
    thinner = [b for b in window.boards if b.insulation_mm < window.advised.insulation_mm]
    assert all(b.result.f_rsi_away is not None and b.result.f_rsi_away < LEAST_FACTOR for b in thinner)


def test_what_nobody_measured_at_a_window_is_said_to_be_assumed() -> None:
    bare = MeasuredOpening(
        id="w9", kind="window", width_mm=None, height_mm=None, left_mm=None, sill_mm=None, reveal_depth_mm=None
    )
    (window,) = study_junctions(WALL, LINING, party=True, openings=[(bare, None)]).windows
    assert window.assumed == ("frame 70 mm deep", "44 mm of frame in sight", "outer reveal 30 mm")


def test_windows_alike_are_solved_once_and_windows_apart_twice() -> None:
    pair = [(_opening("w1"), None), (_opening("w2"), None), (_opening("w3", reveal=60), None)]
    windows = study_junctions(WALL, LINING, party=True, openings=pair).windows
    assert [w.openings for w in windows] == [("w1", "w2"), ("w3",)]


@pytest.mark.parametrize(
    "key", ["pir", "eps_grey", "mineral_wool", "wood_fibre", "studs_mineral_wool", "reflective_foil"]
)
@pytest.mark.parametrize("wall", ["solid_brick", "cavity_empty", "half_brick", "stone", "timber_frame"])
def test_every_lining_on_every_wall_has_a_study(key: str, wall: str) -> None:
    lining = make_lining(key, 60.0)
    study = study_junctions(existing_wall(wall).layers, lining, party=None, openings=[(_opening(), None)])
    for result in (study.before, *study.returns, study.floor_open, study.floor_closed):
        assert 0 < result.f_rsi < 1
    assert len(study.words) == 4


def test_the_corners_with_the_rooms_outer_walls_are_told() -> None:
    both = study_junctions(WALL, LINING, party=None, outer=(True, False))
    assert any("left bare" in words and "line that wall too" in words for words in both.words)
    assert any("two lined outer walls" in words for words in both.words)
    assert not any("outer wall" in words for words in study_junctions(WALL, LINING, party=None).words)
    assert both.corner_lined.f_rsi > LEAST_FACTOR > both.corner_bare.f_rsi
