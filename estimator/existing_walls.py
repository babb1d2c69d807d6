"""The wall before lining: its layers, its calculated transmittance, and what such walls came to in the field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from estimator.inputs import WallCase
from estimator.layers import Layer, air_layer, sheet_layer, solid_layer
from estimator.materials import surface_resistance
from estimator.tables import Row, read_table
from estimator.transmittance import thermal_transmittance
from vision.walls import Measured

TAPED_SD_MM = 2.0  # invented default: standard uncertainty of a thickness read with a rule
LEAST_PROBABILITY = 0.05  # invented default: a construction less likely than this does not widen the range


class JudgedConstruction(Protocol):
    """What this module needs to know of a judged construction."""

    @property
    def verdict(self) -> str:
        """Return the verdict, ``unknown`` when undecided."""

    @property
    def probability(self) -> Mapping[str, float]:
        """Return the probability of each construction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A range from ``low`` to ``high``, in the unit of the name that holds it."""

    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Valued:
    """A best value with the range it may lie in, in the unit of the name that holds it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ExistingWall:
    """A wall before lining.

    ``layers`` run from outside to inside. ``calculated`` and ``measured`` are transmittances [W/m2K]: by EN ISO 6946
    from the layers, and as measured on walls of the kind. ``share`` is its probability among the candidates and
    ``outside_m2k_w`` the surface resistance of its outer face.
    """

    key: str
    name: str
    layers: tuple[Layer, ...]
    calculated: Valued
    measured: Valued
    share: float
    outside_m2k_w: float
    thickness_known: bool
    source: str


def wall_thickness(case: WallCase) -> Measured | None:
    """Return the whole thickness [mm] of the wall of ``case``: taped, or the surest of its openings, or None."""
    if "thickness_mm" in case.declared.taped:
        return Measured(value=float(case.declared.taped["thickness_mm"]), sd=TAPED_SD_MM)
    known = [o.thickness_mm for o in case.measured.openings if o.thickness_mm is not None]
    return min(known, key=lambda m: m.sd, default=None)


def candidate_walls(
    construction: JudgedConstruction | None,
    *,
    thickness_mm: Measured | None = None,
    outside_finish: str = "",
    sheltered: bool = False,
) -> tuple[ExistingWall, ...]:
    """Return the constructions that the wall may have, the likeliest first.

    Parameters
    ----------
    construction
        The judgement, or None when there is none; a decided verdict gives one candidate.
    thickness_mm
        The wall's whole thickness [mm], where it was measured or taped.
    outside_finish
        ``paint`` or ``tile`` where the outer face is painted or tiled; other words change nothing.
    sheltered
        Whether the outer face looks into an unheated space.
    """
    walls = [
        existing_wall(key, share=share, thickness_mm=thickness_mm, sheltered=sheltered)
        for key, share in _weighted_keys(construction)
    ]
    sheet = f"outside_{outside_finish.strip().lower()}"
    if sheet not in read_table("vapour_sheets").rows:
        return tuple(walls)
    return tuple(replace(wall, layers=(sheet_layer(sheet), *wall.layers)) for wall in walls)


def existing_wall(
    key: str, *, share: float = 1.0, thickness_mm: Measured | None = None, sheltered: bool = False
) -> ExistingWall:
    """Return the wall of the construction ``key`` with the measured thickness fitted in where it is credible.

    Parameters
    ----------
    key
        A row of the table of existing walls.
    share
        Its probability among the candidates (0 to 1).
    thickness_mm
        The whole thickness measured [mm], render left out.
    sheltered
        Whether the outer face looks into an unheated space.

    Raises
    ------
    PerpendError
        When there is no such construction.
    """
    row = read_table("existing_walls").row(key)
    build_up, fitted = _fit_thickness(row, thickness_mm)
    layers = _layers(build_up)
    variants = [layers]
    if "other_layers" in row:
        variants.append(_layers(row["other_layers"]))
    if fitted and thickness_mm is not None:
        for edge in (thickness_mm.value - 2 * thickness_mm.sd, thickness_mm.value + 2 * thickness_mm.sd):
            variants.append(_layers(_fit_thickness(row, Measured(value=edge, sd=0.0))[0]))
    outside = surface_resistance("outside_sheltered" if sheltered else "outside")
    values = [thermal_transmittance(variant, outside_m2k_w=outside).u_w_m2k for variant in variants]
    value, low, high = row["measured"]
    return ExistingWall(
        key=key,
        name=row["name"],
        layers=layers,
        calculated=Valued(value=values[0], low=min(values), high=max(values)),
        measured=Valued(value=value, low=low, high=high),
        share=share,
        outside_m2k_w=outside,
        thickness_known=fitted,
        source=row["source"],
    )


def over_candidates(candidates: Sequence[ExistingWall], *, measured: bool) -> Valued:
    """Return the likeliest candidate's transmittance with the range over all candidates [W/m2K].

    Parameters
    ----------
    candidates
        The likeliest first.
    measured
        Whether to take the values measured in the field, or the calculated ones.
    """
    values = [c.measured if measured else c.calculated for c in candidates]
    return Valued(value=values[0].value, low=min(v.low for v in values), high=max(v.high for v in values))


def _weighted_keys(construction: JudgedConstruction | None) -> list[tuple[str, float]]:
    known = read_table("existing_walls").rows
    if construction is None:
        return [("solid_brick", 0.5), ("cavity_empty", 0.5)]  # invented default: the two that lining turns on
    if construction.verdict in known:
        return [(construction.verdict, float(construction.probability.get(construction.verdict, 1.0)))]
    likely = [(k, float(p)) for k, p in construction.probability.items() if k in known and p >= LEAST_PROBABILITY]
    if not likely:
        return _weighted_keys(None)
    return sorted(likely, key=lambda pair: (-pair[1], pair[0]))


def _fit_thickness(row: Row, thickness_mm: Measured | None) -> tuple[list[tuple[str, float]], bool]:
    build_up = [(str(name), float(mm)) for name, mm in row["layers"]]
    if thickness_mm is None:
        return build_up, False
    index = int(row["fitted"])
    rest = sum(mm for number, (_, mm) in enumerate(build_up) if number != index)
    low, high = row["fitted_mm"]
    wanted = thickness_mm.value - rest
    if not low <= wanted <= high:
        return build_up, False
    build_up[index] = (build_up[index][0], wanted)
    return build_up, True


def _layers(build_up: Sequence[Sequence[object]]) -> tuple[Layer, ...]:
    return tuple(
        air_layer(float(str(mm))) if name == "air" else solid_layer(str(name), float(str(mm))) for name, mm in build_up
    )
