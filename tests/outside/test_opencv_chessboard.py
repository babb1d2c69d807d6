"""Real photographs with a known plane: the chessboard pictures of Debian's opencv-doc (Apache-2.0 and BSD).

13 pictures, 640 x 480, of a board with 9 x 6 inner corners, squares of 25 mm; ``left_intrinsics.yml`` beside them is an
independent calibration of the camera. The middle 2 x 2 squares are taken as a reference of 50 mm and the rest of the
board is predicted from them; the error of a corner is its displacement over its distance from the reference's middle.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.outside.packages import debian_package
from vision.lens import Lens, normalised
from vision.observe import Observations
from vision.pose import on_plane, planar_poses
from vision.problem import WallProblem
from vision.solve import solve
from vision.start import first_guesses, views
from vision.walls import DeclaredReference, DeclaredWall, FloatArray, Measured, Photo, Sighting

pytestmark = pytest.mark.package
SQUARE_MM = 25.0
COLUMNS, ROWS = 9, 6
BOARD_MM = np.array([[c * SQUARE_MM, -r * SQUARE_MM] for r in range(ROWS) for c in range(COLUMNS)])
MIDDLE_MM = BOARD_MM.mean(axis=0)


def _folder() -> Path:
    return debian_package("opencv-doc") / "usr/share/doc/opencv-doc/examples/data"


@cache
def _boards() -> dict[str, FloatArray]:
    """Return the sub-pixel corners (54, 2) of every picture in which OpenCV finds the board."""
    boards = {}
    for path in sorted(_folder().glob("left[0-9][0-9].jpg")):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        found, corners = cv2.findChessboardCorners(grey, (COLUMNS, ROWS))
        if found:
            stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 1e-4)
            fine = cv2.cornerSubPix(grey, np.asarray(corners, np.float32).reshape(-1, 1, 2), (5, 5), (-1, -1), stop)
            boards[path.name] = fine.reshape(-1, 2).astype(float)
    return boards


def _published_lens() -> Lens:
    reader = cv2.FileStorage(str(_folder() / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    K, d = reader.getNode("camera_matrix").mat(), reader.getNode("distortion_coefficients").mat().ravel()
    return Lens(focal_px=K[0, 0], cx_px=K[0, 2], cy_px=K[1, 2], k1=d[0], k2=d[1])


def _errors(corners: FloatArray, ideal: FloatArray) -> FloatArray:
    """Return the relative errors of the board's other corners, predicted from the middle 2 x 2 squares."""
    grid = np.arange(ROWS * COLUMNS).reshape(ROWS, COLUMNS)
    reference = grid[1:4, 3:6].ravel()
    others = np.setdiff1d(grid.ravel(), reference)
    pose = planar_poses(BOARD_MM[reference] - MIDDLE_MM, ideal[reference])[0][0]
    predicted = on_plane(ideal[others], pose)
    true = BOARD_MM[others] - MIDDLE_MM
    centre = (BOARD_MM[reference] - MIDDLE_MM).mean(axis=0)
    return np.asarray(np.linalg.norm(predicted - true, axis=1) / np.linalg.norm(true - centre, axis=1))


def _own_lens(files: list[str]) -> Lens:
    """Return the camera as the joint solution finds it from these pictures, from a wide prior."""
    photos = tuple(
        Photo(file=f, width_px=640, height_px=480, phone="camera", focal_px=600.0, focal_rel_sd=0.3,
              centre_sd_px=30.0, k1_sd=0.4, k2_sd=0.4) for f in files
    )  # fmt: skip
    size = (BOARD_MM - MIDDLE_MM).max(axis=0) * 2
    board = DeclaredReference(
        id="board", kind="rectangle", wall="table", width_mm=Measured(value=float(size[0]), sd=0.02),
        height_mm=Measured(value=float(size[1]), sd=0.02),
    )  # fmt: skip
    n = len(BOARD_MM)
    sightings = tuple(
        Sighting(reference="board", kind="rectangle", photo=f, model_mm=BOARD_MM - MIDDLE_MM, points_px=_boards()[f],
                 sd_px=np.full(n, 0.15), bloom_px=np.zeros((n, 2)), corners_px=np.zeros((4, 2))) for f in files
    )  # fmt: skip
    problem = WallProblem(wall=DeclaredWall(id="table"), photos=photos, sightings=sightings, references=(board,))
    guess = first_guesses(views(photos, (), sightings, {"board": board}), {})[0]
    solution = solve(Observations(problem, guess))
    return solution.observations.cameras.lens(solution.state.vector, 0)


def test_opencv_finds_the_board_in_all_thirteen_pictures() -> None:
    assert len(_boards()) == 13


def test_the_board_is_predicted_from_its_middle_with_the_published_camera() -> None:
    lens = _published_lens()
    errors = np.concatenate([_errors(c, normalised(c, lens)) for c in _boards().values()])
    raw = np.concatenate([
        _errors(c, normalised(c, Lens(focal_px=lens.focal_px, cx_px=319.5, cy_px=239.5))) for c in _boards().values()
    ])  # fmt: skip
    print(f"median error {100 * np.median(errors):.2f} %, lens not undone {100 * np.median(raw):.2f} %")
    assert np.median(errors) < 0.006
    assert np.median(raw) > 2 * np.median(errors)


def test_the_board_is_predicted_with_the_lens_that_the_joint_solution_finds_in_the_other_pictures() -> None:
    files = sorted(_boards())
    errors = []
    for fold in range(2):
        lens = _own_lens([f for i, f in enumerate(files) if i % 2 != fold])
        errors += [_errors(_boards()[f], normalised(_boards()[f], lens)) for i, f in enumerate(files) if i % 2 == fold]
    median = float(np.median(np.concatenate(errors)))
    print(f"median error {100 * median:.2f} %")
    assert median < 0.0035


def test_the_joint_solution_finds_the_published_focal_length() -> None:
    own, published = _own_lens(sorted(_boards())), _published_lens()
    print(f"own {own}, published {published}")
    assert abs(own.focal_px / published.focal_px - 1.0) < 0.01
    assert abs(own.cx_px - published.cx_px) < 6.0
    assert abs(own.cy_px - published.cy_px) < 6.0
