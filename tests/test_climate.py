"""Climate: saturation pressure, dew point, inside humidity, degree days."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.climate import (
    degree_days,
    dew_point_c,
    inside_vapour_pressure_pa,
    region_climate,
    saturation_pressure_pa,
)
from estimator.tables import read_table
from vision.findings import PerpendError


@pytest.mark.parametrize(
    ("c", "pa"),
    [
        (-20, 102.7),
        (-10, 259.3),
        (-5, 401.2),
        (0, 610.5),
        (5, 871.9),
        (10, 1227.3),
        (12, 1401.8),
        (15, 1704.4),
        (20, 2337.0),
        (25, 3165.9),
        (30, 4240.5),
    ],
)
def test_saturation_pressure_of_the_standards_equation(c: float, pa: float) -> None:
    """EN ISO 13788 annex E: 2337 Pa at 20 deg C is printed there; the others are its equation worked out."""
    assert saturation_pressure_pa(c) == pytest.approx(pa, abs=0.06)


def test_the_ice_constant_is_not_the_misprinted_one() -> None:
    """One public transcription of annex E has 267.5 for 265.5, which would give 3 Pa more at -10 deg C."""
    assert saturation_pressure_pa(-10) == pytest.approx(259.3, abs=0.06)


@pytest.mark.parametrize(
    ("c", "humidity", "dew"),
    [
        (20, 0.40, 6.00),
        (20, 0.50, 9.27),
        (20, 0.60, 12.00),
        (20, 0.65, 13.22),
        (20, 0.70, 14.36),
        (18, 0.60, 10.13),
        (21, 0.50, 10.19),
        (5, 0.85, 2.69),
        (0, 0.90, -1.27),
    ],
)
def test_dew_points_of_the_standards_equation(c: float, humidity: float, dew: float) -> None:
    """EN ISO 13788 annex E, equations E.9 and E.10, worked out."""
    assert dew_point_c(humidity * saturation_pressure_pa(c)) == pytest.approx(dew, abs=0.006)


@given(c=st.floats(-30, 40))
def test_the_dew_point_of_saturated_air_is_its_temperature(c: float) -> None:
    assert dew_point_c(saturation_pressure_pa(c)) == pytest.approx(c, abs=1e-9)


def test_no_vapour_has_no_dew_point() -> None:
    with pytest.raises(PerpendError, match="must be above 0"):
        dew_point_c(0.0)


@given(c=st.floats(-20, 40), humidity=st.floats(0.1, 1.0), excess=st.floats(0, 1350))
def test_inside_air_holds_more_by_the_class_and_no_less_than_outside(c: float, humidity: float, excess: float) -> None:
    outside = humidity * saturation_pressure_pa(c)
    inside = inside_vapour_pressure_pa(c, humidity, excess_pa=excess)
    assert outside <= inside <= outside + excess + 1e-9
    if c <= 0:
        assert inside == pytest.approx(outside + excess)


@pytest.mark.parametrize(
    ("region", "kd"),
    [
        ("uk", 2062),
        ("thames", 1774),
        ("south_east_england", 1816),
        ("southern_england", 1764),
        ("south_west_england", 1741),
        ("severn", 1910),
        ("midlands", 2056),
        ("west_pennines", 1989),
        ("north_west_england", 2360),
        ("borders", 2324),
        ("north_east_england", 2217),
        ("east_pennines", 2062),
        ("east_anglia", 1874),
        ("wales", 2059),
        ("west_scotland", 2415),
        ("east_scotland", 2491),
        ("north_east_scotland", 2674),
        ("highland", 2865),
    ],
)
def test_degree_days_of_the_regions(region: str, kd: int) -> None:
    """Regression from SAP table U1, base 15.5: guards the table against slips of the pen."""
    assert round(degree_days(region_climate(region).temperature_c)) == kd


def test_an_unknown_region_has_the_kingdoms_mean_and_says_so() -> None:
    assert not region_climate("atlantis").known
    assert not region_climate(None).known
    assert region_climate("atlantis").temperature_c == region_climate("uk").temperature_c


def test_every_region_has_twelve_credible_months() -> None:
    for key in read_table("regions").rows:
        climate = region_climate(key)
        assert climate.known
        assert len(climate.temperature_c) == len(climate.humidity) == 12
        assert all(0 < t < 20 for t in climate.temperature_c)
        assert all(0.6 < h < 0.95 for h in climate.humidity)
        assert climate.cold_night_c < min(climate.temperature_c)
