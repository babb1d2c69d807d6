"""Two independent tag readers agree with ours on ids and, once light's spread is allowed for, on corners.

OpenCV's ArUco reader and `pupil-apriltags` (the AprilTag authors' own code), on rendered sheets. The issue's bound for
agreement is 0.3 px. Their corners lie inwards of the print's by a common amount, since light spreads into the black.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from tests.scenes import Reference, Room, Style, render
from tests.scenes_random import look_at
from vision.sheets import Sheet, find_sheets
from vision.walls import FloatArray

Reader = Callable[[np.ndarray], dict[int, FloatArray]]


def read_with_opencv(grey: np.ndarray) -> dict[int, FloatArray]:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    return {int(i): np.reshape(c, (4, 2)).astype(float) for i, c in zip(np.ravel(ids), corners, strict=True)}


def read_with_apriltag(grey: np.ndarray) -> dict[int, FloatArray]:
    pupil_apriltags = pytest.importorskip("pupil_apriltags")
    detector = pupil_apriltags.Detector(families="tag36h11", nthreads=1, quad_decimate=1.0)
    # Its pixel (0, 0) is the corner of the first pixel, ours that pixel's centre.
    return {t.tag_id: np.asarray(t.corners, float) - 0.5 for t in detector.detect(grey)}


def sheets_and_grey() -> tuple[list[Sheet], np.ndarray]:
    sheets = (
        Reference(kind="sheet", number=21, centre_mm=(1250, 1300), turn_deg=3),
        Reference(kind="sheet", number=140, centre_mm=(1750, 1100), turn_deg=180),
    )
    corners = np.array([[0, 0], [3000, 0], [3000, 2400], [0, 2400]], float)
    view = look_at(np.array([1800.0, 1350, 1300]), np.array([1500.0, 1200, 0]), size_px=(1344, 1008), focal_px=940)
    picture = render(Room(corners_mm=corners, references=sheets), view, Style(noise=0.006), seed=2).picture
    return find_sheets(picture)[0], np.ascontiguousarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY))


@pytest.mark.parametrize("reader", [read_with_opencv, read_with_apriltag])
def test_other_readers_find_the_same_ids_and_corners_within_three_tenths_of_a_pixel(reader: Reader) -> None:
    sheets, grey = sheets_and_grey()
    theirs = reader(grey)
    assert sorted(theirs) == sorted(4 * s.number + k for s in sheets for k in s.tags)
    ours, other, inward = [], [], []
    for sheet in sheets:
        for i, k in enumerate(sheet.tags):
            own = sheet.corners_px[4 * i : 4 * i + 4]
            near = [int(np.argmin(np.linalg.norm(theirs[4 * sheet.number + k] - c, axis=1))) for c in own]
            assert sorted(near) == [0, 1, 2, 3]
            ours.append(own)
            other.append(theirs[4 * sheet.number + k][near])
            inward.append(sheet.inward_px[4 * i : 4 * i + 4])
    gap, move = np.concatenate(other) - np.concatenate(ours), np.concatenate(inward)
    spread = np.sum(gap * move) / np.sum(move**2)
    assert 0.0 < spread < 0.6  # light spreads into the black
    assert np.abs(gap - spread * move).max() < 0.3
    assert np.sqrt(np.mean((gap - spread * move) ** 2)) < 0.1
