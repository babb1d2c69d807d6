"""A frame's edge in the dark corner of its reveal is put where the frame ends, not on a flank of the shadow."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from tests.rendered_walls import rendered_survey
from tests.test_edges import _off_truth
from vision import edges
from vision.edges import trace_edges
from vision.hollow_corner import ACROSS_PX, BLUR_PX, corner_offset, hollow_profile
from vision.measure import measure_wall
from vision.walls import FloatArray

FINE_PX = 0.02


def blurred(light: FloatArray, at_px: FloatArray, fine_px: FloatArray, blur_px: float) -> FloatArray:
    return np.asarray(np.interp(at_px, fine_px, gaussian_filter1d(light, blur_px / FINE_PX, mode="nearest")))


@given(
    corner=st.floats(-3, 3), frame=st.floats(0.1, 1), slope=st.floats(-0.02, 0.02), dark=st.floats(0.05, 1),
    rise=st.floats(0, 0.8), length=st.floats(0.5, 8),
)  # fmt: skip
def test_the_model_is_the_blurred_light_of_a_frame_and_a_face_that_lightens_away_from_it(
    corner: float, frame: float, slope: float, dark: float, rise: float, length: float
) -> None:
    fine = np.arange(-20, 24, FINE_PX)
    x = fine - corner
    sharp = np.where(x < 0, frame + slope * x, dark + rise * (1 - np.exp(-np.maximum(x, 0) / length)))
    told = hollow_profile(ACROSS_PX, corner, frame, slope, dark, rise, length)
    assert told == pytest.approx(blurred(sharp, ACROSS_PX, fine, BLUR_PX), abs=0.006)


def drawn_profile(rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Return light across a corner about its steepest place, and how far outwards of that the corner lies [px].

    A face at right angles to a strip of height h sees it over the share (1 - x / sqrt(x^2 + h^2)) / 2 of its sky
    (configuration factor of an infinite strip, from memory): so much darker it is there.
    """
    fine = np.arange(-30, 40, FINE_PX)
    height, dark = np.exp(rng.uniform(np.log(3), np.log(20))), rng.uniform(0.4, 1.0)
    frame, face = rng.uniform(0.3, 0.8), rng.uniform(0.3, 0.9)
    away = np.maximum(fine, 0)
    shaded = face * (1 - dark * (1 - away / np.hypot(away, height)) / 2)
    light = blurred(np.where(fine < 0, frame, shaded), fine, fine, rng.uniform(0.7, 1.1))
    near = np.abs(fine) < 5
    steepest = fine[near][np.argmax(np.abs(np.gradient(gaussian_filter1d(light, 1.2 / FINE_PX)))[near])]
    noisy = np.interp(steepest + ACROSS_PX, fine, light) + rng.normal(0, 0.002, len(ACROSS_PX))
    return noisy, -float(steepest)


def test_a_corner_shaded_otherwise_than_the_model_says_is_found_better_than_its_steepest_place() -> None:
    rng = np.random.default_rng(20261126)
    before, after = [], []
    for _ in range(300):
        profile, corner = drawn_profile(rng)
        before.append(corner)
        after.append(corner - (corner_offset(profile, 0.002) or 0.0))
    assert np.sqrt(np.mean(np.square(after))) < 0.6
    assert np.sqrt(np.mean(np.square(after))) < np.sqrt(np.mean(np.square(before)))
    assert np.max(np.abs(after)) < 2.5


def test_where_light_only_falls_outwards_the_steepest_place_stands() -> None:
    fine = np.arange(-20, 24, FINE_PX)
    falling = blurred(np.where(fine < 0, 0.7, 0.4), ACROSS_PX, fine, 0.9)
    assert corner_offset(falling) is None


def test_frames_in_shaded_reveals_are_traced_oftener_and_nearer_their_true_edges_than_by_the_steepest_flank(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    off: dict[str, list[float]] = {"corner": [], "flank": []}
    for seed in (2, 3, 6, 7):
        survey = rendered_survey(np.random.default_rng(seed), ("sheet",), ("whole", "reveal"))
        solution = measure_wall(survey.problem)
        for file, scene in survey.scenes.items():
            grey = cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY)
            for way, told in off.items():
                with monkeypatch.context() as patch:
                    if way == "flank":
                        patch.setattr(edges, "_outward", lambda *_: 0.0)
                    traces = trace_edges(grey, solution, file)
                told += [float(np.median(_off_truth(survey, t))) for t in traces if t.edge[0] == "w1/frame"]
    assert len(off["corner"]) > len(off["flank"])
    assert np.sqrt(np.mean(np.square(off["corner"]))) < 0.75 * np.sqrt(np.mean(np.square(off["flank"])))
