"""What the rest of a survey says of a reference's size, proportions and lean, and when that is not what was declared.

Each is judged by what all else says of it, its own prior left out: in a joint solution a tight prior holds its unknown
near the declared value and the misfit spreads, so that the solved value hides how far off the thing really is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.findings import Finding
from vision.problem import WallProblem
from vision.solve import Solution
from vision.walls import DeclaredReference, FloatArray, Sighting

PULL_LIMIT = 4.0  # standard deviations of a prior against the rest
GREAT_LEAN = 0.05  # rad; nothing taped to a wall leans so far; invented default
CURL_LIMIT = 25.0  # mean square of a reference's points about a flat sheet, in their own variance
LEAST_SHARE = 0.0025  # of a prior's variance, taken as what the rest leaves of it at least: guards the division

_KIND = {
    "survey_sheet": "survey sheet",
    "id1_card": "bank-size card",
    "a4": "A4 sheet",
    "rectangle": "declared rectangle",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What all else says of one property of a reference, and how far that pulls at its prior.

    ``pull`` is in standard deviations, never negative. ``estimate`` is the value without a prior of its own: a
    log-ratio of width to height, a log-scale, or a lean [rad].
    """

    pull: float
    estimate: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSaid:
    """What all else says of a reference: proportions, size, lean."""

    proportions: Said
    size: Said
    lean: Said

    @property
    def strongest(self) -> float:
        """Return the greatest of the three pulls."""
        return max(self.proportions.pull, self.size.pull, self.lean.pull)


def pull_of(solution: Solution, column: int, mean: float, sd: float) -> float:
    """Return how far an unknown is from its prior in terms of the spread expected of it given all else."""
    expected = np.sqrt(max(sd**2 - solution.covariance[column, column], LEAST_SHARE * sd**2))
    return float((solution.state.vector[column] - mean) / expected)


def what_all_else_says(solution: Solution, reference: DeclaredReference) -> ReferenceSaid:
    """Return what all other observations and priors say of a reference's proportions, size and lean.

    Notes
    -----
    With prior variance S and posterior covariance C of unknowns of prior mean zero and solved value x, all else alone
    gives ``S (S - C)^-1 x``, exact where the problem is linear: the information of the posterior is that of the prior
    and of all else, added.
    """
    obs = solution.observations
    block = obs.layout[f"reference:{reference.id}"].start
    rows = {int(c): float(s) for c, s in zip(obs.prior_column, obs.prior_sd, strict=True) if block <= c < block + 8}
    pair = {p[0]: p for p in obs.pairs}.get(block + 6)
    across = 0.0 if pair is not None else float(np.hypot(rows[block + 6], rows[block + 7]))
    sd_size, sd_aspect = (pair[2], pair[3]) if pair is not None else (across / 2, across)
    return ReferenceSaid(
        proportions=_said_of_sum(solution, block, (1.0, -1.0), sd_aspect),
        size=_said_of_sum(solution, block, (0.5, 0.5), sd_size),
        lean=_said_of_lean(solution, block, (rows[block + 3], rows[block + 4])),
    )


def _said_of_sum(solution: Solution, block: int, weights: tuple[float, float], sd: float) -> Said:
    """Return what is said of a combination of a reference's two log-sizes with the prior sd given."""
    w = np.array(weights)
    where = slice(block + 6, block + 8)
    value = float(w @ solution.state.vector[where])
    left = max(sd**2 - float(w @ solution.covariance[where, where] @ w), LEAST_SHARE * sd**2)
    return Said(pull=abs(value) / float(np.sqrt(left)), estimate=value * sd**2 / left)


def _said_of_lean(solution: Solution, block: int, sd: tuple[float, float]) -> Said:
    where = slice(block + 3, block + 5)
    pull = max(abs(pull_of(solution, block + 3 + k, 0.0, sd[k])) for k in range(2))
    root = np.array(sd)
    share, turn = np.linalg.eigh(np.eye(2) - solution.covariance[where, where] / np.outer(root, root))
    whitened = turn @ ((turn.T @ (solution.state.vector[where] / root)) / np.maximum(share, LEAST_SHARE))
    return Said(pull=pull, estimate=float(np.hypot(*(root * whitened))))


def check_references(problem: WallProblem, solution: Solution) -> list[Finding]:
    """Return findings on references that are not what they were declared to be, lean, or are not flat."""
    obs = solution.observations
    found = []
    for reference in problem.references:
        if f"reference:{reference.id}" not in obs.layout:
            continue
        seen = [s for s in obs.sightings if s.reference == reference.id]
        where = {"reference": reference.id, "photo": seen[0].photo, "wall": problem.wall.id}
        said = what_all_else_says(solution, reference)
        if said.strongest > PULL_LIMIT:
            found.append(wrong_reference(reference, where, said))
        if misfit(solution, seen) > CURL_LIMIT:
            found.append(Finding(
                code="M023", severity="warn", where=where,
                message=f"{reference.id}: its points do not lie on one flat sheet; curled or creased?",
                remedy="Flatten it against the wall and take the photo again.",
            ))  # fmt: skip
    return found


def wrong_reference(reference: DeclaredReference, where: dict[str, str], said: ReferenceSaid) -> Finding:
    """Return the finding for the strongest of three pulls: proportions, lean, size.

    In one photo a small thing that leans and one of other proportions look nearly the same. What tells them apart is
    how far it would have to lean: nothing that is taped to a wall leans by more than ``GREAT_LEAN``.
    """
    kind = _KIND[reference.kind]
    off = 100.0 * abs(float(np.expm1(said.proportions.estimate)))
    leans = said.lean.pull > max(said.proportions.pull, said.size.pull)
    if leans and said.lean.estimate > GREAT_LEAN and reference.kind != "survey_sheet":
        return Finding(
            code="M020", severity="stop", where=where,
            message=f"{reference.id}: its sides are about {off:.0f} % from the proportions of a {kind}, or it leans far"
            " off the wall.",
            remedy="Is it another kind of thing? Declare its real kind or size; or tape it flat to the wall.",
        )  # fmt: skip
    if leans:
        return Finding(
            code="M021", severity="warn", where=where, message=f"{reference.id}: it leans off the wall.",
            remedy="Tape its four corners flat to the plaster and take the photo again, or tape one length.",
        )  # fmt: skip
    if said.size.pull > said.proportions.pull:
        size = 100.0 * abs(float(np.expm1(said.size.estimate)))
        return Finding(
            code="M022", severity="stop", where=where,
            message=f"{reference.id}: it and the rest of the survey disagree on its size, by about {size:.1f} %.",
            remedy="Measure its printed bar or its sides with a rule and enter the reading; or tape the wall's width.",
        )  # fmt: skip
    return Finding(
        code="M020", severity="stop", where=where,
        message=f"{reference.id}: its sides are about {off:.1f} % from the proportions of a {kind}.",
        remedy="Is it another kind of thing, or are its corners marked wrongly? Declare its real kind or size.",
    )  # fmt: skip


def misfit(solution: Solution, sightings: Sequence[Sighting]) -> float:
    """Return the mean square of the whitened residuals of the sightings' points, in units of their own noise."""
    obs = solution.observations
    pairs: FloatArray = solution.residuals[obs.rows_points].reshape(-1, 2)
    rows = [i for i, label in enumerate(obs.point_label) if any(label is s for s in sightings)]
    return float(np.mean(pairs[rows] ** 2)) if rows else 0.0
