"""The wall's outline and openings before anybody has pressed a point: proposals, never measurements.

A reference gives the wall's plane and scale, the room's straight edges its directions; seen square-on, the wall is then
the rectangle around the references whose four sides show as edges over their whole length, end at its corners, and
from whose corners the neighbouring walls' edges run towards the viewer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.proposed_openings import find_openings
from vision.proposed_plates import MM_PER_PX as PLATES_MM_PER_PX
from vision.proposed_plates import find_plates
from vision.room_axes import (
    RoomAxes,
    off_references,
    plane_from,
    plane_pixels,
    plane_units,
    room_axes,
    starts_from,
    straight_segments,
)
from vision.square_on import Box, EdgeMaps, SquareOn, edge_maps, side_share, square_on
from vision.walls import CORNERS, FloatArray, GreyImage, Mark, Photo, Sighting

MARK_SD_SHARE = 0.002
"""Standard uncertainty of a proposed corner over the photo's longer side: 8 px at 12 megapixels (from the study)."""
HEIGHT_MM = (2400.0, 350.0)
"""Ceiling height and its spread in British houses, mm (common practice, no source)."""
WIDTH_RANGE_MM = (900.0, 12_000.0)
HEIGHT_RANGE_MM = (1800.0, 4500.0)
SAME_TRACE = 1.0 + 2.0 * float(np.cos(np.radians(0.6)))
"""Trace of the turn between two rotations that are the same to 0.6 degrees."""
MOST_CANDIDATES = 14
BEYOND_MM = 350.0
MARGIN_MM = 40.0
LEAST_SCORE = 2.6
"""Least score of an outline that is offered at all, of about 6 (from the study)."""
SURE_SCORE = 3.6
"""Score above which the room's directions are not looked for again from its long edges alone (from the study)."""
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
    long = segments[np.hypot(*(segments[:, 2:] - segments[:, :2]).T) > LONG_SEGMENT * max(grey.shape)]
    best: Proposal | None = None
    tried: list[FloatArray] = []
    for chosen in (segments, long):
        for start in (start for seen in largest[:2] for start in starts_from(seen, photo)):
            axes = room_axes(chosen, photo, start)
            if any(np.trace(axes.rotation.T @ other) > SAME_TRACE for other in tried):
                continue
            tried.append(axes.rotation)
            found = _propose(grey, largest, axes)
            if found is not None and (best is None or found.score > best.score):
                best = found
        if best is not None and best.score > SURE_SCORE:
            break
    return best


def _extent_px(sighting: Sighting) -> float:
    return float(np.ptp(sighting.corners_px, axis=0).max())


def _propose(grey: GreyImage, sightings: Sequence[Sighting], axes: RoomAxes) -> Proposal | None:
    photo = axes.photo
    scaled = plane_from(sightings, photo, axes.rotation)
    if scaled is None or not 200.0 < scaled[0] < 30_000.0:
        return None
    unit_mm, places = scaled
    view = square_on(grey, photo, axes.rotation, unit_mm, about_mm=places * unit_mm)
    maps = edge_maps(view)
    inner = _inner_box(places * unit_mm)
    rays = _corner_rays(axes, photo, unit_mm)
    found = _best_outline(view, maps, inner, rays)
    if found is None:
        return None
    score, box = found
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


def _corner_rays(axes: RoomAxes, photo: Photo, unit_mm: float) -> FloatArray:
    """Return the edges that run towards the viewer as inner and outer end, x0, y0, x1, y1 (n, 4) mm, square-on."""
    towards = axes.segments_px[axes.axis == 2]
    if not len(towards):
        return np.zeros((0, 4))
    ends = np.stack(
        [plane_units(towards[:, :2], photo, axes.rotation), plane_units(towards[:, 2:], photo, axes.rotation)]
    )
    ends = ends * unit_mm
    radius = np.linalg.norm(ends, axis=2)
    usable = np.isfinite(radius).all(axis=0)
    ends, radius = ends[:, usable], radius[:, usable]
    inner = np.where((radius[0] <= radius[1])[:, None], ends[0], ends[1])
    outer = np.where((radius[0] <= radius[1])[:, None], ends[1], ends[0])
    return np.hstack([inner, outer])


def _best_outline(view: SquareOn, maps: EdgeMaps, inner: Box, rays: FloatArray) -> tuple[float, Box] | None:
    """Return the score and box of the best rectangle around the references."""
    lefts = _candidates(maps.upright, view.x_mm, below=inner[0] - MARGIN_MM)
    rights = _candidates(maps.upright, view.x_mm, above=inner[2] + MARGIN_MM)
    floors = _candidates(maps.level.T, view.y_mm, below=inner[1] - MARGIN_MM)
    ceilings = _candidates(maps.level.T, view.y_mm, above=inner[3] + MARGIN_MM)
    if min(len(lefts), len(rights), len(floors), len(ceilings)) == 0:
        return None
    x, y = view.x_mm, view.y_mm
    left, floor, right, ceiling = np.ix_(lefts, floors, rights, ceilings)
    reach = max(2, round(BEYOND_MM / view.mm_per_px))
    width, height = x[right] - x[left], y[ceiling] - y[floor]
    score = (
        side_share(maps.upright, maps.seen, left, floor, ceiling, reach)
        + side_share(maps.upright, maps.seen, right, floor, ceiling, reach)
        + side_share(maps.level.T, maps.seen.T, floor, left, right, reach)
        + side_share(maps.level.T, maps.seen.T, ceiling, left, right, reach)
        + 0.5 * _ray_support(rays, x[left], y[floor])
        + 0.5 * _ray_support(rays, x[right], y[floor])
        + 0.5 * _ray_support(rays, x[right], y[ceiling])
        + 0.5 * _ray_support(rays, x[left], y[ceiling])
        - 0.15 * ((height - HEIGHT_MM[0]) / HEIGHT_MM[1]) ** 2
    )
    allowed = _between(width, WIDTH_RANGE_MM) & _between(height, HEIGHT_RANGE_MM)
    if not allowed.any():
        return None
    best = np.unravel_index(int(np.argmax(np.where(allowed, score, -np.inf))), score.shape)
    box = (x[lefts[best[0]]], y[floors[best[1]]], x[rights[best[2]]], y[ceilings[best[3]]])
    return float(score[best]), (float(box[0]), float(box[1]), float(box[2]), float(box[3]))


def _between(size_mm: FloatArray, limits_mm: tuple[float, float]) -> NDArray[np.bool_]:
    return np.asarray((size_mm > limits_mm[0]) & (size_mm < limits_mm[1]))


def _candidates(
    edges: NDArray[np.float32], places: FloatArray, *, below: float = np.inf, above: float = -np.inf
) -> NDArray[np.int64]:
    """Return the lines (columns of ``edges``) that show most edge, strongest first, none beside a stronger one."""
    strength = edges.sum(axis=0).astype(np.float64)
    strength[(places > below) | (places < above)] = 0.0
    kept: list[int] = []
    while len(kept) < MOST_CANDIDATES:
        k = int(np.argmax(strength))
        if strength[k] <= 4.0:
            break
        kept.append(k)
        strength[max(k - 2, 0) : k + 3] = 0.0
    return np.array(kept, dtype=np.int64)


def _ray_support(rays: FloatArray, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
    """Return for each corner how far edges run from it towards the viewer, 0 to 1; the places broadcast."""
    x, y = np.broadcast_arrays(x_mm, y_mm)
    radius = np.hypot(x, y)
    support = np.zeros(x.shape)
    for x0, y0, x1, y1 in rays:
        direction = np.array([x1 - x0, y1 - y0])
        length = float(np.linalg.norm(direction))
        if length < 1.0:
            continue
        direction /= length
        off = (x - x0) * direction[1] - (y - y0) * direction[0]
        gap = (x0 - x) * direction[0] + (y0 - y) * direction[1]
        near = np.exp(-0.5 * (off / (25.0 + 0.01 * radius)) ** 2) * ((gap > -120.0) & (gap < 0.5 * radius))
        support += near * min(1.0, length / 900.0)
    return np.minimum(support, 1.0)
