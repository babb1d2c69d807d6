"""The room's three directions in a photo: from a reference on the wall, then from the straight edges of the room.

Walls, floor and ceiling meet at right angles nearly everywhere, so the picture's straight segments point to three
vanishing points (Caprile & Torre, Using vanishing points for camera calibration, IJCV 4, 1990).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.pose import planar_poses, rotation_exp
from vision.walls import FloatArray, GreyImage, Photo, Sighting

TOLERANCES_RAD = (0.14, 0.08, 0.05, 0.03, 0.02, 0.02)
"""How far a segment may point past a vanishing point and still count, from first to last round."""
SHORTEST_SEGMENT = 0.012
"""Shortest segment used, as a share of the picture's longer side."""
DOUBTFUL_LENS = 0.06
"""Relative standard uncertainty of a focal length above which the room's own right angles are asked for it too: what
is left of a cropped picture, or of one whose file says nothing, is seen wrong by its prior alone."""
ALIKE_SEGMENTS = 4.0
"""Segments that lie on one edge, and so tell the focal length no better than one of them would (judgement)."""
BESIDE = 0.04
"""How near parallel segments lie that are taken for lines of one thing, as a share of the longer side (half or twice as
much gives the same on rendered rooms)."""
PARALLEL_RAD = 0.1
"""How nearly parallel those are."""
MOST_SEGMENTS = 600
"""Segments used, longest first: who stands beside whom costs their square."""
RIM = 1.12
"""How much larger than the reference the patch is whose segments are left out: paper's edges and shadow too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAxes:
    """The wall's frame as seen: ``rotation`` (3, 3) takes wall directions to camera directions; ``support`` counts.

    ``segments_px`` (n, 4) are all straight segments in pixels of the photo, ``axis`` (n,) says which of X, Y, Z (0, 1,
    2) each follows, -1 for none. ``photo`` is the photo with the focal length that the room's right angles ask for,
    where its own is in doubt.
    """

    photo: Photo
    rotation: FloatArray
    segments_px: FloatArray
    axis: NDArray[np.int64]
    support: float


def straight_segments(grey: GreyImage, *, longest_side_px: int = 1400) -> FloatArray:
    """Return straight segments x0, y0, x1, y1 (n, 4) of a photo, in its pixels, found in a reduced copy."""
    import cv2

    scale = min(1.0, longest_side_px / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
    found = cv2.createLineSegmentDetector().detect(small)[0]
    if found is None:
        return np.zeros((0, 4))
    segments = np.asarray(found, dtype=np.float64).reshape(-1, 4)
    length = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    longest = np.argsort(-length, kind="stable")[:MOST_SEGMENTS]
    kept = segments[np.sort(longest[length[longest] > SHORTEST_SEGMENT * max(small.shape)])]
    return np.asarray((kept + 0.5) / scale - 0.5)


def off_references(segments_px: FloatArray, sightings: Sequence[Sighting]) -> FloatArray:
    """Return the segments (n, 4) that do not lie on a reference: those say how it hangs, not how the room stands."""
    middle = (segments_px[:, :2] + segments_px[:, 2:]) / 2
    kept = np.ones(len(segments_px), dtype=bool)
    for sighting in sightings:
        corners = np.asarray(sighting.corners_px, dtype=np.float64)
        corners = corners.mean(axis=0) + RIM * (corners - corners.mean(axis=0))
        ahead = np.roll(corners, -1, axis=0) - corners
        past = middle[:, None, :] - corners
        side = ahead[:, 0] * past[..., 1] - ahead[:, 1] * past[..., 0]
        kept &= ~((side >= 0).all(axis=1) | (side <= 0).all(axis=1))
    return segments_px[kept]


def ideal_points(points_px: FloatArray, photo: Photo) -> FloatArray:
    """Return pixels (n, 2) as ideal image coordinates under the photo's lens prior, distortion left out."""
    middle = np.array([(photo.width_px - 1) / 2, (photo.height_px - 1) / 2])
    return np.asarray((np.asarray(points_px, dtype=np.float64).reshape(-1, 2) - middle) / photo.focal_px)


def starts_from(sighting: Sighting, photo: Photo) -> list[FloatArray]:
    """Return the one or two rotations (3, 3) that a reference allows, the wall's Y turned up in the photo."""
    ideal = ideal_points(sighting.points_px, photo)
    model = np.asarray(sighting.model_mm, dtype=np.float64).reshape(-1, 2)
    if len(model) < 4:
        return []
    rotations = []
    for pose, _ in planar_poses(model, ideal):
        normal = pose.rotation[:, 2]
        normal = normal if normal[2] < 0 else -normal
        up = np.array([0.0, -1.0, 0.0])
        up -= (up @ normal) * normal
        up /= max(float(np.linalg.norm(up)), 1e-9)
        rotations.append(np.column_stack([np.cross(up, normal), up, normal]))
    return rotations


def alone(segments_px: FloatArray, *, longer_side_px: float) -> FloatArray:
    """Return for each segment (n,) its share, 0 to 1, of the length of all that run close beside it, itself included.

    A radiator's dozens of ribs hang as one thing hangs, crooked or not, and tell the room's upright no better than one
    line does; an edge of the room runs alone.
    """
    along = segments_px[:, 2:] - segments_px[:, :2]
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, 1e-9)[:, None]
    middle = (segments_px[:, :2] + segments_px[:, 2:]) / 2
    apart = middle[None] - middle[:, None]
    ahead = np.abs(apart[..., 0] * along[:, None, 0] + apart[..., 1] * along[:, None, 1])
    aside = np.abs(apart[..., 1] * along[:, None, 0] - apart[..., 0] * along[:, None, 1])
    turned = np.abs(along[:, None, 0] * along[None, :, 1] - along[:, None, 1] * along[None, :, 0])
    beside = (turned < PARALLEL_RAD) & (aside < BESIDE * longer_side_px) & (ahead < 0.5 * (length + length[:, None]))
    np.fill_diagonal(beside, True)
    return np.asarray(length / np.maximum(beside @ length, 1e-9))


def room_axes(
    segments_px: FloatArray, photo: Photo, start: FloatArray, *, weights: FloatArray | None = None
) -> RoomAxes:
    """Return the room's directions refined on the straight segments, from a first rotation.

    Parameters
    ----------
    segments_px
        (n, 4) from ``straight_segments``.
    photo
        The photo with its lens prior.
    start
        (3, 3) first rotation, wall to camera.
    weights
        (n,) what each pixel of a segment counts, from ``alone``; all alike if None.
    """
    rotation, lens = start, photo
    length = np.linalg.norm(segments_px[:, 2:] - segments_px[:, :2], axis=1)
    counted = length if weights is None else length * weights
    axis = np.full(len(segments_px), -1)
    for tolerance in TOLERANCES_RAD:
        first = np.column_stack([ideal_points(segments_px[:, :2], lens), np.ones(len(segments_px))])
        last = np.column_stack([ideal_points(segments_px[:, 2:], lens), np.ones(len(segments_px))])
        normals = np.cross(first, last)
        normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
        axis = _followed(first, last, rotation, tolerance)
        already = float(np.log(lens.focal_px / photo.focal_px))
        rotation, longer = _turned(normals, counted, axis, rotation, focal=(already, photo.focal_rel_sd))
        lens = replace(lens, focal_px=lens.focal_px * float(np.exp(longer)))
    used = axis >= 0
    support = float(length[used].sum() / max(float(length.sum()), 1e-9)) if len(length) else 0.0
    return RoomAxes(photo=lens, rotation=rotation, segments_px=segments_px, axis=axis, support=support)


def _followed(first: FloatArray, last: FloatArray, rotation: FloatArray, tolerance: float) -> NDArray[np.int64]:
    """Return which axis each segment points along: the angle between it and the line to the vanishing point."""
    middle = (first + last) / 2
    along = last[:, :2] - first[:, :2]
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-12)
    angles = np.empty((len(first), 3))
    for k in range(3):
        direction = rotation[:, k]
        towards = direction[:2] - direction[2] * middle[:, :2]  # to the vanishing point, even at infinity
        towards /= np.maximum(np.linalg.norm(towards, axis=1, keepdims=True), 1e-12)
        angles[:, k] = np.abs(along[:, 0] * towards[:, 1] - along[:, 1] * towards[:, 0])
    best = np.argmin(angles, axis=1)
    ordered = np.sort(angles, axis=1)
    clear = (ordered[:, 0] < tolerance) & (ordered[:, 1] > 2.0 * ordered[:, 0])
    return np.where(clear, best, -1)


def _turned(
    normals: FloatArray,
    length: FloatArray,
    axis: NDArray[np.int64],
    rotation: FloatArray,
    *,
    focal: tuple[float, float],
) -> tuple[FloatArray, float]:
    """Return the rotation after one robust Gauss-Newton step on the segments' planes, and how much longer the lens is.

    The lens's step is the logarithm of a factor; ``focal`` is the logarithm that it has moved so far and its sd. It is
    held where it is not in doubt.
    """
    used = axis >= 0
    if used.sum() < 4:
        return rotation, 0.0
    directions = rotation.T[axis[used]]
    n = normals[used]
    residual = np.einsum("ij,ij->i", n, directions)
    # d(n . (d + w x d)) / dw = d x n; a longer lens turns the plane's normal: d(nx, ny, nz) = (nx, ny, 0), made unit
    flat = np.einsum("ij,ij->i", n[:, :2], directions[:, :2]) - residual * np.sum(n[:, :2] ** 2, axis=1)
    jacobian = np.column_stack([np.cross(directions, n), flat])
    spread = max(1.5 * float(np.median(np.abs(residual))), 1e-4)
    weight = length[used] / (1.0 + (residual / spread) ** 2)
    moved, sd = focal
    own = ALIKE_SEGMENTS * spread**2 * float(np.mean(length[used])) / sd**2
    if sd <= DOUBTFUL_LENS:
        jacobian, moved = jacobian * (1.0, 1.0, 1.0, 0.0), 0.0
    hold = 0.02 * float(weight.sum()) * 1e-2
    normal_matrix = (jacobian * weight[:, None]).T @ jacobian + np.diag([hold, hold, hold, own])
    step = -np.linalg.solve(normal_matrix, (jacobian * weight[:, None]).T @ residual + np.array([0, 0, 0, own * moved]))
    step *= min(1.0, 0.2 / max(float(np.linalg.norm(step)), 1e-12))
    return rotation_exp(step[:3]) @ rotation, float(step[3])


def plane_from(sightings: Sequence[Sighting], photo: Photo, rotation: FloatArray) -> tuple[float, FloatArray] | None:
    """Return the millimetres of one plane unit by the references' sizes, and their places (n, 2) in plane units.

    Plane units: where rays meet the plane at unit distance along the wall's normal, X right, Y up from its foot.
    """
    from vision.start import similarity

    scales, weights, places = [], [], []
    for sighting in sightings:
        points = plane_units(np.asarray(sighting.points_px, dtype=np.float64), photo, rotation)
        model = np.asarray(sighting.model_mm, dtype=np.float64).reshape(-1, 2)
        if len(points) < 2 or not np.isfinite(points).all():
            continue
        scale, _, _ = similarity(points, model)
        scales.append(scale)
        weights.append(float(np.sum((model - model.mean(axis=0)) ** 2)) / scale**2)
        places.append(plane_units(np.asarray(sighting.corners_px, dtype=np.float64), photo, rotation))
    if not scales:
        return None
    return float(np.average(scales, weights=weights)), np.concatenate(places)


def misfit_px(sightings: Sequence[Sighting], photo: Photo, rotation: FloatArray) -> float:
    """Return how far the references' points are from their shapes if the wall lies so: the worst RMS in pixels.

    Infinite where a reference lies beyond the plane's horizon.
    """
    from vision.start import similarity

    scaled = plane_from(sightings, photo, rotation)
    worst = 0.0
    for sighting in sightings:
        points = plane_units(np.asarray(sighting.points_px, dtype=np.float64), photo, rotation)
        model = np.asarray(sighting.model_mm, dtype=np.float64).reshape(-1, 2)
        if scaled is None or not np.isfinite(points).all():
            return float("inf")
        _, turn, _ = similarity(points, model)
        c, s = np.cos(turn), np.sin(turn)
        moved_mm = scaled[0] * points @ np.array([[c, s], [-s, c]])
        off_mm = (moved_mm - moved_mm.mean(axis=0)) - (model - model.mean(axis=0))
        pixels_per_mm = float(np.ptp(sighting.points_px, axis=0).max() / np.ptp(model, axis=0).max())
        worst = max(worst, pixels_per_mm * float(np.sqrt(np.mean(np.sum(off_mm**2, axis=1)))))
    return worst


def plane_units(points_px: FloatArray, photo: Photo, rotation: FloatArray) -> FloatArray:
    """Return pixels (n, 2) on the wall plane at unit distance, (n, 2) X right, Y up; NaN beyond its horizon."""
    ideal = ideal_points(points_px, photo)
    rays = np.column_stack([ideal, np.ones(len(ideal))]) @ rotation
    depth = np.where(rays[:, 2] < -1e-6, -rays[:, 2], np.nan)
    return np.asarray(rays[:, :2] / depth[:, None])


def plane_pixels(points: FloatArray, photo: Photo, rotation: FloatArray) -> FloatArray:
    """Return the pixels (n, 2) of points (n, 2) of the plane at unit distance; NaN behind the camera."""
    camera = np.column_stack([points, -np.ones(len(points))]) @ rotation.T
    depth = np.where(camera[:, 2] > 1e-6, camera[:, 2], np.nan)
    middle = np.array([(photo.width_px - 1) / 2, (photo.height_px - 1) / 2])
    return np.asarray(camera[:, :2] / depth[:, None] * photo.focal_px + middle)
