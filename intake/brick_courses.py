"""Courses of brick as a thing of known size: what scales an outside photo in which nothing else is known.

Bricks and joints differ from place to place and from decade to decade, so that the scale is a loose one; a reveal of
100 mm is only 2 or 3 mm the worse for it, a wall's length would be useless.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vision.walls import DeclaredReference, FloatArray, Measured, Sighting

if TYPE_CHECKING:
    from vision.brickwork import BrickworkReading, OverlayShape

COURSE_MM = Measured(value=75.5, sd=3.5)
"""Height of a course with its joint: 75 mm (215 x 102.5 x 65 bricks with 10 mm joints), about 76 mm (three inches)
before, 80 mm and more in the north; from memory, the spread is a judgement."""
STRETCHER_MM = Measured(value=226.0, sd=6.0)
"""Length of a stretcher with its joint: 225 mm, or nine inches (229 mm); from memory, the spread is a judgement."""
CORNER_SD_PX = 3.0
"""Of a corner of the block of courses: beds and perpends are read to a pixel or two, the lens is not allowed for."""
FEWEST_COURSES, FEWEST_BRICKS = 6, 8


def brick_courses(reading: BrickworkReading, *, wall: str) -> tuple[DeclaredReference, Sighting] | None:
    """Return the block of courses that one photo shows as a reference with a loose size, or None where too few show.

    Parameters
    ----------
    reading
        Of the photo.
    wall
        The outside wall that the bricks are of.
    """
    beds = [shape for shape in reading.overlay if shape.kind == "bed"]
    bricks = [shape for shape in reading.overlay if shape.kind in ("stretcher", "header")]
    if reading.turned or reading.courses_read < FEWEST_COURSES or len(bricks) < FEWEST_BRICKS:
        return None
    photo_from_grid = _photo_from_grid(beds)
    grid_from_photo = np.asarray(np.linalg.inv(photo_from_grid), dtype=np.float64)
    placed = [(brick, _moved(grid_from_photo, brick.points_px)) for brick in bricks]
    step, ratio = _stretcher_steps(placed), _stretcher_courses(reading)
    if step is None or ratio is None:
        return None
    course = _course_mm(ratio)
    low, high = _block([points for _, points in placed])
    size = (high - low) * np.array([ratio.value * course.value / step, course.value])
    name, share = f"brick courses in {reading.photo}", course.sd / course.value
    square = np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]])
    corners = _moved(photo_from_grid, low + (high - low) * (square * [1, -1] + 0.5))
    reference = DeclaredReference(
        id=name,
        kind="rectangle",
        wall=wall,
        width_mm=Measured(value=float(size[0]), sd=float(size[0]) * share),
        height_mm=Measured(value=float(size[1]), sd=float(size[1]) * share),
    )
    sighting = Sighting(
        reference=name,
        kind="rectangle",
        photo=reading.photo,
        model_mm=square * size,
        points_px=corners,
        sd_px=np.full(4, CORNER_SD_PX),
        bloom_px=np.zeros((4, 2)),
        corners_px=corners,
    )
    return reference, sighting


def _photo_from_grid(beds: list[OverlayShape]) -> FloatArray:
    """Return the homography (3, 3) from (place along the bed, number of the bed from the top) to the photo."""
    import cv2

    grid = [[float(m), float(k)] for k, bed in enumerate(beds) for m in range(len(bed.points_px))]
    pixels = np.concatenate([np.asarray(bed.points_px, dtype=np.float64) for bed in beds])
    return np.asarray(cv2.findHomography(np.array(grid), pixels, 0)[0], dtype=np.float64)


def _moved(homography: FloatArray, points: FloatArray) -> FloatArray:
    moved = np.column_stack([points, np.ones(len(points))]) @ homography.T
    result: FloatArray = moved[:, :2] / moved[:, 2:]
    return result


def _stretcher_steps(placed: list[tuple[OverlayShape, FloatArray]]) -> float | None:
    """Return the length of a stretcher with its joint in steps along the bed; twice a header's where none shows."""
    widths: dict[str, list[float]] = {"stretcher": [], "header": []}
    for brick, points in placed:
        widths[brick.kind].append(float(np.mean(points[[1, 2], 0] - points[[0, 3], 0])))
    for kind, times in (("stretcher", 1.0), ("header", 2.0)):
        if len(widths[kind]) >= FEWEST_BRICKS // 2:
            return times * float(np.median(widths[kind]))
    return None


def _stretcher_courses(reading: BrickworkReading) -> Measured | None:
    if reading.stretcher_courses is not None:
        return reading.stretcher_courses
    half = reading.header_courses
    return None if half is None else Measured(value=2 * half.value, sd=2 * half.sd)


def _course_mm(ratio: Measured) -> Measured:
    """Return the height of a course from what courses and stretchers usually are, the ratio of the two being seen."""
    by_length = STRETCHER_MM.value / ratio.value
    by_length_sd = by_length * float(np.hypot(STRETCHER_MM.sd / STRETCHER_MM.value, ratio.sd / ratio.value))
    weights = np.array([COURSE_MM.sd**-2, by_length_sd**-2])
    value = float(weights @ np.array([COURSE_MM.value, by_length]) / weights.sum())
    apart = abs(by_length - COURSE_MM.value) / float(np.hypot(by_length_sd, COURSE_MM.sd))
    return Measured(value=value, sd=max(1.0, apart) / float(np.sqrt(weights.sum())))


def _block(bricks: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Return two opposite corners of the block that most of the bricks fill, in grid steps."""
    middles = np.array([points.mean(axis=0) for points in bricks])
    return np.floor(np.percentile(middles, 5, axis=0)), np.ceil(np.percentile(middles, 95, axis=0))
