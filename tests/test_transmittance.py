"""Transmittance: bounds, splitting, corrections."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.layers import Layer, air_layer, resistive_layer, solid_layer, split_layer
from estimator.transmittance import (
    Fixings,
    Insulation,
    corrections,
    thermal_transmittance,
    upgraded_u,
)
from vision.findings import PerpendError

MATERIALS = ("brick_outer", "brick_inner", "pir", "mineral_wool", "plasterboard", "softwood")


@st.composite
def walls(draw: st.DrawFn) -> tuple[Layer, ...]:
    """Draw a wall of one to six layers, some bridged."""
    layers = []
    for _ in range(draw(st.integers(1, 6))):
        key, mm = draw(st.sampled_from(MATERIALS)), draw(st.floats(1, 300))
        share = draw(st.sampled_from([0.0, 0.067, 0.118, 0.5]))
        layers.append(solid_layer(key, mm, bridge="steel" if draw(st.booleans()) else "softwood", bridge_share=share))
    return tuple(layers)


@given(wall=walls())
def test_the_lower_limit_never_exceeds_the_upper(wall: tuple[Layer, ...]) -> None:
    result = thermal_transmittance(wall)
    assert result.lower_m2k_w <= result.upper_m2k_w * (1 + 1e-12)
    assert result.lower_m2k_w <= result.total_m2k_w * (1 + 1e-12)


@given(wall=walls(), which=st.integers(0, 5), count=st.integers(2, 7))
def test_splitting_a_layer_changes_nothing(wall: tuple[Layer, ...], which: int, count: int) -> None:
    index = which % len(wall)
    cut = (*wall[:index], *split_layer(wall[index], count), *wall[index + 1 :])
    before, after = thermal_transmittance(wall), thermal_transmittance(cut)
    assert after.u_w_m2k == pytest.approx(before.u_w_m2k, rel=1e-9)
    assert after.upper_m2k_w == pytest.approx(before.upper_m2k_w, rel=1e-9)


@given(wall=walls())
def test_a_wall_turned_round_has_the_same_limits(wall: tuple[Layer, ...]) -> None:
    forward, back = thermal_transmittance(wall), thermal_transmittance(wall[::-1])
    assert back.total_m2k_w == pytest.approx(forward.total_m2k_w)


@given(wall=walls(), more=st.floats(0.01, 5))
def test_another_layer_never_makes_a_wall_worse(wall: tuple[Layer, ...], more: float) -> None:
    added = (*wall, resistive_layer("more", 10, more))
    assert thermal_transmittance(added).u_w_m2k < thermal_transmittance(wall).u_w_m2k


@given(wall=walls(), more=st.floats(0.01, 5))
def test_a_known_transmittance_with_more_resistance_is_the_reciprocal_sum(wall: tuple[Layer, ...], more: float) -> None:
    u = thermal_transmittance(wall).u_w_m2k
    assert 1 / upgraded_u(u, more) - 1 / u == pytest.approx(more)


def test_dabs_cost_a_little_of_the_gap() -> None:
    wall = [solid_layer("brick_outer", 215), solid_layer("gypsum_plaster_dense", 13)]
    board = [solid_layer("pir", 40), solid_layer("plasterboard", 12.5)]
    still = thermal_transmittance([*wall, air_layer(10), *board]).u_w_m2k
    dabs = air_layer(10, bridge="gypsum_adhesive", bridge_share=0.2)
    assert still < thermal_transmittance([*wall, dabs, *board]).u_w_m2k < thermal_transmittance([*wall, *board]).u_w_m2k


# Regressions, our own figures for a stated example with the formulas of EN ISO 6946 annex F (from memory).
CORRECTED = [
    solid_layer("brick_outer", 215),
    solid_layer("gypsum_plaster_dense", 13),
    resistive_layer("gap", 10, 0.15),
    solid_layer("pir", 40),
    solid_layer("plasterboard", 12.5),
]


@pytest.mark.parametrize(
    ("pins", "conductivity", "expected", "applied"),
    [(2, 50.0, 0.00589, False), (4, 50.0, 0.01178, False), (5, 50.0, 0.01472, True), (5, 17.0, 0.0050, False)],
    ids=["2 steel", "4 steel", "5 steel", "5 stainless"],
)
def test_steel_pins_count_from_three_per_cent(pins: int, conductivity: float, expected: float, applied: bool) -> None:
    fixings = Fixings(conductivity_w_mk=conductivity, area_mm2=15.904, per_m2=pins / 2.88)
    result = thermal_transmittance(
        CORRECTED, insulation=Insulation(thickness_mm=40, resistance_m2k_w=0.04 / 0.022, fixings=fixings)
    )
    assert result.fixing_correction_w_m2k == pytest.approx(expected, abs=5e-6 if conductivity > 20 else 5e-5)
    assert result.corrections_applied is applied
    assert result.u_w_m2k == pytest.approx(0.40157 + (expected if applied else 0.0), abs=2e-5)


@pytest.mark.parametrize(("level", "expected"), [(0, 0.0), (1, 0.00533), (2, 0.02132)])
def test_air_gaps_count_by_their_level(level: int, expected: float) -> None:
    insulation = Insulation(thickness_mm=40, resistance_m2k_w=0.04 / 0.022, air_gap_level=level)
    assert corrections(insulation, 2.4902)[0] == pytest.approx(expected, abs=5e-6)


def test_plastic_pins_do_not_count() -> None:
    fixings = Fixings(conductivity_w_mk=0.3, area_mm2=50, per_m2=6)
    insulation = Insulation(thickness_mm=40, resistance_m2k_w=1.8, fixings=fixings)
    assert corrections(insulation, 2.5) == (0.0, 0.0)


def test_a_recessed_pin_counts_by_its_depth() -> None:
    full = Fixings(conductivity_w_mk=50, area_mm2=15.9, per_m2=3)
    half = Fixings(conductivity_w_mk=50, area_mm2=15.9, per_m2=3, depth_share=0.5)

    def correction(fixings: Fixings) -> float:
        return corrections(Insulation(thickness_mm=40, resistance_m2k_w=1.8, fixings=fixings), 2.5)[1]

    assert correction(half) == pytest.approx(correction(full) / 2)


def test_one_pattern_with_two_shares_is_refused() -> None:
    one = replace(solid_layer("mineral_wool", 50, bridge="softwood", bridge_share=0.1), pattern="studs")
    two = replace(solid_layer("mineral_wool", 50, bridge="softwood", bridge_share=0.2), pattern="studs")
    with pytest.raises(PerpendError, match="different shares"):
        thermal_transmittance([one, two])


def test_the_bridging_error_is_half_the_spread_of_the_limits_over_their_mean() -> None:
    """EN ISO 6946 clause 6.7.2.5 (from memory): e = (R'T - R''T) / (2 RT)."""
    result = thermal_transmittance([solid_layer("mineral_wool", 100, bridge="softwood", bridge_share=0.15)])
    spread = result.upper_m2k_w - result.lower_m2k_w
    assert result.bridging_error == pytest.approx(spread / (result.upper_m2k_w + result.lower_m2k_w))
    assert 0.0 < result.bridging_error < 0.2


def test_a_pin_that_conducts_one_watt_counts_and_one_just_below_does_not() -> None:
    def correction(conductivity: float) -> float:
        pins = Fixings(conductivity_w_mk=conductivity, area_mm2=50, per_m2=6)
        return corrections(Insulation(thickness_mm=40, resistance_m2k_w=1.8, fixings=pins), 2.5)[1]

    assert correction(0.999) == 0.0
    assert correction(1.0) > 0.0


@pytest.mark.parametrize("u", [0.0, -0.3])
def test_a_transmittance_that_is_none_is_refused(u: float) -> None:
    with pytest.raises(PerpendError, match="must be above 0"):
        upgraded_u(u, 1.8)
