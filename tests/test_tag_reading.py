"""A square's cells tell its tag, whichever way up and with a few cells wrong; a lookalike is none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.linear_light import Picture
from vision.tag_fit import black_cells
from vision.tag_reading import HIGHEST_NUMBER, find_tags, read_tags
from vision.walls import FloatArray


def printed(cells: FloatArray, cell_px: int = 6, quiet: int = 2) -> Picture:
    """Return a picture of black cells (8, 8) on white, with so many cells of white about them."""
    black = np.pad(cells, quiet)
    picture = np.kron(235 - 200 * black, np.ones((cell_px, cell_px))).astype(np.uint8)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.uint8)


def corners(cell_px: int = 6, quiet: int = 2) -> FloatArray:
    low, high = quiet * cell_px - 0.5, (quiet + 8) * cell_px - 0.5
    return np.array([[low, low], [high, low], [high, high], [low, high]])


@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("tag", [0, 71, 4 * HIGHEST_NUMBER + 3])
def test_a_tag_is_read_with_its_corners_in_the_order_of_its_print(tag: int, turns: int) -> None:
    (found,) = find_tags(np.ascontiguousarray(np.rot90(printed(black_cells(tag)), turns)))
    assert found.id == tag
    assert np.abs(found.corners_px - np.roll(corners(), turns, axis=0)).max() < 0.5


def test_tags_beyond_the_highest_sheet_are_none() -> None:
    assert find_tags(printed(black_cells(4 * HIGHEST_NUMBER + 4))) == []


def test_three_wrong_cells_are_forgiven_and_four_are_not() -> None:
    cells = black_cells(40).copy()
    for row, column in ((1, 1), (3, 4), (6, 2)):
        cells[row, column] = 1 - cells[row, column]
    (found,) = find_tags(printed(cells))
    assert found.id == 40
    cells[4, 6] = 1 - cells[4, 6]
    assert find_tags(printed(cells)) == []


def test_a_pattern_without_its_black_border_is_no_tag() -> None:
    cells = black_cells(40).copy()
    cells[0], cells[:, 0] = 0, 0
    grey = printed(cells)
    grey[:, :4] = grey[:4] = 20  # something dark beside it, so that a square shows at all
    assert find_tags(grey) == []


def test_the_outline_of_the_white_about_a_tag_does_not_hide_the_tag() -> None:
    white = printed(black_cells(40), quiet=1)
    wall = np.full((140, 140), 120, np.uint8)
    wall[40 : 40 + len(white), 30 : 30 + len(white)] = white
    (found,) = find_tags(wall)
    assert found.id == 40
    assert np.abs(found.corners_px - corners(quiet=1) - np.array([30, 40])).max() < 0.6


def test_a_tag_of_several_outlines_is_read_once_and_is_not_among_the_unread() -> None:
    tags, unread = read_tags(printed(black_cells(40), cell_px=12), 1.0)
    assert [t.id for t in tags] == [40]
    middle = tags[0].corners_px.mean(axis=0)
    assert all(np.abs(c.mean(axis=0) - middle).max() > 40 for c in unread)


@pytest.mark.parametrize("cell_px", [3, 4, 9])
def test_a_large_photo_s_tags_are_found_at_half_its_size_and_placed_at_full_size(cell_px: int) -> None:
    large = np.full((2400, 3200), 150, np.uint8)
    small = printed(black_cells(40), cell_px)
    large[1000 : 1000 + len(small), 2001 : 2001 + len(small)] = small
    for thorough in (True, False):
        (found,) = find_tags(large, thorough=thorough)
        assert found.id == 40
        assert np.abs(found.corners_px - corners(cell_px) - np.array([2001, 1000])).max() < 0.25 * cell_px


def test_a_large_photo_is_searched_at_full_size_only_where_it_may_be_and_a_sheet_is_expected(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sizes: list[int] = []

    def noted(grey: Picture, *_: object) -> list[FloatArray]:
        sizes.append(grey.shape[1])
        return []

    monkeypatch.setattr("vision.tag_reading._squares", noted)
    bare = np.full((2400, 3200), 150, np.uint8)
    for options in ({}, {"full_size": False}, {"thorough": False}):
        find_tags(bare, **options)
    assert sizes == [1600, 3200, 1600, 1600]
