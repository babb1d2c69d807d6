"""The descent to the minimum: SciPy as the outside reference, units and noise as properties, and when it gives up."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

import numpy as np
import pytest
from scipy import optimize

from tests.linear_wall import Linear
from vision.model import State
from vision.solve import _objective, _weights, covariance_of, descend
from vision.walls import FloatArray, Mark

Residuals = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


class Curved(Linear):
    """A problem with residuals of any shape, counted as priors: neither marks nor samples."""

    def __init__(self, residuals: Residuals, start: FloatArray) -> None:
        super().__init__()
        self.residuals = residuals
        self.start = State(vector=start, rotations=np.zeros((0, 3, 3)))
        self.rows_points = self.rows_edges = slice(0, 0)
        self.asked: list[FloatArray] = []

    def evaluate(self, state: State) -> tuple[FloatArray, FloatArray]:
        """Return the residuals and their derivatives, and remember where."""
        self.asked.append(state.vector)
        return self.residuals(state.vector)


def rosenbrock(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return Rosenbrock's valley as two residuals; its floor is at (1, 1)."""
    return np.array([10.0 * (x[1] - x[0] ** 2), 1.0 - x[0]]), np.array([[-20.0 * x[0], 10.0], [-1.0, 0.0]])


def helix(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return Fletcher and Powell's helical valley as three residuals; its floor is at (1, 0, 0)."""
    rho = np.hypot(x[0], x[1])
    theta = np.arctan2(x[1], x[0]) / (2.0 * np.pi)
    turn = np.array([-x[1], x[0], 0.0]) / rho**2 / (2.0 * np.pi)
    J = np.array([-100.0 * turn + [0, 0, 10.0], [10.0 * x[0] / rho, 10.0 * x[1] / rho, 0.0], [0.0, 0.0, 1.0]])
    return np.array([10.0 * (x[2] - 10.0 * theta), 10.0 * (rho - 1.0), x[2]]), J


def decay(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a fit of two decays to readings that neither fits: the minimum is not nought."""
    t = np.linspace(0.0, 4.0, 15)
    read = 3.0 * np.exp(-0.7 * t) + 0.3 * np.sin(5.0 * t)
    fitted = x[0] * np.exp(-x[1] * t) + x[2]
    return 8.0 * (fitted - read), 8.0 * np.column_stack([np.exp(-x[1] * t), -x[0] * t * np.exp(-x[1] * t), np.ones(15)])


def run(problem: Curved | Linear, **said: object) -> tuple[State, FloatArray, FloatArray, float, int, bool]:
    """Return what the descent from the problem's start comes to, every row used."""
    rows = len(problem.evaluate(problem.start)[0])
    settings = {"robust": False} | said
    used = cast("np.ndarray", settings.pop("used", np.ones(rows, dtype=bool)))
    return descend(problem.observations, problem.start, used, **settings)  # type: ignore[arg-type]


VALLEYS = {
    "rosenbrock": (rosenbrock, [-1.2, 1.0]), "helix": (helix, [-1.0, 0.5, 0.0]), "decay": (decay, [1.0, 3.0, 1.0]),
}  # fmt: skip


@pytest.mark.parametrize("name", list(VALLEYS))
def test_the_minimum_is_scipys(name: str) -> None:
    residuals, start = VALLEYS[name]
    theirs = optimize.least_squares(lambda x: residuals(x)[0], start, lambda x: residuals(x)[1], xtol=1e-14, ftol=1e-14)
    problem = Curved(residuals, np.array(start))
    state, r, J, cost, count, arrived = run(problem)
    assert arrived
    assert 2 < count < 40
    assert state.vector == pytest.approx(theirs.x, abs=1e-3)
    assert cost == pytest.approx(2.0 * theirs.cost, abs=1e-6)
    assert r == pytest.approx(residuals(state.vector)[0])
    np.testing.assert_allclose(J, residuals(state.vector)[1])
    assert cost == pytest.approx(float(r @ r))


@pytest.mark.parametrize("name", list(VALLEYS))
def test_a_finer_tolerance_goes_on_and_a_coarser_stops_where_little_is_left_to_gain(name: str) -> None:
    residuals, start = VALLEYS[name]
    least = 2.0 * optimize.least_squares(lambda x: residuals(x)[0], start, xtol=1e-14, ftol=1e-14).cost
    counts = []
    for tolerance in (1e-2, 1e-4, 1e-6, 1e-10):
        *_, cost, count, arrived = run(Curved(residuals, np.array(start)), tolerance=tolerance)
        assert arrived
        assert cost - least < 10.0 * tolerance * (1.0 + cost)
        counts.append(count)
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]


@pytest.mark.parametrize("name", list(VALLEYS))
def test_the_way_down_is_the_same_in_any_units(name: str) -> None:
    """Millimetres or kilometres of an unknown: the damping goes with its own slope (Marquardt)."""
    residuals, start = VALLEYS[name]
    units = np.array([1e-5, 1e4, 3.0])[: len(start)]

    def scaled(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        r, J = residuals(x * units)
        return r, J * units

    plain, other = Curved(residuals, np.array(start)), Curved(scaled, np.array(start) / units)
    mine, theirs = run(plain), run(other)
    assert mine[4:] == theirs[4:]
    assert len(plain.asked) == len(other.asked)
    for a, b in zip(plain.asked, other.asked, strict=True):
        assert b * units == pytest.approx(a, rel=1e-6, abs=1e-9)


def test_each_step_tried_is_marquardts_and_the_first_hardly_damped() -> None:
    """By the normal equations with a ten-thousandth of their diagonal added (Madsen, Nielsen & Tingleff, 2004)."""
    problem = Curved(rosenbrock, np.array([-1.2, 1.0]))
    run(problem, limit=3)
    start, first = problem.asked[1:3]
    r, J = rosenbrock(start)
    normal = J.T @ J
    assert first - start == pytest.approx(np.linalg.solve(normal + 1e-4 * np.diag(np.diag(normal)), -J.T @ r))


def test_a_step_that_climbs_is_damped_twice_then_eight_times_as_much_and_so_on() -> None:
    """Nielsen's growth of the damping, seen from a wall that lets no step through longer than a hundredth."""

    def walled(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        return (x - 1.0 if abs(x[0]) < 0.01 else np.array([np.nan])), np.ones((1, 1))

    problem = Curved(walled, np.zeros(1))
    run(problem, limit=1)
    steps = [float(x[0]) for x in problem.asked[2:]]
    damping = 1e-4 * np.array([1.0, 2.0, 8.0, 64.0, 1024.0, 2.0**15, 2.0**21])
    assert steps == pytest.approx(list(1.0 / (1.0 + damping)))
    assert steps[-1] < 0.01 < steps[-2]


@pytest.mark.parametrize("left", [0.0, 0.3, 0.6, 0.8, 0.95])
def test_the_damping_falls_by_a_third_after_a_good_step_and_grows_after_a_poor_one(left: float) -> None:
    """Nielsen's rule by the second step: the share of the foretold gain that came true says how much to damp."""

    def bent(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        return (np.array([1.0 if x[0] == 0.0 else left]), -np.ones((1, 1)))

    problem = Curved(bent, np.zeros(1))
    run(problem, limit=2, tolerance=0.0)
    first, second = (float(x[0]) for x in problem.asked[2:4])
    assert first == pytest.approx(1.0 / (1.0 + 1e-4))
    came_true = min(1.0, (1.0 - left**2) * (1.0 + 1e-4))
    damping = 1e-4 * max(1.0 / 3.0, 1.0 - (2.0 * came_true - 1.0) ** 3)
    assert second - first == pytest.approx(left / (1.0 + damping), rel=1e-9)


@pytest.mark.parametrize(
    ("left", "just"),
    [(np.sqrt(0.8), 0.1), (1.0 - 1e-9, 1.0 / (1.0 + 1e-4) / 20.0)],
    ids=["by what was gained", "by what was to be gained"],
)
def test_it_has_arrived_where_the_gain_and_what_was_foretold_of_it_are_small_against_the_cost(
    left: float, just: float
) -> None:
    """The cost is one: less than twice the tolerance must have been gained, and less than twenty times foretold."""

    def bent(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        return (np.array([1.0 if x[0] == 0.0 else left]), -np.ones((1, 1)))

    for share, there in ((0.999, False), (1.001, True)):
        *_, arrived = run(Curved(bent, np.zeros(1)), limit=1, tolerance=share * just)
        assert arrived is there


def test_a_large_cost_that_stays_lets_the_rest_stop_sooner() -> None:
    def with_rest(rest: float) -> Curved:
        return Curved(
            lambda x: (np.array([rest, 1e2 * np.exp(-x[0])]), np.array([[0.0], [-1e2 * np.exp(-x[0])]])), np.zeros(1)
        )

    # each step gains 1 - exp(-2) of what is left above the rest: stop below a millionth of 1, or of a million
    gains = 1e4 * np.exp(-2.0 * np.arange(30)) * (1.0 - np.exp(-2.0))
    for rest in (0.0, 1e3):
        *_, count, arrived = run(with_rest(rest))
        assert arrived
        assert count == 1 + int(np.argmax(gains < 1e-6 * (1.0 + rest**2)))


def test_the_damping_never_falls_below_a_thousand_millionth() -> None:
    gentle = Curved(lambda x: (1e12 * np.exp(-x), -1e12 * np.exp(-x)[:, None]), np.zeros(1))
    run(gentle, tolerance=0.0)
    steps = np.diff([float(x[0]) for x in gentle.asked[1:]])
    damping = 1.0 / steps - 1.0  # its gradient over its curvature is one everywhere
    assert damping[0] == pytest.approx(1e-4, rel=1e-6)
    assert (np.diff(damping) < 1e-12).all()
    assert damping[-1] == pytest.approx(1e-9, rel=1e-3)


def test_where_not_a_number_lies_in_the_way_the_descent_goes_round_it() -> None:
    def fenced(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        r, J = rosenbrock(x)
        return (r if x[1] > -1.5 else r * np.nan), J

    problem = Curved(fenced, np.array([-1.2, 1.0]))
    assert any(x[1] < -1.5 for x in (run(problem), problem.asked)[1])
    state, *_, arrived = run(problem)
    assert arrived
    assert state.vector == pytest.approx([1.0, 1.0], abs=1e-3)


@pytest.mark.parametrize(("off", "arrived"), [(1e-3, True), (3e3, False)])
def test_where_no_step_helps_the_descent_stays_and_says_whether_there_was_much_to_gain(
    off: float, arrived: bool
) -> None:
    """The slope is given with the wrong sign: every step climbs."""
    problem = Curved(lambda x: (x, -np.ones((1, 1))), np.array([off]))
    state, residuals, _, cost, count, said = run(problem)
    assert said is arrived
    assert count == 1
    assert (state.vector[0], residuals[0], cost) == (off, off, off**2)
    assert len(problem.asked) < 20


def test_the_limit_is_kept_and_what_was_reached_by_then_is_returned() -> None:
    costs = []
    for limit in (1, 2, 5, 9):
        problem = Curved(rosenbrock, np.array([-1.2, 1.0]))
        state, residuals, _, cost, count, arrived = run(problem, limit=limit)
        assert (count, arrived) == (limit, False)
        assert residuals == pytest.approx(rosenbrock(state.vector)[0])
        costs.append(cost)
    assert costs == sorted(costs, reverse=True)
    assert len(set(costs)) == 4
    endless = Curved(lambda x: (np.exp(-x), -np.exp(-x)[:, None]), np.zeros(1))
    *_, count, arrived = run(endless, tolerance=0.0)
    assert (count, arrived) == (40, False)


def test_noise_moves_the_solution_as_observations_drawn_anew_would() -> None:
    rng = np.random.default_rng(4)
    places, edge, tape = rng.normal(0, 2, (5, 2)), rng.normal(0, 2, 4), rng.normal(0, 2, 2)
    problem = Linear(places, samples=edge, tapes=tape)
    noise = rng.normal(size=len(problem.y))
    moved = Linear(places, samples=edge, tapes=tape)
    moved.y = problem.y - noise
    ours, theirs = run(problem, noise=noise), run(moved)
    assert ours[0].vector == pytest.approx(theirs[0].vector, abs=1e-6)
    assert ours[1] == pytest.approx(theirs[1], abs=1e-6)
    assert ours[3] == pytest.approx(theirs[3])
    by_hand = np.linalg.lstsq(problem.A, problem.y - noise, rcond=None)[0]
    assert ours[0].vector == pytest.approx(by_hand, abs=1e-6)


def test_rows_put_aside_pull_nothing() -> None:
    problem = Linear([(0.0, 0.0), (0.2, 0.4), (700.0, -900.0)], samples=[1.0, 50.0])
    used = np.ones(len(problem.y), dtype=bool)
    used[[4, 5, 7]] = False
    for robust in (False, True):
        state, *_ = run(problem, used=used, robust=robust, tolerance=1e-12)
        assert state.vector[:2] == pytest.approx([0.1, 0.2], abs=1e-3)
        assert state.vector[2] + state.vector[3] == pytest.approx(1.0, abs=1e-3)


def test_samples_of_an_edge_settle_where_scipys_cauchy_loss_puts_them() -> None:
    samples = [0.0, 0.3, -0.2, 0.4, 6.0, 9.0]
    problem = Linear(samples=samples, prior=1e-6)
    theirs = optimize.least_squares(lambda x: x[0] - np.array(samples), [0.0], loss="cauchy", f_scale=2.0)
    state, *_, arrived = run(problem, robust=True, tolerance=1e-12)
    assert arrived
    assert state.vector[2] == pytest.approx(theirs.x[0], abs=1e-4)
    plain, *_ = run(problem)
    assert plain.vector[2] == pytest.approx(np.mean(samples), abs=1e-6)


def test_marks_settle_where_the_sum_of_cauchys_cost_of_their_distances_is_least() -> None:
    places = np.array([(0.0, 0.0), (0.5, 0.2), (-0.3, 0.1), (0.1, -0.4), (5.0, 4.0), (30.0, 0.0)])

    def cost(x: FloatArray) -> float:
        return float(np.sum(4.0 * np.log(1.0 + np.sum((x - places) ** 2, axis=1) / 4.0)))

    theirs = optimize.minimize(cost, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-12})
    state, *_, found, _, _ = run(Linear(places, prior=1e-6), robust=True, tolerance=1e-12)
    assert state.vector[:2] == pytest.approx(theirs.x, abs=1e-4)
    assert found == pytest.approx(theirs.fun, rel=1e-6)
    as_corners, *_ = run(Linear(places, labels=["corner"] * 6, prior=1e-6), robust=True)
    assert as_corners.vector[:2] == pytest.approx(places.mean(axis=0), abs=1e-6)


@pytest.mark.parametrize("scale", [2.0, 3.0, 0.7])
def test_a_row_weighs_less_the_further_off_it_is_by_cauchys_scale(
    scale: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mark's two rows go by their distance together; corners of a reference, priors and tapes keep their weight."""
    monkeypatch.setattr("vision.solve.CAUCHY_SCALE", scale)
    labels = [Mark(photo="a.jpg", wall="north", point="top_left", px=(0.0, 0.0)), "corner of a reference"]
    obs = Linear([(0.0, 0.0)] * 2, samples=[0.0, 0.0], tapes=[0.0], labels=labels).observations
    residuals = np.array([3.0, -4.0, 6.0, 8.0, 1.5, -2.5, 1.0, 2.0, 3.0, 4.0, 9.0])
    used = np.ones(11, dtype=bool)
    weight = np.ones(11)
    weight[[0, 1]] = 1.0 / (1.0 + 25.0 / scale**2)
    weight[[4, 5]] = 1.0 / (1.0 + 2.25 / scale**2), 1.0 / (1.0 + 6.25 / scale**2)
    assert _weights(residuals, obs, used, robust=True) ** 2 == pytest.approx(weight)
    assert _weights(residuals, obs, used, robust=False) == pytest.approx(np.ones(11))
    cauchy = scale**2 * np.log([1.0 + 25.0 / scale**2, 1.0 + 2.25 / scale**2, 1.0 + 6.25 / scale**2])
    assert _objective(residuals, obs, used, robust=True) == pytest.approx(cauchy.sum() + 100.0 + 30.0 + 81.0)
    assert _objective(residuals, obs, used, robust=False) == pytest.approx(float(residuals @ residuals))
    used[[0, 1, 4, 9]] = False
    weight[[0, 1, 4, 9]] = 0.0
    assert _weights(residuals, obs, used, robust=True) ** 2 == pytest.approx(weight)
    assert _objective(residuals, obs, used, robust=True) == pytest.approx(cauchy[2] + 100.0 + 14.0 + 81.0)


def test_the_slope_of_the_robust_cost_is_what_the_weights_make_of_the_rows() -> None:
    """So that a step of weighted least squares goes down it; by differences."""
    rng = np.random.default_rng(12)
    problem = Linear(rng.normal(0, 3, (6, 2)), samples=rng.normal(0, 3, 5), tapes=[2.0])
    obs, used = problem.observations, ~np.isin(np.arange(len(problem.y)), [4, 5, 13])  # a mark goes with both its rows
    x = rng.normal(size=4)

    def cost(at: FloatArray) -> float:
        return _objective(problem.A @ at - problem.y, obs, used, robust=True)

    residuals = problem.A @ x - problem.y
    slope = 2.0 * problem.A.T @ (_weights(residuals, obs, used, robust=True) ** 2 * residuals)
    numeric = [(cost(x + 1e-6 * e) - cost(x - 1e-6 * e)) / 2e-6 for e in np.eye(4)]
    assert slope == pytest.approx(np.array(numeric), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("unit", [1e-12, 1e-4, 1.0, 1e5, 1e11])
def test_the_covariance_goes_with_the_square_of_the_unit_and_is_its_own_mirror(unit: float) -> None:
    rng = np.random.default_rng(6)
    J = rng.normal(size=(20, 4))
    used = np.arange(20) % 5 != 0
    units = np.array([unit, 1.0, 1.0 / unit, 2.0])
    plain, scaled = covariance_of(J, used), covariance_of(J * units, used)
    assert plain == pytest.approx(np.linalg.inv(J[used].T @ J[used]))
    assert scaled * np.outer(units, units) == pytest.approx(plain, rel=1e-6)
    assert (scaled == scaled.T).all()


def test_the_covariance_of_what_nothing_fixes_is_that_of_the_rest_and_never_not_a_number() -> None:
    J = np.array([[2.0, 0.0, 0.0], [0.0, 1.0, 1.0], [0.0, 1.0, 1.0]])
    found = covariance_of(J, np.ones(3, dtype=bool))
    assert np.isfinite(found).all()
    assert found[0, 0] == pytest.approx(0.25)
    assert np.ones(2) @ found[1:, 1:] @ np.ones(2) == pytest.approx(0.5)  # their sum is fixed twice
