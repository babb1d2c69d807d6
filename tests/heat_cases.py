"""Walls for the tests of heat and moisture (invented)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from estimator.inputs import Site, WallCase
from vision.walls import DeclaredFeature, DeclaredOpening, DeclaredWall, Measured, MeasuredOpening, MeasuredWall


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A construction as another room would judge it."""

    verdict: str
    probability: Mapping[str, float]


SOLID = Judged(verdict="solid_brick", probability={"solid_brick": 0.95, "cavity_empty": 0.05})
UNSURE = Judged(verdict="unknown", probability={"solid_brick": 0.55, "cavity_empty": 0.43, "stone": 0.02})


def measured(value: float, sd: float = 4.0) -> Measured:
    """Return a measured value."""
    return Measured(value=value, sd=sd)


def window(name: str = "w1", *, thickness_mm: float | None = None) -> MeasuredOpening:
    """Return a window with a 130 mm reveal."""
    return MeasuredOpening(
        id=name,
        kind="window",
        width_mm=measured(1200),
        height_mm=measured(1250),
        left_mm=measured(1300),
        sill_mm=measured(900),
        reveal_depth_mm=measured(130),
        outer_reveal_mm=measured(30),
        thickness_mm=None if thickness_mm is None else measured(thickness_mm),
    )


def wall_case(
    name: str = "north",
    *,
    site: Site | None = None,
    width_mm: float | None = 4000.0,
    area_m2: float | None = 8.0,
    thickness_mm: float | None = None,
    openings: bool = True,
    features: tuple[str, ...] = (),
    taped: Mapping[str, float] | None = None,
    **declared: object,
) -> WallCase:
    """Return a wall of a back room, 1908, with a window and whatever is asked for."""
    opening = (window(thickness_mm=thickness_mm),) if openings else ()
    given: dict[str, object] = {"room": "back", "built": 1908, "line": True, "faces": "outside"} | declared
    return WallCase(
        measured=MeasuredWall(
            id=name,
            width_mm=None if width_mm is None else measured(width_mm),
            width_bottom_mm=None,
            width_top_mm=None,
            height_mm=measured(2400),
            height_left_mm=None,
            height_right_mm=None,
            gross_area_m2=None if area_m2 is None else measured(area_m2 + 1.5, 0.03),
            net_area_m2=None if area_m2 is None else measured(area_m2, 0.03),
            openings=opening,
        ),
        declared=DeclaredWall(
            id=name,
            openings=tuple(DeclaredOpening(id=o.id, frame_mm=70, visible_frame_mm=44) for o in opening),
            features=tuple(DeclaredFeature(id=f"{kind}-1", kind=kind) for kind in features),
            taped=taped or {},
            **given,  # type: ignore[arg-type]
        ),
        site=site or Site(region="thames", heating="gas_boiler", exposure_zone=2),
    )
