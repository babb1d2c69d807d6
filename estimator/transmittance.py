"""Thermal transmittance of a plane wall by the combined method of EN ISO 6946."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from estimator.layers import Layer
from estimator.materials import surface_resistance
from vision.findings import PerpendError

AIR_GAP_CORRECTION_W_M2K = {0: 0.0, 1: 0.01, 2: 0.04}  # EN ISO 6946:2017 table F.1, from memory
FIXING_ALPHA = 0.8  # EN ISO 6946:2017 clause F.3.2, from memory
IGNORED_SHARE = 0.03  # EN ISO 6946:2017 clause 7 / annex F, from memory: total corrections below 3 % of U are left out


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixings:
    """Metal fixings through the insulation.

    ``area_mm2`` is one fixing's cross-section, ``per_m2`` their number. ``depth_share`` is the share of the
    insulation that they pierce (1 when all of it).
    """

    conductivity_w_mk: float
    area_mm2: float
    per_m2: float
    depth_share: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Insulation:
    """The insulation layer that the corrections are about: thickness [mm], resistance [m2K/W], gap level 0 to 2.

    ``always`` applies the corrections even where they come to less than 3 %.
    """

    thickness_mm: float
    resistance_m2k_w: float
    air_gap_level: int = 0
    fixings: Fixings | None = None
    always: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Transmittance:
    """A wall's resistances [m2K/W] and transmittance [W/m2K], with the corrections and whether they were applied."""

    upper_m2k_w: float
    lower_m2k_w: float
    total_m2k_w: float
    air_gap_correction_w_m2k: float
    fixing_correction_w_m2k: float
    corrections_applied: bool
    u_w_m2k: float

    @property
    def bridging_error(self) -> float:
        """Return the largest relative error of the combined method, (upper - lower) / (2 total)."""
        return (self.upper_m2k_w - self.lower_m2k_w) / (2 * self.total_m2k_w)


def thermal_transmittance(
    layers: Sequence[Layer],
    *,
    inside_m2k_w: float | None = None,
    outside_m2k_w: float | None = None,
    insulation: Insulation | None = None,
) -> Transmittance:
    """Return the transmittance of a plane wall by the combined method.

    Parameters
    ----------
    layers
        The layers, in any order; layers of one ``pattern`` have their parts in line.
    inside_m2k_w, outside_m2k_w
        Surface resistances [m2K/W]; 0.13 and 0.04 when None.
    insulation
        Where given, corrections for air gaps and fixings of this layer are made, unless they come to under 3 %.

    Raises
    ------
    PerpendError
        When patterned layers do not have the same shares.

    Notes
    -----
    Not for layers in which metal bridges insulation between metal faces: these need EN ISO 10211.

    References
    ----------
    EN ISO 6946:2017 clause 6.7.2 (upper and lower limits) and annex F (corrections).
    """
    inside = surface_resistance("inside_horizontal") if inside_m2k_w is None else inside_m2k_w
    outside = surface_resistance("outside") if outside_m2k_w is None else outside_m2k_w
    upper = _upper_limit(layers, inside + outside)
    lower = inside + outside + sum(layer.resistance_m2k_w for layer in layers)
    total = (upper + lower) / 2
    u = 1 / total
    gap, fixing = corrections(insulation, total) if insulation is not None else (0.0, 0.0)
    always = insulation is not None and insulation.always
    applied = gap + fixing > 0 and (always or gap + fixing >= IGNORED_SHARE * u)
    return Transmittance(
        upper_m2k_w=upper,
        lower_m2k_w=lower,
        total_m2k_w=total,
        air_gap_correction_w_m2k=gap,
        fixing_correction_w_m2k=fixing,
        corrections_applied=applied,
        u_w_m2k=u + (gap + fixing if applied else 0.0),
    )


def can_matter(fixings: Fixings, conductivity_w_mk: float) -> bool:
    """Say whether fixings can come to 3 % of the transmittance at some thickness of an insulation.

    Parameters
    ----------
    fixings
        The fixings.
    conductivity_w_mk
        Conductivity of the insulation [W/mK].

    Notes
    -----
    Their share is 0.8 lambda_f A n / lambda x R1/RT, below its limit at R1 = RT. To decide by the limit keeps a
    thicker insulation from ever looking worse where the 3 % rule sets in.
    """
    limit = FIXING_ALPHA * fixings.conductivity_w_mk * fixings.area_mm2 * 1e-6 * fixings.per_m2 / conductivity_w_mk
    return limit >= IGNORED_SHARE


def corrections(insulation: Insulation, total_m2k_w: float) -> tuple[float, float]:
    """Return the corrections [W/m2K] for air gaps and for fixings, before the 3 % rule.

    Parameters
    ----------
    insulation
        The pierced or gapped layer.
    total_m2k_w
        The wall's total resistance without corrections [m2K/W].

    References
    ----------
    EN ISO 6946:2017 annex F (from memory): dUg = dU'' (R1/RT)^2; dUf = 0.8 lambda A n / d0 (R1/RT)^2,
    with d1/d0 for a recessed fixing. Fixings below 1 W/mK are not counted.
    """
    share = (insulation.resistance_m2k_w / total_m2k_w) ** 2
    gap = AIR_GAP_CORRECTION_W_M2K[insulation.air_gap_level] * share
    pins = insulation.fixings
    if pins is None or pins.conductivity_w_mk < 1 or insulation.thickness_mm == 0:
        return gap, 0.0
    alpha = FIXING_ALPHA * pins.depth_share
    conductance = pins.conductivity_w_mk * pins.area_mm2 * 1e-6 * pins.per_m2 / (insulation.thickness_mm / 1000)
    return gap, alpha * conductance * share


def upgraded_u(u_w_m2k: float, added_m2k_w: float) -> float:
    """Return 1 / (1/U + R): a known transmittance with a resistance added.

    Parameters
    ----------
    u_w_m2k
        The known transmittance [W/m2K], above 0.
    added_m2k_w
        The resistance added [m2K/W].

    Raises
    ------
    PerpendError
        When the transmittance is not above 0.

    References
    ----------
    RdSAP 2012 appendix S, clause S1.1.2.

    Examples
    --------
    >>> round(upgraded_u(1 / 0.47, 1.8), 2)
    0.44
    """
    if u_w_m2k <= 0:
        raise PerpendError(f"transmittance {u_w_m2k} W/m2K: it must be above 0.")
    return 1 / (1 / u_w_m2k + added_m2k_w)


def _upper_limit(layers: Sequence[Layer], surfaces_m2k_w: float) -> float:
    """Return the upper limit: whole columns of the wall in parallel, one per combination of parts."""
    plain = surfaces_m2k_w + sum(layer.parts[0].resistance_m2k_w for layer in layers if len(layer.parts) == 1)
    groups: dict[str, tuple[tuple[float, ...], list[float]]] = {}
    for number, layer in enumerate(layers):
        if len(layer.parts) == 1:
            continue
        shares = tuple(part.share for part in layer.parts)
        key = layer.pattern or f"layer {number}"
        known_shares, sums = groups.setdefault(key, (shares, [0.0] * len(shares)))
        if known_shares != shares:
            raise PerpendError(f"layers of pattern {key!r} have different shares. Give them one pattern each.")
        for index, part in enumerate(layer.parts):
            sums[index] += part.resistance_m2k_w
    conductance = 0.0
    for column in itertools.product(*(tuple(zip(*group, strict=True)) for group in groups.values())):
        share, resistance = 1.0, plain
        for part_share, part_resistance in column:
            share *= part_share
            resistance += part_resistance
        conductance += share / resistance
    return 1 / conductance
