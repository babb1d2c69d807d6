"""Derivatives of the model against finite differences, and the anchoring of the wall's surface."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.simulated_walls import simulate, two_sheets_three_photos
from vision import priors
from vision.model import Places, State, Surface, world_points
from vision.observe import Observations
from vision.start import first_guesses, views


def _observations() -> Observations:
    case = simulate(two_sheets_three_photos(), np.random.default_rng(5))
    problem = case.problem
    seen = views(problem.photos, problem.marks, problem.sightings, {r.id: r for r in problem.references})
    return Observations(problem, first_guesses(seen, {})[0])


def test_the_jacobian_is_the_derivative_of_the_residuals() -> None:
    obs = _observations()
    rng = np.random.default_rng(1)
    state = State(vector=obs.start.vector + rng.normal(0, 1e-3, obs.layout.size), rotations=obs.start.rotations)
    state = obs.cameras.retract(state, np.zeros(obs.layout.size))
    _, J = obs.evaluate(state)
    for column in range(obs.layout.size):
        scale = 1.0 / max(float(np.linalg.norm(J[:, column])), 1e-9)
        step = np.zeros(obs.layout.size)
        step[column] = 1e-3 * scale
        plus, _ = obs.evaluate(obs.cameras.retract(state, step))
        minus, _ = obs.evaluate(obs.cameras.retract(state, -step))
        numeric = (plus - minus) / (2e-3 * scale)
        block = next(name for name, where in obs.layout.blocks.items() if where.start <= column < where.stop)
        np.testing.assert_allclose(J[:, column] * scale, numeric * scale, atol=2e-5, err_msg=f"{block} column {column}")


def test_the_surface_stays_where_it_is_at_the_middle_of_the_wall() -> None:
    obs = _observations()
    vector = obs.start.vector.copy()
    vector[obs.surface.block] = 5.0, -4.0, 3.0
    middle = np.array([obs.surface.middle_mm])
    height, slope, _, _ = obs.surface.height(middle, vector)
    assert height[0] == 0.0
    np.testing.assert_allclose(slope, 0.0, atol=1e-12)
    edge = middle + np.array([[obs.surface.half_mm[0], 0.0]])
    np.testing.assert_allclose(obs.surface.height(edge, vector)[0], 5.0)


def test_a_mark_standing_proud_lands_where_its_point_in_space_does() -> None:
    case = simulate(replace(two_sheets_three_photos(), skirting_mm=18.0), np.random.default_rng(8))
    proud = [m for m in case.problem.marks if m.proud_mm]
    assert proud
    for mark in proud:
        pixel = case.project(mark.photo, np.array([[*case.points[f"wall/{mark.point}"][:2], 18.0]]))[0]
        assert np.linalg.norm(pixel - np.array(mark.px)) < 12.0


def test_the_jacobian_is_the_derivative_on_a_bulged_wall_with_leaning_references_and_splayed_reveals_too() -> None:
    """Every unknown is moved by a share of its prior's spread, so that no slope is nearly nought."""
    obs = _observations()
    rng = np.random.default_rng(11)
    step = np.zeros(obs.layout.size)
    for column, sd in zip(obs.prior_column, obs.prior_sd, strict=True):
        step[int(column)] = rng.choice([-1.0, 1.0]) * min(float(sd), 40.0) * rng.uniform(0.5, 1.5)
    state = obs.cameras.retract(obs.start, step)
    state.vector[obs.surface.block] = 60.0, -45.0, 50.0
    _, J = obs.evaluate(state)
    for column in range(obs.layout.size):
        scale = 1.0 / max(float(np.linalg.norm(J[:, column])), 1e-9)
        nudge = np.zeros(obs.layout.size)
        nudge[column] = 1e-3 * scale
        plus, _ = obs.evaluate(obs.cameras.retract(state, nudge))
        minus, _ = obs.evaluate(obs.cameras.retract(state, -nudge))
        numeric = (plus - minus) / (2e-3 * scale)
        block = next(name for name, where in obs.layout.blocks.items() if where.start <= column < where.stop)
        np.testing.assert_allclose(J[:, column] * scale, numeric * scale, atol=5e-5, err_msg=f"{block} column {column}")


def test_the_surface_bulges_over_the_walls_own_middle_and_half_sizes() -> None:
    obs = _observations()
    others = ("bottom_right", "top_right", "top_left")
    wall = np.array([obs.start.vector[obs.layout[f"corner:wall/{c}"]] for c in others])
    ring = np.vstack([np.zeros((1, 2)), wall])
    np.testing.assert_allclose(obs.surface.middle_mm, (ring.max(axis=0) + ring.min(axis=0)) / 2)
    np.testing.assert_allclose(obs.surface.half_mm, (ring.max(axis=0) - ring.min(axis=0)) / 2)
    vector = obs.start.vector.copy()
    vector[obs.surface.block] = 5.0, 0.0, 0.0
    corner = np.array([[0.0, 0.0]])
    assert abs(obs.surface.height(corner, vector)[0][0] - 5.0) < 0.5
    up = np.array(obs.surface.middle_mm)[None] + np.array([[0.0, obs.surface.half_mm[1]]])
    assert abs(obs.surface.height(up, vector)[0][0]) < 1e-9


def test_the_priors_are_those_of_the_photos_and_the_references() -> None:
    obs = _observations()
    told = {
        int(column): (float(mean), float(sd), source)
        for column, mean, sd, source in zip(
            obs.prior_column, obs.prior_mean, obs.prior_sd, obs._prior_source[: len(obs.prior_column)], strict=False
        )
    }
    photos = obs.cameras.photos
    lens = obs.layout[f"lens:{photos[0].phone}"].start
    assert [told[lens + k][1] for k in range(5)] == pytest.approx(
        [photos[0].focal_rel_sd, photos[0].centre_sd_px, photos[0].centre_sd_px, photos[0].k1_sd, photos[0].k2_sd]
    )
    for photo, block in zip(photos, obs.cameras.photo_block, strict=True):
        start = int(block)
        assert told[start][1] == priors.PHOTO_FOCAL_REL_SD, photo.file
        assert told[start + 1][1] == told[start + 2][1] == pytest.approx(priors.PHOTO_CENTRE_SD_PX)
    assert all(mean == 0.0 for column, (mean, _, source) in told.items() if source == "lens")
    surface = range(obs.surface.block.start, obs.surface.block.stop)
    assert [told[c][1] for c in surface] == list(priors.SURFACE_SD_MM)


def test_a_cropped_photo_of_a_phone_may_have_its_middle_further_off_than_the_whole_ones() -> None:
    case = simulate(two_sheets_three_photos(), np.random.default_rng(5))
    first, *rest = case.problem.photos
    problem = replace(case.problem, photos=(replace(first, centre_sd_px=100.0), *rest))
    seen = views(problem.photos, problem.marks, problem.sightings, {r.id: r for r in problem.references})
    obs = Observations(problem, first_guesses(seen, {})[0])
    told = {int(c): float(sd) for c, sd in zip(obs.prior_column, obs.prior_sd, strict=True)}
    block = int(obs.cameras.photo_block[obs.files[first.file]])
    own = np.hypot(priors.PHOTO_CENTRE_SD_PX, np.sqrt(100.0**2 - rest[0].centre_sd_px ** 2))
    assert told[block + 1] == pytest.approx(own)


def test_a_reference_stands_off_the_plaster_towards_the_camera_by_its_thickness() -> None:
    obs = _observations()
    world, _ = world_points(obs.places, obs.start.vector, obs.surface)
    on_sheets = world[len(obs.places.quad_a) + len(obs.places.back_reveal) :]
    expected = priors.REFERENCE_STANDOFF_MM["survey_sheet"]
    np.testing.assert_allclose(on_sheets[:, 2], expected, atol=1e-9)


def test_the_back_corners_lie_behind_the_front_ones_and_move_with_the_side_face_they_are_on() -> None:
    obs = _observations()
    opening = next(iter(obs.reveals))
    block = obs.layout[f"reveal:{opening}"].start
    clicks = [k for k, (a, b) in enumerate(obs.places.back_corner) if a == b]
    first = len(obs.places.quad_a)

    def backs(vector: np.ndarray) -> np.ndarray:
        return np.asarray(world_points(obs.places, vector, obs.surface)[0][[first + k for k in clicks]])

    plain = backs(obs.start.vector)
    corner = np.array([obs.places.back_corner[k][0] for k in clicks])
    assert (plain[:, 2] < 0.0).all()
    for k, moved_corners, axis in ((1, (0, 3), 0), (2, (1, 2), 0), (3, (0, 1), 1), (4, (2, 3), 1)):
        vector = obs.start.vector.copy()
        vector[block + k] = 0.1
        shift = backs(vector) - plain
        moved = np.isin(corner, moved_corners)
        assert (np.abs(shift[moved, axis]) > 1.0).all(), f"splay {k}"
        assert np.abs(shift[~moved]).max() < 1e-9, f"splay {k}"


@pytest.mark.parametrize("first", [0, 3], ids=["at the beginning of the vector", "further on"])
def test_a_point_of_an_edge_lies_between_its_corners_wherever_they_stand_among_the_unknowns(first: int) -> None:
    places = Places(
        quad_a=[first, first, -1], quad_b=[first + 2, first, first], quad_share=[0.25, 0.0, 0.5],
        quad_bow=[-1, -1, -1], quad_normal=[(0.0, 1.0)] * 3, quad_proud=[5.0, 0.0, 0.0],
    )  # fmt: skip
    places.freeze()
    vector = np.zeros(10)
    vector[first : first + 4] = 1000.0, 200.0, 3000.0, 400.0
    surface = Surface(block=slice(7, 10), middle_mm=(0.0, 0.0), half_mm=(2000.0, 1200.0))
    points, slopes = world_points(places, vector, surface)
    assert points == pytest.approx(np.array([[1500.0, 250.0, 5.0], [1000.0, 200.0, 0.0], [500.0, 100.0, 0.0]]))
    by_x = np.zeros((3, 10))
    by_x[0, [first, first + 2]] = 0.75, 0.25
    by_x[1, first], by_x[2, first] = 1.0, 0.5
    assert slopes[:, 0] == pytest.approx(by_x)
    assert slopes[:, 1] == pytest.approx(np.roll(by_x, 1, axis=1))


@pytest.mark.parametrize("bow", [0, 5])
def test_an_edge_bows_by_all_of_its_bow_at_its_middle_and_by_three_quarters_halfway_there(bow: int) -> None:
    places = Places(
        quad_a=[1] * 4, quad_b=[3] * 4, quad_share=[0.0, 0.25, 0.5, 1.0], quad_bow=[bow] * 4,
        quad_normal=[(0.6, 0.8)] * 4, quad_proud=[0.0] * 4,
    )  # fmt: skip
    places.freeze()
    vector = np.zeros(9)
    vector[3], vector[bow] = 4000.0, 10.0
    surface = Surface(block=slice(6, 9), middle_mm=(0.0, 0.0), half_mm=(2000.0, 1200.0))
    points, slopes = world_points(places, vector, surface)
    arch = np.array([0.0, 0.75, 1.0, 0.0])
    assert points[:, 0] - 4000.0 * np.array([0.0, 0.25, 0.5, 1.0]) == pytest.approx(6.0 * arch)
    assert points[:, 1] == pytest.approx(8.0 * arch)
    assert slopes[:, :2, bow] == pytest.approx(np.outer(arch, [0.6, 0.8]))
