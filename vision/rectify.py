"""The wall as seen square-on, at a scale: one photo resampled onto the plaster's plane."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.lens import project
from vision.measure import WallSolution
from vision.walls import CORNERS

MARGIN_MM = 60.0
MAX_PIXELS = 40_000_000


def wall_box_mm(solution: WallSolution, margin_mm: float = MARGIN_MM) -> tuple[float, float, float, float]:
    """Return x0, y0, x1, y1 [mm] of the box around the wall's corners, a margin added."""
    ring = np.array([solution.corner_mm(f"wall/{c}") for c in CORNERS])
    low, high = ring.min(axis=0) - margin_mm, ring.max(axis=0) + margin_mm
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def rectify_wall(
    picture: NDArray[np.uint8], solution: WallSolution, photo: str, mm_per_px: float = 2.0,
    margin_mm: float = MARGIN_MM,
) -> NDArray[np.uint8]:  # fmt: skip
    """Return the wall's face resampled at ``mm_per_px``; row 0 is the top, column 0 the left of ``wall_box_mm``.

    Parameters
    ----------
    picture : (height, width) or (height, width, 3) uint8
        The upright photo.
    solution, photo
        The solved wall and the photo's name in it.
    mm_per_px
        Scale of the result [mm per pixel]; made coarser where the result would exceed 40 million pixels.
    margin_mm
        Border kept around the wall's corners.

    Notes
    -----
    What stands in front of or behind the plaster (radiator, reveal) is displaced, as in any picture of a plane. Places
    that the photo does not show are black.
    """
    import cv2

    x0, y0, x1, y1 = wall_box_mm(solution, margin_mm)
    fine = 2  # sampled twice as fine, then averaged
    columns, rows = int(np.ceil((x1 - x0) / mm_per_px)), int(np.ceil((y1 - y0) / mm_per_px))
    if columns * rows * fine**2 > MAX_PIXELS:
        fine = 1
    # the map is smooth: project a coarse grid exactly and interpolate it
    step = 16
    us = np.arange(0, columns * fine + step, step)
    vs = np.arange(0, rows * fine + step, step)
    gx, gy = np.meshgrid(x0 + (us + 0.5) * mm_per_px / fine, y1 - (vs + 0.5) * mm_per_px / fine)
    pixels = project(
        solution.pose(photo).camera(np.column_stack([gx.ravel(), gy.ravel(), np.zeros(gx.size)])), solution.lens(photo)
    )
    size = (len(us) * step, len(vs) * step)
    maps = []
    for k in range(2):
        grid = np.nan_to_num(pixels[:, k].reshape(gx.shape), nan=-1e6).astype(np.float32)
        # grid node i must land on output pixel i * step
        shift = np.array([[step, 0, 0], [0, step, 0]], dtype=np.float64)
        maps.append(cv2.warpAffine(grid, shift, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    out = cv2.remap(
        picture, maps[0][: rows * fine, : columns * fine], maps[1][: rows * fine, : columns * fine], cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
    )  # fmt: skip
    if fine > 1:
        out = cv2.resize(out, (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(out, dtype=np.uint8)
