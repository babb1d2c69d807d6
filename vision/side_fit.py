"""The sides of a card or sheet of paper fitted to the pixels across them, and its corners where the sides cross."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.linear_light import Picture
from vision.quads import crossing, is_convex
from vision.side_light import decode
from vision.side_shade import LIFT_MM, Beside
from vision.side_step import Band, Step, fit_steps
from vision.walls import FloatArray

REACHES = (0.05, 0.03)
# Half the width of the band of pixels that a side is fitted to: this share of the shorter side within limits, px.
_ACROSS_SHARE, _LEAST_ACROSS_PX, _MOST_ACROSS_PX = 0.14, 4.0, 7.0
_STEP_PX = 0.5
_GUARD_PX = 2.5  # left out at each end, where the next side begins
_CLEAR_PX = 0.5  # left out beside a rounded corner where that is more
_MOST_ROWS, _SPARSE_ROWS = 40, 40
_PARTS, _MOST_OF_MEDIAN = 8, 1.5  # of a side, each with its own step of light; how much one may count for


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedSide:
    """One side: the line (3,) ``n . p + c = 0`` with n a unit vector pointing inwards, and what is known of it.

    ``covariance`` (2, 2) is that of its offsets at the two ends, px^2. ``contrast`` is the step of light across it as a
    share of the brighter side, ``straight_px`` the rms of pieces of it about the line, ``signal`` the step over the
    noise, ``inside`` the linear colour (3,) just within.
    """

    line: FloatArray
    ends: FloatArray
    covariance: FloatArray
    contrast: float
    straight_px: float
    signal: float
    inside: FloatArray
    outside: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedQuad:
    """A quadrilateral from its fitted sides; corners (4, 2) px as given, with an sd (4,) each."""

    corners_px: FloatArray
    sd_px: FloatArray
    sides: tuple[FittedSide, ...]


def near_quad(
    picture: Picture, corners_px: FloatArray, *, round_share: float = 0.0, reaches: Sequence[float] = REACHES
) -> FloatArray | str:
    """Return corners (4, 2) on the strongest straight steps beside rough ones, right to about half a pixel, or why not.

    Parameters
    ----------
    picture
        (h, w, 3) BGR or (h, w), upright, full resolution.
    corners_px
        (4, 2) rough corners, clockwise in the picture; sides are looked for within 5 % of the longest (4 to 16 px).
    round_share
        Radius of the corners as a share of the longer side; that much of each side is left out at both ends.
    reaches
        How far sides are looked for in each round, as shares of the longest.
    """
    corners: FloatArray | str = np.asarray(corners_px, float)
    for share in reaches:
        if isinstance(corners, str):
            break
        size = longest_px(corners)
        corners = _nearer(picture, corners, float(np.clip(share * size, 4.0, 16.0)), _GUARD_PX + round_share * size)
    return corners


def _nearer(picture: Picture, corners: FloatArray, reach: float, guard: float) -> FloatArray | str:
    lines = []
    for i in range(4):
        band = _band(picture, corners, i, reach, guard, sparse=True)
        if isinstance(band, str):
            return band
        offsets = _coarse_line(band.s, band.d, band.codes @ _mix(band.codes))
        lines.append(_line(band.place(offsets)))
    return _closed(lines, corners, 3 * reach)


def fit_quad(
    picture: Picture,
    corners_px: FloatArray,
    *,
    round_share: float = 0.0,
    lean_px: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0),
    px_per_mm: float = 1.0,
    thick_mm: float = 0.0,
) -> FittedQuad | str:
    """Return the quadrilateral fitted to the pixels from corners right to a pixel or so, or why it fails.

    Parameters
    ----------
    picture, round_share
        As for `near_quad`.
    corners_px
        (4, 2), clockwise in the picture.
    lean_px
        How far beyond each side of the thing's front, as seen, what lies a millimetre behind it is, px: the front's
        edge is fitted, not that of the side face behind it, whose light is unknown.
    px_per_mm
        About how large the thing is in the picture.
    thick_mm
        How thick it is: what throws the shadows beside it.
    """
    corners = np.asarray(corners_px, float)
    radius = round_share * longest_px(corners)
    guard = max(_GUARD_PX, radius + _CLEAR_PX)
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    across = float(np.clip(_ACROSS_SHARE * lengths.min(), _LEAST_ACROSS_PX, _MOST_ACROSS_PX))
    bands = []
    for i in range(4):
        band = _band(picture, corners, i, across, guard)
        if isinstance(band, str):
            return band
        bands.append(band)
    steps = fit_steps(
        [
            Band(s=b.s, d=b.d, codes=b.codes, lean_px=lean, bulge_px=_bulge(b.s, float(length), radius))
            for b, lean, length in zip(bands, lean_px, lengths, strict=True)
        ],
        Beside.of(np.array([-b.inward for b in bands]), px_per_mm, thick_mm, (thick_mm + LIFT_MM) * np.array(lean_px)),
        px_per_mm,
        thick_mm,
    )
    if steps is None:
        return "a side shows no edge"
    sides = [_fitted_side(band, step) for band, step in zip(bands, steps, strict=True)]
    moved = _closed([s.line for s in sides], corners, 3 * across)
    if isinstance(moved, str):
        return moved
    return FittedQuad(corners_px=moved, sd_px=_corner_sd(sides, moved), sides=tuple(sides))


def _bulge(s: FloatArray, length: float, radius: float) -> FloatArray:
    """Return how far blur draws a side inwards at places (m,) beside its rounded corners, px.

    An arc leaves its tangent by the square of the distance over twice its radius; the lens averages that along the side
    with an sd of about a pixel.
    """
    from scipy.special import ndtr

    drawn = np.zeros(len(s))
    if radius > 0:
        for u in (s - radius, length - radius - s):
            drawn += (u * u + 1) * ndtr(-u) - u * np.exp(-0.5 * u * u) / np.sqrt(2 * np.pi)
        drawn /= 2 * radius
    return drawn


def longest_px(corners: FloatArray) -> float:
    """Return the length of the longest side of a quadrilateral (4, 2), px."""
    return float(np.max(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)))


def _closed(lines: list[FloatArray], corners: FloatArray, most_px: float) -> FloatArray | str:
    """Return where consecutive lines cross, or why they make no quadrilateral near the given corners."""
    moved = np.array([crossing(lines[i - 1], lines[i]) for i in range(4)])
    if not np.isfinite(moved).all() or not is_convex(moved) or np.abs(moved - corners).max() > most_px:
        return "its sides do not close to a quadrilateral"
    return moved


def _line(ends: FloatArray) -> FloatArray:
    """Return the line (3,) through two points (2, 2) with its normal to the right of their direction (inwards)."""
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    inward = np.array([-along[1], along[0]])
    return np.array([inward[0], inward[1], -inward @ ends[0]])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Band:
    """Codes (m, n, 3), 0 to 1, at places ``s`` (m,) along a side and ``d`` (n,) across it, inwards positive, px."""

    s: FloatArray
    d: FloatArray
    codes: FloatArray
    start: FloatArray
    along: FloatArray
    inward: FloatArray

    def place(self, offsets: FloatArray) -> FloatArray:
        """Return the two ends (2, 2) of a line at offsets (2,) across the band's ends."""
        ends = [self.start + t * self.along + o * self.inward for t, o in zip(self.s[[0, -1]], offsets, strict=True)]
        return np.array(ends)


def _band(
    picture: Picture, corners: FloatArray, i: int, width: float, guard: float, *, sparse: bool = False
) -> _Band | str:
    """Return the band of pixels across side i; a long side's rows are averaged along it to at most ``_MOST_ROWS``."""
    import cv2

    a, b = corners[i], corners[(i + 1) % 4]
    along = b - a
    length = float(np.linalg.norm(along))
    along = along / length
    normal = np.array([-along[1], along[0]])  # clockwise corners in a picture with y down: this points inwards
    usable = length - 2 * guard
    if usable < 6:
        return "a side is too short to be fitted"
    pooled = 1 if sparse else max(1, int(np.ceil(usable / _MOST_ROWS)))
    rows = min(round(usable), _SPARSE_ROWS) if sparse else pooled * round(usable / pooled)
    s = guard + np.linspace(0, usable, max(8, rows))
    d = np.arange(-width, width + 1e-9, 1.0 if sparse else _STEP_PX)
    at = a + s[:, None, None] * along + d[None, :, None] * normal
    low = np.floor(at.reshape(-1, 2).min(axis=0)).astype(int) - 3
    high = np.ceil(at.reshape(-1, 2).max(axis=0)).astype(int) + 4
    if (low < 0).any() or (high > np.array(picture.shape[1::-1])).any():
        return "it reaches out of the picture"
    crop = picture[low[1] : high[1], low[0] : high[0]]
    maps = (at - low).astype(np.float32)
    values = crop.astype(np.float32) / 255
    # Between pixels a cubic sharpens what the fit takes as it was stored: dark things would come out 0.02 px too large.
    between = cv2.INTER_CUBIC if sparse else cv2.INTER_LANCZOS4
    codes = np.asarray(cv2.remap(values, maps[..., 0], maps[..., 1], between, borderMode=cv2.BORDER_REPLICATE), float)
    if codes.ndim == 2:
        codes = np.repeat(codes[..., None], 3, axis=2)
    if pooled > 1 and len(s) % pooled == 0:
        codes = codes.reshape(-1, pooled, *codes.shape[1:]).mean(axis=1)
        s = s.reshape(-1, pooled).mean(axis=1)
    return _Band(s=s, d=d, codes=codes, start=a, along=along, inward=normal)


def _fitted_side(band: _Band, step: Step) -> FittedSide:
    ends = band.place(step.offsets)
    inside, outside = _either_side(decode(band.codes), band.d, float(np.mean(step.offsets)))
    difference = float(np.abs(inside - outside).max())
    return FittedSide(
        line=_line(ends),
        ends=ends,
        covariance=step.covariance,
        contrast=difference / max(float(np.maximum(inside, outside).max()), 1e-3),
        straight_px=step.bend_px,
        signal=step.signal,
        inside=inside,
        outside=outside,
    )


def _either_side(colours: FloatArray, d: FloatArray, offset: float) -> tuple[FloatArray, FloatArray]:
    inner, outer = (d > offset + 1.5) & (d < offset + 4.5), (d < offset - 1.5) & (d > offset - 4.5)
    if inner.sum() < 2 or outer.sum() < 2:
        inner, outer = d > d[-3], d < d[2]
    return np.median(colours[:, inner], axis=(0, 1)), np.median(colours[:, outer], axis=(0, 1))


def _mix(codes: FloatArray) -> FloatArray:
    """Return weights (3,) of blue, green and red that set the inside off best from the outside, for its noise."""
    n = codes.shape[1]
    outer, inner = codes[:, : n // 3].reshape(-1, 3), codes[:, -(n // 3) :].reshape(-1, 3)
    step = np.median(inner, axis=0) - np.median(outer, axis=0)
    noise = 0.5 * (np.median(np.abs(np.diff(codes[:, : n // 3], axis=0)), axis=(0, 1)) + 1e-4)
    weights = step / noise**2
    total = float(np.abs(weights).sum())
    return np.asarray(weights / total) if total > 0 else np.full(3, 1 / 3)


def _coarse_line(s: FloatArray, d: FloatArray, light: FloatArray) -> FloatArray:
    """Return offsets (2,) at both ends of the line along which the light steps most, searched over two offsets."""
    import cv2

    smooth = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 1.0, sigmaY=1.0)
    slope = np.gradient(smooth, axis=1)
    parts = np.array_split(np.arange(len(s)), _PARTS)
    profile = np.array([slope[p].mean(axis=0) for p in parts])
    # Where a stripe crosses the side the light may step the other way, and much more: no part counts far beyond others.
    most = _MOST_OF_MEDIAN * float(np.median(np.abs(profile).max(axis=1)))
    profile = np.clip(profile, -most, most)
    span = (np.array([s[p].mean() for p in parts]) - s[0]) / (s[-1] - s[0])
    first, last = np.meshgrid(np.arange(len(d)), np.arange(len(d)), indexing="ij")
    index = np.round(first[None] + span[:, None, None] * (last - first)[None]).astype(int)
    steps = np.take_along_axis(profile[:, None, :], index, axis=2)
    score = np.maximum(np.maximum(steps, 0).sum(axis=0), np.maximum(-steps, 0).sum(axis=0))
    # Nearer the first guess is a little better, so that a parallel line further off does not win by a hair.
    score *= 1 - 0.01 * np.abs(first - last) / len(d) - 0.15 * np.abs(d[first] + d[last]) / (2 * abs(d[0]))
    i, j = np.unravel_index(int(np.argmax(score)), score.shape)
    return np.array([d[first[i, j]], d[last[i, j]]])


def _corner_sd(sides: list[FittedSide], corners: FloatArray) -> FloatArray:
    """Return an sd per axis (4,) of each corner from the covariance of its two sides' offsets there."""
    sd = np.empty(4)
    for i in range(4):
        variances, normals = [], []
        for side in (sides[i - 1], sides[i]):
            along = side.ends[1] - side.ends[0]
            share = float((corners[i] - side.ends[0]) @ along / (along @ along))
            lever = np.array([1 - share, share])
            variances.append(float(lever @ side.covariance @ lever))
            normals.append(side.line[:2])
        inverse = np.linalg.inv(np.array(normals))
        covariance = inverse @ np.diag(variances) @ inverse.T
        sd[i] = np.sqrt(0.5 * np.trace(covariance))
    return sd
