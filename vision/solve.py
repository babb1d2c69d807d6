"""The robust maximum a posteriori: damped Gauss-Newton, outliers named by leave-one-out, covariance of the rest.

Clicks and edge samples first count by Cauchy's weight; then the worst observation is put aside as long as it lies
further from what all others predict than chance allows; the final solution is plain least squares on what is left, so
that its covariance is (J'J)^-1 (JCGM 102, 6.2; Triggs et al., Bundle adjustment: a modern synthesis, 2000).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vision.model import State
from vision.observe import Observations
from vision.walls import FloatArray, Mark

CAUCHY_SCALE = 2.0  # in standard deviations
FALSE_ALARM = 0.01  # of walls without a slip, at most so many have a mark put aside
EDGE_LIMIT = 16.0  # 1 degree of freedom
SHIFT_LIMIT = 3.2  # pull of an edge's common shift, in its own standard deviations, before the edge is left out
TAPE_LIMIT = 4.0  # standard deviations between a taped length and the photos
MAX_OUTLIER_SHARE = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A mark that the others contradict: how far off it is (chi-square) and where they expect it."""

    mark: Mark
    chi_square: float
    expected_px: tuple[float, float]


@dataclass(slots=True, kw_only=True)
class Solution:
    """A solved problem: the state, its covariance, and what was put aside."""

    observations: Observations
    state: State
    covariance: FloatArray
    residuals: FloatArray
    jacobian: FloatArray
    used: NDArray[np.bool_]
    cost: float
    iterations: int
    converged: bool
    outliers: list[Outlier] = field(default_factory=list)


def _weights(residuals: FloatArray, obs: Observations, used: NDArray[np.bool_], robust: bool) -> FloatArray:
    """Return the square root of each row's weight: 0 where put aside, Cauchy's for robust rows."""
    root = used.astype(float)
    if not robust:
        return root
    pairs = residuals[obs.rows_points].reshape(-1, 2)
    square = np.sum(pairs**2, axis=1)
    click = np.where(obs.click, 1.0 / (1.0 + square / CAUCHY_SCALE**2), 1.0)
    root[obs.rows_points] *= np.sqrt(np.repeat(click, 2))
    edge = residuals[obs.rows_edges]
    root[obs.rows_edges] *= np.sqrt(1.0 / (1.0 + edge**2 / CAUCHY_SCALE**2))
    return root


def _objective(residuals: FloatArray, obs: Observations, used: NDArray[np.bool_], robust: bool) -> float:
    square = residuals**2 * used
    if not robust:
        return float(np.sum(square))
    total = float(np.sum(square[obs.rows_edges.stop :]))
    pairs = square[obs.rows_points].reshape(-1, 2).sum(axis=1)
    c2 = CAUCHY_SCALE**2
    total += float(np.sum(np.where(obs.click, c2 * np.log1p(pairs / c2), pairs)))
    return total + float(np.sum(c2 * np.log1p(square[obs.rows_edges] / c2)))


def descend(
    obs: Observations, state: State, used: NDArray[np.bool_], *, robust: bool, limit: int = 40,
    tolerance: float = 1e-6, noise: FloatArray | None = None,
) -> tuple[State, FloatArray, FloatArray, float, int, bool]:  # fmt: skip
    """Return the state at the minimum from a start, with residuals, Jacobian, cost, iterations and convergence.

    Levenberg-Marquardt with Marquardt's scaling and Nielsen's damping (Madsen, Nielsen & Tingleff, Methods for
    non-linear least squares problems, 2004). ``noise`` (rows,) is added to the whitened residuals: what would be found
    had every observation and prior been drawn again.
    """
    drawn = 0.0 if noise is None else noise
    residuals, J = obs.evaluate(state)
    residuals = residuals + drawn
    cost = _objective(residuals, obs, used, robust)
    damping, growth = 1e-4, 2.0
    for iteration in range(1, limit + 1):
        root = _weights(residuals, obs, used, robust)
        A = J * root[:, None]
        normal = A.T @ A
        gradient = A.T @ (residuals * root)
        scale = np.sqrt(np.maximum(np.diag(normal), 1e-12))
        scaled = normal / np.outer(scale, scale)
        while True:
            step = -np.linalg.solve(scaled + damping * np.eye(len(scale)), gradient / scale) / scale
            candidate = obs.cameras.retract(state, step)
            new_residuals, new_J = obs.evaluate(candidate)
            new_residuals = new_residuals + drawn
            new_cost = _objective(new_residuals, obs, used, robust)
            expected = float(-step @ gradient)
            if np.isfinite(new_cost) and new_cost <= cost * (1.0 + 1e-12):
                break
            damping, growth = damping * growth, growth * 2.0
            if damping > 1e8:
                return state, residuals, J, cost, iteration, expected < 1e-3
        gain = (cost - new_cost) / max(expected, 1e-30)
        damping *= max(1.0 / 3.0, 1.0 - (2.0 * min(gain, 1.0) - 1.0) ** 3)
        damping, growth = max(damping, 1e-9), 2.0
        small = cost - new_cost < tolerance * (1.0 + cost) and expected < 10.0 * tolerance * (1.0 + cost)
        state, residuals, J, cost = candidate, new_residuals, new_J, new_cost
        if small:
            return state, residuals, J, cost, iteration, True
    return state, residuals, J, cost, limit, False


def covariance_of(J: FloatArray, used: NDArray[np.bool_]) -> FloatArray:
    """Return (J'J)^-1 of the rows used, scaled for rounding."""
    A = J[used]
    scale = np.sqrt(np.maximum(np.sum(A * A, axis=0), 1e-18))
    normal = (A / scale).T @ (A / scale)
    try:
        inverse = np.linalg.inv(normal)
    except np.linalg.LinAlgError:
        inverse = np.linalg.pinv(normal, hermitian=True)
    inverse = (inverse + inverse.T) / 2
    return np.asarray(inverse / np.outer(scale, scale))


def leave_one_out(
    residuals: FloatArray, J: FloatArray, covariance: FloatArray, used: NDArray[np.bool_], rows: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Return for pairs of rows (n, 2): chi-square against what all others predict, and the whitened gap (n, 2)."""
    pairs = J[rows]  # (n, 2, unknowns)
    spread = np.einsum("nik,kl,njl->nij", pairs, covariance, pairs, optimize=True)
    inside = used[rows[:, 0]]
    S = np.where(inside[:, None, None], np.eye(2) - spread, np.eye(2) + spread)
    S = S + 1e-9 * np.eye(2)
    r = residuals[rows]
    solved = np.linalg.solve(S, r[:, :, None])[:, :, 0]
    return np.einsum("ni,ni->n", r, solved), np.where(inside[:, None], solved, r)


def click_limit(clicks: int) -> float:
    """Return the leave-one-out chi-square (2 degrees of freedom) above which one of so many marks is a slip.

    The level is shared out among the marks (Bonferroni), so that a wall with many marks raises no more false alarms
    than one with few: data snooping after Baarda, A testing procedure for use in geodetic networks (1968), from memory.
    """
    return float(-2.0 * np.log(FALSE_ALARM / max(clicks, 1)))


def _worst_click(obs: Observations, solution: Solution) -> tuple[int, float] | None:
    clicks = np.nonzero(obs.click)[0]
    inside = clicks[solution.used[2 * clicks]]
    if not len(inside):
        return None
    rows = np.stack([2 * inside, 2 * inside + 1], axis=1)
    chi, _ = leave_one_out(solution.residuals, solution.jacobian, solution.covariance, solution.used, rows)
    worst = int(np.argmax(chi))
    return (int(inside[worst]), float(chi[worst])) if chi[worst] > click_limit(len(clicks)) else None


def _bad_edges(obs: Observations, solution: Solution) -> NDArray[np.int64]:
    """Return the rows of edge samples that lie too far off."""
    start = obs.rows_edges.start
    J = solution.jacobian[obs.rows_edges]
    r = solution.residuals[obs.rows_edges]
    used = solution.used[obs.rows_edges]
    leverage = np.einsum("nk,kl,nl->n", J, solution.covariance, J, optimize=True)
    chi = r**2 / np.maximum(1.0 - leverage, 0.05)
    return np.nonzero(used & (chi > EDGE_LIMIT))[0] + start


def _shifted_edge(obs: Observations, solution: Solution) -> tuple[NDArray[np.int64], float]:
    """Return the rows of the traced edge that lies furthest from where all else puts it, empty if none does, and its
    pull.

    The pull compares the shift with the spread expected of it given the rest: prior variance less posterior variance.
    """
    worst, limit = -1, SHIFT_LIMIT
    for column, sd in obs.shifts.items():
        if not np.any(solution.used[obs.rows_edges] & (obs.edge_shift == column)):
            continue
        expected = np.sqrt(max(sd**2 - solution.covariance[column, column], 0.01 * sd**2))
        pull = abs(solution.state.vector[column]) / expected
        if pull > limit:
            worst, limit = column, pull
    if worst < 0:
        return np.zeros(0, dtype=np.int64), 0.0
    return np.nonzero(obs.edge_shift == worst)[0] + obs.rows_edges.start, float(limit)


def _blames_click(chi_square: float, pull: float) -> bool:
    """Return whether a click is less likely by chance than an edge's shift, where the two contradict each other.

    A slip at one end of an edge strains both. Chances: chi-square of two degrees of freedom for the click, the tails of
    the normal distribution (Mills' ratio) for the shift.
    """
    return pull == 0.0 or chi_square / 2.0 >= pull**2 / 2.0 + np.log(pull) + 0.5 * np.log(np.pi / 2.0)


def _settle(obs: Observations, state: State, used: NDArray[np.bool_]) -> Solution:
    state, residuals, J, cost, count, converged = descend(obs, state, used, robust=False)
    return Solution(
        observations=obs, state=state, covariance=covariance_of(J, used), residuals=residuals, jacobian=J, used=used,
        cost=cost, iterations=count, converged=converged,
    )  # fmt: skip


def solve(obs: Observations) -> Solution:
    """Return the maximum a posteriori of a problem from its start, outliers put aside and named."""
    used = np.ones(len(obs.source), dtype=bool)
    # a slip of the tape must not outvote photos that have a scale of their own: it joins once it agrees with them
    used[obs.rows_tape] = not obs.sightings
    state, residuals, _, _, first, _ = descend(obs, obs.start, used, robust=True, tolerance=1e-3)
    obs.place_samples(state)
    allowed = max(1, int(MAX_OUTLIER_SHARE * int(np.sum(obs.click))))
    aside: list[int] = []
    # from the robust solution a gross slip stands far out: put those aside before least squares lets them pull
    pairs = residuals[obs.rows_points].reshape(-1, 2)
    gross = np.nonzero(obs.click & (np.sum(pairs**2, axis=1) > 36.0))[0]
    for i in sorted(gross, key=lambda k: -float(np.sum(pairs[k] ** 2)))[:allowed]:
        used[2 * i : 2 * i + 2] = False
        aside.append(int(i))
    edges = np.nonzero(np.abs(residuals[obs.rows_edges]) > 6.0)[0] + obs.rows_edges.start
    used[edges] = False
    solution = _join_tape(obs, _settle(obs, state, used))
    while True:  # one suspect at a time: what strains against a slip is cleared by its removal
        shifted, pull = _shifted_edge(obs, solution)
        worst = _worst_click(obs, solution) if len(aside) < allowed else None
        used = used.copy()
        if worst is not None and _blames_click(worst[1], pull):
            used[2 * worst[0] : 2 * worst[0] + 2] = False
            aside.append(worst[0])
        elif len(shifted):
            used[shifted] = False
        elif len(bad := _bad_edges(obs, solution)):
            used[bad] = False
        else:
            break
        solution = _settle(obs, solution.state, used)
    solution = _take_back(obs, solution, aside)
    solution.outliers = [_name(obs, solution, i) for i in aside if not solution.used[2 * i]]
    solution.iterations += first
    return solution


def _join_tape(obs: Observations, solution: Solution) -> Solution:
    """Return the solution with the taped lengths that agree with what the photos say of them."""
    J = solution.jacobian[obs.rows_tape]
    spread = np.einsum("nk,kl,nl->n", J, solution.covariance, J)
    agrees = solution.residuals[obs.rows_tape] ** 2 < TAPE_LIMIT**2 * (1.0 + spread)
    if not np.any(agrees):
        return solution
    used = solution.used.copy()
    used[obs.rows_tape] = agrees
    return _settle(obs, solution.state, used)


def _take_back(obs: Observations, solution: Solution, aside: list[int]) -> Solution:
    """Return the solution with marks used again that turn out to agree with all the others."""
    back = []
    for i in aside:
        rows = np.array([[2 * i, 2 * i + 1]])
        chi, _ = leave_one_out(solution.residuals, solution.jacobian, solution.covariance, solution.used, rows)
        if chi[0] < click_limit(int(np.sum(obs.click))):
            back.append(i)
    if not back:
        return solution
    used = solution.used.copy()
    for i in back:
        used[2 * i : 2 * i + 2] = True
    return _settle(obs, solution.state, used)


def _name(obs: Observations, solution: Solution, i: int) -> Outlier:
    rows = np.array([[2 * i, 2 * i + 1]])
    chi, gap = leave_one_out(solution.residuals, solution.jacobian, solution.covariance, solution.used, rows)
    expected = obs.point_px[i] + gap[0] * obs.point_sd[i]
    label = obs.point_label[i]
    if not isinstance(label, Mark):
        raise TypeError(f"row {i} is not a mark")
    return Outlier(mark=label, chi_square=float(chi[0]), expected_px=(float(expected[0]), float(expected[1])))


def poor(solution: Solution) -> bool:
    """Return whether a solution does not explain its observations: not converged, or far too large a sum of squares."""
    rows = int(np.sum(solution.used))
    slack = max(rows - solution.observations.layout.size, 1)
    too_many = len(solution.outliers) > max(2, MAX_OUTLIER_SHARE * float(np.sum(solution.observations.click)) / 2)
    return not solution.converged or solution.cost > slack + 6.0 * np.sqrt(2.0 * slack) or too_many
