"""Monthly moisture screening by EN ISO 13788: surface temperature factor and condensation between the layers.

Screening only: it leaves out rain, liquid water, storage, air leakage, built-in moisture, two dimensions and salts. It
can stop a lining; it cannot approve one on a solid wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from estimator.climate import (
    DAYS_IN_MONTH,
    INSIDE_C,
    Climate,
    dew_point_c,
    inside_vapour_pressure_pa,
    saturation_pressure_pa,
)
from estimator.layers import MAX_STEP_RESISTANCE_M2K_W, Layer
from estimator.materials import surface_resistance

VAPOUR_PERMEABILITY_AIR = 2e-10  # kg/(m s Pa), EN ISO 13788:2012 clause 6.2
MOULD_HUMIDITY = 0.8  # EN ISO 13788:2012 clause 5.3
EXCESS_MARGIN = 1.10  # EN ISO 13788:2012 clause 4.2.4, from memory: margin on the inside vapour pressure excess
SECONDS_PER_DAY = 86400.0
_DRY_KG_M2 = 1e-12
_SHOWN_KG_M2 = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """A plane between layers: where it lies, and its water by calendar month, January first.

    ``depth_mm`` is measured from the outer face. ``change_g_m2`` (12,) is what gathers or dries in a month,
    ``content_g_m2`` (12,) what is there at its end.
    """

    name: str
    depth_mm: float
    change_g_m2: tuple[float, ...]
    content_g_m2: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistureResult:
    """What the screening found.

    ``verdict`` is ``none`` (no condensation), ``dries`` (it gathers and dries within the year) or ``builds_up`` (some
    is left after twelve months). ``start_month`` is 0 for January. ``peak_g_m2`` is the most at one plane at a month's
    end, ``residual_g_m2`` what is left in all planes after the twelve months.
    """

    verdict: str
    planes: tuple[Plane, ...]
    start_month: int | None
    peak_g_m2: float
    residual_g_m2: float
    excess_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VapourProfile:
    """One month across the wall, from outside to inside, before any water has gathered.

    At each plane (n,): ``names`` and ``depth_mm`` from the outer face, ``temperature_c``, ``saturation_pa`` and
    ``pressure_pa``; where the two pressures meet between the ends, water gathers. ``month`` is 0 for January.
    """

    month: int
    names: tuple[str, ...]
    depth_mm: tuple[float, ...]
    temperature_c: tuple[float, ...]
    saturation_pa: tuple[float, ...]
    pressure_pa: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VapourPath:
    """The wall as the vapour meets it, from outside to inside.

    ``s_m`` (n,) are the sd values [m] at the planes, ends included, ``r_m2k_w`` (n,) the resistances from the outside
    air to each, ``total_m2k_w`` that from air to air; ``names`` and ``depths_mm`` (n,) say where a plane is.
    """

    s_m: tuple[float, ...]
    r_m2k_w: tuple[float, ...]
    total_m2k_w: float
    names: tuple[str, ...]
    depths_mm: tuple[float, ...]


def vapour_path(
    layers: Sequence[Layer], *, inside_m2k_w: float | None = None, outside_m2k_w: float | None = None
) -> VapourPath:
    """Return the planes of a wall with every step of resistance at 0.25 m2K/W or less.

    Parameters
    ----------
    layers
        From outside to inside; a bridged layer counts by its main part, between the bridges.
    inside_m2k_w, outside_m2k_w
        Surface resistances [m2K/W]; 0.13 and 0.04 when None.

    References
    ----------
    EN ISO 13788:2012 clause 6.4.2.
    """
    inside = surface_resistance("inside_horizontal") if inside_m2k_w is None else inside_m2k_w
    s, r, depth = [0.0], [surface_resistance("outside") if outside_m2k_w is None else outside_m2k_w], [0.0]
    names = ["outer face"]
    for number, layer in enumerate(layers):
        resistance = layer.parts[0].resistance_m2k_w
        steps = max(1, -int(-resistance // MAX_STEP_RESISTANCE_M2K_W))
        for step in range(1, steps + 1):
            s.append(s[-1] + layer.sd_m / steps)
            r.append(r[-1] + resistance / steps)
            depth.append(depth[-1] + layer.thickness_mm / steps)
            following = layers[number + 1].name if number + 1 < len(layers) else "room"
            names.append(f"{layer.name} / {following}" if step == steps else f"in {layer.name}")
    return VapourPath(
        s_m=tuple(s),
        r_m2k_w=tuple(r),
        total_m2k_w=r[-1] + inside,
        names=tuple(names),
        depths_mm=tuple(depth),
    )


def screen_moisture(layers: Sequence[Layer], *, climate: Climate, excess_pa: float) -> MoistureResult:
    """Return the yearly course of condensation between the layers of a wall.

    Parameters
    ----------
    layers
        From outside to inside.
    climate
        Twelve months outside.
    excess_pa
        The humidity class's vapour pressure excess at 0 deg C and below [Pa].

    References
    ----------
    EN ISO 13788:2012 clause 6: several planes, drying across months, a month split when a plane dries.
    """
    path = vapour_path(layers)
    months = [_month_pressures(path, climate, month, excess_pa) for month in range(12)]
    start = _first_month(path, months)
    if start is None:
        return MoistureResult(
            verdict="none", planes=(), start_month=None, peak_g_m2=0.0, residual_g_m2=0.0, excess_pa=excess_pa
        )
    count = len(path.s_m)
    water = [0.0] * count
    change = [[0.0] * count for _ in range(12)]
    content = [[0.0] * count for _ in range(12)]
    for offset in range(12):
        month = (start + offset) % 12
        before = list(water)
        _advance(path.s_m, months[month], water, DAYS_IN_MONTH[month] * SECONDS_PER_DAY)
        change[month] = [now - then for now, then in zip(water, before, strict=True)]
        content[month] = list(water)
    planes = tuple(
        Plane(
            name=path.names[i],
            depth_mm=path.depths_mm[i],
            change_g_m2=tuple(1000 * change[month][i] for month in range(12)),
            content_g_m2=tuple(1000 * content[month][i] for month in range(12)),
        )
        for i in range(count)
        if any(content[month][i] > _SHOWN_KG_M2 for month in range(12))
    )
    residual = 1000 * sum(water)
    peak = 1000 * max(max(row) for row in content)
    return MoistureResult(
        verdict="builds_up" if residual > 1e-3 else "dries",
        planes=planes,
        start_month=start,
        peak_g_m2=peak,
        residual_g_m2=residual,
        excess_pa=excess_pa,
    )


def vapour_profile(layers: Sequence[Layer], *, climate: Climate, excess_pa: float, month: int) -> VapourProfile:
    """Return temperature, saturation pressure and vapour pressure across a wall in one month.

    Parameters
    ----------
    layers, climate, excess_pa
        As for :func:`screen_moisture`.
    month
        The month, 0 for January.
    """
    path = vapour_path(layers)
    pressures = _month_pressures(path, climate, month, excess_pa)
    string = _string(path.s_m, pressures, [0.0] * len(path.s_m))
    outside_c = climate.temperature_c[month]
    pressure = []
    for left, right in pairwise(string):
        pressure += [left[1] + _slope(left, right) * (path.s_m[i] - left[0]) for i in range(left[2], right[2])]
    return VapourProfile(
        month=month,
        names=path.names,
        depth_mm=path.depths_mm,
        temperature_c=tuple(outside_c + (INSIDE_C - outside_c) * r / path.total_m2k_w for r in path.r_m2k_w),
        saturation_pa=pressures[0],
        pressure_pa=(*pressure, pressures[2]),
    )


def temperature_factor(total_m2k_w: float) -> float:
    """Return the surface temperature factor of a plane wall with the 0.25 m2K/W of mould checks.

    Parameters
    ----------
    total_m2k_w
        The wall's total resistance with an inside surface resistance of 0.13 m2K/W.

    References
    ----------
    EN ISO 13788:2012 clauses 4.4.1 and 5.
    """
    rest = total_m2k_w - surface_resistance("inside_horizontal")
    return rest / (rest + surface_resistance("mould_inside"))


def needed_temperature_factor(climate: Climate, *, excess_pa: float, margin: float = EXCESS_MARGIN) -> float:
    """Return the least surface temperature factor that keeps every month's surface humidity below 80 %.

    Parameters
    ----------
    climate, excess_pa
        As for :func:`screen_moisture`.
    margin
        Factor on the excess [-].

    References
    ----------
    EN ISO 13788:2012 clause 5.3: psat(tsi,min) = pi / 0.8 and fRsi,min = (tsi,min - te) / (ti - te).
    """
    needed = 0.0
    for outside_c, humidity in zip(climate.temperature_c, climate.humidity, strict=True):
        if outside_c >= INSIDE_C - 1:
            continue
        pressure = inside_vapour_pressure_pa(outside_c, humidity, excess_pa=margin * excess_pa)
        surface_c = dew_point_c(pressure / MOULD_HUMIDITY)
        needed = max(needed, (surface_c - outside_c) / (INSIDE_C - outside_c))
    return needed


_Point = tuple[float, float, int]  # sd, vapour pressure, plane
_Pressures = tuple[tuple[float, ...], float, float]  # psat at the planes, outside and inside vapour pressure


def _month_pressures(path: VapourPath, climate: Climate, month: int, excess_pa: float) -> _Pressures:
    outside_c, humidity = climate.temperature_c[month], climate.humidity[month]
    saturation = tuple(
        saturation_pressure_pa(outside_c + (INSIDE_C - outside_c) * r / path.total_m2k_w) for r in path.r_m2k_w
    )
    inside = inside_vapour_pressure_pa(outside_c, humidity, excess_pa=excess_pa)
    return saturation, humidity * saturation_pressure_pa(outside_c), inside


def _first_month(path: VapourPath, months: Sequence[_Pressures]) -> int | None:
    """Return the first condensing month after a dry one, any if none is dry, None if all are dry."""
    dry = [0.0] * len(path.s_m)
    condensing = [any(rate > 0 for rate in _rates(path.s_m, month, dry)) for month in months]
    if not any(condensing):
        return None
    # Autumn first: a year that never dries is counted from October.
    order = [(9 + k) % 12 for k in range(12)]
    return next((m for m in order if condensing[m] and not condensing[m - 1]), 9)


def _advance(s_m: Sequence[float], pressures: _Pressures, water: list[float], seconds: float) -> None:
    """Carry ``water`` (n,) [kg/m2] through one month, splitting it each time a plane dries."""
    left = seconds
    while left > 0:
        rates = _rates(s_m, pressures, water)
        drying = [(water[i] / -rate, i) for i, rate in enumerate(rates) if rate < 0]
        step, dried = min(drying, default=(left, -1))
        if step >= left:
            step, dried = left, -1
        for i, rate in enumerate(rates):
            water[i] = max(0.0, water[i] + rate * step)
        if dried >= 0:
            water[dried] = 0.0
        left -= step


def _rates(s_m: Sequence[float], pressures: _Pressures, water: Sequence[float]) -> list[float]:
    """Return the condensation rate (n,) [kg/m2s] at each plane, below 0 where a wet plane dries.

    Water gathers where the string of vapour pressure bends.
    """
    string = _string(s_m, pressures, water)
    rates = [0.0] * len(s_m)
    for left, here, right in zip(string, string[1:], string[2:], strict=False):
        rates[here[2]] = VAPOUR_PERMEABILITY_AIR * (_slope(here, right) - _slope(left, here))
    return rates


def _string(s_m: Sequence[float], pressures: _Pressures, water: Sequence[float]) -> list[_Point]:
    """Return the points (sd, pressure, plane) between which the vapour pressure runs straight.

    It is the taut string under the saturation curve between the outside, the wet planes (held at saturation) and the
    inside.
    """
    saturation, outside, inside = pressures
    last = len(s_m) - 1
    string = [(s_m[0], outside, 0)]
    held = 0
    for i in range(1, last + 1):
        point = (s_m[i], inside if i == last else saturation[i], i)
        # A point above the string of its neighbours does not touch it; a wet plane is held where it is.
        while len(string) - 1 > held and _turns_down(string[-2], string[-1], point):
            string.pop()
        string.append(point)
        if i < last and water[i] > _DRY_KG_M2:
            held = len(string) - 1
    return string


def _slope(a: _Point, b: _Point) -> float:
    return (b[1] - a[1]) / (b[0] - a[0])


def _turns_down(a: _Point, b: _Point, c: _Point) -> bool:
    """Say whether b lies on or above the line from a to c."""
    return (b[1] - a[1]) * (c[0] - a[0]) >= (c[1] - a[1]) * (b[0] - a[0])
