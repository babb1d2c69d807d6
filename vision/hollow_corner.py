"""Where a frame stands behind a reveal: the corner between them is dark, and its darkest line is not its edge.

Light hardly reaches into a hollow corner, so the plaster darkens towards the frame and the frame ends in a valley of
light with a flank on either side. Which flank is the steeper depends on paint and lamp; the corner is where the frame's
own light ends. A model of that, blurred as a phone's picture is, is fitted to the mean profile across the edge.

The constants are invented defaults, settled on traced pictures of 22 rooms and tried on 8 rooms traced afterwards.
"""

from __future__ import annotations

import numpy as np

from vision.walls import FloatArray

REACH_PX = (-6.0, 8.0)
"""How far inwards and outwards of the traced edge the profile is looked at."""
BLUR_PX = 0.9
"""Sd of the blur of a phone's picture at full size (rendered photos: .7 to 1.1 fit equally well)."""
FARTHEST_PX = 5.0
"""A valley farther from the traced edge is another thing's."""
WIDEST_PX = 6.0
"""Two flanks farther apart are two edges."""
LEAST_RISE = 0.01
"""A valley is at least this deep on its shallower side, in shares of the profile's light."""
LEAST_FLANK = 0.1
"""And in shares of its deeper side."""
VALLEY_PX = (-0.8, 0.8)
"""Where the corner lies outwards of the valley's lowest place, mean and sd: the blur of a steep inner flank moves that
outwards by up to twice its own sd, a flat one hardly at all."""
RISE_PX = (-1.0, 1.2)
"""Where it lies outwards of the steepest place of light that only rises, if the rise has no step in it, mean and sd."""
MODEL_SD = 0.01
"""How well the model can tell a profile, in shares of its range (the fits to rendered photos)."""
_STEP_PX = 0.5
ACROSS_PX = np.arange(REACH_PX[0], REACH_PX[1] + _STEP_PX / 2, _STEP_PX)
"""Where a profile is sampled, outwards positive."""


def corner_offset(profile: FloatArray, noise: float = 0.0) -> float | None:
    """Return how far outwards of the traced edge the hollow corner lies [px], or None where light only falls there.

    Parameters
    ----------
    profile : (len(ACROSS_PX),)
        Mean linear light across the edge, from the frame outwards.
    noise
        Its standard error.
    """
    lowest = _valley(profile)
    outer, inner = (profile[side].mean() for side in (ACROSS_PX > 2.0, ACROSS_PX < -2.0))
    if lowest is None and outer < (1 + LEAST_RISE) * inner:
        return None
    mean, sd = VALLEY_PX if lowest is not None else RISE_PX
    return _fitted(profile, noise, (lowest or 0.0) + mean, sd)


def _valley(profile: FloatArray) -> float | None:
    """Return the lowest place [px] of the valley downhill from the traced edge, or None."""
    kernel = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9.0
    smooth = np.convolve(np.pad(profile, 2, mode="edge"), kernel, mode="valid")
    at = int(np.argmin(np.abs(ACROSS_PX)))
    while 0 < at < len(smooth) - 1 and min(smooth[at - 1], smooth[at + 1]) < smooth[at]:
        at += 1 if smooth[at + 1] < smooth[at - 1] else -1
    if at in (0, len(smooth) - 1) or abs(ACROSS_PX[at]) > FARTHEST_PX:
        return None
    reach = round(FARTHEST_PX / _STEP_PX)
    flanks = smooth[max(at - reach, 0) : at], smooth[at + 1 : at + 1 + reach]
    heights = [float(flank.max() - smooth[at]) for flank in flanks]
    if min(heights) < max(LEAST_RISE * float(np.mean(profile)), LEAST_FLANK * max(heights)):
        return None
    a, b, c = smooth[at - 1 : at + 2]
    return float(ACROSS_PX[at] + _STEP_PX * 0.5 * (a - c) / max(a - 2 * b + c, 1e-12))


def _fitted(profile: FloatArray, noise: float, expected_px: float, sd_px: float) -> float:
    """Return the corner's place [px] by least squares, with what is known of it beforehand."""
    from scipy.optimize import least_squares

    scale = max(float(np.max(profile)), 1e-6)
    told, doubt = profile / scale, float(np.hypot(noise, MODEL_SD * np.ptp(profile))) / scale
    least = np.array([expected_px - 3 * sd_px, 0.0, -0.2, 0.0, 0.0, 0.5])
    most = np.array([expected_px + 3 * sd_px, 2.0, 0.2, 2.0, 4.0, 8.0])
    inner = float(np.mean(told[expected_px - 1.0 > ACROSS_PX]))
    dark = float(np.interp(expected_px + 1.0, ACROSS_PX, told))
    start = np.array([expected_px, inner, 0.0, dark, max(float(told[-1]) - dark, 0.01), 2.0])

    def misfit(values: FloatArray) -> FloatArray:
        left = (hollow_profile(ACROSS_PX, *values) - told) / max(doubt, 1e-6)
        return np.append(left, (values[0] - expected_px) / sd_px)

    start = np.clip(start, least + 1e-6, most - 1e-6)
    found = least_squares(misfit, start, bounds=(least, most), x_scale=[0.5, 0.1, 0.01, 0.1, 0.1, 1.0], max_nfev=80)
    return float(found.x[0])


def hollow_profile(
    across_px: FloatArray, corner_px: float, frame: float, slope: float, dark: float, rise: float, length_px: float
) -> FloatArray:
    """Return the light across a hollow corner, blurred.

    Parameters
    ----------
    across_px : (n,)
        Where, outwards [px].
    corner_px
        Where the frame ends [px].
    frame, slope
        The frame's light at the corner, and how it changes outwards, per px.
    dark, rise, length_px
        The side face's light at the corner, how much lighter it is far off, and over what length [px].
    """
    from scipy.special import erfc, erfcx

    x = across_px - corner_px
    beyond = 0.5 * erfc(-x / (BLUR_PX * np.sqrt(2.0)))
    bell = BLUR_PX / np.sqrt(2.0 * np.pi) * np.exp(-0.5 * (x / BLUR_PX) ** 2)
    deep = (BLUR_PX / length_px - x / BLUR_PX) / np.sqrt(2.0)
    fading = np.where(
        deep > 0,
        0.5 * np.exp(-0.5 * (x / BLUR_PX) ** 2) * erfcx(np.maximum(deep, 0.0)),
        0.5 * np.exp(np.minimum(0.5 * (BLUR_PX / length_px) ** 2 - x / length_px, 50.0)) * erfc(deep),
    )
    return np.asarray(frame * (1 - beyond) + slope * (x * (1 - beyond) - bell) + (dark + rise) * beyond - rise * fading)
