"""How large a slip of a press must be before the rest of the survey betrays it.

Baarda's internal reliability (A testing procedure for use in geodetic networks, 1968, from memory): a press is tested
against what all others predict of it. Where they predict it poorly, its redundancy is small and a large slip passes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.findings import Finding
from vision.problem import WallProblem
from vision.solve import Solution, click_limit
from vision.swapped_corners import place_of
from vision.walls import FloatArray, Mark

POWER_QUANTILE = 1.645  # of the normal distribution: the slip is named in 95 of 100 tries
UNSEEN_PX = 30.0  # a press that could be off by so much unnoticed is told; invented default


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastSlip:
    """The smallest slip of a mark that would be named with 95 % probability, in its least checked direction [px]."""

    mark: Mark
    px: float


def redundancy(solution: Solution, point: int) -> FloatArray:
    """Return the redundancy (2, 2) of one observed point: identity where all else fixes it, zero where nothing does.

    With ``C = (J'J)^-1`` it is ``I - J C J'`` for the point's two whitened rows; a slip d (in standard deviations) has
    the noncentrality ``d' R d`` in the leave-one-out test.
    """
    J = solution.jacobian[2 * point : 2 * point + 2]
    return np.asarray(np.eye(2) - J @ solution.covariance @ J.T)


def least_slips(solution: Solution) -> tuple[LeastSlip, ...]:
    """Return for each mark in use the least slip that would be named, least checked first."""
    obs = solution.observations
    asked = float(np.sqrt(click_limit(int(np.sum(obs.click)))) + POWER_QUANTILE)
    found = []
    for point in np.nonzero(obs.click)[0]:
        mark = obs.point_label[point]
        if not isinstance(mark, Mark) or not solution.used[2 * point]:
            continue
        weakest = max(float(np.linalg.eigvalsh(redundancy(solution, int(point)))[0]), 1e-6)
        found.append(LeastSlip(mark=mark, px=float(obs.point_sd[point]) * asked / float(np.sqrt(weakest))))
    return tuple(sorted(found, key=lambda slip: -slip.px))


def unchecked_marks(problem: WallProblem, solution: Solution) -> list[Finding]:
    """Return a note where marks are checked by nothing else, so that a slip of theirs could not be seen."""
    if problem.wall.side != "inside":
        return []
    loose = [slip for slip in least_slips(solution) if slip.px > UNSEEN_PX]
    if not loose:
        return []
    mark = loose[0].mark
    name = mark.opening or mark.feature or problem.wall.id
    first = f"{mark.photo}: {mark.point.replace('_', ' ')} of {name}"
    off = f"pressed {UNSEEN_PX:.0f} px off"
    one = f"{first} is checked by nothing else: {off}, it would not be noticed."
    many = f"{first} and {len(loose) - 1} more marks are checked by nothing else: {off}, none would be noticed."
    return [Finding(
        code="M016", severity="note", where=place_of(mark), message=one if len(loose) == 1 else many,
        remedy="Look at each once more, or mark them in a second photo of the wall.",
    )]  # fmt: skip
