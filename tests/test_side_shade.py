"""A thing's four shadows are of one light, and what the phone did to the picture does not move its sides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import vision.side_step
from tests.scenes import Reference, Room, Style, render_reference_patch
from tests.scenes_draw import FloatArray, Picture
from tests.scenes_random import look_at
from vision.side_fit import FittedQuad, fit_quad
from vision.side_light import bent, encode
from vision.side_shade import Shades

OUTWARD = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])  # above, right, below, left
CLEAN = Style(gradient=(0.0, 0.0), blur_px=0.9, noise=0.003, sharpen=0.3, tone=0.0, jpeg_quality=97)
SAYS_NOTHING = np.zeros((4, 4)), np.zeros(4)


def patch_of(thing: Reference, style: Style = CLEAN, *, focal_px: float = 1400) -> tuple[Picture, FloatArray]:
    corners = np.array([[0, 0], [2400, 0], [2400, 2100], [0, 2100]], float)
    room = Room(corners_mm=corners, references=(thing,), colour=(0.42, 0.42, 0.4))
    at, aim = np.array([1200.0, 1200.0, 1200.0]), np.array([1200.0, 1200.0, 0.0])
    camera = look_at(at, aim, size_px=(2016, 1512), focal_px=focal_px)
    picture, outline, _ = render_reference_patch(room, camera, style, seed=5)
    return picture, outline[[3, 2, 1, 0]]


def plain(grey: float, *, off_mm: float = 0.0) -> Reference:
    """Return a thin flat thing of a card's size, so that no side face shows."""
    colour, size = (grey, grey, grey), (85.6, 53.98)
    return Reference(
        kind="a4", centre_mm=(1205.3, 1195.8), turn_deg=1.5, stand_off_mm=off_mm, colour=colour, size_mm=size
    )


def fitted(picture: Picture, corners: FloatArray, thick_mm: float = 0.0) -> FittedQuad:
    fit = fit_quad(picture, corners, px_per_mm=1400 / 1200, thick_mm=thick_mm)
    assert not isinstance(fit, str)
    return fit


def outwards(fit: FittedQuad, true: FloatArray) -> FloatArray:
    """Return how far each side lies outside the true one in its middle, px."""
    middle = 0.5 * (true + np.roll(true, -1, axis=0))
    return np.array([side.line[:2] @ m + side.line[2] for side, m in zip(fit.sides, middle, strict=True)])


def test_shadows_of_which_pixels_say_nothing_lie_rather_below_and_grow_with_the_thickness() -> None:
    thin, thick = (Shades.of(OUTWARD, 1.0, t).told_by(*SAYS_NOTHING)[0] for t in (0.0, 0.76))
    assert thin[1] == pytest.approx(thin[3])
    assert thin[0] < thin[1] < thin[2]
    assert (thick > 1.5 * thin).all()
    twice = Shades.of(OUTWARD, 2.0, 0.76).told_by(*SAYS_NOTHING)[0]
    assert twice == pytest.approx(2 * thick)


def test_a_shadow_beside_one_side_says_that_there_is_none_beside_the_opposite() -> None:
    shades = Shades.of(OUTWARD, 1.0, 0.76)
    before, spread = shades.told_by(*SAYS_NOTHING)
    known = np.diag([0.0, 0.0, 1 / 0.03**2, 0.0])
    after, less = shades.told_by(known, known @ np.array([0.0, 0.0, 0.3, 0.0]))
    assert after[2] == pytest.approx(0.3, abs=0.02)
    assert after[0] < 0.4 * before[0]
    assert less[0, 0] < 0.2 * spread[0, 0]
    assert after[1] == pytest.approx(after[3])


def test_a_shadow_that_pixels_show_above_is_believed() -> None:
    known = np.diag([1 / 0.05**2, 0.0, 0.0, 0.0])
    told = Shades.of(OUTWARD, 1.0, 0.76).told_by(known, known @ np.array([0.3, 0.0, 0.0, 0.0]))[0]
    assert told[0] == pytest.approx(0.3, abs=0.03)
    assert told[2] < 0.05


def test_what_pixels_say_of_shadows_is_weighed_as_by_drawing_shadows_at_random() -> None:
    shades = Shades.of(OUTWARD, 1.0, 0.76)
    rng = np.random.default_rng(3)
    half = rng.normal(0, 6, (4, 4))
    known = half @ half.T
    pull = known @ np.array([0.02, 0.2, 0.15, 0.0])
    ways = rng.choice(len(shades.mean), 400_000, p=shades.likely)
    roots = np.linalg.cholesky(np.linalg.inv(shades.precision))
    drawn = shades.mean[ways] + np.einsum("nij,nj->ni", roots[ways], rng.normal(size=(len(ways), 4)))
    log = drawn @ pull - 0.5 * np.sum(drawn @ known * drawn, axis=1)
    weight = np.exp(log - log.max())
    mean = weight @ drawn / weight.sum()
    apart = drawn - mean
    spread = (weight[:, None] * apart).T @ apart / weight.sum()
    told, covariance = shades.told_by(known, pull)
    assert told == pytest.approx(mean, abs=0.003)
    assert covariance == pytest.approx(spread, abs=3e-4)


def test_codes_of_a_phone_s_tone_change_as_their_slopes_say() -> None:
    light, tiny = np.linspace(0.01, 0.95, 40), 1e-6
    code, slope, by_tone = bent(*encode(light), 0.2)
    assert slope == pytest.approx((bent(*encode(light + tiny), 0.2)[0] - code) / tiny, rel=1e-3)
    assert by_tone == pytest.approx((bent(*encode(light), 0.2 + tiny)[0] - code) / tiny, abs=1e-6)
    assert bent(*encode(light), 0.0)[0] == pytest.approx(encode(light)[0])


def test_shadows_on_either_side_move_the_sides_alike() -> None:
    picture, true = patch_of(plain(0.12, off_mm=1.0))
    right = outwards(fitted(picture, true, thick_mm=0.76), true)
    width = picture.shape[1] - 1
    mirrored = np.array([width, 0]) + np.array([-1, 1]) * true[[1, 0, 3, 2]]
    left = outwards(fitted(np.ascontiguousarray(picture[:, ::-1]), mirrored, thick_mm=0.76), mirrored)
    assert left[[0, 3, 2, 1]] == pytest.approx(right, abs=0.02)


@pytest.mark.parametrize("grey", [0.06, 0.2, 0.72])
def test_much_of_what_a_shadow_moves_two_sides_by_is_taken_back_and_the_others_stay(
    grey: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture, true = patch_of(plain(grey, off_mm=1.0))
    known = outwards(fitted(picture, true, thick_mm=0.76), true)
    monkeypatch.setattr(Shades, "told_by", lambda *_: (np.zeros(4), 1e-6 * np.eye(4)))
    blind = outwards(fitted(picture, true), true)
    assert np.abs(blind[[1, 2]]).min() > 0.12  # the shadow lies below and right
    assert (np.abs(known[[1, 2]]) < 0.6 * np.abs(blind[[1, 2]])).all()
    assert np.abs(known[[0, 3]]).max() < 0.08


@pytest.mark.parametrize("grey", [0.06, 0.2, 0.72])
@pytest.mark.parametrize("tone", [0.0, 0.3])
def test_a_dark_thing_comes_out_no_larger_than_a_light_one(
    grey: float, tone: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(vision.side_step, "TONE", tone)  # with the phone's tone known only the optics are left
    monkeypatch.setattr(Shades, "told_by", lambda *_: (np.zeros(4), 1e-6 * np.eye(4)))
    picture, true = patch_of(plain(grey), replace(CLEAN, tone=tone))
    assert abs(float(np.mean(outwards(fitted(picture, true), true)))) < 0.02


def test_print_near_a_side_does_not_move_it() -> None:
    import cv2

    picture, true = patch_of(plain(0.12))
    bare = fitted(picture, true)
    printed = picture.copy()
    low, high = true.min(axis=0), true.max(axis=0)
    x, y = round(low[0] + 4.6), round(low[1] + 8)
    cv2.rectangle(printed, (x, y), (round(high[0] - 12), y + 14), (170, 160, 175), -1)
    soft = cv2.GaussianBlur(printed, (0, 0), 0.9)
    inside = np.s_[y - 4 : y + 19, x - 3 : round(high[0] - 8)]
    printed[inside] = soft[inside]
    moved = np.abs(fitted(printed, true).corners_px - bare.corners_px)
    assert moved.max() < 0.06
