"""A survey sheet's place fitted to all its pixels: every edge of every tag at once, in linear light.

The print is known, so its picture can be predicted: a projective map with a little lens curvature, blur, sharpening,
the tone curve's rest ("bloom"), and for each tag its own white and black with a slope each. All are unknowns of one robust
least-squares fit to the pixels. Corners come from the map alone, so bloom does not move them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision.linear_light import Picture, linear_light
from vision.walls import FloatArray

TAG_CENTRES_MM: FloatArray = np.array([[-100.0, 56.0], [100.0, 56.0], [100.0, -56.0], [-100.0, -56.0]])
TAG_MM = 72.0
CELL_MM = 9.0
SHEET_RECTANGLE_MM: FloatArray = np.array([[-148.5, 105.0], [148.5, 105.0], [148.5, -105.0], [-148.5, -105.0]])

_REACH_MM = 43.0  # pixels up to 7 mm outside a tag's square take part; paper ends 12.5 mm outside
_EDGE_PX = 4.5
_MOST_PIXELS = 2600  # of one tag
_SHARED = 12  # eight of the map, lens curvature, blur, sharpening, bloom
_KAPPA_SD, _SHARPEN_SD, _BLOOM_SD, _BLUR_SD = 0.03, 0.5, 0.6, 0.7
_LEVEL_SD = 0.3  # of the slopes of white and black over a tag


@dataclass(frozen=True, slots=True, kw_only=True)
class TagFit:
    """The fitted place of one sheet.

    ``inverse_map`` (3, 3) takes lens-free local pixels, ``(q - middle_px) / scale_px``, to sheet millimetres;
    ``covariance`` is that of its eight free numbers and the lens curvature ``kappa``. ``likeness`` is each tag's
    correlation with its predicted picture, ``shift_px`` (n, 2) how far each tag would go on its own.
    """

    tags: tuple[int, ...]
    inverse_map: FloatArray
    middle_px: FloatArray
    scale_px: float
    kappa: float
    lens_centre_px: FloatArray
    lens_scale_px: float
    covariance: FloatArray
    blur_px: float
    sharpen: float
    bloom: float
    likeness: FloatArray
    shift_px: FloatArray
    noise: float

    def to_pixels(self, sheet_mm: FloatArray) -> FloatArray:
        """Return where points (n, 2) of the sheet, mm, are in the photo, (n, 2) px."""
        forward = np.linalg.inv(self.inverse_map)
        q = np.column_stack([sheet_mm, np.ones(len(sheet_mm))]) @ forward.T
        flat = q[:, :2] / q[:, 2:] * self.scale_px + self.middle_px
        return self._bent(flat)

    def _bent(self, flat: FloatArray) -> FloatArray:
        p = flat
        for _ in range(3):
            p = self.lens_centre_px + (flat - self.lens_centre_px) / (1 - self.kappa * self._rho2(p))
        return np.asarray(p)

    def _rho2(self, p: FloatArray) -> FloatArray:
        return np.asarray(np.sum((p - self.lens_centre_px) ** 2, axis=1, keepdims=True) / self.lens_scale_px**2)

    def pixel_sd(self, sheet_mm: FloatArray) -> FloatArray:
        """Return the standard uncertainty (n, 2) of these points in the photo, px, from the fit's covariance."""
        p = self.to_pixels(sheet_mm)
        _, jac_px, jac_free = _sheet_place(self, p)
        # A pixel stays on its sheet point when the map changes by d: jac_px dp + jac_free d = 0.
        move = -np.linalg.solve(jac_px, jac_free)
        return np.sqrt(np.maximum(np.einsum("nik,kl,nil->ni", move, self.covariance, move), 0))


@lru_cache(maxsize=600)
def black_cells(tag_id: int) -> NDArray[np.float64]:
    """Return the 8 x 8 cells (row 0 at the top) of an AprilTag 36h11 with its border, 1 where black."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, tag_id, 8, borderBits=1) < 128, float)


def _sheet_place(fit: TagFit, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    return _map_pixels(
        fit.inverse_map, fit.kappa, p, fit.middle_px, fit.scale_px, fit.lens_centre_px, fit.lens_scale_px
    )


def _map_pixels(
    g: FloatArray, kappa: float, p: FloatArray, middle: FloatArray, scale: float, centre: FloatArray, lens_scale: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return sheet place (n, 2), its change with the pixel (n, 2, 2) and with the map and curvature (n, 2, 9)."""
    arm = p - centre
    rho2 = np.sum(arm * arm, axis=1) / lens_scale**2
    x, y = ((centre + arm * (1 - kappa * rho2)[:, None] - middle) / scale).T
    bottom = 1.0 / (1 + g[2, 0] * x + g[2, 1] * y)
    u = (g[0, 0] * x + g[0, 1] * y + g[0, 2]) * bottom
    v = (g[1, 0] * x + g[1, 1] * y + g[1, 2]) * bottom
    # d(u, v)/d(x, y)
    along = np.empty((len(p), 2, 2))
    along[:, 0, 0] = (g[0, 0] - g[2, 0] * u) * bottom
    along[:, 0, 1] = (g[0, 1] - g[2, 1] * u) * bottom
    along[:, 1, 0] = (g[1, 0] - g[2, 0] * v) * bottom
    along[:, 1, 1] = (g[1, 1] - g[2, 1] * v) * bottom
    free = np.zeros((len(p), 2, 9))
    free[:, 0, 0], free[:, 0, 1], free[:, 0, 2] = x * bottom, y * bottom, bottom
    free[:, 1, 3], free[:, 1, 4], free[:, 1, 5] = x * bottom, y * bottom, bottom
    free[:, 0, 6], free[:, 0, 7] = -u * x * bottom, -u * y * bottom
    free[:, 1, 6], free[:, 1, 7] = -v * x * bottom, -v * y * bottom
    free[:, :, 8] = np.einsum("nij,nj->ni", along, -arm * rho2[:, None] / scale)
    lens = (1 - kappa * rho2)[:, None, None] * np.eye(2) - (2 * kappa / lens_scale**2) * arm[:, :, None] * arm[
        :, None, :
    ]
    return np.column_stack([u, v]), along @ lens / scale, free


def fit_tags(
    picture: Picture, number: int, tags: Sequence[int], first_map: FloatArray, *, iterations: int = 8
) -> TagFit | str:
    """Return the sheet's place fitted to the pixels of the given tags, or why there is none.

    Parameters
    ----------
    picture
        The upright photo, (h, w) or (h, w, 3) BGR.
    number
        The sheet's number n; its tags carry ids 4n to 4n + 3.
    tags
        Which of the four tags (0 to 3) take part.
    first_map
        (3, 3) map from sheet millimetres to pixels, right to about a third of a cell.
    iterations
        The most Gauss-Newton steps.

    Returns
    -------
    TagFit or str
        The fit, or a sentence on why it failed.
    """
    problem = _Problem.around(picture, number, tuple(tags), first_map)
    if problem is None:
        return "the tags reach outside the picture"
    return problem.solve(iterations)


@dataclass(slots=True)
class _Problem:
    """Pixels of the chosen tags with the present state of the unknowns."""

    tags: tuple[int, ...]
    number: int
    pixels: FloatArray
    light: FloatArray
    tag_of: NDArray[np.intp]
    middle: FloatArray
    scale: float
    centre: FloatArray
    lens_scale: float
    shared: FloatArray
    levels: FloatArray

    @classmethod
    def around(cls, picture: Picture, number: int, tags: tuple[int, ...], first_map: FloatArray) -> _Problem | None:
        height, width = picture.shape[:2]
        middle = _apply(first_map, np.zeros((1, 2)))[0]
        scale = float(np.abs(_apply(first_map, SHEET_RECTANGLE_MM) - middle).max())
        local = np.diag([1 / scale, 1 / scale, 1.0]) @ np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
        inverse = np.linalg.inv(local @ first_map)
        inverse = inverse / inverse[2, 2]
        pixels, light, owner = [], [], []
        for k in tags:
            rim = TAG_CENTRES_MM[k] + _REACH_MM * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
            quad = _apply(first_map, rim)
            low = np.maximum(np.floor(quad.min(axis=0)).astype(int), 0)
            high = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + 1, [width, height])
            if (high - low < 6).any():
                return None
            grid = np.stack(np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1])), axis=-1)
            p = grid.reshape(-1, 2).astype(float)
            value = linear_light(picture[low[1] : high[1], low[0] : high[0]]).ravel()
            keep = _useful(inverse, (p - middle) / scale, k, scale)
            chosen = np.flatnonzero(keep)
            if len(chosen) > _MOST_PIXELS:
                chosen = np.random.default_rng(number).choice(chosen, _MOST_PIXELS, replace=False)
            pixels.append(p[chosen])
            light.append(value[chosen])
            owner.append(np.full(len(chosen), len(owner)))
        state = np.concatenate([inverse.ravel()[:8], [0.0, 0.9, 0.0, 0.0]])
        levels = np.zeros((len(tags), 6))
        for i, value in enumerate(light):
            levels[i, 0], levels[i, 3] = np.percentile(value, 85), np.percentile(value, 8)
        return cls(
            tags, number, np.concatenate(pixels), np.concatenate(light), np.concatenate(owner), middle, scale,
            np.array([(width - 1) / 2, (height - 1) / 2]), 0.7 * max(width, height), state, levels,
        )  # fmt: skip

    def map(self) -> FloatArray:
        return np.append(self.shared[:8], 1.0).reshape(3, 3)

    def predict(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return predicted light, its Jacobian to all unknowns, the print's whiteness and its change with pixels."""
        place, along, free = _map_pixels(
            self.map(), self.shared[8], self.pixels, self.middle, self.scale, self.centre, self.lens_scale
        )
        blur, sharpen, bloom = self.shared[9:12]
        m = np.empty(len(place))
        dm = np.empty((len(place), 4))  # with u, v, blur, sharpening
        for i, k in enumerate(self.tags):
            mine = self.tag_of == i
            a = place[mine, 0] - TAG_CENTRES_MM[k, 0] + TAG_MM / 2
            b = TAG_MM / 2 - (place[mine, 1] - TAG_CENTRES_MM[k, 1])
            width_u = np.linalg.norm(along[mine, 0], axis=1)
            width_v = np.linalg.norm(along[mine, 1], axis=1)
            across, across_d, across_s, across_h = _bands(a, width_u, blur, sharpen)
            down, down_d, down_s, down_h = _bands(b, width_v, blur, sharpen)
            black = black_cells(4 * self.number + k)
            rows = across @ black.T
            m[mine] = 1 - np.sum(rows * down, axis=1)
            dm[mine, 0] = -np.sum((across_d @ black.T) * down, axis=1)
            dm[mine, 1] = np.sum((down_d @ black) * across, axis=1)
            dm[mine, 2] = -np.sum((across_s @ black.T) * down + rows * down_s, axis=1)
            dm[mine, 3] = -np.sum((across_h @ black.T) * down + rows * down_h, axis=1)
        own = self.levels[self.tag_of]
        local = (place - TAG_CENTRES_MM[np.array(self.tags)[self.tag_of]]) / TAG_MM
        slope = np.column_stack([np.ones(len(local)), local])
        white, black_level = np.sum(own[:, :3] * slope, axis=1), np.sum(own[:, 3:] * slope, axis=1)
        share = m + bloom * m * (1 - m)
        steep = (white - black_level) * (1 + bloom * (1 - 2 * m))
        jacobian = np.zeros((len(m), _SHARED + 6 * len(self.tags)))
        to_place = steep[:, None] * dm[:, :2]
        jacobian[:, :9] = np.einsum("ni,nik->nk", to_place, free)
        jacobian[:, 9:11] = steep[:, None] * dm[:, 2:]
        jacobian[:, 11] = (white - black_level) * m * (1 - m)
        columns_of = _SHARED + 6 * self.tag_of[:, None] + np.arange(6)
        np.put_along_axis(
            jacobian, columns_of, np.hstack([share[:, None] * slope, (1 - share)[:, None] * slope]), axis=1
        )
        return black_level + (white - black_level) * share, jacobian, m, np.einsum("ni,nij->nj", to_place, along)

    def solve(self, iterations: int) -> TagFit | str:
        count = _SHARED + 6 * len(self.tags)
        prior = np.zeros(count)
        target = np.zeros(count)
        prior[8:12] = 1 / np.array([_KAPPA_SD, _BLUR_SD, _SHARPEN_SD, _BLOOM_SD]) ** 2
        target[9] = 0.9
        contrast = float(np.median(self.levels[:, 0] - self.levels[:, 3]))
        if contrast < 0.01:
            return "the tags have no contrast"
        for i in range(len(self.tags)):
            for j in (1, 2, 4, 5):
                prior[_SHARED + 6 * i + j] = 1 / (_LEVEL_SD * contrast) ** 2
        weight = np.ones(len(self.light))
        normal = np.eye(count)
        variance = np.ones(len(self.light))
        for step in range(iterations):
            predicted, jacobian, m, _ = self.predict()
            residual = self.light - predicted
            variance = _noise_variance(residual, m)
            weight = 1 / (variance * (1 + residual**2 / (9 * variance)))
            normal = (jacobian * weight[:, None]).T @ jacobian + np.diag(prior)
            state = np.concatenate([self.shared, self.levels.ravel()])
            change = np.linalg.solve(normal, jacobian.T @ (weight * residual) + prior * (target - state))
            state = state + change
            state[9] = np.clip(state[9], 0.35, 4.0)
            state[10:12] = np.clip(state[10:12], -0.9, 1.5)
            self.shared, self.levels = state[:_SHARED], state[_SHARED:].reshape(-1, 6)
            if not np.isfinite(state).all():
                return "the fit to the tags' pixels broke down"
            moved = np.abs(change[[2, 5]]).max() / (np.abs(np.linalg.norm(self.map()[0, :2])) / self.scale)
            if step >= 2 and moved < 0.002:
                break
        return self._result(weight, variance, normal)

    def _result(self, weight: FloatArray, variance: FloatArray, normal: FloatArray) -> TagFit:
        predicted, jacobian, _, gradient = self.predict()
        residual = self.light - predicted
        covariance = np.linalg.inv(normal) * _correlation_factor(self.pixels, residual / np.sqrt(variance), self.tag_of)
        likeness, shift = np.zeros(len(self.tags)), np.zeros((len(self.tags), 2))
        for i in range(len(self.tags)):
            mine = self.tag_of == i
            likeness[i] = np.corrcoef(predicted[mine], self.light[mine])[0, 1]
            g, w = gradient[mine], weight[mine][:, None]
            shift[i] = -np.linalg.solve((g * w).T @ g + 1e-12 * np.eye(2), (g * w).T @ residual[mine])
        return TagFit(
            tags=self.tags,
            inverse_map=self.map(),
            middle_px=self.middle,
            scale_px=self.scale,
            kappa=float(self.shared[8]),
            lens_centre_px=self.centre,
            lens_scale_px=self.lens_scale,
            covariance=covariance[:9, :9],
            blur_px=float(self.shared[9]),
            sharpen=float(self.shared[10]),
            bloom=float(self.shared[11]),
            likeness=likeness,
            shift_px=shift,
            noise=float(np.sqrt(np.median(residual**2)) * 1.4826),
        )


def _apply(h: FloatArray, points: FloatArray) -> FloatArray:
    q = np.column_stack([points, np.ones(len(points))]) @ h.T
    return np.asarray(q[:, :2] / q[:, 2:])


def _useful(inverse: FloatArray, local: FloatArray, k: int, scale: float) -> NDArray[np.bool_]:
    """Return which pixels lie in a tag's square (with its rim) and near one of its cell borders."""
    place = _apply(inverse, local) - TAG_CENTRES_MM[k]
    mm_per_px = float(np.sqrt(abs(np.linalg.det(inverse[:2, :2])))) / scale
    reach = min(_REACH_MM, TAG_MM / 2 + max(3.0 * mm_per_px, 2.0))
    inside = (np.abs(place) < reach).all(axis=1)
    beside = np.abs((place + CELL_MM / 2) % CELL_MM - CELL_MM / 2) < _EDGE_PX * mm_per_px
    return np.asarray(inside & beside.any(axis=1))


def _bands(
    at: FloatArray, mm_per_px: FloatArray, blur: float, sharpen: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return each pixel's share (n, 8) of a tag's eight bands of cells, and its change with place, blur, sharpening.

    A border between cells is a Gaussian's integral of sd ``blur`` px, sharpened by a wider one taken off.
    """
    from scipy.special import ndtr

    t = (at[:, None] - CELL_MM * np.arange(9)) / (blur * mm_per_px[:, None])
    near, wide = ndtr(t), ndtr(t / 2)
    bell = np.exp(-0.5 * t * t) / np.sqrt(2 * np.pi)
    bell_wide = np.exp(-0.125 * t * t) / np.sqrt(2 * np.pi)
    step = (1 + sharpen) * near - sharpen * wide
    steep = (1 + sharpen) * bell - 0.5 * sharpen * bell_wide
    with_place = steep / (blur * mm_per_px[:, None])
    with_blur = -steep * t / blur
    return tuple(e[:, :-1] - e[:, 1:] for e in (step, with_place, with_blur, near - wide))  # type: ignore[return-value]


def _noise_variance(residual: FloatArray, m: FloatArray) -> FloatArray:
    """Return each pixel's variance: that of black and of white, found robustly, and a line between them."""
    ends = []
    for part in (m < 0.3, m > 0.7):
        chosen = residual[part] if part.sum() > 20 else residual
        ends.append(max(float(np.median(np.abs(chosen))) * 1.4826, 1e-4) ** 2)
    share = np.clip(m, 0, 1)
    return np.asarray(ends[0] + (ends[1] - ends[0]) * share)


def _correlation_factor(pixels: FloatArray, white: FloatArray, tag_of: NDArray[np.intp]) -> float:
    """Return by how much noise that neighbours share (demosaicing, JPEG) widens the variance of the fit, 1 or more."""
    code = (tag_of * 100003 + pixels[:, 1]) * 100003 + pixels[:, 0]
    order = np.argsort(code)
    code, value = code[order], np.clip(white[order], -4, 4)
    total = float(np.mean(value * value))
    factor = 1.0
    for dx, dy in ((1, 0), (0, 1), (1, 1), (-1, 1), (2, 0), (0, 2)):
        other = np.searchsorted(code, code + dy * 100003 + dx)
        other = np.minimum(other, len(code) - 1)
        match = code[other] == code + dy * 100003 + dx
        if match.sum() > 50:
            factor += 2 * max(0.0, float(np.mean(value[match] * value[other[match]])) / total)
    return factor
