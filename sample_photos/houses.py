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


LOCK = House(
    folder="lock_cottage", title="Lock cottage, back room", wall="north", room="back", built=1908, seed=1908,
    corners=((0.0, 0.0), (3.8716, 0.0031), (3.8672, 2.6332), (-0.0042, 2.6287)), depth=3.45,
    skirting=0.018, skirting_height=0.168,
    opening=((1.3291, 0.8722), (2.5196, 0.8698), (2.5165, 2.1689), (1.3318, 2.1714)),
    opening_back=(1.3312, 0.8722, 2.5182, 2.1693),
    opening_outside=((1.3536, 0.8727), (2.5403, 0.8712), (2.5385, 2.1672), (1.3547, 2.1684)),
    reveal=0.130, frame=0.070, outer=0.030, visible_frame=0.044, lights=2,
    bond="flemish", course=0.0762, construction="solid_brick",
    site={"region": "east_anglia", "heating": "gas_boiler", "listed": False, "exposure_zone": 2, "damp": "none_seen",
          "joists": "parallel", "textured_coating": False, "occupancy": "normal"},
    design={"insulation": "phenolic", "insulation_mm": 50, "board_mm": 12.5, "fixing": "adhesive_dabs",
            "target_u": 0.30},
    features=(
        Feature(id="rad", kind="radiator", left=1.425, bottom=0.152, width=1.000, height=0.600, proud=0.102),
        Feature(id="s1", kind="socket", left=0.702, bottom=0.312, width=0.147, height=0.087, proud=0.009),
        Feature(id="s2", kind="socket", left=3.121, bottom=0.306, width=0.147, height=0.087, proud=0.009),
    ),
    references=(
        Reference(id="s17", kind="survey_sheet", number=17, centre=(0.441, 0.742), turn_deg=0.7),
        Reference(id="s18", kind="survey_sheet", number=18, centre=(3.372, 1.964), turn_deg=-0.9),
        Reference(id="s19", kind="survey_sheet", number=19, centre=(0.905, 1.342), turn_deg=0.5, side="outside"),
    ),
    shots=(
        Shot(file="IMG_0101.jpg", purpose="whole", at=(1.985, 1.44, 3.28), towards=(1.925, 1.275, 0), roll_deg=0.4,
             focal_change=0.0009, centre_change=(1.7, -2.1), taken="2026:10:03 10:31:07"),
        Shot(file="IMG_0102.jpg", purpose="oblique", at=(0.42, 1.56, 3.20), towards=(1.60, 1.27, 0), roll_deg=-0.6,
             focal_change=-0.0014, centre_change=(-2.4, 0.8), taken="2026:10:03 10:31:41"),
        Shot(file="IMG_0103.jpg", purpose="oblique", at=(3.47, 1.50, 3.22), towards=(2.28, 1.25, 0), roll_deg=0.7,
             focal_change=0.0004, centre_change=(3.0, 1.9), taken="2026:10:03 10:32:15"),
        Shot(file="IMG_0104.jpg", purpose="opening", at=(1.18, 1.52, 2.02), towards=(2.20, 1.42, 0), roll_deg=-0.5,
             portrait=True, focal_change=0.0017, centre_change=(-1.1, -2.6), taken="2026:10:03 10:33:02"),
        Shot(file="IMG_0105.jpg", purpose="outside", side="outside", at=(1.22, 1.47, 2.62), towards=(1.79, 1.36, 0),
             roll_deg=0.5, focal_change=-0.0008, centre_change=(0.9, 2.3), taken="2026:10:03 10:41:30"),
    ),
    equivalent_mm=25.0, focal_scale=1.0062, lens=(-0.0068, 0.0041), centre=(7.4, -5.2),
    handset=("Wayside", "Pocket Two"), focal_mm=5.43,
)

SIGNAL = House(
    folder="signal_house", title="Signal house, front bedroom", wall="west", room="bedroom", built=1961, seed=1961,
    corners=((0.0, 0.0), (4.1187, -0.0026), (4.1225, 2.3617), (0.0034, 2.3649)), depth=3.52,
    skirting=0.015, skirting_height=0.095,
    opening=((1.1487, 0.9214), (2.9615, 0.9239), (2.9637, 2.1228), (1.1455, 2.1196)),
    opening_back=(1.1474, 0.9226, 2.9593, 2.1208),
    opening_outside=((1.1585, 0.9218), (2.9694, 0.9235), (2.9716, 2.1215), (1.1604, 2.1202)),
    reveal=0.138, frame=0.062, outer=0.082, visible_frame=0.052, lights=3,
    bond="stretcher", course=0.0750, construction="cavity_empty",
    site={"region": "midlands", "heating": "gas_boiler", "listed": False, "exposure_zone": 3, "damp": "none_seen",
          "joists": "parallel", "textured_coating": False, "occupancy": "normal"},
    design={"insulation": "pir", "insulation_mm": 40, "board_mm": 12.5, "fixing": "adhesive_dabs", "target_u": 0.30},
    features=(
        Feature(id="rad", kind="radiator", left=1.452, bottom=0.148, width=1.200, height=0.600, proud=0.098),
        Feature(id="s1", kind="socket", left=0.655, bottom=0.442, width=0.147, height=0.087, proud=0.009),
        Feature(id="s2", kind="socket", left=3.402, bottom=0.446, width=0.147, height=0.087, proud=0.009),
    ),
    references=(
        Reference(id="p1", kind="a4", centre=(0.428, 1.518), turn_deg=-0.8),
        Reference(id="c1", kind="id1_card", centre=(3.648, 1.262), turn_deg=1.1),
        Reference(id="p2", kind="a4", centre=(0.842, 1.482), turn_deg=0.6, side="outside"),
    ),
    shots=(
        Shot(file="PIC_2207.jpg", purpose="whole", at=(2.10, 1.47, 3.43), towards=(2.058, 1.165, 0), roll_deg=-0.4,
             focal_change=0.0006, centre_change=(-1.5, 1.2), taken="2026:10:05 14:02:18"),
        Shot(file="PIC_2208.jpg", purpose="oblique", at=(0.55, 1.58, 3.40), towards=(1.78, 1.16, 0), roll_deg=0.8,
             focal_change=-0.0011, centre_change=(2.2, -0.7), taken="2026:10:05 14:02:55"),
        Shot(file="PIC_2209.jpg", purpose="opening", at=(3.18, 1.42, 1.78), towards=(2.10, 1.40, 0), roll_deg=-0.6,
             focal_change=0.0013, centre_change=(0.4, 3.1), taken="2026:10:05 14:03:44"),
        Shot(file="PIC_2210.jpg", purpose="outside", side="outside", at=(1.28, 1.50, 2.95), towards=(1.85, 1.40, 0),
             roll_deg=0.3, focal_change=-0.0005, centre_change=(-2.0, -1.4), taken="2026:10:05 14:12:09"),
    ),
    equivalent_mm=24.0, focal_scale=0.9931, lens=(0.0094, -0.0122), centre=(-6.1, 8.8),
    handset=("Fernside", "Lantern 4"), focal_mm=6.1,
)

HOUSES = {house.folder: house for house in (LOCK, SIGNAL)}
