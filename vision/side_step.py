"""One blurred, straight step of light fitted to a band of pixels: where a side of a card or sheet of paper runs.

The step is a Gaussian's integral, sharpened as phones do. Light before and behind it may change along the side. A
narrow strip just before it may be the thing's own side face or its shadow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray

_SETTLED_PX = 0.005
_PIECE_PX = 10.0  # light before and behind the side may change in pieces this long
_SIDE_FACE = 0.8  # light of a side face over that of the front (invented default)
# A narrow shadow beside a side: its width, its usual depth and the depth's sd as shares of the light there (invented).
_SHADOW_PX, _SHADOW, _SHADOW_SD = 0.8, 0.04, 0.06
_NARROW_PX = 0.4
_SHARPEN_SD = 0.4  # of unsharp masking, with a second Gaussian twice as wide


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A fitted side: offsets (2,) of the line at the band's ends, their covariance (2, 2), px.

    ``bend_px`` is the rms of pieces of the side about the line, ``signal`` the step over the noise.
    """

    offsets: FloatArray
    covariance: FloatArray
    bend_px: float
    signal: float


def fit_step(s: FloatArray, d: FloatArray, light: FloatArray, strip_px: float) -> Step | None:
    """Return the step in a band of light (m, n), or None where it leaves the band.

    Parameters
    ----------
    s, d
        (m,) places along the side and (n,) across it, inwards positive, px.
    light
        (m, n) light, any mix of colours that sets inside off from outside.
    strip_px
        How wide the thing's side face should show before the step, px.
    """
    share = (s - s[0]) / (s[-1] - s[0])
    lever, hats = np.column_stack([1 - share, share]), _hats(s)
    count = hats.shape[1]
    outer, inner = float(light[:, : len(d) // 4].mean()), float(light[:, -(len(d) // 4) :].mean())
    # A side face is mostly darker than the front, but may be a white core or in shadow: known to about half the step.
    # Elsewhere the strip is the wall, or the narrow shadow of a thing that stands off it.
    # One narrower than that is not fitted: it moves the step by its width, as far as it looks like the front.
    jump = inner - outer
    wide = strip_px >= _NARROW_PX
    usual, face_sd = (
        (_SIDE_FACE * inner - outer, 0.35 * abs(jump)) if wide else (-_SHADOW * outer, _SHADOW_SD * abs(outer))
    )
    alike = float(np.clip((_SIDE_FACE * inner - outer) / jump, 0, 1)) if jump else 0.0
    moved = np.array([0.0, 0.0]) if wide else np.array([strip_px * alike, 0.4 * strip_px])
    strip_px = strip_px if wide else _SHADOW_PX
    # Offsets at both ends, blur, sharpening, the strip's light over the wall's, then light before and behind.
    state = np.concatenate([[0, 0, 1.0, 0, usual], np.full(count, outer), np.full(count, inner)])
    mean, sd = np.array([0, usual]), np.array([_SHARPEN_SD, face_sd + 1e-4])
    noise, weight, shared = 1e-3, np.ones_like(light), 1.0
    for step in range(12):
        predicted, jacobian, steep = _predict(state, d, lever, hats, strip_px)
        residual = light - predicted
        if step >= 2:
            noise = max(float(np.median(np.abs(residual)) * 1.4826), 2e-4)
            weight = 1 / (1 + (residual / (3 * noise)) ** 2)
            shared = _correlation(residual / noise)  # so much less do the pixels know than their number says
        normal = (jacobian * weight.reshape(-1, 1)).T @ jacobian + 1e-7 * np.eye(len(state))
        pull = jacobian.T @ (weight * residual).ravel()
        prior = shared * (noise / sd) ** 2
        normal[[3, 4], [3, 4]] += prior
        pull[3:5] += prior * (mean - state[3:5])
        change = np.linalg.solve(normal, pull)
        change[:3] = np.clip(change[:3], -1.0, [1.0, 1.0, 0.4])
        state = state + change
        state[2], state[3] = np.clip(state[2], 0.4, 3.5), np.clip(state[3], -0.6, 1.2)
        if np.abs(state[:2]).max() > d[-1] - 0.5:
            return None
        if step >= 4 and np.abs(change[:2]).max() < _SETTLED_PX:
            break
    covariance = np.linalg.inv(normal)[:2, :2] * noise**2 * shared + moved[1] ** 2
    jump = float(np.median(np.abs(hats @ (state[5 + count :] - state[5 : 5 + count]))))
    return Step(
        offsets=state[:2] + moved[0],
        covariance=np.asarray(covariance, float),
        bend_px=float(np.sqrt(np.mean(_piece_offsets(residual, steep, weight, hats) ** 2))),
        signal=jump / noise,
    )


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
    knots = max(2, round((s[-1] - s[0]) / _PIECE_PX) + 1)
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
