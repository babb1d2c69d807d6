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
MOST = 9  # lath readings of one length; by then what is left is the tape's own error (invented default)
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
    The tape reading of a length is among what the photos were solved with. The mean of a length's lath readings is one
    more observation of it, joined by Kalman's update. What the tape itself is out by, a part of its limit of error, is
    one more unknown in all of them, so that a difference of two lengths is known better than either. A reading of a
    length that the wall does not have is left aside.
    """
    wall = case.measured
    read = {k: r for k, r in case.more_readings.items() if r and size_named(wall, k) is not None}
    if not read:
        return case
    joint = np.zeros((0, 0)) if wall.covariance_mm2 is None else np.asarray(wall.covariance_mm2, dtype=float)
    keys = () if wall.covariance_mm2 is None else wall.keys
    alone = tuple(k for k in read if not _row(keys, k).any())
    state = (*keys, *alone)
    sizes = {k: _size(wall, k) for k in read}
    prior = np.zeros((len(state) + 1, len(state) + 1))
    prior[: len(keys), : len(keys)] = joint
    for n, key in enumerate(alone, start=len(keys)):
        prior[n, n] = sizes[key].sd ** 2
    prior[-1, -1] = 1.0
    seen = np.array([[*_row(state, k), tape_error_sd_mm(sizes[k].value)] for k in read])
    noise = np.diag([LATH_SD_MM**2 / len(r) for r in read.values()])
    news = np.array([sum(r) / len(r) - sizes[k].value for k, r in read.items()])
    gains = np.linalg.solve(seen @ prior @ seen.T + noise, seen @ prior).T
    after = prior - gains @ seen @ prior
    moved = shifted(wall, dict(zip(state, (gains @ news)[:-1].tolist(), strict=True)))
    known = _with_sd(moved, _sds(state, after[:-1, :-1]))
    return replace(case, measured=replace(known, covariance_mm2=after[: len(keys), : len(keys)]) if keys else known)


def _sds(keys: tuple[str, ...], joint: FloatArray) -> dict[str, float]:
    """Return the standard uncertainties of the sizes of a wall that hang on ``keys``."""
    rows = {name: _row(keys, name) for name in (*keys, *PARTS)}
    sds = {name: math.sqrt(max(0.0, float(r @ joint @ r))) for name, r in rows.items() if r.any()}
    for whole, parts in PARTS.items():  # parts without a row of their own move with the whole
        sds |= {part: sds[whole] for part in parts if whole in keys and part not in keys}
    return sds


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


def _size(wall: MeasuredWall, key: str) -> Measured:
    size = size_named(wall, key)
    assert size is not None  # asked only for sizes that the wall has
    return size


def _row(keys: tuple[str, ...], key: str) -> FloatArray:
    """Return how a size is made of those that ``keys`` name."""
    row = np.zeros(len(keys))
    names = [key] if key in keys else [p for p in PARTS.get(key, ()) if p in keys]
    for name in names:
        row[keys.index(name)] = 1 / len(names)
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
