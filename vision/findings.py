"""The coded finding: what was seen, where, how bad it is, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

Severity = Literal["stop", "warn", "note"]

_RANK: dict[Severity, int] = {"stop": 0, "warn": 1, "note": 2}


class PerpendError(Exception):
    """A failure that a person can mend; its text names what, where, the value and the remedy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that the person should know about an input or a result.

    Parameters
    ----------
    code
        Stable code: a letter for the room it comes from (P photo, R reference, M measurement, C construction,
        H heat and moisture, B boards, L rules, S survey) and three digits.
    severity
        ``stop`` (do not use this number), ``warn`` or ``note``.
    message
        What was wrong and the value, in one sentence.
    remedy
        What to do next, in one sentence.
    where
        Any of photo, wall, opening, feature, reference, point, key: the place in the survey.
    """

    code: str
    severity: Severity
    message: str
    remedy: str
    where: dict[str, str] = field(default_factory=dict)


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings ordered by severity, then code, then place, without repeats."""
    unique = {(f.code, f.severity, f.message, tuple(sorted(f.where.items()))): f for f in findings}
    return sorted(unique.values(), key=lambda f: (_RANK[f.severity], f.code, sorted(f.where.items()), f.message))
