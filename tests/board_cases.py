"""A small survey in memory for the tests of boards, order and estimate: a back room with a window."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from estimator.inputs import Room, Site, WallCase
from vision.walls import DeclaredOpening, DeclaredWall, Measured, MeasuredFeature, MeasuredOpening, MeasuredWall

SITE = Site(
    region="east_anglia", heating="gas_boiler", listed=False, exposure_zone=2, damp="none_seen", joists="parallel",
    textured_coating=False, occupancy="normal",
)  # fmt: skip


def known(value: float, sd: float = 3.0) -> Measured:
    """Return a value with its uncertainty."""
    return Measured(value=value, sd=sd)


def window(
    name: str = "w1", left: float = 1400, width: float = 1200, sill: float = 900, height: float = 1200, **more: object
) -> MeasuredOpening:
    """Return a window with a reveal of 130 mm and 60 mm of frame in sight."""
    opening = MeasuredOpening(
        id=name, kind="window", width_mm=known(width), height_mm=known(height), left_mm=known(left),
        sill_mm=known(sill),
        reveal_depth_mm=known(130.0, 1.0), visible_frame_mm=60.0,
    )  # fmt: skip
    return replace(opening, **more)  # type: ignore[arg-type]


def feature(name: str, kind: str, left: float, bottom: float, width: float, height: float) -> MeasuredFeature:
    """Return a feature."""
    return MeasuredFeature(
        id=name, kind=kind, left_mm=known(left), bottom_mm=known(bottom), width_mm=known(width), height_mm=known(height)
    )


def wall(
    name: str = "north", width: float = 4000, height: float = 2400, *, openings: tuple[MeasuredOpening, ...] = (),
    features: tuple[MeasuredFeature, ...] = (), sd: float = 3.0,
) -> MeasuredWall:  # fmt: skip
    """Return a measured wall with independent sizes."""
    keys = ["width_bottom_mm", "width_top_mm", "height_left_mm", "height_right_mm"]
    keys += [f"openings.{o.id}.{k}" for o in openings for k in ("width_mm", "height_mm", "left_mm", "sill_mm")]
    net = width * height - sum(o.width_mm.value * o.height_mm.value for o in openings if o.width_mm and o.height_mm)
    w, h = known(width, sd), known(height, sd)
    return MeasuredWall(
        id=name, width_mm=w, width_bottom_mm=w, width_top_mm=w, height_mm=h, height_left_mm=h, height_right_mm=h,
        gross_area_m2=known(width * height / 1e6, 0.02), net_area_m2=known(net / 1e6, 0.02), openings=openings,
        features=features, keys=tuple(keys), covariance_mm2=np.eye(len(keys)) * sd**2,
    )  # fmt: skip


def case(measured: MeasuredWall, *, site: Site = SITE, taped: bool = True, **declared: object) -> WallCase:
    """Return a wall case; ``taped`` says that a tape has been used somewhere on it."""
    openings = tuple(
        DeclaredOpening(id=o.id, kind=o.kind, frame_mm=70.0, visible_frame_mm=60.0) for o in measured.openings
    )
    wanted: dict[str, object] = {
        "built": 1908,
        "room": "back",
        "openings": openings,
        "taped": {"height_mm": 2400.0} if taped else {},
    }
    return WallCase(measured=measured, declared=DeclaredWall(id=measured.id, **(wanted | declared)), site=site)  # type: ignore[arg-type]


NORTH = wall(
    openings=(window(),),
    features=(
        feature("s1", "socket", 500, 300, 146, 86), feature("rad", "radiator", 1500, 150, 1000, 600),
    ),
)  # fmt: skip
BACK = Room(id="back", floor_area_m2=11.8, walls=("north", "east"))


def back_room() -> list[WallCase]:
    """Return the two walls of the back room."""
    return [case(NORTH), case(wall("east", 3600))]
