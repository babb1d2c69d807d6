"""Lengths measured more than once: what a lath tells beyond a tape reading, and the wall with all readings joined.

Where one tape reading leaves a length too near to what it decides, it is taken with two laths: slid apart until they
touch at both ends, clamped, and read lying flat. The tape is then neither bent into a corner nor hooked over plaster;
what stays is the tape's own error and the marking (common practice on site, no source).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from estimator.faces import shifted
from estimator.inputs import WallCase
from vision.walls import FloatArray, Measured, MeasuredFeature, MeasuredOpening, MeasuredWall

TAPE_SD_MM = 2.0  # what one careful tape reading is good to, unevenness where it touches included (invented default)
LATH_SD_MM = 0.8  # marking, touching and reading a pair of laths, the tape's own error apart (invented default)
CLASS_II_MM, CLASS_II_MM_PER_M = 0.3, 0.2  # a class II tape's limit of error, metres begun (2014/32/EU, annex X)
AT_ONCE = 3  # lath readings asked for together, each at another place (invented default)
MOST = 6  # lath readings of one length; by then what is left is the tape's own error (invented default)
PARTS = {
    "width_mm": ("width_bottom_mm", "width_top_mm"),
    "height_mm": ("height_left_mm", "height_right_mm"),
}
"""A size between two others, which takes its place in the joint covariance where it has no row of its own."""
T = TypeVar("T", MeasuredOpening, MeasuredFeature)


def taped_before(case: WallCase, key: str) -> bool:
    """Return whether a length has been read with a tape."""
    return key in case.declared.taped or any(
        key == f"openings.{o.id}.{name}" for o in case.declared.openings for name in o.taped
    )


def tape_error_sd_mm(length_mm: float) -> float:
    """Return the standard uncertainty that a class II tape brings to every reading of a length [mm].

    Its limit of error is taken as a rectangular distribution (JCGM 100, 4.3.7).
    """
    return (CLASS_II_MM + CLASS_II_MM_PER_M * math.ceil(abs(length_mm) / 1000)) / math.sqrt(3)


def readings_wanted(case: WallCase, key: str, size: Measured) -> int:
    """Return how many more readings of a length could tell something: one by tape, then several by laths, then none.

    Parameters
    ----------
    case
        The wall.
    key
        The length.
    size
        What is known of it.
    """
    if size.sd <= tape_error_sd_mm(size.value):
        return 0
    return min(AT_ONCE, MOST - len(case.more_readings.get(key, ()))) if taped_before(case, key) else 1


def news_sd_mm(case: WallCase, key: str, length_mm: float, further: int) -> float:
    """Return the standard uncertainty of the mean of ``further`` readings as news beside those taken before [mm].

    Notes
    -----
    One tape reading and k lath readings with one tape have the variance s² + 1 / (1/a² + k/b²): s is the tape's own
    error, which all of them share, a and b are what is left of a tape reading and of a lath reading. What further
    readings add is the difference of the inverses of that before and after them.
    """
    if not taped_before(case, key):
        return TAPE_SD_MM
    before = len(case.more_readings.get(key, ()))
    shared = tape_error_sd_mm(length_mm) ** 2

    def variance(laths: int) -> float:
        return shared + 1 / (1 / (TAPE_SD_MM**2 - shared) + laths / LATH_SD_MM**2)

    return float((1 / variance(before + further) - 1 / variance(before)) ** -0.5)


def with_more_readings(case: WallCase) -> WallCase:
    """Return the wall with its lath readings joined to its sizes; the sizes that hang together move along.

    Notes
    -----
    The tape reading of a length is among what the photos were solved with. The mean of the lath readings is one more
    observation of it, joined by Kalman's update. A reading of a length that the wall does not have is left aside.
    """
    measured, none_yet = case.measured, replace(case, more_readings={})
    for key, readings in case.more_readings.items():
        if readings:
            mean = sum(readings) / len(readings)
            measured = _joined(measured, key, mean, news_sd_mm(none_yet, key, mean, len(readings)))
    return replace(case, measured=measured)


def _joined(measured: MeasuredWall, key: str, reading: float, sd: float) -> MeasuredWall:
    now = size_named(measured, key)
    if now is None:
        return measured
    row = _row(measured, key)
    if measured.covariance_mm2 is None or not row.any():
        gain = now.sd**2 / (now.sd**2 + sd**2)
        moved = shifted(measured, {key: gain * (reading - now.value)})
        return _with_sd(moved, dict.fromkeys((key, *PARTS.get(key, ())), now.sd * math.sqrt(1 - gain)))
    joint = np.asarray(measured.covariance_mm2, dtype=float)
    gains = joint @ row / (row @ joint @ row + sd**2)
    moved = shifted(measured, dict(zip(measured.keys, (gains * (reading - now.value)).tolist(), strict=True)))
    joint = joint - np.outer(gains, row @ joint)
    rows = {name: _row(measured, name) for name in (*measured.keys, *PARTS)}
    sds = {name: math.sqrt(max(0.0, float(r @ joint @ r))) for name, r in rows.items() if r.any()}
    for whole, parts in PARTS.items():  # parts without a row of their own move with the whole
        sds |= {part: sds[whole] for part in parts if whole in measured.keys and part not in measured.keys}
    return replace(_with_sd(moved, sds), covariance_mm2=joint)


def size_named(wall: MeasuredWall, key: str) -> Measured | None:
    """Return the size that a result key names, or None where the wall has none such."""
    found: object = None
    kind, _, rest = key.partition(".")
    if kind in ("openings", "features"):
        thing, _, name = rest.rpartition(".")
        found = next((getattr(o, name, None) for o in getattr(wall, kind) if o.id == thing), None)
    elif not rest:
        found = getattr(wall, key, None)
    return found if isinstance(found, Measured) else None


def _row(wall: MeasuredWall, key: str) -> FloatArray:
    """Return how a size is made of the rows of the joint covariance."""
    row = np.zeros(len(wall.keys))
    names = [p for p in PARTS.get(key, ()) if p in wall.keys] if key not in wall.keys else [key]
    for name in names:
        if name in wall.keys:
            row[wall.keys.index(name)] = 1 / len(names)
    return row


def _with_sd(wall: MeasuredWall, sds: Mapping[str, float]) -> MeasuredWall:
    sizes: dict[str, Any] = {
        name: _known(wall, name, sds) for name in (*PARTS, *(p for parts in PARTS.values() for p in parts))
    }
    openings = tuple(_thing_with_sd(o, f"openings.{o.id}.", sds) for o in wall.openings)
    features = tuple(_thing_with_sd(f, f"features.{f.id}.", sds) for f in wall.features)
    return replace(wall, openings=openings, features=features, **sizes)


def _known(wall: MeasuredWall, name: str, sds: Mapping[str, float]) -> Measured | None:
    size: Measured | None = getattr(wall, name)
    return size if size is None or name not in sds else Measured(value=size.value, sd=sds[name])


def _thing_with_sd(thing: T, prefix: str, sds: Mapping[str, float]) -> T:
    changes: dict[str, Any] = {}
    for key, sd in sds.items():
        size = getattr(thing, key.removeprefix(prefix), None) if key.startswith(prefix) else None
        if isinstance(size, Measured):
            changes[key.removeprefix(prefix)] = Measured(value=size.value, sd=sd)
    return replace(thing, **changes) if changes else thing
