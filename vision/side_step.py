"""Blurred, straight steps of light fitted to bands of pixels: where the sides of a card or sheet of paper run.

The step is a Gaussian's integral, sharpened as phones do. Light before and behind it may change along the side. A
narrow strip just before it may be the thing's own side face or its shadow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray

_SETTLED_PX = 0.005
# Light before and behind the side may change in pieces this long, or longer where there would be more than so many.
_PIECE_PX, _MOST_PIECES = 10.0, 12
# Light of a card's side face: that of its front, shaded, or that of a light core, shaded; each with an sd as shares of
# the step from wall to front and of the wall's light (invented defaults).
_DYED, _DYED_SD = 0.8, 0.25
_CORE, _CORE_SD = 0.85, 0.5
# A narrow shadow beside a side: its width, and how wide a wholly black one would be with its sd, mm (invented).
_SHADOW_MM, _BLACK_MM, _BLACK_SD_MM = 0.6, 0.10, 0.08
_LEAST_STRIP_PX, _MOST_STRIP_PX = 0.8, 2.0
_NARROW_PX = 0.4
_SHARPEN_SD = 0.4  # of unsharp masking, with a second Gaussian twice as wide
_BLUR_APART_PX = 0.04  # sd of the difference between the blur of upright and of level sides: shake and the lens
_STEPS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Light (m, n), any mix of colours that sets inside off from outside, across one side of a quadrilateral.

    ``s`` (m,) are places along the side and ``d`` (n,) across it, inwards positive, px; ``strip_px`` is how wide the
    thing's side face should show before the step.
    """

    s: FloatArray
    d: FloatArray
    light: FloatArray
    strip_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A fitted side: offsets (2,) of the line at the band's ends, their covariance (2, 2), px.

    ``bend_px`` is the rms of pieces of the side about the line, ``signal`` the step over the noise.
    """

    offsets: FloatArray
    covariance: FloatArray
    bend_px: float
    signal: float


def fit_steps(bands: Sequence[Band], px_per_mm: float) -> list[Step] | None:
    """Return the steps in the bands of a quadrilateral's four sides, or None where one leaves its band.

    Blur and sharpening are the picture's and so common to all sides. That is what tells a narrow shadow, which widens
    one side's step, from a side that lies elsewhere.

    Parameters
    ----------
    bands
        Four, in the order of the sides.
    px_per_mm
        How large the thing is in the picture: shadows and stand-off are known in millimetres.
    """
    dyed = _fit_all(bands, px_per_mm, core=False)
    if all(band.strip_px < _NARROW_PX for band in bands):
        return None if dyed is None else dyed[0]
    core = _fit_all(bands, px_per_mm, core=True)
    if dyed is None or core is None:
        return None if dyed is core else (dyed or core or ([], 0.0))[0]
    share = 1 / (1 + np.exp(np.clip((core[1] - dyed[1]) / 2, -30, 30)))  # how likely the side face is a light core
    return [_mixed(a, b, float(share)) for a, b in zip(dyed[0], core[0], strict=True)]


def _mixed(a: Step, b: Step, share: float) -> Step:
    apart = b.offsets - a.offsets
    return Step(
        offsets=a.offsets + share * apart,
        covariance=(1 - share) * a.covariance + share * b.covariance + share * (1 - share) * np.outer(apart, apart),
        bend_px=min(a.bend_px, b.bend_px),
        signal=max(a.signal, b.signal),
    )


class _Side:
    """One side in the joint fit; blur and sharpening are shared with the others.

    Its own unknowns: offsets at both ends, the strip's light over the wall's, light before and behind.
    """

    def __init__(self, band: Band, px_per_mm: float, *, core: bool):
        self.band = band
        share = (band.s - band.s[0]) / (band.s[-1] - band.s[0])
        self.lever, self.hats = np.column_stack([1 - share, share]), _hats(band.s)
        quarter = len(band.d) // 4
        outer, inner = float(band.light[:, :quarter].mean()), float(band.light[:, -quarter:].mean())
        jump = inner - outer
        faces = (_DYED * inner - outer, _CORE * max(inner, outer) - outer)
        self.strip_px, self.moved, self.moved_sd = band.strip_px, 0.0, 0.0
        if band.strip_px >= _NARROW_PX:
            self.usual = faces[core]
            self.usual_sd = _CORE_SD * abs(jump) if core else _DYED_SD * abs(jump)
        else:
            # A narrower face is not fitted: it moves the step by its width, as far as it looks like the front.
            alike = np.mean([np.clip(f / jump, 0, 1) for f in faces]) if jump else 0.0
            self.moved, self.moved_sd = band.strip_px * float(alike), 0.4 * band.strip_px
            self.strip_px = float(np.clip(_SHADOW_MM * px_per_mm, _LEAST_STRIP_PX, _MOST_STRIP_PX))
            black = px_per_mm / self.strip_px
            self.usual, self.usual_sd = -_BLACK_MM * black * outer, _BLACK_SD_MM * black * abs(outer)
        self.usual_sd += 1e-4
        count = self.hats.shape[1]
        self.state = np.concatenate([[0, 0, self.usual], np.full(count, outer), np.full(count, inner)])
        self.weight, self.noise, self.shared = np.ones_like(band.light), 1e-3, 1.0
        self.residual = self.steep = band.light

    def linearised(self, blur: float, sharpen: float, *, robust: bool) -> tuple[FloatArray, FloatArray]:
        """Return the information matrix and pull of this side's pixels, in the order of `_predict`."""
        state = np.concatenate([self.state[:2], [blur, sharpen], self.state[2:]])
        predicted, jacobian, self.steep = _predict(state, self.band.d, self.lever, self.hats, self.strip_px)
        self.residual = self.band.light - predicted
        if robust:
            self.noise = max(float(np.median(np.abs(self.residual)) * 1.4826), 2e-4)
            self.weight = 1 / (1 + (self.residual / (3 * self.noise)) ** 2)
            self.shared = _correlation(self.residual / self.noise)  # the pixels know less than their number says
        known = 1 / (self.noise**2 * self.shared)
        weighted = (jacobian * self.weight.reshape(-1, 1)).T
        return known * (weighted @ jacobian), known * (weighted @ self.residual.ravel())

    def cost(self) -> float:
        """Return the chi-square of pixels (robust) and of the strip's light."""
        scaled = (self.residual / (3 * self.noise)) ** 2
        off = (self.state[2] - self.usual) / self.usual_sd
        return float(9 * np.sum(np.log1p(scaled)) / self.shared + off**2 + 2 * np.log(self.usual_sd))

    def step(self, covariance: FloatArray) -> Step:
        count = self.hats.shape[1]
        jump = float(np.median(np.abs(self.hats @ (self.state[3 + count :] - self.state[3 : 3 + count]))))
        return Step(
            offsets=self.state[:2] + self.moved,
            covariance=np.asarray(covariance + self.moved_sd**2, float),
            bend_px=float(np.sqrt(np.mean(_piece_offsets(self.residual, self.steep, self.weight, self.hats) ** 2))),
            signal=jump / self.noise,
        )


def _fit_all(bands: Sequence[Band], px_per_mm: float, *, core: bool) -> tuple[list[Step], float] | None:
    """Return all sides fitted together, and the chi-square; None where one leaves its band."""
    sides = [_Side(band, px_per_mm, core=core) for band in bands]
    sizes = [len(side.state) for side in sides]
    first = 3 + np.concatenate([[0], np.cumsum(sizes)])
    optics = np.array([1.0, 1.0, 0.0])  # blur of the first and third side, of the others, and sharpening
    places = [
        np.concatenate([[first[i], first[i] + 1, i % 2, 2], np.arange(first[i] + 2, first[i + 1])])
        for i in range(len(sides))
    ]
    normal: FloatArray = np.zeros((0, 0))
    for step in range(_STEPS):
        normal, pull = 1e-6 * np.eye(first[-1]), np.zeros(first[-1])
        normal[2, 2] += _SHARPEN_SD**-2
        pull[2] -= optics[2] / _SHARPEN_SD**2
        apart = np.array([[1.0, -1.0], [-1.0, 1.0]]) / _BLUR_APART_PX**2
        normal[:2, :2] += apart
        pull[:2] -= apart @ optics[:2]
        for i, side in enumerate(sides):
            known, force = side.linearised(float(optics[i % 2]), float(optics[2]), robust=step >= 2)
            normal[np.ix_(places[i], places[i])] += known
            pull[places[i]] += force
            normal[first[i] + 2, first[i] + 2] += side.usual_sd**-2
            pull[first[i] + 2] += (side.usual - side.state[2]) / side.usual_sd**2
        change = np.linalg.solve(normal, pull)
        optics = np.clip(optics + np.clip(change[:3], [-1, -1, -np.inf], [0.4, 0.4, np.inf]), [0.4, 0.4, -0.6],
                         [3.5, 3.5, 1.2])  # fmt: skip
        moved = 0.0
        for i, side in enumerate(sides):
            own = change[first[i] : first[i + 1]].copy()
            own[:2] = np.clip(own[:2], -1.0, 1.0)
            side.state = side.state + own
            moved = max(moved, float(np.abs(own[:2]).max()))
            if np.abs(side.state[:2]).max() > side.band.d[-1] - 0.5:
                return None
        if step >= 4 and moved < _SETTLED_PX:
            break
    covariance = np.asarray(np.linalg.inv(normal), float)
    steps = [side.step(covariance[k : k + 2, k : k + 2]) for side, k in zip(sides, first[:-1], strict=True)]
    return steps, sum(side.cost() for side in sides)


def _predict(
    state: FloatArray, d: FloatArray, lever: FloatArray, hats: FloatArray, strip_px: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return predicted light (m, n), its Jacobian (m n, k) and its slope across the side (m, n)."""
    blur, sharpen, face = state[2:5]
    count = hats.shape[1]
    t = (d[None] - (lever @ state[:2])[:, None]) / blur
    before_t = t + strip_px / blur
    rise, bell, excess = _sharpened(t, blur, sharpen)
    rise_face, bell_face, excess_face = _sharpened(before_t, blur, sharpen)
    before, behind = hats @ state[5 : 5 + count], hats @ state[5 + count :]
    front = (behind - before)[:, None] - face
    steep = front * bell + face * bell_face
    jacobian = np.empty((*t.shape, len(state)))
    jacobian[..., :2] = -steep[..., None] * lever[:, None, :]
    jacobian[..., 2] = -front * bell * t - face * bell_face * before_t
    jacobian[..., 3] = front * excess + face * excess_face
    jacobian[..., 4] = rise_face - rise
    jacobian[..., 5 : 5 + count] = (1 - rise)[..., None] * hats[:, None, :]
    jacobian[..., 5 + count :] = rise[..., None] * hats[:, None, :]
    predicted = before[:, None] + face * rise_face + front * rise
    return predicted, jacobian.reshape(-1, len(state)), steep


def _sharpened(t: FloatArray, blur: float, sharpen: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return a sharpened step, its slope per px, and its change with sharpening, at places ``t`` in sd of the blur."""
    from scipy.special import ndtr

    near, wide = ndtr(t), ndtr(0.5 * t)
    bell = (1 + sharpen) * np.exp(-0.5 * t * t) - 0.5 * sharpen * np.exp(-0.125 * t * t)
    return near + sharpen * (near - wide), bell / (np.sqrt(2 * np.pi) * blur), near - wide


def _hats(s: FloatArray) -> FloatArray:
    """Return overlapping triangles (m, k) along a side that add to one: light may change from piece to piece."""
    knots = int(np.clip(round((s[-1] - s[0]) / _PIECE_PX), 1, _MOST_PIECES)) + 1
    at = np.linspace(s[0], s[-1], knots)
    return np.asarray(np.maximum(0, 1 - np.abs(s[:, None] - at[None]) / (at[1] - at[0])), float)


def _piece_offsets(residual: FloatArray, slope: FloatArray, weight: FloatArray, hats: FloatArray) -> FloatArray:
    """Return how far each piece of a side lies off the fitted line, px."""
    top = hats.T @ np.sum(weight * slope * residual, axis=1)
    bottom = hats.T @ np.sum(weight * slope * slope, axis=1)
    return np.asarray(-top / np.maximum(bottom, 1e-9))


def _correlation(scaled: FloatArray) -> float:
    """Return by how much noise shared by neighbours (interpolation, demosaicing, JPEG) widens the fit's variance."""
    value = np.clip(scaled, -4, 4)
    total = float(np.mean(value * value)) + 1e-12
    across = 1 + 2 * sum(max(0.0, float(np.mean(value[:, k:] * value[:, :-k])) / total) for k in range(1, 5))
    along = 1 + 2 * sum(max(0.0, float(np.mean(value[k:] * value[:-k])) / total) for k in range(1, 3))
    return float(across * along)
