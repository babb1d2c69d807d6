"""An unmarked wall gets an outline near the truth, or none; never one that the references contradict."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from intake.exif import CameraFacts
from intake.photos import PhotoFile, lens_prior
from tests.scenes import Scene
from tests.spoiled_photos import spoiled_photo
from tests.studies.proposals import ROOMS, run
from tests.survey_folders import render_home
from vision.pose import rotation_exp
from vision.proposals import _that_fit, propose_marks
from vision.proposed_outline import SKIRTING_TIE, _at_the_foot
from vision.quick_look import glance, is_plain
from vision.references import find_references
from vision.room_axes import alone, misfit_px, off_references, room_axes, straight_segments
from vision.walls import CORNERS, FloatArray, Photo


def photo_of(scene: Scene) -> Photo:
    camera = scene.camera
    f35 = round(camera.focal_px * 43.27 / float(np.hypot(camera.width_px, camera.height_px)))
    facts = CameraFacts(make="Handset", model="H", orientation=1, focal_35mm=f35)
    described = PhotoFile(file="a.jpg", kind="jpeg", width_px=camera.width_px, height_px=camera.height_px, facts=facts)
    return lens_prior(described)[0]


@pytest.fixture(scope="module")
def scene() -> Scene:
    return render_home(8, photos=1).scenes[0]


def test_the_outline_and_its_marks_lie_on_the_true_corners(scene: Scene) -> None:
    grey = cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY)
    sightings = find_references(grey, photo="a.jpg").sightings
    proposal = propose_marks(grey, photo=photo_of(scene), sightings=sightings)
    assert proposal is not None
    assert proposal.width_mm == pytest.approx(scene.room.width_mm, rel=0.01)
    assert proposal.height_mm == pytest.approx(scene.room.height_mm, rel=0.01)
    true = scene.camera.project(np.column_stack([scene.room.corners_mm, np.zeros(4)]))
    assert np.abs(proposal.outline_px - true).max() < 15
    marks = proposal.marks(wall="north", longer_side_px=2016)
    assert [mark.point for mark in marks[:4]] == list(CORNERS)
    assert all(mark.sd_px > 2 for mark in marks)


def test_the_first_look_is_enough_for_a_proposal_and_agrees_with_the_fit(scene: Scene) -> None:
    grey = cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY)
    quick, fitted = glance(grey, photo="a.jpg"), find_references(grey, photo="a.jpg").sightings
    assert {seen.number for seen in quick} == {seen.number for seen in fitted}
    for seen in quick:
        other = next(one for one in fitted if one.number == seen.number)
        assert np.abs(seen.corners_px - other.corners_px).max() < 3.0
        assert seen.sd_px[0] == pytest.approx(np.median(other.sd_px), rel=0.35)


def test_a_first_look_is_trusted_only_with_whole_large_sheets_and_none_missing(scene: Scene) -> None:
    seen = next(s for s in glance(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), photo="a.jpg") if len(s.sd_px) == 16)
    side = float(np.linalg.norm(seen.points_px[1] - seen.points_px[0]))
    large = [replace(seen, number=number, points_px=seen.points_px * 90 / side) for number in (17, 18)]
    assert is_plain(large, expected=(17, 18))
    assert not is_plain(large[:1], expected=(17, 18))
    assert not is_plain(())
    torn = replace(large[0], points_px=large[0].points_px[:12])
    assert not is_plain((torn, large[1]))
    assert not is_plain([replace(sheet, points_px=sheet.points_px / 3) for sheet in large])


def test_edges_on_the_sheets_say_nothing_of_the_room(scene: Scene) -> None:
    grey = cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY)
    sightings = find_references(grey, photo="a.jpg").sightings
    every = straight_segments(grey)
    kept = off_references(every, sightings)
    assert 0 < len(kept) < len(every)
    for seen in sightings:
        middles = (kept[:, :2] + kept[:, 2:]) / 2
        corners = np.asarray(seen.corners_px, dtype=np.float32)
        assert all(cv2.pointPolygonTest(corners, (float(x), float(y)), False) < 0 for x, y in middles)


def test_without_a_reference_or_without_a_room_there_is_no_proposal(scene: Scene) -> None:
    grey = cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY)
    assert propose_marks(grey, photo=photo_of(scene), sightings=()) is None
    sightings = find_references(grey, photo="a.jpg").sightings
    blank = np.full_like(grey, 128)
    assert propose_marks(blank, photo=photo_of(scene), sightings=sightings) is None


def test_a_seeded_part_of_the_study_proposes_seven_in_ten_within_one_and_a_half_percent() -> None:
    # Ten of 13 are asked. Of rooms of which 19 in 20 succeed, fewer do so once in 300 times, of nine in ten once in 29;
    # of one in two, ten or more do so once in 22. The pictures are seeded: chance enters only when the code changes.
    told = run(seed=20261125, part=13 / ROOMS)
    assert told["rooms"] == 13
    assert told["within_1_5_percent"] >= 0.70
    assert told["called_measured"] == 0


def turned_deg(one: FloatArray, other: FloatArray) -> float:
    return float(np.degrees(np.arccos(np.clip((np.trace(one.T @ other) - 1) / 2, -1, 1))))


def edges_of_a_room(turn: FloatArray, rib_turn_deg: float) -> tuple[FloatArray, Photo]:
    """Return a wall's outline, the four edges that meet it and forty ribs that hang crooked on it, as segments px."""
    photo = Photo(file="a.jpg", width_px=2016, height_px=1512, phone="p", focal_px=1400.0, focal_rel_sd=0.03)
    corners = np.array([[-1.7, -1.1, -3.4], [1.7, -1.1, -3.4], [1.7, 1.2, -3.4], [-1.7, 1.2, -3.4]])
    pairs = [(corners[k - 1], corners[k]) for k in range(4)]
    pairs += [(corner, corner + np.array([0.0, 0.0, 0.9])) for corner in corners]
    lean = np.array([np.sin(np.radians(rib_turn_deg)), np.cos(np.radians(rib_turn_deg)), 0.0])
    pairs += [(foot, foot + 0.6 * lean) for x in np.linspace(0.1, 1.3, 40) for foot in [np.array([x, -0.9, -3.4])]]
    ends = np.array(pairs) @ turn.T
    pixels = 1400.0 * ends[..., :2] / ends[..., 2:] + (1007.5, 755.5)
    return pixels.reshape(-1, 4), photo


def test_forty_ribs_of_a_radiator_that_hangs_crooked_count_as_one_thing() -> None:
    turn = rotation_exp(np.array([0.1, 0.2, 0.01])) @ np.diag([1.0, -1.0, -1.0])
    segments, photo = edges_of_a_room(turn, rib_turn_deg=2.0)
    weights = alone(segments, longer_side_px=2016)
    assert weights[:8] == pytest.approx(1.0)
    assert weights[8:].max() < 0.2
    start = rotation_exp(np.array([0.02, -0.02, 0.02])) @ turn
    assert turned_deg(room_axes(segments, photo, start, weights=weights).rotation, turn) < 0.3
    assert turned_deg(room_axes(segments, photo, start).rotation, turn) > 1.0


def test_the_pieces_of_one_edge_are_no_crowd() -> None:
    pieces = np.array([[100.0, 50.0, 100.0, 300.0], [100.5, 310.0, 100.5, 600.0], [100.0, 605.0, 100.0, 900.0]])
    assert alone(pieces, longer_side_px=1000) == pytest.approx(1.0)
    assert alone(np.array([pieces[0], pieces[0] + 5.0]), longer_side_px=1000) == pytest.approx(0.5)


def test_a_plane_under_which_the_sheets_lose_their_shape_is_not_looked_along(scene: Scene) -> None:
    grey = cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY)
    photo, sightings = photo_of(scene), find_references(grey, photo="a.jpg").sightings
    true = scene.camera.rotation
    wrong = rotation_exp(true @ np.array([0.0, np.radians(20), 0.0])) @ true
    segments = straight_segments(grey)
    right_px, wrong_px = (misfit_px(sightings, photo, turn) for turn in (true, wrong))
    assert right_px < 0.5
    assert wrong_px > 4 * right_px
    looks = [replace(room_axes(segments, photo, true), photo=photo, rotation=turn) for turn in (wrong, true)]
    ((kept, worse_px),) = _that_fit(looks, sightings)
    assert kept.rotation is true
    assert worse_px == 0.0
    away = true @ np.diag([-1.0, 1.0, -1.0])
    assert misfit_px(sightings, photo, away) == np.inf
    assert _that_fit([replace(looks[0], rotation=away)], sightings) == []


@pytest.mark.parametrize(
    ("floors_mm", "scores", "stands"),
    [
        ([-1000.0, -1120.0], [4.2, 4.2 - SKIRTING_TIE / 2], 1),
        ([-1000.0, -1120.0], [4.2, 4.2 - SKIRTING_TIE * 2], 0),
        ([-1000.0, -1400.0], [4.2, 4.1], 0),
        ([-1120.0, -1000.0], [4.2, 4.1], 0),
    ],
    ids=["a tie", "no tie", "too high for a skirting board", "already at the foot"],
)
def test_of_a_skirting_boards_two_edges_the_wall_stands_on_the_lower(
    floors_mm: list[float], scores: list[float], stands: int
) -> None:
    score = np.array(scores).reshape(1, -1, 1, 1)
    best = np.unravel_index(int(np.argmax(score)), score.shape)
    assert _at_the_foot(score, np.array(floors_mm), best)[1] == stands


def test_stripes_of_the_paper_are_not_taken_for_the_walls_end() -> None:
    photo = spoiled_photo(32000041, "messenger")
    grey = cv2.cvtColor(photo.scene.picture, cv2.COLOR_BGR2GRAY)
    taken = replace(photo_of(photo.scene), width_px=grey.shape[1], height_px=grey.shape[0])
    taken = replace(taken, focal_px=photo.scene.camera.focal_px * grey.shape[1] / photo.scene.camera.width_px)
    proposal = propose_marks(grey, photo=taken, sightings=find_references(grey, photo="a.jpg").sightings)
    assert proposal is not None
    assert proposal.width_mm == pytest.approx(photo.scene.room.width_mm, rel=0.015)


@pytest.mark.parametrize(("focal_rel_sd", "found_px"), [(0.3, 1500.0), (0.03, 1240.0)], ids=["in doubt", "known"])
def test_the_rooms_right_angles_give_a_doubtful_focal_length_and_leave_a_known_one_alone(
    focal_rel_sd: float, found_px: float
) -> None:
    turn = rotation_exp(np.array([0.08, 0.45, 0.02])) @ np.diag([1.0, -1.0, -1.0])
    true = Photo(file="a.jpg", width_px=2016, height_px=1512, phone="p", focal_px=1500.0)
    rng = np.random.default_rng(5)
    ends = []
    for axis in np.repeat(np.eye(3), 30, axis=0):
        middle = rng.uniform([-1.1, -0.8, -0.1], [1.1, 0.8, 0.6]) - np.array([0.0, 0.0, 3.0])
        pair = np.array([middle - 0.2 * axis, middle + 0.2 * axis]) @ turn.T
        ends.append((1500.0 * pair[:, :2] / pair[:, 2:] + (1007.5, 755.5) + rng.normal(0, 0.3, (2, 2))).ravel())
    said = replace(true, focal_px=1240.0, focal_rel_sd=focal_rel_sd)
    axes = room_axes(np.array(ends), said, rotation_exp(np.array([0.03, -0.04, 0.01])) @ turn)
    assert axes.photo.focal_px == pytest.approx(found_px, rel=0.02)
    if found_px == true.focal_px:
        assert np.allclose(axes.rotation, turn, atol=0.01)
