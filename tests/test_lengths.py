"""Sizes from corner points: definitions, invariance, derivatives, the tape's tolerance."""

from __future__ import annotations

import numpy as np
import pytest

from vision.lengths import sizes_with_gradient, tape_sd_mm, wall_sizes

CORNERS = {
    "wall/bottom_left": (0.0, 0.0), "wall/bottom_right": (3871.0, 4.0), "wall/top_right": (3866.0, 2632.0),
    "wall/top_left": (3.0, 2627.0), "w1/bottom_left": (1500.0, 812.0), "w1/bottom_right": (2700.0, 810.0),
    "w1/top_right": (2702.0, 2010.0), "w1/top_left": (1503.0, 2012.0), "s1/bottom_left": (300.0, 450.0),
    "s1/top_right": (446.0, 536.0),
}  # fmt: skip


def _points(turn: float = 0.0, shift: tuple[float, float] = (0.0, 0.0)) -> dict[str, np.ndarray]:
    c, s = np.cos(turn), np.sin(turn)
    return {k: np.array([[c, -s], [s, c]]) @ np.array(v) + shift for k, v in CORNERS.items()}


def test_lengths_do_not_change_when_the_wall_is_turned_and_moved() -> None:
    sizes = wall_sizes(set(CORNERS), ["w1"], [])
    here, _ = sizes_with_gradient(sizes, _points())
    there, _ = sizes_with_gradient(sizes, _points(0.3, (500.0, -200.0)))
    np.testing.assert_allclose(here, there, atol=1e-9)


def test_the_width_is_the_mean_of_bottom_and_top() -> None:
    sizes = wall_sizes(set(CORNERS), ["w1"], ["s1"])
    values = dict(zip(sizes, sizes_with_gradient(sizes, _points())[0], strict=True))
    assert values["width_mm"] == pytest.approx((values["width_bottom_mm"] + values["width_top_mm"]) / 2)
    assert values["width_bottom_mm"] == pytest.approx(np.hypot(3871.0, 4.0))
    assert values["openings.w1.left_mm"] == pytest.approx(1499.0, abs=1.5)
    assert values["openings.w1.sill_mm"] == pytest.approx(808.8, abs=1.0)
    assert values["features.s1.width_mm"] == pytest.approx(146.0)


def test_derivatives_equal_finite_differences() -> None:
    sizes = wall_sizes(set(CORNERS), ["w1"], ["s1"])
    points = _points()
    _, slopes = sizes_with_gradient(sizes, points)
    for name in points:
        for axis in range(2):
            moved = {k: v.copy() for k, v in points.items()}
            moved[name][axis] += 1e-3
            back = {k: v.copy() for k, v in points.items()}
            back[name][axis] -= 1e-3
            numeric = (sizes_with_gradient(sizes, moved)[0] - sizes_with_gradient(sizes, back)[0]) / 2e-3
            np.testing.assert_allclose(slopes[name][:, axis], numeric, atol=1e-6)


def test_a_size_whose_corner_is_missing_is_not_formed() -> None:
    sizes = wall_sizes(set(CORNERS) - {"wall/top_right"}, ["w1"], [])
    assert "width_mm" not in sizes
    assert "width_bottom_mm" in sizes
    assert "height_left_mm" in sizes


@pytest.mark.parametrize(("length_mm", "limit_mm"), [(900.0, 0.5), (3870.0, 1.1), (4000.0, 1.1)])
def test_a_tape_is_no_better_than_its_class_allows(length_mm: float, limit_mm: float) -> None:
    # Directive 2014/32/EU annex X, class II: 0.3 mm + 0.2 mm per metre begun; as a rectangular distribution
    assert tape_sd_mm(length_mm) > limit_mm / np.sqrt(3.0)
    assert tape_sd_mm(length_mm) < 2.2
