"""Four-sided patches in a picture: candidates for cards and sheets of paper, to a few pixels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.linear_light import Picture
from vision.walls import FloatArray

# Steps of contrast (of 255) at which a patch is cut out from its surroundings; each at least this many sd of the noise.
_LEVELS = (9.0, 18.0, 36.0, 64.0)
_EITHER_LEVELS = (18.0, 36.0)
_LEAST_SIGNAL = 3.0
_LEAST_PX, _MOST_PX = 18, 190  # extent of a patch at the scale it is looked for
_LEAST_FILL = 0.86
_LEAST_ROUND = 0.005  # area over the square of an outline's length: 0.06 of a square; less is a thread or frayed
_LEAST_OF_BOX = 0.7  # of its upright or turned box that a rectangle seen aslant fills


@dataclass(frozen=True, slots=True, kw_only=True)
class Quad:
    """A four-sided patch: corners (4, 2) px, clockwise from the top left, and how well it fills them."""

    corners_px: FloatArray
    fill: float


def is_convex(corners: FloatArray) -> bool:
    """Return whether the quadrilateral (4, 2) is convex and not folded."""
    edge = np.roll(corners, -1, axis=0) - corners
    after = np.roll(edge, -1, axis=0)
    turn = edge[:, 0] * after[:, 1] - edge[:, 1] * after[:, 0]
    return bool((turn > 0).all() or (turn < 0).all())


def as_seen(corners: FloatArray) -> FloatArray:
    """Return corners (4, 2) as top_left, top_right, bottom_right, bottom_left of the upright picture."""
    middle = corners.mean(axis=0)
    angle = np.arctan2(corners[:, 1] - middle[1], corners[:, 0] - middle[0])
    clockwise = corners[np.argsort(angle)]
    # The top side is the one whose middle lies highest.
    tops = 0.5 * (clockwise + np.roll(clockwise, -1, axis=0))[:, 1]
    return np.asarray(np.roll(clockwise, -int(np.argmin(tops)), axis=0))


def crossing(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the point (2,) where two lines (3,), ``l . (x, y, 1) = 0``, meet; nan where they do not."""
    p = np.cross(first, second)
    return np.asarray(p[:2] / p[2]) if abs(p[2]) > 1e-12 else np.full(2, np.nan)


def inward(corners: FloatArray) -> FloatArray:
    """Return how each corner (4, 2) of a quadrilateral moves when all its sides move inwards by one pixel."""
    middle = corners.mean(axis=0)
    sides = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        normal = np.array([a[1] - b[1], b[0] - a[0]]) / np.linalg.norm(b - a)
        normal = normal if normal @ (middle - a) > 0 else -normal
        sides.append(np.array([normal[0], normal[1], -normal @ a - 1.0]))
    return np.array([crossing(sides[i - 1], sides[i]) for i in range(4)]) - corners


def find_quads(picture: Picture, *, large_only: bool = False) -> list[Quad]:
    """Return the four-sided patches that differ from their surroundings, each to about two pixels.

    Parameters
    ----------
    picture
        (h, w, 3) BGR or (h, w), upright, full resolution. In 12 megapixels patches of 40 to 1500 px are found.
    large_only
        Whether in large pictures patches of 80 to 3000 px will do, at a quarter of the cost.
    """
    import cv2

    corners, fill = [np.zeros((0, 4, 2))], [np.zeros(0)]
    colour = picture if picture.ndim == 3 else cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR)
    scale = 1.0 if max(colour.shape[:2]) < 3000 else 4.0 if large_only else 2.0
    if scale == 1:
        small = colour.copy()
    else:
        small = cv2.resize(colour, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    while max(small.shape[:2]) >= 200:
        smaller = cv2.resize(small, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
        places, filled = _quads_at(np.asarray(small, np.uint8))
        corners.append((places + 0.5) * scale - 0.5)
        fill.append(filled)
        small = smaller
        scale *= 4
    return _distinct(np.concatenate(corners), np.concatenate(fill))


def _quads_at(picture: Picture) -> tuple[FloatArray, FloatArray]:
    """Return the corners (n, 4, 2) of patches whose extent is 18 to 190 px at this scale, and how well they fill.

    The picture's memory is used up.
    """
    import cv2

    found: list[_Outline] = []
    mask = np.empty(picture.shape[:2], np.uint8)
    for signal, floor, levels in _contrasts(picture):
        for level in levels:
            cut = max(level, floor)
            if cut > 2 * level:
                continue
            cv2.threshold(signal, cut, 1, cv2.THRESH_BINARY, dst=mask)
            contours, _ = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
            found += [o for o in (_outline_of(c) for c in contours if len(c) >= 3 * _LEAST_PX) if o]
    return _filled(found)


def _contrasts(picture: Picture) -> Iterator[tuple[Picture, float, tuple[float, ...]]]:
    """Yield images high on a patch unlike its surroundings (lighter, darker, either, other in colour), with a floor.

    Either is for light things with a dark stripe, and dark ones with a light one. With each go the levels to cut it at.

    The picture's memory is used up, and each image is gone when the next one comes: fresh memory costs more than these
    sums do.
    """
    import cv2

    height, width = picture.shape[:2]
    smooth = cv2.GaussianBlur(picture, (0, 0), 0.9, dst=picture)
    # Light, and red and blue against it about 128 (weights of Rec. 601 for encoded colours).
    to_light = np.array([[0.114, 0.587, 0.299, 0], [-0.114, -0.587, 0.701, 128], [0.886, -0.587, -0.299, 128]])
    light, red, blue = (np.asarray(c, np.uint8) for c in cv2.split(cv2.transform(smooth, to_light, dst=smooth)))
    spare, spared = np.reshape(smooth, (3, height, width))[:2]
    floor = _LEAST_SIGNAL * _noise(light)
    around = _surroundings(light, spare)
    yield np.asarray(cv2.subtract(light, around, dst=spared), np.uint8), floor, _LEVELS
    yield np.asarray(cv2.subtract(around, light, dst=spared), np.uint8), floor, _LEVELS
    either = cv2.absdiff(light, around, dst=spared)
    # Between light and dark lies a line in the surroundings' own tone.
    closed = cv2.morphologyEx(either, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8), dst=spared)
    yield np.asarray(closed, np.uint8), floor, _EITHER_LEVELS
    red, blue = (np.asarray(cv2.absdiff(c, _surroundings(c, spare), dst=c), np.uint8) for c in (red, blue))
    most, least = cv2.max(red, blue, dst=spare), cv2.min(red, blue, dst=spared)
    colour = np.asarray(cv2.addWeighted(most, 1.5, least, 0.6, 0, dst=light), np.uint8)  # nearly 1.5 times their length
    yield colour, max(_LEAST_SIGNAL * _noise(colour), 6.0) + float(np.median(colour[::4, ::4])), _LEVELS


def _surroundings(channel: Picture, into: Picture) -> Picture:
    """Return the median of a wide neighbourhood, smooth: what a patch up to 190 px is seen against."""
    import cv2

    height, width = channel.shape
    eighth = cv2.resize(channel, (max(width // 8, 4), max(height // 8, 4)), interpolation=cv2.INTER_AREA)
    reach = min(51, 2 * (min(eighth.shape) // 2) - 1)
    middle = cv2.medianBlur(eighth, reach)
    return np.asarray(cv2.resize(middle, (width, height), dst=into, interpolation=cv2.INTER_LINEAR), np.uint8)


def _noise(image: Picture) -> float:
    """Return the sd of the fine noise, from differences of pixels four apart on a sparse grid."""
    sparse = image[::6].astype(np.int16)
    step = sparse[:, 4::3] - sparse[:, :-4:3]
    # The mean size of a Gaussian's differences, robust enough here and finer than a median of whole numbers.
    return float(np.mean(np.minimum(np.abs(step), 12)) * 1.2533 / np.sqrt(2))


_Outline = tuple[Sequence[Sequence[float]], float, float]  # four corners, area of the hull, area itself


def _outline_of(contour: NDArray[np.int32]) -> _Outline | None:
    """Return the four corners, hull area and area of an outline (n, 1, 2) that is a four-sided patch of fit size."""
    import cv2

    _, _, across, down = cv2.boundingRect(contour)
    if max(across, down) <= _LEAST_PX or max(across, down) > _MOST_PX or min(across, down) <= 8:
        return None
    outline = cv2.contourArea(contour)
    if outline < _LEAST_ROUND * len(contour) ** 2:
        return None
    hull = cv2.convexHull(contour)
    area = cv2.contourArea(hull)
    if outline < 0.7 * area:
        return None
    (_, (wide, high), _) = cv2.minAreaRect(hull)
    if area < _LEAST_OF_BOX * wide * high:
        return None
    corners = _four_corners(hull, area)
    return None if corners is None else (corners, area, outline)


def _filled(found: Sequence[_Outline]) -> tuple[FloatArray, FloatArray]:
    """Return the corners (n, 4, 2), clockwise from the top left, of outlines that fill them, and how well (n,)."""
    if not found:
        return np.zeros((0, 4, 2)), np.zeros(0)
    corners, sizes = np.array([o[0] for o in found], float), np.array([o[1:] for o in found], float)
    area, outline = sizes.T
    edge = np.roll(corners, -1, axis=1) - corners
    after = np.roll(edge, -1, axis=1)
    turn = edge[..., 0] * after[..., 1] - edge[..., 1] * after[..., 0]
    convex = (turn > 0).all(axis=1) | (turn < 0).all(axis=1)
    across, down = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    own = np.maximum(0.5 * np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0]), 1e-9)
    fill = np.minimum(area / own, own / area)
    good = convex & (fill >= _LEAST_FILL)
    return _as_seen(corners[good]), (fill * outline / area)[good]


def _as_seen(corners: FloatArray) -> FloatArray:
    """Return quadrilaterals (n, 4, 2), each as `as_seen` turns it."""
    off = corners - corners.mean(axis=1, keepdims=True)
    order = np.argsort(np.arctan2(off[..., 1], off[..., 0]), axis=1)
    clockwise = np.take_along_axis(corners, order[..., None], axis=1)
    tops = clockwise[..., 1] + np.roll(clockwise[..., 1], -1, axis=1)
    turned = (np.argmin(tops, axis=1)[:, None] + np.arange(4)) % 4
    return np.take_along_axis(clockwise, turned[..., None], axis=1)


def _four_corners(hull: NDArray[np.int32], area: float) -> Sequence[Sequence[float]] | None:
    """Return the corners of the quadrilateral nearest a convex outline: its four longest straight runs, crossed."""
    import cv2

    perimeter = cv2.arcLength(hull, True)
    for share in (0.02, 0.03, 0.045, 0.06, 0.08):
        poly: list[list[float]] = cv2.approxPolyDP(hull, share * perimeter, True)[:, 0].tolist()
        if len(poly) == 4:
            return poly
        if len(poly) < 4:
            break
        crossed = _longest_sides(poly)
        if crossed is not None and 0.9 * area < _area(crossed) < 1.15 * area:
            return crossed
    return None


def _area(p: Sequence[Sequence[float]]) -> float:
    (x, y), (u, v) = ((p[2][i] - p[0][i] for i in (0, 1)), (p[3][i] - p[1][i] for i in (0, 1)))
    return abs(x * v - y * u) / 2


def _longest_sides(poly: Sequence[Sequence[float]]) -> list[list[float]] | None:
    """Return where the four longest sides of a polygon, in their order, cross."""
    if len(poly) > 8:
        return None
    sides = [(p[0], p[1], q[0] - p[0], q[1] - p[1]) for p, q in zip(poly, [*poly[1:], poly[0]], strict=True)]
    longest = sorted(range(len(sides)), key=lambda i: -(sides[i][2] ** 2 + sides[i][3] ** 2))[:4]
    chosen = [sides[i] for i in sorted(longest)]
    out = []
    for (x, y, along, down), (u, v, before, below) in zip(chosen, [chosen[-1], *chosen[:-1]], strict=True):
        turn = before * down - below * along
        if abs(turn) < 1e-9:
            return None
        share = ((x - u) * down - (y - v) * along) / turn
        out.append([u + share * before, v + share * below])
    return out


def _distinct(corners: FloatArray, fill: FloatArray) -> list[Quad]:
    """Return the quadrilaterals (n, 4, 2) without near repeats, the best filled first."""
    from scipy.spatial import cKDTree

    if not len(corners):
        return []
    order = np.argsort(-fill, kind="stable")
    corners, fill = corners[order], fill[order]
    slack = np.maximum(2.5, 0.03 * np.linalg.norm(corners[:, 2] - corners[:, 0], axis=1))
    # What repeats another has its middle no further off than any of its corners.
    middle = corners.mean(axis=1)
    near = cKDTree(middle).query_ball_point(middle, slack, p=np.inf)
    kept = np.ones(len(corners), bool)
    for i, others in enumerate(near):
        before = [j for j in others if j < i and kept[j]]
        if before and (np.abs(corners[before] - corners[i]).max(axis=(1, 2)) <= slack[i]).any():
            kept[i] = False
    return [Quad(corners_px=c, fill=float(f)) for c, f in zip(corners[kept], fill[kept], strict=True)]
