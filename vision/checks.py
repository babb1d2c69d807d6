"""What the residuals betray: misclicks, wrong references, pulled priors, contradictions between tape and photos."""

from __future__ import annotations

from collections.abc import Sequence

from vision.findings import Finding
from vision.observe import WallProblem
from vision.solve import Solution
from vision.start import Guess


def check_start(problem: WallProblem, guesses: Sequence[Guess]) -> list[Finding]:
    """Return findings on what could not be placed before solving."""
    return []


def check_solution(problem: WallProblem, solution: Solution) -> list[Finding]:
    """Return findings on a solved wall."""
    return []
