"""Wall and opening edges traced in a photo around a first solution, as observations better than a click.

Each edge is cut out as a straightened strip in linear light. Among all straight lines across the strip the ones with a
steady step of brightness are candidates; the one that the marks support is taken only if no other line that they would
support as well is nearly as strong (skirting, coving, frame and reveal run parallel). Else the edge is left to the
clicks.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.board_nose import beside_a_board
from vision.edge_strip import SHORTEST_PX, Strip, cut_strip, step_response
from vision.hollow_corner import ACROSS_PX, WIDEST_PX, corner_offset
from vision.lens import project
from vision.measure import WallSolution
from vision.model import EDGES
from vision.walls import CORNERS, EdgeTrace, FloatArray, GreyImage

BLOCKS = 15  # independent samples given to the solution
SAMPLE_SD_PX = 0.5  # the floor of a sample's standard deviation: blur, sharpening, plaster's grain
LOUDEST = 12.0  # the most that one row says for a line, in the strip's noise
RIVAL = 0.55  # a second line at least this strong makes the edge ambiguous
UNSURE_PX = 12.0  # an edge predicted worse than this is not looked for
CLOSE_PX = 8.0  # front and back edge of a side face seen so thin are not told apart: both are left to the clicks


def _votes(response: FloatArray) -> FloatArray:
    """Return the response compressed, so that no row says more than ``LOUDEST``: a stain must not outvote an edge.

    Compressed smoothly, not cut off: a strong edge cut off is a plateau as wide as its blur, and has no middle.
    """
    return np.asarray(LOUDEST * np.tanh(response / LOUDEST))


def _line_scores(response: FloatArray, ends: FloatArray) -> FloatArray:
    """Return the mean response along lines from offset column i at the first row to j at the last, (k, k)."""
    rows, columns = response.shape
    t = np.linspace(0.0, 1.0, rows)
    first, last = np.meshgrid(ends, ends, indexing="ij")
    scores = np.zeros(first.shape)
    for r in range(rows):
        at = (1 - t[r]) * first + t[r] * last
        low = np.clip(at.astype(int), 0, columns - 2)
        part = at - low
        scores += (1 - part) * response[r, low] + part * response[r, low + 1]
    return np.asarray(scores / rows)


def _candidates(scores: FloatArray) -> list[tuple[int, int]]:
    """Return the cells of local maxima of |score| within their 5 x 5 neighbourhood, strongest first."""
    size = np.abs(scores)
    padded = np.pad(size, 2, mode="constant")
    around = np.lib.stride_tricks.sliding_window_view(padded, (5, 5)).max(axis=(2, 3))
    cells = np.argwhere((size >= around) & (size > 0.8))
    return sorted(((int(i), int(j)) for i, j in cells), key=lambda c: -size[c])


def _choose(
    strip: Strip, response: FloatArray, sd_ends: tuple[float, float], outward: float = 0.0
) -> tuple[float, float] | None:
    """Return the offsets [px] at both ends of the line that is the edge, or None where that is not sure.

    ``outward``: the sign of the offsets away from a frame, whose edge is the bottom of a valley: its two flanks are no
    rivals; 0 for other edges.
    """
    ends = np.arange(0, response.shape[1], 2).astype(float)
    scores = _line_scores(response, ends)
    found = []
    for i, j in _candidates(scores):
        first, last = strip.offsets_px[int(ends[i])], strip.offsets_px[int(ends[j])]
        pull = (first / sd_ends[0]) ** 2 + (last / sd_ends[1]) ** 2
        if pull > 12.0:
            continue
        strength = abs(scores[i, j])
        steady = _steadiness(response, ends[i], ends[j], np.sign(scores[i, j]))
        if steady > 0.6:
            rising = outward * np.sign(scores[i, j])
            found.append((strength * np.exp(-pull / 12.0), strength, first, last, rising))
    if not found:
        return None
    found.sort(reverse=True)
    best = found[0]
    for other in found[1:]:
        apart = max(abs(other[2] - best[2]), abs(other[3] - best[3]))
        if _two_flanks(best, other, outward):
            continue
        if apart > 2.0 and other[1] > RIVAL * best[1]:
            return None
    return float(best[2]), float(best[3])


def _two_flanks(one: tuple[float, ...], other: tuple[float, ...], outward: float) -> bool:
    """Return whether two lines are the flanks of one valley beside a frame: light falls, then rises, outwards."""
    if not outward or one[4] * other[4] >= 0:
        return False
    falling, rising = sorted((one, other), key=lambda line: line[4])
    widths = [outward * (rising[k] - falling[k]) for k in (2, 3)]
    return min(widths) > 0 and max(widths) < WIDEST_PX


def _steadiness(response: FloatArray, first: float, last: float, sign: float) -> float:
    """Return the share of rows along a line whose response has the line's sign and stands above the noise."""
    rows, columns = response.shape
    at = np.linspace(first, last, rows)
    low = np.clip(at.astype(int), 1, columns - 3)
    near = np.max([sign * response[np.arange(rows), low + d] for d in (-1, 0, 1, 2)], axis=0)
    return float(np.mean(near > 1.0))


def _samples(
    strip: Strip, response: FloatArray, line: tuple[float, float], outward: float = 0.0
) -> tuple[FloatArray, FloatArray] | None:
    """Return sub-pixel points (n, 2) along the chosen line and their sd (n,), or None if too few hold.

    ``outward`` as for the choice: a frame's edge is put where the hollow corner is.
    """
    rows = len(response)
    blocks = np.array_split(np.arange(rows), min(BLOCKS, rows // 4))
    t = np.linspace(0.0, 1.0, rows)
    guess = (1 - t) * line[0] + t * line[1]
    signed = np.sign(np.mean([np.interp(guess[r], strip.offsets_px, response[r]) for r in range(rows)])) or 1.0
    window = np.arange(-4.0, 4.01, 0.25)
    where, offset, spread = [], [], []
    for block in blocks:
        profile = np.mean([np.interp(guess[r] + window, strip.offsets_px, signed * response[r]) for r in block], axis=0)
        peak = int(np.argmax(np.where(np.abs(window) <= 2.5, profile, -np.inf)))
        if profile[peak] < 1.0 or peak in (0, len(window) - 1):
            continue
        a, b, c = profile[peak - 1 : peak + 2]
        fine = window[peak] + 0.25 * 0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c < 0 else window[peak]
        where.append(float(np.mean(block)))
        offset.append(float(np.mean(guess[block])) + fine)
        spread.append(1.0 / profile[peak])
    if len(where) < max(5, len(blocks) // 2):
        return None
    x, y = np.array(where), np.array(offset)
    keep = np.ones(len(x), dtype=bool)
    for _ in range(3):
        order = 2 if np.sum(keep) > 6 else 1
        fit = np.polynomial.Polynomial.fit(x[keep], y[keep], order)
        left = y - fit(x)
        scale = max(1.4826 * float(np.median(np.abs(left[keep]))), 0.15)
        keep = np.abs(left) < 3.5 * scale
    if np.sum(keep) < max(5, len(blocks) // 2):
        return None
    scatter = float(np.std(left[keep]))
    if outward:
        y = y + outward * _into_the_corner(strip, fit(np.arange(rows)), outward)
    middle = np.stack([np.interp(x[keep], np.arange(rows), strip.middle_px[:, k]) for k in range(2)], axis=1)
    normal = np.stack([np.interp(x[keep], np.arange(rows), strip.normal_px[:, k]) for k in range(2)], axis=1)
    points = middle + y[keep][:, None] * normal
    return points, np.full(len(points), float(np.hypot(SAMPLE_SD_PX, scatter)))


def _into_the_corner(strip: Strip, middle_px: FloatArray, outward: float) -> float:
    """Return how far outwards [px] of a traced frame's edge, offsets (rows,), the hollow corner beside it lies."""
    across = middle_px[:, None] + outward * ACROSS_PX
    light = [np.interp(at, strip.offsets_px, row) for at, row in zip(across, strip.light, strict=True)]
    noise = float(np.mean(np.std(light, axis=0))) / np.sqrt(len(light))
    return corner_offset(np.mean(light, axis=0), noise) or 0.0


def _outward(solution: WallSolution, photo: str, opening: str, curve: FloatArray) -> float:
    """Return the sign of offsets across a frame's edge that lead away from the frame's middle."""
    seen = [solution.predict(photo, place=f"{opening}/{corner}", face="frame") for corner in CORNERS]
    middle = np.mean([found[0] for found in seen if found is not None], axis=0)
    along = curve[-1] - curve[0]
    return float(np.sign((curve.mean(axis=0) - middle) @ np.array([-along[1], along[0]]))) or 1.0


def _edge_curve(
    solution: WallSolution, photo: str, quad: str, edge: str, frame: bool, proud_mm: float
) -> tuple[FloatArray, tuple[float, float]] | None:
    """Return the predicted pixels (n, 2) of an edge and the sd across it at both ends [px]."""
    a, b = EDGES[edge]
    face = "frame" if frame else "wall"
    ends, spreads = [], []
    for corner in (a, b):
        proud = proud_mm if corner.startswith("bottom") else 0.0
        found = solution.predict(photo, place=f"{quad}/{corner}", face=face, proud_mm=proud)
        if found is None or not np.all(np.isfinite(found[0])):
            return None
        ends.append(found[0])
        spreads.append(found[1])
    p, q = solution.corner_mm(f"{quad}/{a}"), solution.corner_mm(f"{quad}/{b}")
    depth = solution.depth_mm(quad) if frame else 0.0
    share = np.linspace(0.05, 0.95, 41)[:, None]
    world = np.column_stack(
        [(1 - share) * p + share * q, np.full(41, -(depth or 0.0) + (proud_mm if not frame else 0.0))]
    )
    straight = project(solution.pose(photo).camera(world), solution.lens(photo))
    if not np.all(np.isfinite(straight)):
        return None
    if frame:
        # the side faces' splay moves the back edge: shift the straight prediction onto the predicted corners
        base = project(
            solution.pose(photo).camera(np.array([[*p, -(depth or 0.0)], [*q, -(depth or 0.0)]])), solution.lens(photo)
        )
        gap = np.array(ends) - base
        straight = straight + (1 - share) * gap[0] + share * gap[1]
    along = straight[-1] - straight[0]
    length = float(np.linalg.norm(along))
    if length < SHORTEST_PX / 2:
        return None
    normal = np.array([-along[1], along[0]]) / length
    sd = [float(np.sqrt(max(float(normal @ C @ normal), 0.0))) for C in spreads]
    return straight, (sd[0], sd[1])


def _proud(solution: WallSolution, photo: str) -> float:
    """Return how far the bottom marks of this photo stand proud of the plaster [mm]."""
    found = [
        m.proud_mm for m in solution.problem.marks
        if m.photo == photo and m.opening is None and m.feature is None and m.point.startswith("bottom") and m.proud_mm
    ]  # fmt: skip
    return found[0] if found else 0.0


def trace_edges(grey: GreyImage, solution: WallSolution, photo: str) -> list[EdgeTrace]:
    """Return the edges of the wall and its openings that this photo shows clearly.

    Parameters
    ----------
    grey : (height, width) uint8
        The upright photo at full resolution.
    solution
        A first solution of the wall, from marks and references.
    photo
        The photo's file name in the solution.

    Returns
    -------
    Edges as observations, at most 15 samples each. An edge that is hidden, dark, blown out or that has a rival line
    close by is left out.
    """
    if photo not in solution.files:
        return []
    traces = []
    doors = {o.id for o in solution.problem.wall.openings if o.kind != "window"}
    for quad, frame in _quads(solution):
        marked = _marked(solution, photo, quad, frame)
        for edge, (a, b) in EDGES.items():
            if edge == "bottom" and not frame and quad in doors:
                continue  # a door's foot is the floor, or what lies on it
            if not ({a, b} <= marked or (quad == "wall" and {a, b} & marked)):
                continue  # a wall's edge may leave the picture; another photo knows its other end
            if quad != "wall" and _thin_face(solution, photo, quad, edge):
                continue
            proud = _proud(solution, photo) if quad == "wall" and edge == "bottom" else 0.0
            trace = _trace(grey, solution, photo, (quad, edge), frame=frame, proud_mm=proud)
            foot = edge == "bottom" and not frame and quad != "wall"
            if trace is not None and not (foot and _on_a_board(grey, solution, trace, quad)):
                traces.append(trace)
    return traces


def _on_a_board(grey: GreyImage, solution: WallSolution, trace: EdgeTrace, opening: str) -> bool:
    """Return whether a window board stands at the foot, so that the trace may well follow its nose instead."""
    corners = [solution.predict(trace.photo, place=f"{opening}/{corner}") for corner in EDGES["bottom"]]
    ends = np.array([found[0] for found in corners if found is not None])
    a, b = (solution.corner_mm(f"{opening}/{corner}") for corner in EDGES["bottom"])
    if len(ends) < 2:
        return False
    return beside_a_board(grey, trace, ends, float(np.linalg.norm(ends[1] - ends[0]) / np.linalg.norm(b - a)))


def _thin_face(solution: WallSolution, photo: str, opening: str, edge: str) -> bool:
    """Return whether a side face of a reveal is seen so edge-on that its front and back edges run side by side."""
    if solution.depth_mm(opening) is None:
        return False
    front = _edge_curve(solution, photo, opening, edge, False, 0.0)
    back = _edge_curve(solution, photo, opening, edge, True, 0.0)
    if front is None or back is None:
        return False
    along = front[0][-1] - front[0][0]
    normal = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    apart = (back[0] - front[0]) @ normal
    return bool(np.min(np.abs(apart)) < CLOSE_PX)


def _quads(solution: WallSolution) -> Sequence[tuple[str, bool]]:
    found = solution.solution
    if found is None:
        return ()
    openings = [q for q in found.observations.quads if q != "wall"]
    return [("wall", False), *((o, False) for o in openings), *((o, True) for o in found.observations.reveals)]


def _marked(solution: WallSolution, photo: str, quad: str, frame: bool) -> set[str]:
    """Return the corners of a quadrilateral that were marked in this photo."""
    opening = None if quad == "wall" else quad
    return {
        m.point for m in solution.problem.marks
        if m.photo == photo and m.opening == opening and m.feature is None and (m.face == "frame") == frame
    }  # fmt: skip


def _trace(
    grey: GreyImage, solution: WallSolution, photo: str, place: tuple[str, str], *, frame: bool, proud_mm: float
) -> EdgeTrace | None:
    quad, edge = place
    predicted = _edge_curve(solution, photo, quad, edge, frame, proud_mm)
    if predicted is None:
        return None
    curve, sd = predicted
    if max(sd) > UNSURE_PX:
        return None
    ends = (float(np.hypot(sd[0], 1.0)), float(np.hypot(sd[1], 1.0)))
    half = float(np.clip(np.ceil(3.5 * max(ends) + 4.0), 8.0, 24.0))
    strip = cut_strip(grey, curve, half)
    if strip is None:
        return None
    response = step_response(strip.light)
    outward = _outward(solution, photo, quad, curve) if frame else 0.0
    line = _choose(strip, _votes(response), ends, outward)
    if line is None:
        return None
    found = _samples(strip, response, line, outward)
    if found is None:
        return None
    name = f"{quad}/{'frame' if frame else 'wall'}" if quad != "wall" else "wall"
    return EdgeTrace(photo=photo, edge=(name, edge), points_px=found[0], sd_px=found[1], proud_mm=proud_mm)
