"""How far a press that went to an edge crossing is trusted there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from intake.page.snap import DOUBTFUL, SHOWS, chance_of_another, widened_sd_px
from tests.page_scenes import SIZE_PX, two_window_room
from tests.scenes import render
from tests.scenes_random import look_at
from vision.crossings import Crossing, find_crossing

WITHIN = 2.45  # 95 % of a two-dimensional normal lie within so many standard deviations


def test_the_chance_of_another_corner_is_what_counting_gives() -> None:
    chance = np.random.default_rng(11)
    n, reach = 400_000, 14.0
    shows = chance.random(n) < SHOWS
    hand = np.hypot(*(reach / 3 * chance.normal(size=(2, n))))
    anywhere = reach * np.sqrt(chance.random(n))
    moved = np.where(shows, hand, anywhere)
    for low in (0.5, 4.0, 7.0, 10.0, 12.0):
        there = (moved >= low) & (moved < low + 0.5)
        counted = float(np.mean(~shows[there]))
        assert chance_of_another(low + 0.25, reach) == pytest.approx(counted, abs=0.03)


def test_the_further_a_press_goes_the_less_it_is_trusted_and_one_that_stays_keeps_its_sd() -> None:
    moves = np.linspace(0.0, 14.0, 30)
    chances = [chance_of_another(m, 14.0) for m in moves]
    sds = [widened_sd_px(1.3, m, 14.0) for m in moves]
    assert np.all(np.diff(chances) > 0) and np.all(np.diff(sds) > 0)
    assert chances[0] < 0.03 < DOUBTFUL < chances[-1]
    assert sds[0] == 1.3
    assert widened_sd_px(2.6, 10.0, 28.0) == pytest.approx(2 * widened_sd_px(1.3, 5.0, 14.0))  # a photo twice as fine


def test_on_reveals_of_the_walls_own_tone_the_stated_sd_covers_what_presses_find() -> None:
    """Where an edge has hardly any contrast the crossing found is often another one (1 in 4 on the screen)."""
    room = two_window_room()
    openings = [replace(o, faces=1.0) for o in (room.opening, *room.more_openings) if o is not None]
    room = replace(room, opening=openings[0], more_openings=tuple(openings[1:]))
    camera = look_at(
        np.array([900.0, 1550.0, 3900.0]), np.array([2290.0, 1250.0, 0.0]),
        size_px=SIZE_PX, focal_px=0.7 * SIZE_PX[0], k1=-0.01, k2=0.004, roll_deg=0.6,
    )  # fmt: skip
    scene = render(room, camera, seed=1)
    grey = scene.picture.mean(axis=2).round().astype(np.uint8)
    chance = np.random.default_rng(5)
    plain, widened = [], []
    for name, at in scene.pixels.items():
        if at is None or not name.startswith(("open", "back", "wall")):
            continue
        for press in np.array(at) + chance.normal(0.0, 4.8, size=(6, 2)):
            found = find_crossing(grey, (float(press[0]), float(press[1])), reach_px=14.0)
            if isinstance(found, Crossing):
                off, moved = np.hypot(*(np.array(found.px) - at)), float(np.hypot(*(np.array(found.px) - press)))
                plain.append(off <= WITHIN * found.sd_px)
                widened.append(off <= WITHIN * widened_sd_px(found.sd_px, moved, 14.0))
    assert len(plain) > 80
    assert np.mean(widened) > 0.8
    assert np.mean(widened) > np.mean(plain) + 0.08
