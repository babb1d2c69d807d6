"""Four-sided patches in a picture: candidates for cards and sheets of paper, to a few pixels."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.linear_light import Picture
from vision.walls import FloatArray

# Steps of contrast (of 255) at which a patch is cut out from its surroundings; each at least this many sd of the noise.
_LEVELS = (9.0, 18.0, 36.0, 64.0)
_LEAST_SIGNAL = 3.0
_LEAST_PX, _MOST_PX = 18, 190  # extent of a patch at the scale it is looked for
_LEAST_FILL = 0.86
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


def find_quads(picture: Picture) -> list[Quad]:
    """Return the four-sided patches that differ from their surroundings, each to about two pixels.

    Parameters
    ----------
    picture
        (h, w, 3) BGR or (h, w), upright, full resolution. In 12 megapixels patches of 40 to 1500 px are found.
    """
    import cv2

    found: list[Quad] = []
    colour = picture if picture.ndim == 3 else cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR)
    largest = max(colour.shape[:2])
    start = 2 if largest >= 3000 else 1
    small = colour if start == 1 else cv2.resize(colour, None, fx=1 / start, fy=1 / start, interpolation=cv2.INTER_AREA)
    scale = float(start)
    while max(small.shape[:2]) >= 200:
        found += [Quad(corners_px=(q.corners_px + 0.5) * scale - 0.5, fill=q.fill) for q in _quads_at(small)]
        small = cv2.resize(small, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
        scale *= 4
    return _distinct(found)


def _quads_at(picture: Picture) -> list[Quad]:
    """Return patches whose extent is 18 to 190 px at this scale."""
    import cv2

    out: list[Quad] = []
    for signal, floor in _contrasts(picture):
        for level in _LEVELS:
            cut = max(level, floor)
            if cut > 2 * level:
                continue
            mask = cv2.threshold(signal, cut, 1, cv2.THRESH_BINARY)[1]
            contours, _ = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
            out += [q for q in (_quad_of(np.asarray(c)) for c in contours if len(c) >= 3 * _LEAST_PX) if q]
    return out


def _contrasts(picture: Picture) -> list[tuple[Picture, float]]:
    """Return images high on a patch unlike its surroundings (lighter, darker, other in colour), with a floor."""
    import cv2

    smooth = cv2.GaussianBlur(picture, (0, 0), 0.9)
    # Light, and red and blue against it about 128 (weights of Rec. 601 for encoded colours).
    to_light = np.array([[0.114, 0.587, 0.299, 0], [-0.114, -0.587, 0.701, 128], [0.886, -0.587, -0.299, 128]])
    light, red, blue = cv2.split(cv2.transform(smooth, to_light))
    around = [_surroundings(np.asarray(c, np.uint8)) for c in (light, red, blue)]
    lighter, darker = cv2.subtract(light, around[0]), cv2.subtract(around[0], light)
    off = [cv2.absdiff(c, a) for c, a in zip((red, blue), around[1:], strict=True)]
    colour = cv2.addWeighted(cv2.max(*off), 1.5, cv2.min(*off), 0.6, 0)  # nearly 1.5 times their length
    floor = _LEAST_SIGNAL * _noise(np.asarray(light, np.uint8))
    floor_colour = max(_LEAST_SIGNAL * _noise(np.asarray(colour, np.uint8)), 6.0) + float(np.median(colour[::4, ::4]))
    found = [(lighter, floor), (darker, floor), (colour, floor_colour)]
    return [(np.asarray(signal, np.uint8), least) for signal, least in found]


def _surroundings(channel: Picture) -> Picture:
    """Return the median of a wide neighbourhood, smooth: what a patch up to 190 px is seen against."""
    import cv2

    height, width = channel.shape
    eighth = cv2.resize(channel, (max(width // 8, 4), max(height // 8, 4)), interpolation=cv2.INTER_AREA)
    reach = min(51, 2 * (min(eighth.shape) // 2) - 1)
    middle = cv2.medianBlur(eighth, reach)
    return np.asarray(cv2.resize(middle, (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)


def _noise(image: Picture) -> float:
    """Return the sd of the fine noise, from differences of pixels four apart on a sparse grid."""
    sparse = image[::6].astype(np.int16)
    step = sparse[:, 4::3] - sparse[:, :-4:3]
    # The mean size of a Gaussian's differences, robust enough here and finer than a median of whole numbers.
    return float(np.mean(np.minimum(np.abs(step), 12)) * 1.2533 / np.sqrt(2))


def _quad_of(contour: NDArray[np.int32]) -> Quad | None:
    import cv2

    _, _, across, down = cv2.boundingRect(contour)
    if max(across, down) <= _LEAST_PX or max(across, down) > _MOST_PX or min(across, down) <= 8:
        return None
    hull = np.reshape(cv2.convexHull(contour), (-1, 2))
    area, outline = float(cv2.contourArea(hull)), float(cv2.contourArea(contour))
    (_, (wide, high), _) = cv2.minAreaRect(hull)
    if outline < 0.7 * area or area < _LEAST_OF_BOX * wide * high:
        return None
    corners = _four_corners(hull, area)
    if corners is None:
        return None
    quad_area = float(cv2.contourArea(corners.astype(np.float32)))
    fill = min(area / quad_area, quad_area / area) if quad_area > 0 else 0.0
    if fill < _LEAST_FILL or not is_convex(corners):
        return None
    return Quad(corners_px=as_seen(corners), fill=fill * outline / area)


def _four_corners(hull: NDArray[np.int32], area: float) -> FloatArray | None:
    """Return the corners of the quadrilateral nearest a convex outline: its four longest straight runs, crossed."""
    import cv2

    perimeter = float(cv2.arcLength(hull, True))
    for share in (0.02, 0.03, 0.045, 0.06, 0.08):
        poly = np.reshape(cv2.approxPolyDP(hull, share * perimeter, True), (-1, 2)).astype(float)
        if len(poly) == 4:
            return poly
        if len(poly) < 4:
            break
        crossed = _longest_sides(poly)
        if crossed is not None and 0.9 * area < cv2.contourArea(crossed.astype(np.float32)) < 1.15 * area:
            return crossed
    return None


def _longest_sides(poly: FloatArray) -> FloatArray | None:
    """Return where the four longest sides of a polygon, in their order, cross."""
    if len(poly) > 8:
        return None
    ahead = np.roll(poly, -1, axis=0)
    along = ahead - poly
    chosen = np.sort(np.argsort(-np.sum(along * along, axis=1))[:4])
    p, v = poly[chosen], along[chosen]
    q, w = np.roll(p, 1, axis=0), np.roll(v, 1, axis=0)
    turn = w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]
    if np.abs(turn).min() < 1e-9:
        return None
    gap = p - q
    share = (gap[:, 0] * v[:, 1] - gap[:, 1] * v[:, 0]) / turn
    return np.asarray(q + share[:, None] * w)


def _distinct(quads: Iterable[Quad]) -> list[Quad]:
    """Return the quads without near repeats, the best filled first."""
    kept: list[Quad] = []
    corners = np.zeros((0, 4, 2))
    for quad in sorted(quads, key=lambda q: -q.fill):
        size = float(np.linalg.norm(quad.corners_px[2] - quad.corners_px[0]))
        slack = max(2.5, 0.03 * size)
        if kept and (np.abs(corners - quad.corners_px).max(axis=(1, 2)) <= slack).any():
            continue
        kept.append(quad)
        corners = np.concatenate([corners, quad.corners_px[None]])
    return kept
