"""Propagation of uncertainty against JCGM 100:2008 (GUM), worked example H.2, tables H.2 to H.4.

Five simultaneous readings of voltage, current and phase give resistance, reactance and impedance with correlations.
"""

from __future__ import annotations

import numpy as np

from vision.lengths import sizes_with_gradient

VOLTAGE_V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
CURRENT_A = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
PHASE_RAD = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def test_example_h2_comes_out_as_printed() -> None:
    readings = np.stack([VOLTAGE_V, CURRENT_A, PHASE_RAD])
    means = readings.mean(axis=1)
    covariance = np.cov(readings) / readings.shape[1]
    sizes = {
        "R": lambda p: p["vi"][..., 0] / p["vi"][..., 1] * np.cos(p["phase"][..., 0]),
        "X": lambda p: p["vi"][..., 0] / p["vi"][..., 1] * np.sin(p["phase"][..., 0]),
        "Z": lambda p: p["vi"][..., 0] / p["vi"][..., 1],
    }
    values, slopes = sizes_with_gradient(sizes, {"vi": means[:2], "phase": np.array([means[2], 0.0])})
    G = np.column_stack([slopes["vi"], slopes["phase"][:, 0]])
    propagated = G @ covariance @ G.T
    sd = np.sqrt(np.diag(propagated))
    correlation = propagated / np.outer(sd, sd)
    # table H.4, approach 1: 127.732, 219.847, 254.260 ohm; u 0.071, 0.295, 0.236; correlations -0.588, -0.485, 0.993
    np.testing.assert_allclose(values, [127.732, 219.847, 254.260], atol=5e-4)
    # the guide works from rounded intermediate values, so its last digit may be off by one
    np.testing.assert_allclose(sd, [0.071, 0.295, 0.236], atol=1e-3)
    pairs = [correlation[0, 1], correlation[0, 2], correlation[1, 2]]
    np.testing.assert_allclose(pairs, [-0.588, -0.485, 0.993], atol=1e-3)
