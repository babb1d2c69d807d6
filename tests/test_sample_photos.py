"""The sample surveys hang together: pictures, EXIF, marks and truth say the same of the same house."""

from __future__ import annotations

import importlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import ExifTags, Image

SAMPLES = Path(__file__).parent.parent / "sample_photos"
NAMES = ("lock_cottage", "signal_house")
KEYS = {"bottom_left": "bl", "bottom_right": "br", "top_right": "tr", "top_left": "tl"}
MEGABYTE = 1_000_000


def _json(house: str, name: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((SAMPLES / house / name).read_text(encoding="utf-8"))
    return content


def _truth_name(mark: dict[str, Any]) -> str:
    """The name in truth.json of the point that a mark names."""
    key = KEYS[mark["point"]]
    if "reference" in mark:
        return f"{mark['reference']}_{key}"
    if "opening" in mark:
        return f"{'open' if mark['face'] == 'wall' else 'back'}_{key}"
    if "feature" in mark:
        return f"{mark['feature']}_{key}"
    return f"{'skirt' if mark.get('proud_mm') else 'wall'}_{key}"


def _pairs(house: str) -> list[tuple[str, dict[str, Any], list[float]]]:
    """Every mark with its photo's file and the true pixel."""
    truth = {photo["file"]: photo for photo in _json(house, "truth.json")["photos"]}
    return [
        (photo["file"], mark, truth[photo["file"]]["pixels"][_truth_name(mark)])
        for photo in _json(house, "survey.json")["photos"]
        for mark in photo["marks"]
    ]


@pytest.mark.parametrize("house", NAMES)
def test_the_survey_follows_the_published_schema(house: str) -> None:
    """The folder is what any user's folder is: the product's own reader takes it."""
    survey = importlib.import_module("intake.survey")
    read = survey.Survey.model_validate(_json(house, "survey.json"))
    assert [photo.file for photo in read.photos] == sorted(path.name for path in (SAMPLES / house).glob("*.jpg"))


def test_the_pictures_are_small_enough_to_carry() -> None:
    """Under 30 MB together, and the one that the wheel carries under 13 MB."""
    size = {house: sum(path.stat().st_size for path in (SAMPLES / house).iterdir()) for house in NAMES}
    assert size["lock_cottage"] < 13 * MEGABYTE
    assert sum(size.values()) < 30 * MEGABYTE


@pytest.mark.parametrize("house", NAMES)
def test_every_photo_carries_the_exif_of_a_handset_and_no_place(house: str) -> None:
    """Make, model, focal lengths, date, size and orientation can be read; nothing says where."""
    turned = 0
    for photo in _json(house, "truth.json")["photos"]:
        with Image.open(SAMPLES / house / photo["file"]) as image:
            exif = image.getexif()
            details = exif.get_ifd(ExifTags.IFD.Exif)
            assert exif[ExifTags.Base.Make] and exif[ExifTags.Base.Model]
            assert details[ExifTags.Base.FocalLengthIn35mmFilm] == photo["camera"]["f35"]
            assert float(details[ExifTags.Base.FocalLength]) > 0
            assert details[ExifTags.Base.DateTimeOriginal].startswith("2026:10:0")
            assert image.size == (4032, 3024)
            assert (details[ExifTags.Base.ExifImageWidth], details[ExifTags.Base.ExifImageHeight]) == image.size
            assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
            upright = image.size[::-1] if exif[ExifTags.Base.Orientation] == 6 else image.size
            assert upright == (photo["camera"]["w"], photo["camera"]["h"])
            turned += exif[ExifTags.Base.Orientation] == 6
    assert turned == (1 if house == "lock_cottage" else 0)


@pytest.mark.parametrize("house", NAMES)
def test_every_mark_is_near_the_truth_with_the_error_of_a_hand(house: str) -> None:
    """Each mark names a point in plain view, within 8 px; together they scatter by about 2 px and lean nowhere."""
    pairs = _pairs(house)
    assert all(true is not None for _, _, true in pairs)
    error = np.array([np.subtract(mark["px"], true) for _, mark, true in pairs])
    assert np.linalg.norm(error, axis=1).max() < 8
    assert 1.6 < error.std() < 2.4
    assert np.abs(error.mean(axis=0)).max() < 4 * 2 / np.sqrt(len(error))


@pytest.mark.parametrize("house", NAMES)
def test_every_wall_and_opening_corner_is_marked_somewhere(house: str) -> None:
    """A person could not have marked more: wall corners, both faces of the opening, radiator and sockets."""
    survey = _json(house, "survey.json")
    wall = next(entry for entry in survey["walls"] if entry.get("line"))
    marks = [mark for _, mark, _ in _pairs(house) if mark.get("wall") == wall["id"]]
    names = {_truth_name(mark) for mark in marks}
    assert {"wall_tl", "wall_tr", "skirt_bl", "skirt_br"} <= names
    assert {f"{face}_{key}" for face in ("open", "back") for key in KEYS.values()} <= names
    for feature in wall["features"]:
        seen = {name for name in names if name.startswith(feature["id"])}
        assert len(seen) >= 3, f"{feature['id']} has too few corners in view"
    outside = {_truth_name(mark) for _, mark, _ in _pairs(house) if str(mark.get("wall", "")).endswith("_outside")}
    assert len({name for name in outside if name.startswith("open")}) == 4
    assert len({name for name in outside if name.startswith("back")}) >= 2


@pytest.mark.parametrize("house", NAMES)
def test_true_pixels_are_true_points_through_the_true_camera(house: str) -> None:
    """Projection by hand, from the formula in the renderer's description, gives the same pixels to a thousandth."""
    truth = _json(house, "truth.json")
    for photo in truth["photos"]:
        camera, points = photo["camera"], truth["points_mm"][photo["wall"]]
        R, t = np.array(camera["R"]), np.array(camera["t"])
        assert np.allclose(R @ R.T, np.eye(3), atol=1e-7) and np.linalg.det(R) == pytest.approx(1, abs=1e-6)
        assert np.allclose(-R.T @ t, camera["pos"], atol=1e-6)
        for name, pixel in photo["pixels"].items():
            if pixel is None:
                continue
            q = R @ (np.array(points[name]) / 1000) + t
            x = q[:2] / q[2]
            r2 = float(x @ x)
            u = camera["f"] * x * (1 + camera["k1"] * r2 + camera["k2"] * r2**2) + (camera["cx"], camera["cy"])
            assert np.allclose(u, pixel, atol=2e-3), (photo["file"], name)


@pytest.mark.parametrize("house", NAMES)
def test_true_sizes_are_distances_between_true_points(house: str) -> None:
    """Sizes in truth.json are what a tape between its points would read."""
    truth = _json(house, "truth.json")
    for wall in truth["walls"]:
        p = {name: np.array(point) for name, point in truth["points_mm"][wall["id"]].items()}

        def mean(stem: str, *edges: str, points: dict[str, Any] = p) -> float:
            return float(
                np.mean([np.linalg.norm(points[f"{stem}_{e[:2]}"] - points[f"{stem}_{e[2:]}"]) for e in edges])
            )

        things = [(opening, "open") for opening in wall["openings"]]
        things += [(feature, feature["id"]) for feature in wall.get("features", [])]
        things += [(wall, "wall")] if "width_mm" in wall else []
        for sizes, stem in things:
            assert sizes["width_mm"] == pytest.approx(mean(stem, "blbr", "tltr"), abs=1e-3)
            assert sizes["height_mm"] == pytest.approx(mean(stem, "bltl", "brtr"), abs=1e-3)
    inside = truth["walls"][0]["openings"][0]
    depth = -truth["points_mm"][truth["walls"][0]["id"]]["back_tl"][2]
    assert inside["reveal_depth_mm"] == pytest.approx(depth, abs=1e-6)


@pytest.mark.parametrize("house", NAMES)
def test_the_survey_declares_what_the_house_is(house: str) -> None:
    """Frame, outer reveal and skirting as declared add up to the true thickness; the scenario's numbers hold."""
    survey, truth = _json(house, "survey.json"), _json(house, "truth.json")
    opening, true = survey["walls"][0]["openings"][0], truth["walls"][0]["openings"][0]
    total = true["reveal_depth_mm"] + opening["frame_mm"] + opening["outer_reveal_mm"]
    assert total == pytest.approx(true["thickness_mm"], abs=1e-6)
    if house == "lock_cottage":
        assert (true["reveal_depth_mm"], opening["frame_mm"], opening["outer_reveal_mm"]) == pytest.approx(
            (130, 70, 30)
        )
        assert truth["walls"][1]["brickwork"]["bond"] == "flemish"
    else:
        assert 275 <= total <= 290
        assert truth["walls"][1]["brickwork"]["bond"] == "stretcher"


def test_the_printed_sheets_are_where_the_truth_says() -> None:
    """OpenCV's own tag reader finds all four tags of each sheet in view, their centres within half a pixel."""
    import cv2

    truth = _json("lock_cottage", "truth.json")
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 0.008
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    reader = cv2.aruco.ArucoDetector(family, parameters)
    for photo in truth["photos"]:
        path = SAMPLES / "lock_cottage" / photo["file"]
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        assert grey is not None and grey.shape == (photo["camera"]["h"], photo["camera"]["w"])
        corners, ids, _ = reader.detectMarkers(grey)
        seen = dict(zip(np.ravel(ids).tolist(), np.reshape(corners, (-1, 4, 2)), strict=True))
        sheets = [r for r in truth["references"] if photo["pixels"].get(f"{r['id']}_tl")]
        assert sheets, f"no sheet in {photo['file']}"
        for sheet in sheets:
            quad = np.array([photo["pixels"][f"{sheet['id']}_{key}"] for key in ("tl", "tr", "br", "bl")])
            paper = np.array([(-148.5, 105), (148.5, 105), (148.5, -105), (-148.5, -105)], np.float32)
            # over one sheet the lens bends by less than the tolerance, so a plane map carries its marks
            plane = cv2.getPerspectiveTransform(paper, quad.astype(np.float32))
            for k, centre in enumerate(((-100, 56), (100, 56), (100, -56), (-100, -56))):
                q = plane @ (*centre, 1.0)
                found = seen[4 * sheet["number"] + k].mean(axis=0)
                assert np.linalg.norm(found - q[:2] / q[2]) < 0.5, (photo["file"], sheet["number"], k)


def test_the_renderer_still_describes_the_same_houses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sizes and cameras in truth.json come from the renderer's own description; it has not moved on without them."""
    monkeypatch.syspath_prepend(str(SAMPLES))
    houses = importlib.import_module("our_houses").HOUSES
    files = importlib.import_module("survey_files")
    camera_of = importlib.import_module("camera_pipeline").camera_of
    assert set(houses) == set(NAMES)
    for name, house in houses.items():
        truth = _json(name, "truth.json")
        for side, wall in zip(("inside", "outside"), truth["walls"], strict=True):
            points = files.points_of(house, side)
            for key, point in truth["points_mm"][wall["id"]].items():
                assert np.allclose(points[key] * 1000, point, atol=1e-3)
        for shot, photo in zip(house.shots, truth["photos"], strict=True):
            assert camera_of(house, shot).f == pytest.approx(photo["camera"]["f"], abs=1e-6)
