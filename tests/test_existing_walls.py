"""The wall before lining: layers, thickness fitted in, two starting values, ranges over candidates."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.existing_walls import candidate_walls, existing_wall, over_candidates, wall_thickness
from estimator.layers import thickness_mm
from estimator.tables import read_table
from tests.heat_cases import SOLID, UNSURE, Judged, measured, wall_case
from vision.findings import PerpendError

KEYS = tuple(read_table("existing_walls").rows)


def test_every_construction_of_the_contract_has_a_wall() -> None:
    assert set(KEYS) == {
        "solid_brick",
        "solid_brick_thick",
        "cavity_empty",
        "cavity_filled",
        "half_brick",
        "stone",
        "timber_frame",
        "other",
    }


@pytest.mark.parametrize("key", KEYS)
def test_values_lie_within_their_ranges(key: str) -> None:
    wall = existing_wall(key)
    for value in (wall.calculated, wall.measured):
        assert 0.2 < value.low <= value.value <= value.high < 4


def test_a_nine_inch_wall_is_calculated_at_2_1_and_measured_lower() -> None:
    """Regressions: 2.119 from one conductivity, 1.922 with a protected inner leaf; measured: Li et al. 2015."""
    wall = existing_wall("solid_brick")
    assert wall.calculated.value == pytest.approx(2.119, abs=0.0006)
    assert wall.calculated.low == pytest.approx(1.922, abs=0.0006)
    assert (wall.measured.low, wall.measured.value, wall.measured.high) == (1.3, 1.4, 1.7)


@given(total=st.floats(215, 255), sd=st.floats(0.5, 8))
def test_a_credible_thickness_is_fitted_in(total: float, sd: float) -> None:
    wall = existing_wall("solid_brick", thickness_mm=measured(total, sd))
    assert wall.thickness_known
    assert thickness_mm(wall.layers) == pytest.approx(total)
    assert wall.calculated.low <= wall.calculated.value <= wall.calculated.high


@given(total=st.floats(215, 250), more=st.floats(0.5, 5))
def test_a_thicker_brick_wall_loses_less(total: float, more: float) -> None:
    thin = existing_wall("solid_brick", thickness_mm=measured(total)).calculated.value
    assert existing_wall("solid_brick", thickness_mm=measured(total + more)).calculated.value < thin


def test_a_thickness_that_the_construction_cannot_have_is_left_out() -> None:
    wall = existing_wall("solid_brick", thickness_mm=measured(300))
    assert not wall.thickness_known
    assert thickness_mm(wall.layers) == 228


def test_a_cavity_takes_up_the_thickness() -> None:
    wall = existing_wall("cavity_empty", thickness_mm=measured(283))
    assert [layer.thickness_mm for layer in wall.layers] == [102.5, 65, 102.5, 13]


def test_a_decided_construction_is_the_only_candidate() -> None:
    assert [c.key for c in candidate_walls(SOLID)] == ["solid_brick"]


def test_an_unknown_construction_ranges_over_the_likely_ones() -> None:
    candidates = candidate_walls(UNSURE)
    assert [c.key for c in candidates] == ["solid_brick", "cavity_empty"]
    spread = over_candidates(candidates, measured=False)
    assert spread.value == candidates[0].calculated.value
    assert spread.low == min(c.calculated.low for c in candidates)
    assert spread.high == max(c.calculated.high for c in candidates)


@pytest.mark.parametrize("construction", [None, Judged(verdict="unknown", probability={})], ids=["none", "empty"])
def test_without_a_judgement_solid_and_cavity_are_both_kept(construction: Judged | None) -> None:
    assert {c.key for c in candidate_walls(construction)} == {"solid_brick", "cavity_empty"}


def test_a_sheltered_wall_loses_less() -> None:
    assert existing_wall("solid_brick", sheltered=True).calculated.value < existing_wall("solid_brick").calculated.value


def test_paint_outside_holds_vapour_and_no_heat() -> None:
    plain, painted = candidate_walls(SOLID)[0], candidate_walls(SOLID, outside_finish="paint")[0]
    assert painted.calculated == plain.calculated
    assert sum(layer.sd_m for layer in painted.layers) == pytest.approx(sum(layer.sd_m for layer in plain.layers) + 1)


def test_the_taped_thickness_comes_first_then_the_surest_opening() -> None:
    assert wall_thickness(wall_case()) is None
    known = wall_thickness(wall_case(thickness_mm=231.0))
    assert known is not None and known.value == 231.0
    taped = wall_thickness(wall_case(thickness_mm=231.0, taped={"thickness_mm": 226.0}))
    assert taped is not None and taped.value == 226.0


def test_an_unheard_of_construction_is_refused_with_the_known_ones() -> None:
    with pytest.raises(PerpendError, match="no row 'straw'"):
        existing_wall("straw")
