"""What is put aside and what is not, on walls so plain that the chances can be reckoned by hand.

Each problem here is linear: marks of one place, samples of one edge, a tape. So the least squares are means, what all
others predict is the mean of the others, and the limit at which something goes is known to the last digit.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.linear_wall import Linear
from vision.solve import (
    Outlier,
    Solution,
    _bad_edges,
    _blames_click,
    _join_tape,
    _name,
    _settle,
    _shifted_edge,
    _take_back,
    _worst_click,
    click_limit,
    covariance_of,
    leave_one_out,
    poor,
    solve,
)


def settled(problem: Linear, *aside: int) -> Solution:
    """Return the least squares with some rows put aside."""
    used = np.ones(len(problem.y), dtype=bool)
    used[list(aside)] = False
    return _settle(problem.observations, problem.start, used)


def aside_of(problem: Linear) -> list[int]:
    """Return the numbers of the marks that the solver puts aside, in the order in which it names them."""
    return [int(outlier.mark.photo.removesuffix(".jpg")) for outlier in solve(problem.observations).outliers]


def marks(count: int, *off: tuple[float, float]) -> list[tuple[float, float]]:
    """Return so many marks at the origin, the last of them off."""
    return [(0.0, 0.0)] * (count - len(off)) + list(off)


@pytest.mark.parametrize("count", [4, 9, 30])
@pytest.mark.parametrize("sd", [1.0, 2.5])
def test_a_mark_goes_where_it_is_further_from_the_mean_of_the_others_than_chance_allows(count: int, sd: float) -> None:
    edge = np.sqrt(click_limit(count) * (1.0 + 1.0 / (count - 1)))
    for direction in (0.0, 1.0, 2.5, 4.0):
        turn = sd * np.array([np.cos(direction), np.sin(direction)])
        assert aside_of(Linear(marks(count, tuple(0.99 * edge * turn)), sd=sd)) == []
        assert aside_of(Linear(marks(count, tuple(1.01 * edge * turn)), sd=sd)) == [count - 1]


def test_a_slip_is_named_with_its_chance_and_with_where_the_others_put_it() -> None:
    problem = Linear([(7.0, 1.0), (9.0, 1.0), (8.0, -2.0), (8.0, 4.0), (38.0, 21.0)], sd=2.0)
    found = solve(problem.observations)
    assert [outlier.mark for outlier in found.outliers] == [problem.point_label[4]]
    assert found.outliers[0].expected_px == pytest.approx((8.0, 1.0), abs=1e-4)
    assert found.outliers[0].chi_square == pytest.approx((15.0**2 + 10.0**2) / (1.0 + 1.0 / 4.0), rel=1e-4)
    assert found.state.vector[:2] == pytest.approx([8.0, 1.0], abs=1e-4)
    assert found.converged
    assert [found.used[2 * i] for i in range(5)] == [True] * 4 + [False]


def test_a_mark_still_in_use_is_named_as_the_others_see_it_too() -> None:
    problem = Linear([(0.0, 0.0), (2.0, 0.0), (1.0, 6.0)], sd=0.5)
    outlier = _name(problem.observations, settled(problem), 2)
    assert outlier.expected_px == pytest.approx((1.0, 0.0), abs=1e-3)
    assert outlier.chi_square == pytest.approx(12.0**2 / 1.5, rel=1e-4)


def test_a_corner_of_a_reference_is_no_mark_and_never_put_aside() -> None:
    whole = Linear(marks(6, (40.0, 0.0)), labels=["corner"] * 6)
    assert solve(whole.observations).outliers == []
    assert solve(whole.observations).state.vector[0] == pytest.approx(40.0 / 6.0, abs=1e-4)
    with pytest.raises(TypeError, match="row 5 is not a mark"):
        _name(whole.observations, settled(whole), 5)


@pytest.mark.parametrize(
    ("count", "slips", "most"), [(10, 4, 3), (10, 3, 3), (20, 7, 6), (6, 2, 1), (5, 1, 1), (3, 1, 1)]
)
def test_no_more_than_three_marks_in_ten_are_put_aside_and_one_always_may_be(count: int, slips: int, most: int) -> None:
    """They lie in different directions, so that they do not agree with each other."""
    off = [(60.0 * np.cos(2.4 * k), 60.0 * np.sin(2.4 * k)) for k in range(slips)]
    assert len(aside_of(Linear(marks(count, *off)))) == most
    fewer = [(4.9 * np.cos(2.4 * k), 4.9 * np.sin(2.4 * k)) for k in range(slips)]  # not gross, found one by one
    assert len(aside_of(Linear(marks(count, *fewer)))) <= most


def test_gross_slips_are_named_with_the_grossest_first() -> None:
    assert aside_of(Linear(marks(20, (50.0, 0.0), (0.0, -200.0), (-90.0, 20.0), (12.0, 12.0)))) == [17, 18, 16, 19]
    assert aside_of(Linear(marks(7, (50.0, 0.0), (0.0, -200.0)))) == [6, 5]
    assert aside_of(Linear(marks(6, (50.0, 0.0), (0.0, -200.0)))) == [5]  # one may go: the grosser


def test_the_worst_of_the_marks_in_use_is_told_and_none_where_none_is() -> None:
    problem = Linear(marks(12, (9.0, 0.0), (0.0, 14.0)))
    observations = problem.observations
    for aside, worst, chi_square in (((), 11, (9.0 / 11.0) ** 2 + 14.0**2), ((22, 23), 10, 9.0**2)):
        found = _worst_click(observations, settled(problem, *aside))
        assert found is not None
        assert found[0] == worst
        assert found[1] == pytest.approx(chi_square / (1.0 + 1.0 / (11 - len(aside) / 2)), rel=1e-3)
    assert _worst_click(observations, settled(problem, 20, 21, 22, 23)) is None
    assert _worst_click(observations, settled(problem, *range(24))) is None


def test_a_mark_put_aside_that_agrees_after_all_is_taken_back_and_another_is_not() -> None:
    limit = np.sqrt(click_limit(9) * (1.0 + 1.0 / 6.0))
    problem = Linear(marks(9, (2.0, 0.0), (0.99 * limit, 0.0), (1.01 * limit, 0.0)))
    found = settled(problem, *range(12, 18))
    back = _take_back(problem.observations, found, [6, 7, 8])
    assert [bool(back.used[2 * i]) for i in range(9)] == [True] * 8 + [False]
    assert [bool(back.used[2 * i + 1]) for i in range(9)] == [True] * 8 + [False]
    assert back.state.vector[0] == pytest.approx((2.0 + 0.99 * limit) / 8.0, abs=1e-3)
    assert _take_back(problem.observations, found, [8]) is found
    assert _take_back(problem.observations, found, []) is found


# Edges


def test_an_edge_sample_goes_where_it_is_four_spreads_from_the_edge() -> None:
    for count in (5, 12):
        # the residual of one sample off by d from the others is d (1 - 1/n); its own spread is sqrt(1 - 1/n)
        limit = 4.0 / np.sqrt(1.0 - 1.0 / count)
        for share, bad in ((0.99, []), (1.01, [6 + count - 1])):
            problem = Linear(marks(3), samples=[0.0] * (count - 1) + [share * limit])
            assert _bad_edges(problem.observations, settled(problem)).tolist() == bad
            found = solve(problem.observations)
            assert np.nonzero(~found.used)[0].tolist() == bad
            assert found.outliers == []
    again = settled(problem, 6 + count - 1)
    assert _bad_edges(problem.observations, again).tolist() == []  # it is not in use any more


def test_a_sample_that_alone_fixes_its_edge_is_judged_by_no_less_than_a_twentieth_of_its_variance() -> None:
    problem = Linear(marks(3), samples=[5.0])
    found = settled(problem)
    start = problem.rows_edges.start
    assert 1.0 - found.jacobian[start] @ found.covariance @ found.jacobian[start] < 0.01
    for residual, bad in ((0.88, 0), (0.91, 1)):  # 16 / 20 is 0.894 squared
        found.residuals[start] = residual
        assert len(_bad_edges(problem.observations, found)) == bad


@pytest.mark.parametrize(
    ("sd", "variance", "just"),
    [(1.0, 0.36, 3.2 * 0.8), (2.0, 2.56, 3.2 * 1.2), (1.0, 1.0, 0.32), (1.0, 4.0, 0.32), (0.5, 0.25, 0.16)],
    ids=["one", "wider", "nothing learnt", "less than nothing", "nothing learnt of a tight one"],
)
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_an_edge_goes_whole_where_its_shift_is_further_from_nought_than_all_else_lets_expect(
    sd: float, variance: float, just: float, sign: float
) -> None:
    problem = Linear(marks(3), samples=[1.0, 2.0, 3.0])
    problem.shifts = {3: sd}
    found = settled(problem)
    found.covariance[3, 3] = variance
    for share in (0.99, 1.01):
        found.state.vector[3] = sign * share * just
        rows, pull = _shifted_edge(problem.observations, found)
        assert rows.tolist() == ([6, 7, 8] if share > 1.0 else [])
        assert pull == pytest.approx(3.2 * share if share > 1.0 else 0.0)


def test_of_two_shifted_edges_the_further_goes_first_and_one_not_in_use_never() -> None:
    problem = Linear(marks(3), samples=[1.0, 2.0, 3.0])
    problem.edge_shift = np.array([2, 3, 2])
    problem.shifts = {2: 1.0, 3: 1.0}
    found = settled(problem)
    found.covariance[2, 2] = found.covariance[3, 3] = 0.0
    for shifts, rows in (((5.0, -4.0), [6, 8]), ((4.0, -5.0), [7]), ((-5.0, 5.0), [6, 8]), ((1.0, -4.0), [7])):
        found.state.vector[2:] = shifts
        assert _shifted_edge(problem.observations, found)[0].tolist() == rows
    found.used[[6, 8]] = False
    found.state.vector[2:] = 5.0, 4.0
    assert _shifted_edge(problem.observations, found)[0].tolist() == [7]
    found.used[7] = False
    assert _shifted_edge(problem.observations, found)[0].tolist() == []
    found.used[:] = True
    problem.shifts, problem.edge_shift = {0: 1.0}, np.zeros(3, dtype=int)  # wherever it stands among the unknowns
    found.state.vector[0], found.covariance[0, 0] = 4.0, 0.0
    assert _shifted_edge(problem.observations, found)[0].tolist() == [6, 7, 8]


def test_where_a_mark_and_an_edge_contradict_each_other_the_less_likely_goes() -> None:
    """SciPy's distributions: two degrees of freedom for the mark, both tails of the normal one for the shift."""
    for pull in (3.3, 4.0, 5.0, 7.0):
        even = float(stats.chi2.isf(2.0 * stats.norm.sf(pull), 2))
        assert _blames_click(1.02 * even, pull)
        assert not _blames_click(0.98 * even, pull)
    assert _blames_click(0.1, 0.0)
    even = 2.0 * (12.5 + np.log(5.0) + 0.5 * np.log(np.pi / 2.0))
    assert _blames_click(even, 5.0)
    assert not _blames_click(even - 1e-9, 5.0)


def test_a_sample_far_off_is_left_out_before_it_drags_its_neighbours_with_it() -> None:
    """The mean of nought, nought and eleven is so far from all three that least squares alone would drop them all."""
    for far in (11.0, -11.0, 80.0):
        problem = Linear(marks(3), samples=[0.0, 0.0, far])
        assert len(_bad_edges(problem.observations, settled(problem))) == 3
        found = solve(problem.observations)
        assert np.nonzero(~found.used)[0].tolist() == [8]
        assert found.state.vector[2] == pytest.approx(0.0, abs=1e-3)


def test_what_lies_exactly_at_a_limit_is_kept_and_a_tape_or_a_mark_put_aside_stays_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = Linear(marks(7, (3.0, 0.0)), samples=[0.0, 0.0, 3.0], tapes=[4.0])
    obs, found = problem.observations, settled(problem)
    found.covariance[:] = 0.0  # so that nothing is rounded
    rows = np.array([[12, 13]])
    chi = float(leave_one_out(found.residuals, found.jacobian, found.covariance, found.used, rows)[0][0])
    for limit, found_there in ((1.0, False), (1.0 - 1e-12, True)):
        monkeypatch.setattr("vision.solve.click_limit", lambda _, limit=limit: chi * limit)
        assert (_worst_click(obs, found) is not None) is found_there
    for residual, bad in ((4.0, []), (-4.0, []), (4.000001, [16])):
        found.residuals[14:17] = 0.0, 0.0, residual
        assert _bad_edges(obs, found).tolist() == bad
    found.covariance[3, 3] = 0.75
    for shift, count in ((1.6, 0), (-1.6, 0), (1.600001, 3)):
        found.state.vector[3] = shift
        assert len(_shifted_edge(obs, found)[0]) == count
    without = settled(problem, 12, 13)
    chi = float(leave_one_out(without.residuals, without.jacobian, without.covariance, without.used, rows)[0][0])
    for limit, back in ((1.0, False), (1.0 + 1e-12, True)):
        monkeypatch.setattr("vision.solve.click_limit", lambda _, limit=limit: chi * limit)
        assert bool(_take_back(obs, without, [6]).used[12]) is back
    taped = settled(problem, len(problem.y) - 1)
    taped.covariance[:] = 0.0
    for residual, joins in ((4.0, False), (-4.0, False), (3.999, True), (-3.999, True)):
        taped.residuals[-1] = residual
        assert bool(_join_tape(obs, taped).used[-1]) is joins


# Tape


@pytest.mark.parametrize("off", [-1.0, 1.0])
def test_a_tape_joins_where_it_is_within_four_spreads_of_the_photos_and_else_stays_out(off: float) -> None:
    limit = 4.0 * np.sqrt(1.0 + 1.0 / 8.0)
    near = Linear(marks(8), tapes=[off * 0.99 * limit])
    found = solve(near.observations)
    assert found.used.all()
    assert found.state.vector[0] == pytest.approx(off * 0.99 * limit / 9.0, abs=1e-4)
    far = solve(Linear(marks(8), tapes=[off * 1.01 * limit]).observations)
    assert np.nonzero(~far.used)[0].tolist() == [20]
    assert far.state.vector[0] == pytest.approx(0.0, abs=1e-4)
    mixed = solve(Linear(marks(8), tapes=[0.5, off * 60.0, -0.5]).observations)
    assert np.nonzero(~mixed.used)[0].tolist() == [21]
    none = settled(Linear(marks(8)))
    assert _join_tape(none.observations, none) is none


def test_where_photos_have_no_scale_of_their_own_the_tape_counts_from_the_start() -> None:
    problem = Linear(tapes=[4000.0], scale_known=False)
    found = solve(problem.observations)
    assert found.used.all()
    assert found.state.vector[0] == pytest.approx(4000.0, rel=1e-6)


# The whole


def test_samples_are_placed_anew_once_by_the_robust_solution() -> None:
    problem = Linear(marks(9, (5.0, 0.0)), samples=[2.0, 2.0, 2.0, 2.0])
    found = solve(problem.observations)
    assert len(problem.placed_at) == 1
    assert problem.placed_at[0][2] == pytest.approx(2.0, abs=0.01)
    assert 0.0 < problem.placed_at[0][0] < 5.0 / 9.0  # the slip pulls less than its share
    assert found.iterations > settled(problem).iterations
    assert found.cost == pytest.approx(float(np.sum((found.residuals**2)[found.used])))
    assert found.covariance == pytest.approx(covariance_of(found.jacobian, found.used))


def test_nothing_seen_is_solved_by_the_priors_alone() -> None:
    found = solve(Linear().observations)
    assert found.converged
    assert found.outliers == []
    assert found.state.vector == pytest.approx(np.zeros(4))
    assert found.covariance[3, 3] == pytest.approx(1.0)


def test_a_solution_is_poor_where_it_did_not_arrive_fits_far_too_badly_or_lost_many_marks() -> None:
    problem = Linear(marks(40))
    found = settled(problem)
    assert int(found.used.sum()) == 84
    freedom = 84 - 4
    limit = freedom + 6.0 * np.sqrt(2.0 * freedom)
    assert not poor(replace(found, cost=limit))
    assert poor(replace(found, cost=limit + 0.1))
    assert poor(replace(found, converged=False))
    slip = Outlier(mark=problem.point_label[0], chi_square=99.0, expected_px=(0.0, 0.0))
    assert not poor(replace(found, outliers=[slip] * 6))
    assert poor(replace(found, outliers=[slip] * 7))  # more than three in twenty of forty marks
    few = settled(Linear(marks(4)))
    assert not poor(replace(few, outliers=[slip] * 2))
    assert poor(replace(few, outliers=[slip] * 3))
    bare = settled(Linear())
    assert not poor(replace(bare, cost=1.0 + 6.0 * np.sqrt(2.0) - 0.1))
    assert poor(replace(bare, cost=1.0 + 6.0 * np.sqrt(2.0) + 0.1))
