"""A solved wall after some of its marks have moved a little: the last solution carried along, not solved anew.

While a person drags or nudges a mark, nothing but pixels changes: the unknowns, the rows and what was put aside stay.
Then Gauss-Newton steps from the last minimum with one inverse reach the new one (Madsen, Nielsen & Tingleff, Methods
for non-linear least squares problems, 2004, section 3.1). Whatever else has changed needs the full solution.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.measure import WallSolution
from vision.observe import Observations
from vision.problem import WallProblem
from vision.results import measured_from_solution
from vision.solve import Solution, click_limit, covariance_of, leave_one_out, poor
from vision.walls import FloatArray, Mark

MOST_STEPS = 4
SMALL_STEP = 0.02
"""In standard uncertainties of each unknown: a step below it changes no size that anybody reads."""


def follow(before: WallSolution, was: WallProblem, now: WallProblem) -> WallSolution | None:
    """Return the wall with some marks moved, or None where the problem has to be solved in full.

    Parameters
    ----------
    before
        The solution of ``was``.
    was, now
        The problems; to be followed, ``now`` differs in nothing but ``px`` and ``sd_px`` of this wall's marks.

    Returns
    -------
    WallSolution
        With the findings of ``before``: it is given only where every mark that counted still fits the others, and every
        mark that was left out still does not.
    """
    moved = _moved(was, now)
    if before.solution is None or moved is None:
        return None
    obs = _with_marks(before.solution.observations, moved)
    if obs is None:
        return None
    with np.errstate(all="ignore"):  # what is not finite is refused below
        solution = _descend(obs, before.solution)
    if solution is None or not _fits(obs, solution) or poor(solution):
        return None
    solution.outliers = before.solution.outliers
    problem = obs.problem
    measured = measured_from_solution(problem, solution, before.findings, before.measured.thickness_mm)
    return WallSolution(
        problem=problem, measured=measured, solution=solution, guess=before.guess, findings=before.findings
    )


def _moved(was: WallProblem, now: WallProblem) -> dict[Mark, Mark] | None:
    """Return the moved marks, old to new; None if anything else has changed, or what moved is no corner of the wall."""
    if (was.wall, was.references, was.photos) != (now.wall, now.references, now.photos):
        return None
    if not (_same_things(was.edges, now.edges) and _same_things(was.sightings, now.sightings)):
        return None
    if len(was.marks) != len(now.marks):
        return None
    moved = {}
    for old, new in zip(was.marks, now.marks, strict=True):
        if old == new:
            continue
        if _named(old) != _named(new) or old.reference is not None or old.point.startswith("edge_"):
            return None
        moved[old] = new
    return moved


def _named(mark: Mark) -> tuple[object, ...]:
    return (mark.photo, mark.wall, mark.opening, mark.face, mark.feature, mark.point, mark.proud_mm)


def _same_things(a: Sequence[object], b: Sequence[object]) -> bool:
    return len(a) == len(b) and all(x is y for x, y in zip(a, b, strict=True))


def _with_marks(obs: Observations, moved: dict[Mark, Mark]) -> Observations | None:
    """Return the observations with the marks where they are now; None if one of them was not observed as it was."""
    rows = {label: i for i, label in enumerate(obs.point_label) if isinstance(label, Mark)}
    if not moved.keys() <= rows.keys():
        return None
    followed = copy.copy(obs)
    followed.point_px, followed.point_sd = obs.point_px.copy(), obs.point_sd.copy()
    followed.point_label = list(obs.point_label)
    for old, new in moved.items():
        i = rows[old]
        followed.point_px[i], followed.point_sd[i], followed.point_label[i] = new.px, new.sd_px, new
    marks = tuple(moved.get(mark, mark) for mark in obs.problem.marks)
    followed.problem = replace(obs.problem, marks=marks)
    return followed


def _descend(obs: Observations, before: Solution) -> Solution | None:
    """Return the new minimum, or None if a few steps do not reach it."""
    used, state = before.used, before.state
    residuals, J = obs.evaluate(state)
    covariance = covariance_of(J, used)
    spread = np.sqrt(np.maximum(np.diag(covariance), 1e-18))
    for count in range(1, MOST_STEPS + 1):
        step = -covariance @ (J[used].T @ residuals[used])
        if not np.all(np.isfinite(step)):
            return None
        if np.max(np.abs(step) / spread) < SMALL_STEP:
            return Solution(
                observations=obs, state=state, covariance=covariance, residuals=residuals, jacobian=J, used=used,
                cost=float(np.sum(residuals[used] ** 2)), iterations=count, converged=True,
            )  # fmt: skip
        state = obs.cameras.retract(state, step)
        residuals, J = obs.evaluate(state)
    return None


def _fits(obs: Observations, solution: Solution) -> bool:
    """Return whether every click is still rightly used or left out, by the solution's own test."""
    clicks = np.nonzero(obs.click)[0]
    rows = np.stack([2 * clicks, 2 * clicks + 1], axis=1)
    chi: FloatArray = leave_one_out(solution.residuals, solution.jacobian, solution.covariance, solution.used, rows)[0]
    used = solution.used[2 * clicks]
    limit = click_limit(len(clicks))
    return bool(np.all(np.where(used, chi <= limit, chi >= limit)))
