"""The thickness of a wall from a photo of its edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.simulated_walls import look_at
from vision.lens import Lens, project
from vision.measure import WallProblem, measure_wall
from vision.walls import DeclaredReference, DeclaredWall, Mark, Measured, Photo, Sighting

LENS = Lens(focal_px=2790.0, cx_px=2015.5, cy_px=1511.5)


def _problem(thickness_mm: float, rng: np.random.Generator) -> WallProblem:
    card = np.array([[-42.8, 26.99], [42.8, 26.99], [42.8, -26.99], [-42.8, -26.99]])
    pose = look_at(np.array([150.0, 200.0, 900.0]), np.array([100.0, 0.0, 0.0]), 0.03)

    def seen(xy: np.ndarray) -> np.ndarray:
        return project(pose.camera(np.column_stack([xy, np.zeros(len(xy))])), LENS)

    ends = seen(np.array([[-20.0, 60.0], [-20.0 + thickness_mm, 60.0]])) + rng.normal(0.0, 2.0, (2, 2))
    corners = seen(card + np.array([110.0, 0.0])) + rng.normal(0.0, 0.15, (4, 2))
    return WallProblem(
        wall=DeclaredWall(id="north"),
        photos=(Photo(file="edge.jpg", width_px=4032, height_px=3024, phone="p", focal_px=2790.0),),
        marks=tuple(
            Mark(photo="edge.jpg", wall="north", point=p, px=(float(x), float(y)))
            for p, (x, y) in zip(("edge_inner", "edge_outer"), ends, strict=True)
        ),
        sightings=(
            Sighting(
                reference="c1", kind="id1_card", photo="edge.jpg", model_mm=card, points_px=corners,
                sd_px=np.full(4, 0.15), bloom_px=np.zeros((4, 2)), corners_px=corners,
            ),
        ),
        references=(
            DeclaredReference(
                id="c1", kind="id1_card", wall="north",
                width_mm=Measured(value=85.6, sd=0.07), height_mm=Measured(value=53.98, sd=0.04),
            ),
        ),
    )  # fmt: skip


def test_the_distance_of_the_two_marks_is_the_thickness_within_its_uncertainty() -> None:
    rng = np.random.default_rng(4)
    errors = []
    for _ in range(60):
        thickness = float(rng.uniform(200.0, 330.0))
        found = measure_wall(_problem(thickness, rng)).measured.thickness_mm
        assert found is not None
        assert found.sd < 12.0
        errors.append((found.value - thickness) / found.sd)
    assert np.sqrt(np.mean(np.square(errors))) < 1.2


def test_a_mark_on_one_side_only_is_said() -> None:
    problem = _problem(230.0, np.random.default_rng(1))
    solution = measure_wall(replace(problem, marks=problem.marks[:1]))
    assert solution.measured.thickness_mm is None
    assert any(f.code == "M050" and "edge_inner" in f.message for f in solution.findings)


def test_without_a_reference_the_edge_has_no_scale() -> None:
    problem = _problem(230.0, np.random.default_rng(1))
    solution = measure_wall(replace(problem, sightings=()))
    assert any(f.code == "M051" for f in solution.findings)


def test_a_taped_thickness_comes_before_the_photo() -> None:
    problem = _problem(230.0, np.random.default_rng(1))
    taped = replace(problem, wall=replace(problem.wall, taped={"thickness_mm": 228.0}))
    found = measure_wall(taped).measured.thickness_mm
    assert found is not None
    assert found.value == pytest.approx(228.0)
