"""Propagation of distributions by drawing every observation and prior again (JCGM 101), to check the covariance."""

from __future__ import annotations

import numpy as np

from vision.lengths import sizes_with_gradient, wall_sizes
from vision.solve import Solution, descend
from vision.walls import FloatArray


def draw_sizes(solution: Solution, draws: int, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Return drawn values (draws,) of each size by key.

    Parameters
    ----------
    solution
        A solved wall; its outliers stay put aside.
    draws
        Number of draws; each solves the whole problem again from the solution.
    rng
        Source of the draws.

    Notes
    -----
    Each whitened residual, of observations and priors alike, is disturbed by a standard normal deviate; the spread of
    the re-solved sizes is their standard uncertainty with the model's curvature included (JCGM 101:2008, clause 7).
    """
    obs = solution.observations
    sizes = wall_sizes(obs.seen, [q for q in obs.quads if q != "wall"], [])
    drawn = np.empty((draws, len(sizes) + len(obs.reveals)))
    for i in range(draws):
        noise = rng.normal(0.0, 1.0, len(obs.source)) - solution.residuals
        state = descend(obs, solution.state, solution.used, robust=False, noise=noise)[0]
        values, _ = sizes_with_gradient(sizes, obs.corner_points(state.vector))
        depths = [state.vector[obs.layout[f"reveal:{o}"].start] for o in obs.reveals]
        drawn[i] = np.concatenate([values, depths])
    keys = [*sizes, *(f"openings.{o}.reveal_depth_mm" for o in obs.reveals)]
    return {key: drawn[:, k] for k, key in enumerate(keys)}
