"""The wall's outline and openings before anybody has pressed a point: proposals, never measurements.

A reference gives the wall's plane and scale, the room's straight edges its directions; seen square-on, the wall is then
the rectangle around the references whose four sides show as edges over their whole length, end at its corners, and
from whose corners the neighbouring walls' edges run towards the viewer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.proposed_openings import find_openings
from vision.proposed_outline import best_outline, corner_rays
from vision.proposed_plates import MM_PER_PX as PLATES_MM_PER_PX
from vision.proposed_plates import find_plates
from vision.room_axes import (
    RoomAxes,
    alone,
    misfit_px,
    off_references,
    plane_from,
    plane_pixels,
    room_axes,
    starts_from,
    straight_segments,
)
from vision.square_on import Box, edge_maps, square_on
from vision.walls import CORNERS, FloatArray, GreyImage, Mark, Photo, Sighting

MARK_SD_SHARE = 0.002
"""Standard uncertainty of a proposed corner over the photo's longer side: 8 px at 12 megapixels (from the study)."""
SAME_TRACE = 1.0 + 2.0 * float(np.cos(np.radians(0.6)))
"""Trace of the turn between two rotations that are the same to 0.6 degrees."""
LEAST_SCORE = 2.6
"""Least score of an outline that is offered at all, of about 6 (from the study)."""
SURE_SCORE = 3.6
"""Score above which the room's directions are not looked for again from its long edges alone (from the study)."""
MISFIT_PX, MISFIT_TIMES = 0.5, 3.0
"""How much worse than under the best axes the references may fit, pixels and times (right axes are within, axes off by
more than 15 degrees nearly never, on rendered rooms)."""
LONG_SEGMENT = 0.1
"""Segments longer than this share of the picture are edges of the room rather than of one thing in it, which may hang
crooked and show dozens of parallel edges."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A wall as it seems to be in one photo: marks to be confirmed, with a score; higher is surer.

    ``outline_px`` (4, 2) runs bottom_left, bottom_right, top_right, top_left, and may lie outside the picture.
    """

    photo: str
    score: float
    outline_px: FloatArray
    openings_px: tuple[FloatArray, ...]
    width_mm: float
    height_mm: float
    features_px: tuple[tuple[str, FloatArray], ...] = ()
    """Sockets and switches: what each seems to be, and its corners (4, 2) in the same order."""

    def marks(self, *, wall: str, longer_side_px: float) -> tuple[Mark, ...]:
        """Return the proposal as marks of a wall, with a wide standard uncertainty."""
        sd = MARK_SD_SHARE * longer_side_px
        outline = [
            Mark(photo=self.photo, wall=wall, point=corner, px=(float(x), float(y)), sd_px=sd)
            for corner, (x, y) in zip(CORNERS, self.outline_px, strict=True)
        ]
        openings = [
            Mark(
                photo=self.photo,
                wall=wall,
                opening=f"w{number}",
                face="wall",
                point=corner,
                px=(float(x), float(y)),
                sd_px=sd,
            )
            for number, quad in enumerate(self.openings_px, start=1)
            for corner, (x, y) in zip(CORNERS, quad, strict=True)
        ]
        numbers: dict[str, int] = {}
        features = []
        for kind, quad in self.features_px:
            numbers[kind] = numbers.get(kind, 0) + 1
            features += [
                Mark(
                    photo=self.photo,
                    wall=wall,
                    feature=f"{kind}{numbers[kind]}",
                    point=corner,
                    px=(float(quad[k][0]), float(quad[k][1])),
                    sd_px=sd,
                )
                for k, corner in ((0, "bottom_left"), (2, "top_right"))
            ]
        return (*outline, *openings, *features)


def propose_marks(grey: GreyImage, *, photo: Photo, sightings: Sequence[Sighting]) -> Proposal | None:
    """Return the wall's outline and openings as they seem to be in one photo, or None where they do not show clearly.

    Parameters
    ----------
    grey
        (h, w) upright photo.
    photo
        The photo with its lens prior.
    sightings
        The references seen in it, all on the wall in question; without one there is no proposal.
    """
    largest = sorted((seen for seen in sightings if len(seen.points_px) >= 4), key=_extent_px, reverse=True)
    if not largest:
        return None
    segments = off_references(straight_segments(grey), sightings)
    if len(segments) < 4:
        return None
    weights = alone(segments, longer_side_px=max(grey.shape))
    long = np.hypot(*(segments[:, 2:] - segments[:, :2]).T) > LONG_SEGMENT * max(grey.shape)
    starts = [start for seen in largest[:2] for start in starts_from(seen, photo)]
    best: Proposal | None = None
    tried: list[FloatArray] = []
    for chosen in (np.ones(len(segments), dtype=bool), long):
        looks = [room_axes(segments[chosen], photo, start, weights=weights[chosen]) for start in starts]
        for axes, worse_px in _that_fit(looks, largest):
            if any(np.trace(axes.rotation.T @ other) > SAME_TRACE for other in tried):
                continue
            tried.append(axes.rotation)
            found = _propose(grey, largest, axes, worse_px)
            if found is not None and (best is None or found.score > best.score):
                best = found
        if best is not None and best.score > SURE_SCORE:
            break
    return best


def _that_fit(looks: Sequence[RoomAxes], sightings: Sequence[Sighting]) -> list[tuple[RoomAxes, float]]:
    """Return the axes under which the references keep their shapes, and how many pixels worse than under the best.

    A small sheet's picture allows two planes, one of which may run along another wall; its tags tell them apart, and
    two sheets seen at different distances tell more.
    """
    off_px = [misfit_px(sightings, axes.photo, axes.rotation) for axes in looks]
    least_px = min(off_px, default=0.0)
    most_px = MISFIT_PX + MISFIT_TIMES * least_px
    fits = [np.isfinite(off) and off <= most_px for off in off_px]
    return [(axes, off - least_px) for axes, off, good in zip(looks, off_px, fits, strict=True) if good]


def _extent_px(sighting: Sighting) -> float:
    return float(np.ptp(sighting.corners_px, axis=0).max())


def _propose(grey: GreyImage, sightings: Sequence[Sighting], axes: RoomAxes, worse_px: float) -> Proposal | None:
    photo = axes.photo
    scaled = plane_from(sightings, photo, axes.rotation)
    if scaled is None or not 200.0 < scaled[0] < 30_000.0:
        return None
    unit_mm, places = scaled
    view = square_on(grey, photo, axes.rotation, unit_mm, about_mm=places * unit_mm)
    maps = edge_maps(view)
    inner = _inner_box(places * unit_mm)
    rays = corner_rays(axes, photo, unit_mm)
    found = best_outline(view, maps, inner, rays)
    if found is None:
        return None
    score, box = found[0] - worse_px, found[1]
    if score < LEAST_SCORE:
        return None
    openings = find_openings(view, maps, box, inner)
    plates = _plates(grey, photo, axes.rotation, unit_mm, places * unit_mm, box, openings)
    return Proposal(
        photo=photo.file,
        features_px=plates,
        score=score,
        outline_px=_quad_px(box, photo, axes.rotation, unit_mm),
        openings_px=tuple(_quad_px(opening, photo, axes.rotation, unit_mm) for opening in openings),
        width_mm=box[2] - box[0],
        height_mm=box[3] - box[1],
    )


def _plates(
    grey: GreyImage,
    photo: Photo,
    rotation: FloatArray,
    unit_mm: float,
    places_mm: FloatArray,
    wall: Box,
    openings: Sequence[Box],
) -> tuple[tuple[str, FloatArray], ...]:
    """Return sockets and switches on the wall, each with its corners (4, 2) px."""
    fine = square_on(grey, photo, rotation, unit_mm, about_mm=places_mm, box=wall, mm_per_px=PLATES_MM_PER_PX)
    references = [_inner_box(corners) for corners in places_mm.reshape(-1, 4, 2)]
    found = find_plates(fine, wall, [*openings, *references])
    return tuple((plate.kind, _quad_px(plate.box, photo, rotation, unit_mm)) for plate in found)


def _inner_box(places_mm: FloatArray) -> Box:
    low, high = places_mm.min(axis=0), places_mm.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _quad_px(box: Box, photo: Photo, rotation: FloatArray, unit_mm: float) -> FloatArray:
    x0, y0, x1, y1 = box
    return plane_pixels(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) / unit_mm, photo, rotation)
