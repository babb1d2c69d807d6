"""Survey sheets are numbered, placed to a few hundredths of a pixel, and never made up."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.scenes import Camera, Reference, Room, Scene, Style, render
from tests.scenes_random import look_at
from vision.sheet_map import TAG_CENTRES_MM, TAG_CORNERS_MM, TAG_SQUARE_MM, SheetMap
from vision.sheets import Sheet, find_sheets, find_tags, place_sheet
from vision.tag_fit import fit_tags

CORNERS = np.array([[0, 0], [3000, 0], [3000, 2400], [0, 2400]], float)
STYLE = Style(noise=0.01, tone=0.2, sharpen=0.5, blur_px=0.9)


def room(*references: Reference) -> Room:
    return Room(corners_mm=CORNERS, references=references, finish="paint")


def camera(x: float = 1900.0, z: float = 1400.0, size: tuple[int, int] = (1344, 1008)) -> Camera:
    at, aim = np.array([x, 1400.0, z]), np.array([1500.0, 1200, 0])
    return look_at(at, aim, size_px=size, focal_px=0.7 * size[0], k1=-0.02, roll_deg=1.0)


def seen(sheet: Reference, style: Style = STYLE, view: Camera | None = None) -> tuple[Scene, list[Sheet]]:
    scene = render(room(sheet), view or camera(), style, seed=1)
    return scene, find_sheets(scene.picture)[0]


def seen_only(sheet: Reference) -> Scene:
    return render(room(sheet), camera(), STYLE, seed=1)


def error_px(scene: Scene, sheet: Sheet, k: int = 0) -> np.ndarray:
    own = scene.room.references[k]
    true = scene.camera.project(scene.room.reference_points(k, own.print_scale * sheet.corners_mm))
    return np.asarray(sheet.corners_px - true)


@pytest.mark.parametrize("turn_deg", [0, 90, 180, 37])
def test_a_sheet_is_numbered_and_placed_whichever_way_up_it_hangs(turn_deg: float) -> None:
    scene, sheets = seen(Reference(kind="sheet", number=23, centre_mm=(1500, 1200), turn_deg=turn_deg))
    assert [s.number for s in sheets] == [23]
    assert np.sqrt(np.mean(error_px(scene, sheets[0]) ** 2)) < 0.05


@pytest.mark.parametrize("tone", [0.0, 0.3])
@pytest.mark.parametrize("sharpen", [0.0, 0.7])
def test_the_tone_curve_and_sharpening_do_not_shrink_the_tags(tone: float, sharpen: float) -> None:
    style = replace(STYLE, tone=tone, sharpen=sharpen, noise=0.003)
    scene, (sheet,) = seen(Reference(kind="sheet", number=5, centre_mm=(1500, 1200)), style)
    shrunk = np.sum(error_px(scene, sheet) * sheet.inward_px) / np.sum(sheet.inward_px**2)
    assert abs(shrunk) < 0.03


def test_turning_the_photo_turns_the_corners() -> None:
    scene, (sheet,) = seen(Reference(kind="sheet", number=7, centre_mm=(1500, 1200)))
    (turned,), _ = find_sheets(cv2.rotate(scene.picture, cv2.ROTATE_90_CLOCKWISE))
    height = scene.picture.shape[0]
    back = np.column_stack([turned.corners_px[:, 1], height - 1 - turned.corners_px[:, 0]])
    assert np.abs(back - sheet.corners_px).max() < 0.02


def test_two_tags_place_a_sheet_and_one_only_numbers_it() -> None:
    half = Reference(kind="sheet", number=9, centre_mm=(1500, 1200), covered=((30, -120, 160, 120),))
    scene, (sheet,) = seen(half)
    assert sheet.tags == (0, 3)
    assert np.abs(error_px(scene, sheet)).max() < 0.15
    corner = replace(half, covered=((30, -120, 160, 120), (-160, -120, 40, 5)))
    picture = render(room(corner), camera(), STYLE, seed=1).picture
    sheets, others = find_sheets(picture)
    assert not sheets
    assert [o.number for o in others] == [9]
    assert "only one tag of sheet 9 is in plain view; two are needed to place it" in others[0].reason


@pytest.mark.parametrize("top", [-20, -70])
def test_a_strip_over_one_end_leaves_a_sheet_placed_by_the_other(top: float) -> None:
    sheet = Reference(kind="sheet", number=108, centre_mm=(1500, 1200), covered=((120, top, 150, 100),))
    scene, (found,) = seen(sheet)
    assert {0, 3} <= set(found.tags)
    assert np.abs(error_px(scene, found)).max() < 0.15


@pytest.mark.parametrize("loose", [(0, 2), (1, 3), (0, 1), (0, 3)])
@pytest.mark.parametrize(("shift_mm", "turn_deg"), [((8.0, 0.0), 0.0), ((0.0, 8.0), 0.0), ((0.0, 0.0), 3.0)])
def test_tags_of_two_papers_never_make_one_sheet(
    loose: tuple[int, int], shift_mm: tuple[float, float], turn_deg: float
) -> None:
    first = Reference(kind="sheet", number=9, centre_mm=(1500, 1200))
    moved = (1500 + shift_mm[0], 1200 + shift_mm[1])
    scenes = [seen_only(replace(first, centre_mm=p, turn_deg=t)) for p, t in (((1500, 1200), 0.0), (moved, turn_deg))]
    picture = np.full_like(scenes[0].picture, 150)
    for scene, k in zip(scenes, loose, strict=True):  # a tag of each, with the white about it, on a plain wall
        rim = scene.camera.project(scene.room.reference_points(0, TAG_CENTRES_MM[k] + 1.3 * TAG_SQUARE_MM))
        mask = cv2.fillConvexPoly(np.zeros(picture.shape[:2], np.uint8), np.round(rim).astype(np.int32), 1)
        picture[mask > 0] = scene.picture[mask > 0]
    sheets, others = find_sheets(picture)
    assert sheets == []
    assert others and {o.number for o in others} == {9}
    assert any("do not lie on one flat sheet" in o.reason or "print of sheet 9" in o.reason for o in others)


def test_a_small_blurred_tag_is_read_enlarged() -> None:
    style = replace(STYLE, blur_px=1.25, sharpen=0.0, noise=0.02, tone=0.0)
    sheet = Reference(kind="sheet", number=36, centre_mm=(1500, 1200), covered=((120, -30, 150, 105),))
    _, sheets = seen(sheet, style, camera(1700.0, 2150.0))
    assert [s.number for s in sheets] == [36]


def test_several_sheets_in_one_photo_keep_their_numbers() -> None:
    places = {3: (900.0, 1000.0), 4: (1500.0, 1500.0), 145: (2100.0, 900.0)}
    several = room(*(Reference(kind="sheet", number=n, centre_mm=p) for n, p in places.items()))
    scene = render(several, camera(1500.0, 2000.0), STYLE, seed=2)
    sheets, _ = find_sheets(scene.picture)
    assert [s.number for s in sheets] == [3, 4, 145]
    for k, sheet in enumerate(sheets):
        assert np.sqrt(np.mean(error_px(scene, sheet, k) ** 2)) < 0.05


@pytest.mark.parametrize("scale", [1.0, 0.97])
def test_paper_edges_tell_the_print_scale(scale: float) -> None:
    _, (sheet,) = seen(Reference(kind="sheet", number=11, centre_mm=(1500, 1200), print_scale=scale))
    assert sheet.print_scale is not None
    assert sheet.print_scale.value == pytest.approx(scale, abs=0.004)


def test_a_curled_sheet_says_so_and_a_flat_one_does_not() -> None:
    flat = Reference(kind="sheet", number=12, centre_mm=(1500, 1200))
    view = camera(2600.0, 1000.0)
    _, (straight,) = seen(flat, view=view)
    _, (bent,) = seen(replace(flat, curl_mm=4.0), view=view)
    assert straight.misfit_px < 0.06
    assert bent.misfit_px > 4 * straight.misfit_px
    assert bent.sd_px.mean() > 1.5 * straight.sd_px.mean()


def test_a_sheet_of_another_number_does_not_pass_for_this_one() -> None:
    scene, (sheet,) = seen(Reference(kind="sheet", number=20, centre_mm=(1500, 1200)))
    h, _ = cv2.findHomography(TAG_CORNERS_MM, sheet.fit.map.to_pixels(TAG_CORNERS_MM))
    wrong = fit_tags(scene.picture, 21, (0, 1, 2, 3), np.asarray(h, float))
    assert isinstance(wrong, str) or wrong.likeness.max() < 0.8


def test_a_picture_of_noise_holds_no_tags() -> None:
    picture = np.random.default_rng(0).integers(0, 256, (400, 500, 3)).astype(np.uint8)
    assert find_tags(picture) == []
    assert find_sheets(picture) == ([], [])


def test_the_map_s_derivatives_agree_with_finite_differences() -> None:
    h = np.array([[0.9, 0.1, 400.0], [-0.05, -0.8, 300.0], [1e-4, -2e-4, 1.0]])
    base = replace(SheetMap.of_homography(h, (800, 600)), kappa=0.02, bend_mm=np.array([0.4, -0.3]))
    p = np.array([[330.0, 250.0], [470.0, 310.0], [410.0, 380.0]])
    place, with_pixel, with_map = base.linearised(p)
    step = 1e-4
    for axis in range(2):
        move = np.zeros(2)
        move[axis] = step
        numeric = (base.linearised(p + move)[0] - base.linearised(p - move)[0]) / (2 * step)
        assert with_pixel[:, :, axis] == pytest.approx(numeric, rel=1e-4, abs=1e-6)
    for j in range(11):
        sides = []
        for sign in (1, -1):
            inverse, kappa, bend = base.inverse.copy(), base.kappa, base.bend_mm.copy()
            if j < 8:
                inverse.flat[j] += sign * step
            elif j == 8:
                kappa += sign * step
            else:
                bend[j - 9] += sign * step
            sides.append(replace(base, inverse=inverse, kappa=kappa, bend_mm=bend).linearised(p)[0])
        assert with_map[:, :, j] == pytest.approx((sides[0] - sides[1]) / (2 * step), rel=1e-3, abs=1e-3)
    flat = replace(base, bend_mm=np.zeros(2))
    assert flat.to_pixels(flat.linearised(p)[0]) == pytest.approx(p, abs=1e-4)
    assert place.shape == (3, 2)


def test_a_large_photo_that_should_show_no_sheet_is_read_in_full_once_half_of_it_shows_a_tag() -> None:
    scene = seen_only(Reference(kind="sheet", number=31, centre_mm=(1500, 1200)))
    large = np.full((3024, 4032, 3), 110, np.uint8)
    assert find_tags(large, thorough=False) == []
    large[900 : 900 + 1008, 1200 : 1200 + 1344] = scene.picture
    tags = find_tags(large, thorough=False)
    assert {t.id for t in tags} == {124, 125, 126, 127}
    small = {t.id: t.corners_px for t in find_tags(scene.picture)}
    assert all(np.abs(t.corners_px - small[t.id] - np.array([1200, 900])).max() < 0.6 for t in tags)


def test_noise_that_hides_the_tags_at_full_size_is_averaged_away_at_half_size() -> None:
    scene = seen_only(Reference(kind="sheet", number=8, centre_mm=(1500, 1200)))
    twice = np.repeat(np.repeat(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), 2, axis=0), 2, axis=1)
    noise = np.random.default_rng(5).normal(0, 110, twice.shape)
    noisy = np.asarray(np.clip(twice + noise, 0, 255), np.uint8)
    assert find_tags(noisy, thorough=False) == []
    assert len({t.id for t in find_tags(noisy)} & {32, 33, 34, 35}) >= 2


def test_a_grey_picture_places_a_sheet_where_its_colours_do() -> None:
    scene, (sheet,) = seen(Reference(kind="sheet", number=12, centre_mm=(1500, 1200)))
    (grey,) = find_sheets(np.asarray(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), np.uint8))[0]
    assert np.abs(grey.corners_px - sheet.corners_px).max() < 0.1


@pytest.mark.parametrize(
    ("scale", "shift", "reason"),
    [
        ((-1.0, -1.0), (500.0, 400.0), "do not lie on one flat sheet"),
        ((1.0, -1.0), (60.0, 400.0), "reach outside the picture"),
        ((1.0, -1.0), (500.0, 400.0), "have no contrast"),
    ],
)
def test_tags_that_cannot_be_a_sheet_are_refused_with_the_reason(
    scale: tuple[float, float], shift: tuple[float, float], reason: str
) -> None:
    blank = np.full((800, 1000, 3), 120, np.uint8)
    corners = (TAG_CORNERS_MM * np.array(scale) + np.array(shift)).reshape(4, 4, 2)
    result = place_sheet(blank, 9, dict(enumerate(corners)))
    assert isinstance(result, str) and reason in result


def test_tags_too_small_to_be_read_as_they_are_are_read_enlarged() -> None:
    scene = render(
        room(Reference(kind="sheet", number=17, centre_mm=(1500, 1200))), camera(1700.0, 4200.0), STYLE, seed=1
    )
    assert len(find_tags(scene.picture)) > len(find_tags(scene.picture, thorough=False)) > 0


def test_paper_whose_edges_do_not_show_tells_no_print_scale() -> None:
    sheet = Reference(kind="sheet", number=17, centre_mm=(1500, 1200), stand_off_mm=0.0)
    white = Room(corners_mm=CORNERS, references=(sheet,), finish="paint", colour=(0.82, 0.82, 0.80))
    (on_white,), _ = find_sheets(render(white, camera(), STYLE, seed=1).picture)
    assert on_white.print_scale is None
    picture = seen_only(replace(sheet, stand_off_mm=0.6)).picture
    (whole,), _ = find_sheets(picture)
    assert whole.print_scale is not None
    low, high = whole.corners_px.min(axis=0).astype(int) - 6, whole.corners_px.max(axis=0).astype(int) + 7
    (cut,), _ = find_sheets(np.ascontiguousarray(picture[low[1] : high[1], low[0] : high[0]]))
    assert cut.print_scale is None
    assert np.abs(cut.corners_px + low - whole.corners_px).max() < 0.02
