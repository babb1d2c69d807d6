"""What limits a result, and which one more photo or taped length would help most."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.lengths import tape_sd_mm
from vision.problem import WallProblem
from vision.solve import Solution
from vision.walls import Cause, FloatArray, Help

_SMALL = 0.01


def _target(named: Mapping[str, float]) -> str | None:
    """Return the key by which a wall's accuracy is judged: its width, else its height, else any size."""
    for key in ("width_mm", "height_mm"):
        if key in named:
            return key
    return next(iter(named), None)


def limits(
    solution: Solution, named: Mapping[str, float], rows: FloatArray, key: str | None = None
) -> tuple[Cause, ...]:
    """Return the shares of the variance of one size by source, largest first; they sum to one.

    With ``C = (J'J)^-1`` and a size's derivative g, ``g'Cg = sum over rows (J_row C g)^2``: each observation and each
    prior owns its part.
    """
    key = key or _target(named)
    if key is None:
        return ()
    g = rows[list(named).index(key)]
    moved = (solution.jacobian[solution.used] @ (solution.covariance @ g)) ** 2
    total = float(np.sum(moved))
    sources = solution.observations.source[solution.used]
    shares = {str(s): float(np.sum(moved[sources == s])) / total for s in np.unique(sources)}
    ordered = sorted(shares.items(), key=lambda item: -item[1])
    return tuple(Cause(source=s, share=v) for s, v in ordered if v >= _SMALL and s != "nothing")


def _with_row(covariance: FloatArray, row: FloatArray, sd: float, g: FloatArray) -> float:
    """Return the standard deviation of g'x after one more observation row'x with the given sd (rank-one update)."""
    v = covariance @ row
    left = float(g @ covariance @ g - (g @ v) ** 2 / (sd**2 + row @ v))
    return float(np.sqrt(max(left, 0.0)))


def _second_photo(solution: Solution, g: FloatArray) -> float:
    """Return the sd of g'x if every photo's observations were made once more, from elsewhere but as good.

    Their rows are independent in noise and pose but share the wall, the lens and the references.
    """
    obs = solution.observations
    own = np.zeros(obs.layout.size, dtype=bool)
    for start in obs.cameras.photo_block:
        own[start : start + 9] = True
    for name, block in obs.layout.blocks.items():
        if name.startswith("bloom:"):
            own[block] = True
    observed = slice(0, obs.rows_edges.stop)
    J = solution.jacobian[observed][solution.used[observed]]
    shared, private = J[:, ~own], J[:, own]
    size = np.linalg.norm(private, axis=0)
    private = private[:, size > 0] / size[size > 0]  # of one size, so that the small share added counts for each
    pull = private.T @ private + 1e-9 * np.eye(private.shape[1])
    information = shared.T @ shared - shared.T @ private @ np.linalg.solve(pull, private.T @ shared)
    prior = solution.covariance[np.ix_(~own, ~own)]
    seen = prior @ g[~own]
    after = np.linalg.solve(np.eye(len(prior)) + prior @ information, seen)  # of (prior^-1 + information)^-1 g
    return float(np.sqrt(max(float(g[~own] @ after), 0.0)))


def best_help(
    problem: WallProblem, solution: Solution, named: Mapping[str, float], rows: FloatArray
) -> tuple[Help, ...]:
    """Return what would narrow the wall's width (else its height) most: taped lengths and another photo, best first."""
    key = _target(named)
    if key is None:
        return ()
    keys = list(named)
    g = rows[keys.index(key)]
    before = float(np.sqrt(max(g @ solution.covariance @ g, 0.0)))
    helps = []
    for other in keys:
        if "features." in other or other.endswith(("_top_mm", "_bottom_mm", "_left_mm", "_right_mm")):
            continue
        if other in solution.observations.tape:
            continue
        after = _with_row(solution.covariance, rows[keys.index(other)], tape_sd_mm(named[other]), g)
        helps.append(Help(action=f"tape {other}", key=other, sd_before_mm=before, sd_after_mm=after))
    after = _second_photo(solution, g)
    helps.append(
        Help(action="photograph the wall once more from elsewhere", key=key, sd_before_mm=before, sd_after_mm=after)
    )
    return tuple(sorted(helps, key=lambda h: h.sd_after_mm)[:4])
