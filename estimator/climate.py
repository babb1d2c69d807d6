"""Outside and inside air: monthly climate by region, humidity classes, saturation pressure, dew point, degree days."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from estimator.tables import read_table
from vision.findings import PerpendError

DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
INSIDE_C = 20.0  # EN ISO 13788:2012 screening of dwellings
HEATING_BASE_C = 15.5  # base of the published UK degree days
UNKNOWN_REGION = "uk"
CLASS_EXCESS_PA = {1: 270.0, 2: 540.0, 3: 810.0, 4: 1080.0, 5: 1350.0}
"""Upper limits of inside vapour pressure excess at 0 deg C and below, by humidity class (EN ISO 13788:2012 figure A.1,
from memory; 2, 4, 6, 8 g/m3; class 5 taken one step above 4). The meaning of the class numbers differs between the
2001 and the 2012 editions, so pascals are what this program stores."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """A region's twelve months: temperature [deg C], relative humidity [0 to 1]; and a cold night's temperature."""

    key: str
    name: str
    temperature_c: tuple[float, ...]
    humidity: tuple[float, ...]
    cold_night_c: float
    source: str
    known: bool


@cache
def region_climate(region: str | None) -> Climate:
    """Return the climate of ``region``; the United Kingdom's mean, not ``known``, where there is no such region."""
    rows = read_table("regions").rows
    known = region in rows
    row = rows[region if region is not None and known else UNKNOWN_REGION]
    return Climate(
        key=str(row["key"]),
        name=str(row["name"]),
        temperature_c=tuple(float(t) for t in row["temperature_c"]),
        humidity=tuple(float(h) / 100 for h in row["humidity_percent"]),
        cold_night_c=float(row["cold_night_c"]),
        source=str(row["source"]),
        known=known,
    )


def saturation_pressure_pa(temperature_c: float) -> float:
    """Return the saturation vapour pressure [Pa], over ice below 0 deg C.

    Parameters
    ----------
    temperature_c
        Temperature [deg C], -40 to 60.

    References
    ----------
    EN ISO 13788:2012 annex E, equations E.7 and E.8 (the ice constant is 265.5; one transcription misprints 267.5).

    Examples
    --------
    >>> round(saturation_pressure_pa(20.0))
    2337
    """
    a, b = (17.269, 237.3) if temperature_c >= 0 else (21.875, 265.5)
    return 610.5 * math.exp(a * temperature_c / (b + temperature_c))


def dew_point_c(vapour_pressure_pa: float) -> float:
    """Return the temperature [deg C] at which air is saturated (the frost point below 0).

    Parameters
    ----------
    vapour_pressure_pa
        The air's vapour pressure [Pa], above 0.

    Raises
    ------
    PerpendError
        When the pressure is not above 0.

    References
    ----------
    EN ISO 13788:2012 annex E, equations E.9 and E.10.
    """
    if vapour_pressure_pa <= 0:
        raise PerpendError(f"vapour pressure {vapour_pressure_pa} Pa: it must be above 0.")
    ratio = math.log(vapour_pressure_pa / 610.5)
    a, b = (17.269, 237.3) if ratio >= 0 else (21.875, 265.5)
    return b * ratio / (a - ratio)


def inside_vapour_pressure_pa(outside_c: float, outside_humidity: float, *, excess_pa: float) -> float:
    """Return the inside vapour pressure [Pa] in a month.

    Parameters
    ----------
    outside_c, outside_humidity
        Monthly mean temperature [deg C] and relative humidity [0 to 1] outside.
    excess_pa
        The humidity class's excess [Pa] at 0 deg C and below; it falls in a line to 0 at 20 deg C.

    References
    ----------
    EN ISO 13788:2012 annex A.
    """
    fall = min(1.0, max(0.0, 1 - outside_c / 20))
    return outside_humidity * saturation_pressure_pa(outside_c) + excess_pa * fall


def degree_days(temperature_c: Sequence[float], *, base_c: float = HEATING_BASE_C) -> float:
    """Return the yearly degree days [K d] from twelve monthly means.

    Parameters
    ----------
    temperature_c
        Monthly means (12,) [deg C], January first.
    base_c
        Outside temperature from which no heating is needed [deg C].

    Notes
    -----
    Monthly means leave out the cold days of mild months: daily data give 10 to 20 % more (from memory).
    """
    return sum(max(0.0, base_c - t) * days for t, days in zip(temperature_c, DAYS_IN_MONTH, strict=True))
