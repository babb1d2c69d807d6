"""A hidden corner is where the edges beside it meet: on drawn pictures with a known corner, and on a rendered room."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.crossed_edges import CrossedEdges, cross_edges
from vision.walls import FloatArray, GreyImage

CORNER = np.array([402.3, 287.6])
UP, ALONG = np.radians(91.5), np.radians(-4.0)


def picture(*, hidden_px: float, noise: float = 2.0, step: int = 40) -> GreyImage:
    """Return two planes that meet along two edges from a corner, which a dark box hides."""
    scale = 4
    size = (800 * scale, 600 * scale)
    grey = np.full((size[1], size[0]), 150, np.uint8)
    corner = (CORNER + 0.5) * scale
    up = corner + 3000 * scale * np.array([np.cos(UP), -np.sin(UP)])
    along = corner + 3000 * scale * np.array([np.cos(ALONG), -np.sin(ALONG)])
    cv2.fillPoly(grey, [np.round([corner, along, [size[0] * 4, -size[1] * 4], up]).astype(np.int32)], 150 + step)
    small = cv2.resize(grey, (800, 600), interpolation=cv2.INTER_AREA)
    if hidden_px:
        low, high = np.round(CORNER - hidden_px).astype(int), np.round(CORNER + hidden_px).astype(int)
        small[low[1] : high[1], low[0] : high[0]] = 30
    rng = np.random.default_rng(2)
    noisy = cv2.GaussianBlur(small, (0, 0), 0.8) + rng.normal(0, noise, small.shape)
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


def drawn(rng: np.random.Generator, near_px: float, far_px: float, hand_px: float) -> FloatArray:
    ends = [
        [CORNER + reach * np.array([np.cos(angle), -np.sin(angle)]) for reach in (near_px, far_px)]
        for angle in (UP, ALONG)
    ]
    return np.array(ends) + rng.normal(0, hand_px, (2, 2, 2))


def cross(grey: GreyImage, pieces: FloatArray, hand_px: float = 2.0) -> CrossedEdges:
    found = cross_edges(grey, pieces, hand_sd_px=hand_px)
    assert isinstance(found, CrossedEdges), found
    return found


def test_a_hidden_corner_is_found_from_the_edges_beside_it_within_what_it_says() -> None:
    grey = picture(hidden_px=40)
    rng = np.random.default_rng(1)
    pulls = []
    for _ in range(20):
        found = cross(grey, drawn(rng, 70, 220, 2.0))
        assert found.fitted == (True, True)
        pulls.append(np.hypot(*(np.array(found.px) - CORNER)) / found.sd_px)
    assert np.max(pulls) < 2.0
    assert np.sqrt(np.mean(np.square(pulls))) < np.sqrt(2.0)


def test_where_no_edge_shows_the_pieces_count_as_drawn_and_say_so() -> None:
    rng = np.random.default_rng(3)
    blank = np.asarray(np.clip(rng.normal(150, 2, (600, 800)), 0, 255), np.uint8)
    pulls = []
    for _ in range(25):
        found = cross(blank, drawn(rng, 40, 220, 2.0))
        assert found.fitted == (False, False)
        pulls.append(np.hypot(*(np.array(found.px) - CORNER)) / found.sd_px)
    assert 0.5 < np.sqrt(np.mean(np.square(pulls))) < 1.8  # at most 1.41 in the long run; 25 draws spread by 0.14


def test_a_corner_further_from_the_pieces_is_less_sure() -> None:
    grey = picture(hidden_px=0)
    near = cross(grey, drawn(np.random.default_rng(4), 30, 150, 0.0))
    far = cross(grey, drawn(np.random.default_rng(4), 150, 270, 0.0))
    assert far.sd_px > near.sd_px


def test_turning_the_picture_a_quarter_turns_the_corner_with_it() -> None:
    grey = picture(hidden_px=40)
    pieces = drawn(np.random.default_rng(5), 70, 220, 1.0)
    turned_pieces = np.stack([pieces[..., 1], 799 - pieces[..., 0]], axis=-1)
    turned = cross(np.ascontiguousarray(np.rot90(grey)), turned_pieces)
    x, y = cross(grey, pieces).px
    assert turned.px == pytest.approx((y, 799 - x), abs=0.15)


@pytest.mark.parametrize(
    ("pieces", "words"),
    [
        ([[[10, 10], [15, 10]], [[50, 50], [50, 200]]], "too short"),
        ([[[10, 10], [200, 12]], [[10, 100], [200, 110]]], "nearly the same way"),
    ],
)
def test_pieces_that_do_not_make_a_corner_are_refused_in_words(pieces: list[list[list[int]]], words: str) -> None:
    found = cross_edges(picture(hidden_px=0), np.array(pieces, float), hand_sd_px=2.0)
    assert isinstance(found, str)
    assert words in found
