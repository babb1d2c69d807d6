"""A window board's nose taken for the opening's foot: seen from above the sill, it shows as a line just below it.

Where the plaster ends on the board's own top there is little to see; the board's front edge, some 10 to 50 mm nearer,
is the strong line, and it runs parallel. Two things tell it. A board runs on past the jambs (its horns, some 30 to
60 mm on either side; common practice, no source), where a foot of plaster leaves plain wall. And the presses and the
other photos know better, all together: each trace of the foot has a shift of its own, and a nose moves all of them the
way that each camera looks down on it.
"""

from __future__ import annotations

import numpy as np

from vision.corners import corner_xy
from vision.lens import project
from vision.linear_light import LINEAR_OF_CODE
from vision.model import EDGES
from vision.observe import edge_normals
from vision.solve import Solution
from vision.unknowns import shift_name
from vision.walls import EdgeTrace, FloatArray, GreyImage

NOSE_MM = 25.0
"""A usual overhang of the board's front in front of the plaster; common practice, no source. Only its sign matters."""
SURE = 2.0
"""Standard uncertainties towards the nose from which on the foot's traces are not believed: 2.3 % by chance."""
HORN_MM = ((7.0, 18.0), (18.0, 29.0))
"""Where past a jamb the board's horn is looked for, near half and far half (invented default)."""
ABOUT_MM = (-8.0, 45.0)
"""How far above and below the foot a board shows past the jambs: its top's far edge, its front's lower edge (invented
default)."""
SAME = 0.5
"""A step past the jamb of this share of the traced step, or more, makes the foot doubtful (invented default)."""
SIDE_PX = 4
"""How many pixels either side of a step are read (invented default)."""


def beside_a_board(grey: GreyImage, trace: EdgeTrace, ends_px: FloatArray, px_per_mm: float) -> bool:
    """Return whether something runs on past a jamb at a traced foot, as a window board's horns do.

    Parameters
    ----------
    grey : (height, width) uint8
        The upright photo.
    trace
        The foot's trace in it.
    ends_px : (2, 2)
        Where the opening's bottom corners are, in the order of the trace.
    px_per_mm
        Scale along the foot.
    """
    along = ends_px[1] - ends_px[0]
    length = float(np.linalg.norm(along))
    along = along / length
    below = np.array([-along[1], along[0]])
    at, off = (trace.points_px - ends_px[0]) @ along, (trace.points_px - ends_px[0]) @ below
    line = np.polynomial.Polynomial.fit(at, off, 1)

    def steps(places: FloatArray, low: float, high: float) -> FloatArray:
        aside = np.arange(np.floor(low) - SIDE_PX, np.ceil(high) + SIDE_PX + 1.0)
        middle = ends_px[0] + places[:, None] * along + line(places)[:, None] * below
        light = _median_light(grey, middle[:, None, :] + aside[:, None] * below)
        sums = np.concatenate([[0.0], np.cumsum(light)])
        means = (sums[SIDE_PX:] - sums[:-SIDE_PX]) / SIDE_PX
        return np.asarray(means[SIDE_PX:] - means[:-SIDE_PX])

    traced = float(np.max(np.abs(steps(np.linspace(at.min(), at.max(), 60), -1.0, 1.0))))
    low, high = (mm * px_per_mm for mm in ABOUT_MM)
    for out, end in ((-1.0, 0.0), (1.0, length)):
        # a horn's lines run on; a stain or the grain of the plaster is in one half only
        near, far = (steps(end + out * np.linspace(*mm, 16) * px_per_mm, low, high) for mm in HORN_MM)
        both = np.where(near * far > 0.0, np.minimum(np.abs(near), np.abs(far)), 0.0)
        if float(np.max(both)) > SAME * traced:
            return True
    return False


def _median_light(grey: GreyImage, points_px: FloatArray) -> FloatArray:
    """Return the median linear light (k,) along each of k lines of pixels (n, k, 2); NaN where the picture ends."""
    pixels = np.rint(points_px).astype(int)
    h, w = grey.shape
    inside = np.all((pixels >= 0) & (pixels < (w, h)), axis=2)
    light = LINEAR_OF_CODE[grey[pixels[..., 1].clip(0, h - 1), pixels[..., 0].clip(0, w - 1)]]
    return np.asarray(np.where(np.all(inside, axis=0), np.median(light, axis=0), np.nan))


def noses(solution: Solution) -> tuple[EdgeTrace, ...]:
    """Return the traces of windows' feet that lie, taken together, as a board's nose would and not as the foot does.

    Notes
    -----
    Score test. The posterior shifts s of one opening's k traces, with prior covariance P and posterior covariance C,
    spread as N(0, P - C) where the foot was traced. A nose adds a share of the pattern d [px], the foot's way across
    the line from Z = 0 to Z = 25 mm in each photo: (d' P^-1 s) / sqrt(d' P^-1 (P - C) P^-1 d) is its standard score.
    """
    feet: dict[str, list[EdgeTrace]] = {}
    windows = {o.id for o in solution.observations.problem.wall.openings if o.kind == "window"}
    for trace in solution.observations.problem.edges:
        opening, _, face = trace.edge[0].partition("/")
        if (
            trace.edge[1] == "bottom"
            and face != "frame"
            and opening in windows
            and _column(solution, trace) is not None
        ):
            feet.setdefault(opening, []).append(trace)
    return tuple(trace for traces in feet.values() if _score(solution, traces) > SURE for trace in traces)


def _column(solution: Solution, trace: EdgeTrace) -> int | None:
    name, layout = shift_name(trace), solution.observations.layout
    return layout[name].start if name in layout else None


def _score(solution: Solution, traces: list[EdgeTrace]) -> float:
    obs, vector = solution.observations, solution.state.vector
    columns = [c for c in (_column(solution, trace) for trace in traces) if c is not None]
    precision = np.array([obs.shifts[c] ** -2.0 for c in columns])
    pattern = precision * np.array([_across(solution, trace) for trace in traces])
    told = np.diag(1.0 / precision) - solution.covariance[np.ix_(columns, columns)]
    spread = float(pattern @ told @ pattern)
    return float(pattern @ vector[columns]) / np.sqrt(spread) if spread > 0.0 else 0.0


def _across(solution: Solution, trace: EdgeTrace) -> float:
    """Return how far across its own line the foot's middle moves in the photo from Z = 0 to the nose [px]."""
    obs, state = solution.observations, solution.state
    opening = trace.edge[0].partition("/")[0]
    ends = [corner_xy(obs.layout, state.vector, f"{opening}/{corner}") for corner in EDGES[trace.edge[1]]]
    middle = (ends[0] + ends[1]) / 2
    points = np.array([[*middle, 0.0], [*middle, NOSE_MM]])
    i = obs.files[trace.photo]
    foot, nose = project(obs.cameras.pose(state, i).camera(points), obs.cameras.lens(state.vector, i))
    return float((nose - foot) @ edge_normals(trace.points_px).mean(axis=0))
