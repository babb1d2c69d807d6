"""A thing's four shadows are of one light, and what the phone did to the picture does not move its sides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import vision.side_step
from tests.scenes import Reference, Room, Style, render_reference_patch
from tests.scenes_draw import FloatArray, Picture
from tests.scenes_random import look_at
from vision.card_pose import leans
from vision.side_fit import FittedQuad, fit_quad
from vision.side_light import bent, encode
from vision.side_shade import Beside, rings

OUTWARD = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])  # above, right, below, left
CLEAN = Style(gradient=(0.0, 0.0), blur_px=0.9, noise=0.003, sharpen=0.3, tone=0.0, jpeg_quality=97)
SAYS_NOTHING = np.zeros((10, 10)), np.zeros(10)
NOTHING_BESIDE = np.zeros(10), 1e-6 * np.eye(10)
SHADOWS, DIM = slice(2, 6), slice(6, 10)
SQUARE_ON = np.zeros(4)


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


def about(scale: float, thick_mm: float, gap_px: FloatArray = SQUARE_ON) -> Beside:
    return Beside.of(OUTWARD, scale, thick_mm, gap_px)


def says(**values: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    """Return what pixels say that tell some of the unknowns, each a value with an sd; the numbers after an ``n``."""
    known, pull = np.zeros((10, 10)), np.zeros(10)
    for name, (value, sd) in values.items():
        known[int(name[1:]), int(name[1:])], pull[int(name[1:])] = sd**-2, value * sd**-2
    return known, pull


def test_shadows_of_which_pixels_say_nothing_lie_rather_below_and_grow_with_the_thickness() -> None:
    thin, thick = (about(1.0, t).told_by(*SAYS_NOTHING)[0][SHADOWS] for t in (0.0, 0.76))
    assert thin[1] == pytest.approx(thin[3])
    assert thin[0] < thin[1] < thin[2]
    assert (thick > 1.5 * thin).all()
    twice = about(2.0, 0.76).told_by(*SAYS_NOTHING)[0][SHADOWS]
    assert twice == pytest.approx(2 * thick)


def test_a_front_that_hides_its_foot_hides_of_the_shadow_there() -> None:
    seen, hidden = (
        about(1.0, 0.76, gap).told_by(*SAYS_NOTHING)[0][SHADOWS] for gap in (SQUARE_ON, np.array([0, 0.5, 0, -0.5]))
    )
    assert hidden[3] < 0.6 * seen[3]
    assert hidden[:3] == pytest.approx(seen[:3])


def test_a_shadow_beside_one_side_says_that_there_is_none_beside_the_opposite() -> None:
    shades = about(1.0, 0.76)
    before, spread = (x[2:6] for x in shades.told_by(*SAYS_NOTHING))
    after, less = (x[2:6] for x in shades.told_by(*says(n4=(0.3, 0.03))))
    assert after[2] == pytest.approx(0.3, abs=0.02)
    assert after[0] < before[0]
    assert after[0] < after[1] < after[2]
    assert less[0, 2] < 0.8 * spread[0, 2]
    assert after[1] == pytest.approx(after[3])


def test_a_shadow_that_pixels_show_above_is_believed() -> None:
    told = about(1.0, 0.76).told_by(*says(n2=(0.5, 0.05)))[0][SHADOWS]
    assert told[0] == pytest.approx(0.5, abs=0.06)
    assert told[2] < 0.4 * told[0]


@pytest.mark.parametrize("much", [0.05, 0.5])
def test_what_is_dim_beside_three_sides_is_dim_above(much: float) -> None:
    told = about(1.0, 0.76).told_by(*says(n7=(much, 0.03), n8=(much, 0.03), n9=(much, 0.03)))[0][DIM]
    assert told[0] == pytest.approx(much, abs=0.1)


def test_a_side_face_as_dark_as_a_dark_front_is_not_a_white_core() -> None:
    told = about(1.0, 0.76)
    own, white = (told.told_by(*says(n1=(core, 0.1)))[0][:2] for core in (0.03, 0.9))
    assert own[0] > 0.6
    assert white[0] < 0.2


def test_what_pixels_say_is_weighed_as_by_drawing_what_lies_beside_at_random() -> None:
    shades = about(1.0, 0.76)
    rng = np.random.default_rng(3)
    half = np.zeros((10, 10))
    half[2:6, 2:6], half[6:, 6:] = rng.normal(0, 6, (4, 4)), rng.normal(0, 1.5, (4, 4))
    half[0, 1] = 2.0
    known = half @ half.T
    pull = known @ np.array([0.5, 0.3, 0.02, 0.2, 0.15, 0.0, 0.2, 0.1, 0.3, 0.2])
    ways = rng.choice(len(shades.mean), 400_000, p=shades.likely)
    roots = np.linalg.cholesky(np.linalg.inv(shades.precision))
    drawn = shades.mean[ways] + np.einsum("nij,nj->ni", roots[ways], rng.normal(size=(len(ways), 10)))
    log = drawn @ pull - 0.5 * np.sum(drawn @ known * drawn, axis=1)
    weight = np.exp(log - log.max())
    mean = weight @ drawn / weight.sum()
    apart = drawn - mean
    spread = (weight[:, None] * apart).T @ apart / weight.sum()
    told, covariance = shades.told_by(known, pull)
    assert told[SHADOWS] == pytest.approx(mean[SHADOWS], abs=0.003)
    assert told == pytest.approx(mean, abs=0.01)
    assert covariance == pytest.approx(spread, abs=4e-3)
    assert covariance[SHADOWS, SHADOWS] == pytest.approx(spread[SHADOWS, SHADOWS], abs=3e-4)


def test_rings_lose_what_the_form_factor_of_an_edge_says() -> None:
    ends, steps = rings()
    x = (np.arange(300_000) + 0.5) * 1e-5  # out to three heights
    lost = 0.5 * (1 - x / np.hypot(x, 1))
    assert np.sum(steps * ends) == pytest.approx(np.sum(lost) * 1e-5, rel=1e-4)
    assert np.sum(steps * ends**2) / 2 == pytest.approx(np.sum(x * lost) * 1e-5, rel=0.08)  # about as far out, too


@pytest.mark.parametrize("across_deg", [-30.0, 12.0, 40.0])
def test_what_lies_behind_a_side_is_seen_where_the_camera_shows_it(across_deg: float) -> None:
    aim = np.array([1200.0, 1200.0, 0.0])
    at = aim + 1500 * np.array([np.sin(np.radians(across_deg)), 0.1, np.cos(np.radians(across_deg))])
    camera = look_at(at, aim, size_px=(2016, 1512), focal_px=0.7 * 2016)
    front = np.array([[1160, 1230, 1], [1245, 1230, 1], [1245, 1176, 1], [1160, 1176, 1]], float)
    corners, behind = camera.project(front), camera.project(front - np.array([0, 0, 1.0]))
    depth = float(camera.to_camera(front).mean(axis=0)[2])
    found = leans(corners, camera.rotation @ np.array([0, 0, 1.0]), camera.focal_px / depth, (2016, 1512))
    for i, lean in enumerate(found):
        j = (i + 1) % 4
        along = (corners[j] - corners[i]) / np.linalg.norm(corners[j] - corners[i])
        moved = 0.5 * (behind[i] + behind[j] - corners[i] - corners[j])
        assert lean == pytest.approx(float(moved @ np.array([along[1], -along[0]])), abs=0.02)


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


@pytest.mark.parametrize("dim", [0.0, 0.25, 0.4])
def test_most_of_what_shadows_and_dim_light_move_the_sides_by_is_taken_back(
    dim: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    told_by = Beside.told_by
    known, blind = [], []
    for grey in (0.06, 0.12, 0.2, 0.72):
        picture, true = patch_of(replace(plain(grey, off_mm=1.0), dim=dim))
        known.append(outwards(fitted(picture, true, thick_mm=0.76), true))
        monkeypatch.setattr(Beside, "told_by", lambda *_: NOTHING_BESIDE)
        blind.append(outwards(fitted(picture, true), true))
        monkeypatch.setattr(Beside, "told_by", told_by)
        assert np.abs(blind[-1][[1, 2]]).min() > 0.12  # the shadow lies below and right
        assert np.linalg.norm(known[-1]) < 0.8 * np.linalg.norm(blind[-1])
    assert np.linalg.norm(known) < 0.6 * np.linalg.norm(blind)


@pytest.mark.parametrize("grey", [0.06, 0.2, 0.72])
@pytest.mark.parametrize("tone", [0.0, 0.3])
def test_a_dark_thing_comes_out_no_larger_than_a_light_one(
    grey: float, tone: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(vision.side_step, "TONE", tone)  # with the phone's tone known only the optics are left
    monkeypatch.setattr(Beside, "told_by", lambda *_: NOTHING_BESIDE)
    picture, true = patch_of(plain(grey), replace(CLEAN, tone=tone))
    assert abs(float(np.mean(outwards(fitted(picture, true), true)))) < 0.02


def test_a_dark_line_printed_along_a_side_hardly_moves_it(monkeypatch: pytest.MonkeyPatch) -> None:
    import cv2

    picture, true = patch_of(plain(0.12))
    low, high = true.min(axis=0), true.max(axis=0)
    printed = picture.copy()
    first, last = (round(low[0] + 12), round(low[1] + 5.8)), (round(high[0] - 12), round(low[1] + 14))
    cv2.rectangle(printed, first, last, (20, 20, 20), -1)
    soft = cv2.GaussianBlur(printed, (0, 0), 0.9)
    inside = np.s_[round(low[1] + 2) : round(low[1] + 18), round(low[0] + 6) : round(high[0] - 6)]
    printed[inside] = soft[inside]

    def moved() -> float:
        top, bare = outwards(fitted(printed, true), true)[0], outwards(fitted(picture, true), true)[0]
        return abs(float(top - bare))

    known = moved()
    monkeypatch.setattr(vision.side_step, "_PRINT_SD", 1e9)
    assert known < 0.1
    assert known < 0.3 * moved()


@pytest.mark.parametrize("stripe", [0.03, 0.42, 0.9])
@pytest.mark.parametrize("grey", [0.15, 0.6])
def test_a_stripe_over_a_thing_s_whole_width_does_not_move_its_sides(grey: float, stripe: float) -> None:
    import cv2

    card = Reference(kind="card", centre_mm=(1205.3, 1195.8), turn_deg=1.5, stand_off_mm=0.0, colour=(grey, grey, grey))
    picture, true = patch_of(replace(card, stripe=(stripe, stripe, stripe)))
    sharp = cv2.GaussianBlur(picture, (0, 0), 3.0)
    assert np.ptp(sharp[:, picture.shape[1] // 2].astype(float)) > 20  # it does show
    fit = fit_quad(
        picture,
        true + np.random.default_rng(4).normal(0, 0.7, (4, 2)),
        round_share=3.18 / 85.6,
        px_per_mm=1400 / 1200,
        thick_mm=0.76,
    )
    assert not isinstance(fit, str)
    # Whatever the stripe's tone, the upright sides, which it crosses, are no further off than the level ones.
    off = np.abs(outwards(fit, true))
    assert off.max() < 0.15
    assert np.abs(fit.corners_px - true).max() < 0.25


def test_noise_that_neighbours_do_not_share_is_taken_for_what_it_is() -> None:
    rng = np.random.default_rng(8)
    alone = [vision.side_step._correlation(rng.normal(0, 1, (40, 25))) for _ in range(40)]
    assert np.mean(alone) == pytest.approx(1.0, abs=0.15)
    pairs = [np.repeat(rng.normal(0, 1, (40, 13)), 2, axis=1) for _ in range(40)]
    assert np.mean([vision.side_step._correlation(p) for p in pairs]) == pytest.approx(2.0, abs=0.5)


@pytest.mark.parametrize("grey", [0.06, 0.15])
def test_beside_a_thing_that_lies_flat_no_shadow_is_made_out_of_its_own_border(grey: float) -> None:
    # A grey thing's border, cut off, is a shadow as dark as it: only that there may be none speaks against it.
    picture, true = patch_of(plain(grey))
    for seed in range(4, 10):
        rough = true + np.random.default_rng(seed).normal(0, 0.7, (4, 2))
        fit = fit_quad(picture, rough, px_per_mm=1400 / 1200, thick_mm=0.76)
        assert not isinstance(fit, str)
        assert np.abs(outwards(fit, true)).max() < 0.25
