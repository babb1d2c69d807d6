"""Layers: resistances, air gaps and slices."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.layers import (
    Layer,
    Part,
    air_layer,
    air_resistance,
    resistive_layer,
    sheet_layer,
    solid_layer,
    split_layer,
    thickness_mm,
)
from vision.findings import PerpendError


def test_a_solid_layer_has_thickness_over_conductivity() -> None:
    assert solid_layer("brick_outer", 215).resistance_m2k_w == pytest.approx(0.215 / 0.77)
    assert solid_layer("brick_outer", 215).sd_m == pytest.approx(2.15)


@given(gap=st.floats(1, 300), e1=st.floats(0.02, 0.98), e2=st.floats(0.02, 0.98))
def test_an_air_gap_does_not_care_which_face_is_shiny(gap: float, e1: float, e2: float) -> None:
    forward = air_resistance(gap, emissivity_1=e1, emissivity_2=e2)
    assert forward == pytest.approx(air_resistance(gap, emissivity_1=e2, emissivity_2=e1))


@given(gap=st.floats(1, 290), more=st.floats(0.1, 10), e=st.floats(0.02, 0.9))
def test_a_wider_or_shinier_air_gap_never_resists_less(gap: float, more: float, e: float) -> None:
    assert air_resistance(gap + more, emissivity_1=e) >= air_resistance(gap, emissivity_1=e) - 1e-12
    assert air_resistance(gap, emissivity_1=e) >= air_resistance(gap, emissivity_1=min(0.98, e + 0.05))


@pytest.mark.parametrize("gap", [0.0, -1.0, 301.0])
def test_an_air_gap_outside_the_formula_is_refused(gap: float) -> None:
    with pytest.raises(PerpendError, match="above 0 and up to 300 mm"):
        air_resistance(gap)


@pytest.mark.parametrize(("one", "two"), [(0.0, 0.9), (0.9, 0.0), (1.01, 0.9), (0.9, 1.01), (-0.1, 0.9)])
def test_an_emissivity_outside_its_range_is_refused(one: float, two: float) -> None:
    with pytest.raises(PerpendError, match="emissivities"):
        air_resistance(10, emissivity_1=one, emissivity_2=two)


def test_black_faces_are_within_the_range() -> None:
    assert air_resistance(10, emissivity_1=1.0, emissivity_2=1.0) < air_resistance(10)


@pytest.mark.parametrize(("shares", "resistances"), [((1.5, -0.5), (1.0, 1.0)), ((0.5, 0.5), (1.0, -1.0))])
def test_a_share_or_a_resistance_below_nothing_is_refused(
    shares: tuple[float, float], resistances: tuple[float, float]
) -> None:
    parts = tuple(Part(name="p", share=share, resistance_m2k_w=r) for share, r in zip(shares, resistances, strict=True))
    with pytest.raises(PerpendError, match="is below 0"):
        Layer(name="x", thickness_mm=10, parts=parts)


def test_a_part_without_resistance_takes_the_layers_away_and_no_slice_is_none() -> None:
    parts = (Part(name="a", share=0.5, resistance_m2k_w=0.0), Part(name="b", share=0.5, resistance_m2k_w=1.0))
    assert Layer(name="x", thickness_mm=10, parts=parts).resistance_m2k_w == 0.0
    with pytest.raises(PerpendError, match="cannot be split into 0"):
        split_layer(solid_layer("pir", 40), 0)
    assert split_layer(solid_layer("pir", 40), 1)[0].thickness_mm == 40


@given(mm=st.floats(1, 400), share=st.floats(0, 1), count=st.integers(1, 9))
def test_slices_of_a_layer_add_up_to_it(mm: float, share: float, count: int) -> None:
    layer = solid_layer("mineral_wool", mm, bridge="softwood", bridge_share=share)
    slices = split_layer(layer, count)
    assert sum(s.resistance_m2k_w for s in slices) == pytest.approx(layer.resistance_m2k_w)
    assert sum(s.sd_m for s in slices) == pytest.approx(layer.sd_m)
    assert sum(s.thickness_mm for s in slices) == pytest.approx(mm)


def test_a_bridge_that_fills_the_layer_is_the_layer() -> None:
    bridged = air_layer(10, bridge="gypsum_adhesive", bridge_share=1.0)
    assert bridged.resistance_m2k_w == pytest.approx(0.010 / 0.43)


def test_shares_that_do_not_add_up_are_refused() -> None:
    with pytest.raises(PerpendError, match="do not add up to 1"):
        Layer(name="x", thickness_mm=10, parts=(Part(name="a", share=0.9, resistance_m2k_w=1.0),))


@pytest.mark.parametrize("mm", [-1.0, float("nan"), float("inf")])
def test_a_thickness_that_is_no_length_is_refused(mm: float) -> None:
    with pytest.raises(PerpendError, match=r"layer 'x': the thickness is"):
        resistive_layer("x", mm, 1.0)


@pytest.mark.parametrize(
    ("gap", "emissivity", "expected"),
    [
        (5, 0.9, 0.109),
        (7, 0.9, 0.128),
        (10, 0.9, 0.149),
        (15, 0.9, 0.170),
        (25, 0.9, 0.183),
        (25, 0.2, 0.443),
        (25, 0.05, 0.664),
        (10, 0.05, 0.363),
    ],
)
def test_air_gaps_by_the_formula_to_three_places(gap: float, emissivity: float, expected: float) -> None:
    """Regression: our own figures from EN ISO 6946:2017 annex D, one face shiny where the emissivity is below 0.9."""
    assert air_resistance(gap, emissivity_1=emissivity) == pytest.approx(expected, abs=0.0006)


@pytest.mark.parametrize("gap", [0.2, 1.0, 300.0])
def test_an_air_gap_is_reckoned_up_to_both_ends_of_the_formulas_range(gap: float) -> None:
    assert 0.0 < air_resistance(gap) < 0.25


def test_what_is_not_said_of_a_layer_is_nothing() -> None:
    bare = resistive_layer("x", 10, 1.0)
    assert (bare.sd_m, bare.pattern, len(bare.parts)) == (0.0, None, 1)
    assert Layer(name="x", thickness_mm=10, parts=bare.parts).sd_m == 0.0
    assert len(solid_layer("pir", 40, bridge="softwood", bridge_share=0.0).parts) == 1
    assert [p.share for p in solid_layer("pir", 40, bridge="softwood", bridge_share=0.2).parts] == [0.8, 0.2]
    sheet = sheet_layer("foil_facing")
    assert (sheet.name, sheet.thickness_mm, sheet.resistance_m2k_w) == ("foil facing", 0.0, 0.0)
    assert sheet.sd_m > 0.0


def test_a_warmer_air_gap_radiates_more_by_the_third_power_of_its_temperature() -> None:
    """By the formula: with still air out of the sum, the ratio is that of the cubes of the absolute temperatures."""
    cold, warm = (1 / air_resistance(100, mean_temperature_c=c) - 1.25 for c in (0.0, 20.0))
    assert warm / cold == pytest.approx((293.15 / 273.15) ** 3)


def test_an_air_layer_is_air_between_its_dabs() -> None:
    plain, dabbed = air_layer(10), air_layer(10, bridge="gypsum_adhesive", bridge_share=0.2)
    assert plain.parts[0].resistance_m2k_w == dabbed.parts[0].resistance_m2k_w == air_resistance(10)
    assert dabbed.parts[1].resistance_m2k_w == pytest.approx(0.010 / 0.43)
    assert plain.sd_m == dabbed.sd_m == pytest.approx(0.01)
    shiny = air_layer(25, emissivity_1=0.05, emissivity_2=0.2)
    assert shiny.resistance_m2k_w == air_resistance(25, emissivity_1=0.05, emissivity_2=0.2)


def test_slices_lie_in_line_and_layers_add_up() -> None:
    studs = solid_layer("mineral_wool", 90, bridge="softwood", bridge_share=0.1)
    assert {s.pattern for s in split_layer(studs, 3)} == {f"{studs.name}, 90 mm"}
    assert thickness_mm([studs, solid_layer("plasterboard", 12.5)]) == 102.5
