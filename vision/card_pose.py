"""How a flat rectangle may stand before an assumed lens, and how wide its side face then shows."""

from __future__ import annotations

import numpy as np

from vision.plane_view import PlaneView, camera_matrix
from vision.walls import FloatArray


def poses(
    corners: FloatArray, model: FloatArray, size_px: tuple[int, int]
) -> list[tuple[FloatArray, float, FloatArray]]:
    """Return the poses (3, 4) of the model under an assumed lens, each with its slant, degrees, and normal (3,)."""
    import cv2

    matrix = camera_matrix(size_px)
    points = np.column_stack([model, np.zeros(4)])
    try:
        _, turns, shifts, _ = cv2.solvePnPGeneric(points, corners, matrix, None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return []
    out = []
    for turn, shift in zip(turns, shifts, strict=True):
        rotation = cv2.Rodrigues(turn)[0]
        t = np.reshape(shift, 3)
        normal = rotation[:, 2] if rotation[:, 2] @ t < 0 else -rotation[:, 2]
        cosine = float(-normal @ t / np.linalg.norm(t))
        out.append((np.column_stack([rotation, t]), float(np.degrees(np.arccos(np.clip(cosine, -1, 1)))), normal))
    return out


def reprojection_px(pose: FloatArray, model: FloatArray, corners: FloatArray, size_px: tuple[int, int]) -> float:
    """Return the rms by which a pose (3, 4) of the model (4, 2) mm misses its corners (4, 2), px."""
    at = camera_matrix(size_px) @ (pose[:, :2] @ model.T + pose[:, 3:])
    miss = at[:2] / at[2] - corners.T
    return float(np.sqrt(np.vdot(miss, miss) / miss.size))


def normal_of_view(view: PlaneView, size_px: tuple[int, int]) -> FloatArray:
    """Return the plane's normal in the camera frame, towards the camera."""
    h = np.linalg.inv(camera_matrix(size_px)) @ np.linalg.inv(view.to_mm)
    normal = np.cross(h[:, 0], h[:, 1])
    normal = normal / np.linalg.norm(normal)
    return np.asarray(normal if normal[2] < 0 else -normal)


def leans(corners: FloatArray, normal: FloatArray, px_per_mm: float, size_px: tuple[int, int]) -> tuple[float, ...]:
    """Return how far beyond each side of a thing, as seen, what lies a millimetre behind it is, px.

    Less than 0 where its front hides that. ``normal`` (3,) is that of its front in the camera frame, towards the
    camera, ``px_per_mm`` its scale where it is not foreshortened.
    """
    matrix = camera_matrix(size_px)
    out = []
    for i in range(4):
        along = corners[(i + 1) % 4] - corners[i]
        inward = np.array([-along[1], along[0]]) / np.linalg.norm(along)
        ray = np.linalg.inv(matrix) @ np.append(0.5 * (corners[i] + corners[(i + 1) % 4]), 1.0)
        # A step of one millimetre along -normal at depth f / px_per_mm moves its picture by the part across the ray.
        shift = px_per_mm * (normal[2] * ray[:2] - normal[:2])
        out.append(float(-shift @ inward))
    return tuple(out)


def leans_on_wall(
    corners: FloatArray, pose: FloatArray, view: PlaneView | None, size_px: tuple[int, int]
) -> tuple[float, ...]:
    """Return how far beyond each side what lies a millimetre behind a posed (3, 4) thing is seen, px.

    A rectangle's slant is seen far better on the wall that it hangs on than on its own few pixels.
    """
    normal = pose[:, 2] if view is None else normal_of_view(view, size_px)
    towards = normal if normal @ pose[:, 3] < 0 else -normal
    return leans(corners, towards, float(camera_matrix(size_px)[0, 0] / pose[2, 3]), size_px)
