"""Saving: heat by degree days, ranges with causes, payback."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.climate import region_climate
from estimator.existing_walls import Spread
from estimator.saving import (
    heat_kwh,
    heating,
    saving_causes,
    simple_payback_years,
    yearly_saving,
)
from estimator.tables import read_table

NATIONAL_DEGREE_DAYS = 2463  # published fixed degree days, base 15.5


@pytest.mark.parametrize(
    ("before", "after", "kwh", "gas"),
    [(2.12, 0.402, 2031, 2308), (1.7, 0.384, 1556, 1768), (1.4, 0.366, 1222, 1389), (1.3, 0.358, 1114, 1266)],
)
def test_heat_of_twenty_square_metres(before: float, after: float, kwh: int, gas: int) -> None:
    """Regression: 20 m2 and 2463 K d, heat and gas at an efficiency of 0.88."""
    heat = heat_kwh(20, before - after, NATIONAL_DEGREE_DAYS)
    assert round(heat) == pytest.approx(kwh, abs=1)
    assert round(heat / 0.88) == pytest.approx(gas, abs=1)


def test_a_measured_start_saves_two_fifths_less_than_a_calculated_one() -> None:
    calculated, measured = heat_kwh(20, 2.12 - 0.402, 2463), heat_kwh(20, 1.4 - 0.366, 2463)
    assert 1 - measured / calculated == pytest.approx(0.40, abs=0.01)


@given(
    area=st.floats(0.5, 60),
    low=st.floats(0.1, 1.0),
    more=st.floats(0, 2),
    region=st.sampled_from(sorted(read_table("regions").rows)),
    plant=st.sampled_from(sorted(read_table("heating").rows)),
)
def test_every_saving_is_a_range_in_order_and_grows_with_area(
    area: float, low: float, more: float, region: str, plant: str
) -> None:
    def saving(m2: float) -> Spread:
        return yearly_saving(
            m2,
            fall_low_w_m2k=low,
            fall_high_w_m2k=low + more,
            climate=region_climate(region),
            plant=heating(plant),
        ).fuel_kwh

    one, two = saving(area), saving(2 * area)
    assert 0 < one.low <= one.high
    assert two.low == pytest.approx(2 * one.low)


def test_the_causes_multiply_up_to_the_range() -> None:
    plant = heating("gas_boiler")
    saved = yearly_saving(
        10, fall_low_w_m2k=0.9, fall_high_w_m2k=1.8, climate=region_climate("thames"), plant=plant
    ).fuel_kwh
    product = 1.0
    for factor in saving_causes(fall_low_w_m2k=0.9, fall_high_w_m2k=1.8, plant=plant).values():
        product *= factor
    assert product == pytest.approx(saved.high / saved.low)


def test_unknown_heating_spans_the_others_and_says_so() -> None:
    wide = heating("steam")
    assert not wide.known and not heating(None).known and not heating("unknown").known
    assert wide.efficiency.low < heating("gas_boiler").efficiency.low


def test_a_heat_pump_needs_less_electricity_than_direct_heaters() -> None:
    def high(plant: str) -> float:
        return yearly_saving(
            10, fall_low_w_m2k=1, fall_high_w_m2k=1, climate=region_climate("uk"), plant=heating(plant)
        ).fuel_kwh.high

    assert high("heat_pump") < 0.5 * high("direct_electric")


def test_payback_pairs_the_best_cost_with_the_best_saving() -> None:
    payback = simple_payback_years(Spread(low=1000, high=2000), Spread(low=50, high=100))
    assert payback == Spread(low=10, high=40)
    assert simple_payback_years(Spread(low=1, high=2), Spread(low=0, high=1)) is None
