"""The report's PDF: opens, fonts inside, drawings true to scale on the paper, the footer on every page."""

from __future__ import annotations

import shutil
import subprocess
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest

from intake.report import write_report
from tests import report_example as example

DPI = 300
MM_PER_PX = 25.4 / DPI
ARTEFACTS = Path(__file__).parent / "artefacts" / "report_pages"
TOLERANCE_MM = 0.2  # asked of a drawing at 1:20 on the page

pytestmark = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler is not installed")


@pytest.fixture(scope="module")
def pdf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = example.write_whole_example(tmp_path_factory.mktemp("pdf"))
    write_report(made, made_on=date(2026, 11, 25))
    return made / "results" / "report.pdf"


def told(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def page_texts(pdf: Path) -> list[str]:
    return [" ".join(page.split()) for page in told("pdftotext", "-layout", str(pdf), "-").split("\f")][:-1]


def test_it_opens_with_every_font_inside_and_no_author(pdf: Path) -> None:
    info = told("pdfinfo", str(pdf))
    assert "Title:           Lock cottage, back room: wall lining report" in info
    assert "Author" not in info
    assert "Encrypted:       no" in info
    assert "Tagged:          yes" in info
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf.read_bytes()  # typst checks PDF/UA-1 as it writes
    fonts = told("pdffonts", str(pdf)).splitlines()[2:]
    assert fonts
    assert all(line.split()[-5] == "yes" for line in fonts)  # the column emb


def test_the_first_page_answers_what_wall_which_board_what_to_tape_and_what_to_mind(tmp_path: Path) -> None:
    """For one wall, all that a householder asks first is on one page; the order list begins on the next."""
    geometry, survey = example.geometry(), example.survey()
    geometry["walls"], survey["walls"] = geometry["walls"][:1], survey["walls"][:1]
    geometry["findings"], survey["rooms"][0]["walls"] = [], ["north"]
    made = example.write_whole_example(tmp_path, changes={"geometry": geometry, "survey": survey})
    write_report(made, made_on=date(2026, 11, 25))
    first, second = page_texts(made / "results" / "report.pdf")[:2]
    for told in (
        "Do not go ahead before…",
        "Next:",
        "3 871 mm, give or take 10",
        "solid brick, one brick thick (94 in 100)",
        "60 mm phenolic laminate",
        "What to tape first",
        "Cautions in short",
        "Electricity",
    ):
        assert told in first.replace("\u00a0", " "), told
    assert "What to order" in second
    assert "What to order" not in first


def test_local_codes_come_first_on_every_page(pdf: Path) -> None:
    pages = page_texts(pdf)
    assert len(pages) > 8
    for number, page in enumerate(pages, start=1):
        assert "Local codes and licensed practice come first." in page, number
        assert "Tested on simulated walls only; not a design." in page, number
        assert f"{number} of {len(pages)}" in page, number


def test_no_page_is_empty_or_overflows(pdf: Path) -> None:
    """Every page is drawn, and nothing dark touches the edge of the paper; the pages are kept to be looked at."""
    shutil.rmtree(ARTEFACTS, ignore_errors=True)
    ARTEFACTS.mkdir(parents=True)
    subprocess.run(["pdftoppm", "-r", "60", "-png", str(pdf), str(ARTEFACTS / "page")], check=True, capture_output=True)
    pages = sorted(ARTEFACTS.glob("page-*.png"))
    assert len(pages) == len(page_texts(pdf))
    for page in pages:
        picture = cv2.imread(str(page), cv2.IMREAD_GRAYSCALE)
        assert picture is not None
        dark = np.asarray(picture) < 170
        assert dark[: int(0.9 * len(dark))].sum() > 200, page.name  # the footer does not count
        edge = round(4 / 25.4 * 60)
        rim = dark.copy()
        rim[edge:-edge, edge:-edge] = False
        assert not rim.any(), page.name


def thick_lines(pdf: Path, page: int, tmp_path: Path) -> tuple[list[float], list[float]]:
    """Return the positions [mm] of thick upright and thick level lines on a page, their middles."""
    stem = tmp_path / "drawing"
    command = [
        "pdftoppm",
        "-r",
        str(DPI),
        "-gray",
        "-f",
        str(page),
        "-l",
        str(page),
        "-singlefile",
        str(pdf),
        str(stem),
    ]
    subprocess.run(command, check=True, capture_output=True)
    picture = cv2.imread(str(stem.with_suffix(".pgm")), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    dark = np.asarray(picture) < 70
    found: list[list[float]] = []
    for axis in (0, 1):
        share = dark.mean(axis=axis)
        hits = np.flatnonzero(share > 0.45)
        runs = np.split(hits, np.flatnonzero(np.diff(hits) > 1) + 1)
        found.append([float(run.mean()) * MM_PER_PX for run in runs if len(run) >= 4])
    return found[0], found[1]


def test_the_elevation_at_1_to_20_measures_right_on_the_page(pdf: Path, tmp_path: Path) -> None:
    """The north wall, 3 871.2 by 2 629.8 mm, is 193.56 by 131.49 mm on paper."""
    pages = page_texts(pdf)
    number = next(index for index, page in enumerate(pages, start=1) if "north: elevation as measured" in page)
    assert "Scale 1:20" in pages[number - 1]
    upright, level = thick_lines(pdf, number, tmp_path)
    width, height = upright[-1] - upright[0], level[-1] - level[0]
    assert width == pytest.approx(3871.2 / 20, abs=TOLERANCE_MM)
    assert height == pytest.approx(2629.8 / 20, abs=TOLERANCE_MM)
