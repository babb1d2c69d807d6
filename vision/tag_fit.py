"""A survey sheet's place fitted to all its pixels: every edge of every tag at once, in linear light.

The print is known, so its picture can be predicted: a projective map with a little lens curvature, blur, sharpening,
the tone curve's rest ("bloom"), and for each tag its own white and black with a slope each. All are unknowns of one
robust least-squares fit to the pixels. Corners come from the map alone, so bloom does not move them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision.linear_light import Picture, linear_light
from vision.sheet_map import CELL_MM, TAG_CENTRES_MM, TAG_MM, SheetMap, project
from vision.walls import FloatArray

_REACH_MM = 43.0  # pixels up to 7 mm outside a tag's square take part; paper ends 12.5 mm outside
_EDGE_PX = 4.0  # and only those this near to a border between cells
_MOST_PIXELS = 1400  # of one tag
_MAP, _SHARED = 11, 14  # eight of the map, lens curvature, two of bend; and blur, sharpening, bloom
# Priors of lens curvature, bend (mm), blur (px), sharpening and bloom: mean and sd. Invented, wide.
_PRIOR = np.array([[0.0, 0.03], [0.0, 0.6], [0.0, 0.6], [0.9, 0.7], [0.0, 0.5], [0.0, 0.6]])
_SLOPE_SD = 0.3  # of white and of black across a tag, as a share of the contrast
_BLURRED_SD = 11.0  # how far the wider of the two Gaussians of a border reaches, in sd of the narrower
_SETTLED_PX, _MOST_STEP_PX, _FIXED = 0.012, 1.2, 1e12


@dataclass(frozen=True, slots=True, kw_only=True)
class TagFit:
    """The fitted place of one sheet.

    ``covariance`` (11, 11) is that of the map's numbers. ``likeness`` is each tag's correlation with its predicted
    picture, ``shift_px`` (n, 2) how far each tag would go on its own, ``noise`` the residuals' sd in light.
    """

    tags: tuple[int, ...]
    map: SheetMap
    covariance: FloatArray
    blur_px: float
    sharpen: float
    bloom: float
    likeness: FloatArray
    shift_px: FloatArray
    noise: float


@lru_cache(maxsize=600)
def black_cells(tag_id: int) -> FloatArray:
    """Return the 8 x 8 cells (row 0 at the top) of an AprilTag 36h11 with its border, 1 where black."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, tag_id, 8, borderBits=1) < 128, float)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pixels:
    """The pixels that take part, (n, 2), their light (n,) and whose they are: an index into ``tags``."""

    number: int
    tags: tuple[int, ...]
    at: FloatArray
    light: FloatArray
    tag_of: NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """The unknowns: map, (blur, sharpening, bloom), and per tag white and black as plane (n, 6)."""

    map: SheetMap
    optics: FloatArray
    levels: FloatArray

    def moved(self, change: FloatArray) -> _State:
        inverse = np.append(self.map.inverse.ravel()[:8] + change[:8], 1.0).reshape(3, 3)
        optics = self.optics + change[_MAP:_SHARED]
        return _State(
            map=replace(
                self.map,
                inverse=inverse,
                kappa=self.map.kappa + float(change[8]),
                bend_mm=self.map.bend_mm + change[9:_MAP],
            ),
            optics=np.clip(optics, [0.35, -0.9, -0.9], [4.0, 1.5, 1.5]),
            levels=self.levels + change[_SHARED:].reshape(-1, 6),
        )

    def vector(self) -> FloatArray:
        m = self.map
        return np.concatenate([m.inverse.ravel()[:8], [m.kappa], m.bend_mm, self.optics, self.levels.ravel()])


def fit_tags(picture: Picture, number: int, tags: Sequence[int], first: FloatArray, *, steps: int = 8) -> TagFit | str:
    """Return the sheet's place fitted to the pixels of the given tags, or why there is none.

    Parameters
    ----------
    picture
        The upright photo, (h, w) or (h, w, 3) BGR.
    number
        The sheet's number n; its tags carry ids 4n to 4n + 3.
    tags
        Which of the four tags (0 to 3) take part.
    first
        (3, 3) map from sheet millimetres to pixels, right to about a third of a cell.
    steps
        The most Gauss-Newton steps.

    Returns
    -------
    TagFit or str
        The fit, or a sentence on why it failed.
    """
    sheet_map = SheetMap.of_homography(first, (picture.shape[1], picture.shape[0]))
    pixels = _pixels(picture, number, tuple(tags), first, sheet_map)
    if pixels is None:
        return f"tags of sheet {number} reach outside the picture"
    levels = np.zeros((len(tags), 6))
    for i in range(len(tags)):
        levels[i, 0], levels[i, 3] = np.percentile(pixels.light[pixels.tag_of == i], [85, 8])
    if np.median(levels[:, 0] - levels[:, 3]) < 0.01:
        return f"tags of sheet {number} have no contrast"
    return _solved(pixels, _State(map=sheet_map, optics=np.array([0.9, 0.0, 0.0]), levels=levels), steps)


def _pixels(
    picture: Picture, number: int, tags: tuple[int, ...], first: FloatArray, sheet_map: SheetMap
) -> _Pixels | None:
    at, light, owner = [], [], []
    for i, k in enumerate(tags):
        rim = TAG_CENTRES_MM[k] + _REACH_MM * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
        quad = project(first, rim)
        low = np.maximum(np.floor(quad.min(axis=0)).astype(int), 0)
        high = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + 1, picture.shape[1::-1])
        if (high - low < 6).any():
            return None
        grid = np.stack(np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1])), axis=-1)
        p = grid.reshape(-1, 2)
        if len(p) > 40 * _MOST_PIXELS:  # a large tag: a random share is plenty
            p = p[np.random.default_rng(number).choice(len(p), 40 * _MOST_PIXELS, replace=False)]
        p = p[_useful(sheet_map, p.astype(float), k)]
        if len(p) > _MOST_PIXELS:
            p = p[np.random.default_rng(number).choice(len(p), _MOST_PIXELS, replace=False)]
        at.append(p.astype(float))
        light.append(linear_light(picture[p[:, 1], p[:, 0]][None])[0])
        owner.append(np.full(len(p), i))
    return _Pixels(
        number=number, tags=tags, at=np.concatenate(at), light=np.concatenate(light), tag_of=np.concatenate(owner)
    )


def _useful(sheet_map: SheetMap, p: FloatArray, k: int) -> NDArray[np.bool_]:
    """Return which pixels lie in a tag's square (with a narrow rim) and near one of its cell borders."""
    place = sheet_map.place(p) - TAG_CENTRES_MM[k]
    mm_per_px = float(np.sqrt(abs(np.linalg.det(sheet_map.inverse[:2, :2])))) / sheet_map.scale_px
    reach = min(_REACH_MM, TAG_MM / 2 + max(3.0 * mm_per_px, 2.0))
    inside = (np.abs(place) < reach).all(axis=1)
    beside = np.abs((place + CELL_MM / 2) % CELL_MM - CELL_MM / 2) < _EDGE_PX * mm_per_px
    return np.asarray(inside & beside.any(axis=1))


def _bands(at: FloatArray, mm_per_px: FloatArray, optics: FloatArray) -> tuple[FloatArray, ...]:
    """Return each pixel's share (n, 8) of a tag's eight bands of cells, and its change with place, blur, sharpening.

    A border between cells is a Gaussian's integral of sd ``blur`` px, sharpened by a wider one taken off.
    """
    from scipy.special import ndtr

    blur, sharpen = optics[:2]
    scale = (blur * mm_per_px[:, None]).astype(np.float32)
    t = (at[:, None].astype(np.float32) - np.float32(CELL_MM) * np.arange(9, dtype=np.float32)) / scale
    wide = (t > 0).astype(np.float32)
    near, steep = wide.copy(), np.zeros_like(t)
    # Beyond these both are 0 or 1 to the last digit, and most borders lie beyond.
    beside = np.abs(t) < _BLURRED_SD
    some = t[beside]
    wide[beside] = ndtr(0.5 * some)
    closer = np.abs(some) < 0.5 * _BLURRED_SD
    near_some = near[beside]
    near_some[closer] = ndtr(some[closer])
    near[beside] = near_some
    outer = np.exp(-0.125 * some * some)
    square = outer * outer
    steep[beside] = np.float32(0.3989423) * (
        np.float32(1 + sharpen) * square * square - np.float32(0.5 * sharpen) * outer
    )
    excess = near - wide
    step = near + np.float32(sharpen) * excess
    return tuple(e[:, :-1] - e[:, 1:] for e in (step, steep / scale, steep * t * np.float32(-1 / blur), excess))


def _predict(pixels: _Pixels, state: _State) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return predicted light (n,), its Jacobian to all unknowns, the print's whiteness, and the light's gradient."""
    place, with_pixel, with_map = state.map.linearised(pixels.at)
    whiteness = np.empty(len(place))
    change = np.empty((len(place), 4))  # with u, v, blur, sharpening
    slope = np.ones((len(place), 3))
    for i, k in enumerate(pixels.tags):
        mine = pixels.tag_of == i
        local = place[mine] - TAG_CENTRES_MM[k]
        slope[mine, 1:] = local / TAG_MM
        wide = np.linalg.norm(with_pixel[mine], axis=2)
        across, across_u, across_s, across_h = _bands(local[:, 0] + TAG_MM / 2, wide[:, 0], state.optics)
        down, down_v, down_s, down_h = _bands(TAG_MM / 2 - local[:, 1], wide[:, 1], state.optics)
        black = black_cells(4 * pixels.number + k).astype(np.float32)
        rows = across @ black.T
        whiteness[mine] = 1 - np.sum(rows * down, axis=1)
        change[mine, 0] = -np.sum((across_u @ black.T) * down, axis=1)
        change[mine, 1] = np.sum(rows * down_v, axis=1)
        change[mine, 2] = -np.sum((across_s @ black.T) * down + rows * down_s, axis=1)
        change[mine, 3] = -np.sum((across_h @ black.T) * down + rows * down_h, axis=1)
    own, bloom = state.levels[pixels.tag_of], state.optics[2]
    white, black_level = np.sum(own[:, :3] * slope, axis=1), np.sum(own[:, 3:] * slope, axis=1)
    share = whiteness + bloom * whiteness * (1 - whiteness)
    steep = ((white - black_level) * (1 + bloom * (1 - 2 * whiteness)))[:, None] * change
    jacobian = np.zeros((len(place), _SHARED + 6 * len(pixels.tags)))
    jacobian[:, :_MAP] = steep[:, :1] * with_map[:, 0] + steep[:, 1:2] * with_map[:, 1]
    jacobian[:, _MAP : _MAP + 2] = steep[:, 2:]
    jacobian[:, _MAP + 2] = (white - black_level) * whiteness * (1 - whiteness)
    columns = _SHARED + 6 * pixels.tag_of[:, None] + np.arange(6)
    np.put_along_axis(jacobian, columns, np.hstack([share[:, None] * slope, (1 - share)[:, None] * slope]), axis=1)
    gradient = steep[:, :1] * with_pixel[:, 0] + steep[:, 1:2] * with_pixel[:, 1]
    return black_level + (white - black_level) * share, jacobian, whiteness, gradient


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """One Gauss-Newton step and what it was made of."""

    change: FloatArray
    normal: FloatArray
    residual: FloatArray
    predicted: FloatArray
    gradient: FloatArray
    variance: FloatArray
    weight: FloatArray


def _step(pixels: _Pixels, state: _State, mean: FloatArray, precision: FloatArray) -> _Step:
    predicted, jacobian, whiteness, gradient = _predict(pixels, state)
    residual = pixels.light - predicted
    variance = _noise_variance(residual, whiteness)
    weight = 1 / (variance * (1 + residual**2 / (9 * variance)))  # Cauchy, 3 sd
    normal = (jacobian * weight[:, None]).T @ jacobian + np.diag(precision)
    pull = jacobian.T @ (weight * residual) + precision * (mean - state.vector())
    return _Step(
        change=np.asarray(np.linalg.solve(normal, pull), float),
        normal=normal,
        residual=residual,
        predicted=predicted,
        gradient=gradient,
        variance=variance,
        weight=weight,
    )


def _shift_px(before: _State, after: _State) -> float:
    """Return the most that a step moves a tag's middle."""
    return float(np.abs(before.map.to_pixels(TAG_CENTRES_MM) - after.map.to_pixels(TAG_CENTRES_MM)).max())


def _bounded(state: _State, change: FloatArray) -> tuple[_State, float]:
    """Return the unknowns after a step, or after the share of it that moves no tag by more than the bound; how far."""
    after = state.moved(change)
    shift = _shift_px(state, after)
    if np.isfinite(shift) and shift <= _MOST_STEP_PX:
        return after, shift
    return state.moved(change * (_MOST_STEP_PX / shift if np.isfinite(shift) else 0.1)), _MOST_STEP_PX


def _solved(pixels: _Pixels, state: _State, steps: int) -> TagFit | str:
    prior = _prior(pixels.tags, float(np.median(state.levels[:, 0] - state.levels[:, 3])))
    # The first steps need no precision: a quarter of the pixels will do.
    few = slice(None, None, 4)
    part = replace(pixels, at=pixels.at[few], light=pixels.light[few], tag_of=pixels.tag_of[few])
    for _ in range(min(3, steps)):
        state, _ = _bounded(state, _step(part, state, *prior).change)
    for remaining in reversed(range(steps)):
        step = _step(pixels, state, *prior)
        if not np.isfinite(step.change).all():
            return f"the fit to the pixels of sheet {pixels.number} broke down"
        state, shift = _bounded(state, step.change)
        if shift < _SETTLED_PX or remaining == 0:
            break
    likeness, shifts = _per_tag(pixels, step)
    factor = _correlation_factor(pixels, step.residual / np.sqrt(step.variance))
    return TagFit(
        tags=pixels.tags,
        map=state.map,
        covariance=np.asarray(np.linalg.inv(step.normal)[:_MAP, :_MAP] * factor, float),
        blur_px=float(state.optics[0]),
        sharpen=float(state.optics[1]),
        bloom=float(state.optics[2]),
        likeness=likeness,
        shift_px=shifts,
        noise=float(np.median(np.abs(step.residual)) * 1.4826),
    )


def _prior(tags: tuple[int, ...], contrast: float) -> tuple[FloatArray, FloatArray]:
    """Return mean and precision of the unknowns' priors; the map's eight numbers and the plain levels have none."""
    mean, precision = np.zeros(_SHARED + 6 * len(tags)), np.zeros(_SHARED + 6 * len(tags))
    mean[8:_SHARED], precision[8:_SHARED] = _PRIOR[:, 0], _PRIOR[:, 1] ** -2
    if len({TAG_CENTRES_MM[k][0] for k in tags}) < 2:  # one end of a sheet does not tell how it bends
        precision[9:_MAP] = _FIXED
    precision[_SHARED:] = np.tile([0, 1, 1, 0, 1, 1], len(tags)) / (_SLOPE_SD * max(contrast, 0.01)) ** 2
    return mean, precision


def _per_tag(pixels: _Pixels, step: _Step) -> tuple[FloatArray, FloatArray]:
    """Return each tag's likeness to its print, and the shift (n, 2) px that would suit it alone."""
    likeness, shift = np.zeros(len(pixels.tags)), np.zeros((len(pixels.tags), 2))
    for i in range(len(pixels.tags)):
        mine = pixels.tag_of == i
        a, b = step.predicted[mine] - step.predicted[mine].mean(), pixels.light[mine] - pixels.light[mine].mean()
        likeness[i] = float(a @ b / np.sqrt(max(float((a @ a) * (b @ b)), 1e-18)))
        g, w = step.gradient[mine], step.weight[mine][:, None]
        shift[i] = -np.linalg.solve((g * w).T @ g + 1e-12 * np.eye(2), (g * w).T @ step.residual[mine])
    return likeness, shift


def _noise_variance(residual: FloatArray, whiteness: FloatArray) -> FloatArray:
    """Return each pixel's variance: that of black and of white, found robustly, and a line between them."""
    ends = []
    for part in (whiteness < 0.3, whiteness > 0.7):
        chosen = residual[part] if part.sum() > 20 else residual
        ends.append(max(float(np.median(np.abs(chosen))) * 1.4826, 1e-4) ** 2)
    return np.asarray(ends[0] + (ends[1] - ends[0]) * np.clip(whiteness, 0, 1))


def _correlation_factor(pixels: _Pixels, scaled: FloatArray) -> float:
    """Return by how much noise that neighbours share (demosaicing, JPEG) widens the variance of the fit, 1 or more."""
    wide = 100003
    code = (pixels.tag_of * wide + pixels.at[:, 1].astype(np.int64)) * wide + pixels.at[:, 0].astype(np.int64)
    order = np.argsort(code)
    code, value = code[order], np.clip(scaled[order], -4, 4)
    total = float(np.mean(value * value))
    factor = 1.0
    for dx, dy in ((1, 0), (0, 1), (1, 1), (-1, 1), (2, 0), (0, 2)):
        wanted = code + dy * wide + dx
        other = np.minimum(np.searchsorted(code, wanted), len(code) - 1)
        match = code[other] == wanted
        if match.sum() > 50:
            factor += 2 * max(0.0, float(np.mean(value[match] * value[other[match]])) / total)
    return factor
