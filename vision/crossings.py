"""The corner beneath a click: where two edges cross, found to a fraction of a pixel in a small patch of the photo.

Points of steepest brightness are linked into straight lines; every pair of lines that cross within reach of the click
and that both have points close to the crossing is a candidate. Support along the edges speaks for a candidate, distance
from the click against it; if two are about as likely, none is given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.walls import FloatArray, GreyImage

Reason = Literal["outside the picture", "no edges here", "no crossing within reach", "two crossings as likely"]

SMOOTH_PX = (1.2, 2.4)
"""Fine first; faint edges in noisy pictures only show when smoothed more."""
FLOOR_SD_PX = (1.2, 3.5)
"""A corner is never claimed better than this at each smoothing: plaster edges are rounded, frames have
mouldings beside the corner that is meant, and about one corner in ten is another one nearby (judgement)."""
LEAST_SHARE = 0.65
"""Of an arm's length that must show edge points: less is texture or a shadow that fades (judgement)."""
ARMS_PER_SMOOTH = 10.0
ARM_PX = 26.0
"""Least length of edge beside a corner that is looked at; over twice that a lens bends a line by about 0.1 px."""
ANGLE_BINS = 120
LINE_HALF_WIDTH_PX = 1.5
LEAST_ANGLE_DEG = 18.0
MOST_LINES = 12
LEAST_SUPPORT = 9.0
RIVAL = 0.5

_LINEAR = np.where(
    np.arange(256) / 255.0 <= 0.04045,
    np.arange(256) / 255.0 / 12.92,
    ((np.arange(256) / 255.0 + 0.055) / 1.055) ** 2.4,
).astype(np.float32)  # IEC 61966-2-1 (sRGB), inverse of the transfer curve


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """A corner in the photo: its place, its standard uncertainty per axis, and the directions of its two edges.

    ``directions`` (2, 2) are unit vectors along the edges; ``support`` counts the edge points that carry them.
    """

    px: tuple[float, float]
    sd_px: float
    directions: FloatArray
    support: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edgels:
    """Points of steepest brightness: place (n, 2), unit gradient (n, 2), strength (n,)."""

    at: FloatArray
    gradient: FloatArray
    strength: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Search:
    """Edge points of one patch and where to look among them."""

    edgels: _Edgels
    centre: FloatArray
    reach_px: float
    smooth_px: float
    arm_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """``normal . x = offset``, with its points (indices) and the standard uncertainty of the offset at its middle."""

    normal: FloatArray
    offset: float
    members: NDArray[np.intp]


def find_crossing(grey: GreyImage, click: tuple[float, float], *, reach_px: float) -> Crossing | Reason:
    """Return the edge crossing nearest in likelihood to a click, or why there is none.

    Parameters
    ----------
    grey
        The upright photo at full resolution, uint8 (h, w).
    click
        Pixel (x, y).
    reach_px
        How far the crossing may lie from the click, pixels; a third of it counts as the click's standard deviation.

    Returns
    -------
    Crossing or str
        A reason in words if no crossing stands out.
    """
    h, w = grey.shape
    x, y = click
    if not (0 <= x <= w - 1 and 0 <= y <= h - 1):
        return "outside the picture"
    reason: Reason = "no edges here"
    for smooth_px, floor_px in zip(SMOOTH_PX, FLOOR_SD_PX, strict=True):
        found = _at_scale(grey, np.array([x, y]), reach_px, smooth_px)
        if isinstance(found, Crossing):
            return replace(found, sd_px=float(np.hypot(found.sd_px, floor_px)))
        reason = found if reason == "no edges here" else reason
    return reason


def _at_scale(grey: GreyImage, click: FloatArray, reach_px: float, smooth_px: float) -> Crossing | Reason:
    """Return the crossing as seen at one smoothing."""
    arm_px = max(ARM_PX, ARMS_PER_SMOOTH * smooth_px)
    half = int(np.ceil(reach_px + arm_px + 3 * smooth_px))
    corner = np.round(click).astype(int) - half
    left, top = int(max(0, corner[0])), int(max(0, corner[1]))
    patch = grey[top : corner[1] + 2 * half + 1, left : corner[0] + 2 * half + 1]
    edgels = _edgels(patch, smooth_px)
    if len(edgels.at) < 2 * LEAST_SUPPORT:
        return "no edges here"
    centre = click - np.array([left, top])
    search = _Search(edgels=edgels, centre=centre, reach_px=reach_px, smooth_px=smooth_px, arm_px=arm_px)
    lines = _lines(search)
    ranked = _ranked(lines, search) if len(lines) > 1 else []
    if not ranked:
        return "no crossing within reach"
    best = ranked[0]
    rivals = [other for other in ranked[1:] if np.hypot(*(other[1] - best[1])) > 3.0]
    if rivals and rivals[0][0] > RIVAL * best[0]:
        return "two crossings as likely"
    refined = _refined(best[2], best[1], search)
    if isinstance(refined, str):
        return refined
    return replace(refined, px=(refined.px[0] + left, refined.px[1] + top))


def _edgels(patch: GreyImage, smooth_px: float) -> _Edgels:
    """Return the points of steepest brightness, where they stand out of the noise.

    They are sought in the coded picture, whose noise is even, and placed in linear light, where blur is symmetric.
    """
    import cv2

    coded = cv2.GaussianBlur(patch.astype(np.float32), (0, 0), smooth_px)
    light = cv2.GaussianBlur(_LINEAR[patch], (0, 0), smooth_px)
    gx, gy = _slopes(coded)
    strength = np.hypot(gx, gy)
    noise = float(np.median(strength)) / 1.18  # the median of a Rayleigh law over its parameter
    least = max(3.0 * noise, 0.35 / smooth_px)
    inner = np.zeros(strength.shape, dtype=bool)
    inner[3:-3, 3:-3] = True
    rows, cols = np.nonzero((strength > least) & inner)
    if len(rows) == 0:
        return _Edgels(at=np.zeros((0, 2)), gradient=np.zeros((0, 2)), strength=np.zeros(0))
    unit = np.stack([gx[rows, cols], gy[rows, cols]], axis=1) / strength[rows, cols][:, None]
    here = strength[rows, cols]
    ahead, behind = (_sample(strength, cols + s * unit[:, 0], rows + s * unit[:, 1]) for s in (1.0, -1.0))
    peak = (here >= ahead) & (here > behind)
    rows, cols, unit, here = rows[peak], cols[peak], unit[peak], here[peak]
    lx, ly = _slopes(light)
    steps = np.arange(-2.0, 2.01, 1.0)
    profile = np.stack(
        [
            _sample(lx, cols + s * unit[:, 0], rows + s * unit[:, 1]) * unit[:, 0]
            + _sample(ly, cols + s * unit[:, 0], rows + s * unit[:, 1]) * unit[:, 1]
            for s in steps
        ],
        axis=1,
    )
    shift = _vertex(profile)
    at = np.stack([cols, rows], axis=1) + shift[:, None] * unit
    return _Edgels(at=at, gradient=unit, strength=here / least)


def _slopes(picture: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    import cv2

    gx = cv2.Scharr(picture, cv2.CV_32F, 1, 0, scale=1.0 / 32.0)
    gy = cv2.Scharr(picture, cv2.CV_32F, 0, 1, scale=1.0 / 32.0)
    return np.asarray(gx, dtype=np.float32), np.asarray(gy, dtype=np.float32)


def _sample(picture: NDArray[np.float32], x: FloatArray, y: FloatArray) -> FloatArray:
    import cv2

    xs, ys = x.astype(np.float32).reshape(1, -1), y.astype(np.float32).reshape(1, -1)
    return np.asarray(cv2.remap(picture, xs, ys, cv2.INTER_LINEAR), dtype=np.float64).reshape(-1)


def _vertex(profile: FloatArray) -> FloatArray:
    """Return where a slope profile (n, 5) at -2 to 2 px is largest, by a parabola through its logarithm.

    The slope across a blurred step is bell-shaped, and the logarithm of a bell is a parabola.
    """
    middle = 1 + np.argmax(profile[:, 1:4], axis=1)
    row = np.arange(len(profile))
    least = 1e-6 + 1e-3 * np.max(profile, axis=1)
    a, b, c = (np.log(np.maximum(profile[row, middle + k], least)) for k in (-1, 0, 1))
    curve = a - 2 * b + c
    part = np.where(curve < -1e-6, 0.5 * (a - c) / np.minimum(curve, -1e-6), 0.0)
    found: FloatArray = np.clip(middle - 2.0 + part, -1.5, 1.5)
    return found


def _lines(search: _Search) -> list[_Line]:
    """Return straight lines that pass within reach of the click, strongest first (a Hough vote by gradient angle)."""
    edgels, centre, reach_px = search.edgels, search.centre, search.reach_px
    to = edgels.at - centre
    angle = np.arctan2(edgels.gradient[:, 1], edgels.gradient[:, 0])
    near = np.hypot(to[:, 0], to[:, 1]) < reach_px + search.arm_px
    size = int(np.ceil(reach_px)) + 2
    votes = np.zeros((ANGLE_BINS, 2 * size + 1))
    weight = np.minimum(edgels.strength, 3.0) ** 0.5 * near
    for turn in range(-3, 4):
        bins = np.round(angle / (2 * np.pi) * ANGLE_BINS).astype(int) + turn
        theta = bins * (2 * np.pi / ANGLE_BINS)
        rho = to[:, 0] * np.cos(theta) + to[:, 1] * np.sin(theta)
        slot = np.round(rho).astype(int) + size
        good = (slot >= 0) & (slot < votes.shape[1])
        np.add.at(votes, (bins[good] % ANGLE_BINS, slot[good]), weight[good] * (1.0 - abs(turn) / 6.0))
    found: list[_Line] = []
    for _ in range(MOST_LINES):
        row, column = (int(v) for v in np.unravel_index(int(np.argmax(votes)), votes.shape))
        if votes[row, column] < LEAST_SUPPORT:
            break
        turned = row * (2 * np.pi / ANGLE_BINS)
        start = np.array([np.cos(turned), np.sin(turned)], dtype=np.float64)
        line = _fitted(edgels, start, float(start @ centre) + column - size, near)
        rows = (row + np.arange(-4, 5)) % ANGLE_BINS
        votes[rows[:, None], np.arange(max(0, column - 2), min(votes.shape[1], column + 3))] = 0.0
        if line is not None and not any(_alike(line, other, centre) for other in found):
            found.append(line)
    return found


def _fitted(edgels: _Edgels, normal: FloatArray, offset: float, near: NDArray[np.bool_]) -> _Line | None:
    """Return the line through the points near a first guess, fitted by total least squares with points dropping out."""
    members = np.zeros(0, dtype=np.intp)
    for width in (2.5, LINE_HALF_WIDTH_PX, LINE_HALF_WIDTH_PX):
        off = edgels.at @ normal - offset
        members = np.nonzero(near & (np.abs(off) < width) & (edgels.gradient @ normal > 0.9))[0]
        if len(members) < LEAST_SUPPORT:
            return None
        points = edgels.at[members]
        middle = points.mean(axis=0)
        _, vectors = np.linalg.eigh((points - middle).T @ (points - middle))
        smallest: FloatArray = vectors[:, 0]
        normal = smallest if smallest @ normal > 0 else -smallest
        offset = float(normal @ middle)
    return _Line(normal=normal, offset=offset, members=members)


def _alike(a: _Line, b: _Line, centre: FloatArray) -> bool:
    return bool(
        a.normal @ b.normal > 0.99 and abs((a.normal @ centre - a.offset) - (b.normal @ centre - b.offset)) < 1.5
    )


def _ranked(lines: list[_Line], search: _Search) -> list[tuple[float, FloatArray, tuple[_Line, _Line]]]:
    """Return candidates (score, place, lines), best first."""
    found = []
    least = np.sin(np.deg2rad(LEAST_ANGLE_DEG))
    for i, a in enumerate(lines):
        for b in lines[i + 1 :]:
            cross = a.normal[0] * b.normal[1] - a.normal[1] * b.normal[0]
            if abs(cross) < least:
                continue
            place = np.linalg.solve(np.stack([a.normal, b.normal]), np.array([a.offset, b.offset]))
            distance = float(np.hypot(*(place - search.centre)))
            if distance > search.reach_px:
                continue
            supports = [_support(line, place, search) for line in (a, b)]
            if min(supports) < LEAST_SHARE * search.arm_px:
                continue
            likelihood = np.exp(-0.5 * (3.0 * distance / search.reach_px) ** 2)
            found.append((float(np.sqrt(supports[0] * supports[1]) * likelihood), place, (a, b)))
    return sorted(found, key=lambda item: -item[0])


def _support(line: _Line, place: FloatArray, search: _Search) -> float:
    """Return how many pixels of a line's arms beside a place carry edge points, the stronger arm counting most.

    An edge must come close to its corner: an arm whose first points are missing counts for nothing.
    """
    along = np.array([-line.normal[1], line.normal[0]])
    t = (search.edgels.at[line.members] - place) @ along
    arms = []
    first, close = 1.2 * search.smooth_px, 7.0 * search.smooth_px
    for side in (1.0, -1.0):
        steps = np.unique(np.floor(side * t[(side * t > first) & (side * t < search.arm_px)]).astype(int))
        arms.append(float(len(steps)) if np.sum(steps < close) >= 0.6 * (close - first) else 0.0)
    return max(arms) + 0.25 * min(arms)


def _refined(lines: tuple[_Line, _Line], place: FloatArray, search: _Search) -> Crossing | Reason:
    """Return the crossing of the two lines fitted anew to their arms beside it, with its uncertainty."""
    rows, offsets, variances, support = [], [], [], 0.0
    a, b = lines[0].normal, lines[1].normal
    # Nearer the corner than this, blur mixes the two edges.
    first = 3.5 * search.smooth_px / abs(float(a[0] * b[1] - a[1] * b[0]))
    for line in lines:
        points = search.edgels.at[line.members]
        t = np.abs((points - place) @ np.array([-line.normal[1], line.normal[0]]))
        points = points[(t > first) & (t < search.arm_px)]
        if len(points) < 6:
            return "no crossing within reach"
        middle = points.mean(axis=0)
        _, vectors = np.linalg.eigh((points - middle).T @ (points - middle))
        normal = vectors[:, 0] if vectors[:, 0] @ line.normal > 0 else -vectors[:, 0]
        along = np.array([-normal[1], normal[0]])
        s = (points - middle) @ along
        reach = float((place - middle) @ along)
        # Neighbouring points share noise over the smoothing: about one in two of its widths is independent.
        spread = 2.0 * search.smooth_px * float(np.mean(((points - middle) @ normal) ** 2))
        rows.append(normal)
        offsets.append(float(normal @ middle))
        variances.append(spread * (1 / len(points) + reach**2 / float(np.sum(s**2))))
        support += float(len(points))
    inverse = np.linalg.inv(np.stack(rows))
    final = inverse @ np.array(offsets)
    if np.hypot(*(final - search.centre)) > search.reach_px + 1.0:
        return "no crossing within reach"
    covariance = inverse @ np.diag(variances) @ inverse.T
    sd = float(np.sqrt(np.trace(covariance) / 2))
    directions = np.stack([[-n[1], n[0]] for n in rows])
    return Crossing(px=(float(final[0]), float(final[1])), sd_px=sd, directions=directions, support=support)
