"""A wall seen square-on from a first guess of its plane, and the maps of its upright and level edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.walls import FloatArray, GreyImage, Photo

Box = tuple[float, float, float, float]
"""left, bottom, right, top in millimetres of the square-on view."""

MM_PER_PX = 10.0
REACH_MM = 7000.0
"""How far from the references the wall may reach, mm."""
ALONG_PX = 11
"""Edges are averaged along their direction over this many pixels of the map, against texture."""
CLEAR = 3.0
"""An edge counts above this many times the usual change of light nearby."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SquareOn:
    """The picture on the wall's plane: row 0 at the lowest ``y_mm``; ``seen`` where the photo shows it.

    ``about_mm`` (n, 2) are the references' corners, four by four.
    """

    light: NDArray[np.float32]
    seen: NDArray[np.bool_]
    x_mm: FloatArray
    y_mm: FloatArray
    mm_per_px: float
    about_mm: FloatArray

    def lighter(
        self,
        left: NDArray[np.int64],
        bottom: NDArray[np.int64],
        right: NDArray[np.int64],
        top: NDArray[np.int64],
        wall: tuple[float, float, float, float],
    ) -> FloatArray:
        """Return how much lighter each box is than the wall's median, in doublings of light."""
        total = np.pad(np.cumsum(np.cumsum(self.light, axis=0), axis=1), ((1, 0), (1, 0)))
        area = np.maximum((right - left) * (top - bottom), 1)
        mean = (total[top, right] - total[bottom, right] - total[top, left] + total[bottom, left]) / area
        rows = (self.y_mm > wall[1]) & (self.y_mm < wall[3])
        columns = (self.x_mm > wall[0]) & (self.x_mm < wall[2])
        inside = self.light[np.ix_(rows, columns)]
        usual = float(np.median(inside)) if inside.size else 0.0
        return np.asarray(mean - usual, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeMaps:
    """Where the square-on view shows an upright or a level edge, 0 or 1, and where it shows anything at all."""

    upright: NDArray[np.float32]
    level: NDArray[np.float32]
    seen: NDArray[np.bool_]


def square_on(
    grey: GreyImage,
    photo: Photo,
    rotation: FloatArray,
    unit_mm: float,
    *,
    about_mm: FloatArray,
    box: Box | None = None,
    mm_per_px: float = MM_PER_PX,
) -> SquareOn:
    """Return the wall's plane resampled around the references or in a box, as binary logarithms of light.

    Parameters
    ----------
    grey
        (h, w) upright photo.
    photo
        The photo with its lens prior.
    rotation
        (3, 3) wall to camera.
    unit_mm
        Distance of the camera from the plane, mm.
    about_mm
        (n, 2) the references' corners on the plane, four by four.
    box, mm_per_px
        What to look at, and how finely.
    """
    import cv2

    low, high = about_mm.min(axis=0) - REACH_MM, about_mm.max(axis=0) + REACH_MM
    low[1], high[1] = max(low[1], about_mm[:, 1].min() - 4000.0), min(high[1], about_mm[:, 1].max() + 4000.0)
    if box is not None:
        low, high = np.array(box[:2]), np.array(box[2:])
    x = np.arange(low[0], high[0], mm_per_px)
    y = np.arange(low[1], high[1], mm_per_px)
    h, w = grey.shape
    shrink = max(1, int(0.7 * mm_per_px / unit_mm * photo.focal_px))
    small = cv2.resize(grey, (w // shrink, h // shrink), interpolation=cv2.INTER_AREA) if shrink > 1 else grey
    size = (len(x), len(y))
    reduced = (w / small.shape[1], h / small.shape[0])
    to_small = _map_to_pixels(photo, rotation, unit_mm, (float(x[0]), float(y[0]), mm_per_px), reduced)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    seen_grey = cv2.warpPerspective(small, to_small, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    frame = np.zeros(small.shape, np.uint8)
    frame[2:-2, 2:-2] = 1
    seen = cv2.warpPerspective(frame, to_small, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP) > 0
    columns, rows = np.arange(size[0]), np.arange(size[1])[:, None]
    seen &= to_small[2, 0] * columns + to_small[2, 1] * rows + to_small[2, 2] > 0  # not behind the camera
    light = np.log2(np.power(np.asarray(seen_grey, dtype=np.float32) / 255.0, 2.2) + 0.004).astype(np.float32)
    return SquareOn(light=light, seen=seen, x_mm=x, y_mm=y, mm_per_px=mm_per_px, about_mm=about_mm)


def _map_to_pixels(
    photo: Photo,
    rotation: FloatArray,
    unit_mm: float,
    grid_mm: tuple[float, float, float],
    reduced: tuple[float, float],
) -> FloatArray:
    """Return the homography (3, 3) from pixels of the square-on view (origin x, y, step) to the reduced photo."""
    x, y, step = grid_mm
    to_plane = np.array([[step, 0, x], [0, step, y], [0, 0, unit_mm]]) / unit_mm
    to_plane[2] *= -1.0  # the plane lies at Z = -1
    middle = ((photo.width_px - 1) / 2, (photo.height_px - 1) / 2)
    camera = np.array([[photo.focal_px, 0, middle[0]], [0, photo.focal_px, middle[1]], [0, 0, 1.0]])
    across, down = reduced
    smaller = np.array([[1 / across, 0, 0.5 / across - 0.5], [0, 1 / down, 0.5 / down - 0.5], [0, 0, 1.0]])
    return np.asarray(smaller @ camera @ rotation @ to_plane)


def edge_maps(view: SquareOn) -> EdgeMaps:
    """Return the upright and level edges of a square-on view, thinned to their strongest line, then widened a pixel."""
    return EdgeMaps(
        upright=_edges(view.light, view.seen), level=_edges(view.light.T, view.seen.T).T.copy(), seen=view.seen
    )


def _edges(light: NDArray[np.float32], seen: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return 1 where the light changes across columns, coherently along rows, 0 elsewhere."""
    import cv2

    kernel = np.array([[-1, -1, 0, 1, 1]], dtype=np.float32) / 2
    across = cv2.filter2D(np.ascontiguousarray(light), cv2.CV_32F, kernel)
    smooth = cv2.blur(across, (1, ALONG_PX))
    size = np.abs(smooth)
    valid = cv2.erode(np.ascontiguousarray(seen).astype(np.uint8), np.ones((3, 7), np.uint8)) > 0
    usual = float(np.median(size[valid])) if valid.any() else 1.0
    local = cv2.blur(np.where(valid, size, 0).astype(np.float32), (41, 41))
    peak = size >= cv2.dilate(size, np.ones((1, 5), np.uint8)) - 1e-9
    hit = peak & valid & (size > CLEAR * max(usual, 0.006)) & (size > 1.2 * local)
    return np.asarray(cv2.dilate(hit.astype(np.float32), np.ones((1, 3), np.uint8)), dtype=np.float32)


def side_share(
    edges: NDArray[np.float32],
    seen: NDArray[np.bool_],
    line: NDArray[np.int64],
    first: NDArray[np.int64],
    last: NDArray[np.int64],
    reach: int,
) -> FloatArray:
    """Return for each rectangle how much of a side shows as edge, less what runs on beyond its ends; -1 to 1.

    Where the side is outside the picture it counts neither way. ``line``, ``first`` and ``last`` broadcast.
    """
    lines, place = np.unique(line, return_inverse=True)
    place = place.reshape(line.shape)
    part = seen[:, lines]
    hit = np.vstack([np.zeros((1, len(lines))), np.cumsum(edges[:, lines] * part, axis=0)])
    all_seen = np.vstack([np.zeros((1, len(lines))), np.cumsum(part, axis=0)])

    def share(start: NDArray[np.int64], stop: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
        start, stop = np.clip(start, 0, len(edges)), np.clip(stop, 0, len(edges))
        visible = all_seen[stop, place] - all_seen[start, place]
        return (hit[stop, place] - hit[start, place]) / np.maximum(visible, 1.0), visible

    inside, visible = share(first, last + 1)
    before, _ = share(first - reach, first - 2)
    after, _ = share(last + 3, last + 1 + reach)
    trust = np.clip(visible / np.maximum(last - first, 1), 0.0, 1.0)
    return np.asarray(trust * (inside - 0.5 * np.maximum(before, after)))
