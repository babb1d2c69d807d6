"""The plane of a brick face from its own right angles: bed joints, perpends, and the turn that squares them up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray, GreyImage

_MAX_YAW_SIN = 0.82
_VERTICAL_RANGE_RAD = 0.8


def line_segments(grey: FloatArray) -> FloatArray:
    """Return straight segments x0, y0, x1, y1 (n, 4) of a grey picture (h, w), in its pixels, longest first."""
    import cv2

    levels = np.clip(grey, 0, 255).astype(np.uint8)
    levels = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(levels)
    found = cv2.createLineSegmentDetector().detect(levels)[0]
    if found is None:
        return np.zeros((0, 4))
    segments = np.asarray(found, dtype=float).reshape(-1, 4)
    length = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    keep = np.argsort(-length)[:6000]
    long_enough: FloatArray = segments[keep[length[keep] > 7.0]]
    return long_enough


def bed_direction(segments: FloatArray, seed: int = 0) -> tuple[FloatArray, float] | None:
    """Return the direction of the bed joints in the camera (3,) and the share of length that agrees, or None.

    Parameters
    ----------
    segments
        x0, y0, x1, y1 (n, 4) in focal lengths from the picture's middle.
    seed
        Start of the sampling, so that the same picture gives the same answer.
    """
    delta = segments[:, 2:] - segments[:, :2]
    length = np.hypot(delta[:, 0], delta[:, 1])
    flat = np.abs(delta[:, 1]) < 0.85 * np.abs(delta[:, 0])
    if flat.sum() < 20:
        return None
    chosen = segments[flat][:1500]
    weight = length[flat][:1500]
    lines, middle, along = _lines(chosen)
    rng = np.random.default_rng(seed)
    picks = rng.choice(len(chosen), size=(700, 2), p=weight / weight.sum())
    directions = np.cross(lines[picks[:, 0]], lines[picks[:, 1]])
    norm = np.linalg.norm(directions, axis=1)
    directions = directions[norm > 1e-9] / norm[norm > 1e-9, None]
    directions = directions[np.abs(directions[:, 2]) < _MAX_YAW_SIN]
    directions = np.vstack([directions, [[1.0, 0.0, 0.0]]])
    score = np.array([float(weight[_off_angle(d, middle, along) < 0.02].sum()) for d in directions])
    best = directions[int(score.argmax())]
    for limit in (0.03, 0.02, 0.015):
        near = _off_angle(best, middle, along) < limit
        if near.sum() < 8:
            return None
        weighted = lines[near] * weight[near, None]
        best = np.linalg.svd(weighted)[2][-1]
    best = best * np.sign(best[0] or 1.0)
    near = _off_angle(best, middle, along) < 0.03
    return best, float(weight[near].sum() / length.sum())


def perpend_direction(segments: FloatArray, bed: FloatArray) -> tuple[FloatArray, float]:
    """Return the direction of the perpends (3,), square to the bed joints, and the share of upright length that agrees.

    Parameters
    ----------
    segments
        x0, y0, x1, y1 (n, 4) in focal lengths from the picture's middle.
    bed
        Direction of the bed joints (3,).
    """
    _, middle, along = _lines(segments)
    length = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    upright = (_off_angle(bed, middle, along) > 0.35) & (np.abs(along[:, 1]) > 0.6)
    down = np.array([0.0, 1.0, 0.0]) - bed[1] * bed
    down /= np.linalg.norm(down)
    across = np.cross(down, bed)
    angles = np.linspace(-_VERTICAL_RANGE_RAD, _VERTICAL_RANGE_RAD, 321)
    middle, along, length = middle[upright], along[upright], length[upright]
    score = np.zeros(len(angles))
    for i, angle in enumerate(angles):
        d = np.cos(angle) * down + np.sin(angle) * across
        off = _off_angle(d, middle, along)
        score[i] = float((length * np.exp(-0.5 * (off / 0.035) ** 2)).sum())
    prior = np.exp(-0.5 * (angles / 0.5) ** 2)
    best = int((score * prior).argmax())
    direction = np.cos(angles[best]) * down + np.sin(angles[best]) * across
    return direction, float(score[best] / max(float(length.sum()), 1e-9))


def _lines(segments: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return unit line vectors (n, 3), middles (n, 2) and unit directions (n, 2)."""
    one = np.ones(len(segments))
    start = np.column_stack([segments[:, :2], one])
    end = np.column_stack([segments[:, 2:], one])
    lines = np.cross(start, end)
    lines /= np.maximum(np.linalg.norm(lines, axis=1, keepdims=True), 1e-12)
    along = segments[:, 2:] - segments[:, :2]
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-12)
    return lines, (segments[:, :2] + segments[:, 2:]) / 2.0, along


def _off_angle(direction: FloatArray, middle: FloatArray, along: FloatArray) -> FloatArray:
    """Return by how much each segment points past the vanishing point of a direction, rad (n,)."""
    towards = direction[None, :2] - direction[2] * middle
    norm = np.maximum(np.hypot(towards[:, 0], towards[:, 1]), 1e-12)
    cross = (towards[:, 0] * along[:, 1] - towards[:, 1] * along[:, 0]) / norm
    angle: FloatArray = np.abs(np.arcsin(np.clip(cross, -1, 1)))
    return angle


def rotation_from(bed: FloatArray, perpend: FloatArray) -> FloatArray:
    """Return the rotation (3, 3) whose rows are along the courses, down the face, and into the wall."""
    x = bed / np.linalg.norm(bed)
    y = perpend - (perpend @ x) * x
    y = y / np.linalg.norm(y)
    return np.stack([x, y, np.cross(x, y)])


def square_up(grey: FloatArray, focal_px: float, bed: FloatArray, perpend: FloatArray) -> FloatArray:
    """Return the rotation (3, 3) refined so that bed joints and perpends fall into the sharpest rows and columns.

    Parameters
    ----------
    grey
        Grey picture (h, w), about 1600 px.
    focal_px
        Focal length in its pixels.
    bed, perpend
        First directions (3,).
    """
    from scipy.optimize import minimize

    start = rotation_from(bed, perpend)
    energy = _joint_energy(grey, focal_px, start)
    span = _FaceWindow.of(grey.shape, focal_px, start, size=640)

    def cost(small: FloatArray) -> float:
        return -_sharpness(energy, span, focal_px, _turned(start, small))

    first = np.array([[0, 0, 0], [0.02, 0, 0], [0, 0.02, 0], [0, 0, 0.01]], dtype=float)
    found = minimize(
        cost, np.zeros(3), method="Nelder-Mead", options={"initial_simplex": first, "maxfev": 90, "xatol": 3e-4}
    )
    return _turned(start, found.x)


def _turned(rotation: FloatArray, small: FloatArray) -> FloatArray:
    import cv2

    turn = np.asarray(cv2.Rodrigues(np.asarray(small, dtype=float).reshape(3, 1))[0], dtype=float)
    result: FloatArray = turn @ rotation
    return result


def _joint_energy(grey: FloatArray, focal_px: float, rotation: FloatArray) -> GreyImage:
    """Return gradient energy across bed joints and across perpends, and what is seen (h, w, 3), 60 levels a unit."""
    import cv2

    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0)
    gx, gy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    h, w = grey.shape
    x = (np.arange(w, dtype=np.float32) - (w - 1) / 2) / focal_px
    y = (np.arange(h, dtype=np.float32) - (h - 1) / 2) / focal_px
    layers = []
    for d in rotation[:2].astype(np.float32):
        tx, ty = d[0] - d[2] * x[None, :], d[1] - d[2] * y[:, None]
        norm = np.sqrt(tx**2 + ty**2) + 1e-9
        across = np.abs(-gx * (ty / norm) + gy * (tx / norm))
        around = cv2.blur(cv2.blur(across, (61, 61)), (61, 61))
        layers.append(np.minimum(across / (around + 1.0), 4.0))
    return np.asarray(np.dstack([*layers, np.ones_like(gx)]) * 60.0, dtype=np.uint8)


@dataclass(frozen=True, slots=True, kw_only=True)
class _FaceWindow:
    """A window on the squared-up face: left, top in focal lengths, pixels a focal length, size."""

    left: float
    top: float
    scale: float
    width: int
    height: int

    @staticmethod
    def of(shape: tuple[int, ...], focal_px: float, rotation: FloatArray, *, size: int) -> _FaceWindow:
        low, high, _ = face_extent(shape, focal_px, rotation)
        scale = size / float(max(high - low))
        width, height = (int(v) for v in np.maximum((high - low) * scale, 16))
        return _FaceWindow(left=float(low[0]), top=float(low[1]), scale=scale, width=width, height=height)


def face_extent(shape: tuple[int, ...], focal_px: float, rotation: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Return two corners (2,) of the face that is seen well enough, in focal lengths, and the detail there.

    Places seen at under 0.45 of the middle detail (far off, oblique) are left out. The detail is in pixels a unit.
    """
    h, w = shape[:2]
    xs, ys = np.meshgrid(np.linspace(0, w - 1, 25), np.linspace(0, h - 1, 19))
    rays = np.column_stack(
        [(xs.ravel() - (w - 1) / 2) / focal_px, (ys.ravel() - (h - 1) / 2) / focal_px, np.ones(xs.size)]
    )
    q = rays @ rotation.T
    depth = q[:, 2]
    ahead = depth > 0.15
    face = q[ahead, :2] / depth[ahead, None]
    detail = focal_px * np.sqrt(np.abs(rotation[2, 2])) * (depth[ahead] ** 1.5) ** 1.0
    middle = float(np.median(detail))
    good = face[detail > 0.45 * middle]
    return good.min(axis=0), good.max(axis=0), middle


def _sharpness(energy: GreyImage, window: _FaceWindow, focal_px: float, rotation: FloatArray) -> float:
    import cv2

    h, w = energy.shape[:2]
    to_px = pixel_from_face(rotation, focal_px, (h, w)) @ np.array(
        [[1 / window.scale, 0, window.left], [0, 1 / window.scale, window.top], [0, 0, 1.0]]
    )
    size = (window.width, window.height)
    warped = cv2.warpPerspective(energy, to_px, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    rows = cv2.reduce(warped, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32F).reshape(window.height, 3)
    columns = cv2.reduce(warped, 0, cv2.REDUCE_SUM, dtype=cv2.CV_32F).reshape(window.width, 3)
    rows = rows[rows[:, 2] > 0.3 * 60 * window.width]
    columns = columns[columns[:, 2] > 0.3 * 60 * window.height]
    return _roughness(rows[:, 0] / rows[:, 2]) + 0.5 * _roughness(columns[:, 1] / columns[:, 2])


def _roughness(profile: FloatArray) -> float:
    """Return the relative variance of a profile about its own slow trend."""
    if len(profile) < 40:
        return 0.0
    from scipy.ndimage import uniform_filter1d

    trend = uniform_filter1d(profile, 41)
    return float(np.mean((profile - trend) ** 2) / (np.mean(profile) ** 2 + 1e-9)) * 100.0


def pixel_from_face(rotation: FloatArray, focal_px: float, shape: tuple[int, ...]) -> FloatArray:
    """Return the homography (3, 3) from face coordinates in focal lengths to pixels of a picture of that shape."""
    h, w = shape[:2]
    k = np.array([[focal_px, 0, (w - 1) / 2], [0, focal_px, (h - 1) / 2], [0, 0, 1.0]])
    result: FloatArray = k @ rotation.T
    return result


def find_plane(grey: FloatArray, focal_px: float) -> tuple[FloatArray, float, float] | None:
    """Return the rotation (3, 3) that squares up a face whose courses run across the picture, and two shares, or None.

    Parameters
    ----------
    grey
        Grey picture (h, w), 0 to 255.
    focal_px
        Focal length in its pixels.
    """
    segments = line_segments(grey)
    h, w = grey.shape
    if len(segments) < 40:
        return None
    unit = (segments - np.array([(w - 1) / 2, (h - 1) / 2] * 2)) / focal_px
    bed = bed_direction(unit)
    if bed is None:
        return None
    perpend, perpend_share = perpend_direction(unit, bed[0])
    rotation = square_up(grey, focal_px, bed[0], perpend)
    return rotation, bed[1], perpend_share
