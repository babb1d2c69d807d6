"""Which photos serve: no scale, a corner cut off, a lens misnamed by the file are told; the study's seeded part."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from intake.check import check_folder
from intake.framing import _which_way
from tests.scenes_brick import render_brick
from tests.spoiled_photos import KINDS, Spoiled, Told, file_of, moved, spoiled_photo
from tests.studies.gate import PHOTOS, run
from tests.survey_folders import Rendered, survey_of


def folder_of(photo: Spoiled, folder: Path, *, taped: bool = False) -> Path:
    """Write one photo and its survey without a mark."""
    survey = {**survey_of(Rendered(room=photo.scene.room, scenes=(photo.scene,)), seed=1), "photos": []}
    if taped:
        survey["walls"][0]["taped"] = {"width_mm": 4000, "height_mm": 2400}
    folder.mkdir()
    (folder / "IMG_0001.jpg").write_bytes(photo.jpeg)
    (folder / "survey.json").write_text(json.dumps(survey), encoding="utf-8")
    return folder


def codes(folder: Path) -> dict[str, str]:
    return {finding.code: finding.message for finding in check_folder(folder).findings}


def test_a_seeded_part_of_the_study_is_right_on_at_least_nine_photos_of_ten() -> None:
    told = run(seed=20261125, part=2 * len(KINDS) / PHOTOS)
    wrong = sum(
        kind["usable_and_fails"] + kind["unusable_and_serves"] for kind in told["by_kind"].values()
    )  # at one wrong in 20, three or more of twenty are wrong once in 13 times; the pictures are seeded
    assert wrong <= 2
    assert told["expected_over_stated_median"] == pytest.approx(1.0, abs=0.35)


def test_without_anything_of_known_size_no_photo_is_usable_unless_something_is_taped(tmp_path: Path) -> None:
    photo = spoiled_photo(9003, "blur")
    found = codes(folder_of(photo, tmp_path / "blurred"))
    assert found["P021"] == "IMG_0001.jpg: no survey sheet can be read, so the size is unknown."
    assert not check_folder(tmp_path / "blurred").photos[0].usable
    assert "P021" not in codes(folder_of(photo, tmp_path / "taped", taped=True))


def test_a_lens_that_the_file_misnames_is_found_out(tmp_path: Path) -> None:
    found = codes(folder_of(spoiled_photo(9035, "wrong_lens"), tmp_path / "misnamed"))
    assert "zoomed, cropped or taken with another lens" in found["P023"]


def test_a_wall_that_runs_out_of_the_picture_is_told_with_its_corner(tmp_path: Path) -> None:
    found = codes(folder_of(spoiled_photo(9008, "crop"), tmp_path / "cropped"))
    assert found["P022"] == "IMG_0001.jpg: cuts off the wall's bottom right corner."


@pytest.fixture(scope="module")
def room() -> Spoiled:
    return spoiled_photo(32000086, "good")


def trimmed(photo: Spoiled, spare_px: int) -> Spoiled:
    """Return the photo cropped at the right, so that the wall's right end lies this far inside it, its lens unsaid."""
    scene = photo.scene
    x = scene.camera.project(np.column_stack([scene.room.corners_mm, np.zeros(4)]))[:, 0].max()
    picture = np.ascontiguousarray(scene.picture[:, : int(x) + spare_px])
    return replace(photo, scene=moved(scene, lambda px: px, picture), jpeg=file_of(picture, Told(), 92))


@pytest.mark.parametrize("spare_px", [-50, -25, -10])
def test_a_wall_that_runs_out_of_the_picture_by_little_is_not_taken_to_end_in_it(
    room: Spoiled, tmp_path: Path, spare_px: int
) -> None:
    check = check_folder(folder_of(trimmed(room, spare_px), tmp_path / "home"))
    assert not check.photos[0].usable
    assert {finding.code for finding in check.findings if finding.severity == "stop"} == {"P022"}


@pytest.mark.parametrize("spare_px", [15, 30])
def test_a_corner_that_the_picture_just_holds_is_counted_on_though_the_lens_is_in_doubt(
    room: Spoiled, tmp_path: Path, spare_px: int
) -> None:
    assert check_folder(folder_of(trimmed(room, spare_px), tmp_path / "home")).photos[0].usable


def sheet_pixels(number: int) -> np.ndarray:
    """Return a survey sheet (210, 297, 3), a pixel a millimetre."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    sheet = np.full((210, 297, 3), 235, np.uint8)
    for k, (x, y) in enumerate(((-100, 56), (100, 56), (100, -56), (-100, -56))):
        left, top = 148 + x - 36, 105 - y - 36
        sheet[top : top + 72, left : left + 72] = cv2.aruco.generateImageMarker(family, 4 * number + k, 72)[..., None]
    return sheet


def test_an_outside_photo_that_nobody_declared_stops_and_says_how_to_declare_it(tmp_path: Path) -> None:
    face = render_brick(np.random.default_rng(5), "flemish", oblique_deg=5.0).picture.copy()
    face[500:710, 600:897] = sheet_pixels(17)
    (tmp_path / "IMG_0001.jpg").write_bytes(file_of(face, Told(f35_mm=30.0), 92))
    check = check_folder(tmp_path)
    told = {finding.code: finding for finding in check.findings}
    assert check.photos[0].references, "the sheet on the brick is not seen"
    assert told["P022"].severity == "stop"
    assert "If it shows the outside, say so." in told["P022"].remedy


@pytest.mark.parametrize(
    ("missing", "way"),
    [
        (["top right"], "from the same place, tilted up a little and turned a little to the right"),
        (["top left", "top right"], "from the same place, tilted up a little"),
        (["bottom left", "top left"], "from the same place, turned a little to the left"),
        (["top left", "bottom right"], "from further back"),
    ],
)
def test_the_request_says_which_way_to_hold_the_phone(missing: list[str], way: str) -> None:
    assert _which_way(missing) == way
