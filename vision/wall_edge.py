"""The whole thickness of a wall from a photo of its edge: an open door or casement with a reference on the edge.

Two marks, ``edge_inner`` and ``edge_outer``, lie on the plane that the reference lies on. The reference gives that
plane's pose and scale; the distance of the marks is the thickness.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.findings import Finding
from vision.lens import normalised
from vision.pose import on_plane, planar_poses
from vision.problem import WallProblem
from vision.start import prior_lens
from vision.walls import DeclaredReference, FloatArray, Mark, Measured, Photo, Sighting

EDGE_POINTS = ("edge_inner", "edge_outer")
LEAN_SD = 0.02  # reference against the line of the marks, rad: laid by hand across a plastered edge; invented default
NOSE_SD_MM = 3.0  # where plaster and brick end, as a person sees it; common practice, no source


def edge_photos(marks: Sequence[Mark]) -> set[str]:
    """Return the photos that show a wall's edge."""
    return {m.photo for m in marks if m.point in EDGE_POINTS}


def _distance(photo: Photo, model_mm: FloatArray, points_px: FloatArray, ends_px: FloatArray) -> float | None:
    lens = prior_lens(photo)
    poses = planar_poses(model_mm, normalised(points_px, lens))
    if not poses:
        return None
    ends = on_plane(normalised(ends_px, lens), poses[0][0])
    return float(np.linalg.norm(ends[1] - ends[0]))


def _edge_in_photo(
    photo: Photo, marks: Sequence[Mark], sighting: Sighting, reference: DeclaredReference
) -> Measured | None:
    """Return the thickness in one photo with its uncertainty, by finite differences through the pose."""
    ends = np.array([next(m.px for m in marks if m.point == point) for point in EDGE_POINTS], dtype=float)
    sd_click = float(np.mean([m.sd_px for m in marks]))
    model = sighting.model_mm * reference.scale
    value = _distance(photo, model, sighting.points_px, ends)
    if value is None:
        return None
    variance = NOSE_SD_MM**2 + (value * LEAN_SD**2) ** 2
    scale_sd = reference.scale_rel_sd or reference.width_mm.sd / reference.width_mm.value
    variance += (value * scale_sd) ** 2

    def moved(points: FloatArray, where: FloatArray, picture: Photo) -> float:
        return (_distance(picture, model, points, where) or value) - value

    for i in range(2):
        for axis in range(2):
            shifted = ends.copy()
            shifted[i, axis] += 1.0
            variance += (moved(sighting.points_px, shifted, photo) * sd_click) ** 2
    for i in range(len(sighting.points_px)):
        for axis in range(2):
            shifted = sighting.points_px.copy()
            shifted[i, axis] += 0.5
            variance += (moved(shifted, ends, photo) * 2.0 * float(sighting.sd_px[i])) ** 2
    longer = replace(photo, focal_px=photo.focal_px * (1.0 + photo.focal_rel_sd))
    variance += moved(sighting.points_px, ends, longer) ** 2
    return Measured(value=value, sd=float(np.sqrt(variance)))


def edge_thickness(problem: WallProblem) -> tuple[Measured | None, list[Finding]]:
    """Return the wall's thickness read at its edge [mm], the weighted mean over photos, and findings.

    Parameters
    ----------
    problem
        The wall's records; photos with both ``edge_inner`` and ``edge_outer`` and a reference beside them are used.
    """
    photos = {p.file: p for p in problem.photos}
    references = {r.id: r for r in problem.references}
    found: list[Measured] = []
    findings: list[Finding] = []
    for file in sorted(edge_photos(problem.marks)):
        marks = [m for m in problem.marks if m.photo == file and m.point in EDGE_POINTS]
        seen = [s for s in problem.sightings if s.photo == file and s.reference in references and s.confirmed]
        where = {"photo": file, "wall": problem.wall.id}
        if {m.point for m in marks} != set(EDGE_POINTS):
            findings.append(Finding(
                code="M050", severity="warn", where=where | {"point": marks[0].point},
                message=f"{file}: only {marks[0].point} of the wall's edge is marked.",
                remedy="Mark both sides: edge_inner on the plaster, edge_outer on the outside face.",
            ))  # fmt: skip
        elif not seen or file not in photos:
            findings.append(Finding(
                code="M051", severity="warn", where=where,
                message=f"{file}: no reference lies across the wall's edge, so its thickness has no scale.",
                remedy="Hold a sheet or card flat across the edge, or tape the thickness.",
            ))  # fmt: skip
        else:
            one = _edge_in_photo(photos[file], marks, seen[0], references[seen[0].reference])
            if one is not None:
                found.append(one)
    if not found:
        return None, findings
    weights = np.array([m.sd**-2 for m in found])
    value = float(np.average([m.value for m in found], weights=weights))
    return Measured(value=value, sd=float(np.sqrt(1.0 / weights.sum()))), findings
