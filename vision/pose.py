"""Where the camera stood: rotations, poses from a plane, and the first guess from a rectangle's vanishing points.

``rotation, translation`` take wall coordinates to camera coordinates: ``P_camera = rotation @ P_wall + translation``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """``pose_camera_wall``: wall coordinates [mm] to camera coordinates [mm]."""

    rotation: FloatArray
    translation_mm: FloatArray

    def camera(self, points_wall_mm: FloatArray) -> FloatArray:
        """Return (n, 3) points in the camera frame."""
        return np.asarray(points_wall_mm @ self.rotation.T + self.translation_mm)

    @property
    def centre_mm(self) -> FloatArray:
        """Return the camera's place in the wall frame, (3,)."""
        return np.asarray(-self.rotation.T @ self.translation_mm)


def skew(v: FloatArray) -> FloatArray:
    """Return the (..., 3, 3) cross-product matrices of (..., 3) vectors."""
    out = np.zeros((*v.shape, 3))
    out[..., 0, 1], out[..., 0, 2], out[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    out[..., 1, 0], out[..., 2, 0], out[..., 2, 1] = v[..., 2], -v[..., 1], v[..., 0]
    return out


def rotation_exp(vector: FloatArray) -> FloatArray:
    """Return the rotation matrix of a rotation vector (3,) [rad] (Rodrigues' formula)."""
    angle = float(np.linalg.norm(vector))
    K = skew(vector)
    if angle < 1e-8:
        return np.asarray(np.eye(3) + K + 0.5 * K @ K)
    return np.asarray(np.eye(3) + np.sin(angle) / angle * K + (1.0 - np.cos(angle)) / angle**2 * K @ K)


def homography(source: FloatArray, target: FloatArray) -> FloatArray:
    """Return the least-squares homography (3, 3) taking (n, 2) source to target points, by the normalised DLT.

    Hartley & Zisserman, Multiple View Geometry, 2nd ed., algorithm 4.2. Needs n >= 4, no three collinear.
    """

    def conditioner(points: FloatArray) -> FloatArray:
        middle = points.mean(axis=0)
        scale = np.sqrt(2.0) / max(float(np.mean(np.linalg.norm(points - middle, axis=1))), 1e-12)
        return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1.0]])

    S, T = conditioner(source), conditioner(target)
    a = source @ S[:2, :2].T + S[:2, 2]
    b = target @ T[:2, :2].T + T[:2, 2]
    n = len(a)
    rows = np.zeros((2 * n, 9))
    rows[0::2, 0:2], rows[0::2, 2] = a, 1.0
    rows[0::2, 6:8], rows[0::2, 8] = -b[:, :1] * a, -b[:, 0]
    rows[1::2, 3:5], rows[1::2, 5] = a, 1.0
    rows[1::2, 6:8], rows[1::2, 8] = -b[:, 1:] * a, -b[:, 1]
    H = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    H = np.linalg.inv(T) @ H @ S
    return np.asarray(H / np.linalg.norm(H))


def pose_from_homography(H: FloatArray, *, known_scale: bool) -> tuple[Pose, float]:
    """Return a pose from a homography of the plane Z = 0 to ideal image coordinates, and the y/x scale found.

    With ``known_scale`` the columns share one length; without it the plane's two axes have unknown scales (a
    rectangle of unknown shape given as the unit square): then the translation is in units of the x axis' length.
    The rotation is the nearest one to the two directions found (vanishing points).
    """
    h1, h2, h3 = H.T
    n1, n2 = float(np.linalg.norm(h1)), float(np.linalg.norm(h2))
    scale = np.sqrt(n1 * n2) if known_scale else n1
    sign = 1.0 if h3[2] > 0 else -1.0
    r1, r2 = sign * h1 / n1, sign * h2 / n2
    U, _, Vt = np.linalg.svd(np.stack([r1, r2, np.cross(r1, r2)], axis=1))
    rotation = U @ np.diag([1.0, 1.0, np.linalg.det(U @ Vt)]) @ Vt
    return Pose(rotation=rotation, translation_mm=sign * h3 / scale), n2 / n1


def planar_poses(plane_mm: FloatArray, ideal: FloatArray) -> list[tuple[Pose, float]]:
    """Return the one or two poses that a plane's picture allows, best first, with their RMS error in ideal units.

    Parameters
    ----------
    plane_mm : (n, 2)
        Points on the plane Z = 0, n >= 4.
    ideal : (n, 2)
        Their ideal image coordinates.

    Returns
    -------
    Up to two (pose, RMS error); the two-fold ambiguity of a small or distant plane (Collins & Bartoli,
    Infinitesimal plane-based pose estimation, IJCV 109, 2014; OpenCV's SOLVEPNP_IPPE).
    """
    import cv2

    middle = plane_mm.mean(axis=0)
    object_points = np.column_stack([plane_mm - middle, np.zeros(len(plane_mm))])
    count, rotations, translations, errors = cv2.solvePnPGeneric(
        object_points.reshape(-1, 1, 3), ideal.reshape(-1, 1, 2).astype(np.float64), np.eye(3), None,
        flags=cv2.SOLVEPNP_IPPE,
    )  # fmt: skip
    poses: list[tuple[Pose, float]] = []
    for rotation_vector, translation, error in zip(
        rotations[:count], translations[:count], errors[:count], strict=True
    ):
        R = rotation_exp(np.asarray(rotation_vector, dtype=np.float64).reshape(3))
        t = np.asarray(translation, dtype=np.float64).reshape(3) - R[:, :2] @ middle
        if np.all(np.isfinite(R)) and np.all(np.isfinite(t)):
            poses.append((Pose(rotation=R, translation_mm=t), float(np.ravel(error)[0])))
    return sorted(poses, key=lambda item: item[1])


def on_plane(ideal: FloatArray, pose: Pose, height_mm: float | FloatArray = 0.0) -> FloatArray:
    """Return where rays through ideal image coordinates (n, 2) meet the plane Z = height_mm: (n, 2) X, Y [mm]."""
    rays = np.column_stack([ideal, np.ones(len(ideal))]) @ pose.rotation
    centre = pose.centre_mm
    reach = (height_mm - centre[2]) / rays[:, 2]
    return np.asarray(centre[:2] + rays[:, :2] * reach[:, None])
