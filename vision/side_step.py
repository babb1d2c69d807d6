"""Blurred, straight steps fitted to the pixels across the sides of a card or sheet of paper: where they run.

In light, one side is a step blurred by a Gaussian, and just before it lie the thing's own side face, its shadow on the
wall and the wall dim about it. Where they are narrower than the blur, in one colour each looks like a step that lies
elsewhere. But a shadow dims all colours alike, all sides' shadows are of one light, and their side faces of one colour
(`vision.side_shade`); a side face shows only where the camera looks at it, and blur is common to all sides: fitted
together in all colours, they are told apart.
The phone encodes the light, sharpens it and stores its colours coarsely; the fit is to what it stored
(`vision.side_light`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.side_light import (
    COARSE,
    MASK_PX,
    SHARPEN,
    TO_YCC,
    TONE,
    Optics,
    Strips,
    bent,
    decode,
    encode,
    gaussian,
    seen_through,
)
from vision.side_shade import LIFT_MM, TAKEN, UNKNOWNS, Beside, rings
from vision.walls import FloatArray

_SETTLED_PX = 0.03
# Light before and behind the side may change in pieces this long, or longer where there would be more than so many.
_PIECE_PX, _MOST_PIECES = 20.0, 12
# Where a stripe runs over the side, or the wall's pattern changes: a rise of colour within 2 px of so much of the codes
# and so many sd; half of what blur draws it out to, px; how many of them at most.
_JUMP, _JUMP_SD, _JUMP_PX, _MOST_JUMPS = 0.04, 5.0, 1.2, 8
# A shadow is as wide as it is dark, within limits: px, heights that the thing stands off, and the share of the wall's
# light that it takes (invented defaults).
_LEAST_SHADOW_PX, _WIDEST_SHADOW, _DARKEST = 0.3, 0.8, 0.5
_SHARPEN_SD, _COARSE_SD, _TONE_SD = 0.5, 0.5, 0.1
_BLUR_APART_PX = 0.04  # sd of the difference between the blur of upright and of level sides: shake and the lens
# JPEG keeps what is fine in its colours ever more coarsely, so they are compared without what is finer than this, px,
# and it spreads their error over blocks of 16 px, further than neighbours show: what they weigh. And the variance that
# pixels have beyond their noise, and what a side may be off besides, px, as no phone is quite what the model says and
# no side quite straight (from rendered cards and sheets).
_FINE_PX, _CHANNEL_WEIGHT, _BEYOND_NOISE, _SIDE_SD_PX = 1.5, (1.0, 0.7, 0.7), 1.2, 0.05
_LEAST_NOISE = 1 / 765
# What misfits by so many sd twice this far within the side is print: its blur, which reaches so far, is not weighed.
# Where the side itself lies this far off the line it is bent, px, and nothing is taken for print.
_PRINT_SD, _PRINT_PX, _PRINT_BEND_PX = 5.0, 1.5, 0.5
_MARGIN_PX = 4.0  # beyond the band, so that sharpening sees what lies there
_STEPS, _FIRST_ROBUST, _OFTEN = 10, 2, 4
# What lies beside the sides is held until they move by no more than this in a step, px, but for so many steps at most.
_NEAR_PX, _LAST_HELD = 0.2, 5
# The unknowns of all sides: two offsets each, blur of the first and third and of the others, sharpening, coarseness of
# colours, tone, and what lies beside them. Their greatest change in a step, and their bounds.
_OFFSETS, _BLUR, _BESIDE = 8, slice(8, 10), 13
_STRIDE = np.array([1.0] * 8 + [0.4] * 2 + [0.3] * 2 + [0.1] + [0.5] * 2 + [0.3] * 8)
_LOW = np.array([-np.inf] * 8 + [0.35, 0.35, -0.5, 0.05, -0.3] + [-np.inf] * UNKNOWNS)
_HIGH = np.array([np.inf] * 8 + [3.5, 3.5, 2.0, 4.0, 0.7] + [np.inf] * UNKNOWNS)
_OWN = 10  # of them bear on one side


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Codes (m, n, 3), 0 to 1, blue green red, across one side of a quadrilateral.

    ``s`` (m,) are places along the side and ``d`` (n,) across it, evenly spaced, inwards positive, px; ``lean_px`` is
    how far before the step what lies a millimetre behind it is seen, ``bulge_px`` (m,) how far rounded corners draw it
    inwards.
    """

    s: FloatArray
    d: FloatArray
    codes: FloatArray
    lean_px: float
    bulge_px: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A fitted side: offsets (2,) of the line at the band's ends, their covariance (2, 2), px.

    ``bend_px`` is the rms of pieces of the side about the line, each by what its pixels know, ``signal`` the step over
    the noise.
    """

    offsets: FloatArray
    covariance: FloatArray
    bend_px: float
    signal: float


def fit_steps(bands: Sequence[Band], beside: Beside, px_per_mm: float, thick_mm: float) -> list[Step] | None:
    """Return the steps in the bands of a quadrilateral's four sides, or None where one leaves its band.

    Parameters
    ----------
    bands
        Four, in the order of the sides.
    beside
        What may lie beside them.
    px_per_mm, thick_mm
        How large the thing is in the picture, and how thick it is: side faces and shadows are known in millimetres.
    """
    sides = [_Side(band, px_per_mm, thick_mm, i) for i, band in enumerate(bands)]
    greatest = float(np.mean([side.levels.max() for side in sides]))
    mean, precision = _prior()
    high = _HIGH.copy()
    high[_BESIDE + 2 : _BESIDE + 6] = [_DARKEST * side.widest_px for side in sides]
    state, covariance = mean, precision
    held, moved = True, np.inf
    for step in range(_STEPS):
        held = step < _FIRST_ROBUST or (held and moved > _NEAR_PX and step < _LAST_HELD)
        normal, pull = precision.copy(), precision @ (mean - state)
        for side in sides:
            known, force = side.linearised(state, greatest, step=step)
            normal[np.ix_(side.places, side.places)] += known
            pull[side.places] += force
        change, covariance = _solved(normal, pull, state[_BESIDE:], beside, held=held)
        after = np.clip(state + np.clip(change, -_STRIDE, _STRIDE), _LOW, high)
        change, state = after - state, after
        moved = float(np.abs(change[:_OFFSETS]).max())
        for side in sides:
            side.follow(change)
        if np.abs(state[:_OFFSETS]).max() > bands[0].d[-1] - 0.5:
            return None
        if not held and step > _FIRST_ROBUST and moved < _SETTLED_PX:
            break
    return [side.step(state, covariance) for side in sides]


def _solved(
    normal: FloatArray, pull: FloatArray, now: FloatArray, beside: Beside, *, held: bool
) -> tuple[FloatArray, FloatArray]:
    """Return the change (23,) that the normal equations ask for, and the covariance (13, 13) of the first unknowns.

    The equations know nothing of what lies beside the sides but what pixels say; what else is known of that is no one
    Gaussian. While it is ``held`` it is as one would guess: until the sides lie about right, a shadow may take the
    place of half a pixel of side.
    """
    first = np.asarray(np.linalg.inv(normal[:_BESIDE, :_BESIDE]), float)
    follow = -first @ normal[:_BESIDE, _BESIDE:]  # how all else moves with what lies beside
    if held:
        change = beside.told_by(np.zeros((UNKNOWNS, UNKNOWNS)), np.zeros(UNKNOWNS))[0] - now
        return np.concatenate([first @ pull[:_BESIDE] + follow @ change, change]), first
    known = normal[_BESIDE:, _BESIDE:] + normal[_BESIDE:, :_BESIDE] @ follow
    mean, spread = beside.told_by(known, known @ now + pull[_BESIDE:] + follow.T @ pull[:_BESIDE])
    change = mean - now
    return np.concatenate([first @ pull[:_BESIDE] + follow @ change, change]), first + follow @ spread @ follow.T


def _prior() -> tuple[FloatArray, FloatArray]:
    """Return mean (23,) and precision (23, 23) of the unknowns; what lies beside the sides has none of its own here."""
    mean = np.concatenate([np.zeros(_OFFSETS), [1.0, 1.0, SHARPEN, COARSE, TONE], np.zeros(UNKNOWNS)])
    sd = [*[1e3] * 10, _SHARPEN_SD, _COARSE_SD, _TONE_SD]
    precision = np.diag([*np.array(sd) ** -2.0, *[0.0] * UNKNOWNS])
    precision[_BLUR, _BLUR] += np.array([[1.0, -1.0], [-1.0, 1.0]]) / _BLUR_APART_PX**2
    return mean, precision


class _Side:
    """One side in the joint fit: its light before and behind (``levels``: pieces by two by three) is its own."""

    def __init__(self, band: Band, px_per_mm: float, thick_mm: float, index: int):
        self.band = band
        shared = (_BLUR.start + index % 2, *range(10, _BESIDE))
        self.places = np.array(
            [2 * index, 2 * index + 1, *shared, _BESIDE, _BESIDE + 1, _BESIDE + 2 + index, _BESIDE + 6 + index]
        )
        share = (band.s - band.s[0]) / (band.s[-1] - band.s[0])
        self.lever, self.hats = np.column_stack([1 - share, share]), _hats(band.s, _jumps(band))
        self.smooth = gaussian(band.d, band.d, _FINE_PX**2)
        self.seen = np.tensordot(TO_YCC, band.codes, (1, 2))
        self.seen[1:] = self.seen[1:] @ self.smooth.T
        step = band.d[1] - band.d[0]
        more = step * np.arange(1, round(_MARGIN_PX / step) + 1)
        self.wide = np.concatenate([band.d[0] - more[::-1], band.d, band.d[-1] + more])
        self.mask = gaussian(band.d, self.wide, MASK_PX**2)
        self.inner = slice(len(more), len(more) + len(band.d))
        self.middle = np.eye(len(self.wide))[self.inner]
        quarter = len(band.d) // 4
        ends = [decode(codes).mean(axis=1) for codes in (band.codes[:, :quarter], band.codes[:, -quarter:])]
        self.levels = np.tensordot(np.linalg.pinv(self.hats, rcond=0.1), np.clip(ends, 1e-4, 1.3), (1, 1))
        self.face_px = max(thick_mm * band.lean_px, 1e-3)
        high = thick_mm + LIFT_MM
        out, self.dim_steps = rings()
        self.widest_px = max(_WIDEST_SHADOW * high * px_per_mm, _LEAST_SHADOW_PX)
        self.dim_px = np.maximum(high * band.lean_px + high * px_per_mm * out, self.face_px)
        self.weight, self.noise, self.shared = np.ones_like(self.seen), np.full(3, 0.01), np.ones(3)
        self.residual = self.steep = self.seen
        self.printed, self.within_px = np.zeros(self.seen.shape[1:], bool), np.zeros(self.seen.shape[1:])
        self.back: FloatArray = np.zeros((0, 0))

    def linearised(self, state: FloatArray, greatest: float, *, step: int) -> tuple[FloatArray, FloatArray]:
        """Return the information (10, 10) of this side's pixels on its `places`, its light eliminated, and its pull."""
        offsets, (blur, sharpen, coarse, tone, front, core, black, dim) = state[self.places[:2]], state[self.places[2:]]
        at = self.wide[None] - (self.lever @ offsets + self.band.bulge_px)[:, None]
        strips = Strips(
            front=front, core=core * greatest, black=black, dim=dim, face_px=self.face_px,
            shadow_px=float(np.clip(black / TAKEN, _LEAST_SHADOW_PX, self.widest_px)), dim_px=self.dim_px,
            dim_steps=self.dim_steps,
        )  # fmt: skip
        level = np.moveaxis(np.tensordot(self.hats, self.levels, 1), 2, 0)[..., None]
        light = seen_through(at, level[:, :, 0], level[:, :, 1], strips, blur)
        code, slope, by_tone = bent(*encode(light.light), tone)
        # Across the side, by blur, and by what lies beside it; then by light before and behind.
        by = (
            np.stack(
                [light.steep, light.by_blur, light.by_front, light.by_core * greatest, light.by_black, light.by_dim]
            )
            * slope
        )
        optics = Optics.of(self.band.d, self.wide, self.middle, self.mask, self.smooth, sharpen=sharpen, coarse=coarse)
        own = optics.stored(np.tensordot(TO_YCC, np.concatenate([code[None], by_tone[None], by]), (1, 1)))
        before, behind = slope * light.by_before, slope * light.by_behind
        levels = optics.stored_alone(np.concatenate([before, behind]))
        self.residual, self.steep = self.seen - own[:, 0], own[:, 2]
        self.within_px = at[:, self.inner]
        across = own[:, 2, None] * self.lever.T[None, :, :, None]
        by_optics = optics.changes(np.tensordot(TO_YCC, code, (1, 0)))
        jacobian = np.concatenate([-across, own[:, 3, None], by_optics, own[:, 1, None], own[:, 4:], levels], axis=1)
        if step >= _FIRST_ROBUST:
            self._weigh(anew=(step - _FIRST_ROBUST) % _OFTEN == 0)
        variance = (self.noise**2 * self.shared / _CHANNEL_WEIGHT)[:, None, None]
        known = np.sqrt(np.where(self.printed, 0.0, self.weight) / variance)
        return self._eliminated(jacobian * known[:, None], self.residual * known)

    def _weigh(self, *, anew: bool) -> None:
        import cv2

        noise = np.median(np.abs(self.residual[:, ~self.printed]), axis=1) * 1.4826
        self.noise = np.maximum(noise, _LEAST_NOISE)
        scaled = self.residual / self.noise[:, None, None]
        self.weight = 1 / (1 + (scaled / 3) ** 2)
        odd = (np.abs(scaled) > _PRINT_SD).any(axis=0) & (self.within_px > 2 * _PRINT_PX)
        top, bottom = self._moves(np.abs(self.within_px) < _PRINT_PX)
        odd[np.abs(top) > _PRINT_BEND_PX * bottom] = False
        reach = 2 * round(_PRINT_PX / (self.band.d[1] - self.band.d[0])) + 1
        self.printed = cv2.dilate(odd.astype(np.uint8), np.ones((3, reach), np.uint8)) > 0
        if anew:  # the pixels know less than their number says
            plain = np.where(self.printed, 0.0, scaled)
            self.shared = _BEYOND_NOISE * np.array([_correlation(c) for c in plain])

    def _moves(self, among: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
        """Return by row (m,) how far pixels (m, n), odd ones too, would move the side times their weight, and that."""
        known = among / self.noise[:, None, None] ** 2 * self.steep
        return (known * self.residual).sum(axis=(0, 2)), (known * self.steep).sum(axis=(0, 2))

    def _eliminated(self, jacobian: FloatArray, residual: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the normal equations of the shared unknowns without the levels; what these follow by is kept.

        A row sees its levels only through its two hats, so each row's own small system is spread over the pieces.
        """
        rows = jacobian.transpose(2, 1, 0, 3).reshape(len(self.hats), jacobian.shape[1], -1)
        gram = rows @ rows.transpose(0, 2, 1)
        pull = (rows @ residual.transpose(1, 0, 2).reshape(len(self.hats), -1, 1))[..., 0]
        count = self.hats.shape[1]
        pairs = (self.hats[:, :, None] * self.hats[:, None]).reshape(len(self.hats), -1)
        level = (pairs.T @ gram[:, _OWN:, _OWN:].reshape(len(self.hats), -1)).reshape(count, count, 6, 6)
        levels = level.transpose(0, 2, 1, 3).reshape(6 * count, 6 * count)
        cross = (self.hats.T @ gram[:, _OWN:, :_OWN].reshape(len(self.hats), -1)).reshape(6 * count, _OWN)
        pulled = (self.hats.T @ pull[:, _OWN:]).reshape(6 * count, 1)
        self.back = np.linalg.solve(levels + 1e-3 * np.eye(6 * count), np.concatenate([cross, pulled], axis=1))
        own = gram[:, :_OWN, :_OWN].sum(axis=0) - cross.T @ self.back[:, :_OWN]
        return own, pull[:, :_OWN].sum(axis=0) - cross.T @ self.back[:, _OWN]

    def follow(self, change: FloatArray) -> None:
        """Move the light before and behind by what a change of the shared unknowns leaves to it."""
        moved = self.back[:, _OWN] - self.back[:, :_OWN] @ change[self.places]
        self.levels = np.clip(self.levels + moved.reshape(self.levels.shape), 1e-4, 1.3)

    def step(self, state: FloatArray, covariance: FloatArray) -> Step:
        code = encode(self.levels)[0]
        jump = np.median((code[:, 1] - code[:, 0]) @ TO_YCC.T, axis=0)
        own = self.places[:2]
        top, bottom = (self.hats.T @ rows for rows in self._moves(~self.printed))
        return Step(
            offsets=state[own],
            covariance=covariance[np.ix_(own, own)] + _SIDE_SD_PX**2,
            bend_px=float(np.sqrt(np.sum(top**2 / np.maximum(bottom, 1e-9)) / max(float(bottom.sum()), 1e-9))),
            signal=float(np.linalg.norm(jump / self.noise)),
        )


def _hats(s: FloatArray, jumps: FloatArray) -> FloatArray:
    """Return overlapping triangles (m, k) along a side that add to one: light may change from piece to piece.

    At a jump (n,) of colour one piece ends and the next begins, as near together as blur lets them.
    """
    count = int(np.clip(round((s[-1] - s[0]) / _PIECE_PX), 1, _MOST_PIECES)) + 1
    even = np.linspace(s[0], s[-1], count)
    ends = np.concatenate([jumps - _JUMP_PX, jumps + _JUMP_PX])
    ends = ends[(ends > s[0] + 1) & (ends < s[-1] - 1)]
    if len(ends):
        near = np.abs(even[:, None] - ends).min(axis=1) < 0.2 * _PIECE_PX
        near[[0, -1]] = False
        even = even[~near]
    knots = np.sort(np.concatenate([even, ends]))
    return np.stack([np.interp(s, knots, unit) for unit in np.eye(len(knots))], axis=1)


def _jumps(band: Band) -> FloatArray:
    """Return the places (n,) along a side where the colour of the thing, or of what it lies on, jumps, px."""
    quarter = len(band.d) // 4
    score = np.zeros(len(band.s))
    for part in (band.codes[:, :quarter], band.codes[:, -quarter:]):
        rise = np.zeros((len(band.s), 3))
        rise[1:-1] = part[2:].mean(axis=1) - part[:-2].mean(axis=1)
        noise = np.median(np.abs(rise[1:-1]), axis=0) * 1.4826 + _LEAST_NOISE
        score = np.maximum(score, np.abs(rise / noise).max(axis=1) * (np.abs(rise).max(axis=1) > _JUMP))
    found: list[int] = []
    while len(found) < _MOST_JUMPS and score.max() > _JUMP_SD:
        found.append(int(np.argmax(score)))
        score[np.abs(band.s - band.s[found[-1]]) < 2 * _JUMP_PX + 1] = 0.0
    return np.asarray(band.s[sorted(found)], float)


def _correlation(scaled: FloatArray) -> float:
    """Return by how much noise shared by neighbours (interpolation, demosaicing, JPEG) widens the fit's variance.

    The correlations are added up to the first that is not positive: the rest is chance, which has no part in them.
    """
    value = np.clip(scaled, -4, 4)
    total = float(np.mean(value * value)) + 1e-12
    widened = 1.0
    for rows, most in ((value.T, 13), (value, 8)):
        alike = np.array([float(np.mean(rows[k:] * rows[:-k])) / total for k in range(1, most)])
        over = np.flatnonzero(alike <= 0)
        widened *= 1 + 2 * float(alike[: over[0] if len(over) else None].sum())
    return widened
