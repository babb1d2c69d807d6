"""Surveys with a known truth for the tape list: walls as they are, and as photos would measure them."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from estimator.faces import Face, shifted
from estimator.inputs import Room, Site, WallCase
from estimator.more_readings import LATH_SD_MM, TAPE_SD_MM
from tests.random_rooms import random_room
from vision.walls import DeclaredWall, Measured, MeasuredOpening, MeasuredWall

WALL_SD_MM = (3.0, 9.0)
OPENING_SD_MM = (2.0, 5.0)
CLASS_II_MM = (0.3, 0.2)  # a class II tape's limit of error: 0.3 mm and 0.2 mm a metre begun (2014/32/EU, annex X)


def true_wall(face: Face) -> MeasuredWall:
    """Return a wall record of a face with its true sizes, all certain."""

    def exact(value: float) -> Measured:
        return Measured(value=float(value), sd=0.0)

    mean = (face.height_left + face.height_right) / 2
    area = exact(face.net_area_m2)
    openings = tuple(
        MeasuredOpening(
            id=g.id, kind=g.kind, width_mm=exact(g.right - g.left), height_mm=exact(g.top - g.bottom),
            left_mm=exact(g.left), sill_mm=exact(g.bottom), reveal_depth_mm=exact(140), visible_frame_mm=60.0,
        )
        for g in face.gaps
    )  # fmt: skip
    return MeasuredWall(
        id=face.wall, width_mm=exact(face.width), width_bottom_mm=exact(face.width), width_top_mm=exact(face.width),
        height_mm=exact(mean), height_left_mm=exact(face.height_left), height_right_mm=exact(face.height_right),
        gross_area_m2=area, net_area_m2=area, openings=openings,
    )  # fmt: skip


def sizes_of(wall: MeasuredWall) -> dict[str, float]:
    """Return the sizes of a wall that boards depend on, by key."""
    found = {k: getattr(wall, k).value for k in ("width_mm", "height_mm")}
    for o in wall.openings:
        for name in ("width_mm", "height_mm", "left_mm", "sill_mm"):
            found[f"openings.{o.id}.{name}"] = getattr(o, name).value
    return found


def as_measured(wall: MeasuredWall, rng: random.Random) -> MeasuredWall:
    """Return the wall as photos would measure it: one scale error for all of it, and an error of each size's own."""
    sizes = sizes_of(wall)
    keys = tuple(sizes)
    scale = rng.uniform(0.0005, 0.0015)
    own = np.array([rng.uniform(*(OPENING_SD_MM if k.startswith("openings.") else WALL_SD_MM)) * 0.7 for k in keys])
    values = np.array([sizes[k] for k in keys])
    covariance = np.outer(values, values) * scale**2 + np.diag(own**2)
    errors = np.random.default_rng(rng.randrange(2**32)).multivariate_normal(np.zeros(len(keys)), covariance)
    moved = shifted(wall, dict(zip(keys, errors.tolist(), strict=True)))
    return with_covariance(moved, keys, covariance)


def with_covariance(wall: MeasuredWall, keys: tuple[str, ...], covariance: np.ndarray) -> MeasuredWall:
    """Return the wall with this joint covariance, and each size's own uncertainty set from it."""
    sd = dict(zip(keys, np.sqrt(np.diag(covariance)).tolist(), strict=True))

    def known(size: Measured | None, key: str) -> Measured | None:
        return None if size is None else Measured(value=size.value, sd=sd.get(key, size.sd))

    openings = []
    for o in wall.openings:
        names = ("width_mm", "height_mm", "left_mm", "sill_mm")
        known_sizes: dict[str, Any] = {n: known(getattr(o, n), f"openings.{o.id}.{n}") for n in names}
        openings.append(replace(o, **known_sizes))
    sizes: dict[str, Any] = {side: known(getattr(wall, side), key) for side, key in _SIDES.items()}
    return replace(wall, openings=tuple(openings), keys=keys, covariance_mm2=covariance, **sizes)


_SIDES = {
    "width_mm": "width_mm", "width_bottom_mm": "width_mm", "width_top_mm": "width_mm",
    "height_mm": "height_mm", "height_left_mm": "height_mm", "height_right_mm": "height_mm",
}  # fmt: skip


def read_by(truth: MeasuredWall, key: str, tape: float, rng: random.Random, *, laths: bool) -> float:
    """Return one reading of a size by tape, 2 mm off in the mean square, or by laths and the same tape.

    ``tape`` is the tape's own error in parts of its limit: the same in every reading, however often one reads.
    """
    true = sizes_of(truth)[key]
    limit = CLASS_II_MM[0] + CLASS_II_MM[1] * math.ceil(abs(true) / 1000)
    return true + tape * limit + rng.gauss(0.0, LATH_SD_MM if laths else math.sqrt(TAPE_SD_MM**2 - limit**2 / 3))


def after_taping(measured: MeasuredWall, readings: Mapping[str, float]) -> MeasuredWall:
    """Return the measured wall once some of its sizes have been read with a tape, the others moving along."""
    assert measured.covariance_mm2 is not None
    covariance = np.asarray(measured.covariance_mm2, dtype=float)
    now = sizes_of(measured)
    shift = np.zeros(len(measured.keys))
    for key, reading in readings.items():
        n = measured.keys.index(key)
        gain = covariance[:, n] / (covariance[n, n] + TAPE_SD_MM**2)
        shift = shift + gain * (reading - now[key] - shift[n])
        covariance = covariance - np.outer(gain, covariance[n])
    moved = shifted(measured, dict(zip(measured.keys, shift.tolist(), strict=True)))
    return with_covariance(moved, measured.keys, covariance)


def case_of(wall: MeasuredWall, *, taped: Mapping[str, float] | None = None) -> WallCase:
    """Return a wall case with plain answers; ``taped`` says that a tape has been used."""
    declared = DeclaredWall(id=wall.id, room="r", built=1900, taped=dict(taped or {}))
    return WallCase(measured=wall, declared=declared, site=Site(region="midlands", extra={"plaster_mm": 15.0}))


def survey(rng: random.Random, name: str, *, most_walls: int = 3) -> tuple[Room, list[MeasuredWall]]:
    """Return a room and its walls as they truly are."""
    room = random_room(rng, name, most_walls=most_walls)
    shift = rng.randint(-20, 60)  # ceilings are as they come, not at a board's length
    faces = [replace(f, height_left=f.height_left + shift, height_right=f.height_right + shift) for f in room.faces]
    faces = [f for f in faces if all(g.top < min(f.height_left, f.height_right) for g in f.gaps)]
    if not faces:
        return survey(rng, name, most_walls=most_walls)
    return Room(id=name, walls=tuple(f.wall for f in faces)), [true_wall(f) for f in faces]
