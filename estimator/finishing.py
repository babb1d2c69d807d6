"""The air and vapour line and the finish: every edge, box, pipe and joint sealed, or the plan is refused."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from estimator.faces import Face
from estimator.fixing import feature_box
from estimator.layout_records import RoomLayout
from estimator.outlines import Point
from vision.findings import Finding
from vision.walls import MeasuredFeature

PIERCING = (
    "socket",
    "switch",
    "data",
    "aerial",
    "light",
    "thermostat",
    "pipe",
    "water_pipe",
    "gas_pipe",
    "heating_pipe",
    "waste_pipe",
    "vent",
    "airbrick",
    "flue",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """One run of sealant or tape that keeps room air from the cold brick.

    ``edge`` names what it closes: ``ceiling``, ``floor``, ``left``, ``right``, ``opening <id>``, ``through <id>``,
    ``joint <n>``. ``line`` is its course in the wall frame, mm; ``closed`` says that the ends meet.
    """

    wall: str
    edge: str
    material: str
    line: tuple[Point, ...]
    closed: bool = False

    @property
    def length_m(self) -> float:
        """Length of the run, m."""
        ends = (*self.line[1:], self.line[0]) if self.closed else self.line[1:]
        return sum(math.dist(a, b) for a, b in zip(self.line, ends, strict=self.closed)) / 1000


def air_line(face: Face, layout: RoomLayout, *, features: Sequence[MeasuredFeature]) -> list[Seal]:
    """Return the seals of one wall: its four edges, each opening, each thing that goes through, each board joint."""
    foot = float(layout.foot_gaps_mm[face.wall])
    a, b = (0.0, foot), (float(face.width), foot)
    c, d = (float(face.width), float(face.height_right)), (0.0, float(face.height_left))
    seals = [
        Seal(wall=face.wall, edge=edge, material="sealant", line=line)
        for edge, line in (("floor", (a, b)), ("right", (b, c)), ("ceiling", (c, d)), ("left", (d, a)))
    ]
    for g in face.gaps:
        ring = (
            (float(g.left), float(g.bottom)),
            (float(g.right), float(g.bottom)),
            (float(g.right), float(g.top)),
            (float(g.left), float(g.top)),
        )
        through = g.bottom <= foot
        line = (ring[0], ring[3], ring[2], ring[1]) if through else ring
        seals.append(Seal(wall=face.wall, edge=f"opening {g.id}", material="sealant", line=line, closed=not through))
    for f in features:
        box = feature_box(f)
        if f.kind.strip().lower().replace(" ", "_") in PIERCING and box is not None:
            ring = (box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])
            seals.append(Seal(wall=face.wall, edge=f"through {f.id}", material="sealant", line=ring, closed=True))
    for n, joint in enumerate(j for j in layout.joints if j.wall == face.wall):
        seals.append(Seal(wall=face.wall, edge=f"joint {n}", material="tape", line=(joint.start, joint.end)))
    return seals


def open_edges(
    seals: Sequence[Seal], face: Face, layout: RoomLayout, *, features: Sequence[MeasuredFeature]
) -> list[Finding]:
    """Return a stop finding for every edge that the seals leave open; an empty list means that the air line is closed.

    Parameters
    ----------
    seals
        The plan to be judged, whoever made it.
    face, layout, features
        The wall, its boards and what goes through them.
    """
    have = {s.edge: s for s in seals if s.wall == face.wall and s.length_m > 0}
    doors = {f"opening {g.id}" for g in face.gaps if g.bottom <= layout.foot_gaps_mm[face.wall]}
    wanted = {"floor", "ceiling", "left", "right"} | {f"opening {g.id}" for g in face.gaps}
    wanted |= {
        f"through {f.id}"
        for f in features
        if f.kind.strip().lower().replace(" ", "_") in PIERCING and feature_box(f) is not None
    }
    wanted |= {f"joint {n}" for n, _ in enumerate(j for j in layout.joints if j.wall == face.wall)}
    rings = {e for e in wanted if e.startswith(("opening", "through"))} - doors
    left_open = [e for e in sorted(wanted) if e not in have or (e in rings and not have[e].closed)]
    return [
        Finding(
            code="B040",
            severity="stop",
            message=f"{face.wall}: the air line is open at {edge}.",
            remedy="Seal it: moist room air that reaches the cold brick behind the lining condenses there.",
            where={"wall": face.wall, "key": edge},
        )
        for edge in left_open
    ]
