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
)
from vision.bond_types import bond_probability, read_share
from vision.brick_pattern import Pattern, read_pattern, readable
from vision.brick_scale import brick_lengths, course_px, find_scale, turn_points
from vision.findings import Finding
from vision.walls import BONDS, FloatArray, Measured, Sighting

GUESSED_FOCAL = 0.85
"""Focal length as a share of the longer side where none is known: a phone's main camera (from memory)."""
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
    pattern, turned = read_pattern(bgr, focal, hidden), False
    if pattern is None or _may_lie_on_side(pattern.clearness):
        on_side = read_pattern(_quarter_turned(bgr), focal, [turn_points(c, bgr.shape[1]) for c in hidden])
        if on_side is not None and readable(on_side.clearness) > 0.8 and on_side.clearness["pitch"] > 0.5:
            pattern, turned = on_side, True
    if pattern is None:
        return _nothing(photo, 0.98, "no bed joints and perpends could be found")
    return _reading(pattern, photo=photo, sightings=sightings, turned=turned, width=bgr.shape[1])


def _may_lie_on_side(clearness: Mapping[str, float]) -> bool:
    """Return whether no bond shows and rows hardly repeat, or perpends run on through the courses as beds would."""
    return readable(clearness) < 0.5 and (clearness["pitch"] < 0.5 or clearness["aligned"] > 0.3)


def _quarter_turned(bgr: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.ascontiguousarray(np.rot90(bgr))


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


def _reading(
    pattern: Pattern, *, photo: str, sightings: Sequence[Sighting], turned: bool, width: int
) -> BrickworkReading:
    scale = find_scale(pattern, [s for s in sightings if s.confirmed], turned=turned, width=width)
    probability = bond_probability(pattern.fit, readable=readable(pattern.clearness))
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
    stretcher, header = brick_lengths(pattern)
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
        course_px=course_px(pattern),
        stretcher_courses_between=pattern.fit.period if bond in ("english", "english_garden") else None,
        courses_read=len(pattern.rows),
        bricks_read=pattern.fit.bricks,
        turned=turned,
        overlay=_overlay(pattern, turned=turned, width=width),
        findings=tuple(findings),
    )


def _weighed_by_size(
    probability: dict[str, float], pattern: Pattern, scale: tuple[Measured, Measured] | None
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


def _overlay(pattern: Pattern, *, turned: bool, width: int) -> tuple[OverlayShape, ...]:
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
