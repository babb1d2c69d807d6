"""Windows and doors in a wall seen square-on: rectangles with edges on all four sides, mostly lighter than the wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.square_on import Box, EdgeMaps, SquareOn, side_share
from vision.walls import FloatArray

OPENING_RANGE_MM = (300.0, 3200.0)
LEAST_OPENING_SCORE = 2.6
LEAST_HEAD_MM = 1300.0
"""A window's head is higher above the floor than this, a radiator's top lower (common practice, no source)."""
LEAST_DARK_M2 = 0.8
"""What is darker than the wall and smaller is a picture rather than a window (judgement)."""
PANES_APART_MM = 160.0
SAME_LINE_MM = 60.0
FRAME_MM = 120.0
"""Widest frame from the glass to the reveal (common practice, no source)."""
SHIFT = 0.09
"""Of the distance from the foot of the camera's perpendicular: a reveal of 300 mm seen from 3 m."""
PULL_MM = 450.0
"""How far a side is brought in at most."""
STRIP = (2, 7)
"""Columns beyond an edge whose light tells what lies there: 20 to 70 mm."""
LIKE_THE_WALL = 0.3
"""Doublings of light by which the wall beside an opening varies (judgement)."""
PARTS = 8
STEADY = 0.95
"""Share of the parts of an edge on which the light changes the same way: all eight."""
BEYOND_MM = 260.0
"""A stripe of the wallpaper, or another thing's edge, runs on this far beyond the ends of a side."""
LEAST_CHANGE = 0.06
"""Doublings of light across an edge of the wall's face."""


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
    lighter = view.lighter(left, bottom, right, top, wall)
    score = (
        side_share(maps.upright, maps.seen, left, bottom, top, reach)
        + side_share(maps.upright, maps.seen, right, bottom, top, reach)
        + side_share(maps.level.T, maps.seen.T, bottom, left, right, reach)
        + side_share(maps.level.T, maps.seen.T, top, left, right, reach)
        + np.clip(lighter, 0.0, 1.0)
    )
    area = (x[right] - x[left]) * (y[top] - y[bottom]) / 1e6
    score = score + 0.1 * np.minimum(area, 2.0)
    covers = (x[left] < inner[2]) & (x[right] > inner[0]) & (y[bottom] < inner[3]) & (y[top] > inner[1])
    score[covers & _holds_reference(view, left, bottom, right, top)] = -1.0
    score[y[top] - wall[1] < LEAST_HEAD_MM] = -1.0
    score[(lighter < 0.0) & (area < LEAST_DARK_M2)] = -1.0
    kept: list[Box] = []
    for k in np.argsort(-score)[:200]:
        box = (float(x[left[k]]), float(y[bottom[k]]), float(x[right[k]]), float(y[top[k]]))
        if score[k] < LEAST_OPENING_SCORE or len(kept) == 6:
            break
        if not any(_overlap(box, other) for other in kept):
            kept.append(box)
    outer = [_outermost(view, box, wall) for box in _joined(kept)]
    return sorted(_joined(outer))[:4]


def _joined(boxes: list[Box]) -> list[Box]:
    """Return the boxes with the panes of one window, side by side or one above the other, made one."""
    joined = list(boxes)
    for i, one in enumerate(joined):
        for other in joined[i + 1 :]:
            beside = _abreast(one[1::2], other[1::2]) and _gap(one[::2], other[::2]) < PANES_APART_MM
            above = _abreast(one[::2], other[::2]) and _gap(one[1::2], other[1::2]) < PANES_APART_MM
            if beside or above:
                both = (min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3]))
                return _joined([box for box in joined if box not in (one, other)] + [both])
    return joined


def _abreast(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return abs(one[0] - other[0]) < SAME_LINE_MM and abs(one[1] - other[1]) < SAME_LINE_MM


def _gap(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    return max(one[0], other[0]) - min(one[1], other[1])


def _outermost(view: SquareOn, box: Box, wall: Box) -> Box:
    """Return the outline on the face of the wall round a rectangle that may be its frame or its glass.

    What lies deep in a reveal shows shifted towards the foot of the camera's perpendicular, which is the origin here:
    so the outline lies outside it by that shift and the width of a frame at most.
    """
    usual = _light_round(view, box, wall)
    start = _without_wall(view, box, usual)
    sides = list(start)
    for _ in range(2):  # each side is judged over the length that the others give it
        for k in range(4):
            outwards = -1.0 if k < 2 else 1.0
            reach = FRAME_MM + max(0.0, outwards * start[k]) * SHIFT
            cut = _cut(view, [*sides[:k], start[k], *sides[k + 1 :]], k, outwards, reach)
            edges = [] if cut is None else [e for e in cut.edges() if outwards * (wall[k] - outwards * 20.0 - e[0]) > 0]
            ends = [place for place, beyond in edges if abs(beyond - usual) < LIKE_THE_WALL]
            if edges:
                sides[k] = (ends or [place for place, _ in edges])[-1]
    return (sides[0], sides[1], sides[2], sides[3])


def _light_round(view: SquareOn, box: Box, wall: Box) -> float:
    """Return the usual light of the wall beside and above a box."""
    x, y = view.x_mm, view.y_mm
    columns = (x > max(box[0] - 450.0, wall[0] + 50.0)) & (x < min(box[2] + 450.0, wall[2] - 50.0))
    rows = (y > box[1]) & (y < min(box[3] + 450.0, wall[3] - 50.0))
    off = (x[columns] < box[0] - 150.0) | (x[columns] > box[2] + 150.0) | (y[rows, None] > box[3] + 150.0)
    round_it = view.light[np.ix_(rows, columns)][off & view.seen[np.ix_(rows, columns)]]
    return float(np.median(round_it)) if round_it.size else np.nan


def _without_wall(view: SquareOn, box: Box, usual: float) -> Box:
    """Return a box without the wall that it takes in where a side is another thing's, as a radiator's."""
    sides = list(box)
    for k in range(4):
        inwards = 1.0 if k < 2 else -1.0
        cut = _cut(view, sides, k, inwards, PULL_MM)
        if cut is None or abs(cut.beyond(1) - usual) > LIKE_THE_WALL:
            continue
        edges = [place for place, beyond in cut.edges() if abs(beyond - usual) > LIKE_THE_WALL]
        if edges:
            sides[k] = edges[0]
    return (sides[0], sides[1], sides[2], sides[3])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """Steps of light across columns next to a side of a box: ``size`` where steady, else 0, and the light itself."""

    places_mm: FloatArray
    size: FloatArray
    light: FloatArray
    count: int

    def beyond(self, i: int) -> float:
        """Return the mean light in the strip just beyond column i."""
        return float(np.mean(self.light[i + STRIP[0] : i + STRIP[1]]))

    def edges(self) -> list[tuple[float, float]]:
        """Return the place of each edge, mm, nearest the side first, and the light just beyond it."""
        size = self.size
        return [
            (float(self.places_mm[i]), self.beyond(i)) for i in range(1, self.count + 1)
            if size[i] > LEAST_CHANGE and size[i] >= size[i - 1] and size[i] >= size[i + 1]
        ]  # fmt: skip


def _change(light: NDArray[np.float32], rows: NDArray[np.int64], columns: NDArray[np.int64]) -> FloatArray:
    """Return how the light changes across columns in each row; nothing changes where there are no rows."""
    if not len(rows):
        return np.zeros((1, len(columns)))
    seen = light[rows]
    return np.asarray((seen[:, columns + 2] + seen[:, columns + 1] - seen[:, columns - 1] - seen[:, columns - 2]) / 2.0)


def _cut(view: SquareOn, sides: list[float], k: int, towards: float, reach_mm: float) -> _Cut | None:
    """Return the steps of light from one side of a box as far as the reach, over the length of that side."""
    upright = k % 2 == 0
    light = view.light if upright else view.light.T
    across, along = (view.x_mm, view.y_mm) if upright else (view.y_mm, view.x_mm)
    first, last = (sides[1], sides[3]) if upright else (sides[0], sides[2])
    rows = np.nonzero((along > first + 30.0) & (along < last - 30.0))[0]
    step = view.mm_per_px
    start = int(np.argmin(np.abs(across - sides[k])))
    count = int(reach_mm / step) + 1
    columns = start + int(towards) * np.arange(-1, count + STRIP[1] + 1)
    if len(rows) < 20 or columns.min() < 2 or columns.max() > len(across) - 3:
        return None
    change = _change(light, rows, columns)
    parts = np.array([part.mean(axis=0) for part in np.array_split(change, PARTS)])
    mean = parts.mean(axis=0)
    steady = (np.sign(mean) * parts > 0.3 * np.abs(mean)).mean(axis=0) >= STEADY
    beyond = round(BEYOND_MM / step)
    ends = (np.arange(rows[0] - beyond, rows[0] - 6), np.arange(rows[-1] + 7, rows[-1] + beyond + 1))
    runs_on = [np.abs(_change(light, end[(end >= 0) & (end < len(light))], columns).mean(axis=0)) for end in ends]
    return _Cut(
        places_mm=across[columns],
        size=np.abs(mean) * steady * (np.minimum(*runs_on) < 0.5 * np.abs(mean)),
        light=light[rows][:, columns].mean(axis=0),
        count=count,
    )


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
