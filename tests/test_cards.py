"""Sides are fitted, not corners; what has the wrong shape, size, corners or face is rejected with its reason."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.scenes import Camera, Reference, Room, Scene, Style, Thing, render
from tests.scenes_random import look_at
from vision.card_face import corner_radius_mm, plainness
from vision.card_looks import first_looks, looks
from vision.card_pose import leans, leans_on_wall
from vision.cards import Candidate, Target, _best_first, _shape, find_rectangles, judge
from vision.plane_view import opening_outlines, views_of_marks
from vision.quads import as_seen, crossing, find_quads, inward, is_convex
from vision.side_fit import fit_quad, near_quad
from vision.walls import CORNERS, FloatArray, Mark

STYLE = Style(noise=0.006, tone=0.1, sharpen=0.3)
SIZE = (1008, 756)


def view(x: float = 1650.0, z: float = 1000.0) -> Camera:
    at, aim = np.array([x, 1300.0, z]), np.array([1500.0, 1200, 0])
    return look_at(at, aim, size_px=SIZE, focal_px=706)


def scene_of(*references: Reference, things: tuple[Thing, ...] = (), camera: Camera | None = None) -> Scene:
    corners = np.array([[0, 0], [3000, 0], [3000, 2400], [0, 2400]], float)
    room = Room(corners_mm=corners, references=references, things=things, colour=(0.4, 0.4, 0.38))
    return render(room, camera or view(), STYLE, seed=3)


def card_at(place: tuple[float, float] = (1500, 1200), turn_deg: float = 2.0) -> Reference:
    return Reference(kind="card", centre_mm=place, stand_off_mm=1.0, turn_deg=turn_deg, colour=(0.08, 0.2, 0.5))


def true_corners(scene: Scene) -> FloatArray:
    return np.array([scene.pixels[f"ref0_{e}"] for e in ("tl", "tr", "br", "bl")], float)


@pytest.mark.parametrize(("kind", "share", "bound"), [("card", 0.037, 0.25), ("a4", 0.0, 0.15)])
def test_sides_fitted_and_crossed_give_the_corners(kind: str, share: float, bound: float) -> None:
    thing = card_at() if kind == "card" else Reference(kind="a4", centre_mm=(1500, 1200), turn_deg=2.0)
    scene = scene_of(thing, camera=view(1500.0))
    true = true_corners(scene)
    near = near_quad(scene.picture, true + np.random.default_rng(1).normal(0, 1.5, (4, 2)), round_share=share)
    assert not isinstance(near, str)
    fitted = fit_quad(scene.picture, near, round_share=share)
    assert not isinstance(fitted, str)
    assert np.sqrt(np.mean((fitted.corners_px - true) ** 2)) < bound


def test_a_side_without_any_step_of_light_refuses_the_candidate() -> None:
    scene = scene_of(card_at(), camera=view(1500.0))
    target = Target.of("id1_card")
    fitted = fit_quad(scene.picture, true_corners(scene), round_share=0.037)
    assert not isinstance(fitted, str)
    dark = replace(fitted, sides=(replace(fitted.sides[0], signal=0.0), *fitted.sides[1:]))
    model = np.array([[-42.8, 26.99], [42.8, 26.99], [42.8, -26.99], [-42.8, -26.99]])
    reasons = looks(scene.picture, dark, model, target.radius_mm, plain=False)[0]
    assert any("hardly shows" in reason for reason in reasons)
    assert not any("hardly shows" in r for r in looks(scene.picture, fitted, model, target.radius_mm, plain=False)[0])


def test_what_is_plainly_no_card_is_refused_before_its_sides_are_fitted_and_a_card_is_not() -> None:
    target, camera = Target.of("id1_card"), view(1500.0, 450.0)
    round_one = Thing(kind="plain", left_mm=1457.2, bottom_mm=1173, width_mm=85.6, height_mm=53.98, depth_mm=1,
                      radius_mm=16, colour=(0.08, 0.2, 0.5))  # fmt: skip
    outline = np.array([[1457.2, 1226.98, 1], [1542.8, 1226.98, 1], [1542.8, 1173, 1], [1457.2, 1173, 1]])
    card, other = scene_of(card_at(), camera=camera), scene_of(things=(round_one,), camera=camera)
    place, model = true_corners(card), target.model_mm(true_corners(card))
    assert first_looks(card.picture, place + 0.4, model, target.radius_mm, plain=False) == []
    radius = first_looks(other.picture, camera.project(outline) + 0.4, model, target.radius_mm, plain=False)
    assert "radius" in radius[0]
    assert "hardly shows" in first_looks(card.picture, place + 200, model, 0.0, plain=False)[0]
    assert first_looks(card.picture, place, model, 0.0, plain=True)  # blue, and darker than the wall


def test_paper_seen_first_is_white_and_a_card_of_its_shape_is_coloured_or_dark() -> None:
    paper = scene_of(Reference(kind="a4", centre_mm=(1500, 1200)))
    model = Target.of("a4").model_mm(true_corners(paper))
    assert first_looks(paper.picture, true_corners(paper), model, 0.0, plain=True) == []
    dark = Reference(kind="a4", centre_mm=(1500, 1200), colour=(0.1, 0.1, 0.1))
    assert "darker" in first_looks(scene_of(dark).picture, true_corners(paper), model, 0.0, plain=True)[0]


def test_patches_of_a_large_photo_are_found_at_a_quarter_of_its_size_where_large_ones_will_do() -> None:
    large = np.full((2300, 3100, 3), 110, np.uint8)
    scene = scene_of(Reference(kind="a4", centre_mm=(1500, 1200)))
    large[700 : 700 + SIZE[1], 900 : 900 + SIZE[0]] = scene.picture
    true = true_corners(scene) + np.array([900, 700])
    for large_only in (True, False):
        quads = find_quads(large, large_only=large_only)
        assert min(np.abs(q.corners_px - true).max() for q in quads) < 8


def test_a_picture_is_left_as_it_is_by_the_search_for_patches() -> None:
    picture = scene_of(card_at()).picture
    before = picture.copy()
    find_quads(picture)
    assert (picture == before).all()


def test_what_fits_well_by_itself_ends_the_fitting_where_nothing_tells_the_size(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plate = Thing(kind="plain", left_mm=1560, bottom_mm=1170, width_mm=90, height_mm=70, depth_mm=1, radius_mm=3.2,
                  colour=(0.5, 0.1, 0.1))  # fmt: skip
    scene = scene_of(card_at((1430, 1200)), things=(plate,), camera=view(1500.0, 450.0))
    quads = find_quads(scene.picture)
    fits: list[int] = []

    def counted(*a: object, **k: object) -> object:
        fits.append(1)
        return fit_quad(*a, **k)  # type: ignore[arg-type]

    monkeypatch.setattr("vision.cards.fit_quad", counted)
    found = {}
    for count in (1, 2):
        fits.clear()
        best = find_rectangles(scene.picture, quads, Target.of("id1_card"), None, count=count)[0]
        found[count] = (len(fits), best.corners_px)
    assert found[1][0] < found[2][0]
    assert (found[1][1] == found[2][1]).all()


def test_the_patch_of_a_card_is_among_those_found() -> None:
    scene = scene_of(card_at())
    true = true_corners(scene)
    assert min(np.abs(q.corners_px - true).max() for q in find_quads(scene.picture)) < 4


def test_a_standing_card_is_named_as_it_is_seen() -> None:
    scene = scene_of(card_at(turn_deg=90.0))
    found = judge(scene.picture, as_seen(true_corners(scene)), Target.of("id1_card"), None)
    assert found.reasons == ()
    assert found.model_mm[0] == pytest.approx([-26.99, 42.8])


@pytest.mark.parametrize("colour", [(0.08, 0.2, 0.5), (0.5, 0.1, 0.1), (0.7, 0.7, 0.7)])
def test_rounded_corners_tell_a_card_from_a_sharp_cut_one(colour: tuple[float, float, float]) -> None:
    target = Target.of("id1_card")
    sharp = Thing(kind="plain", left_mm=1457.2, bottom_mm=1173, width_mm=85.6, height_mm=53.98, depth_mm=1,
                  colour=colour)  # fmt: skip
    outline = np.array([[1457.2, 1226.98, 1], [1542.8, 1226.98, 1], [1542.8, 1173, 1], [1457.2, 1173, 1]])
    for away in (700.0, 450.0):
        camera = view(1500.0, away)
        scenes = (scene_of(replace(card_at(), colour=colour), camera=camera), scene_of(things=(sharp,), camera=camera))
        places = (true_corners(scenes[0]), scenes[1].camera.project(outline))
        radii = [corner_radius_mm(s.picture, p, target.model_mm(p))[0] for s, p in zip(scenes, places, strict=True)]
        assert radii[0] == pytest.approx(3.18, abs=1.2)
        assert radii[1] < 1.2
        card, other = (judge(s.picture, p, target, None) for s, p in zip(scenes, places, strict=True))
        assert card.reasons == () and card.doubts == ()
        assert other.reasons or other.doubts  # what has doubts is never used before a person has confirmed it
        if away == 450.0:
            assert any("radius" in r for r in other.reasons)


def test_plain_paper_is_plain_and_a_printed_sheet_is_not() -> None:
    paper = scene_of(Reference(kind="a4", centre_mm=(1500, 1200)))
    printed = scene_of(Reference(kind="sheet", number=4, centre_mm=(1500, 1200)))
    assert plainness(paper.picture, true_corners(paper)) > 0.9
    assert plainness(printed.picture, true_corners(printed)) < 0.8


@pytest.mark.parametrize(
    ("width", "height", "reason"),
    [(105.0, 45.0, "to 1, not 1.59"), (143.0, 90.0, "mm long by the wall's marked corners, not 86")],
)
def test_a_socket_is_rejected_by_its_shape_or_by_its_size(width: float, height: float, reason: str) -> None:
    socket = Thing(kind="blank_plate", left_mm=1200, bottom_mm=1100, width_mm=width, height_mm=height, depth_mm=6,
                   radius_mm=4, colour=(0.7, 0.7, 0.7))  # fmt: skip
    corners = np.array([[0, 0], [2400, 0], [2400, 2100], [0, 2100]], float)
    at, aim = np.array([1300.0, 1100, 2300]), np.array([1200.0, 1050, 0])
    camera = look_at(at, aim, size_px=(2016, 1512), focal_px=1400)
    scene = render(Room(corners_mm=corners, things=(socket,), colour=(0.3, 0.3, 0.3)), camera, STYLE, seed=1)
    ends = zip(CORNERS, ("bl", "br", "tr", "tl"), strict=True)
    marks = [Mark(photo="p", wall="n", point=c, px=scene.pixels[f"wall_{e}"] or (0, 0)) for c, e in ends]
    seen = views_of_marks(marks, (2016, 1512))["n"]
    x, y, w, h = 1200.0, 1100.0, width, height
    px = camera.project(np.array([[x, y + h, 6], [x + w, y + h, 6], [x + w, y, 6], [x, y, 6]]))
    found = judge(scene.picture, px, Target.of("id1_card"), seen)
    assert any(reason in r for r in found.reasons), found.reasons


def test_a_dark_or_coloured_sheet_is_no_white_paper() -> None:
    for colour, word in (((0.1, 0.1, 0.1), "darker than the wall"), ((0.9, 0.85, 0.2), "coloured")):
        scene = scene_of(Reference(kind="a4", centre_mm=(1500, 1200), colour=colour))
        found = judge(scene.picture, true_corners(scene), Target.of("a4"), None)
        assert any(word in r for r in found.reasons)


def test_what_may_be_part_of_a_larger_thing_is_not_sure() -> None:
    paper = Reference(kind="a4", centre_mm=(1500, 1200), stand_off_mm=0.0)
    above = Thing(kind="plain", left_mm=1351.5, bottom_mm=1305, width_mm=297, height_mm=150, depth_mm=0,
                  colour=(0.2, 0.35, 0.5))  # fmt: skip
    doubts = []
    for things in ((), (above,)):
        scene = scene_of(paper, things=things, camera=view(1500.0))
        found = judge(scene.picture, true_corners(scene), Target.of("a4"), None)
        assert found.reasons == ()
        doubts.append(found.doubts)
    assert doubts[0] == ()
    assert doubts[1] == ("what lies around it is not one wall; it may be part of a larger thing",)


def test_a_card_too_small_to_show_its_corners_is_not_sure() -> None:
    near, far = (scene_of(card_at(), camera=view(1500.0, z)) for z in (1000.0, 1800.0))
    sure, unsure = (judge(s.picture, as_seen(true_corners(s)), Target.of("id1_card"), None) for s in (near, far))
    assert sure.reasons == unsure.reasons == ()
    assert sure.doubts == ()
    assert any("px long here, too small to be told from other things" in d for d in unsure.doubts)


def test_the_wall_s_plane_and_scale_come_from_its_marked_corners() -> None:
    camera = view(2300.0, 2200.0)
    corners = np.array([[600.0, 300, 0], [2400, 300, 0], [2400, 2300, 0], [600, 2300, 0]])
    marks = [
        Mark(photo="p", wall="n", point=c, px=tuple(p)) for c, p in zip(CORNERS, camera.project(corners), strict=True)
    ]
    seen = views_of_marks(marks, SIZE)["n"]
    assert seen.strong
    box = camera.project(np.array([[1400.0, 1300, 0], [1600, 1300, 0], [1600, 1200, 0], [1400, 1200, 0]]))
    width, height, off = seen.sides_mm(box)
    assert width / height == pytest.approx(2.0, rel=0.04)
    assert off < 2


def test_frame_marks_are_no_outline_of_an_opening_and_degenerate_marks_are_no_view() -> None:
    frame = [Mark(photo="p", wall="n", opening="w1", face="frame", point=c, px=(1.0, 2.0)) for c in CORNERS]
    assert opening_outlines(frame) == {}
    assert views_of_marks([replace(m, opening=None, face=None) for m in frame], SIZE) == {}


def test_corners_move_inwards_along_both_sides() -> None:
    square = np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]])
    assert inward(square) == pytest.approx(np.array([[1.0, 1], [-1, 1], [-1, -1], [1, -1]]))
    assert is_convex(square)
    assert not is_convex(square[[0, 2, 1, 3]])
    assert np.isnan(crossing(np.array([1.0, 0, 0]), np.array([1.0, 0, 5]))).all()


def test_what_reaches_out_of_the_picture_is_neither_round_nor_plain_nor_fitted() -> None:
    picture = np.full((200, 300, 3), 128, np.uint8)
    beyond = np.array([[-20.0, -20], [120, -20], [120, 70], [-20, 70]])
    model = Target.of("id1_card").model_mm(beyond)
    assert corner_radius_mm(picture, beyond, model) == (3.18, 10.0)
    assert plainness(picture, beyond) == 0.0
    assert fit_quad(picture, beyond) == "it reaches out of the picture"
    assert fit_quad(picture, np.array([[50.0, 50], [58, 50], [58, 56], [50, 56]])) == "a side is too short to be fitted"


def test_a_grey_picture_gives_the_same_card() -> None:
    scene = scene_of(card_at())
    grey = np.asarray(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), np.uint8)
    true, target = true_corners(scene), Target.of("id1_card")
    in_colour, in_grey = (judge(p, true, target, None) for p in (scene.picture, grey))
    assert in_grey.reasons == ()
    assert np.abs(in_grey.corners_px - in_colour.corners_px).max() < 0.5


@pytest.mark.parametrize("bow_px", [3.0, 4.0, 5.0])
def test_a_thing_with_a_bent_side_is_no_card(bow_px: float) -> None:
    picture = np.full((300, 400, 3), 90, np.uint8)
    along = np.linspace(0, 1, 40)
    top = np.column_stack([100 + 171.2 * along, 100 - bow_px * np.sin(np.pi * along)])
    outline = np.concatenate([top, [[271.2, 207.96], [100, 207.96]]])
    cv2.fillPoly(picture, [np.round(outline * 16).astype(np.int32)], (200, 60, 40), cv2.LINE_AA, 4)
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.9), np.uint8)
    mean = 100 - bow_px / 2
    corners = np.array([[100.0, mean], [271.2, mean], [271.2, 208], [100, 208]])
    judged = judge(picture, corners, Target.of("rectangle", 171.2, 208 - mean), None, told=True)
    assert any("is not straight" in r for r in judged.reasons)


@pytest.mark.parametrize("colour", [(0.06, 0.06, 0.06), (0.75, 0.75, 0.75), (0.05, 0.3, 0.1)])
def test_a_shadow_and_the_side_face_do_not_move_the_front_s_sides(colour: tuple[float, float, float]) -> None:
    card = replace(card_at(turn_deg=1.0), colour=colour)
    scene = scene_of(card, camera=view(2050.0, 700.0))
    found = judge(scene.picture, true_corners(scene), Target.of("id1_card"), None, told=True)
    assert np.sqrt(np.mean((found.corners_px - true_corners(scene)) ** 2)) < 0.2


def test_where_the_wall_is_marked_its_slant_tells_which_way_a_card_leans_and_better_than_its_own_corners() -> None:
    camera = view(1800.0, 1300.0)
    scene = scene_of(card_at(), camera=camera)
    rng = np.random.default_rng(11)
    target, size = Target.of("id1_card"), SIZE
    wall = camera.project(np.array([[900, 700, 0], [2100, 700, 0], [2100, 1700, 0], [900, 1700, 0]], float))
    normal = camera.rotation @ np.array([0.0, 0.0, 1.0])
    depth = float(camera.to_camera(np.array([[1500.0, 1200.0, 1.0]]))[0, 2])
    true = leans(true_corners(scene), normal, camera.focal_px / depth, size)
    off: dict[bool, list[float]] = {True: [], False: []}
    for _ in range(24):
        corners = true_corners(scene) + rng.normal(0, 0.5, (4, 2))
        pressed = wall + rng.normal(0, 1.0, (4, 2))
        marks = [
            Mark(photo="p", point=c, px=(float(x), float(y)), wall="w", opening="w1", face="wall")
            for c, (x, y) in zip(CORNERS, pressed, strict=True)
        ]
        plane = views_of_marks(marks, size)["w"]
        for known in (True, False):
            pose = _shape(corners, target, plane if known else None, size, slack=0.05)[1]
            assert pose is not None
            found = np.array(leans_on_wall(corners, pose, plane if known else None, size))
            off[known].append(float(np.sqrt(np.mean((found - true) ** 2))))
    assert np.median(off[True]) < 0.03  # px for a millimetre
    assert np.median(off[True]) < 0.4 * np.median(off[False])


def test_where_no_size_is_known_what_looks_doubtful_is_offered_after_what_does_not() -> None:
    def candidate(x: float, misfit: float, *doubts: str) -> Candidate:
        corners = np.array([[x, 0], [x + 86, 0], [x + 86, 54], [x, 54]])
        return Candidate(
            corners_px=corners, sd_px=np.full(4, 0.1), model_mm=corners, reasons=(), misfit=misfit,
            inside=np.zeros(3), darker=True, doubts=doubts,
        )  # fmt: skip

    sharp, card = candidate(0, 4.0, "its corners do not show whether they are rounded"), candidate(300, 5.0)
    assert _best_first([sharp, card], doubts_last=True)[0] is card
    assert _best_first([sharp, card], doubts_last=False)[0] is sharp  # where a size is known, fit alone counts
