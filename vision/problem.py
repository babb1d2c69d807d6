"""One wall's problem as records: everything that is known about it before solving."""

from __future__ import annotations

from dataclasses import dataclass

from vision.walls import DeclaredReference, DeclaredWall, EdgeTrace, Mark, Photo, Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class WallProblem:
    """Everything that is known about one wall before solving: records only, no pictures."""

    wall: DeclaredWall
    photos: tuple[Photo, ...] = ()
    marks: tuple[Mark, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    references: tuple[DeclaredReference, ...] = ()
    edges: tuple[EdgeTrace, ...] = ()


def taped_lengths(wall: DeclaredWall) -> dict[str, float]:
    """Return the taped lengths of a wall and its openings by result key [mm]; thickness is not one of them."""
    taped = {key: value for key, value in wall.taped.items() if key != "thickness_mm"}
    for opening in wall.openings:
        taped.update({
            f"openings.{opening.id}.{key}": value for key, value in opening.taped.items()
            if key not in ("thickness_mm", "outer_reveal_mm")
        })  # fmt: skip
    return taped
