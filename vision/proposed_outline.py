"""The wall's outline in a square-on view: the rectangle around the references whose four sides show as edges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.room_axes import RoomAxes, plane_units
from vision.square_on import Box, EdgeMaps, SquareOn, side_share
from vision.walls import FloatArray, Photo

HEIGHT_MM = (2400.0, 350.0)
"""Ceiling height and its spread in British houses, mm (common practice, no source)."""
WIDTH_RANGE_MM = (900.0, 12_000.0)
HEIGHT_RANGE_MM = (1800.0, 4500.0)
MOST_UPRIGHTS, MOST_LEVELS = 40, 14
"""Lines tried for a side: striped paper shows dozens of upright ones, all stronger than the wall's own end."""
BEYOND_MM = 350.0
MARGIN_MM = 40.0
SKIRTING_MM = (40.0, 250.0)
"""Heights of skirting boards (common practice, no source)."""
SKIRTING_TIE = 0.25
"""How much less an outline may score that stands lower than the best by a skirting board's height: the board's top runs
as far as its foot, so the two score nearly alike, and the wall ends at the foot (judgement)."""
LEAST_SIDE = 0.35
"""Least share that must show as edge of what the picture holds of a side, edges from its ends to the viewer counted in.
A wall that runs out of the picture ends nowhere in it: between its floor and ceiling, which run on to the rim, any
faint line would do (rendered rooms cut off at a corner: 9 false ends of 10 show less, right ends hardly ever)."""


def best_outline(view: SquareOn, maps: EdgeMaps, inner: Box, rays: FloatArray) -> tuple[float, Box] | None:
    """Return the score and box [mm] of the best rectangle around the references, None where a side of it does not show.

    Parameters
    ----------
    view, maps
        The wall square-on, and its edges.
    inner
        Box about the references, mm: what the outline must hold.
    rays
        (n, 4) mm, from ``corner_rays``.
    """
    lefts = _candidates(maps.upright, view.x_mm, MOST_UPRIGHTS, below=inner[0] - MARGIN_MM)
    rights = _candidates(maps.upright, view.x_mm, MOST_UPRIGHTS, above=inner[2] + MARGIN_MM)
    floors = _candidates(maps.level.T, view.y_mm, MOST_LEVELS, below=inner[1] - MARGIN_MM)
    ceilings = _candidates(maps.level.T, view.y_mm, MOST_LEVELS, above=inner[3] + MARGIN_MM)
    if min(len(lefts), len(rights), len(floors), len(ceilings)) == 0:
        return None
    x, y = view.x_mm, view.y_mm
    left, floor, right, ceiling = np.ix_(lefts, floors, rights, ceilings)
    reach = max(2, round(BEYOND_MM / view.mm_per_px))
    sides = (
        side_share(maps.upright, maps.seen, left, floor, ceiling, reach),
        side_share(maps.level.T, maps.seen.T, floor, left, right, reach),
        side_share(maps.upright, maps.seen, right, floor, ceiling, reach),
        side_share(maps.level.T, maps.seen.T, ceiling, left, right, reach),
    )
    corners = (
        _ray_support(rays, x[left], y[floor]),
        _ray_support(rays, x[right], y[floor]),
        _ray_support(rays, x[right], y[ceiling]),
        _ray_support(rays, x[left], y[ceiling]),
    )
    width, height = x[right] - x[left], y[ceiling] - y[floor]
    usual = 0.15 * ((height - HEIGHT_MM[0]) / HEIGHT_MM[1]) ** 2
    allowed = _between(width, WIDTH_RANGE_MM) & _between(height, HEIGHT_RANGE_MM)
    if not allowed.any():
        return None
    score = np.where(allowed, sum(sides) + 0.5 * sum(corners) - usual, -np.inf)
    best = _at_the_foot(score, y[floors], np.unravel_index(int(np.argmax(score)), score.shape))
    columns, rows = (lefts[best[0]], rights[best[2]]), (floors[best[1]], ceilings[best[3]])
    along = slice(rows[0], rows[1] + 1), slice(columns[0], columns[1] + 1)
    seen = [maps.seen[along[0], columns[0]], maps.seen[rows[0], along[1]]]
    seen += [maps.seen[along[0], columns[1]], maps.seen[rows[1], along[1]]]
    shown = [_at(side, best) + _at(corners[k - 1], best) + _at(corners[k], best) for k, side in enumerate(sides)]
    if any(share < LEAST_SIDE * part.mean() for share, part in zip(shown, seen, strict=True)):
        return None
    across = [_middle(maps.upright[along[0]], x, line) for line in columns]
    up = [_middle(maps.level.T[along[1]], y, line) for line in rows]
    return float(score[best]), (across[0], up[0], across[1], up[1])


def _middle(edges: NDArray[np.float32], places_mm: FloatArray, line: np.int64) -> float:
    """Return where along the columns an edge runs, mm: the middle of its hits about the line that was chosen."""
    near = np.arange(max(int(line) - 2, 0), min(int(line) + 3, len(places_mm)))
    hits = edges[:, near].sum(axis=0)
    return float(np.average(places_mm[near], weights=hits)) if hits.any() else float(places_mm[line])


def _at(values: FloatArray, place: tuple[np.intp, ...]) -> float:
    """Return an array's value at a place, where axes of length one hold for all."""
    return float(values[tuple(0 if size == 1 else k for k, size in zip(place, values.shape, strict=True))])


def _at_the_foot(score: FloatArray, floors_mm: FloatArray, best: tuple[np.intp, ...]) -> tuple[np.intp, ...]:
    """Return the place of the outline that stands on the floor, where the best one may stand on a skirting board."""
    left, floor, right, ceiling = best
    below_mm = floors_mm[floor] - floors_mm
    others = np.where(_between(below_mm, SKIRTING_MM), score[left, :, right, ceiling], -np.inf)
    lower = int(np.argmax(others))
    return (left, np.intp(lower), right, ceiling) if others[lower] > score[best] - SKIRTING_TIE else best


def _between(size_mm: FloatArray, limits_mm: tuple[float, float]) -> NDArray[np.bool_]:
    return np.asarray((size_mm > limits_mm[0]) & (size_mm < limits_mm[1]))


def _candidates(
    edges: NDArray[np.float32], places: FloatArray, most: int, *, below: float = np.inf, above: float = -np.inf
) -> NDArray[np.int64]:
    """Return the lines (columns of ``edges``) that show most edge, strongest first, none beside a stronger one."""
    strength = edges.sum(axis=0).astype(np.float64)
    strength[(places > below) | (places < above)] = 0.0
    kept: list[int] = []
    while len(kept) < most:
        k = int(np.argmax(strength))
        if strength[k] <= 4.0:
            break
        kept.append(k)
        strength[max(k - 2, 0) : k + 3] = 0.0
    return np.array(kept, dtype=np.int64)


def _ray_support(rays: FloatArray, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
    """Return for each corner how far edges run from it towards the viewer, 0 to 1; the places broadcast."""
    x, y = np.broadcast_arrays(x_mm, y_mm)
    radius = np.hypot(x, y)
    support = np.zeros(x.shape)
    for x0, y0, x1, y1 in rays:
        direction = np.array([x1 - x0, y1 - y0])
        length = float(np.linalg.norm(direction))
        if length < 1.0:
            continue
        direction /= length
        off = (x - x0) * direction[1] - (y - y0) * direction[0]
        gap = (x0 - x) * direction[0] + (y0 - y) * direction[1]
        near = np.exp(-0.5 * (off / (25.0 + 0.01 * radius)) ** 2) * ((gap > -120.0) & (gap < 0.5 * radius))
        support += near * min(1.0, length / 900.0)
    return np.minimum(support, 1.0)


def corner_rays(axes: RoomAxes, photo: Photo, unit_mm: float) -> FloatArray:
    """Return the edges that run towards the viewer as inner and outer end, x0, y0, x1, y1 (n, 4) mm, square-on."""
    towards = axes.segments_px[axes.axis == 2]
    if not len(towards):
        return np.zeros((0, 4))
    ends = np.stack(
        [plane_units(towards[:, :2], photo, axes.rotation), plane_units(towards[:, 2:], photo, axes.rotation)]
    )
    ends = ends * unit_mm
    radius = np.linalg.norm(ends, axis=2)
    usable = np.isfinite(radius).all(axis=0)
    ends, radius = ends[:, usable], radius[:, usable]
    inner = np.where((radius[0] <= radius[1])[:, None], ends[0], ends[1])
    outer = np.where((radius[0] <= radius[1])[:, None], ends[1], ends[0])
    return np.hstack([inner, outer])
