"""Projection through a lens with radial distortion, its inverse and its derivatives.

The camera looks along +z, x right, y down. With ``x = X/Z, y = Y/Z, r2 = x*x + y*y`` a point falls on the pixel
``f * (x, y) * (1 + k1*r2 + k2*r2**2) + (cx, cy)`` (two-coefficient radial model; Zhang, PAMI 22(11), 2000).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """Focal length and principal point [px] with two radial coefficients."""

    focal_px: float
    cx_px: float
    cy_px: float
    k1: float = 0.0
    k2: float = 0.0


def project(points_camera: FloatArray, lens: Lens) -> FloatArray:
    """Return the pixels of points given in camera coordinates.

    Parameters
    ----------
    points_camera : (n, 3)
        Points in the camera frame, any unit; z must be positive.
    lens
        The lens.

    Returns
    -------
    (n, 2) pixels. Points behind the camera give NaN.
    """
    z = points_camera[:, 2]
    ahead = np.where(z > 1e-9, z, np.nan)
    xy = points_camera[:, :2] / ahead[:, None]
    r2 = np.sum(xy * xy, axis=1)
    factor = 1.0 + lens.k1 * r2 + lens.k2 * r2 * r2
    return np.asarray(lens.focal_px * xy * factor[:, None] + np.array([lens.cx_px, lens.cy_px]))


def projection_jacobians(
    points_camera: FloatArray, focal_px: FloatArray, centre_px: FloatArray, k1: FloatArray, k2: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return pixels and their derivatives for points with one lens each.

    Parameters
    ----------
    points_camera : (n, 3)
    focal_px, k1, k2 : (n,)
    centre_px : (n, 2)

    Returns
    -------
    pixels (n, 2); derivative by the point (n, 2, 3); derivative by log f, cx, cy, k1, k2 (n, 2, 5).
    """
    z = np.maximum(points_camera[:, 2], 1e-6)
    xy = points_camera[:, :2] / z[:, None]
    r2 = np.sum(xy * xy, axis=1)
    factor = 1.0 + k1 * r2 + k2 * r2 * r2
    slope = k1 + 2.0 * k2 * r2  # d factor / d r2
    bent = xy * factor[:, None]
    pixels = focal_px[:, None] * bent + centre_px

    by_xy = np.empty((len(z), 2, 2))
    by_xy[:, 0, 0] = factor + 2.0 * slope * xy[:, 0] ** 2
    by_xy[:, 1, 1] = factor + 2.0 * slope * xy[:, 1] ** 2
    by_xy[:, 0, 1] = by_xy[:, 1, 0] = 2.0 * slope * xy[:, 0] * xy[:, 1]
    by_xy *= focal_px[:, None, None]
    xy_by_point = np.zeros((len(z), 2, 3))
    xy_by_point[:, 0, 0] = xy_by_point[:, 1, 1] = 1.0 / z
    xy_by_point[:, :, 2] = -xy / z[:, None]

    by_lens = np.zeros((len(z), 2, 5))
    by_lens[:, :, 0] = focal_px[:, None] * bent
    by_lens[:, 0, 1] = by_lens[:, 1, 2] = 1.0
    by_lens[:, :, 3] = focal_px[:, None] * xy * r2[:, None]
    by_lens[:, :, 4] = focal_px[:, None] * xy * (r2**2)[:, None]
    return pixels, by_xy @ xy_by_point, by_lens


def normalised(pixels: FloatArray, lens: Lens) -> FloatArray:
    """Return ideal image coordinates (X/Z, Y/Z) of pixels, the distortion undone.

    Parameters
    ----------
    pixels : (n, 2)
    lens

    Returns
    -------
    (n, 2). Newton's iteration; exact to 1e-12 where the lens model is monotonic.
    """
    bent = (pixels - np.array([lens.cx_px, lens.cy_px])) / lens.focal_px
    radius_bent = np.hypot(bent[:, 0], bent[:, 1])
    radius = radius_bent.copy()
    for _ in range(20):
        r2 = radius * radius
        value = radius * (1.0 + lens.k1 * r2 + lens.k2 * r2 * r2) - radius_bent
        slope = 1.0 + 3.0 * lens.k1 * r2 + 5.0 * lens.k2 * r2 * r2
        step = value / np.where(np.abs(slope) < 0.1, 0.1, slope)
        radius = radius - step
        if np.max(np.abs(step), initial=0.0) < 1e-14:
            break
    ratio = np.where(radius_bent > 0.0, radius / np.where(radius_bent > 0.0, radius_bent, 1.0), 1.0)
    return np.asarray(bent * ratio[:, None])
