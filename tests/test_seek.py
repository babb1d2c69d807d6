"""A press anywhere on a card or a sheet of paper finds its outline; a press beside it does not."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.scenes import render_reference_patch
from tests.scenes_random import random_camera, random_room, random_style
from vision.cards import Target
from vision.linear_light import Picture
from vision.quads import as_seen
from vision.seek import seek_outline
from vision.walls import FloatArray

TARGETS = {"card": Target.of("id1_card"), "a4": Target.of("a4")}


@cache
def patch(kind: str, seed: int) -> tuple[Picture, FloatArray]:
    rng = np.random.default_rng(seed)
    room = random_room(rng, references=(kind,), things=0)
    camera = random_camera(rng, room, size_px=(4032, 3024), distance_mm=(2500, 3500), angle_deg=25)
    piece, corners, (left, top) = render_reference_patch(room, camera, random_style(rng), margin=1.2, seed=seed)
    picture = np.empty((3024, 4032, 3), np.uint8)
    picture[:] = np.median(piece.reshape(-1, 3), axis=0)
    low, high = np.maximum([left, top], 0), np.minimum([left + piece.shape[1], top + piece.shape[0]], [4032, 3024])
    picture[low[1] : high[1], low[0] : high[0]] = piece[low[1] - top : high[1] - top, low[0] - left : high[0] - left]
    return picture, as_seen(corners + np.array([left, top]))


def pressed(picture: Picture, corners: FloatArray, kind: str, u: float, v: float) -> FloatArray | str:
    tl, tr, br, bl = corners
    place = (1 - v) * ((1 - u) * tl + u * tr) + v * ((1 - u) * bl + u * br)
    return seek_outline(picture, (float(place[0]), float(place[1])), TARGETS[kind])


@pytest.mark.parametrize("kind", list(TARGETS))
def test_a_press_on_the_thing_finds_its_corners(kind: str) -> None:
    rng = np.random.default_rng(1)
    found = 0
    for seed in range(20, 26):
        picture, corners = patch(kind, seed)
        outline = pressed(picture, corners, kind, *rng.uniform(0.3, 0.7, 2))
        if not isinstance(outline, str):
            found += 1
            assert np.abs(outline - corners).max() < 2.5
    assert found >= 5  # of six; one of them may be as light as its wall


def test_every_place_on_it_finds_the_same_corners() -> None:
    picture, corners = patch("card", 20)
    first = pressed(picture, corners, "card", 0.5, 0.5)
    for u, v in ((0.2, 0.2), (0.8, 0.3), (0.4, 0.8)):
        other = pressed(picture, corners, "card", u, v)
        assert not isinstance(first, str) and not isinstance(other, str)
        assert np.abs(other - first).max() < 0.5


def test_a_press_beside_it_finds_nothing_and_says_so() -> None:
    picture, corners = patch("card", 20)
    assert isinstance(pressed(picture, corners, "card", -0.4, 0.5), str)
    assert seek_outline(picture, (-5.0, 10.0), TARGETS["card"]) == "outside the picture"


def test_a_thing_of_another_shape_is_refused_with_the_reason() -> None:
    picture, corners = patch("a4", 21)
    refused = seek_outline(picture, tuple(corners.mean(axis=0)), Target.of("rectangle", 600.0, 100.0))
    assert isinstance(refused, str)
    assert refused.startswith("what has four sides here is not it")
