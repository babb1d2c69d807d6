"""The face of a card or sheet of paper: how round its corners are and how plain it is."""

from __future__ import annotations

import numpy as np

from vision.linear_light import LINEAR_OF_CODE, Picture
from vision.sheet_map import project
from vision.walls import FloatArray

_USUAL_MM = 3.18  # ISO/IEC 7810 ID-1; the template that corners are held against
_PROFILE_MM = (4.2, 9.0)  # where along each side its own profile is read
_STEP_MM = 0.25
_SHARE_SD_PER_MM = 0.25
_MANY = 6  # pixels to a place read
_LEAST_SPREAD = 0.25  # a corner's share of the template is never better known than this


def corner_radius_mm(picture: Picture, corners_px: FloatArray, model_mm: FloatArray) -> tuple[float, float]:
    """Return the radius of a card's corners, mm, and its sd, from the light missing in them.

    What a sharp corner would show is the product of the two sides' own profiles beside it, so that blur and a side
    fitted a little off cancel. The difference is held against what a corner of the standard's radius lacks, blurred by
    a pixel; the area that is missing grows with the square of the radius. 0 is a sharp corner.

    Parameters
    ----------
    picture
        The upright photo.
    corners_px, model_mm
        (4, 2) corners in the photo and on the card, in the same order.
    """
    import cv2

    to_px = np.asarray(cv2.getPerspectiveTransform(model_mm.astype(np.float32), corners_px.astype(np.float32)), float)
    pixel_mm = float(np.linalg.norm(model_mm[2] - model_mm[0]) / np.linalg.norm(corners_px[2] - corners_px[0]))
    shares = [_missing_share(picture, to_px, corner, pixel_mm) for corner in model_mm]
    known = np.array([s for s in shares if s is not None])
    if len(known) < 3:
        return _USUAL_MM, 10.0
    share = float(np.median(known))
    sd = max(float(np.std(known)), _LEAST_SPREAD) * 1.25 / np.sqrt(len(known))
    radius = float(np.sign(share) * np.sqrt(abs(share)) * _USUAL_MM)
    # A small picture blurs its corners, and in encoded light and coarse colours the more that is missing the more so.
    sd = float(np.hypot(sd, _SHARE_SD_PER_MM * pixel_mm * max(1.0, share)))
    # The square root's slope at the shares that matter, from a sharp corner up.
    return radius, float(sd * _USUAL_MM / (2 * np.sqrt(max(abs(share), 0.3))))


def _missing_share(picture: Picture, to_px: FloatArray, corner: FloatArray, pixel_mm: float) -> float | None:
    """Return what a corner lacks as a share of what one of the standard's radius lacks; None where nothing shows."""
    inward = -np.sign(corner)
    ticks = np.arange(-2.0 * pixel_mm - _STEP_MM, _USUAL_MM + 1.5 * pixel_mm, _STEP_MM)
    along = np.arange(*_PROFILE_MM, 2 * _STEP_MM) + 0.5 * pixel_mm
    corner_light = _light(picture, to_px, corner + inward * _mesh(ticks, ticks))
    first = _light(picture, to_px, corner + inward * _mesh(along, ticks))  # across the level side
    second = _light(picture, to_px, corner + inward * _mesh(ticks, along))  # across the upright side
    if corner_light is None or first is None or second is None:
        return None
    level, upright = np.median(first, axis=0), np.median(second, axis=1)
    ends = max(2, round(pixel_mm / _STEP_MM))
    inner = 0.5 * (level[-ends:].mean(axis=0) + upright[-ends:].mean(axis=0))
    outer = 0.5 * (level[:ends].mean(axis=0) + upright[:ends].mean(axis=0))
    mix = inner - outer
    size = float(mix @ mix)
    if size < 4e-4:
        return None
    seen = ((corner_light - outer) @ mix) / size
    sharp = (((upright - outer) @ mix) / size)[:, None] * (((level - outer) @ mix) / size)[None]
    template = _lack_of_round_corner(ticks, pixel_mm)
    return float(np.sum(template * np.clip(sharp - seen, -1.0, 1.0)) / np.sum(template * template))


def _lack_of_round_corner(ticks: FloatArray, pixel_mm: float) -> FloatArray:
    """Return the share of light that a corner of the standard's radius lacks at places inward of it, blurred."""
    import cv2

    fine = np.arange(ticks[0] - 4 * pixel_mm, ticks[-1] + 4 * pixel_mm, _STEP_MM)
    x, y = np.meshgrid(fine, fine, indexing="ij")
    r = _USUAL_MM
    lack = (x > 0) & (y > 0) & (x < r) & (y < r) & ((x - r) ** 2 + (y - r) ** 2 > r * r)
    blurred = cv2.GaussianBlur(lack.astype(np.float32), (0, 0), pixel_mm / _STEP_MM)
    skip = round((ticks[0] - fine[0]) / _STEP_MM)
    return np.asarray(blurred[skip : skip + len(ticks), skip : skip + len(ticks)], float)


def _mesh(x: FloatArray, y: FloatArray) -> FloatArray:
    return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)


def _light(picture: Picture, to_px: FloatArray, at_mm: FloatArray) -> FloatArray | None:
    """Return the linear colours (m, n, 3) at places of the card (m, n, 2)."""
    import cv2

    p = project(to_px, at_mm.reshape(-1, 2))
    low, high = np.floor(p.min(axis=0)).astype(int) - 2, np.ceil(p.max(axis=0)).astype(int) + 3
    if (low < 0).any() or (high > np.array(picture.shape[1::-1])).any():
        return None
    if np.prod(high - low) > _MANY * len(p):  # few places of a large picture: these pixels alone are turned into light
        return _light_of_few(picture, p).reshape(*at_mm.shape[:2], 3)
    light = LINEAR_OF_CODE[picture[low[1] : high[1], low[0] : high[0]]].astype(np.float32)
    if light.ndim == 2:
        light = np.repeat(light[..., None], 3, axis=2)
    maps = (p - low).astype(np.float32).reshape(*at_mm.shape[:2], 2)
    return np.asarray(cv2.remap(light, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR), float)


def _light_of_few(picture: Picture, p: FloatArray) -> FloatArray:
    """Return the linear colours (n, 3) at places (n, 2) px between the pixels of a picture, by the four about each."""
    x, y = np.floor(p).astype(int).T
    right, below = (p - np.floor(p)).T[..., None]
    square = [LINEAR_OF_CODE[picture[y + j, x + i]].reshape(len(p), -1) for j in (0, 1) for i in (0, 1)]
    upper, lower = (a + right * (b - a) for a, b in (square[:2], square[2:]))
    return np.broadcast_to(upper + below * (lower - upper), (len(p), 3))


def plainness(picture: Picture, corners_px: FloatArray, *, most_cells: int = 60) -> float:
    """Return the share of a sheet's face (0 to 1) whose colour is that of a smooth plane of light.

    Parameters
    ----------
    picture
        The upright photo.
    corners_px
        (4, 2) corners, clockwise from the top left.
    most_cells
        The most cells along a side that colours are compared in.
    """
    import cv2

    size = np.linalg.norm(np.roll(corners_px, -1, axis=0) - corners_px, axis=1)
    # Cells of two pixels or more: noise averages, print does not.
    n, m = (int(np.clip(s / 3, 8, most_cells)) for s in (size[[0, 2]].mean(), size[[1, 3]].mean()))
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    to_px = np.asarray(cv2.getPerspectiveTransform(unit, corners_px.astype(np.float32)), float)
    margin = 2.5 / float(size.min())
    u, v = np.linspace(margin, 1 - margin, 3 * n), np.linspace(margin, 1 - margin, 3 * m)
    light = _light(picture, to_px, _mesh(u, v))
    if light is None:
        return 0.0
    cells = light.reshape(n, 3, m, 3, 3).mean(axis=(1, 3))
    grey = cells.reshape(-1, 3)
    x, y = np.meshgrid(np.linspace(-1, 1, n), np.linspace(-1, 1, m), indexing="ij")
    terms = np.column_stack([np.ones(x.size), x.ravel(), y.ravel(), x.ravel() ** 2, y.ravel() ** 2, (x * y).ravel()])
    keep = np.ones(len(grey), bool)
    off = np.zeros(len(grey))
    for _ in range(4):
        fit, *_ = np.linalg.lstsq(terms[keep], grey[keep], rcond=None)
        off = np.abs((grey - terms @ fit) / np.maximum(terms @ fit, 0.02)).max(axis=1)
        keep = off < max(0.05, 3 * float(np.median(off)))
    noise = float(np.median(off))
    return float(np.mean(off < max(0.10, 4 * noise))) if noise < 0.12 else 0.0
