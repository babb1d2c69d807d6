"""A thing of known size about a place that a person pressed: its outline is looked for there and nowhere else."""

from __future__ import annotations

import numpy as np

from vision.cards import Target, judge
from vision.linear_light import Picture
from vision.quads import Quad, find_quads
from vision.walls import FloatArray

HALF_SIDES_PX = (120, 400, 1300)
"""Half the side of the squares looked at about the press, smallest first, pixels; the last takes in an A4 sheet that
fills half a 12-megapixel photo."""
EDGE_PX = 3.0
"""A patch closer than this to the square's edge is cut off by it."""
MOST_JUDGED = 12


def seek_outline(picture: Picture, px: tuple[float, float], target: Target) -> FloatArray | str:
    """Return the corners (4, 2) px of the target about a place, or why there are none.

    The corners run top left, top right, bottom right, bottom left as seen, fitted to the pixels.

    Parameters
    ----------
    picture
        (h, w, 3) BGR or (h, w), upright, full resolution.
    px
        A place on the thing, pixel (x, y).
    target
        What is looked for.
    """
    h, w = picture.shape[:2]
    if not (0 <= px[0] <= w - 1 and 0 <= px[1] <= h - 1):
        return "outside the picture"
    reasons: list[str] = []
    for half in HALF_SIDES_PX:
        left, top = max(0, round(px[0]) - half), max(0, round(px[1]) - half)
        piece = np.ascontiguousarray(picture[top : round(px[1]) + half + 1, left : round(px[0]) + half + 1])
        here = np.array([px[0] - left, px[1] - top])
        quads = [q for q in find_quads(piece) if _holds(q, here) and _is_whole(q, piece, (left, top), (w, h))]
        outlines = [q.corners_px + np.array([left, top]) for q in quads[:MOST_JUDGED]]
        judged = [judge(picture, corners, target, None) for corners in outlines]
        passing = [c for c in judged if not c.reasons]
        if passing:
            return min(passing, key=lambda c: c.misfit).corners_px
        reasons += [c.reasons[0] for c in judged]
    if reasons:
        return f"what has four sides here is not it: {reasons[0]}"
    return "no four-sided outline here"


def _holds(quad: Quad, place: FloatArray) -> bool:
    import cv2

    outline = quad.corners_px.astype(np.float32)
    return bool(cv2.pointPolygonTest(outline, (float(place[0]), float(place[1])), False) > 0)


def _is_whole(quad: Quad, piece: Picture, origin: tuple[int, int], size_px: tuple[int, int]) -> bool:
    """Return whether a patch lies clear of the square's own edges, those of the photo excepted."""
    low, high = quad.corners_px.min(axis=0), quad.corners_px.max(axis=0)
    h, w = piece.shape[:2]
    return bool(
        (low[0] > EDGE_PX or origin[0] == 0)
        and (low[1] > EDGE_PX or origin[1] == 0)
        and (high[0] < w - 1 - EDGE_PX or origin[0] + w == size_px[0])
        and (high[1] < h - 1 - EDGE_PX or origin[1] + h == size_px[1])
    )
