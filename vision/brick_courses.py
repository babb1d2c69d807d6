"""The courses of a squared-up brick face: pitch, each bed joint's line, mortar against brick, straightened courses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.walls import FloatArray

BoolArray = NDArray[np.bool_]
FACE_COURSE_PX = 26.0
"""Course height, px, at which the face is read: a 10 mm joint in a 75 mm course is then 3.5 px wide."""
STRIP_ROWS = 20
"""Rows of a straightened course."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Courses:
    """The bed joints of a squared-up face.

    ``bed_y`` (n_courses + 1, width) are the bed joints' rows from the top, px of the face; ``pitch_px`` the course
    height with its sd; ``scale_at`` (6,) the smooth surface of row against course number and column; ``strength`` the
    share of bed places that stand out; ``bed_found`` (n_courses + 1,) the same by bed; ``mortar`` (h, w) about 1 in
    mortar, 0 in brick.
    """

    bed_y: FloatArray
    pitch_px: float
    pitch_sd_px: float
    scale_at: FloatArray
    strength: float
    bed_found: FloatArray
    mortar: FloatArray
    noise: float


def folded_contrast(features: FloatArray, seen: BoolArray, bed_phase: FloatArray) -> tuple[FloatArray, float, float]:
    """Return weights (c,) under which mortar reads 1 above brick, the bed's phase (0 to 1) and how far apart they are.

    Parameters
    ----------
    features
        Evened-out colour (h, w, c).
    seen
        Where the face is seen (h, w).
    bed_phase
        Phase of each pixel in its course (h, w), 0 to 1.
    """
    bins = 24
    index = np.minimum((bed_phase * bins).astype(np.intp), bins - 1)[seen]
    values = features[seen]
    counts = np.bincount(index, minlength=bins).astype(float)
    means = np.stack([np.bincount(index, weights=values[:, c], minlength=bins) for c in range(values.shape[1])], axis=1)
    means = means / np.maximum(counts, 1.0)[:, None]
    smooth = (means + np.roll(means, 1, axis=0) + np.roll(means, -1, axis=0)) / 3.0
    spread = np.cov(values.T) + np.diag([0.3, 0.5, 0.5])
    inverse = np.linalg.inv(spread)
    best, chosen, weights = -1.0, 0, np.zeros(values.shape[1])
    for phase in range(bins):
        brick = smooth[(phase + np.arange(6, 19)) % bins].mean(axis=0)
        gap = smooth[phase] - brick
        distance = float(gap @ inverse @ gap)
        if distance > best:
            best, chosen = distance, phase
            weights = inverse @ gap / max(distance, 1e-12)
    return weights, (chosen + 0.5) / bins, float(np.sqrt(max(best, 0.0)))


def evened_features(lab: FloatArray, seen: BoolArray, reach: float) -> FloatArray:
    """Return lightness and colour less their surroundings (h, w, 3), masked places left at zero.

    Parameters
    ----------
    lab
        Lightness and two colours (h, w, 3).
    seen
        Where the face is seen (h, w).
    reach
        Spread of the surroundings, px.
    """
    import cv2

    size = 2 * round(1.2 * reach) + 1

    def around(layer: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.asarray(cv2.blur(cv2.blur(layer, (size, size)), (size, size)))

    weight = around(seen.astype(np.float32)) + 1e-3
    layers = []
    for c in range(lab.shape[2]):
        channel = np.where(seen, lab[..., c], 0.0).astype(np.float32)
        mean = around(channel) / weight
        layer = cv2.GaussianBlur(np.where(seen, channel - mean, 0.0).astype(np.float32), (0, 0), 0.03 * reach)
        limit = 4.0 * float(np.percentile(np.abs(layer[seen]), 60.0)) + 1.0
        layers.append(np.clip(np.where(seen, layer, 0.0), -limit, limit))
    return np.asarray(np.dstack(layers), dtype=np.float32)


def find_courses(lab: FloatArray, seen: BoolArray, pitch_px: float) -> Courses | None:
    """Return the courses of a squared-up face whose course height is known to about a tenth, or None.

    Parameters
    ----------
    lab
        The face, lightness and colours (h, w, 3).
    seen
        Where the face is seen (h, w).
    pitch_px
        First course height, px.

    Notes
    -----
    Bed joints are tracked in blocks and fitted robustly by one smooth surface of row against course number and column
    (least absolute deviations in effect: Huber weights), to which each bed adds its own offset. Courses of one
    face are taken as equally high.
    """
    h, w = seen.shape
    features = evened_features(lab, seen, pitch_px)
    start = _comb_phase(features, seen, pitch_px)
    phase = ((np.arange(h) - start) / pitch_px) % 1.0
    weights, offset, _ = folded_contrast(features, seen, np.broadcast_to(phase[:, None], (h, w)))
    start += offset * pitch_px if offset < 0.5 else (offset - 1.0) * pitch_px
    mortar: FloatArray = (features @ weights).astype(np.float32)
    start += pitch_px * round((0.5 * h - start) / pitch_px)
    surface = np.array([start, pitch_px, 0.0, 0.0, 0.0, 0.0])
    fitted = None
    for span, reach in ((3, 0.45), (6, 0.4), (10, 0.35), (18, 0.3), (999, 0.3), (999, 0.25)):
        fitted = _track(mortar, seen, surface, reach, span)
        if fitted is None:
            return None
        surface = fitted.surface
    if fitted is None:
        return None
    number, found = fitted.number, fitted.found
    x = np.arange(w) / w
    beds = np.array([bed_row(surface, float(k), x) for k in number]) + fitted.offset[:, None]
    pitch = bed_steps(surface, float(np.median(number)), 0.5)[0]
    return Courses(
        bed_y=beds,
        pitch_px=pitch,
        pitch_sd_px=fitted.pitch_sd,
        scale_at=surface,
        strength=fitted.strength,
        bed_found=found.mean(axis=1) if found.size else np.zeros(0),
        mortar=mortar,
        noise=float(np.median(np.abs(mortar[seen] - np.median(mortar[seen]))) * 1.4826),
    )


def _comb_phase(features: FloatArray, seen: BoolArray, pitch: float) -> float:
    """Return the row of some bed joint: where rows repeat with the most contrast."""
    count = np.maximum(seen.sum(axis=1), 1)
    rows = features.sum(axis=1) / count[:, None]
    level = rows[:, 0]
    wave = np.exp(2j * np.pi * np.arange(len(level)) / pitch)
    return float((np.angle((level * wave).sum()) / (2 * np.pi)) % 1.0 * pitch) if len(level) else 0.0


def bed_row(surface: FloatArray, k: FloatArray | float, x: FloatArray | float) -> FloatArray:
    """Return the row of bed joint number k at column share x: as a plane seen in perspective, with a slight bow."""
    a, b, c, d, e, f = surface
    u = np.asarray(x, dtype=float) - 0.5
    row: FloatArray = np.asarray((a + b * k + c * u + f * u * u) / (1.0 + d * k + e * u))
    return row


def bed_steps(surface: FloatArray, k: float, x: float) -> tuple[float, float]:
    """Return by how much the row changes a course, and a column share, at bed joint number k and column share x."""
    step = 1e-3
    down = float(bed_row(surface, k + step, x) - bed_row(surface, k - step, x)) / (2 * step)
    along = float(bed_row(surface, k, x + step) - bed_row(surface, k, x - step)) / (2 * step)
    return down, along


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    surface: FloatArray
    number: FloatArray
    offset: FloatArray
    found: FloatArray
    pitch_sd: float
    strength: float


def _track(mortar: FloatArray, seen: BoolArray, surface: FloatArray, reach: float, span: int) -> _Fit | None:
    """Find each bed within so many courses of the middle in each block near the surface, and fit the surface again."""
    from scipy.ndimage import gaussian_filter1d

    h, w = seen.shape
    pitch = abs(bed_steps(surface, 0.0, 0.5)[0])
    block = max(int(3.2 * pitch), 16)
    edges = np.arange(0, w - block // 2, block)
    low_k, high_k = _numbers_inside(surface, h)
    number = np.arange(max(low_k, -span), min(high_k, span) + 1, dtype=float)
    if len(number) < 4:
        return None
    rows, ks, xs, strengths = [], [], [], []
    found = np.zeros((len(number), len(edges)))
    taken = np.full((len(number), len(edges)), np.nan)
    for j, left in enumerate(edges):
        box = slice(int(left), int(min(left + block, w)))
        count = seen[:, box].sum(axis=1)
        profile = (mortar[:, box] * seen[:, box]).sum(axis=1) / np.maximum(count, 1)
        profile = gaussian_filter1d(profile, 0.05 * pitch)
        x = (left + block / 2) / w
        expected = bed_row(surface, number, x)
        for i, row in enumerate(expected):
            lo, hi = int(np.ceil(row - reach * pitch)), int(np.floor(row + reach * pitch)) + 1
            if lo < 1 or hi > h - 2 or count[lo:hi].min() < 0.6 * (box.stop - box.start):
                continue
            window = profile[lo:hi]
            at = int(window.argmax())
            brick_rows = np.r_[max(lo - int(0.3 * pitch), 0) : lo, hi : min(hi + int(0.3 * pitch), h)]
            contrast = float(window[at] - np.median(profile[brick_rows]))
            if at in (0, len(window) - 1):
                continue
            place = lo + _peak(window, at)
            rows.append(place)
            ks.append(number[i])
            xs.append(x)
            strengths.append(contrast)
            taken[i, j] = place
            found[i, j] = contrast > 0.35
    if len(rows) < 15:
        return None
    ks_a, xs_a, rows_a, strong = np.array(ks), np.array(xs), np.array(rows), np.clip(np.array(strengths), 0.02, 1.0)
    surface = _robust_surface(ks_a, xs_a, rows_a, strong, pitch)
    residual = taken - bed_row(surface, number[:, None], (edges[None, :] + block / 2) / w)
    offset = np.array([_bed_offset(residual[i], pitch) for i in range(len(number))])
    sd = _pitch_sd(offset, number, pitch)
    coverage = float(found.sum() / max((~np.isnan(taken)).sum(), 1))
    return _Fit(surface=surface, number=number, offset=offset, found=found, pitch_sd=sd, strength=coverage)


def _numbers_inside(surface: FloatArray, height: int) -> tuple[int, int]:
    """Return the first and last bed number whose row in the middle column is inside the face."""
    limits = []
    for way in (-1, 1):
        k, row = 0, float(bed_row(surface, 0, 0.5))
        while abs(k) < 400:
            after = float(bed_row(surface, k + way, 0.5))
            if not -0.2 * surface[1] < after < height + 0.2 * surface[1] or (after - row) * way < 0.3 * surface[1]:
                break
            k, row = k + way, after
        limits.append(k)
    return limits[0], limits[1]


def _peak(window: FloatArray, at: int) -> float:
    """Return the centre of a joint: the weighted middle of what stands above half the peak around it."""
    floor = float(window.min() + 0.5 * (window[at] - window.min()))
    lo = hi = at
    while lo > 0 and window[lo - 1] > floor:
        lo -= 1
    while hi < len(window) - 1 and window[hi + 1] > floor:
        hi += 1
    part = window[lo : hi + 1] - floor
    return float((np.arange(lo, hi + 1) * part).sum() / max(float(part.sum()), 1e-9))


def _robust_surface(k: FloatArray, x: FloatArray, row: FloatArray, weight: FloatArray, pitch: float) -> FloatArray:
    """Return the surface of `bed_row` through the beds found, each weighed down as it lies off.

    Perspective and bow are held near zero by a weak prior, so that a few courses do not bend the face.
    """
    u, middle = x - 0.5, float(np.median(row))
    centred = row - middle
    columns = np.column_stack([np.ones_like(k), k, u, -k * centred, -u * centred, u * u])
    held = np.diag([0.0, 0.0, 0.0, 1.0 / 0.005, 1.0 / 0.2, 1.0 / (0.15 * pitch)]) * 0.05 * pitch
    w = weight.copy()
    solution = np.zeros(6)
    for _ in range(12):
        a = np.vstack([columns * np.sqrt(w)[:, None], held])
        solution = np.linalg.lstsq(a, np.concatenate([centred * np.sqrt(w), np.zeros(6)]), rcond=None)[0]
        a0, b0, c0, d0, e0, f0 = solution
        residual = np.abs(centred - (a0 + b0 * k + c0 * u + f0 * u * u) / (1.0 + d0 * k + e0 * u))
        w = weight / (1.0 + (residual / (0.04 * pitch)) ** 2)
    a0, b0, c0, d0, e0, f0 = solution
    return np.array([a0 + middle, b0 + middle * d0, c0 + middle * e0, d0, e0, f0])


def _bed_offset(residual: FloatArray, pitch: float) -> float:
    known = residual[~np.isnan(residual)]
    known = known[np.abs(known) < 0.15 * pitch]
    return float(np.median(known)) if len(known) >= 2 else 0.0


def _pitch_sd(offset: FloatArray, number: FloatArray, pitch: float) -> float:
    """Return the standard uncertainty of the mean course height from how unevenly the beds lie."""
    spread = max(float(np.std(offset)), 0.01 * pitch)
    about = number - number.mean()
    return float(spread / np.sqrt(max(float((about**2).sum()), 1.0)))


def straighten(image: FloatArray, bed_y: FloatArray, *, joint: float = 0.5) -> FloatArray:
    """Return the courses as straight strips (n_courses, STRIP_ROWS, width, ...) between neighbouring bed joints.

    Parameters
    ----------
    image
        Face image (h, w) or (h, w, c).
    bed_y
        Rows of the bed joints (n_courses + 1, w).
    joint
        Where in a row the sample is taken, 0 to 1.
    """
    import cv2

    n, w = bed_y.shape[0] - 1, bed_y.shape[1]
    share = (np.arange(STRIP_ROWS) + joint) / STRIP_ROWS
    rows = bed_y[:-1, None, :] + share[None, :, None] * (bed_y[1:, None, :] - bed_y[:-1, None, :])
    columns = np.broadcast_to(np.arange(w, dtype=np.float32), rows.shape)
    flat = cv2.remap(
        image.astype(np.float32),
        np.ascontiguousarray(columns.reshape(n * STRIP_ROWS, w), dtype=np.float32),
        rows.reshape(n * STRIP_ROWS, w).astype(np.float32),
        cv2.INTER_LINEAR,
    )
    return np.asarray(flat).reshape((n, STRIP_ROWS, w, *image.shape[2:]))
