"""Transmittance: bounds, splitting, corrections."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.layers import Layer, Part, air_layer, resistive_layer, solid_layer, split_layer
from estimator.transmittance import (
    Fixings,
    Insulation,
    Transmittance,
    can_matter,
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


@pytest.mark.parametrize("conductivity", [0.022, 0.038])
def test_pins_can_matter_from_three_per_cent_of_the_insulation_alone(conductivity: float) -> None:
    """By hand: 0.8 x 50 W/mK x area x number over the insulation's conductivity is 0.03."""
    least_mm2 = 0.03 * conductivity / (0.8 * 50.0 * 1e-6 * 4.0)
    for share, matters in ((0.999, False), (1.001, True)):
        pins = Fixings(conductivity_w_mk=50.0, area_mm2=share * least_mm2, per_m2=4.0)
        assert can_matter(pins, conductivity) is matters


def test_pins_that_cannot_matter_never_come_to_three_per_cent_however_thick_the_insulation() -> None:
    pins = Fixings(conductivity_w_mk=50.0, area_mm2=4.1, per_m2=4.0)
    assert not can_matter(pins, 0.022)
    for mm in (20.0, 60.0, 200.0, 2000.0):
        layer = Insulation(thickness_mm=mm, resistance_m2k_w=mm / 22.0, fixings=pins)
        assert not thermal_transmittance([solid_layer("pir", mm)], insulation=layer).corrections_applied


def test_corrections_are_applied_where_asked_for_and_there_are_any() -> None:
    pins = Fixings(conductivity_w_mk=50.0, area_mm2=1.0, per_m2=1.0)
    part = Insulation(thickness_mm=40, resistance_m2k_w=0.04 / 0.022, fixings=pins, always=True)
    plain = thermal_transmittance(CORRECTED)
    small = thermal_transmittance(CORRECTED, insulation=part)
    assert small.corrections_applied
    assert small.u_w_m2k == pytest.approx(plain.u_w_m2k + small.fixing_correction_w_m2k)
    assert small.u_w_m2k > plain.u_w_m2k
    none = thermal_transmittance(CORRECTED, insulation=replace(part, fixings=None))
    assert not none.corrections_applied
    assert not plain.corrections_applied
    assert (none.u_w_m2k, plain.air_gap_correction_w_m2k, plain.fixing_correction_w_m2k) == (plain.u_w_m2k, 0.0, 0.0)
    assert corrections(replace(part, thickness_mm=0.0), 2.5)[1] == 0.0
    assert corrections(replace(part, thickness_mm=1.0), 2.5)[1] > 0.0


def test_surfaces_of_other_resistances_change_the_total_by_as_much() -> None:
    usual = thermal_transmittance(CORRECTED)
    odd = thermal_transmittance(CORRECTED, inside_m2k_w=0.25, outside_m2k_w=0.01)
    assert odd.total_m2k_w - usual.total_m2k_w == pytest.approx(0.25 + 0.01 - 0.13 - 0.04)


def test_crossing_layers_take_every_combination_and_layers_in_line_only_the_pairs() -> None:
    """By hand for two half-and-half layers of 1 and 3: in line 2 and 6, crossed 2, 4, 4 and 6, without surfaces."""
    parts = (Part(name="a", share=0.5, resistance_m2k_w=1.0), Part(name="b", share=0.5, resistance_m2k_w=3.0))
    layer = Layer(name="x", thickness_mm=10, parts=parts)
    line = replace(layer, pattern="studs")

    def bare(*layers: Layer) -> Transmittance:
        return thermal_transmittance(layers, inside_m2k_w=0.0, outside_m2k_w=0.0)

    assert bare(line, line).upper_m2k_w == pytest.approx(1 / (0.5 / 2 + 0.5 / 6))
    assert bare(layer, layer).upper_m2k_w == pytest.approx(1 / (0.25 / 2 + 0.5 / 4 + 0.25 / 6))
    assert bare(layer, layer).lower_m2k_w == pytest.approx(2 * 1.5)
