"""What is known beforehand of the plane a rectangle lies in: its slant to the camera, and roughly its scale.

From four marked corners of the wall or of an opening, or from a survey sheet in the same photo. Good for telling a card
from a socket, far too rough to measure with.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.quads import is_convex
from vision.sheet_map import SheetMap, project
from vision.walls import CORNERS, FloatArray, Mark

# A phone's main lens sees 24 to 28 mm equivalent: focal length over the longer side of the picture (from memory).
FOCAL_SHARE, FOCAL_LN_SD = 0.70, 0.07
# Storey and opening heights in older British houses, mm, with the sd of their logarithm (invented default).
WALL_HEIGHT_MM, WALL_HEIGHT_LN_SD = 2450.0, 0.09
OPENING_HEIGHT_MM, OPENING_HEIGHT_LN_SD = 1200.0, 0.30
SHEET_LN_SD = 0.03
KNOWN_HEIGHT_LN_SD = 0.05  # of an opening's height as another photo's reference tells it
_LEAST_AREA_PX2 = 400.0
WALL_WORDS, OPENING_WORDS = "the wall's marked corners", "the opening's marked corners"
STRONG_LN_SD = 0.15  # evidence of scale at least this good may confirm a declared card


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneView:
    """A plane as the camera sees it: ``to_mm`` (3, 3) takes pixels to millimetres on it, right but for a common scale.

    ``scale_ln_sd`` is the sd of the logarithm of that scale; ``outline_px`` where the plane was marked, if it was.
    """

    to_mm: FloatArray
    scale_ln_sd: float
    source: str
    outline_px: FloatArray | None = None

    @property
    def strong(self) -> bool:
        """Whether the scale is known well enough to rule out a thing of the wrong size."""
        return self.scale_ln_sd <= STRONG_LN_SD

    def sides_mm(self, corners_px: FloatArray) -> tuple[float, float, float]:
        """Return width and height, mm, of corners clockwise from top left, and the worst angle, ° off square."""
        width, height, off = self.all_sides_mm(corners_px[None])
        return float(width[0]), float(height[0]), float(off[0])

    def all_sides_mm(self, corners_px: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the same (n,) of many quadrilaterals (n, 4, 2)."""
        q = project(self.to_mm, corners_px.reshape(-1, 2)).reshape(corners_px.shape)
        edge = np.roll(q, -1, axis=1) - q
        length = np.linalg.norm(edge, axis=2)
        unit = edge / length[..., None]
        cosine = np.abs(np.sum(unit * np.roll(unit, -1, axis=1), axis=2)).max(axis=1)
        off = np.degrees(np.arcsin(np.minimum(1.0, cosine)))
        return length[:, [0, 2]].mean(axis=1), length[:, [1, 3]].mean(axis=1), off


def camera_matrix(size_px: tuple[int, int], focal_share: float = FOCAL_SHARE) -> FloatArray:
    """Return an assumed camera matrix (3, 3) of a photo (width, height)."""
    width, height = size_px
    f = focal_share * max(width, height)
    return np.array([[f, 0, (width - 1) / 2], [0, f, (height - 1) / 2], [0, 0, 1.0]])


def view_of_sheet(sheet: SheetMap, near_px: FloatArray) -> PlaneView:
    """Return the plane of a survey sheet, with the lens's bend undone at a place of interest."""
    step = np.array([[0, 0], [60.0, 0], [60, 60], [0, 60]]) - 30.0
    around = np.asarray(near_px, float) + step
    return PlaneView(to_mm=_homography(around, sheet.place(around)), scale_ln_sd=SHEET_LN_SD, source="the survey sheet")


def views_of_marks(
    marks: Iterable[Mark], size_px: tuple[int, int], opening_heights_mm: Mapping[tuple[str, str], float] | None = None
) -> dict[str, PlaneView]:
    """Return what each wall's marked corners in one photo tell of its plane, by wall.

    Four corners of the wall are best; else four of an opening on the plaster give the slant, and the scale comes from a
    marked left or right end of the wall, or from the opening's height where another photo has told it.
    """
    by_wall: dict[str, list[Mark]] = {}
    for mark in marks:
        if mark.wall is not None and mark.feature is None and mark.reference is None:
            by_wall.setdefault(mark.wall, []).append(mark)
    views = {}
    for wall, own in by_wall.items():
        view = _view_of_wall(own, size_px, opening_heights_mm or {})
        if view is not None:
            views[wall] = view
    return views


def opening_outlines(marks: Iterable[Mark]) -> dict[tuple[str, str], FloatArray]:
    """Return the outlines (4, 2) px on the plaster of openings with four marked corners, by wall and opening."""
    by_opening: dict[tuple[str, str], dict[str, tuple[float, float]]] = {}
    for m in marks:
        if m.wall is not None and m.opening is not None and m.face != "frame":
            by_opening.setdefault((m.wall, m.opening), {})[m.point] = m.px
    whole = {key: own for key, own in by_opening.items() if all(c in own for c in CORNERS)}
    return {key: np.array([own[c] for c in CORNERS], float) for key, own in whole.items()}


def heights_in(
    view: PlaneView, outlines: Mapping[tuple[str, str], FloatArray], corners_px: FloatArray, area_mm2: float
) -> dict[tuple[str, str], float]:
    """Return how high openings are, mm, by a rectangle of known area on the same wall: good to some per cent."""
    width, height, _ = view.sides_mm(corners_px)
    scale = float(np.sqrt(area_mm2 / (width * height)))
    return {key: scale * view.sides_mm(outline[::-1])[1] for key, outline in outlines.items()}


def _view_of_wall(
    marks: Sequence[Mark], size_px: tuple[int, int], heights_mm: Mapping[tuple[str, str], float]
) -> PlaneView | None:
    corners = {m.point: np.array(m.px, float) for m in marks if m.opening is None and m.point in CORNERS}
    outlines: list[tuple[FloatArray, float, float, str]] = []
    if len(corners) == 4:
        whole = np.array([corners[c] for c in CORNERS])
        outlines.append((whole, WALL_HEIGHT_MM, WALL_HEIGHT_LN_SD, WALL_WORDS))
    for key, outline in opening_outlines(marks).items():
        known = heights_mm.get(key)
        usual = (OPENING_HEIGHT_MM, OPENING_HEIGHT_LN_SD) if known is None else (known, KNOWN_HEIGHT_LN_SD)
        outlines.append((outline, *usual, OPENING_WORDS))
    for outline, height, ln_sd, words in outlines:
        if not is_convex(outline) or _area_px2(outline) < _LEAST_AREA_PX2:
            continue
        to_mm = _rectified(outline, height, size_px)
        if to_mm is None:
            continue
        scaled = _scaled_by_ends(to_mm, corners)
        if scaled is not None and ln_sd >= WALL_HEIGHT_LN_SD:
            return PlaneView(to_mm=scaled, scale_ln_sd=WALL_HEIGHT_LN_SD, source=WALL_WORDS, outline_px=outline)
        return PlaneView(to_mm=to_mm, scale_ln_sd=ln_sd, source=words, outline_px=outline)
    return None


def _area_px2(outline: FloatArray) -> float:
    x, y = outline.T
    return float(abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2)


def _scaled_by_ends(to_mm: FloatArray, corners: dict[str, FloatArray]) -> FloatArray | None:
    """Return the map scaled so that the wall's marked ends have a usual height, or None where no end is marked."""
    heights = []
    for low, high in (("bottom_left", "top_left"), ("bottom_right", "top_right")):
        if low in corners and high in corners:
            a, b = project(to_mm, np.array([corners[low], corners[high]]))
            heights.append(float(np.linalg.norm(b - a)))
    if not heights or min(heights) <= 0:
        return None
    return np.diag([WALL_HEIGHT_MM / np.mean(heights)] * 2 + [1.0]) @ to_mm


def _rectified(outline_px: FloatArray, height_mm: float, size_px: tuple[int, int]) -> FloatArray | None:
    """Return the map (3, 3) from pixels to a rectangle of the given height; width from the slant and a usual lens.

    The focal length is the one near the usual that makes the sides most nearly square to one another.
    """
    unit = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    h = _homography(unit, outline_px)
    best, aspect = np.inf, None
    for ln in np.linspace(-2.5, 2.5, 41) * FOCAL_LN_SD:
        inverse = np.linalg.inv(camera_matrix(size_px, FOCAL_SHARE * float(np.exp(ln))))
        across, up = inverse @ h[:, 0], inverse @ h[:, 1]
        cosine = across @ up / (np.linalg.norm(across) * np.linalg.norm(up))
        cost = (cosine / 0.01) ** 2 + (ln / FOCAL_LN_SD) ** 2
        if cost < best:
            best, aspect = cost, float(np.linalg.norm(across) / np.linalg.norm(up))
    if aspect is None or not np.isfinite(aspect) or aspect <= 0:
        return None
    rectangle = unit * np.array([aspect * height_mm, height_mm])
    return _homography(outline_px, rectangle)


def _homography(a: FloatArray, b: FloatArray) -> FloatArray:
    import cv2

    return np.asarray(cv2.getPerspectiveTransform(a.astype(np.float32), b.astype(np.float32)), float)
