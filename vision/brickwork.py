"""Bond, gauge and headers of a brick face from one outside photo, with or without something of known size in it.

The face is squared up from its own right angles, its bed joints are found as a lattice of equal courses, its perpends
decide the bricks of each course, and the pattern of stretchers and headers decides the bond. Painted, rendered,
tile-hung or pebble-dashed faces give ``none_to_read``. Only what shows is read: bond alone proves no construction.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.bond_lattice import (
    BLANK,
    HEADER,
    OTHER,
    STRETCHER,
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
from vision.bond_types import BONDS, BondFit, bond_probability, fit_bonds, read_share
from vision.brick_courses import (
    FACE_COURSE_PX,
    Courses,
    bed_row,
    bed_steps,
    evened_features,
    find_courses,
    fundamental_pitch,
    straighten,
)
from vision.brick_plane import face_extent, find_plane, pixel_from_face
from vision.findings import Finding
from vision.walls import FloatArray, Measured, Sighting

GUESSED_FOCAL = 0.85
"""Focal length as a share of the longer side where none is known: a phone's main camera (from memory)."""
_PLANE_PX = 1100
_MOST_COURSES = 44
_BRICK_MM = (190.0, 270.0)
"""Stretcher with one joint: bricks of 200 to 250 mm (histories of brick sizes), a little either way."""
_COURSE_MM = (45.0, 130.0)
"""Course heights, thin old bricks to bricks on edge (histories of brick sizes), a little either way."""
_KINDS: dict[int, Literal["stretcher", "header", "other"]] = {STRETCHER: "stretcher", HEADER: "header", OTHER: "other"}


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlayShape:
    """A line or brick to draw over the upright photo, so that a person can check the reading by eye.

    ``points_px`` (n, 2); a ``bed`` is an open line, a brick a closed quadrilateral.
    """

    kind: Literal["bed", "stretcher", "header", "other"]
    points_px: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class BrickworkReading:
    """What one outside photo says of the brickwork.

    Parameters
    ----------
    bond
        The likeliest of the contract's bonds; ``none_to_read`` where no bond shows or none is sure enough.
    probability
        Over all bonds and ``none_to_read``; adds to one.
    course_height_mm
        Height of a course with its joint [mm]; None without a scale in the photo.
    header_share
        Headers as a share of all bricks, by count; from the pattern, where it was recognised.
    counted_header_share
        The same as counted in the part that shows.
    stretcher_mm, header_mm
        Length on the face with one joint [mm]; None without a scale.
    stretcher_courses, header_courses
        The same lengths in course heights; need no scale.
    course_px
        Course height in the middle of the reading, in pixels of the upright photo.
    stretcher_courses_between
        Stretcher courses to one header course, in English and English garden wall bond.
    turned
        The courses run up the picture: the photo lies on its side.
    """

    photo: str
    bond: str
    probability: Mapping[str, float]
    course_height_mm: Measured | None = None
    header_share: Measured | None = None
    counted_header_share: Measured | None = None
    stretcher_mm: Measured | None = None
    header_mm: Measured | None = None
    stretcher_courses: Measured | None = None
    header_courses: Measured | None = None
    course_px: float | None = None
    stretcher_courses_between: int | None = None
    courses_read: int = 0
    bricks_read: int = 0
    turned: bool = False
    overlay: tuple[OverlayShape, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Face:
    """The squared-up face: Lab picture, what is seen, and the homography from its pixels to those of the photo."""

    lab: FloatArray
    seen: NDArray[np.bool_]
    photo_from_face: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pattern:
    """The lattice as read: face, courses, module, rows, fit and how clear it all is."""

    face: _Face
    courses: Courses
    module: Module
    rows: list[CourseRow]
    fit: BondFit
    on_edge: bool
    clearness: Mapping[str, float]


def read_brickwork(
    picture: NDArray[np.uint8],
    *,
    photo: str,
    sightings: Sequence[Sighting] = (),
    focal_px: float | None = None,
) -> BrickworkReading:
    """Return the bond, the course height and the share of headers of the brick face in an outside photo.

    Parameters
    ----------
    picture
        Upright photo, grey (h, w) or BGR (h, w, 3), 8 bits.
    photo
        Its file name, for messages.
    sightings
        References of known size seen in this photo; confirmed ones set the scale. None is needed for the bond.
    focal_px
        Focal length in pixels of the photo; guessed where it is not known.

    Returns
    -------
    BrickworkReading
        ``none_to_read`` rather than a doubtful bond.

    Raises
    ------
    ValueError
        When the picture is not an 8-bit grey or BGR picture.

    Notes
    -----
    Not modelled: lens distortion, curved walls, two bonds in one photo. The standard uncertainty of lengths leaves
    out the print scale of a sheet whose bar was not measured.
    """
    if picture.dtype != np.uint8 or picture.ndim not in (2, 3) or (picture.ndim == 3 and picture.shape[2] != 3):
        raise ValueError(f"{photo}: expected an 8-bit grey or BGR picture, got {picture.dtype} {picture.shape}.")
    bgr = np.repeat(picture[..., None], 3, axis=2) if picture.ndim == 2 else picture
    hidden = [s.corners_px for s in sightings]
    focal = focal_px if focal_px is not None else GUESSED_FOCAL * max(bgr.shape[:2])
    pattern, turned = _read_pattern(bgr, focal, hidden), False
    if pattern is None or (_readable(pattern.clearness) < 0.5 and pattern.clearness["pitch"] < 0.5):
        on_side = _read_pattern(_quarter_turned(bgr), focal, [_turn_points(c, bgr.shape[1]) for c in hidden])
        if on_side is not None and _readable(on_side.clearness) > 0.8 and on_side.clearness["pitch"] > 0.5:
            pattern, turned = on_side, True
    if pattern is None:
        return _nothing(photo, 0.98, "no bed joints and perpends could be found")
    return _reading(pattern, photo=photo, sightings=sightings, turned=turned, width=bgr.shape[1])


def _quarter_turned(bgr: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.ascontiguousarray(np.rot90(bgr))


def _turn_points(points: FloatArray, width: int) -> FloatArray:
    """Return where points (n, 2) of a picture of that width lie in the picture turned by a quarter."""
    return np.column_stack([points[:, 1], width - 1 - points[:, 0]])


def _turn_back(points: FloatArray, width: int) -> FloatArray:
    return np.column_stack([width - 1 - points[:, 1], points[:, 0]])


def _nothing(photo: str, sure: float, why: str) -> BrickworkReading:
    rest = (1.0 - sure) / (len(BONDS) - 1)
    return BrickworkReading(
        photo=photo,
        bond="none_to_read",
        probability=dict.fromkeys(BONDS[:-1], rest) | {"none_to_read": sure},
        findings=(_no_bond_finding(photo, why),),
    )


def _no_bond_finding(photo: str, why: str) -> Finding:
    return Finding(
        code="C101",
        severity="note",
        message=f"{photo}: no brick bond to read: {why}.",
        remedy=(
            "If the outside is bare brick, photograph about ten courses square on in even light, from 1.5 to 2 m, "
            "without plants or pipes; if it is rendered, painted over or tiled, answer so instead."
        ),
        where={"photo": photo},
    )


def _read_pattern(bgr: NDArray[np.uint8], focal: float, hidden: Sequence[FloatArray]) -> _Pattern | None:
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
) -> _Face:
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
    return _Face(lab=np.asarray(flat), seen=np.asarray(seen), photo_from_face=photo_from_face)


def _part(face: _Face, pitch: float, hidden: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Return the part of a face to read, in shares of its size: all of it, or so many courses about the reference."""
    size = np.array(face.seen.shape[::-1], dtype=float)
    share = np.minimum(_MOST_COURSES * pitch * np.array([1.4, 1.0]) / size, 1.0)
    middle = np.array([0.5, 0.5])
    if hidden:
        q = np.append(hidden[0].mean(axis=0), 1.0) @ np.linalg.inv(face.photo_from_face).T
        middle = q[:2] / q[2] / size
    low = np.clip(middle - share / 2, 0.0, 1.0 - share)
    return low, low + share


def _first_pitch(face: _Face) -> tuple[float, float]:
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


def _lay(face: _Face, courses: Courses, clearness: dict[str, float]) -> _Pattern | None:
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
    return _Pattern(
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


def _clearest_evidence(face: _Face, courses: Courses, seen: FloatArray) -> tuple[FloatArray, FloatArray]:
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
            score = sum(row.score for row in lay_courses(evidence, seen, module))
            if score > best:
                best, chosen = score, (evidence, line)
    return chosen


def _clearness(
    courses: Courses, rows: Sequence[CourseRow], evidence: FloatArray, seen: FloatArray, fit: BondFit
) -> dict[str, float]:
    """Return how clear the lattice is: beds, share covered by whole bricks, evidence at perpends, gain over chance."""
    covered = sum(
        float(row.ends_px[i + 1] - row.ends_px[i]) for row in rows for i, kind in enumerate(row.kinds) if row.whole[i]
    )
    at_joints = [
        float(evidence[k, min(int(e) - 1, evidence.shape[1] - 1)])
        for k, row in enumerate(rows)
        for e in row.ends_px[1:-1]
    ]
    gain = (max(fit.log_likelihood.values()) - fit.no_pattern) / max(fit.bricks, 1)
    return {
        "beds": courses.strength,
        "covered": covered / max(float((seen > 0.5).sum()), 1.0),
        "joints": float(np.mean(at_joints)) if at_joints else -3.0,
        "gain": gain,
        "bricks": float(fit.bricks),
        "courses": float(len(rows)),
    }


def _readable(clearness: Mapping[str, float]) -> float:
    """Return the probability that there is a bond to read, from how clear the lattice is."""
    if clearness["bricks"] < 12 or clearness["courses"] < 4:
        return 0.02
    z = 12.0 * (clearness["covered"] - 0.45) + 2.0 * (clearness["joints"] - 2.8) + 8.0 * (clearness["gain"] - 0.2)
    return float(1.0 / (1.0 + np.exp(-np.clip(z, -30, 30))))


def _reading(
    pattern: _Pattern, *, photo: str, sightings: Sequence[Sighting], turned: bool, width: int
) -> BrickworkReading:
    scale = _scale(pattern, [s for s in sightings if s.confirmed], turned=turned, width=width)
    probability = bond_probability(pattern.fit, readable=_readable(pattern.clearness))
    probability = _weighed_by_size(probability, pattern, scale)
    bond = max(probability, key=lambda name: probability[name])
    if bond == "none_to_read" or probability[bond] < 0.5:
        return BrickworkReading(
            photo=photo,
            bond="none_to_read",
            probability=probability,
            turned=turned,
            findings=(_no_bond_finding(photo, "the pattern of joints is not clear enough"),),
        )
    by_pattern, counted = read_share(bond, pattern.rows, pattern.fit)
    stretcher, header = _lengths(pattern)
    findings = [] if scale is not None else [_no_scale_finding(photo)]
    if turned:
        findings.append(_turned_finding(photo))
    course_mm = scale[1] if scale is not None else None
    return BrickworkReading(
        photo=photo,
        bond=bond,
        probability=probability,
        course_height_mm=course_mm,
        header_share=by_pattern,
        counted_header_share=counted,
        stretcher_mm=_times(stretcher, scale[0]) if scale is not None else None,
        header_mm=_times(header, scale[0]) if scale is not None else None,
        stretcher_courses=_times(stretcher, Measured(value=1 / pattern.courses.pitch_px, sd=0.0)),
        header_courses=_times(header, Measured(value=1 / pattern.courses.pitch_px, sd=0.0)),
        course_px=_course_px(pattern),
        stretcher_courses_between=pattern.fit.period if bond in ("english", "english_garden") else None,
        courses_read=len(pattern.rows),
        bricks_read=pattern.fit.bricks,
        turned=turned,
        overlay=_overlay(pattern, turned=turned, width=width),
        findings=tuple(findings),
    )


def _weighed_by_size(
    probability: dict[str, float], pattern: _Pattern, scale: tuple[Measured, Measured] | None
) -> dict[str, float]:
    """Return the probability with what the size says: bricks, or hung tiles, blocks and boards.

    Hung tiles (about 165 x 100 mm showing) look like header bond and are about as common, so that without a scale
    header bond is never sure. With one, a stretcher with its joint is 190 to 270 mm, a course 45 to 130 mm.
    """
    kept = dict(probability)
    if scale is None:
        doubted = 0.4 * kept["header"]
        return kept | {"header": kept["header"] - doubted, "none_to_read": kept["none_to_read"] + doubted}
    stretcher = pattern.module.stretcher_px * scale[0].value
    if _BRICK_MM[0] <= stretcher <= _BRICK_MM[1] and _COURSE_MM[0] <= scale[1].value <= _COURSE_MM[1]:
        return kept
    low = {name: 0.05 * p for name, p in kept.items() if name != "none_to_read"}
    return low | {"none_to_read": 1.0 - sum(low.values())}


def _times(length: Measured | None, factor: Measured) -> Measured | None:
    if length is None:
        return None
    value = length.value * factor.value
    relative = np.hypot(length.sd / max(length.value, 1e-9), factor.sd / max(factor.value, 1e-9))
    return Measured(value=float(value), sd=float(value * relative))


def _lengths(pattern: _Pattern) -> tuple[Measured | None, Measured | None]:
    """Return stretcher and header length with one joint, px of the face, from the middle of the bricks read."""
    found: list[Measured | None] = []
    for wanted in (STRETCHER, HEADER):
        lengths = np.array(
            [
                row.ends_px[i + 1] - row.ends_px[i]
                for row in pattern.rows
                for i, kind in enumerate(row.kinds)
                if kind == wanted and row.whole[i]
            ]
        )
        if len(lengths) < 4:
            found.append(None)
            continue
        spread = max(float(np.std(lengths)), 0.5)
        found.append(Measured(value=float(np.mean(lengths)), sd=spread / float(np.sqrt(len(lengths)))))
    return found[0], found[1]


def _course_px(pattern: _Pattern) -> float:
    """Return the course height in the middle of the reading, px of the photo."""
    beds = pattern.courses.bed_y
    middle, column = len(beds) // 2, beds.shape[1] // 2
    ends = np.array([[column, beds[middle - 1, column], 1.0], [column, beds[middle, column], 1.0]])
    q = ends @ pattern.face.photo_from_face.T
    px = q[:, :2] / q[:, 2:]
    return float(np.hypot(*(px[1] - px[0])))


def _scale(
    pattern: _Pattern, sightings: Sequence[Sighting], *, turned: bool, width: int
) -> tuple[Measured, Measured] | None:
    """Return millimetres a pixel along the courses, and the course height in mm, from the references in the photo.

    The course height is taken at the reference, where the face's pixels and the reference's millimetres meet, so that
    what is left of the slope of the face does not matter.
    """
    along, height, weight = 0.0, 0.0, 0.0
    for sighting in sightings:
        points = _turn_points(sighting.points_px, width) if turned else sighting.points_px
        q = np.column_stack([points, np.ones(len(points))]) @ np.linalg.inv(pattern.face.photo_from_face).T
        face = q[:, :2] / q[:, 2:]
        model = np.asarray(sighting.model_mm, dtype=float)
        if len(model) < 3 or np.ptp(model, axis=0).min() < 10:
            continue
        k, x = _course_number(pattern, face.mean(axis=0))
        down, slope = bed_steps(pattern.courses.scale_at, k, x)
        columns = np.column_stack([face - face.mean(axis=0), np.ones(len(face))])
        affine = np.linalg.lstsq(columns, model, rcond=None)[0]
        residual = model - columns @ affine
        bed = affine[0] + slope / pattern.courses.bed_y.shape[1] * affine[1]
        across = float(np.linalg.norm(bed))
        course = down * affine[1]
        square = abs(float(bed[0] * course[1] - bed[1] * course[0])) / across
        print_scale = sighting.print_scale.value if sighting.print_scale is not None else 1.0
        w = float(np.ptp(model)) ** 2 / max(float((residual**2).mean()), 0.01)
        along += w * across * print_scale
        height += w * square * print_scale
        weight += w
    if weight <= 0:
        return None
    along, height = along / weight, height / weight
    relative = float(np.hypot(0.002, pattern.courses.pitch_sd_px / pattern.courses.pitch_px))
    relative = float(np.hypot(relative, 1.0 / np.sqrt(weight)))
    return Measured(value=along, sd=along * relative), Measured(value=height, sd=height * relative)


def _course_number(pattern: _Pattern, at: FloatArray) -> tuple[float, float]:
    """Return the bed joint number and the column share at a place of the face."""
    surface = pattern.courses.scale_at
    x = float(at[0] / pattern.courses.bed_y.shape[1])
    k = 0.0
    for _ in range(20):
        k += (float(at[1]) - float(bed_row(surface, k, x))) / bed_steps(surface, k, x)[0]
    return k, x


def _no_scale_finding(photo: str) -> Finding:
    return Finding(
        code="C102",
        severity="note",
        message=f"{photo}: the bond was read, but nothing of known size shows, so the course height is not in mm.",
        remedy="Photograph ten courses with a rule or survey sheet flat on the brick.",
        where={"photo": photo},
    )


def _turned_finding(photo: str) -> Finding:
    return Finding(
        code="C103",
        severity="note",
        message=f"{photo}: the courses run up the picture, so it was read turned by a quarter.",
        remedy="Check that the photo is the right way up.",
        where={"photo": photo},
    )


def _overlay(pattern: _Pattern, *, turned: bool, width: int) -> tuple[OverlayShape, ...]:
    beds = pattern.courses.bed_y
    shapes: list[OverlayShape] = []
    w = beds.shape[1]
    at = np.linspace(0, w - 1, 9)

    def to_photo(points: FloatArray) -> FloatArray:
        q = np.column_stack([points, np.ones(len(points))]) @ pattern.face.photo_from_face.T
        px = q[:, :2] / q[:, 2:]
        return _turn_back(px, width) if turned else px

    for bed in beds:
        shapes.append(
            OverlayShape(kind="bed", points_px=to_photo(np.column_stack([at, np.interp(at, np.arange(w), bed)])))
        )
    for k, row in enumerate(pattern.rows):
        for i, kind in enumerate(row.kinds):
            if int(kind) == BLANK:
                continue
            left, right = (float(np.clip(e, 0, w - 1)) for e in row.ends_px[i : i + 2])
            top, bottom = beds[k], beds[k + 1]
            corners = np.array(
                [
                    [left, top[int(left)]],
                    [right, top[int(right)]],
                    [right, bottom[int(right)]],
                    [left, bottom[int(left)]],
                ]
            )
            name = _KINDS[int(kind)] if row.whole[i] else "other"
            shapes.append(OverlayShape(kind=name, points_px=to_photo(corners)))
    return tuple(shapes)
