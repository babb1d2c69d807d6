"""What the estimator is told about the house and the wish, beside the measured walls."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from vision.walls import DeclaredWall, Measured, MeasuredWall


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Answers about the house or one of its walls; None or "unknown" where nobody has said.

    ``exposure_zone`` is the wind-driven rain zone 1 to 4 of Approved Document C. ``damp``, ``joists``,
    ``textured_coating`` and ``occupancy`` are the person's words, as given in survey.json.
    """

    region: str | None = None
    nation: str = "england"
    heating: str | None = None
    listed: bool | None = None
    exposure_zone: int | None = None
    damp: str | bool | None = None
    joists: str | bool | None = None
    textured_coating: str | bool | None = None
    occupancy: str | None = None
    extra: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What the person has in mind; every field is a default that may be changed (invented default)."""

    insulation: str = "phenolic"
    insulation_mm: float = 50.0
    board_mm: float = 12.5
    fixing: str = "adhesive_dabs"
    target_u: float = 0.30


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A room: its floor area and its walls clockwise seen from above; None marks a gap between neighbours."""

    id: str
    floor_area_m2: float | None = None
    walls: tuple[str | None, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BondReading:
    """What an outside photo says of the brickwork.

    ``probability`` is over the bond names of the contract (``stretcher``, ``flemish``, ... ``none_to_read``).
    """

    photo: str
    bond: str
    probability: Mapping[str, float]
    course_height_mm: Measured | None = None
    header_share: Measured | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WallCase:
    """One wall with all that is known of it: as measured, as declared, its site answers and its bond readings.

    ``more_readings`` are lath readings, mm, of lengths that have been taped before, by result key.
    """

    measured: MeasuredWall
    declared: DeclaredWall
    site: Site
    bonds: tuple[BondReading, ...] = ()
    more_readings: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
