"""The gate: says which photos are good for their job, what to expect, what is missing, and how to ask for it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from intake.check import check_folder, write_for_client
from intake.pipeline import measure_folder
from intake.quality import edge_blur_px, look_hash, mean_quantisation, same_look
from intake.requests import MOST_REQUESTS, client_message
from intake.results import Check, PhotoCheck
from tests.survey_folders import Rendered, jpeg, render_home, write_home
from vision.findings import Finding


@pytest.fixture(scope="module")
def home() -> Rendered:
    return render_home(8, photos=2)


@pytest.fixture(scope="module")
def unmarked(home: Rendered, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_home(tmp_path_factory.mktemp("gate") / "unmarked", home, marked=False)


@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.5, 4.0])
def test_blur_is_given_in_pixels_whatever_the_contrast(sigma: float) -> None:
    for low, high in ((0.05, 0.9), (0.3, 0.6)):
        light = np.full((240, 240), low, np.float32)
        light[:, 120:] = high
        blurred = cv2.GaussianBlur(light, (0, 0), sigma)
        picture = np.rint(255 * blurred ** (1 / 2.2)).astype(np.uint8)
        seen = edge_blur_px(picture, direction=np.array([1.0, 0.0]), reach=14)
        assert seen is not None
        assert seen == pytest.approx(sigma, rel=0.15)


def test_shake_in_one_direction_is_seen_in_that_direction_only() -> None:
    board = np.kron(np.indices((8, 8)).sum(axis=0) % 2, np.ones((30, 30))).astype(np.float32)
    shaken = cv2.blur(cv2.GaussianBlur(board, (0, 0), 1.0), (15, 1))
    picture = np.rint(255 * shaken ** (1 / 2.2)).astype(np.uint8)
    across = edge_blur_px(picture, direction=np.array([1.0, 0.0]), reach=12)
    down = edge_blur_px(picture, direction=np.array([0.0, 1.0]), reach=12)
    assert across is not None and down is not None
    assert across > 2.5 * down


def test_a_good_folder_has_nothing_to_ask_for_and_a_forecast_near_what_measuring_states(
    home: Rendered, unmarked: Path, tmp_path: Path
) -> None:
    folder = shutil.copytree(unmarked, tmp_path / "good")
    check = check_folder(folder)
    assert [photo.usable for photo in check.photos] == [True, True]
    assert check.message == ""
    assert write_for_client(folder, check) is None
    marked = measure_folder(write_home(tmp_path / "marked", home))
    stated = marked.walls[0].width_mm
    assert stated is not None
    again = check_folder(tmp_path / "marked")
    predicted = again.walls[0].predicted_sd_mm
    assert predicted is not None
    assert predicted == pytest.approx(stated.sd, rel=0.35)
    assert {photo.purpose for photo in check.photos} <= {"whole", "oblique", "opening", "detail"}
    assert check.walls[0].best_help


def spoil(home: Rendered, folder: Path, **changes: object) -> None:
    """Write the home's first photo spoiled and its second whole."""
    scene = home.scenes[0]
    picture = scene.picture
    if "blur" in changes:
        picture = cv2.GaussianBlur(picture, (0, 0), float(changes["blur"]))  # type: ignore[arg-type]
    if "dark" in changes:
        picture = (picture * 0.03).astype(np.uint8)
    spoiled = type(scene)(**{**{key: getattr(scene, key) for key in scene.__dataclass_fields__}, "picture": picture})
    folder.mkdir()
    (folder / "IMG_0001.jpg").write_bytes(jpeg(spoiled, f35=not changes.get("no_exif"), quality=93))
    (folder / "IMG_0002.jpg").write_bytes(jpeg(home.scenes[1]))


def test_a_blurred_photo_is_unusable_and_the_message_asks_for_it_politely(home: Rendered, tmp_path: Path) -> None:
    spoil(home, tmp_path / "blurred", blur=5.0)
    check = check_folder(tmp_path / "blurred")
    assert [photo.usable for photo in check.photos] == [False, True]
    assert check.message.startswith("Thank you, 1 of 2 is just right.")
    assert re.search(r"IMG_0001\.jpg.*edges are spread over \d+ pixels.*Retake it", check.message)
    assert "tape reading" in check.message
    assert write_for_client(tmp_path / "blurred", check) is not None


def test_a_small_sheet_is_asked_for_again_only_where_no_other_photo_shows_it_larger(tmp_path: Path) -> None:
    home = render_home(22)
    folder = write_home(tmp_path / "both", home, marked=False)
    told = {finding.code: finding for finding in check_folder(folder).findings}["P014"]
    assert (told.severity, told.where["photo"]) == ("note", "IMG_0002.jpg")
    assert told.remedy == "Nothing to do: IMG_0001.jpg shows it larger."
    assert check_folder(folder).message == ""
    (folder / "IMG_0001.jpg").unlink()
    alone = check_folder(folder)
    assert {finding.code: finding for finding in alone.findings}["P014"].severity == "warn"
    assert "Retake it from nearer." in alone.message


def test_a_dark_photo_and_lost_camera_details_are_told(home: Rendered, tmp_path: Path) -> None:
    spoil(home, tmp_path / "dark", dark=True, no_exif=True)
    codes = {finding.code for finding in check_folder(tmp_path / "dark").findings}
    assert {"P013", "P002"} <= codes


def test_a_copy_of_a_photo_is_noted_and_a_different_view_is_not(home: Rendered, tmp_path: Path) -> None:
    folder = write_home(tmp_path / "twice", home, marked=False)
    small = cv2.resize(home.scenes[0].picture, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(folder / "copy.jpg"), small, [cv2.IMWRITE_JPEG_QUALITY, 60])
    notes = [finding for finding in check_folder(folder).findings if finding.code == "P020"]
    assert [finding.where["photo"] for finding in notes] == ["copy.jpg"]


def test_looks_survive_compression_and_tell_scenes_apart(home: Rendered) -> None:
    first, second = (cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY) for scene in home.scenes)
    squeezed = cv2.imdecode(cv2.imencode(".jpg", first, [cv2.IMWRITE_JPEG_QUALITY, 20])[1], cv2.IMREAD_GRAYSCALE)
    assert same_look(look_hash(first), look_hash(np.asarray(squeezed, dtype=np.uint8)))
    assert not same_look(look_hash(first), look_hash(second))


def test_coarse_compression_shows_in_the_quantisation_table() -> None:
    noise = np.random.default_rng(3).integers(0, 255, (64, 64), dtype=np.uint8)
    steps = []
    for quality in (95, 75, 40):
        steps.append(mean_quantisation(cv2.imencode(".jpg", noise, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()))
    assert None not in steps
    assert steps == sorted(steps, key=float)  # type: ignore[arg-type]
    assert mean_quantisation(b"\x89PNG") is None


def test_the_message_asks_for_at_most_three_things_in_walking_order_and_repeats_nothing_private() -> None:
    photos = [PhotoCheck(file=f"IMG_{k}.jpg", usable=k > 5, purpose="whole") for k in range(9)]
    findings = [
        Finding(
            code="P010",
            severity="stop",
            message=f"IMG_{k}.jpg: blurred by {k} pixels.",
            remedy="Retake it.",
            where={"photo": f"IMG_{k}.jpg"},
        )
        for k in (5, 3, 1, 0, 2)
    ]
    text = client_message(photos, findings)
    asked = re.findall(r"^IMG_\d\.jpg", text, re.MULTILINE)
    assert len(asked) == MOST_REQUESTS
    assert asked == sorted(asked)
    assert client_message(photos, []) == ""


def test_photos_that_need_the_same_are_asked_for_in_one_sentence() -> None:
    photos = [PhotoCheck(file=f"IMG_{k}.jpg", usable=False) for k in range(5)]
    findings = [
        Finding(
            code="P021",
            severity="stop",
            message=f"{photo.file}: no sheet.",
            remedy="Again.",
            where={"photo": photo.file},
        )
        for photo in photos
    ]
    assert "IMG_0.jpg, IMG_1.jpg, IMG_2.jpg and 2 more: no sheet. Again." in client_message(photos, findings)
    assert "IMG_0.jpg and IMG_1.jpg: no sheet." in client_message(photos, findings[:2])


def test_the_message_comes_with_a_small_picture_and_both_go_when_nothing_is_wrong(tmp_path: Path) -> None:
    asked = Check(inputs_sha256="", perpend_version="", message="Thank you.\n")
    written = write_for_client(tmp_path, asked)
    assert written is not None
    sketch = cv2.imread(str(written.with_suffix(".png")))
    assert sketch is not None
    assert len(np.unique(sketch.reshape(-1, 3), axis=0)) > 6
    assert write_for_client(tmp_path, asked.model_copy(update={"message": ""})) is None
    assert not list((tmp_path / "results").iterdir())
