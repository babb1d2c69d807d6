"""The solver: what is put aside is what lies off, the rest decides, and the figures behind it are the textbook's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.simulated_walls import Case, simulate, two_sheets_three_photos
from vision.measure import WallSolution, measure_wall
from vision.problem import WallProblem
from vision.solve import (
    CAUCHY_SCALE,
    Solution,
    _objective,
    _weights,
    click_limit,
    covariance_of,
    descend,
    leave_one_out,
)
from vision.walls import Mark


@pytest.fixture(scope="module")
def case() -> Case:
    return simulate(two_sheets_three_photos(), np.random.default_rng(8))


@pytest.fixture(scope="module")
def solved(case: Case) -> WallSolution:
    return measure_wall(case.problem)


def inner(solution: WallSolution) -> Solution:
    assert solution.solution is not None
    return solution.solution


def slipped(problem: WallProblem, number: int, dx: float, dy: float) -> tuple[WallProblem, Mark]:
    """Return the problem with one mark pressed elsewhere, and that mark."""
    mark = problem.marks[number]
    wrong = replace(mark, px=(mark.px[0] + dx, mark.px[1] + dy))
    return replace(problem, marks=(*problem.marks[:number], wrong, *problem.marks[number + 1 :])), wrong


def test_leaving_out_a_pair_is_what_solving_without_it_gives() -> None:
    """By brute force: a linear problem solved anew without the pair predicts it with the gap and spread stated."""
    rng = np.random.default_rng(3)
    J, y = rng.normal(size=(30, 5)), rng.normal(size=30)
    used = np.ones(30, dtype=bool)
    used[20:24] = False
    x = np.linalg.lstsq(J[used], y[used], rcond=None)[0]
    residuals = J @ x - y
    covariance = covariance_of(J, used)
    assert covariance == pytest.approx(np.linalg.inv(J[used].T @ J[used]))
    rows = np.array([[2, 3], [8, 9], [20, 21]])
    chi, gap = leave_one_out(residuals, J, covariance, used, rows)
    for k, pair in enumerate(rows):
        rest = used.copy()
        rest[pair] = False
        alone = np.linalg.lstsq(J[rest], y[rest], rcond=None)[0]
        off = J[pair] @ alone - y[pair]
        spread = np.eye(2) + J[pair] @ np.linalg.inv(J[rest].T @ J[rest]) @ J[pair].T
        assert gap[k] == pytest.approx(off, abs=1e-6)
        assert chi[k] == pytest.approx(off @ np.linalg.solve(spread, off), rel=1e-6)


def test_unknowns_that_nothing_fixes_have_a_covariance_all_the_same() -> None:
    J = np.array([[1.0, 0.0], [2.0, 0.0], [0.0, 0.0]])
    assert np.isfinite(covariance_of(J, np.ones(3, dtype=bool))).all()


def test_the_robust_cost_and_weights_are_cauchys_for_clicks_and_edges_and_plain_for_the_rest(
    solved: WallSolution,
) -> None:
    obs = inner(solved).observations
    residuals = np.linspace(-5.0, 5.0, len(obs.source))
    used = np.ones(len(residuals), dtype=bool)
    used[obs.rows_edges.start] = False
    c2 = CAUCHY_SCALE**2
    total, root = 0.0, np.ones(len(residuals))
    for i, click in enumerate(obs.click):
        square = residuals[2 * i] ** 2 + residuals[2 * i + 1] ** 2
        total += c2 * np.log(1 + square / c2) if click else square
        root[2 * i : 2 * i + 2] = (1 + square / c2) ** -0.5 if click else 1.0
    for k in range(obs.rows_edges.start, obs.rows_edges.stop):
        total += c2 * np.log(1 + residuals[k] ** 2 / c2) * used[k]
        root[k] = used[k] * (1 + residuals[k] ** 2 / c2) ** -0.5
    total += float(np.sum(residuals[obs.rows_edges.stop :] ** 2))
    assert _objective(residuals, obs, used, robust=True) == pytest.approx(total)
    assert _objective(residuals, obs, used, robust=False) == pytest.approx(float(np.sum(residuals[used] ** 2)))
    assert _weights(residuals, obs, used, robust=True) == pytest.approx(root)
    assert (_weights(residuals, obs, used, robust=False) == used).all()


def test_the_descent_never_climbs_stops_where_it_is_told_and_says_whether_it_arrived(solved: WallSolution) -> None:
    obs = inner(solved).observations
    used = np.ones(len(obs.source), dtype=bool)
    costs = []
    for limit in (1, 2, 3, 40):
        _, residuals, _, cost, count, arrived = descend(obs, obs.start, used, robust=False, limit=limit)
        assert cost == pytest.approx(float(np.sum(residuals**2)))
        assert count <= limit
        assert arrived or count == limit
        costs.append(cost)
    assert costs == sorted(costs, reverse=True)
    assert arrived
    assert count > 3
    _, _, _, first, tries, at_once = descend(obs, inner(solved).state, inner(solved).used, robust=False)
    assert at_once
    assert tries <= 2
    assert first == pytest.approx(inner(solved).cost, rel=1e-6)


def test_at_the_minimum_every_row_pulls_against_the_rest(solved: WallSolution) -> None:
    found = inner(solved)
    J, r = found.jacobian[found.used], found.residuals[found.used]
    steps = np.sqrt(np.diag(found.covariance)) * (J.T @ r)
    assert np.abs(steps).max() < 0.02


def test_a_clean_wall_keeps_every_mark_and_reads_sizes_within_its_word(case: Case, solved: WallSolution) -> None:
    found = inner(solved)
    assert found.converged
    assert found.outliers == []
    assert found.used[found.observations.rows_points].all()
    for key in ("width_mm", "height_mm"):
        size = getattr(solved.measured, key)
        assert abs(size.value - case.truth[key]) < 3.5 * size.sd


@pytest.mark.parametrize("slip", [30.0, 90.0, 400.0])
def test_a_slip_is_named_with_its_true_place_and_costs_no_more_than_the_mark(
    case: Case, solved: WallSolution, slip: float
) -> None:
    problem, wrong = slipped(case.problem, 1, slip, -0.6 * slip)
    right = case.problem.marks[1]
    found = measure_wall(problem)
    named = inner(found).outliers
    assert [outlier.mark for outlier in named] == [wrong]
    assert named[0].chi_square > click_limit(1)
    assert np.hypot(*np.subtract(named[0].expected_px, right.px)) < 8.0
    without = measure_wall(replace(case.problem, marks=tuple(m for m in case.problem.marks if m is not right)))
    assert found.measured.width_mm is not None
    assert without.measured.width_mm is not None
    assert found.measured.width_mm.value == pytest.approx(without.measured.width_mm.value, abs=0.1)
    assert found.measured.width_mm.sd == pytest.approx(without.measured.width_mm.sd, rel=0.02)


def test_three_slips_are_all_named_and_nothing_else(case: Case, solved: WallSolution) -> None:
    problem, wrong = case.problem, []
    for number, (dx, dy) in {0: (60.0, 0.0), 9: (0.0, -150.0), 14: (45.0, 45.0)}.items():
        problem, mark = slipped(problem, number, dx, dy)
        wrong.append(mark)
    found = measure_wall(problem)
    assert {outlier.mark for outlier in inner(found).outliers} == set(wrong)
    assert found.measured.width_mm is not None
    assert solved.measured.width_mm is not None
    assert abs(found.measured.width_mm.value - solved.measured.width_mm.value) < 2.0 * solved.measured.width_mm.sd


def test_edge_samples_that_lie_off_are_left_out_one_by_one(case: Case, solved: WallSolution) -> None:
    number = next(i for i, trace in enumerate(case.problem.edges) if trace.edge == ("wall", "top"))
    trace = case.problem.edges[number]
    points = trace.points_px.copy()
    points[3:5, 1] -= 25.0
    wrong = replace(trace, points_px=points)
    edges = (*case.problem.edges[:number], wrong, *case.problem.edges[number + 1 :])
    found = inner(measure_wall(replace(case.problem, edges=edges)))
    obs = found.observations
    left = np.nonzero(~found.used[obs.rows_edges])[0]
    assert len(left) == 2
    assert left[1] - left[0] == 1
    clean = inner(solved)
    assert found.cost == pytest.approx(clean.cost, rel=0.05)


def test_an_edge_traced_along_something_else_is_left_out_whole(case: Case, solved: WallSolution) -> None:
    number = next(i for i, trace in enumerate(case.problem.edges) if trace.edge == ("wall", "left"))
    trace = case.problem.edges[number]
    wrong = replace(trace, points_px=trace.points_px + np.array([9.0, 0.0]))
    edges = (*case.problem.edges[:number], wrong, *case.problem.edges[number + 1 :])
    solution = measure_wall(replace(case.problem, edges=edges))
    found = inner(solution)
    assert int(np.sum(~found.used[found.observations.rows_edges])) == len(trace.points_px)
    assert found.outliers == []
    assert solution.measured.width_mm is not None
    assert solved.measured.width_mm is not None
    assert abs(solution.measured.width_mm.value - solved.measured.width_mm.value) < 2 * solved.measured.width_mm.sd


def test_the_limit_of_a_slip_grows_with_the_number_of_marks_as_bonferroni_shares_it() -> None:
    """By arithmetic: chi-square of two degrees of freedom has the tail exp(-x / 2)."""
    for marks in (1, 4, 12, 48):
        assert marks * np.exp(-click_limit(marks) / 2.0) == pytest.approx(0.01)
    assert click_limit(0) == click_limit(1)


def test_marks_that_contradict_each_other_all_over_are_said_to_fit_nothing(case: Case) -> None:
    rng = np.random.default_rng(4)
    wild = tuple(replace(m, px=tuple(np.array(m.px) + rng.normal(0, 300, 2))) for m in case.problem.marks)
    codes = {finding.code for finding in measure_wall(replace(case.problem, marks=wild, edges=())).findings}
    assert codes & {"M010", "M011", "M012", "M014", "M015"}
