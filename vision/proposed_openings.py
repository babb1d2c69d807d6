"""Windows and doors in a wall seen square-on: rectangles with edges on all four sides, mostly lighter than the wall."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.square_on import Box, EdgeMaps, SquareOn, side_share
from vision.walls import FloatArray

OPENING_RANGE_MM = (300.0, 3200.0)
LEAST_OPENING_SCORE = 2.6


def find_openings(view: SquareOn, maps: EdgeMaps, wall: Box, inner: Box) -> list[Box]:
    """Return the boxes inside the wall that look like windows or doors: edges on four sides, lighter than the wall."""
    x, y = view.x_mm, view.y_mm
    upright, level = maps.upright * maps.seen, (maps.level * maps.seen).T
    columns = _inside_lines(upright, y, x, along=(wall[1], wall[3]), within=(wall[0] + 60, wall[2] - 60))
    rows = _inside_lines(level, x, y, along=(wall[0], wall[2]), within=(wall[1] + 60, wall[3] - 30))
    if len(columns) < 2 or len(rows) < 2:
        return []
    pairs_x = np.array([(a, b) for a in columns for b in columns if _fits(x[b] - x[a])], dtype=np.int64).reshape(-1, 2)
    pairs_y = np.array([(a, b) for a in rows for b in rows if _fits(y[b] - y[a])], dtype=np.int64).reshape(-1, 2)
    if not len(pairs_x) or not len(pairs_y):
        return []
    i, j = np.meshgrid(np.arange(len(pairs_x)), np.arange(len(pairs_y)), indexing="ij")
    left, right = pairs_x[i.ravel()].T
    bottom, top = pairs_y[j.ravel()].T
    reach = max(2, round(150.0 / view.mm_per_px))
    score = (
        side_share(maps.upright, maps.seen, left, bottom, top, reach)
        + side_share(maps.upright, maps.seen, right, bottom, top, reach)
        + side_share(maps.level.T, maps.seen.T, bottom, left, right, reach)
        + side_share(maps.level.T, maps.seen.T, top, left, right, reach)
        + np.clip(view.lighter(left, bottom, right, top, wall), 0.0, 1.0)
    )
    area = (x[right] - x[left]) * (y[top] - y[bottom]) / 1e6
    score = score + 0.1 * np.minimum(area, 2.0)
    covers = (x[left] < inner[2]) & (x[right] > inner[0]) & (y[bottom] < inner[3]) & (y[top] > inner[1])
    score[covers & _holds_reference(view, left, bottom, right, top)] = -1.0
    kept: list[Box] = []
    for k in np.argsort(-score)[:200]:
        box = (float(x[left[k]]), float(y[bottom[k]]), float(x[right[k]]), float(y[top[k]]))
        if score[k] < LEAST_OPENING_SCORE or len(kept) == 4:
            break
        if not any(_overlap(box, other) for other in kept):
            kept.append(box)
    return sorted(kept)


def _fits(size_mm: float) -> bool:
    return bool(OPENING_RANGE_MM[0] < size_mm < OPENING_RANGE_MM[1])


def _inside_lines(
    edges: NDArray[np.float32],
    along_mm: FloatArray,
    places_mm: FloatArray,
    *,
    along: tuple[float, float],
    within: tuple[float, float],
) -> list[int]:
    """Return the strongest lines (columns of ``edges``) between two limits, counted only along the wall."""
    part = (along_mm > along[0] + 40) & (along_mm < along[1] - 40)
    strength = edges[part].sum(axis=0).astype(np.float64)
    strength[(places_mm < within[0]) | (places_mm > within[1])] = 0.0
    kept: list[int] = []
    while len(kept) < 16:
        k = int(np.argmax(strength))
        if strength[k] < 250.0 / max(float(np.abs(along_mm[1] - along_mm[0])), 1e-6):
            break
        kept.append(k)
        strength[max(k - 2, 0) : k + 3] = 0.0
    return sorted(kept)


def _holds_reference(
    view: SquareOn,
    left: NDArray[np.int64],
    bottom: NDArray[np.int64],
    right: NDArray[np.int64],
    top: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Return which boxes contain or cut a reference."""
    x, y = view.x_mm, view.y_mm
    held = np.zeros(len(left), dtype=bool)
    for corners in view.about_mm.reshape(-1, 4, 2):
        low, high = corners.min(axis=0), corners.max(axis=0)
        held |= (x[left] < high[0]) & (x[right] > low[0]) & (y[bottom] < high[1]) & (y[top] > low[1])
    return held


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
