"""Which bond a pattern of stretchers and headers is, how sure that is, and its share of headers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.bond_lattice import HEADER, STRETCHER, CourseRow
from vision.walls import BONDS, FloatArray, Measured

UNITS: Mapping[str, str] = {"S": "S", "H": "H", "F": "SH", "M": "SSH", "G": "SSSH"}
"""What repeats in a course: stretchers, headers, one to one, two to one, three to one."""
_MISREAD = 0.04
_SLIP = 0.05
_STRANGE_COURSE = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class BondFit:
    """How the courses suit the bonds.

    ``log_likelihood`` is by bond; ``period`` is the number of stretcher courses to one header course where the bond has
    them; ``first`` the course, counted from the top, of the first header course.
    """

    log_likelihood: Mapping[str, float]
    no_pattern: float
    period: int | None
    first: int | None
    bricks: int


def runs_of(row: CourseRow) -> list[list[int]]:
    """Return the unbroken runs of whole stretchers and headers in a course."""
    runs: list[list[int]] = []
    current: list[int] = []
    for kind, whole in zip(row.kinds, row.whole, strict=True):
        if whole:
            current.append(int(kind))
        elif current:
            runs.append(current)
            current = []
    if current:
        runs.append(current)
    return runs


def unit_log_likelihood(runs: Sequence[Sequence[int]], unit: str) -> float:
    """Return the log-likelihood of a course's runs under a repeating unit, with misreadings and slips."""
    places = np.array([STRETCHER if u == "S" else HEADER for u in unit])
    n = len(places)
    total = 0.0
    for run in runs:
        belief = np.full(n, 1.0 / n)
        for kind in run:
            belief = belief * np.where(places == kind, 1.0 - _MISREAD, _MISREAD)
            weight = float(belief.sum())
            total += float(np.log(weight))
            belief = belief / weight
            belief = (1.0 - _SLIP) * np.roll(belief, 1) + _SLIP / n
    return total


def any_log_likelihood(runs: Sequence[Sequence[int]]) -> float:
    """Return the log-likelihood of a course's runs when stretchers and headers come at random."""
    return -float(np.log(2.0)) * sum(len(run) for run in runs)


def fit_bonds(rows: Sequence[CourseRow], *, on_edge: bool) -> BondFit:
    """Return how well each bond explains the courses from the top down.

    Parameters
    ----------
    rows
        The bricks of each course, top first.
    on_edge
        The module is that of bricks on edge, so that only rat-trap bond is in question.
    """
    runs = [runs_of(row) for row in rows]
    strange = np.array([any_log_likelihood(r) for r in runs])
    table = {
        name: np.logaddexp(
            np.log(1 - _STRANGE_COURSE) + np.array([unit_log_likelihood(r, unit) for r in runs]),
            np.log(_STRANGE_COURSE) + strange,
        )
        for name, unit in UNITS.items()
    }
    bricks = sum(len(run) for r in runs for run in r)
    if on_edge:
        found = dict.fromkeys(BONDS[:-1], -np.inf) | {"rat_trap": float(table["F"].sum())}
        return BondFit(log_likelihood=found, no_pattern=float(strange.sum()), period=None, first=None, bricks=bricks)
    found = {
        "stretcher": float(table["S"].sum()),
        "header": float(table["H"].sum()),
        "flemish": float(table["F"].sum()),
        "monk": float(table["M"].sum()),
        "flemish_garden": float(table["G"].sum()),
        "rat_trap": -np.inf,
    }
    found["english"], _ = _alternating(table, 1)
    garden = {n: _alternating(table, n) for n in range(2, 8)}
    period = max(garden, key=lambda n: garden[n][0])
    found["english_garden"] = garden[period][0]
    is_english = found["english"] >= found["english_garden"]
    first = _alternating(table, 1)[1] if is_english else garden[period][1]
    return BondFit(
        log_likelihood=found,
        no_pattern=float(strange.sum()),
        period=1 if is_english else period,
        first=first,
        bricks=bricks,
    )


def _alternating(table: Mapping[str, FloatArray], stretcher_courses: int) -> tuple[float, int]:
    """Return the best log-likelihood of one header course to so many stretcher courses, and where it starts.

    A wall must show a header course, else it is no evidence of this bond.
    """
    n = len(table["S"])
    every = stretcher_courses + 1
    options = []
    for first in range(min(every, n)):
        header = np.arange(n) % every == first
        options.append(float(np.where(header, table["H"], table["S"]).sum()))
    if not options:
        return -np.inf, 0
    best = int(np.argmax(options))
    return options[best] - float(np.log(every)), best


def bond_probability(fit: BondFit, *, readable: float, temperature: float = 2.0) -> dict[str, float]:
    """Return the probability over the bonds, ``none_to_read`` among them.

    Parameters
    ----------
    fit
        From `fit_bonds`.
    readable
        Probability that there is a bond to read at all.
    temperature
        By how much neighbouring bricks repeat each other's mistakes, so that their evidence counts for less.
    """
    names = BONDS[:-1]
    log = np.array([fit.log_likelihood[name] for name in names]) / temperature
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    weight = 0.995 * weight + 0.005 / len(names)
    return {name: float(readable * p) for name, p in zip(names, weight, strict=True)} | {
        "none_to_read": float(1.0 - readable)
    }


def count_bricks(rows: Sequence[CourseRow]) -> tuple[int, int]:
    """Return the number of whole stretchers and headers read."""
    kinds = [kind for row in rows for kind in row.kinds[row.whole]]
    return sum(k == STRETCHER for k in kinds), sum(k == HEADER for k in kinds)


def pattern_share(bond: str, period: int | None) -> float:
    """Return headers as a share of all bricks by count that a bond has by its own arithmetic.

    Notes
    -----
    A header course holds twice as many bricks as a stretcher course: 3 to 1 gives 2 / (2 + 3).
    """
    if bond in ("english", "english_garden"):
        stretchers = 1 if bond == "english" else (period or 3)
        return 2.0 / (2.0 + stretchers)
    return {"stretcher": 0.0, "flemish": 0.5, "flemish_garden": 0.25, "header": 1.0, "monk": 1 / 3, "rat_trap": 0.5}[
        bond
    ]


def read_share(bond: str, rows: Sequence[CourseRow], fit: BondFit) -> tuple[Measured, Measured]:
    """Return headers as a share of all bricks by count: by the pattern where it was recognised, and as counted.

    The first follows the bond's own arithmetic, so that a header course just outside the picture does not bias it.
    """
    stretchers, headers = count_bricks(rows)
    total = max(stretchers + headers, 1)
    counted = headers / total
    sd = float(np.sqrt(max(counted * (1 - counted), 0.02) / total + 0.01**2))
    by_pattern = pattern_share(bond, fit.period)
    return Measured(value=by_pattern, sd=0.015), Measured(value=float(counted), sd=sd)
