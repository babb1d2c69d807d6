"""ID-1 cards, plain A4 sheets and other rectangles in a picture: sides fitted, never corners detected."""

from __future__ import annotations

import numpy as np

from vision.walls import FloatArray


def quad_is_convex(corners: FloatArray) -> bool:
    """Return whether the quadrilateral (4, 2) is convex and not folded."""
    edge = np.roll(corners, -1, axis=0) - corners
    after = np.roll(edge, -1, axis=0)
    turn = edge[:, 0] * after[:, 1] - edge[:, 1] * after[:, 0]
    return bool((turn > 0).all() or (turn < 0).all())


def shifted_side(a: FloatArray, b: FloatArray, towards: FloatArray, by_px: float = 1.0) -> FloatArray:
    """Return the line (3,) through a and b moved by some pixels towards a point."""
    along = b - a
    normal = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    if normal @ (towards - a) < 0:
        normal = -normal
    return np.array([normal[0], normal[1], -normal @ a - by_px])


def crossing(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the point (2,) where two lines (3,) meet."""
    p = np.cross(first, second)
    return np.asarray(p[:2] / p[2])
