"""What the two sample houses are: true sizes, openings, references, features and where the photographer stood.

Metres in the inside wall's frame: X right, Y up, Z out of the plaster towards the viewer, origin at the wall's
bottom-left corner. The outside face has its own frame, mirrored: see ``outside_point``. Every size here is an invented
default of the sample, chosen to be ordinary for a house of its year.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Point = tuple[float, float]
Quad = tuple[Point, Point, Point, Point]  # bottom_left, bottom_right, top_right, top_left
CORNER_KEYS = ("bl", "br", "tr", "tl")
CORNER_NAMES = {"bl": "bottom_left", "br": "bottom_right", "tr": "top_right", "tl": "top_left"}
CARD_MM = (85.60, 53.98)
SHEET_MM = (297.0, 210.0)
Kind = Literal["survey_sheet", "id1_card", "a4"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A flat thing of known size on a wall; ``side`` says on which face, in that face's own frame."""

    id: str
    kind: Kind
    centre: Point
    turn_deg: float
    side: Literal["inside", "outside"] = "inside"
    number: int | None = None

    @property
    def proud(self) -> float:
        """How far its printed face stands in front of the wall, metres."""
        return 0.0010 if self.kind == "id1_card" else 0.0006

    @property
    def size(self) -> Point:
        """Width and height, metres."""
        w, h = CARD_MM if self.kind == "id1_card" else SHEET_MM
        return w / 1000, h / 1000

    def corners(self) -> FloatArray:
        """(4, 3) corners, metres, in the order bl, br, tr, tl."""
        w, h = self.size
        a = np.radians(self.turn_deg)
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        flat = np.array([(-w / 2, -h / 2), (w / 2, -h / 2), (w / 2, h / 2), (-w / 2, h / 2)]) @ turn.T + self.centre
        return np.column_stack([flat, np.full(4, self.proud)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """A box on the wall: lower left corner, size, and how far its face stands out, metres."""

    id: str
    kind: Literal["radiator", "socket"]
    left: float
    bottom: float
    width: float
    height: float
    proud: float

    def corners(self) -> FloatArray:
        """(4, 3) corners of its face, metres, in the order bl, br, tr, tl."""
        x0, y0, x1, y1, z = self.left, self.bottom, self.left + self.width, self.bottom + self.height, self.proud
        return np.array([(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One photo: where the camera was, what it looked at, and the small differences from shot to shot."""

    file: str
    purpose: str
    at: tuple[float, float, float]
    towards: tuple[float, float, float]
    roll_deg: float
    side: Literal["inside", "outside"] = "inside"
    portrait: bool = False
    focal_change: float = 0.0
    centre_change: Point = (0.0, 0.0)
    taken: str = "2026:10:03 10:30:00"


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """A house with one measured wall, seen from both sides."""

    folder: str
    title: str
    wall: str
    room: str
    built: int
    seed: int
    corners: Quad
    depth: float
    skirting: float
    skirting_height: float
    opening: Quad  # plaster edges
    opening_back: tuple[float, float, float, float]  # x0, y0, x1, y1 where the reveal meets the frame
    opening_outside: Quad  # brick edges, in the outside frame
    reveal: float
    frame: float
    outer: float
    visible_frame: float
    lights: int
    bond: Literal["flemish", "stretcher"]
    course: float
    construction: str
    survey_extra: dict[str, object] = field(default_factory=dict)
    site: dict[str, object] = field(default_factory=dict)
    design: dict[str, object] = field(default_factory=dict)
    features: tuple[Feature, ...] = ()
    references: tuple[Reference, ...] = ()
    shots: tuple[Shot, ...] = ()
    equivalent_mm: float = 25.0
    focal_scale: float = 1.0
    lens: tuple[float, float] = (0.0, 0.0)
    centre: Point = (0.0, 0.0)
    handset: tuple[str, str] = ("", "")
    focal_mm: float = 5.0

    @property
    def total(self) -> float:
        """The whole wall's thickness, metres."""
        return self.reveal + self.frame + self.outer

    @property
    def width(self) -> float:
        """Nominal width: where the outside frame's origin lies, metres."""
        return self.corners[1][0]


def outside_point(house: House, x: float, y: float, z: float) -> tuple[float, float, float]:
    """A point of the inside frame in the outside frame (the same rule turns it back)."""
    return house.width - x, y, -house.total - z


def frame_rectangle_outside(house: House) -> tuple[float, float, float, float]:
    """The frame's rectangle as the outside frame sees it."""
    x0, y0, x1, y1 = house.opening_back
    return house.width - x1, y0, house.width - x0, y1
