"""The courses, beds and bricks of one brick face as found in its picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.bond_lattice import (
    CourseRow,
    Module,
    aligned_share,
    course_lines,
    joint_evidence,
    joint_width,
    lay_courses,
    module_candidates,
    perpend_signal,
)
from vision.bond_types import BondFit, fit_bonds
from vision.brick_courses import (
    FACE_COURSE_PX,
    Courses,
    evened_features,
    find_courses,
    straighten,
)
from vision.brick_pitch import fundamental_pitch
from vision.brick_plane import face_extent, find_plane, pixel_from_face
from vision.walls import FloatArray

_PLANE_PX = 1100
_MOST_COURSES = 44
_CLEAR_COVER, _CLEAR_JOINTS = 0.72, 4.0
"""Cover and evidence from which mortar's own colour is clear enough not to try dark and light lines (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """The squared-up face: Lab picture, what is seen, and the homography from its pixels to those of the photo."""

    lab: FloatArray
    seen: NDArray[np.bool_]
    photo_from_face: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """The lattice as read: face, courses, module, rows, fit and how clear it all is."""

    face: Face
    courses: Courses
    module: Module
    rows: list[CourseRow]
    fit: BondFit
    on_edge: bool
    clearness: Mapping[str, float]


def read_pattern(bgr: NDArray[np.uint8], focal: float, hidden: Sequence[FloatArray]) -> Pattern | None:
    """Return the courses and bricks laid over a face (h, w, 3) seen by a focal length [px], or None where none fit."""
    import cv2

    h, w = bgr.shape[:2]
    shrink = min(1.0, _PLANE_PX / max(h, w))
    small = cv2.resize(bgr, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else bgr
    grey = cv2.cvtColor(small, cv2.COLOR_BGR2GRAY).astype(np.float32)
    plane = find_plane(grey, focal * shrink)
    if plane is None:
        return None
    rotation = plane[0]
    first = _face(small, rotation, focal * shrink, [c * shrink for c in hidden], pixels=1000.0)
    pitch, strength = _first_pitch(first)
    if strength < 0.05:
        return None
    window = _part(first, pitch, [c * shrink for c in hidden])
    enlarge = FACE_COURSE_PX / pitch
    face = _face(bgr, rotation, focal, hidden, pixels=enlarge * max(first.seen.shape), window=window)
    courses = find_courses(face.lab, face.seen, FACE_COURSE_PX)
    if courses is None:
        return None
    return _lay(face, courses, {"pitch": strength, "bed_share": plane[1], "perpend_share": plane[2]})


def _face(
    bgr: NDArray[np.uint8],
    rotation: FloatArray,
    focal: float,
    hidden: Sequence[FloatArray],
    *,
    pixels: float,
    window: tuple[FloatArray, FloatArray] | None = None,
) -> Face:
    """Return the squared-up face with its longer side of so many pixels, from a picture shrunk to suit.

    ``window`` is the part of it that is wanted, as two corners (2,) in shares of its width and height.
    """
    import cv2

    low, high, detail = face_extent(bgr.shape, focal, rotation)
    scale = pixels / float(max(high - low))
    if window is not None:
        low, high = low + window[0] * (high - low), low + window[1] * (high - low)
    shrink = min(1.0, 1.6 * scale / detail)
    source = cv2.resize(bgr, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 0.9 else bgr
    real = np.array([source.shape[1] / bgr.shape[1], source.shape[0] / bgr.shape[0]])
    width, height = (int(v) for v in np.maximum((high - low) * scale, 16))
    face_units = np.array([[1 / scale, 0, low[0]], [0, 1 / scale, low[1]], [0, 0, 1.0]])
    photo_from_face = pixel_from_face(rotation, focal, bgr.shape) @ face_units
    to_source = (
        np.array([[real[0], 0, (real[0] - 1) / 2], [0, real[1], (real[1] - 1) / 2], [0, 0, 1.0]]) @ photo_from_face
    )
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    lab = cv2.cvtColor(source.astype(np.float32) / 255.0, cv2.COLOR_BGR2Lab)
    flat = cv2.warpPerspective(lab, to_source, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    mask = np.full(bgr.shape[:2], 255, np.uint8)
    for corners in hidden:
        middle = corners.mean(axis=0)
        cv2.fillConvexPoly(mask, np.round(middle + 1.12 * (corners - middle)).astype(np.int32), 0)
    mask = cv2.resize(mask, (source.shape[1], source.shape[0]), interpolation=cv2.INTER_NEAREST)
    seen = cv2.warpPerspective(mask, to_source, (width, height), flags=flags) > 200
    return Face(lab=np.asarray(flat), seen=np.asarray(seen), photo_from_face=photo_from_face)


def _part(face: Face, pitch: float, hidden: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Return the part of a face to read, in shares of its size: all of it, or so many courses about the reference."""
    size = np.array(face.seen.shape[::-1], dtype=float)
    share = np.minimum(_MOST_COURSES * pitch * np.array([1.4, 1.0]) / size, 1.0)
    middle = np.array([0.5, 0.5])
    if hidden:
        q = np.append(hidden[0].mean(axis=0), 1.0) @ np.linalg.inv(face.photo_from_face).T
        middle = q[:2] / q[2] / size
    low = np.clip(middle - share / 2, 0.0, 1.0 - share)
    return low, low + share


def _first_pitch(face: Face) -> tuple[float, float]:
    """Return the course height, px of the face, and how strongly rows repeat: the middle reading of upright bands."""
    import cv2

    light = face.lab[..., 0]
    edge = np.abs(cv2.Sobel(cv2.GaussianBlur(light, (0, 0), 0.8), cv2.CV_32F, 0, 1))
    even = edge / (cv2.GaussianBlur(edge, (0, 0), 30.0) + 0.3)
    h, w = face.seen.shape
    found = []
    for left in np.linspace(0, w, 7)[:-1].astype(int):
        box = slice(left, left + w // 6)
        count = face.seen[:, box].sum(axis=1)
        if (count > 0.5 * (w // 6)).sum() < 0.5 * h:
            continue
        profiles = []
        for layer in (np.minimum(even, 4.0), light):
            rows = (layer[:, box] * face.seen[:, box]).sum(axis=1) / np.maximum(count, 1)
            rows = np.where(count > 0, rows, rows[count > 0].mean() if (count > 0).any() else 0.0)
            profiles.append(fundamental_pitch(rows, low=max(7.0, h / 90.0), high=h / 4.0))
        found.append(max(profiles, key=lambda p: p[1]))
    if not found:
        return float(h) / 10.0, 0.0
    pitches, strengths = np.array(found).T
    votes = np.array([(strengths * (np.abs(np.log(pitches / p)) < 0.05)).sum() for p in pitches])
    best = pitches[int(votes.argmax())]
    near = np.abs(np.log(pitches / best)) < 0.05
    return float(np.average(pitches[near], weights=strengths[near] + 1e-6)), float(votes.max() / len(pitches))


def _lay(face: Face, courses: Courses, clearness: dict[str, float]) -> Pattern | None:
    pitch = courses.pitch_px
    seen = straighten(face.seen.astype(np.float32), courses.bed_y).mean(axis=1)
    evidence, line = _clearest_evidence(face, courses, seen)
    best: tuple[float, Module, list[CourseRow], bool] | None = None
    candidates = module_candidates(evidence, pitch)
    for i, module in enumerate(candidates):
        rows = lay_courses(evidence, seen, module)
        on_edge = i == len(candidates) - 1
        fit = fit_bonds(rows, on_edge=on_edge)
        score = sum(row.score for row in rows) + 0.5 * (max(fit.log_likelihood.values()) - fit.no_pattern)
        if best is None or score > best[0]:
            best = (score, module, rows, on_edge)
    if best is None:
        return None
    _, module, rows, on_edge = best
    fit = fit_bonds(rows, on_edge=on_edge)
    return Pattern(
        face=face,
        courses=courses,
        module=module,
        rows=rows,
        fit=fit,
        on_edge=on_edge,
        clearness=clearness
        | _clearness(courses, rows, evidence, seen, fit)
        | {"aligned": aligned_share(rows, module.stretcher_px), "joint_width": joint_width(line, rows, pitch)},
    )


def _clearest_evidence(face: Face, courses: Courses, seen: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the evidence for perpends from what shows them best (mortar's colour, dark or light lines), and that.

    Perpends of painted or raked joints catch the light otherwise than the beds do, so each is tried on its likeliest
    module and the one that explains most is kept.
    """
    pitch = courses.pitch_px
    even = evened_features(face.lab, face.seen, pitch)
    light = even[..., 0] / max(float(np.std(even[..., 0][face.seen])), 1e-6)
    best, chosen = -np.inf, (np.zeros_like(seen), np.zeros_like(seen))
    for layer in (courses.mortar, -light, light):
        line = course_lines(straighten(layer, courses.bed_y), pitch)
        evidence = joint_evidence(perpend_signal(line, pitch), seen)
        for module in module_candidates(evidence, pitch, count=1):
            rows = lay_courses(evidence, seen, module)
            score = sum(row.score for row in rows)
            if score > best:
                best, chosen = score, (evidence, line)
            if _covered(rows, seen) > _CLEAR_COVER and _at_joints(rows, evidence) > _CLEAR_JOINTS:
                return evidence, line
    return chosen


def _covered(rows: Sequence[CourseRow], seen: FloatArray) -> float:
    """Return the share of the seen face that whole bricks cover."""
    bricks = sum(float(np.diff(row.ends_px)[row.whole].sum()) for row in rows)
    return bricks / max(float((seen > 0.5).sum()), 1.0)


def _at_joints(rows: Sequence[CourseRow], evidence: FloatArray) -> float:
    """Return the mean evidence at the perpends that the courses use."""
    last = evidence.shape[1] - 1
    at = [float(evidence[k, min(int(e) - 1, last)]) for k, row in enumerate(rows) for e in row.ends_px[1:-1]]
    return float(np.mean(at)) if at else -3.0


def _clearness(
    courses: Courses, rows: Sequence[CourseRow], evidence: FloatArray, seen: FloatArray, fit: BondFit
) -> dict[str, float]:
    """Return how clear the lattice is: beds, share covered by whole bricks, evidence at perpends, gain over chance."""
    gain = (max(fit.log_likelihood.values()) - fit.no_pattern) / max(fit.bricks, 1)
    return {
        "beds": courses.strength,
        "covered": _covered(rows, seen),
        "joints": _at_joints(rows, evidence),
        "gain": gain,
        "bricks": float(fit.bricks),
        "courses": float(len(rows)),
    }


def readable(clearness: Mapping[str, float]) -> float:
    """Return the probability that there is a bond to read, from how clear the lattice is.

    Perpends that run on from course to course are no bond: boards, blocks stacked, or courses seen on their side.
    """
    if clearness["bricks"] < 12 or clearness["courses"] < 4:
        return 0.02
    z = 12.0 * (clearness["covered"] - 0.45) + 2.0 * (clearness["joints"] - 2.8) + 8.0 * (clearness["gain"] - 0.2)
    z -= 25.0 * max(clearness["aligned"] - 0.1, 0.0)
    return float(1.0 / (1.0 + np.exp(-np.clip(z, -30, 30))))
