"""The outer face of a wall: brick courses as its scale, and what is said where an outer reveal cannot be read."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from intake.brick_courses import COURSE_MM, STRETCHER_MM, brick_courses
from intake.pipeline import measure_folder
from intake.printing import wall_line
from intake.results import Geometry, OpeningResult, ValueSd, WallResult
from vision.brickwork import BrickworkReading, OverlayShape
from vision.pose import homography
from vision.walls import FloatArray, Measured

PHOTO_FROM_FACE = homography(
    np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 1000.0], [0.0, 1000.0]]),
    np.array([[400.0, 300.0], [2600.0, 380.0], [2500.0, 2500.0], [450.0, 2600.0]]),
)
"""From millimetres on a face (x right, y down) to a slanting photo of it."""


def in_photo(points_mm: FloatArray) -> FloatArray:
    q = np.column_stack([points_mm, np.ones(len(points_mm))]) @ PHOTO_FROM_FACE.T
    result: FloatArray = q[:, :2] / q[:, 2:]
    return result


def stretcher_face(*, course_mm: float = 75.0, stretcher_mm: float = 225.0, courses: int = 10) -> BrickworkReading:
    """Return a reading of stretcher bond as the reader makes it, drawn exactly."""
    shapes = []
    for k in range(courses + 1):
        along = np.column_stack([np.linspace(0, 1000, 9), np.full(9, k * course_mm)])
        shapes.append(OverlayShape(kind="bed", points_px=in_photo(along)))
    for k in range(courses):
        start = (k % 2) * stretcher_mm / 2
        for left in np.arange(start, 1000 - stretcher_mm, stretcher_mm):
            right, top, bottom = left + stretcher_mm, k * course_mm, (k + 1) * course_mm
            corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
            shapes.append(OverlayShape(kind="stretcher", points_px=in_photo(corners)))
    return BrickworkReading(
        photo="out.jpg",
        bond="stretcher",
        probability={"stretcher": 1.0},
        courses_read=courses,
        bricks_read=len(shapes),
        stretcher_courses=Measured(value=stretcher_mm / course_mm, sd=0.02),
        overlay=tuple(shapes),
    )


@pytest.mark.parametrize(("course_mm", "stretcher_mm"), [(75.0, 225.0), (76.2, 228.6), (81.0, 232.0)])
def test_courses_give_a_block_whose_size_is_right_within_what_it_says(course_mm: float, stretcher_mm: float) -> None:
    """Metric bricks, imperial ones, and tall northern ones."""
    made = brick_courses(stretcher_face(course_mm=course_mm, stretcher_mm=stretcher_mm), wall="north_outside")
    assert made is not None
    reference, sighting = made
    back = np.linalg.inv(PHOTO_FROM_FACE)
    q = np.column_stack([sighting.corners_px, np.ones(4)]) @ back.T
    corners = q[:, :2] / q[:, 2:]
    for size, true in (
        (reference.width_mm, corners[1, 0] - corners[0, 0]),
        (reference.height_mm, corners[3, 1] - corners[0, 1]),
    ):
        assert abs(size.value - true) <= 2 * size.sd
        assert size.sd < 0.05 * size.value
    assert np.allclose(np.ptp(sighting.model_mm, axis=0), [reference.width_mm.value, reference.height_mm.value])


def test_usual_courses_and_stretchers_together_are_surer_than_either() -> None:
    made = brick_courses(stretcher_face(), wall="north_outside")
    assert made is not None
    height = made[0].height_mm
    assert height.sd / height.value < COURSE_MM.sd / COURSE_MM.value
    assert height.sd / height.value < STRETCHER_MM.sd / STRETCHER_MM.value


def test_too_few_courses_scale_nothing() -> None:
    assert brick_courses(stretcher_face(courses=4), wall="north_outside") is None


def outside_only(folder: Path, sample: Path, change: Any = None) -> Path:
    """Write the sample's outside photo with its marks and no reference; the inside is taped."""
    folder.mkdir()
    said = json.loads((sample / "survey.json").read_text(encoding="utf-8"))
    said["photos"] = [photo for photo in said["photos"] if photo["purpose"] == "outside"]
    said["references"] = []
    for photo in said["photos"]:
        photo["marks"] = [mark for mark in photo["marks"] if mark.get("reference") is None]
    wall = said["walls"][0]
    wall["taped"] = {"width_mm": 4119, "height_mm": 2365}
    wall["openings"] = [{"id": "w1", "kind": "window"}]
    wall["features"] = []
    if change is not None:
        change(said)
    for photo in said["photos"]:
        shutil.copy(sample / photo["file"], folder)
    (folder / "survey.json").write_text(json.dumps(said), encoding="utf-8")
    return folder


def outer_reveal(geometry: Geometry) -> ValueSd | None:
    return geometry.walls[0].openings[0].outer_reveal_mm


def test_an_outer_reveal_is_read_with_nothing_but_bricks_for_scale(tmp_path: Path, signal_house: Path) -> None:
    """The rendered house's outer reveal is 82 mm; the bricks are its only scale, and the person is told so."""
    geometry = measure_folder(outside_only(tmp_path / "house", signal_house))
    seen = outer_reveal(geometry)
    assert seen is not None
    assert abs(seen.value - 82.0) <= 2 * seen.sd
    assert seen.sd < 25
    assert [finding.severity for finding in geometry.findings if finding.code == "S011"] == ["note"]
    assert not any(finding.code == "S012" for finding in geometry.findings)
    read = geometry.photos[0].brickwork
    assert read is not None
    assert (read.bond, read.walls) == ("stretcher", ["west"])
    assert {shape.kind for shape in read.shapes} >= {"bed", "stretcher"}
    assert geometry.photos[0].usable


def _without_photos(said: dict[str, Any]) -> None:
    said["photos"] = []


def _without_back(said: dict[str, Any]) -> None:
    for photo in said["photos"]:
        photo["marks"] = [mark for mark in photo["marks"] if mark.get("face") != "frame"]


@pytest.mark.parametrize(
    ("change", "why"),
    [(_without_photos, "no photo from outside has its corners marked"), (_without_back, "frame are not marked in PIC")],
    ids=["no photo", "no back corners"],
)
def test_a_missing_outer_reveal_says_exactly_why(tmp_path: Path, signal_house: Path, change: Any, why: str) -> None:
    geometry = measure_folder(outside_only(tmp_path / "house", signal_house, change))
    assert outer_reveal(geometry) is None
    told = [finding for finding in geometry.findings if finding.code == "S012"]
    assert len(told) == 1
    assert why in told[0].message
    assert told[0].where == {"wall": "west", "opening": "w1", "key": "outer_reveal_mm"}
    assert "tape the outer reveal" in told[0].remedy


def test_a_typed_outer_reveal_needs_no_photo(tmp_path: Path, signal_house: Path) -> None:
    def typed(said: dict[str, Any]) -> None:
        _without_photos(said)
        said["walls"][0]["openings"][0]["outer_reveal_mm"] = 82.0

    geometry = measure_folder(outside_only(tmp_path / "house", signal_house, typed))
    seen = outer_reveal(geometry)
    assert seen is not None
    assert seen.value == 82.0
    assert not any(finding.code == "S012" for finding in geometry.findings)


def test_the_line_on_an_outer_face_tells_its_reveal() -> None:
    """An outer face is never seen whole; "not measured" would be wrong."""
    opening = OpeningResult(id="w1", reveal_depth_mm=ValueSd(value=82.4, sd=8.4))
    assert wall_line(WallResult(id="out", openings=[opening])) == (
        "out: not seen whole; reveal 82 deep at w1, give or take 17"
    )
    assert wall_line(WallResult(id="out")) == "out: not measured"
