"""Saturation pressure and dew point against psychrolib (the equations of ASHRAE Fundamentals 2017, chapter 1)."""

from __future__ import annotations

from collections.abc import Iterator

import psychrolib
import pytest

from estimator.climate import dew_point_c, saturation_pressure_pa


@pytest.fixture(autouse=True)
def _si_units() -> Iterator[None]:
    psychrolib.SetUnitSystem(psychrolib.SI)
    yield


@pytest.mark.parametrize("c", [0.5 * k for k in range(61)])
def test_saturation_over_water_agrees_to_a_thousandth_part_and_a_half(c: float) -> None:
    """Magnus form of EN ISO 13788 against the Hyland and Wexler equations, up to the 30 deg C of its table."""
    assert saturation_pressure_pa(c) == pytest.approx(psychrolib.GetSatVapPres(c), rel=1.5e-3)


@pytest.mark.parametrize("c", [-0.5 * k for k in range(1, 41)])
def test_saturation_over_ice_agrees_to_six_thousandths(c: float) -> None:
    assert saturation_pressure_pa(c) == pytest.approx(psychrolib.GetSatVapPres(c), rel=6e-3)


@pytest.mark.parametrize("c", [5.0, 10.0, 18.0, 20.0, 21.0, 25.0])
@pytest.mark.parametrize("humidity", [0.4, 0.5, 0.6, 0.7, 0.85, 0.95])
def test_dew_points_agree_to_three_hundredths_of_a_degree(c: float, humidity: float) -> None:
    theirs = psychrolib.GetTDewPointFromRelHum(c, humidity)
    assert dew_point_c(humidity * saturation_pressure_pa(c)) == pytest.approx(theirs, abs=0.03)
