"""The records that pass between rooms: what was declared, what was marked or seen, and what was measured.

Wall frame: X to the right along the wall, Y up, Z out of the wall towards the viewer, millimetres, origin at the
wall's bottom-left corner. Pixels: x right, y down in the upright photo, an integer is the centre of a pixel.
Quadrilaterals run bottom_left, bottom_right, top_right, top_left unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.findings import Finding

FloatArray = NDArray[np.float64]
GreyImage = NDArray[np.uint8]

CORNERS = ("bottom_left", "bottom_right", "top_right", "top_left")
SHEET_CORNERS = ("top_left", "top_right", "bottom_right", "bottom_left")
BONDS = (
    "stretcher",
    "flemish",
    "english",
    "english_garden",
    "flemish_garden",
    "header",
    "monk",
    "rat_trap",
    "none_to_read",
)
"""Bonds of brickwork, and that none can be read."""

ReferenceKind = Literal["survey_sheet", "id1_card", "a4", "rectangle"]
Face = Literal["wall", "frame"]
Point2 = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value with its standard uncertainty (JCGM 100), both in the unit of the name that holds it."""

    value: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """One photo as the measurement sees it: size, lens prior, no pixels.

    ``phone`` groups photos that share a lens. ``focal_px`` has the relative standard uncertainty ``focal_rel_sd``;
    the principal point is the picture's middle, give or take ``centre_sd_px``. ``turn`` counts the quarter turns
    clockwise that brought the stored pixels upright (EXIF orientation 1, 6, 3, 8 is 0, 1, 2, 3); None when nobody knows
    how the sensor was held. ``k1_sd`` and ``k2_sd`` say how far from none the lens's radial distortion may be; the
    defaults suit the main camera of a phone, whose pictures leave it nearly undone.
    """

    file: str
    width_px: int
    height_px: int
    phone: str
    focal_px: float
    focal_rel_sd: float = 0.03
    centre_sd_px: float = 20.0
    turn: int | None = 0
    k1_sd: float = 0.02
    k2_sd: float = 0.01
    purpose: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One pressed point in one photo. Exactly one of wall corner, opening corner, feature corner, reference corner."""

    photo: str
    point: str
    px: Point2
    wall: str | None = None
    opening: str | None = None
    face: Face | None = None
    feature: str | None = None
    reference: str | None = None
    proud_mm: float = 0.0
    sd_px: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DeclaredReference:
    """A reference as declared: its kind, size with tolerance, and the wall it is fixed to.

    For a survey sheet ``width_mm`` and ``height_mm`` are the nominal 297 x 210 rectangle and ``scale_rel_sd`` is the
    standard uncertainty of the print scale; ``scale`` is the print scale itself (bar reading / 250).
    For other kinds the sizes carry their own sd.
    """

    id: str
    kind: ReferenceKind
    wall: str | None
    width_mm: Measured
    height_mm: Measured
    number: int | None = None
    scale: float = 1.0
    scale_rel_sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A reference seen in one photo.

    ``model_mm`` (n, 2) are points on the reference (x right, y up from its middle, as printed) and ``points_px``
    (n, 2) where they were seen; ``sd_px`` (n,) per axis. ``bloom_px`` (n, 2) is how a point moves in the picture, in
    pixels, when edges spread by one pixel (zero where edge spread does not matter); ``spread_sd_px`` is how much spread
    may be left after the fit: a sheet's many edges show it, a single outline cannot.
    ``corners_px`` (4, 2) runs top_left, top_right, bottom_right, bottom_left of the reference as printed (sheet) or
    as seen in the upright photo (card, A4). ``confirmed`` is False for a proposal that must not set the scale.
    """

    reference: str
    kind: ReferenceKind
    photo: str
    model_mm: FloatArray
    points_px: FloatArray
    sd_px: FloatArray
    bloom_px: FloatArray
    corners_px: FloatArray
    number: int | None = None
    confirmed: bool = True
    print_scale: Measured | None = None
    spread_sd_px: float = 0.1
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeTrace:
    """Points found on one straight edge in one photo, for use as observations.

    ``edge`` names the edge: ``("wall", "bottom")``, or ``("w1/wall", "left")``, ``("w1/frame", "top")``.
    ``points_px`` (n, 2) on the edge, ``sd_px`` (n,) across it. ``proud_mm`` as for marks.
    """

    photo: str
    edge: tuple[str, str]
    points_px: FloatArray
    sd_px: FloatArray
    proud_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DeclaredOpening:
    """An opening as declared. Sizes typed by the person (mm) or None."""

    id: str
    kind: str = "window"
    frame_mm: float | None = None
    outer_reveal_mm: float | None = None
    visible_frame_mm: float | None = None
    taped: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class DeclaredFeature:
    """A thing on the wall: radiator, socket, switch, pipe, vent, ..."""

    id: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DeclaredWall:
    """A wall as declared in the survey."""

    id: str
    room: str | None = None
    side: Literal["inside", "outside"] = "inside"
    faces: str = "outside"
    line: bool = True
    built: int | None = None
    other_side_of: str | None = None
    taped: Mapping[str, float] = field(default_factory=dict)
    openings: tuple[DeclaredOpening, ...] = ()
    features: tuple[DeclaredFeature, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One source of uncertainty of a wall's sizes and its share of the variance (0 to 1)."""

    source: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Help:
    """One more photo or tape reading and what it would bring: the sd of the wall's width before and after, mm."""

    action: str
    key: str
    sd_before_mm: float
    sd_after_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredOpening:
    """An opening as measured; sizes in mm, None where not measured. ``front_mm`` is the outline on the plaster."""

    id: str
    kind: str
    width_mm: Measured | None
    height_mm: Measured | None
    left_mm: Measured | None
    sill_mm: Measured | None
    reveal_depth_mm: Measured | None
    outer_reveal_mm: Measured | None = None
    thickness_mm: Measured | None = None
    front_mm: tuple[Point2, ...] | None = None
    back_mm: tuple[Point2, ...] | None = None
    frame_mm: float | None = None
    visible_frame_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredFeature:
    """A feature as measured: its box in the wall frame, mm, None where not measured."""

    id: str
    kind: str
    left_mm: Measured | None
    bottom_mm: Measured | None
    width_mm: Measured | None
    height_mm: Measured | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredWall:
    """A wall as measured.

    ``thickness_mm`` is the whole thickness as read directly (tape or a photo of the edge), else None.
    ``outline_mm`` is the plaster quadrilateral bottom_left, bottom_right, top_right, top_left in the wall frame.
    ``keys`` names the rows of ``covariance_mm2`` (n, n), the joint covariance of the sizes: wall keys are plain
    (``width_bottom_mm``), opening and feature keys are ``openings.w1.width_mm``, ``features.s1.left_mm``.
    """

    id: str
    width_mm: Measured | None
    width_bottom_mm: Measured | None
    width_top_mm: Measured | None
    height_mm: Measured | None
    height_left_mm: Measured | None
    height_right_mm: Measured | None
    gross_area_m2: Measured | None
    net_area_m2: Measured | None
    openings: tuple[MeasuredOpening, ...] = ()
    features: tuple[MeasuredFeature, ...] = ()
    thickness_mm: Measured | None = None
    outline_mm: tuple[Point2, ...] | None = None
    keys: tuple[str, ...] = ()
    covariance_mm2: FloatArray | None = None
    limits: tuple[Cause, ...] = ()
    advice: tuple[Help, ...] = ()
    findings: tuple[Finding, ...] = ()
