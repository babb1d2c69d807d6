"""What the lining saves in a year, as a range with its causes, and how long it takes to pay back."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from estimator.climate import Climate, degree_days
from estimator.existing_walls import Spread
from estimator.tables import read_table

TAKEN_UP = Spread(low=0.65, high=0.85)
"""Share of the plane wall's saving that arrives (invented default): thermal bridges, warmer rooms, part heating."""
DAILY_DATA = Spread(low=1.0, high=1.15)
"""Degree days from daily data over those from monthly means (from memory: 1.1 to 1.2, low confidence)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heating:
    """A kind of heating: efficiency [-], price of a kWh [pounds], emissions [kg CO2e/kWh]; ``known`` as asked for."""

    key: str
    name: str
    efficiency: Spread
    price: Spread
    kg_co2_kwh: float
    known: bool
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """Yearly saving: fuel [kWh], money [pounds], emissions [kg CO2e]."""

    fuel_kwh: Spread
    pounds: Spread
    kg_co2: Spread


@cache
def heating(key: str | None) -> Heating:
    """Return the heating of row ``key``, or the widest range where there is no such row."""
    rows = read_table("heating").rows
    known = key in rows and key != "unknown"
    row = rows[key if key is not None and known else "unknown"]
    return Heating(
        key=str(row["key"]),
        name=str(row["name"]),
        efficiency=Spread(low=row["efficiency"][0], high=row["efficiency"][1]),
        price=Spread(low=row["price"][0], high=row["price"][1]),
        kg_co2_kwh=float(row["kg_co2_kwh"]),
        known=known,
        source=str(row["source"]),
    )


def heat_kwh(area_m2: float, fall_w_m2k: float, degree_days_kd: float) -> float:
    """Return the heat [kWh] kept in a year by a fall of the transmittance.

    Parameters
    ----------
    area_m2
        Area of the wall without its openings [m2].
    fall_w_m2k
        Transmittance before less after [W/m2K].
    degree_days_kd
        Degree days of the year [K d].
    """
    return area_m2 * fall_w_m2k * degree_days_kd * 24 / 1000


def yearly_saving(
    area_m2: float, *, fall_low_w_m2k: float, fall_high_w_m2k: float, climate: Climate, plant: Heating
) -> Saving:
    """Return what the lining saves in a year.

    Parameters
    ----------
    area_m2
        Area lined [m2].
    fall_low_w_m2k, fall_high_w_m2k
        The least and the greatest fall of the transmittance [W/m2K], from the measured and the calculated start.
    climate, plant
        Region and heating.
    """
    days = degree_days(climate.temperature_c)
    low = heat_kwh(area_m2, fall_low_w_m2k, days * DAILY_DATA.low) * TAKEN_UP.low / plant.efficiency.high
    high = heat_kwh(area_m2, fall_high_w_m2k, days * DAILY_DATA.high) * TAKEN_UP.high / plant.efficiency.low
    return Saving(
        fuel_kwh=Spread(low=low, high=high),
        pounds=Spread(low=low * plant.price.low, high=high * plant.price.high),
        kg_co2=Spread(low=low * plant.kg_co2_kwh, high=high * plant.kg_co2_kwh),
    )


def saving_causes(*, fall_low_w_m2k: float, fall_high_w_m2k: float, plant: Heating) -> dict[str, float]:
    """Return by what factor each cause stretches the saving from its low to its high end, the largest first.

    Parameters
    ----------
    fall_low_w_m2k, fall_high_w_m2k, plant
        As for :func:`yearly_saving`.
    """
    causes = {
        "what the wall loses today (calculated or measured)": fall_high_w_m2k / max(fall_low_w_m2k, 1e-9),
        "how much of it arrives (bridges, warmer rooms, part heating)": TAKEN_UP.high / TAKEN_UP.low,
        "degree days (monthly or daily data)": DAILY_DATA.high / DAILY_DATA.low,
        f"efficiency of the heating ({plant.name})": plant.efficiency.high / plant.efficiency.low,
    }
    return dict(sorted(causes.items(), key=lambda item: -item[1]))


def simple_payback_years(cost: Spread, pounds: Spread) -> Spread | None:
    """Return cost over yearly saving [years], or None when nothing is saved.

    Parameters
    ----------
    cost
        What the lining costs [pounds].
    pounds
        What it saves in a year [pounds].
    """
    if pounds.low <= 0 or pounds.high <= 0:
        return None
    return Spread(low=cost.low / pounds.high, high=cost.high / pounds.low)
