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


def side_faces(
    corners: FloatArray, model: FloatArray, pose: FloatArray, thick_mm: float, size_px: tuple[int, int]
) -> tuple[float, ...]:
    """Return how wide the card's side face shows beyond each side of its front, px; 0 where it is turned away."""
    matrix = camera_matrix(size_px)
    normal = pose[:, 2] if pose[:, 2] @ pose[:, 3] < 0 else -pose[:, 2]
    out = []
    for i in range(4):
        j = (i + 1) % 4
        middle = np.append(0.5 * (model[i] + model[j]), [0.0, 1.0]) @ pose.T
        both = np.array([middle, middle - thick_mm * normal]) @ matrix.T
        shift = both[1, :2] / both[1, 2] - both[0, :2] / both[0, 2]
        along = corners[j] - corners[i]
        inward = np.array([-along[1], along[0]]) / np.linalg.norm(along)
        out.append(max(0.0, float(-shift @ inward)))
    return tuple(out)
