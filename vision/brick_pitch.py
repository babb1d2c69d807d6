"""The pitch that repeats in a profile: what courses and perpends are counted by."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.walls import FloatArray

BoolArray = NDArray[np.bool_]
FACE_COURSE_PX = 26.0
"""Course height, px, at which the face is read: a 10 mm joint in a 75 mm course is then 3.5 px wide."""
STRIP_ROWS = 20
"""Rows of a straightened course."""


def fundamental_pitch(profile: FloatArray, *, low: float, high: float) -> tuple[float, float]:
    """Return the period of a profile between two limits, px, and its strength (autocorrelation, 0 to 1).

    The shortest period whose autocorrelation is nearly as high as the best is taken, so that no multiple is.
    """
    from scipy.ndimage import gaussian_filter1d, uniform_filter1d

    n = len(profile)
    detrended = profile - uniform_filter1d(profile, max(3, int(min(2 * high, n / 2))) | 1)
    detrended = gaussian_filter1d(detrended, max(low / 8.0, 0.5))
    spectrum = np.abs(np.fft.rfft(detrended, 4 * n)) ** 2
    correlation = np.fft.irfft(spectrum)[:n]
    overlap = np.arange(n, 0, -1) / n
    correlation = correlation / max(float(correlation[0]), 1e-12) / np.maximum(overlap, 0.2)
    lags = np.arange(max(int(low), 2), min(int(high) + 1, n // 2))
    if len(lags) < 3:
        return low, 0.0
    score = np.array(
        [np.mean([_at(correlation, int(m * lag)) for m in (1, 2, 3) if m * lag < 0.7 * n]) for lag in lags]
    )
    peaks = [i for i in range(1, len(lags) - 1) if score[i] >= score[i - 1] and score[i] > score[i + 1]]
    if not peaks:
        return low, 0.0
    best = max(score[i] for i in peaks)
    if best <= 0:
        return low, 0.0
    first = next(i for i in peaks if score[i] > 0.8 * best)
    return _refined(correlation, float(lags[first]), n), float(best)


def _at(values: FloatArray, place: int) -> float:
    return float(values[place])


def _refined(correlation: FloatArray, lag: float, n: int) -> float:
    """Return the period refined on ever higher multiples, so that rounding a lag costs little."""
    period = lag
    multiple = 1
    while period * multiple < 0.6 * n:
        centre = round(period * multiple)
        reach = max(2, round(0.25 * period))
        window = correlation[max(centre - reach, 1) : min(centre + reach + 1, n - 1)]
        if len(window) < 3:
            break
        i = int(window.argmax()) + max(centre - reach, 1)
        left, middle, right = correlation[i - 1], correlation[i], correlation[i + 1]
        bend = left - 2 * middle + right
        shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
        period = (i + float(np.clip(shift, -0.5, 0.5))) / multiple
        multiple *= 2
    return period
