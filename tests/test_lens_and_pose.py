"""Projection and pose: OpenCV as the outside reference, inverse and ambiguity as properties."""

from __future__ import annotations

import cv2
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.simulated_walls import look_at
from vision.lens import Lens, normalised, project
from vision.pose import Pose, homography, on_plane, planar_poses, pose_from_homography, rotation_exp

LENS = Lens(focal_px=2790.0, cx_px=2011.0, cy_px=1530.0, k1=-0.03, k2=0.01)


def _pose(yaw: float, pitch: float, distance: float) -> Pose:
    target = np.array([1900.0, 1200.0, 0.0])
    eye = target + distance * np.array([np.sin(yaw), np.sin(pitch), np.cos(yaw)])
    return look_at(eye, target, 0.02)


def test_projection_is_opencvs() -> None:
    rng = np.random.default_rng(2)
    points = rng.uniform([-1500, -1000, 2500], [1500, 1000, 4500], (200, 3))
    K = np.array([[LENS.focal_px, 0, LENS.cx_px], [0, LENS.focal_px, LENS.cy_px], [0, 0, 1.0]])
    theirs, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), K, np.array([LENS.k1, LENS.k2, 0.0, 0.0]))
    np.testing.assert_allclose(project(points, LENS), theirs.reshape(-1, 2), atol=1e-6)


@settings(max_examples=60, deadline=None)
@given(k1=st.floats(-0.06, 0.06), k2=st.floats(-0.02, 0.02))
def test_undoing_the_lens_is_exact(k1: float, k2: float) -> None:
    lens = Lens(focal_px=2790.0, cx_px=2011.0, cy_px=1530.0, k1=k1, k2=k2)
    grid = np.stack(np.meshgrid(np.linspace(0, 4031, 9), np.linspace(0, 3023, 7)), axis=-1).reshape(-1, 2)
    ideal = normalised(grid, lens)
    back = project(np.column_stack([ideal, np.ones(len(ideal))]), lens)
    np.testing.assert_allclose(back, grid, atol=1e-6)


def test_points_behind_the_camera_have_no_pixel() -> None:
    assert np.all(np.isnan(project(np.array([[0.0, 0.0, -1.0]]), LENS)))


def test_rotations_are_opencvs() -> None:
    vector = np.array([0.3, -0.7, 0.2])
    np.testing.assert_allclose(rotation_exp(vector), cv2.Rodrigues(vector)[0], atol=1e-12)


@settings(max_examples=40, deadline=None)
@given(yaw=st.floats(-0.7, 0.7), pitch=st.floats(-0.2, 0.3), distance=st.floats(1500, 5000))
def test_a_rectangle_of_unknown_shape_gives_rotation_and_shape(yaw: float, pitch: float, distance: float) -> None:
    pose = _pose(yaw, pitch, distance)
    corners = np.array([[0.0, 0, 0], [1200, 0, 0], [1200, 900, 0], [0, 900, 0]]) + np.array([1300.0, 800.0, 0.0])
    camera = pose.camera(corners)
    H = homography(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), camera[:, :2] / camera[:, 2:])
    found, shape = pose_from_homography(H, known_scale=False)
    np.testing.assert_allclose(found.rotation, pose.rotation, atol=1e-6)
    np.testing.assert_allclose(shape, 900.0 / 1200.0, atol=1e-6)


def test_a_small_far_plane_has_two_poses_and_the_true_one_is_among_them() -> None:
    pose = _pose(0.4, 0.05, 4000.0)
    card = np.array([[-42.8, 26.99], [42.8, 26.99], [42.8, -26.99], [-42.8, -26.99]]) + np.array([1900.0, 1200.0])
    camera = pose.camera(np.column_stack([card, np.zeros(4)]))
    noisy = camera[:, :2] / camera[:, 2:] + np.random.default_rng(0).normal(0.0, 0.1 / 2790, (4, 2))
    poses = planar_poses(card, noisy)
    assert len(poses) == 2
    angles = [np.degrees(np.arccos(np.clip((np.trace(p.rotation.T @ pose.rotation) - 1) / 2, -1, 1))) for p, _ in poses]
    assert min(angles) < 8.0 < max(angles)


def test_rays_meet_the_plane_where_its_points_are() -> None:
    pose = _pose(0.3, 0.1, 3500.0)
    points = np.array([[100.0, 200.0], [3000.0, 2000.0]])
    camera = pose.camera(np.column_stack([points, np.full(2, 18.0)]))
    np.testing.assert_allclose(on_plane(camera[:, :2] / camera[:, 2:], pose, 18.0), points, atol=1e-6)
