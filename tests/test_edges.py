"""Edges traced in rendered pictures, and the straightened wall."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from tests.rendered_walls import ENDS, Survey, rendered_survey
from vision import edges
from vision.edge_strip import cut_strip, step_response
from vision.edges import trace_edges
from vision.linear_light import LINEAR_OF_CODE
from vision.measure import WallSolution, measure_wall
from vision.model import EDGES
from vision.rectify import rectify_wall, wall_box_mm
from vision.walls import EdgeTrace, FloatArray

SHORT = {long: short for short, long in ENDS.items()}
STEM = {"wall": "wall", "w1/wall": "open", "w1/frame": "back"}


@cache
def _survey(seed: int) -> tuple[Survey, WallSolution]:
    survey = rendered_survey(np.random.default_rng(seed), ("sheet",), ("whole",))
    return survey, measure_wall(survey.problem)


def _traces(seed: int) -> list[EdgeTrace]:
    survey, solution = _survey(seed)
    file, scene = next(iter(survey.scenes.items()))
    return trace_edges(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), solution, file)


def _off_truth(survey: Survey, trace: EdgeTrace) -> FloatArray:
    """Return the distances [px] of a trace's points from the true line."""
    scene = survey.scenes[trace.photo]
    names = [f"{STEM[trace.edge[0]]}_{SHORT[c]}" for c in EDGES[trace.edge[1]]]
    p, q = (scene.points_mm[name].copy() for name in names)
    for point in (p, q):
        if trace.proud_mm:
            point[2] = trace.proud_mm
    share = np.linspace(0.0, 1.0, 800)[:, None]
    curve = scene.camera.project((1 - share) * p + share * q)
    gap = np.linalg.norm(trace.points_px[:, None, :] - curve[None], axis=2)
    return np.asarray(gap.min(axis=1))


def test_most_edges_are_found_and_lie_on_the_true_lines() -> None:
    counted, right = 0, 0
    for seed in range(4):
        survey, _ = _survey(seed)
        for trace in _traces(seed):
            counted += 1
            # bulge and winding of the plaster bend a real edge by a pixel or so from the straight chord
            right += bool(np.median(_off_truth(survey, trace)) < 2.0)
    assert counted >= 16
    assert right >= 0.9 * counted


def test_a_windows_foot_is_traced_and_a_doors_is_not() -> None:
    feet = 0
    for seed in range(4):
        survey, solution = _survey(seed)
        feet += ("w1/wall", "bottom") in {t.edge for t in _traces(seed)}
        file, scene = next(iter(survey.scenes.items()))
        wall = replace(solution.problem.wall, openings=(replace(solution.problem.wall.openings[0], kind="door"),))
        door = replace(solution, problem=replace(solution.problem, wall=wall))
        traces = trace_edges(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), door, file)
        assert ("w1/wall", "bottom") not in {t.edge for t in traces}
    assert feet >= 2


def test_a_blank_picture_gives_no_edges() -> None:
    survey, solution = _survey(0)
    file, scene = next(iter(survey.scenes.items()))
    blank = np.full(scene.picture.shape[:2], 128, np.uint8)
    assert trace_edges(blank, solution, file) == []


def test_a_rival_line_close_by_leaves_the_edge_to_the_clicks() -> None:
    survey, solution = _survey(0)
    file, scene = next(iter(survey.scenes.items()))
    grey = cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY)
    found = {t.edge for t in trace_edges(grey, solution, file)}
    left = next(e for e in (("wall", "left"), ("wall", "right"), ("wall", "top")) if e in found)
    a, b = (scene.pixels[f"wall_{SHORT[c]}"] for c in EDGES[left[1]])
    assert a is not None and b is not None
    p, q = np.array(a), np.array(b)
    across = np.array([-(q - p)[1], (q - p)[0]]) / np.linalg.norm(q - p)
    doubled = grey.copy()
    for offset in (-4.0, 4.0):  # two black lines, a few pixels to either side of the edge
        ends = [tuple(int(v) for v in np.round(r + offset * across)) for r in (p, q)]
        cv2.line(doubled, ends[0], ends[1], 0, 2, cv2.LINE_AA)
    assert left not in {t.edge for t in trace_edges(doubled, solution, file)}


@pytest.mark.parametrize("at_px", [20.0, 20.3, 20.5, 20.9])
@pytest.mark.parametrize("dark", [0.02, 0.6, 0.76])
def test_an_edge_is_found_where_it_is_however_strong_it_is(dark: float, at_px: float) -> None:
    """A blurred step of light from 0.8 down to three strengths, a slightly noisy picture, guessed 2 px off."""
    down = np.arange(41.0)[:, None]
    share = 0.5 * (1.0 + np.vectorize(math.erf)((down - at_px) / (1.1 * math.sqrt(2.0))))
    light = np.tile(0.8 + (dark - 0.8) * share, (1, 400))
    codes = np.searchsorted(LINEAR_OF_CODE, light + np.random.default_rng(4).normal(0.0, 0.003, light.shape))
    guessed = np.column_stack([np.linspace(30.0, 370.0, 41), np.full(41, 18.0)])
    strip = cut_strip(codes.clip(0, 255).astype(np.uint8), guessed, 12.0)
    assert strip is not None
    response = step_response(strip.light)
    line = edges._choose(strip, edges._votes(response), (3.0, 3.0))
    assert line is not None
    found = edges._samples(strip, response, line)
    assert found is not None
    np.testing.assert_allclose(found[0][:, 1], at_px, atol=0.35)
    assert abs(float(np.mean(found[0][:, 1])) - at_px) < 0.12


def test_an_unknown_photo_gives_no_edges() -> None:
    survey, solution = _survey(0)
    grey = cv2.cvtColor(next(iter(survey.scenes.values())).picture, cv2.COLOR_BGR2GRAY)
    assert trace_edges(grey, solution, "another.jpg") == []


@pytest.mark.parametrize("mm_per_px", [2.0, 4.0])
def test_the_straightened_wall_has_its_reference_where_the_wall_frame_has_it(mm_per_px: float) -> None:
    survey, solution = _survey(1)
    file, scene = next(iter(survey.scenes.items()))
    straight = rectify_wall(scene.picture, solution, file, mm_per_px)
    x0, y0, x1, y1 = wall_box_mm(solution)
    assert straight.shape[1] == pytest.approx((x1 - x0) / mm_per_px, abs=1)
    assert straight.shape[0] == pytest.approx((y1 - y0) / mm_per_px, abs=1)
    # the opening's corner in the straightened picture shows what the photo shows at its pixel
    corner = solution.corner_mm("w1/top_left")
    column, row = (corner[0] - x0) / mm_per_px - 0.5, (y1 - corner[1]) / mm_per_px - 0.5
    pixel = solution.project(file, np.array([[*corner, 0.0]]))[0]
    size = 9
    there = cv2.getRectSubPix(cv2.cvtColor(straight, cv2.COLOR_BGR2GRAY), (size, size), (float(column), float(row)))
    scale = mm_per_px / _mm_per_pixel(solution, file, corner)
    window = round(size * scale) | 1
    here = cv2.getRectSubPix(
        cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), (window, window), (float(pixel[0]), float(pixel[1]))
    )
    here = cv2.resize(here, (size, size), interpolation=cv2.INTER_AREA)
    assert np.corrcoef(here.ravel().astype(float), there.ravel().astype(float))[0, 1] > 0.8


def _mm_per_pixel(solution: WallSolution, photo: str, at_mm: FloatArray) -> float:
    pair = solution.project(photo, np.array([[*at_mm, 0.0], [at_mm[0] + 10.0, at_mm[1], 0.0]]))
    return 10.0 / float(np.linalg.norm(pair[1] - pair[0]))
