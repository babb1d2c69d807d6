"""How exact a wall will be, before anybody marks it: the same solution, with the marks and edges that are to come.

The covariance of a least-squares solution needs the places of the observations, not their errors; so it can be had
from where the corners and edges must lie (JCGM 102:2011, clause 6, propagation of uncertainty).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.measure import WallSolution, measure_wall
from vision.problem import WallProblem
from vision.walls import CORNERS, EdgeTrace, FloatArray, Mark, Photo

CLICK_SD_PX = 2.0
EDGE_SD_PX = 0.52
"""Standard uncertainty of a traced edge point, pixels, as the tracer states it for common walls (from the study)."""
EDGE_POINTS = 12
MARGIN_PX = 3.0
"""What lies nearer to the picture's rim is neither pressed nor traced, pixels."""
SIDES = {
    "bottom": ("bottom_left", "bottom_right"),
    "right": ("bottom_right", "top_right"),
    "top": ("top_left", "top_right"),
    "left": ("bottom_left", "top_left"),
}


def forecast(problem: WallProblem) -> WallSolution | None:
    """Return the solution to be expected once every photo of the wall is marked, or None without a first outline.

    Parameters
    ----------
    problem
        What is known so far: sightings, and marks made or proposed in at least one photo.

    Returns
    -------
    WallSolution
        Its uncertainties are the ones to expect; its values are those of the first outline, and its findings say what
        that outline, the sightings and the photos' lenses already contradict.
    """
    first = measure_wall(problem)
    if first.solution is None or first.measured.outline_mm is None:
        return None
    photos = {photo.file: photo for photo in problem.photos}
    marks: list[Mark] = []
    edges: list[EdgeTrace] = []
    for file in first.files:
        photo = photos[file]
        marks += _marks(first, photo, problem.wall.id)
        edges += _edges(first, photo)
    expected = replace(problem, marks=tuple(marks) or problem.marks, edges=tuple(edges))
    solved = measure_wall(expected, start=first)
    return replace(solved, findings=first.findings) if solved.solution is not None else first


def _corners(first: WallSolution) -> dict[str, FloatArray]:
    """Return the corners (2,) mm of the wall by name."""
    assert first.measured.outline_mm is not None
    return {corner: np.array(xy) for corner, xy in zip(CORNERS, first.measured.outline_mm, strict=True)}


def _inside(pixels: FloatArray, photo: Photo) -> np.ndarray:
    return (
        np.isfinite(pixels).all(axis=1)
        & (pixels >= MARGIN_PX).all(axis=1)
        & (pixels[:, 0] <= photo.width_px - 1 - MARGIN_PX)
        & (pixels[:, 1] <= photo.height_px - 1 - MARGIN_PX)
    )


def _marks(first: WallSolution, photo: Photo, wall: str) -> list[Mark]:
    """Return the marks that a person will make in a photo: every corner of wall and openings that it shows."""
    named = {("", corner): xy for corner, xy in _corners(first).items()}
    for opening in first.measured.openings:
        for corner, xy in zip(CORNERS, opening.front_mm or (), strict=False):
            named[opening.id, corner] = np.array(xy)
    world = np.array([[*xy, 0.0] for xy in named.values()])
    pixels = first.project(photo.file, world)
    marks = []
    for (name, corner), px, seen in zip(named, pixels, _inside(pixels, photo), strict=True):
        if seen:
            place = {"opening": name, "face": "wall"} if name else {}
            mark = Mark(photo=photo.file, wall=wall, point=corner, px=(float(px[0]), float(px[1])), sd_px=CLICK_SD_PX)
            marks.append(replace(mark, **place))  # type: ignore[arg-type]
    return marks


def _edges(first: WallSolution, photo: Photo) -> list[EdgeTrace]:
    """Return the traces that the wall's sides will give in a photo."""
    corners = _corners(first)
    traces = []
    for side, (start, end) in SIDES.items():
        share = np.linspace(0.03, 0.97, EDGE_POINTS)[:, None]
        line = corners[start] + share * (corners[end] - corners[start])
        pixels = first.project(photo.file, np.column_stack([line, np.zeros(len(line))]))
        seen = _inside(pixels, photo)
        if seen.sum() >= 4:
            sd = np.full(int(seen.sum()), EDGE_SD_PX)
            traces.append(EdgeTrace(photo=photo.file, edge=("wall", side), points_px=pixels[seen], sd_px=sd))
    return traces
