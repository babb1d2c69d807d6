"""Real photographs and other people's pictures: published tag corners, and pictures in which there is nothing to find.

ViSP's images (Debian `visp-images-data`, GPL, fetched and never kept): tags of eight families, with corners published
for each. OpenCV's documentation (`opencv-doc`): photographs of ArUco and ChArUco boards, a chessboard, a street, fruit.
scikit-image's sample pictures. None holds a survey sheet; loose tags of its family must not make one.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.outside.packages import debian_package
from vision.linear_light import Picture
from vision.quads import inward
from vision.references import find_references
from vision.sheet_map import TAG_CENTRES_MM, TAG_SQUARE_MM
from vision.sheets import find_sheets, find_tags, first_map
from vision.tag_fit import TagFit, fit_tags
from vision.walls import DeclaredReference, FloatArray, Measured

pytestmark = pytest.mark.package

CARD = DeclaredReference(
    id="c1",
    kind="id1_card",
    wall=None,
    width_mm=Measured(value=85.6, sd=0.05),
    height_mm=Measured(value=53.98, sd=0.05),
)
PAPER = DeclaredReference(
    id="p1", kind="a4", wall=None, width_mm=Measured(value=297, sd=0.5), height_mm=Measured(value=210, sd=0.5)
)


def visp_tags() -> Path:
    return debian_package("visp-images-data") / "usr/share/visp-images-data/ViSP-images/AprilTag"


def read(file: Path) -> Picture:
    picture = cv2.imread(str(file), cv2.IMREAD_COLOR)
    assert picture is not None, file
    return np.asarray(picture, np.uint8)


def published_corners(file: Path) -> dict[int, FloatArray]:
    """Return corners by id; their pixel (0, 0) is a corner of the first pixel, so half a pixel comes off."""
    lines = [line.split() for line in file.read_text().splitlines() if line.strip()]
    return {
        int(lines[i][0]): np.array([[float(v) for v in line] for line in lines[i + 1 : i + 5]]) - 0.5
        for i in range(0, len(lines), 5)
    }


def test_corners_fitted_to_one_tag_agree_with_those_published_for_it() -> None:
    folder = visp_tags() / "benchmark/640x480"
    picture = read(folder / "tag36_11_640x480.png")
    published = published_corners(folder / "corners_tag36_11.txt")
    tags = find_tags(picture)
    assert sorted(t.id for t in tags) == sorted(published)
    gaps = []
    for tag in tags:
        number, k = divmod(tag.id, 4)
        fit = fit_tags(picture, number, [k], first_map({k: tag.corners_px}))
        assert isinstance(fit, TagFit)
        assert fit.likeness[0] > 0.99
        corners = fit.map.to_pixels(TAG_CENTRES_MM[k] + TAG_SQUARE_MM)
        near = [int(np.argmin(np.linalg.norm(published[tag.id] - c, axis=1))) for c in corners]
        gap, move = published[tag.id][near] - corners, inward(corners)
        gaps.append(gap - np.sum(gap * move) / np.sum(move**2) * move)
    # Agreement once light's spread is taken off; published corners are another reader's, not the truth.
    assert np.sqrt(np.mean(np.square(gaps))) < 0.1
    assert np.abs(gaps).max() < 0.3


def test_loose_tags_make_no_sheet_and_other_families_are_not_read() -> None:
    files = [*sorted(visp_tags().rglob("*.png")), visp_tags() / "AprilTag.pgm"]
    assert len(files) >= 17
    for file in files:
        picture = read(file)
        sheets, others = find_sheets(picture)
        assert sheets == [], file.name
        if "36_11" not in file.name and file.suffix == ".png":
            assert find_tags(picture) == [], file.name
        assert all(o.reason for o in others)


@pytest.mark.parametrize(
    "name",
    [
        "singlemarkersoriginal.jpg",
        "charucoboard.jpg",
        "gbmarkersaxis.jpg",
        "board.jpg",
        "left01.jpg",
        "home.jpg",
        "fruits.jpg",
    ],
)
def test_photographs_of_other_boards_and_streets_hold_no_reference(name: str) -> None:
    files = sorted(debian_package("opencv-doc").rglob(name))
    if not files:
        pytest.skip(f"NOT CHECKED: this opencv-doc has no {name}")
    assert_nothing_used(read(files[0]))


@pytest.mark.parametrize("name", ["astronaut", "coffee", "brick", "page", "chelsea", "rocket", "camera", "text"])
def test_sample_pictures_of_scikit_image_hold_no_reference(name: str) -> None:
    data = pytest.importorskip("skimage.data")
    try:
        picture = getattr(data, name)()
    except (OSError, ConnectionError, ModuleNotFoundError, ValueError) as error:
        pytest.skip(f"NOT CHECKED against scikit-image's {name}: {error}")
    colour = picture[..., :3][..., ::-1] if picture.ndim == 3 else picture
    assert_nothing_used(np.ascontiguousarray(colour))


def assert_nothing_used(picture: Picture) -> None:
    search = find_references(picture, photo="p", declared=(CARD, PAPER), propose=True)
    assert not [s for s in search.sightings if s.confirmed]
    assert not [s for s in search.sightings if s.kind == "survey_sheet"]
