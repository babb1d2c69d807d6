"""Layers of a wall from outside to inside: solid, bridged, air, and thin vapour sheets."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from estimator.materials import Material, material, sheet_sd_m
from vision.findings import PerpendError

STEFAN_BOLTZMANN_W_M2K4 = 5.670374419e-8  # CODATA 2018
MAX_STEP_RESISTANCE_M2K_W = 0.25  # EN ISO 13788:2012 clause 6.4.2 (from memory): no step of the wall above this


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A share of a layer's area (0 to 1) with its thermal resistance [m2K/W] over the layer's thickness."""

    name: str
    share: float
    resistance_m2k_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer: its parts side by side and its vapour-diffusion-equivalent air layer thickness [m].

    Layers with the same ``pattern`` have their parts in line behind one another (two halves of one stud layer);
    layers of different patterns cross at random, as EN ISO 6946 takes them.
    """

    name: str
    thickness_mm: float
    parts: tuple[Part, ...]
    sd_m: float = 0.0
    pattern: str | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.thickness_mm) and self.thickness_mm >= 0):
            raise PerpendError(f"layer {self.name!r}: the thickness is {self.thickness_mm} mm. Give 0 or more.")
        if not self.parts or abs(sum(p.share for p in self.parts) - 1) > 1e-9:
            raise PerpendError(f"layer {self.name!r}: the shares of its parts do not add up to 1. Mend the shares.")
        if any(p.share < 0 or not p.resistance_m2k_w >= 0 for p in self.parts):
            raise PerpendError(f"layer {self.name!r}: a share or resistance is below 0. Mend it.")

    @property
    def resistance_m2k_w(self) -> float:
        """Return the layer's own resistance, its parts in parallel."""
        if any(p.resistance_m2k_w == 0 for p in self.parts):
            return 0.0
        return 1 / sum(p.share / p.resistance_m2k_w for p in self.parts)


def solid_layer(
    key: str | Material, thickness_mm: float, *, bridge: str | Material | None = None, bridge_share: float = 0.0
) -> Layer:
    """Return a layer of one material, or of one bridged by another.

    Parameters
    ----------
    key
        The material, or its row in the table of materials.
    thickness_mm
        Thickness [mm].
    bridge, bridge_share
        The material that bridges the layer (mortar, timber, dabs) and its share of the area (0 to 1).
    """
    main = material(key) if isinstance(key, str) else key
    return resistive_layer(
        main.name,
        thickness_mm,
        thickness_mm / 1000 / main.conductivity_w_mk,
        sd_m=thickness_mm / 1000 * main.vapour_factor,
        bridge=bridge,
        bridge_share=bridge_share,
    )


def resistive_layer(
    name: str,
    thickness_mm: float,
    resistance_m2k_w: float,
    *,
    sd_m: float = 0.0,
    bridge: str | Material | None = None,
    bridge_share: float = 0.0,
) -> Layer:
    """Return a layer of known resistance, bridged or not.

    Parameters
    ----------
    name, thickness_mm, resistance_m2k_w
        What it is, its thickness [mm], and its resistance between the bridges [m2K/W].
    sd_m
        Vapour-diffusion-equivalent air layer thickness [m].
    bridge, bridge_share
        The material that bridges the layer and its share of the area (0 to 1).
    """
    parts = [Part(name=name, share=1 - bridge_share, resistance_m2k_w=resistance_m2k_w)]
    if bridge is not None and bridge_share > 0:
        other = material(bridge) if isinstance(bridge, str) else bridge
        parts.append(
            Part(name=other.name, share=bridge_share, resistance_m2k_w=thickness_mm / 1000 / other.conductivity_w_mk)
        )
    return Layer(name=name, thickness_mm=thickness_mm, parts=tuple(parts), sd_m=sd_m)


def air_resistance(
    gap_mm: float, *, emissivity_1: float = 0.9, emissivity_2: float = 0.9, mean_temperature_c: float = 10.0
) -> float:
    """Return the resistance [m2K/W] of an unventilated air layer with horizontal heat flow.

    Parameters
    ----------
    gap_mm
        Width of the gap [mm], above 0 and up to 300.
    emissivity_1, emissivity_2
        Emissivities of the two faces [-], above 0 and up to 1.
    mean_temperature_c
        Mean temperature of the layer [deg C].

    Raises
    ------
    PerpendError
        When the gap or an emissivity lies outside its range.

    References
    ----------
    EN ISO 6946:2017 annex D: R = 1 / (ha + hr), ha the larger of 1.25 and 0.025/d, hr = E 4 sigma T^3.
    """
    if not 0 < gap_mm <= 300:
        raise PerpendError(f"air layer: the gap is {gap_mm} mm. The formula holds above 0 and up to 300 mm.")
    if not (0 < emissivity_1 <= 1 and 0 < emissivity_2 <= 1):
        raise PerpendError(f"air layer: emissivities {emissivity_1}, {emissivity_2}. Give values above 0, up to 1.")
    convection = max(1.25, 0.025 / (gap_mm / 1000))
    exchange = 1 / (1 / emissivity_1 + 1 / emissivity_2 - 1)
    radiation = exchange * 4 * STEFAN_BOLTZMANN_W_M2K4 * (mean_temperature_c + 273.15) ** 3
    return 1 / (convection + radiation)


def air_layer(
    gap_mm: float,
    *,
    emissivity_1: float = 0.9,
    emissivity_2: float = 0.9,
    bridge: str | None = None,
    bridge_share: float = 0.0,
) -> Layer:
    """Return an unventilated air layer, bridged by dabs or battens or not; vapour sd 0.01 m (EN ISO 13788).

    Parameters
    ----------
    gap_mm, emissivity_1, emissivity_2
        As for :func:`air_resistance`.
    bridge, bridge_share
        A row of the table of materials and its share of the area (0 to 1).
    """
    return resistive_layer(
        "air gap",
        gap_mm,
        air_resistance(gap_mm, emissivity_1=emissivity_1, emissivity_2=emissivity_2),
        sd_m=sheet_sd_m("air_gap"),
        bridge=bridge,
        bridge_share=bridge_share,
    )


def sheet_layer(key: str) -> Layer:
    """Return a thin sheet, facing or paint: no thickness and no resistance, only its vapour sd.

    Parameters
    ----------
    key
        A row of the table of vapour sheets.
    """
    return Layer(
        name=key.replace("_", " "),
        thickness_mm=0.0,
        parts=(Part(name=key, share=1.0, resistance_m2k_w=0.0),),
        sd_m=sheet_sd_m(key),
    )


def split_layer(layer: Layer, count: int) -> tuple[Layer, ...]:
    """Return ``count`` equal slices of a layer, in line behind one another.

    A layer without a ``pattern`` gets one from its name and thickness; give two like layers patterns of their own
    before both are split.
    """
    if count < 1:
        raise PerpendError(f"layer {layer.name!r}: cannot be split into {count}. Give 1 or more.")
    slice_ = replace(
        layer,
        thickness_mm=layer.thickness_mm / count,
        sd_m=layer.sd_m / count,
        pattern=layer.pattern or f"{layer.name}, {layer.thickness_mm:g} mm",
        parts=tuple(replace(p, resistance_m2k_w=p.resistance_m2k_w / count) for p in layer.parts),
    )
    return (slice_,) * count


def thickness_mm(layers: Iterable[Layer]) -> float:
    """Return the total thickness [mm] of ``layers``."""
    return sum(layer.thickness_mm for layer in layers)
