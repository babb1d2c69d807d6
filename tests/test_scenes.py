"""The rendered truth itself is true: edges lie where the projection says, and the same seed gives the same picture."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.scenes import Opening, Reference, Room, Style, _lay, at_size, render, render_reference_patch, true_pixels
from tests.scenes_draw import Canvas, FloatArray, area_coverage
from tests.scenes_random import look_at, random_camera, random_room, random_style
from tests.scenes_things import corners_local_mm, reference_layers

PLAIN = Style(gradient=(0, 0), blur_px=0, noise=0, sharpen=0, tone=0)


@pytest.mark.parametrize("seed", range(6))
def test_the_covered_area_of_a_polygon_is_its_area(seed: int) -> None:
    corners = np.random.default_rng(seed).uniform(2, 18, (5, 2))
    spokes = corners - corners.mean(axis=0)
    corners = corners[np.argsort(np.arctan2(spokes[:, 1], spokes[:, 0]))]
    x, y = corners.T
    area = abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2
    assert area_coverage([corners], (20, 20)).sum() == pytest.approx(area, abs=1e-4)
    assert area_coverage([corners[::-1]], (20, 20)).sum() == pytest.approx(area, abs=1e-4)


def test_each_pixel_s_share_agrees_with_counting_sub_samples() -> None:
    corners = np.array([[1.3, 2.2], [9.7, 0.4], [11.2, 8.9], [3.1, 10.6]])
    fine = 64
    at = (np.arange(12 * fine) + 0.5) / fine - 0.5
    x, y = np.meshgrid(at, at)
    inside = np.ones(x.shape, bool)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        inside &= (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) >= 0
    counted = inside.reshape(12, fine, 12, fine).mean(axis=(1, 3))
    assert np.abs(area_coverage([corners], (12, 12)) - counted).max() < 0.01


def test_the_middle_of_a_drawn_square_lies_at_its_projected_middle_through_the_lens() -> None:
    camera = look_at(
        np.array([300.0, 1400, 2500]), np.array([0.0, 1200, 0]), size_px=(800, 600), focal_px=560, k1=-0.05
    )
    for x0, y0 in ((-800, 900), (0, 1200), (700, 1900)):
        square = np.array([[x0, y0, 0], [x0 + 150, y0, 0], [x0 + 150, y0 + 150, 0], [x0, y0 + 150, 0]], float)
        canvas = Canvas(camera)
        canvas.lay([square], (1.0, 1.0, 1.0))
        rows, columns = np.indices(canvas.linear.shape[:2])
        weight = canvas.linear[..., 0]
        drawn = np.array([np.sum(columns * weight), np.sum(rows * weight)]) / weight.sum()
        # The area's middle by exact sums over many small squares projected one by one.
        g = (np.arange(60) + 0.5) / 60 * 150
        dense = np.array([[x0 + a, y0 + b, 0] for a in g for b in g])
        h = 0.01
        step_x, step_y = np.array([h, 0, 0]), np.array([0, h, 0])
        du = (camera.project(dense + step_x) - camera.project(dense - step_x)) / (2 * h)
        dv = (camera.project(dense + step_y) - camera.project(dense - step_y)) / (2 * h)
        size = np.abs(du[:, 0] * dv[:, 1] - du[:, 1] * dv[:, 0])
        expected = (camera.project(dense) * size[:, None]).sum(axis=0) / size.sum()
        # Pixels at the rim count at their centres, which moves the middle by up to 1/8 px / 33 px.
        assert np.abs(drawn - expected).max() < 0.005


def test_a_patch_shows_the_reference_where_the_whole_picture_does() -> None:
    rng = np.random.default_rng(4)
    room = replace(random_room(rng, references=("sheet",), things=0, opening=False), finish="paint")
    camera = random_camera(rng, room, size_px=(1008, 756), distance_mm=(2000, 2500))
    scene = render(room, camera, PLAIN)
    patch, corners, origin = render_reference_patch(room, camera, PLAIN)
    whole = scene.picture[origin[1] : origin[1] + patch.shape[0], origin[0] : origin[0] + patch.shape[1]]
    assert np.abs(whole.astype(int) - patch).mean() < 6
    for end, corner in zip(("bl", "br", "tr", "tl"), corners, strict=True):
        assert scene.pixels[f"ref0_{end}"] == pytest.approx(tuple(corner + np.array(origin)), abs=1e-9)


def test_opencv_reads_the_number_of_a_rendered_sheet_in_the_order_of_the_standard() -> None:
    room = Room(
        corners_mm=np.array([[0, 0], [3000, 0], [3000, 2400], [0, 2400]], float),
        references=(Reference(kind="sheet", number=17, centre_mm=(1500, 1200)),),
    )
    camera = look_at(np.array([1500.0, 1200, 1500]), np.array([1500.0, 1200, 0]), size_px=(800, 600), focal_px=560)
    picture = render(room, camera).picture
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
    corners, ids, _ = detector.detectMarkers(picture)
    middle = {int(i): np.reshape(c, (4, 2)).mean(axis=0) for i, c in zip(np.ravel(ids), corners, strict=True)}
    assert sorted(middle) == [68, 69, 70, 71]
    for number, place in zip((68, 69, 70, 71), ((-100, 56), (100, 56), (100, -56), (-100, -56)), strict=True):
        true = camera.project(room.reference_points(0, np.array([place], float)))[0]
        assert np.abs(middle[number] - true).max() < 0.6  # OpenCV gives whole pixels here


def test_a_hidden_back_corner_has_no_pixel_and_points_in_view_have_one() -> None:
    room = random_room(np.random.default_rng(1), references=())
    assert room.opening is not None
    middle = room.opening.front_mm.mean(axis=0)
    steep = look_at(np.array([middle[0] + 2500, 1500, 1200]), np.array([*middle, 0]), size_px=(1008, 756), focal_px=700)
    pixels = render(room, steep).pixels
    assert pixels["back_br"] is None and pixels["back_tr"] is None
    assert pixels["back_bl"] is not None and pixels["open_bl"] is not None


def test_the_same_seed_gives_the_same_picture_and_half_the_size_half_the_pixels() -> None:
    rooms = [random_room(np.random.default_rng(7), references=("card", "a4")) for _ in range(2)]
    cameras = [random_camera(np.random.default_rng(8), r, size_px=(504, 378)) for r in rooms]
    style = random_style(np.random.default_rng(9))
    first, second = (render(r, c, style, seed=3).picture for r, c in zip(rooms, cameras, strict=True))
    assert np.array_equal(first, second)
    half = at_size(cameras[0], 0.5)
    point = np.array([[1000.0, 1000, 0]])
    assert (half.project(point) + 0.5) * 2 == pytest.approx(cameras[0].project(point) + 0.5)


def test_a_reveal_shows_its_side_faces_and_they_darken_towards_the_frame() -> None:
    box = np.array([[1200.0, 800.0], [2400.0, 800.0], [2400.0, 2000.0], [1200.0, 2000.0]])
    opening = Opening(front_mm=box, back_mm=box, reveal_mm=200.0, faces=1.2, shade=0.4, shade_mm=40.0)
    corners = np.array([[0.0, 0.0], [3600.0, 0.0], [3600.0, 2500.0], [0.0, 2500.0]])
    room = Room(corners_mm=corners, opening=opening)
    camera = look_at(
        np.array([2600.0, 1400.0, 2500.0]), np.array([1500.0, 1400.0, 0.0]), size_px=(1600, 1200), focal_px=1100.0
    )
    picture = render(room, camera, PLAIN).picture
    jamb = camera.project(np.array([[1200.0, 1400.0, -depth] for depth in (30.0, 120.0, 180.0, 197.0)]))
    light = [int(picture[round(y), round(x), 1]) for x, y in jamb]
    assert light == sorted(light, reverse=True)
    assert light[0] > light[-1] + 20


def test_a_point_that_the_lens_s_polynomial_would_fold_into_the_picture_is_not_seen() -> None:
    room = Room(corners_mm=np.array([[-15500.0, 0.0], [3500.0, 0.0], [3500.0, 2500.0], [-15500.0, 2500.0]]))
    place, aim = np.array([2000.0, 1400.0, 2500.0]), np.array([2000.0, 1400.0, 0.0])
    camera = look_at(place, aim, size_px=(1600, 1200), focal_px=1100.0, k1=-0.02)
    folded = camera.project(room.points_mm()["wall_tl"][None])[0]
    assert 0 < folded[0] < 1600 and 0 < folded[1] < 1200
    assert true_pixels(room, camera)["wall_tl"] is None
    assert true_pixels(room, camera)["wall_tr"] is not None


def card_patch(
    card: Reference, at_mm: tuple[float, float, float] = (1200.0, 1200.0, 400.0)
) -> tuple[FloatArray, FloatArray]:
    """Return the linear light and the outline (4, 2) of a card seen from a place, without noise or blur."""
    corners = np.array([[0, 0], [2400, 0], [2400, 2100], [0, 2100]], float)
    room = Room(corners_mm=corners, references=(card,), colour=(0.5, 0.5, 0.5))
    camera = look_at(np.array(at_mm), np.array([1200.0, 1200.0, 0.0]), size_px=(2016, 1512), focal_px=1400)
    canvas = Canvas(camera)
    canvas.fill((0.5, 0.5, 0.5))
    _lay(canvas, reference_layers(card, 0.0, camera.position_mm))
    outline = camera.project(room.reference_points(0, corners_local_mm(card)))
    return canvas.linear.astype(float), outline


def test_the_wall_beside_a_thing_lacks_what_the_form_factor_of_its_edge_says() -> None:
    # A long edge of height h hides of the light from all round what comes to h / 2 of blackness (integral of
    # (1 - x / sqrt(x^2 + h^2)) / 2; to 3 h it is 0.42 h).
    card = Reference(kind="card", centre_mm=(1200.0, 1200.0), shadow_share=0.0, dim=0.6, stand_off_mm=4.0)
    light, outline = card_patch(card)
    per_mm = 1400 / 400
    row = round(float(outline[:, 1].mean()))
    right = float(outline[:, 0].max())
    beside = light[row, round(right) + 3 : round(right) + 60, 1]
    hidden = (round(right) + 2.5 - float(outline[:, 0].mean())) / per_mm - 42.8  # by the front, and its border's pixels
    lost_mm = float(np.sum(1 - beside / 0.5)) / per_mm
    whole = 0.6 * 0.5 * (3 - np.sqrt(10) + 1) * 4.0
    first = 0.6 * 0.5 * (hidden - np.hypot(hidden, 4.0) + 4.0)
    assert lost_mm == pytest.approx(whole - first, rel=0.12)
    assert (np.diff(beside) > -1e-6).all()
    without, _ = card_patch(replace(card, dim=0.0))
    assert np.ptp(without[row, round(right) + 3 : round(right) + 60, 1]) < 1e-6


@pytest.mark.parametrize("turn", [0.0, 3.0, 90.0])
def test_a_stripe_covers_its_card_from_end_to_end_and_nothing_else(turn: float) -> None:
    card = Reference(kind="card", centre_mm=(1200.0, 1200.0), shadow_share=0.0, turn_deg=turn, stand_off_mm=1.0)
    (dark, outline), (light, _) = (card_patch(replace(card, stripe=(c, c, c))) for c in (0.1, 0.9))
    share = (light - dark)[..., 1] / 0.8
    assert share.sum() / (1400 / 399) ** 2 == pytest.approx(85.6 * 9, rel=1e-3)
    rows, columns = np.nonzero(share > 0.01)
    low, high = outline.min(axis=0) - 1, outline.max(axis=0) + 1
    assert low[0] < columns.min() <= columns.max() < high[0]
    assert low[1] < rows.min() <= rows.max() < high[1]


@pytest.mark.parametrize("aside_mm", [150.0, 400.0, 900.0])
def test_a_side_face_narrower_than_a_pixel_shows_no_more_of_itself_than_there_is(aside_mm: float) -> None:
    at = (1200.0 - aside_mm, 1230.0, 1100.0)
    card = Reference(kind="card", centre_mm=(1200.0, 1200.0), shadow_share=0.0, turn_deg=2.0, stand_off_mm=1.0)
    (dark, outline), (light, _) = (card_patch(replace(card, side=(c, c, c)), at) for c in (0.1, 0.9))
    share = (light - dark)[..., 1] / 0.8
    shows = np.abs(outline[0] - outline[3])
    # Seen from the left and a little above, the left side shows thickness times the tangent of the view's slant.
    height_px = float(np.linalg.norm(shows)) * (1 - 2 * 3.18 / 53.98)
    per_mm = 1400 / np.linalg.norm(np.array(at) - np.array([1200 - 42.8, 1200, 1]))
    slant = np.arctan2(aside_mm - 42.8, 1099)
    expected = height_px * 0.76 * per_mm * np.sin(slant)
    middle = round(float(outline[:, 1].mean()))
    rows = slice(round(middle - height_px / 2), round(middle + height_px / 2))
    left = slice(0, round(float(outline[:, 0].mean())))
    assert share[rows, left].sum() / (rows.stop - rows.start) == pytest.approx(expected / height_px, rel=0.06)
    grey, _ = card_patch(replace(card, side=(0.5, 0.5, 0.5), colour=(0.5, 0.5, 0.5)), at)
    border = slice(round(float(outline[:, 0].min())) - 4, round(float(outline[[0, 3], 0].max())) + 2)
    assert grey[rows, border] == pytest.approx(0.5, abs=1e-6)  # where all are alike no border shows
