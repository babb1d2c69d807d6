"""The corner beneath a click is found to a fraction of a pixel where two edges show, or left alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.crossings import Crossing, find_crossing
from vision.walls import FloatArray, GreyImage

FINE = 5


def corner_picture(
    at: tuple[float, float],
    directions_deg: tuple[float, float],
    *,
    light: tuple[float, float] = (0.15, 0.6),
    blur_px: float = 0.8,
    noise: float = 0.0,
    size: int = 120,
    seed: int = 0,
) -> GreyImage:
    """Return a wedge between two directions from a point, lit in linear light, blurred by the lens, coded as sRGB.

    Rendered ``FINE`` times finer and averaged, so its edges are where they are said to be; this shares no code with
    what it tests.
    """
    import cv2

    step = (np.arange(size * FINE) + 0.5) / FINE - 0.5
    x, y = np.meshgrid(step - at[0], step - at[1])
    a, b = (np.deg2rad(d) for d in directions_deg)
    inside = (np.cos(a) * y - np.sin(a) * x >= 0) & (np.cos(b) * y - np.sin(b) * x <= 0)
    linear = np.where(inside, light[1], light[0])
    linear = cv2.GaussianBlur(linear, (0, 0), blur_px * FINE)
    linear = linear.reshape(size, FINE, size, FINE).mean(axis=(1, 3))
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    coded = 255 * coded + noise * np.random.default_rng(seed).normal(size=coded.shape)
    picture: GreyImage = np.clip(np.round(coded), 0, 255).astype(np.uint8)
    return picture


def off(found: object, at: tuple[float, float]) -> float:
    assert isinstance(found, Crossing), found
    return float(np.hypot(found.px[0] - at[0], found.px[1] - at[1]))


@settings(max_examples=20, deadline=None)
@given(
    x=st.floats(55, 65),
    y=st.floats(55, 65),
    turn=st.floats(0, 360),
    opening=st.floats(50, 130),
    angle=st.floats(0, 2 * np.pi),
)
def test_a_clean_corner_is_found_within_a_quarter_of_a_pixel(
    x: float, y: float, turn: float, opening: float, angle: float
) -> None:
    picture = corner_picture((x, y), (turn, turn + opening))
    click = (x + 5 * np.cos(angle), y + 5 * np.sin(angle))
    assert off(find_crossing(picture, click, reach_px=12.0), (x, y)) < 0.25


@pytest.mark.parametrize("light", [(0.02, 0.9), (0.3, 0.4), (0.9, 0.02)])
def test_brightness_does_not_move_the_corner(light: tuple[float, float]) -> None:
    picture = corner_picture((60.3, 59.6), (10, 100), light=light)
    assert off(find_crossing(picture, (63, 57), reach_px=12.0), (60.3, 59.6)) < 0.25


def test_a_corner_in_a_noisy_picture_is_found_and_its_uncertainty_covers_it() -> None:
    offs, claimed = [], []
    for seed in range(30):
        chance = np.random.default_rng(seed)
        at = (60 + chance.uniform(-1, 1), 60 + chance.uniform(-1, 1))
        picture = corner_picture(at, (20, 105), light=(0.2, 0.32), noise=4.0, seed=seed)
        found = find_crossing(picture, (at[0] + chance.normal(0, 3), at[1] + chance.normal(0, 3)), reach_px=12.0)
        if isinstance(found, Crossing):
            offs.append(off(found, at))
            claimed.append(found.sd_px)
    assert len(offs) >= 24
    # 95 % of a two-dimensional normal lie within 2.45 standard deviations
    assert np.mean(np.array(offs) <= 2.45 * np.array(claimed)) >= 0.9


def test_turning_the_picture_turns_the_crossing() -> None:
    at = (58.4, 61.7)
    picture = corner_picture(at, (30, 110), noise=1.5)
    upright = find_crossing(picture, (60, 60), reach_px=12.0)
    turned = find_crossing(np.ascontiguousarray(np.rot90(picture)), (60, 119 - 60), reach_px=12.0)
    assert isinstance(upright, Crossing)
    assert isinstance(turned, Crossing)
    assert (turned.px[1], turned.px[0]) == pytest.approx((119 - upright.px[0], upright.px[1]), abs=0.1)


def test_the_directions_are_those_of_the_edges() -> None:
    found = find_crossing(corner_picture((60, 60), (15, 95)), (61, 62), reach_px=12.0)
    assert isinstance(found, Crossing)
    edges: FloatArray = np.stack([[np.cos(np.deg2rad(d)), np.sin(np.deg2rad(d))] for d in (15.0, 95.0)])
    alike = np.abs(found.directions @ edges.T)
    assert np.sort(alike.max(axis=1)) == pytest.approx([1.0, 1.0], abs=1e-3)


def test_a_crossing_out_of_reach_is_not_taken() -> None:
    picture = corner_picture((60, 60), (0, 90))
    assert find_crossing(picture, (80, 80), reach_px=12.0) in ("no crossing within reach", "no edges here")


def test_a_single_edge_has_no_crossing() -> None:
    picture = corner_picture((60, -400), (90, 180))
    assert find_crossing(picture, (60, 60), reach_px=12.0) == "no crossing within reach"


@pytest.mark.parametrize("noise", [0.0, 3.0])
def test_a_plain_wall_has_no_crossing(noise: float) -> None:
    reasons = {"no edges here", "no crossing within reach"}
    for seed in range(10):
        picture = corner_picture((600, 600), (0, 90), noise=noise, seed=seed)
        assert find_crossing(picture, (60, 60), reach_px=15.0) in reasons


def test_two_corners_as_near_are_left_to_the_person() -> None:
    first = corner_picture((54, 60), (180, 270), light=(0.5, 0.1)).astype(int)
    second = corner_picture((66, 60), (270, 360), light=(0.5, 0.1)).astype(int)
    picture = np.minimum(first, second).astype(np.uint8)
    assert find_crossing(picture, (60, 60), reach_px=12.0) == "two crossings as likely"


@pytest.mark.parametrize("click", [(-1.0, 5.0), (5.0, 120.0), (1e9, 0.0)])
def test_a_click_outside_the_picture_is_said(click: tuple[float, float]) -> None:
    assert find_crossing(corner_picture((60, 60), (0, 90)), click, reach_px=10.0) == "outside the picture"


def test_a_corner_at_the_border_is_no_failure() -> None:
    for click in ((0.0, 0.0), (119.0, 119.0), (3.0, 60.0)):
        find_crossing(corner_picture((4, 60), (0, 90)), click, reach_px=10.0)
