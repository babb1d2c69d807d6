"""A photo cut out along a predicted edge: straightened, in linear light, and how steeply its light changes across."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.linear_light import LINEAR_OF_CODE
from vision.walls import FloatArray, GreyImage

STRIP_STEP_PX = 0.5
ROWS = 150  # places along an edge
SHORTEST_PX = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A straightened cut along a predicted edge: light (rows, columns), and where its pixels lie in the photo."""

    light: FloatArray
    middle_px: FloatArray  # (rows, 2)
    normal_px: FloatArray  # (rows, 2)
    offsets_px: FloatArray  # (columns,)


def cut_strip(grey: GreyImage, curve: FloatArray, half_px: float) -> Strip | None:
    """Return the strip along a curve of pixels (n, 2), or None where too little of it is in the picture."""
    import cv2

    h, w = grey.shape
    inside = np.all((curve > half_px + 3) & (curve < np.array([w, h]) - half_px - 4), axis=1)
    if np.sum(inside) < 4:
        return None
    first, last = np.nonzero(inside)[0][[0, -1]]
    curve = curve[first : last + 1]
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))])
    if arc[-1] < SHORTEST_PX:
        return None
    rows = int(np.clip(arc[-1] / 3.0, 30, ROWS))
    at = np.linspace(0.0, arc[-1], rows)
    middle = np.stack([np.interp(at, arc, curve[:, k]) for k in range(2)], axis=1)
    along = np.gradient(middle, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
    offsets = np.arange(-half_px, half_px + 1e-9, STRIP_STEP_PX)
    spacing = arc[-1] / rows
    light = np.zeros((rows, len(offsets)))
    taps = np.linspace(-0.4, 0.4, 5) * spacing
    low = np.floor(middle.min(axis=0) - half_px - 4).astype(int).clip(0)
    high = np.ceil(middle.max(axis=0) + half_px + 5).astype(int)
    patch = LINEAR_OF_CODE[grey[low[1] : high[1], low[0] : high[0]]].astype(np.float32)
    for tap in taps:
        xy = middle[:, None, :] + tap * along[:, None, :] + offsets[None, :, None] * normal[:, None, :] - low
        xy32 = xy.astype(np.float32)
        light += cv2.remap(patch, xy32[..., 0], xy32[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return Strip(light=light / len(taps), middle_px=middle, normal_px=normal, offsets_px=offsets)


def step_response(light: FloatArray) -> FloatArray:
    """Return the step response (rows, columns): smoothed slope across, over the noise of the strip, without limit."""
    sigma = 1.2 / STRIP_STEP_PX
    reach = int(np.ceil(3 * sigma))
    x = np.arange(-reach, reach + 1, dtype=float)
    kernel = -x * np.exp(-(x**2) / (2 * sigma**2))
    kernel /= np.sum(np.abs(x) * np.abs(kernel))
    padded = np.pad(light, ((0, 0), (reach, reach)), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, len(kernel), axis=1)
    slope = windows @ -kernel
    noise = 1.4826 * np.median(np.abs(slope - np.median(slope)))
    return np.asarray(slope / max(noise, 1e-5))
