"""Derivatives of the model against finite differences, and the anchoring of the wall's surface."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.simulated_walls import simulate, two_sheets_three_photos
from vision.model import State
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
