"""Light from pixel values, and sub-pixel step edges on one profile.

A phone encodes light with a tone curve close to sRGB. Blur happens in light, before that curve, so an edge fitted to
encoded values lies too far on the dark side. Here values are turned back into light; what the phone's own curve adds to
sRGB is left to an unknown of the fits that use it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.walls import FloatArray

Picture = NDArray[np.uint8]

# Relative luminance of linear sRGB, order blue, green, red (IEC 61966-2-1, from memory).
LUMINANCE_BGR = (0.0722, 0.7152, 0.2126)

_CODE = np.arange(256) / 255.0
LINEAR_OF_CODE: FloatArray = np.where(_CODE <= 0.04045, _CODE / 12.92, ((_CODE + 0.055) / 1.055) ** 2.4)


def linear_light(picture: Picture, weights_bgr: tuple[float, float, float] = LUMINANCE_BGR) -> FloatArray:
    """Return the light (h, w), 0 to 1, of an sRGB picture (h, w) or (h, w, 3) BGR, as a weighted sum of its colours.

    Parameters
    ----------
    picture
        8-bit picture or crop.
    weights_bgr
        Weights of blue, green and red light; the default gives luminance.

    Returns
    -------
    FloatArray
        Light of each pixel. Values at 255 are at least that bright (clipped by the phone).

    References
    ----------
    IEC 61966-2-1:1999, the inverse of the sRGB transfer function (figures from memory).
    """
    if picture.ndim == 2:
        return np.asarray(LINEAR_OF_CODE[picture] * sum(weights_bgr))
    blue, green, red = (LINEAR_OF_CODE[picture[..., i]] for i in range(3))
    return np.asarray(weights_bgr[0] * blue + weights_bgr[1] * green + weights_bgr[2] * red)


def sample_light(light: FloatArray, points_px: FloatArray) -> FloatArray:
    """Return the light (n,) at sub-pixel places (n, 2) by cubic interpolation; places outside take the nearest rim.

    Parameters
    ----------
    light
        (h, w) light, integer = centre of a pixel.
    points_px
        (n, 2) places, x and y.
    """
    import cv2

    maps = np.asarray(points_px, np.float32).reshape(1, -1, 2)
    values = []
    for first in range(0, maps.shape[1], 30000):  # remap takes at most 32767 columns
        part = np.ascontiguousarray(maps[:, first : first + 30000])
        values.append(
            cv2.remap(light.astype(np.float32), part, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE).ravel()
        )
    return np.concatenate(values).astype(float)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepEdge:
    """A step on a profile: place and sd in the profile's unit, light before and after, blur."""

    position: float
    sd: float
    before: float
    after: float
    blur: float


def step_edges(offsets: FloatArray, profile: FloatArray, *, count: int = 1, min_step: float = 0.02) -> list[StepEdge]:
    """Return the strongest steps of one profile, best first, to a fraction of a sample.

    Parameters
    ----------
    offsets
        (n,) evenly spaced places along the profile, px.
    profile
        (n,) light at these places.
    count
        The most steps to return.
    min_step
        Smallest change of light that counts as a step.

    Returns
    -------
    list[StepEdge]
        Each step is the middle of a blurred step (a Gaussian's integral) fitted by least squares to its neighbourhood.
        Empty where nothing changes enough.
    """
    offsets, profile = np.asarray(offsets, float), np.asarray(profile, float)
    spacing = offsets[1] - offsets[0]
    slope = np.gradient(profile, spacing)
    smooth = np.convolve(slope, [0.25, 0.5, 0.25], mode="same")
    found: list[StepEdge] = []
    free = np.ones(len(offsets), bool)
    reach = max(4, round(4.0 / spacing))
    for _ in range(count):
        best = int(np.argmax(np.abs(smooth) * free))
        if not free[best]:
            break
        low, high = max(0, best - reach), min(len(offsets), best + reach + 1)
        free[low:high] = False
        edge = _fitted_step(offsets[low:high], profile[low:high], offsets[best], float(np.sign(smooth[best])))
        if edge is not None and abs(edge.after - edge.before) >= min_step:
            found.append(edge)
    return found


def _fitted_step(x: FloatArray, y: FloatArray, start: float, sense: float) -> StepEdge | None:
    """Return the blurred step that fits best near a first guess, by Gauss-Newton on place, blur and two levels."""
    from scipy.special import ndtr

    if len(x) < 6:
        return None
    ends = (y[:2].mean(), y[-2:].mean())
    place, blur = start, 1.0
    levels = np.array(ends if sense * (ends[1] - ends[0]) > 0 else (y.min(), y.max())[:: int(sense) or 1], float)
    jacobian, firm = np.zeros((len(x), 4)), 1e-9 * np.eye(4)
    residual = y
    for _ in range(12):
        t = (x - place) / blur
        share = ndtr(t)
        bell = np.exp(-0.5 * t * t) / (np.sqrt(2 * np.pi) * blur)
        step = levels[1] - levels[0]
        residual = y - (levels[0] + step * share)
        jacobian[:, 0] = -step * bell
        jacobian[:, 1] = jacobian[:, 0] * t
        jacobian[:, 2], jacobian[:, 3] = 1 - share, share
        normal = jacobian.T @ jacobian + firm
        change = np.linalg.solve(normal, jacobian.T @ residual)
        place += min(max(float(change[0]), -0.7), 0.7)
        blur = min(max(blur + min(max(float(change[1]), -0.4), 0.4), 0.3), 4.0)
        levels = levels + change[2:]
        if max(abs(change[0]), abs(change[1])) < 1e-4:
            break
    if not x[0] <= place <= x[-1]:
        return None
    variance = float(residual @ residual) / max(len(x) - 4, 1)
    covariance = variance * np.linalg.inv(jacobian.T @ jacobian + 1e-9 * np.eye(4))
    return StepEdge(
        position=place, sd=float(np.sqrt(covariance[0, 0])), before=float(levels[0]), after=float(levels[1]), blur=blur
    )
