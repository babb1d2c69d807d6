"""A first look at a photo's survey sheets: which, where and how large, at a fraction of the cost of fitting them.

Good for judging a photo, never for measuring from it: corners are right to about a pixel.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from vision.sheet_map import SHEET_RECTANGLE_MM, TAG_CENTRES_MM, TAG_SQUARE_MM
from vision.sheets import HIGHEST_NUMBER, OPTICS_SD_PX, PAPER_SD_MM, first_map
from vision.walls import FloatArray, GreyImage, Sighting

HALF_ABOVE_PX = 1600
"""Longer side above which the photo is looked at in half size first."""
LEAST_SIDE_PX = 14.0
PLAIN_SIDE_PX = 60.0
"""Tags this large in the full photo are not overlooked in half of it, nor is another sheet twice as far away."""
CORNERS_OF_FULL_SHEET = 16
OWN_SD_PX = 0.02
"""Standard uncertainty of a corner from the pixels alone, as the later fit states it for phones' noise (judgement)."""


def glance(grey: GreyImage, *, photo: str) -> tuple[Sighting, ...]:
    """Return the survey sheets in a photo as a first look shows them, by number.

    Parameters
    ----------
    grey
        (h, w) upright photo at full resolution.
    photo
        Its file name, for the records.
    """
    import cv2

    tags: dict[int, FloatArray] = {}
    if max(grey.shape) > HALF_ABOVE_PX:
        half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        tags = _tags(half, 2.0)
    if not tags:
        tags = _tags(grey, 1.0)
    numbers = sorted({tag // 4 for tag in tags})
    return tuple(
        _sighting(number, {tag % 4: tags[tag] for tag in tags if tag // 4 == number}, photo) for number in numbers
    )


def is_plain(sightings: Sequence[Sighting], *, expected: Collection[int] = ()) -> bool:
    """Return whether a first look has surely seen all that a thorough search would: whole sheets, large, none missing.

    Parameters
    ----------
    sightings
        What ``glance`` returned.
    expected
        Numbers of the sheets that were declared; where fewer are seen, what is seen must be twice as large.
    """
    if not sightings or any(len(seen.points_px) < CORNERS_OF_FULL_SHEET for seen in sightings):
        return False
    smallest = min(_least_side_px(seen) for seen in sightings)
    all_there = bool(expected) and {seen.number for seen in sightings} >= set(expected)
    return smallest >= (PLAIN_SIDE_PX if all_there or len(sightings) > 1 else 2 * PLAIN_SIDE_PX)


def _least_side_px(seen: Sighting) -> float:
    tags = seen.points_px.reshape(-1, 4, 2)
    return float(np.min(np.linalg.norm(tags - np.roll(tags, 1, axis=1), axis=2)))


def _tags(grey: GreyImage, scale: float) -> dict[int, FloatArray]:
    """Return the corners (4, 2) in pixels of the full photo by tag id; of a tag seen twice, the larger."""
    import cv2

    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * LEAST_SIDE_PX / max(grey.shape)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    found: dict[int, FloatArray] = {}
    if ids is None:
        return found
    for tag, quad in zip(np.ravel(ids), corners, strict=True):
        places = (np.reshape(quad, (4, 2)).astype(np.float64) + 0.5) * scale - 0.5
        known = found.get(int(tag))
        if int(tag) <= 4 * HIGHEST_NUMBER + 3 and (known is None or np.ptp(places[:, 0]) > np.ptp(known[:, 0])):
            found[int(tag)] = places
    return found


def _sighting(number: int, tags: dict[int, FloatArray], photo: str) -> Sighting:
    points = np.concatenate(list(tags.values()))
    homography = first_map(tags)
    rim = np.column_stack([SHEET_RECTANGLE_MM, np.ones(4)]) @ homography.T
    missing = 4 - len(tags)
    extent_px = float(np.linalg.norm(rim[1, :2] / rim[1, 2] - rim[0, :2] / rim[0, 2]))
    px_per_mm = extent_px / float(np.linalg.norm(SHEET_RECTANGLE_MM[1] - SHEET_RECTANGLE_MM[0]))
    # As the later fit will state it: 2 n numbers that carry only the 8 of a map (vision.sheets).
    own = float(np.linalg.norm((OWN_SD_PX, OPTICS_SD_PX, PAPER_SD_MM * px_per_mm)))
    sd = float(np.sqrt(len(points) * 2 / 8)) * own
    return Sighting(
        reference=f"sheet-{number}",
        kind="survey_sheet",
        photo=photo,
        model_mm=np.concatenate([TAG_CENTRES_MM[k] + TAG_SQUARE_MM for k in tags]),
        points_px=points,
        sd_px=np.full(len(points), sd),
        bloom_px=np.zeros((len(points), 2)),
        corners_px=rim[:, :2] / rim[:, 2:],
        number=number,
        notes=(f"{missing} of 4 tags not read",) if missing else (),
    )
