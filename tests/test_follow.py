"""A moved mark is followed from the last solution: the same sizes as a full solution, or no answer at all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.simulated_walls import simulate, two_sheets_three_photos
from vision.findings import worst_first
from vision.follow import follow
from vision.measure import WallProblem, WallSolution, measure_wall
from vision.walls import Mark, MeasuredWall

SHARE = 0.05
"""Of a size's own standard uncertainty: the followed size is this close to the full solution's."""


@pytest.fixture(scope="module")
def solved() -> tuple[WallProblem, WallSolution]:
    case = simulate(two_sheets_three_photos(), np.random.default_rng(4))
    return case.problem, measure_wall(case.problem)


def clicks(problem: WallProblem) -> list[int]:
    return [i for i, mark in enumerate(problem.marks) if mark.wall == problem.wall.id and mark.reference is None]


def nudged(problem: WallProblem, index: int, dx: float, dy: float) -> WallProblem:
    marks = list(problem.marks)
    x, y = marks[index].px
    marks[index] = replace(marks[index], px=(x + dx, y + dy))
    return replace(problem, marks=tuple(marks))


def assert_same(a: MeasuredWall, b: MeasuredWall) -> None:
    pairs = [(a.width_mm, b.width_mm), (a.height_mm, b.height_mm)]
    for mine, other in zip(a.openings, b.openings, strict=True):
        pairs += [(mine.width_mm, other.width_mm), (mine.reveal_depth_mm, other.reveal_depth_mm)]
    for mine_mm, other_mm in pairs:
        assert mine_mm is not None and other_mm is not None
        assert mine_mm.value == pytest.approx(other_mm.value, abs=SHARE * other_mm.sd)
        assert mine_mm.sd == pytest.approx(other_mm.sd, rel=0.02)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(which=st.integers(0, 10_000), dx=st.floats(-3, 3), dy=st.floats(-3, 3))
def test_a_nudged_mark_is_followed_to_where_the_full_solution_ends(
    solved: tuple[WallProblem, WallSolution], which: int, dx: float, dy: float
) -> None:
    was, before = solved
    own = clicks(was)
    now = nudged(was, own[which % len(own)], dx, dy)
    followed = follow(before, was, now)
    full = measure_wall(now, start=before)
    assert full.solution is not None
    if followed is None:  # then the full solution must have something else to say than the last one had
        assert before.solution is not None
        assert [o.mark for o in full.solution.outliers] != [o.mark for o in before.solution.outliers]
    else:
        assert_same(followed.measured, full.measured)


def test_steps_followed_one_after_another_do_not_drift(solved: tuple[WallProblem, WallSolution]) -> None:
    was, before = solved
    index = clicks(was)[0]
    solution, problem, followed_steps = before, was, 0
    for k in range(1, 13):
        now = nudged(was, index, 0.25 * k, -0.1 * k)
        step = follow(solution, problem, now)
        if step is None:
            break
        solution, problem, followed_steps = step, now, k
    assert followed_steps >= 4
    assert_same(solution.measured, measure_wall(problem).measured)


def test_going_there_and_back_gives_the_same_sizes(solved: tuple[WallProblem, WallSolution]) -> None:
    was, before = solved
    now = nudged(was, clicks(was)[2], 0.8, 0.8)
    there = follow(before, was, now)
    assert there is not None
    back = follow(there, now, was)
    assert back is not None
    assert_same(back.measured, before.measured)


def test_a_slip_is_left_to_the_full_solution_which_names_it(solved: tuple[WallProblem, WallSolution]) -> None:
    was, before = solved
    now = nudged(was, clicks(was)[0], 40.0, 10.0)
    assert follow(before, was, now) is None
    full = measure_wall(now, start=before)
    assert "M010" in {finding.code for finding in worst_first(full.findings)}


def test_a_mark_that_was_left_out_and_comes_back_is_left_to_the_full_solution(
    solved: tuple[WallProblem, WallSolution],
) -> None:
    good, _ = solved
    slipped = nudged(good, clicks(good)[0], 40.0, 10.0)
    before = measure_wall(slipped)
    assert before.solution is not None and before.solution.outliers
    assert follow(before, slipped, good) is None


@pytest.mark.parametrize(
    "change", ["a mark less", "another photo", "stands out", "no references", "edges", "other point"]
)
def test_any_other_change_is_left_to_the_full_solution(solved: tuple[WallProblem, WallSolution], change: str) -> None:
    was, before = solved
    first: Mark = was.marks[clicks(was)[0]]

    def with_first(mark: Mark) -> WallProblem:
        return replace(was, marks=tuple(mark if m is first else m for m in was.marks))

    now = {
        "a mark less": lambda: replace(was, marks=was.marks[1:]),
        "another photo": lambda: replace(was, photos=was.photos[1:]),
        "stands out": lambda: with_first(replace(first, proud_mm=first.proud_mm + 5.0)),
        "no references": lambda: replace(was, references=()),
        "edges": lambda: replace(was, edges=was.edges[1:]) if was.edges else replace(was, sightings=was.sightings[1:]),
        "other point": lambda: with_first(replace(first, point="edge_inner")),
    }[change]()
    assert follow(before, was, now) is None
