"""Pixel values become light by the published curve, and a blurred step is found to a hundredth of a sample."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from tests.scenes_draw import encode
from vision.linear_light import LINEAR_OF_CODE, linear_light, sample_light, step_edges


@pytest.mark.parametrize(("code", "light"), [(0, 0.0), (10, 0.003035), (128, 0.215861), (188, 0.502886), (255, 1.0)])
def test_srgb_codes_have_their_published_light(code: int, light: float) -> None:
    # IEC 61966-2-1: code 128 is 21.6 % of white, 188 just over half; computed from the standard's formula by hand.
    assert pytest.approx(light, abs=2e-6) == LINEAR_OF_CODE[code]


def test_light_turns_back_into_the_code_it_came_from() -> None:
    codes = np.arange(256, dtype=np.uint8)
    assert np.array_equal(np.round(encode(LINEAR_OF_CODE[codes], 0.0) * 255).astype(int), codes)


def test_a_grey_picture_and_its_colour_copy_have_the_same_light() -> None:
    grey = np.random.default_rng(1).integers(0, 256, (6, 7)).astype(np.uint8)
    colour = np.repeat(grey[..., None], 3, axis=2)
    assert linear_light(colour) == pytest.approx(linear_light(grey))


def test_sampling_at_whole_pixels_returns_them_and_outside_the_rim() -> None:
    light = np.random.default_rng(2).random((9, 11))
    places = np.array([[3.0, 4.0], [0.0, 0.0], [-5.0, 2.0]])
    assert sample_light(light, places) == pytest.approx([light[4, 3], light[0, 0], light[2, 0]], abs=1e-6)


@pytest.mark.parametrize("place", [-0.7, 0.0, 0.31])
@pytest.mark.parametrize("blur", [0.7, 1.5])
@pytest.mark.parametrize("levels", [(0.1, 0.7), (0.7, 0.1)])
def test_a_blurred_step_is_found_where_it_is(place: float, blur: float, levels: tuple[float, float]) -> None:
    x = np.arange(-8, 8.01, 0.5)
    profile = levels[0] + (levels[1] - levels[0]) * ndtr((x - place) / blur)
    (step,) = step_edges(x, profile)
    assert step.position == pytest.approx(place, abs=0.005)
    assert step.blur == pytest.approx(blur, abs=0.02)
    assert (step.before, step.after) == pytest.approx(levels, abs=0.005)


def test_the_stated_sd_of_a_step_is_the_scatter_of_its_place() -> None:
    x = np.arange(-6, 6.01, 0.5)
    rng = np.random.default_rng(3)
    found = [step_edges(x, 0.2 + 0.5 * ndtr((x - 0.2) / 1.1) + rng.normal(0, 0.02, len(x)))[0] for _ in range(300)]
    scatter = float(np.std([s.position for s in found]))
    assert np.mean([s.sd for s in found]) == pytest.approx(scatter, rel=0.2)


def test_two_steps_come_strongest_first_and_a_flat_profile_has_none() -> None:
    x = np.arange(-12, 12.01, 0.5)
    profile = 0.5 * ndtr(x + 5) - 0.2 * ndtr(x - 5)
    assert [round(s.position) for s in step_edges(x, profile, count=2)] == [-5, 5]
    assert step_edges(x, np.full(len(x), 0.4)) == []
