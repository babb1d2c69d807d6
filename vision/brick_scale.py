"""How large the bricks of a face are: course height and brick lengths, in pixels and in millimetres."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.bond_lattice import (
    HEADER,
    STRETCHER,
)
from vision.brick_courses import (
    bed_row,
    bed_steps,
)
from vision.brick_pattern import Pattern
from vision.walls import FloatArray, Measured, Sighting


def brick_lengths(pattern: Pattern) -> tuple[Measured | None, Measured | None]:
    """Return stretcher and header length with one joint, px of the face, from the middle of the bricks read."""
    found: list[Measured | None] = []
    for wanted in (STRETCHER, HEADER):
        lengths = np.array(
            [
                row.ends_px[i + 1] - row.ends_px[i]
                for row in pattern.rows
                for i, kind in enumerate(row.kinds)
                if kind == wanted and row.whole[i]
            ]
        )
        if len(lengths) < 4:
            found.append(None)
            continue
        spread = max(float(np.std(lengths)), 0.5)
        found.append(Measured(value=float(np.mean(lengths)), sd=spread / float(np.sqrt(len(lengths)))))
    return found[0], found[1]


def course_px(pattern: Pattern) -> float:
    """Return the course height in the middle of the reading, px of the photo."""
    beds = pattern.courses.bed_y
    middle, column = len(beds) // 2, beds.shape[1] // 2
    ends = np.array([[column, beds[middle - 1, column], 1.0], [column, beds[middle, column], 1.0]])
    q = ends @ pattern.face.photo_from_face.T
    px = q[:, :2] / q[:, 2:]
    return float(np.hypot(*(px[1] - px[0])))


def find_scale(
    pattern: Pattern, sightings: Sequence[Sighting], *, turned: bool, width: int
) -> tuple[Measured, Measured] | None:
    """Return millimetres a pixel along the courses, and the course height in mm, from the references in the photo.

    The course height is taken at the reference, where the face's pixels and the reference's millimetres meet, so that
    what is left of the slope of the face does not matter.
    """
    along, height, weight = 0.0, 0.0, 0.0
    for sighting in sightings:
        points = turn_points(sighting.points_px, width) if turned else sighting.points_px
        q = np.column_stack([points, np.ones(len(points))]) @ np.linalg.inv(pattern.face.photo_from_face).T
        face = q[:, :2] / q[:, 2:]
        model = np.asarray(sighting.model_mm, dtype=float)
        if len(model) < 3 or np.ptp(model, axis=0).min() < 10:
            continue
        k, x = course_number(pattern, face.mean(axis=0))
        down, slope = bed_steps(pattern.courses.scale_at, k, x)
        columns = np.column_stack([face - face.mean(axis=0), np.ones(len(face))])
        affine = np.linalg.lstsq(columns, model, rcond=None)[0]
        residual = model - columns @ affine
        bed = affine[0] + slope / pattern.courses.bed_y.shape[1] * affine[1]
        across = float(np.linalg.norm(bed))
        course = down * affine[1]
        square = abs(float(bed[0] * course[1] - bed[1] * course[0])) / across
        print_scale = sighting.print_scale.value if sighting.print_scale is not None else 1.0
        w = float(np.ptp(model)) ** 2 / max(float((residual**2).mean()), 0.01)
        along += w * across * print_scale
        height += w * square * print_scale
        weight += w
    if weight <= 0:
        return None
    along, height = along / weight, height / weight
    relative = float(np.hypot(0.002, pattern.courses.pitch_sd_px / pattern.courses.pitch_px))
    relative = float(np.hypot(relative, 1.0 / np.sqrt(weight)))
    return Measured(value=along, sd=along * relative), Measured(value=height, sd=height * relative)


def course_number(pattern: Pattern, at: FloatArray) -> tuple[float, float]:
    """Return the bed joint number and the column share at a place of the face."""
    surface = pattern.courses.scale_at
    x = float(at[0] / pattern.courses.bed_y.shape[1])
    k = 0.0
    for _ in range(20):
        k += (float(at[1]) - float(bed_row(surface, k, x))) / bed_steps(surface, k, x)[0]
    return k, x


def turn_points(points: FloatArray, width: int) -> FloatArray:
    """Return where points (n, 2) of a picture of that width lie in the picture turned by a quarter."""
    return np.column_stack([points[:, 1], width - 1 - points[:, 0]])
