"""What a fitted candidate for a card or sheet of paper looks like: reasons against it, and doubts about using it."""

from __future__ import annotations

import numpy as np

from vision.card_face import corner_radius_mm, plainness
from vision.linear_light import LINEAR_OF_CODE, Picture
from vision.side_fit import FittedQuad, longest_px
from vision.walls import FloatArray

LEAST_PLAIN = 0.8
_LEAST_CONTRAST = 0.05
_LEAST_SIGNAL = 2.0
_MOST_BENT_PX = 0.45
_RADIUS_SD_MM, _RADIUS_TOL = 0.5, 2.8  # what radii of cards differ by, and the most sd that one may be off
_PAPER_OVER_WALL, _PAPER_COLOUR = 0.97, 2.4  # least light over the wall's; strongest colour over the weakest
# What a thing must show before it sets the scale (invented defaults): its longer side, px; how much better (chi-square)
# rounded corners explain a card's than sharp ones; and how alike, as logarithms, all that lies around it is.
LEAST_LONG_PX = 45.0
_LEAST_ROUNDER = 3.5
_MOST_OTHER_LIGHT, _MOST_OTHER_COLOUR = 0.7, 0.35
_PART_COST = 6.0  # what may be part of a larger thing comes after what is not, in chi-square
# How much plainer a reason must be before the sides are fitted, when corners are known to half a pixel or so: shares of
# the bounds above, and the sd by which a radius at such corners differs from that at fitted ones (seen: 0.5 mm).
_FIRST_SHARE, _FIRST_RADIUS_SD_MM, _FIRST_RADIUS_TOL = 0.6, 0.6, 3.3
_BESIDE_PX = (2.0, 3.0, 4.0)


def first_looks(
    picture: Picture, corners_px: FloatArray, model_mm: FloatArray, radius_mm: float, *, plain: bool
) -> list[str]:
    """Return reasons against a candidate that are plain to see before its sides are fitted, which costs far more.

    Parameters
    ----------
    picture, model_mm, radius_mm, plain
        As for `looks`.
    corners_px
        (4, 2) corners, right to about half a pixel.
    """
    inside, outside = _beside(picture, corners_px)
    brighter = np.maximum(np.maximum(inside, outside).max(axis=1), 1e-3)
    contrast = float((np.abs(inside - outside).max(axis=1) / brighter).min())
    if contrast < _FIRST_SHARE * _LEAST_CONTRAST:
        return [_hardly_shows(contrast)]
    if plain:
        return _not_white(np.median(inside, axis=0), np.median(outside, axis=0), sure=_FIRST_SHARE)
    if radius_mm:
        radius, sd = corner_radius_mm(picture, corners_px, model_mm)
        spread = float(np.sqrt(_RADIUS_SD_MM**2 + _FIRST_RADIUS_SD_MM**2 + sd**2))
        if abs(radius - radius_mm) > _FIRST_RADIUS_TOL * spread:
            return [_other_radius(radius, radius_mm)]
    return []


def _beside(picture: Picture, corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the linear colours (4, 3) just inside and just outside of each side."""
    ahead = np.roll(corners, -1, axis=0)
    along = (ahead - corners) / np.linalg.norm(ahead - corners, axis=1, keepdims=True)
    inward = np.column_stack([-along[:, 1], along[:, 0]])
    share = np.linspace(0.15, 0.85, 24)[:, None]
    on = corners[:, None] + share * (ahead - corners)[:, None]
    off = np.array([*_BESIDE_PX, *(-d for d in _BESIDE_PX)])
    at = on[:, :, None] + off[:, None] * inward[:, None, None]
    x, y = np.moveaxis(np.clip(np.round(at).astype(int), 0, np.array(picture.shape[1::-1]) - 1), -1, 0)
    light = LINEAR_OF_CODE[picture[y, x]]
    light = light if picture.ndim == 3 else np.repeat(light[..., None], 3, axis=-1)
    n = len(_BESIDE_PX)
    return np.median(light[:, :, :n], axis=(1, 2)), np.median(light[:, :, n:], axis=(1, 2))


def looks(
    picture: Picture, fitted: FittedQuad, model_mm: FloatArray, radius_mm: float, *, plain: bool
) -> tuple[list[str], float, list[str]]:
    """Return reasons against a candidate from its pixels, a misfit (lower is better), and doubts about using it.

    A candidate with doubts may be proposed but must not set the scale before a person has confirmed it.

    Parameters
    ----------
    picture
        The upright photo.
    fitted
        The candidate's fitted sides.
    model_mm
        (4, 2) its corners as the target has them.
    radius_mm
        The target's corner radius; 0 where corners are not looked at.
    plain
        Whether the target is plain white paper.
    """
    reasons: list[str] = []
    cost = 0.0
    contrast = min(s.contrast for s in fitted.sides)
    signal = min(s.signal for s in fitted.sides)
    bent = max(s.straight_px for s in fitted.sides)
    if contrast < _LEAST_CONTRAST or signal < _LEAST_SIGNAL:
        reasons.append(_hardly_shows(contrast))
    if bent > _MOST_BENT_PX + 2.0 / max(signal, _LEAST_SIGNAL):
        reasons.append(f"one of its sides is not straight (off by {bent:.1f} px)")
    doubts = _surroundings_doubt(fitted)
    cost += _PART_COST * len(doubts)
    long_px = longest_px(fitted.corners_px)
    if long_px < LEAST_LONG_PX:
        doubts.append(f"it is only {long_px:.0f} px long here, too small to be told from other things")
    if radius_mm:
        radius, sd = corner_radius_mm(picture, fitted.corners_px, model_mm)
        spread = float(np.hypot(_RADIUS_SD_MM, sd))
        off = (radius - radius_mm) / spread
        if abs(off) > _RADIUS_TOL:
            reasons.append(_other_radius(radius, radius_mm))
        elif (radius / spread) ** 2 - off**2 < _LEAST_ROUNDER:
            doubts.append("its corners do not show whether they are rounded as a card's are")
        cost += off**2
    if plain:
        against, unplain = _no_paper(picture, fitted)
        reasons += against
        cost += unplain
    return reasons, float(cost), doubts


def _surroundings_doubt(fitted: FittedQuad) -> list[str]:
    """Return a doubt where what lies beyond its sides is not one wall: then it may be part of a larger thing."""
    around = np.log(np.maximum([s.outside for s in fitted.sides], 1e-3))
    other = around - np.median(around, axis=0)
    light = other.mean(axis=1)
    colour = float(np.ptp(other, axis=1).max())
    if np.abs(light).max() > _MOST_OTHER_LIGHT or colour > _MOST_OTHER_COLOUR:
        return ["what lies around it is not one wall; it may be part of a larger thing"]
    return []


def _hardly_shows(contrast: float) -> str:
    return f"one of its sides hardly shows (contrast {100 * contrast:.0f} %)"


def _other_radius(radius: float, wanted: float) -> str:
    return f"its corners have a radius of {max(radius, 0):.1f} mm, not {wanted:.1f}"


def _not_white(inside: FloatArray, outside: FloatArray, *, sure: float = 1.0) -> list[str]:
    """Return reasons why colours (3,) within a candidate and beyond it are not those of white paper on a wall.

    ``sure`` is a share of the bounds; less of it asks for plainer reasons.
    """
    reasons: list[str] = []
    if inside.sum() < sure * _PAPER_OVER_WALL * outside.sum():
        reasons.append("it is darker than the wall, as white paper is not")
    if sure * inside.max() > _PAPER_COLOUR * max(float(inside.min()), 1e-3):
        reasons.append("it is coloured, as white paper is not")
    return reasons


def _no_paper(picture: Picture, fitted: FittedQuad) -> tuple[list[str], float]:
    """Return reasons why a candidate is no plain white paper, and a misfit."""
    inside = np.median([s.inside for s in fitted.sides], axis=0)
    outside = np.median([s.outside for s in fitted.sides], axis=0)
    reasons = _not_white(inside, outside)
    plain = plainness(picture, fitted.corners_px)
    if plain < LEAST_PLAIN:
        reasons.append(f"its face is not plain (even over {100 * plain:.0f} % of it)")
    return reasons, ((1 - plain) / 0.1) ** 2
