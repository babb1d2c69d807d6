"""Things of which a stripe in the wall's own tone leaves only a part: patches carried on to the size that is sought."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.plane_view import PlaneView
from vision.quads import Quad
from vision.walls import FloatArray

# What a part's whole side may be off, as a logarithm and px; how much of the other side it is, as shares; what angles
# may be off square; how much less a patch carried on counts than one that is whole (invented defaults).
_OFF_LN, _OFF_PX = 0.05, 3.0
_PART = (0.25, 0.93)
_MOST_OFF_SQUARE_DEG = 14.0
_LESS_FILLED = 0.5


def carried_on(quads: Sequence[Quad], view: PlaneView, sides_mm: tuple[float, float]) -> list[Quad]:
    """Return patches one side of which is a whole side of what is sought, carried on either way to the other side.

    Parameters
    ----------
    quads
        Four-sided patches, clockwise from the top left.
    view
        What is known of the wall's plane.
    sides_mm
        Longer and shorter side of what is sought.
    """
    if not quads:
        return []
    corners = np.array([q.corners_px for q in quads])
    width, height, off = view.all_sides_mm(corners)
    square = off < _MOST_OFF_SQUARE_DEG
    found: list[Quad] = []
    for turned, (whole, other) in ((0, (width, height)), (1, (height, width))):
        seen = np.roll(corners, -turned, axis=1)  # the whole side on top
        slack = _OFF_LN + _OFF_PX / np.linalg.norm(seen[:, 1] - seen[:, 0], axis=1) + 2.0 * view.scale_ln_sd
        for along, across in (sides_mm, sides_mm[::-1]):
            share = (other / across) / (whole / along)  # the scale is known roughly, the whole side well
            fits = square & (np.abs(np.log(whole / along)) < slack) & (share > _PART[0]) & (share < _PART[1])
            for k in np.flatnonzero(fits).tolist():
                fill = _LESS_FILLED * quads[k].fill * float(share[k])
                for whole_px in _longer(seen[k], 1.0 / float(share[k])):
                    found.append(Quad(corners_px=np.roll(whole_px, turned, axis=0), fill=fill))
    return sorted(found, key=lambda q: -q.fill)


def _longer(corners: FloatArray, times: float) -> tuple[FloatArray, FloatArray]:
    """Return a patch (4, 2) whose sides down are so many times as long, carried on below and above."""
    top_left, top_right, low_right, low_left = corners
    left, right = times * (low_left - top_left), times * (low_right - top_right)
    below = np.array([top_left, top_right, top_right + right, top_left + left])
    above = np.array([low_left - left, low_right - right, low_right, low_left])
    return below, above
