"""A corner that something hides: where two edges would meet, each drawn by hand along a piece of it that shows.

Each drawn piece is laid on the straight edge beneath it where there is one; both are then carried on to their crossing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.linear_light import linear_light, sample_light, step_edges
from vision.walls import FloatArray, GreyImage

PLACES = 48
"""Profiles across a drawn piece."""
LEAST_STEP = 0.01
"""Of full light: less is plaster's grain (judgement)."""
NEAR_PX = 1.5
LEAST_SHARE = 0.5
"""Of the profiles that must agree on one straight edge; else the piece counts as drawn."""
SHORTEST_PX = 12.0
LEAST_ANGLE_DEG = 20.0
BEND = 0.0015
"""Standard uncertainty of a straight line carried on, per pixel: lenses bend lines (judgement)."""
FLOOR_SD_PX = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedEdges:
    """Where two edges meet, pixel; its standard uncertainty per axis; and the two lines as taken, each (2, 2) px."""

    px: tuple[float, float]
    sd_px: float
    lines_px: tuple[FloatArray, FloatArray]
    fitted: tuple[bool, bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Through ``middle``, along the unit ``along``; sd of its offset and of its direction."""

    middle: FloatArray
    along: FloatArray
    half_px: float
    sd_px: float
    sd_rad: float
    fitted: bool

    @property
    def normal(self) -> FloatArray:
        return np.array([-self.along[1], self.along[0]])

    def sd_at(self, place: FloatArray) -> float:
        """Return the standard uncertainty across the line at a place on it, pixels."""
        along = abs(float((place - self.middle) @ self.along))
        beyond = max(0.0, along - self.half_px)
        return float(np.sqrt(self.sd_px**2 + (self.sd_rad * along) ** 2 + (BEND * beyond) ** 2))


def cross_edges(grey: GreyImage, drawn_px: FloatArray, *, hand_sd_px: float) -> CrossedEdges | str:
    """Return where two drawn edges meet, or why they do not.

    Parameters
    ----------
    grey
        The upright photo at full resolution, uint8 (h, w).
    drawn_px
        (2, 2, 2) two pieces, each by two pixels (x, y) on it.
    hand_sd_px
        How surely each of these was pressed, pixels.
    """
    pieces = np.asarray(drawn_px, dtype=float).reshape(2, 2, 2)
    if np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1).min() < SHORTEST_PX:
        return "one of the pieces is too short to tell its direction"
    first, second = (_laid_on_edge(grey, piece, hand_sd_px) for piece in pieces)
    angle = np.degrees(np.arcsin(abs(float(first.along @ second.normal))))
    if angle < LEAST_ANGLE_DEG:
        return "the two edges run nearly the same way"
    normals = np.array([first.normal, second.normal])
    place = np.linalg.solve(normals, np.array([first.normal @ first.middle, second.normal @ second.middle]))
    inverse = np.linalg.inv(normals)
    covariance = inverse @ np.diag([first.sd_at(place) ** 2, second.sd_at(place) ** 2]) @ inverse.T
    spread = float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
    return CrossedEdges(
        px=(float(place[0]), float(place[1])),
        sd_px=float(np.hypot(spread, FLOOR_SD_PX)),
        lines_px=(_ends(first), _ends(second)),
        fitted=(first.fitted, second.fitted),
    )


def _ends(line: _Line) -> FloatArray:
    return np.stack([line.middle - line.half_px * line.along, line.middle + line.half_px * line.along])


def _laid_on_edge(grey: GreyImage, piece: FloatArray, hand_sd_px: float) -> _Line:
    """Return the line along the edge beneath a drawn piece, or the piece itself where no straight edge shows."""
    middle = piece.mean(axis=0)
    along = piece[1] - piece[0]
    length = float(np.linalg.norm(along))
    along = along / length
    as_drawn = _Line(
        middle=middle, along=along, half_px=length / 2, sd_px=hand_sd_px / np.sqrt(2.0),
        sd_rad=float(np.sqrt(2.0) * hand_sd_px / length), fitted=False,
    )  # fmt: skip
    steps = _steps(grey, as_drawn, reach_px=2.5 * hand_sd_px + 2.0)
    best = _straightest(steps, hand_sd_px)
    if best is None:
        return as_drawn
    t, offset, sd = best
    weights = 1.0 / sd
    A = np.column_stack([np.ones_like(t), t])
    coefficients, *_ = np.linalg.lstsq(A * weights[:, None], offset * weights, rcond=None)
    left = offset - A @ coefficients
    scatter = max(float(np.sqrt(np.mean(left**2))), 0.15)
    spread = scatter / np.sqrt(len(t))
    turned = along + coefficients[1] * as_drawn.normal
    return _Line(
        middle=middle + coefficients[0] * as_drawn.normal,
        along=turned / np.linalg.norm(turned),
        half_px=length / 2,
        sd_px=float(np.hypot(spread, 0.3)),
        sd_rad=float(spread / max(float(np.std(t)), 1.0)),
        fitted=True,
    )


def _steps(grey: GreyImage, line: _Line, *, reach_px: float) -> FloatArray:
    """Return the steps of light across a piece: place along it, offset across it, sd, pixels (n, 3)."""
    h, w = grey.shape
    places = np.linspace(-line.half_px, line.half_px, PLACES)
    offsets = np.arange(-reach_px - 4.0, reach_px + 4.01, 0.5)
    ends = np.stack([line.middle - line.half_px * line.along, line.middle + line.half_px * line.along])
    low = np.maximum(np.floor(ends.min(axis=0) - reach_px - 8).astype(int), 0)
    high = np.minimum(np.ceil(ends.max(axis=0) + reach_px + 9).astype(int), [w, h])
    if (high - low < 8).any():
        return np.zeros((0, 3))
    light = linear_light(np.ascontiguousarray(grey[low[1] : high[1], low[0] : high[0]]))
    beside = np.array([-1.5, 0.0, 1.5])  # three profiles side by side, so that plaster's grain is averaged out
    along = (places[:, None] + beside)[:, :, None, None] * line.along
    at = line.middle - low + along + offsets[:, None] * line.normal  # (places, 3, offsets, 2)
    inside = ((at > 1) & (at < high - low - 2)).all(axis=(1, 2, 3))
    profiles = sample_light(light, at.reshape(-1, 2)).reshape(at.shape[:3]).mean(axis=1)
    found = [
        (t, edge.position, max(edge.sd, 0.1))
        for t, profile in zip(places[inside], profiles[inside], strict=True)
        for edge in step_edges(offsets, profile, count=2, min_step=LEAST_STEP)
        if abs(edge.position) <= reach_px
    ]
    return np.array(found).reshape(-1, 3)


def _straightest(steps: FloatArray, hand_sd_px: float) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Return place, offset and sd of the steps on the line that most profiles agree on; None if half do not."""
    if len(steps) < LEAST_SHARE * PLACES:
        return None
    chance = np.random.default_rng(0)
    t, offset = steps[:, 0], steps[:, 1]
    best: FloatArray | None = None
    most = 0.0
    for _ in range(200):
        i, j = chance.choice(len(steps), 2, replace=False)
        if abs(t[i] - t[j]) < 0.2 * np.ptp(t):
            continue
        slope = (offset[j] - offset[i]) / (t[j] - t[i])
        gap = offset - offset[i] - slope * (t - t[i])
        near = np.abs(gap) < NEAR_PX
        count = len(np.unique(t[near]))
        # Of two parallel edges the nearer to the hand is the one that was meant.
        merit = count - 0.15 * PLACES * (float(np.mean(offset[near])) / max(hand_sd_px, 1.0)) ** 2 / 4.0
        if count >= LEAST_SHARE * PLACES and merit > most:
            most, best = merit, near
    if best is None:
        return None
    return t[best], offset[best], steps[best, 2]
