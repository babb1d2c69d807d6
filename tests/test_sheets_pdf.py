"""The printed sheets: true size, the right tags, honest words."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from intake.sheets_pdf import (
    BAR_MM,
    TAG_CENTRES_MM,
    TAG_SIDE_MM,
    outline_loops,
    tag_cells,
    write_sheets,
)
from vision.findings import PerpendError

DPI = 300
MM_PER_PX = 25.4 / DPI
TOLERANCE_MM = 0.1  # asked of the printed sheet; one pixel at 300 dpi is 0.085 mm

needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler's pdftoppm is not installed")


def render(pdf: Path, page: int, dpi: int = DPI) -> NDArray[np.uint8]:
    """Return one page of a PDF as grey pixels, drawn by poppler."""
    stem = pdf.with_name(f"page{page}")
    subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-gray", "-f", str(page), "-l", str(page), "-singlefile", str(pdf), str(stem)],
        check=True,
        capture_output=True,
    )
    picture = cv2.imread(str(stem.with_suffix(".pgm")), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return np.asarray(picture, dtype=np.uint8)


def found_tags(picture: NDArray[np.uint8]) -> dict[int, NDArray[np.float64]]:
    """Return the corners of every tag in millimetres from the middle of the page, x right, y up."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), parameters)
    corners, ids, _ = detector.detectMarkers(picture)
    height, width = picture.shape
    middle_px = np.array([width / 2 - 0.5, height / 2 - 0.5])
    return {
        int(tag): (np.asarray(quad, dtype=float).reshape(4, 2) - middle_px) * MM_PER_PX * np.array([1.0, -1.0])
        for tag, quad in zip(np.ravel(ids), corners, strict=True)
    }


@pytest.fixture(scope="module")
def pdf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_sheets(tmp_path_factory.mktemp("sheets") / "sheets.pdf", numbers=[17, 0, 145])


@needs_poppler
@pytest.mark.parametrize(("page", "number"), [(1, 17), (2, 0), (3, 145)])
def test_each_tag_is_where_the_sheet_says_to_a_tenth_of_a_millimetre(pdf: Path, page: int, number: int) -> None:
    """Tags 4n to 4n + 3 run from the top left clockwise, 72 mm wide, at (-100, 56) and so on."""
    tags = found_tags(render(pdf, page))
    assert sorted(tags) == [4 * number + corner for corner in range(4)]
    half = TAG_SIDE_MM / 2
    for corner, (x, y) in enumerate(TAG_CENTRES_MM):
        expected = np.array([[x - half, y + half], [x + half, y + half], [x + half, y - half], [x - half, y - half]])
        assert np.abs(tags[4 * number + corner] - expected).max() < TOLERANCE_MM


@needs_poppler
def test_a_page_scaled_by_the_printer_would_be_noticed(pdf: Path) -> None:
    """The measurement above can fail: the same page at 99.5 % is out by more than the tolerance."""
    tags = found_tags(render(pdf, 1))
    side = float(np.linalg.norm(tags[68][1] - tags[68][0]))
    assert side == pytest.approx(TAG_SIDE_MM, abs=TOLERANCE_MM)
    assert abs(0.995 * side - TAG_SIDE_MM) > TOLERANCE_MM


@needs_poppler
def test_the_bar_measures_250_mm_between_the_middles_of_its_ticks(pdf: Path) -> None:
    picture = render(pdf, 1, dpi=600)
    mm_per_px = 25.4 / 600
    middle_row = picture.shape[0] // 2
    rows = picture[middle_row - int(5.5 / mm_per_px) : middle_row - int(4.5 / mm_per_px)].astype(float)
    darkness = 255.0 - rows.mean(axis=0)
    columns = np.arange(picture.shape[1])
    ticks = []
    for side in (-1, 1):
        expected = picture.shape[1] / 2 + side * BAR_MM / 2 / mm_per_px
        near = np.abs(columns - expected) < 3 / mm_per_px
        assert darkness[near].max() > 100
        ticks.append(float(np.average(columns[near], weights=darkness[near])))
    assert (ticks[1] - ticks[0]) * mm_per_px == pytest.approx(BAR_MM, abs=TOLERANCE_MM)


@needs_poppler
def test_pages_are_a4_landscape_with_a_guide_after_the_sheets_and_every_font_inside(pdf: Path) -> None:
    info = subprocess.run(["pdfinfo", str(pdf)], check=True, capture_output=True, text=True).stdout
    assert "Pages:           4" in info
    size = next(line for line in info.splitlines() if line.startswith("Page size"))
    width_pt, height_pt = (float(size.split()[index]) for index in (2, 4))
    assert (width_pt * 25.4 / 72, height_pt * 25.4 / 72) == pytest.approx((297, 210), abs=0.05)
    fonts = subprocess.run(["pdffonts", str(pdf)], check=True, capture_output=True, text=True).stdout.splitlines()[2:]
    assert fonts
    for line in fonts:
        assert line.split()[-5] == "yes"  # the column emb


@needs_poppler
def test_the_words_ask_for_true_size_and_a_reading_and_put_local_codes_first(pdf: Path) -> None:
    words = subprocess.run(["pdftotext", str(pdf), "-"], check=True, capture_output=True, text=True).stdout
    sheet, guide = " ".join(words.split("\f")[0].split()), " ".join(words.split("\f")[3].split())
    assert "Print at 100 %" in sheet
    assert "The bar reads" in sheet
    for page in (sheet, guide):
        assert "Local codes and licensed practice come first" in page.replace("- ", "-")
    for promise in ("Before you start", "tape reading", "asbestos", "No bank", "number must not show", "curtains"):
        assert promise in guide


def test_the_outlines_give_back_the_cells_of_every_corner_tag() -> None:
    """Even-odd filling of the loops, pixel by pixel, equals the bit pattern."""
    for tag in (0, 70, 583):
        cells = tag_cells(tag)
        filled = np.zeros((8, 8), dtype=int)
        for loop in outline_loops(cells):
            mask = np.zeros((80, 80), dtype=np.uint8)
            cv2.fillPoly(mask, [np.array(loop) * 10], 1)
            filled += mask[5::10, 5::10]
        assert (filled % 2 == np.array(cells)).all()


@pytest.mark.parametrize(
    ("numbers", "message"),
    [
        ([], "no number given"),
        ([146], "sheet 146: there is no such sheet. Choose a number from 0 to 145."),
        ([-1], "sheet -1: there is no such sheet"),
        ([16, 16], "sheet 16: asked for more than once"),
    ],
)
def test_a_wrong_number_is_refused_with_what_to_ask_for(tmp_path: Path, numbers: list[int], message: str) -> None:
    with pytest.raises(PerpendError, match=message):
        write_sheets(tmp_path / "sheets.pdf", numbers=numbers)
    assert not list(tmp_path.iterdir())


@needs_poppler
def test_the_guide_can_be_left_out(tmp_path: Path) -> None:
    path = write_sheets(tmp_path / "deep" / "sheets.pdf", numbers=[3], guide=False)
    info = subprocess.run(["pdfinfo", str(path)], check=True, capture_output=True, text=True).stdout
    assert "Pages:           1" in info


@needs_poppler
def test_the_measurement_finds_its_own_sheet_on_the_printed_page(pdf: Path) -> None:
    """Seen square on at 100 dots an inch: number 17, four tags, 297 by 210 mm at that scale."""
    from vision.sheets import find_sheets

    page = render(pdf, 1, dpi=100)
    picture = np.full((page.shape[0] + 200, page.shape[1] + 200), 170, dtype=np.uint8)
    picture[100:-100, 100:-100] = page
    sheets, others = find_sheets(picture)
    assert [sheet.number for sheet in sheets] == [17]
    assert not others
    assert len(sheets[0].tags) == 4
    corners = np.asarray(sheets[0].rectangle_px)
    width_mm = float(np.linalg.norm(corners[1] - corners[0])) * 25.4 / 100
    height_mm = float(np.linalg.norm(corners[3] - corners[0])) * 25.4 / 100
    assert (width_mm, height_mm) == pytest.approx((297.0, 210.0), abs=0.1)
