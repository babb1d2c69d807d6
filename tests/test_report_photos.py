"""The photos in the report: each shown and told of, private things covered, the bricks found drawn over the outside."""

from __future__ import annotations

import base64
import html as html_words
import io
import re
import shutil
import subprocess
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from intake.report import write_report
from intake.report.covering import COVER
from intake.report.tell_photos import brickwork_words, photo_evidence, why_unused
from intake.results import BrickworkResult, Geometry
from intake.survey import PhotoEntry, Survey
from tests import report_example as example

Pixels = np.ndarray[Any, np.dtype[np.int64]]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = example.write_example(tmp_path_factory.mktemp("photos"))
    write_report(made, made_on=date(2026, 11, 25))
    return made


@pytest.fixture(scope="module")
def page(folder: Path) -> str:
    return (folder / "results" / "report.html").read_text(encoding="utf-8")


def pictures(page: str) -> dict[str, Pixels]:
    """Return the page's photos by their alternative text."""
    found = re.findall(r'<img src="data:image/jpeg;base64,([^"]+)"[^>]* alt="([^"]*)"', page)
    return {
        html_words.unescape(alt): np.asarray(Image.open(io.BytesIO(base64.b64decode(data))).convert("RGB"), dtype=int)
        for data, alt in found
    }


def picture(page: str, start: str) -> Pixels:
    return next(data for alt, data in pictures(page).items() if alt.startswith(start))


def test_every_photo_is_shown_and_says_what_came_of_it(page: str) -> None:
    alts = list(pictures(page))
    captions = re.findall(r"<figcaption><strong><bdi>(IMG_\d+\.jpg)</bdi></strong>(.*?)</figcaption>", page)
    told = dict(captions[-3:])
    for name in ("IMG_0101.jpg", "IMG_0105.jpg", "IMG_0107.jpg"):
        assert any(alt.startswith(f"Photo {name}") for alt in alts), name
    assert "Measured from it: north, 5 marks." in told["IMG_0101.jpg"]
    assert "Read from it: Flemish bond (97 in 100), 3 courses of 74.8\u00a0mm" in told["IMG_0105.jpg"]
    assert "Not used: nobody has marked a wall in it" in told["IMG_0107.jpg"]


def test_beyond_the_wall_and_inside_cards_nothing_can_be_seen(page: str) -> None:
    """The example photo has a magenta patch outside the wall and a red card on it."""
    data = picture(page, "Photo IMG_0101.jpg")
    magenta = (data[..., 0] > 180) & (data[..., 1] < 90) & (data[..., 2] > 180)
    assert magenta.sum() == 0
    scale = data.shape[1] / 1600
    pane = data[int(330 * scale) : int(580 * scale), int(620 * scale) : int(980 * scale)]
    assert pane.std(axis=(0, 1)).max() < 12  # the window's pane is one smooth colour


def test_a_photo_that_nobody_marked_shows_in_coarse_squares_only(page: str) -> None:
    """Enough to tell which photo it is; a face, a letter or a screen in it has no more than a few squares."""
    data = picture(page, "Photo IMG_0107.jpg")
    height, width = data.shape[:2]
    assert max(height, width) == 24 * 16
    squares = data.reshape(height // 16, 16, width // 16, 16, 3)
    assert np.ptp(squares[:, 2:14, :, 2:14], axis=(1, 3)).max() <= 2  # one colour each; at the rim JPEG mixes two
    assert np.ptp(squares.mean(axis=(1, 3))) > 30
    assert "in coarse squares" in html_words.unescape(page)


def test_the_bricks_found_are_drawn_over_the_photo_and_all_else_is_covered(page: str) -> None:
    """In the middle of a header an orange spot, along a bed joint a blue line, beyond the bricks only the cover."""
    data = picture(page, "The brick face in IMG_0105.jpg")
    orange = (data[..., 0] > 190) & (data[..., 1] > 70) & (data[..., 1] < 160) & (data[..., 2] < 90)
    blue = (data[..., 2] > 110) & (data[..., 0] < 90)
    left, top = 310 - 27 - 12, 300 - 9 - 12  # the bricks, a little larger each, and the margin of the cut
    for x, y in ((400 + 225, 330), (400 + 135, 390), (400 + 495, 450)):  # middles of headers
        assert orange[y - top - 3 : y - top + 4, x - left - 3 : x - left + 4].mean() > 0.8
    assert blue[360 - top - 1 : 360 - top + 2, 415 - left : 485 - left].any(axis=0).mean() > 0.9
    middle_of_stretcher = data[330 - top - 8 : 330 - top + 8, 490 - left - 30 : 490 - left + 30]
    assert not (orange | blue)[330 - top - 8 : 330 - top + 8, 490 - left - 30 : 490 - left + 30].any()
    assert middle_of_stretcher.std() > 3  # the brick itself can be seen
    corner = data[:6, :6].reshape(-1, 3)
    assert np.abs(corner - np.array(COVER)).max() < 30


def test_another_reading_gives_another_picture(tmp_path: Path, page: str) -> None:
    geometry = example.geometry()
    for shape in geometry["photos"][1]["brickwork"]["shapes"]:
        shape["kind"] = "stretcher" if shape["kind"] == "header" else shape["kind"]
    made = example.write_example(tmp_path, changes={"geometry": geometry})
    write_report(made, made_on=date(2026, 11, 25))
    after = picture((made / "results" / "report.html").read_text(encoding="utf-8"), "The brick face in")
    assert np.abs(after - picture(page, "The brick face in")).max() > 100


@pytest.mark.skipif(shutil.which("pdfimages") is None, reason="poppler is not installed")
def test_the_brick_picture_is_in_the_pdf_too(folder: Path, tmp_path: Path) -> None:
    without = example.geometry()
    without["photos"][1]["brickwork"]["shapes"] = []
    made = example.write_example(tmp_path, changes={"geometry": without})
    write_report(made, made_on=date(2026, 11, 25))
    command = ["pdfimages", "-list"]
    lists = [
        subprocess.run([*command, str(path / "results" / "report.pdf")], check=True, capture_output=True).stdout
        for path in (folder, made)
    ]
    assert len(lists[0].splitlines()) == len(lists[1].splitlines()) + 1


@pytest.mark.parametrize(
    ("entry", "has_reference", "finding", "why"),
    [
        (PhotoEntry(file="a.jpg"), False, None, "nothing of known size was found"),
        (PhotoEntry(file="a.jpg"), True, None, "its reference measures nothing"),
        (PhotoEntry(file="a.jpg", purpose="bond"), False, None, "no brick bond could be read"),
        (PhotoEntry(file="a.jpg"), False, {"photo": "a.jpg"}, "It is blurred. Take it again."),
        (PhotoEntry(file="a.jpg"), False, {"photo": "b.jpg"}, "nobody has marked a wall"),
    ],
    ids=["nothing", "reference alone", "bond", "its own finding", "another's finding"],
)
def test_a_photo_that_was_not_used_says_why(
    entry: PhotoEntry, has_reference: bool, finding: dict[str, str] | None, why: str
) -> None:
    geometry: dict[str, Any] = example.geometry() | {"findings": []}
    if finding is not None:
        told = {"code": "P007", "severity": "warn", "message": "It is blurred.", "remedy": "Take it again."}
        geometry["findings"] = [told | {"where": finding}]
    assert why in why_unused(entry, has_reference, Geometry.model_validate(geometry))


def test_a_photo_that_is_gone_is_said_to_be_gone(tmp_path: Path) -> None:
    geometry, survey = Geometry.model_validate(example.geometry()), Survey.model_validate(example.survey())
    told = photo_evidence(tmp_path, PhotoEntry(file="gone.jpg"), geometry, survey)
    assert told.picture_jpeg is None
    assert "not in the folder" in told.note


def test_brickwork_is_told_in_words() -> None:
    read = BrickworkResult.model_validate(example.brickwork())
    assert brickwork_words(read).replace("\u00a0", " ") == (
        "Flemish bond (97 in 100), 3 courses of 74.8 mm, give or take 0.8, and 18 bricks"
    )
    plain = read.model_copy(update={"bond": "stretcher", "course_height_mm": None})
    assert brickwork_words(plain) == "stretcher bond (97 in 100), 3 courses and 18 bricks"
