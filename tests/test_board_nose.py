"""A window board's nose is not taken for the foot of the opening."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.simulated_walls import Case, simulate, two_sheets_three_photos
from vision.board_nose import beside_a_board, noses
from vision.measure import WallProblem, measure_wall
from vision.walls import EdgeTrace, GreyImage

NOSE_MM = 40.0
FOOT = ("w1/wall", "bottom")


def _case(seed: int) -> Case:
    return simulate(two_sheets_three_photos(), np.random.default_rng(seed))


def _on_the_nose(case: Case) -> WallProblem:
    """Return the case with every trace of the window's foot moved to where a nose in front of it shows."""

    def moved(trace: EdgeTrace) -> EdgeTrace:
        corners = np.array([case.points[f"w1/{c}"] for c in ("bottom_left", "bottom_right")])
        middle = corners.mean(axis=0)
        front = middle + np.array([0.0, 0.0, NOSE_MM])
        step = case.project(trace.photo, front[None]) - case.project(trace.photo, middle[None])
        return replace(trace, points_px=trace.points_px + step)

    edges = tuple(moved(e) if e.edge == FOOT else e for e in case.problem.edges)
    return replace(case.problem, edges=edges)


def _drawn(horn_px: int) -> GreyImage:
    """Return a grey wall with a bright opening above a board that runs past its jambs by so many pixels."""
    picture = np.full((300, 600), 120, dtype=np.uint8)
    picture[60:200, 150:450] = 235
    if horn_px:
        picture[200:206, 150 - horn_px : 450 + horn_px] = 225  # the board's top in front of the plaster, then its front
        picture[206:228, 150 - horn_px : 450 + horn_px] = 190
    noise = np.random.default_rng(4).normal(0.0, 3.0, picture.shape)
    return np.asarray(np.clip(picture + noise, 0, 255), dtype=np.uint8)


def _drawn_foot() -> EdgeTrace:
    x = np.linspace(165.0, 435.0, 15)
    points = np.column_stack([x, np.full(15, 199.5)])
    return EdgeTrace(photo="a.jpg", edge=FOOT, points_px=points, sd_px=np.full(15, 0.5))


@pytest.mark.parametrize(("horn_px", "board"), [(0, False), (40, True)])
def test_a_board_that_runs_past_the_jambs_makes_the_foot_doubtful_and_plain_wall_does_not(
    horn_px: int, board: bool
) -> None:
    ends = np.array([[150.0, 199.5], [450.0, 199.5]])
    assert beside_a_board(_drawn(horn_px), _drawn_foot(), ends, 1.0) is board


def test_past_the_pictures_edge_there_is_no_board_to_see() -> None:
    cut = _drawn(40)[:, 145:455]
    foot = replace(_drawn_foot(), points_px=_drawn_foot().points_px - np.array([145.0, 0.0]))
    assert not beside_a_board(cut, foot, np.array([[5.0, 199.5], [305.0, 199.5]]), 1.0)


def test_traces_on_the_nose_are_known_by_the_presses_and_left_out() -> None:
    for seed in (3, 4, 5):
        case = _case(seed)
        true = case.truth["openings.w1.height_mm"]
        solved = measure_wall(_on_the_nose(case))
        size = solved.measured.openings[0].height_mm
        assert size is not None
        assert not any(e.edge == FOOT for e in solved.problem.edges)
        assert abs(size.value - true) < 3.0 * size.sd


def test_a_foot_of_plaster_is_kept_nearly_always() -> None:
    taken = 0
    for seed in range(20, 40):
        solved = measure_wall(_case(seed).problem)
        assert solved.solution is not None
        taken += not any(e.edge == FOOT for e in solved.problem.edges)
        assert noses(solved.solution) == ()
    assert taken <= 3  # 2.3 % by chance
