"""Photos of the brick outside: read once each, for the bond of the wall behind and as evidence for the report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from intake.gather import Gathered
from intake.outcomes import value_sd
from intake.results import BrickShape, BrickworkResult

if TYPE_CHECKING:
    from estimator.inputs import BondReading
    from vision.brickwork import BrickworkReading, OverlayShape

DIGITS = 1
"""Digits kept of a joint's place in a photo, pixels."""


def read_brick_faces(found: Gathered) -> dict[str, BrickworkReading]:
    """Return the reading of every photo of a brick face by file, its findings added to the folder's."""
    from vision.brickwork import read_brickwork

    readings = {}
    for name in dict.fromkeys(name for name, _ in brick_photos(found)):
        sightings = tuple(sighting for sighting in found.sightings if sighting.photo == name)
        reading = read_brickwork(
            found.colour(name), photo=name, sightings=sightings, focal_px=found.photos[name].focal_px
        )
        found.findings += reading.findings
        readings[name] = reading
    return readings


def bonds_by_wall(found: Gathered, readings: dict[str, BrickworkReading]) -> dict[str, list[BondReading]]:
    """Return the bond readings by inside wall, from the photos of its outside face."""
    from estimator.inputs import BondReading

    bonds: dict[str, list[BondReading]] = {}
    for name, wall in brick_photos(found):
        reading = readings[name]
        bonds.setdefault(wall, []).append(
            BondReading(
                photo=name,
                bond=reading.bond,
                probability=dict(reading.probability),
                course_height_mm=reading.course_height_mm,
                header_share=reading.header_share,
            )
        )
    return bonds


def brick_photos(found: Gathered) -> list[tuple[str, str]]:
    """Return photo and inside wall for every photo of a brick face: by purpose, or marked on an outside wall."""
    other_side = {wall.id: wall.other_side_of for wall in found.walls.values() if wall.side == "outside"}
    lined = [wall.id for wall in found.walls.values() if wall.side == "inside" and wall.faces == "outside"]
    pairs = []
    for name in found.photos:
        entry = found.entries.get(name)
        outside = [other_side[wall] for wall in sorted(found.marked_in(name)) if other_side.get(wall)]
        if outside:
            pairs += [(name, wall) for wall in outside if wall is not None]
        elif entry is not None and entry.purpose in ("outside", "bond"):
            pairs += [(name, wall) for wall in (set(other_side.values()) - {None} or lined) if wall is not None]
    return sorted(set(pairs))


def brickwork_result(found: Gathered, reading: BrickworkReading) -> BrickworkResult:
    """Return a reading as written to geometry.json, with the joints and bricks found, to be drawn over the photo."""
    return BrickworkResult(
        walls=[wall for name, wall in brick_photos(found) if name == reading.photo],
        bond=reading.bond,
        probability=round(float(reading.probability[reading.bond]), 4),
        courses=reading.courses_read,
        bricks=reading.bricks_read,
        course_height_mm=value_sd(reading.course_height_mm),
        stretcher_mm=value_sd(reading.stretcher_mm),
        header_share=value_sd(reading.header_share),
        shapes=[
            BrickShape(kind=shape.kind, points_px=_points(shape)) for shape in reading.overlay if shape.kind != "other"
        ],
    )


def _points(shape: OverlayShape) -> list[tuple[float, float]]:
    return [(round(float(x), DIGITS), round(float(y), DIGITS)) for x, y in shape.points_px]
