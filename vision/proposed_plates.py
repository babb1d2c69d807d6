"""Sockets and switches on a wall seen square-on: plates of the usual sizes with an edge on each of their four sides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.square_on import Box, SquareOn

MM_PER_PX = 3.0
PLATES_MM = ((146.0, 86.0), (86.0, 86.0))
"""Double and single plates, width and height (BS 4662 boxes take plates of 146 x 86 and 86 x 86 mm; from memory)."""
SLACK_MM = 3.0
"""What each side may lie off where plates are looked for."""
SIZE_OFF_MM = 6.0
"""What a plate may be larger or smaller: the plane's scale, its thickness, makers' differences (judgement)."""
FIT_PX = 3
HEIGHTS_MM = (120.0, 1700.0)
"""Of a plate's middle above the floor."""
SOCKET_BELOW_MM = 800.0
"""A single plate lower than this is a socket, higher a switch (common practice, no source)."""
LEAST_STEP = 0.05
"""Doublings of light across the weakest side, a pixel (judgement)."""
OVER_NOISE = 6.0
RUNS_ON = 0.5
"""A line that runs on beyond a corner with this share of a side's step is no side of a plate."""
BEYOND_MM = 36.0
MOST_PLATES = 8
Rows = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A plate in the square-on view: what it seems to be, and its box."""

    kind: Literal["socket", "switch"]
    box: Box


def find_plates(view: SquareOn, wall: Box, apart_from: list[Box]) -> list[Plate]:
    """Return what looks like sockets and switches, left to right.

    Parameters
    ----------
    view
        The wall at about 3 mm a pixel.
    wall
        Its outline.
    apart_from
        Boxes of what is known to be something else: openings, references.
    """
    right, up = _slopes(view.light)
    noise = float(np.median(np.abs(np.concatenate([right[::3, ::3].ravel(), up[::3, ::3].ravel()])))) / 0.6745
    found: list[tuple[float, Plate]] = []
    for size in PLATES_MM:
        score = _scores(view, right, up, size, noise)
        h, w = round(size[1] / view.mm_per_px), round(size[0] / view.mm_per_px)
        for _ in range(MOST_PLATES):
            row, column = (int(k) for k in np.unravel_index(int(np.argmax(score)), score.shape))
            if score[row, column] <= 0.0:
                break
            fitted = _fitted(view, right, up, (row, column), (h, w))
            score[max(0, row - h) : row + h, max(0, column - w) : column + w] = 0.0
            if fitted is None:
                continue
            strength, box = fitted
            off = max(abs(box[2] - box[0] - size[0]), abs(box[3] - box[1] - size[1]))
            middle = (box[1] + box[3]) / 2 - wall[1]
            in_reach = HEIGHTS_MM[0] < middle < HEIGHTS_MM[1]
            if off < SIZE_OFF_MM and in_reach and not any(_touch(box, other) for other in apart_from):
                low = size[0] > size[1] or middle < SOCKET_BELOW_MM
                found.append((strength, Plate(kind="socket" if low else "switch", box=box)))
    kept: list[Plate] = []
    for _, plate in sorted(found, key=lambda item: -item[0]):
        if len(kept) < MOST_PLATES and not any(_touch(plate.box, other.box) for other in kept):
            kept.append(plate)
    return sorted(kept, key=lambda plate: plate.box)


def _fitted(
    view: SquareOn, right: Rows, up: Rows, corner: tuple[int, int], size: tuple[int, int]
) -> tuple[float, Box] | None:
    """Return the mean step on a plate's sides, and its box to a fraction of a pixel; None if a side is not there.

    Parameters
    ----------
    view
        The wall.
    right, up
        Its slopes.
    corner, size
        Row and column of the bottom left corner; rows and columns of the plate; pixels.
    """
    (row, column), (h, w) = corner, size
    across, along = right[row + 2 : row + h - 1].mean(axis=0), up[:, column + 2 : column + w - 1].mean(axis=1)
    sign = float(np.sign(across[column - 1 : column + 2].sum()))
    left, far = _peak(across, column, sign), _peak(across, column + w, -sign)
    bottom, top = _peak(along, row, sign), _peak(along, row + h, -sign)
    if left is None or far is None or bottom is None or top is None:
        return None
    x0, y0, step = float(view.x_mm[0]), float(view.y_mm[0]), view.mm_per_px
    box = (x0 + step * left[0], y0 + step * bottom[0], x0 + step * far[0], y0 + step * top[0])
    return (left[1] + far[1] + bottom[1] + top[1]) / 4, box


def _peak(slope: Rows, about: int, sign: float) -> tuple[float, float] | None:
    """Return the place and size of the strongest step of one sign about a place, to a fraction of a pixel."""
    first, last = max(1, about - FIT_PX), min(len(slope) - 2, about + FIT_PX)
    if last <= first:
        return None
    i = first + int(np.argmax(sign * slope[first : last + 1]))
    before, at, after = (sign * float(v) for v in slope[i - 1 : i + 2])
    bend = before - 2 * at + after
    return (i + (0.5 * (before - after) / bend if bend < 0 else 0.0), at) if at > 0 else None


def _slopes(light: NDArray[np.float32]) -> tuple[Rows, Rows]:
    """Return how the light changes to the right and upwards a pixel, lightly smoothed."""
    import cv2

    smooth = cv2.GaussianBlur(light, (0, 0), 0.8)
    right, up = np.zeros_like(light), np.zeros_like(light)
    right[:, 1:-1] = (smooth[:, 2:] - smooth[:, :-2]) / 2
    up[1:-1] = (smooth[2:] - smooth[:-2]) / 2
    return right, up


def _scores(view: SquareOn, right: Rows, up: Rows, size_mm: tuple[float, float], noise: float) -> Rows:
    """Return for each place of a plate's bottom left corner the step of its weakest side, 0 where it is no plate."""
    step = view.mm_per_px
    w, h = round(size_mm[0] / step), round(size_mm[1] / step)
    slack = max(1, round(SLACK_MM / step))
    beyond = max(3, round(BEYOND_MM / step))
    rows, columns = view.light.shape
    inside = (slice(beyond + 2, rows - h - beyond - 2), slice(beyond + 2, columns - w - beyond - 2))
    if inside[0].stop <= inside[0].start or inside[1].stop <= inside[1].start:
        return np.zeros_like(view.light)
    uprights = _along(right, h, beyond, slack, axis=0)
    levels = _along(up, w, beyond, slack, axis=1)
    best = np.zeros_like(view.light)
    for sign in (1.0, -1.0):  # lighter than the wall, darker
        left, bottom = uprights[sign], levels[sign]
        far, top = np.roll(uprights[-sign], -w, axis=1), np.roll(levels[-sign], -h, axis=0)
        best[inside] = np.maximum(best, np.minimum(np.minimum(left, far), np.minimum(bottom, top)))[inside]
    best[best < max(LEAST_STEP, OVER_NOISE * noise / np.sqrt(h))] = 0.0
    return best


def _along(slope: Rows, length: int, beyond: int, slack: int, *, axis: int) -> dict[float, Rows]:
    """Return, by sign, the mean step along a side that starts at each pixel; less what runs on beyond its ends.

    A side may lie a little off: each pixel takes the best within the slack across.
    """
    import cv2

    total = np.cumsum(slope, axis=axis, dtype=np.float64)
    total = np.concatenate([np.zeros_like(np.take(total, [0], axis=axis)), total], axis=axis)

    def mean(first: int, count: int) -> Rows:
        start = np.arange(slope.shape[axis]) + first
        stop = np.clip(start + count, 0, slope.shape[axis])
        start = np.clip(start, 0, slope.shape[axis])
        return np.asarray((np.take(total, stop, axis=axis) - np.take(total, start, axis=axis)) / count, np.float32)

    side = mean(2, length - 4)
    halves = (mean(2, (length - 4) // 2), mean(length // 2, (length - 4) // 2))
    before, after = mean(-beyond, beyond - 3), mean(length + 3, beyond - 3)
    kernel = np.ones((1, 2 * slack + 1) if axis == 0 else (2 * slack + 1, 1), np.uint8)
    out = {}
    for sign in (1.0, -1.0):
        signed = sign * side
        whole = (sign * halves[0] > 0.4 * signed) & (sign * halves[1] > 0.4 * signed)
        ends = np.maximum(np.abs(before), np.abs(after)) < RUNS_ON * signed
        out[sign] = np.asarray(cv2.dilate(np.where(whole & ends, signed, 0.0).astype(np.float32), kernel), np.float32)
    return out


def _touch(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
