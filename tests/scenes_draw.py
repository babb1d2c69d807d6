"""Exact drawing for rendered truth: projection, polygon coverage by area, and the phone's picture pipeline.

Everything drawn is a polygon in space. Its edges are projected with the exact lens, and the share of each pixel that it
covers is computed by area, not by sampling, so that an edge lies where the projection says to better than 0.01 px.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Picture = NDArray[np.uint8]
LinearPicture = NDArray[np.float32]
Rgb = tuple[float, float, float]

_NEAR_MM = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """A camera in the wall frame: ``q = rotation @ X + translation_mm``, then focal length, centre and radial terms."""

    width_px: int
    height_px: int
    focal_px: float
    centre_px: tuple[float, float]
    k1: float
    k2: float
    rotation: FloatArray
    translation_mm: FloatArray

    def to_camera(self, points_mm: FloatArray) -> FloatArray:
        """Return wall-frame points (n, 3) in the camera frame, mm."""
        return np.asarray(points_mm, float) @ self.rotation.T + self.translation_mm

    def image(self, camera_mm: FloatArray) -> FloatArray:
        """Return the pixels (n, 2) of camera-frame points (n, 3)."""
        x = camera_mm[:, :2] / camera_mm[:, 2:]
        r2 = np.sum(x * x, axis=1, keepdims=True)
        return np.asarray(self.focal_px * x * (1 + self.k1 * r2 + self.k2 * r2 * r2) + np.array(self.centre_px))

    def project(self, points_mm: FloatArray) -> FloatArray:
        """Return the pixels (n, 2) of wall-frame points (n, 3); all must be in front of the camera."""
        return self.image(self.to_camera(points_mm))

    @property
    def position_mm(self) -> FloatArray:
        """The camera's place in the wall frame, mm."""
        return -self.rotation.T @ self.translation_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How the picture was made: light, noise, optics and the phone's processing. All invented.

    ``blur_px`` is the sd of the lens blur in linear light, ``tone`` the strength of an S-shaped tone curve on top of
    sRGB, ``noise`` the sd of the noise at mid grey as a share of white, ``sharpen`` the amount of unsharp masking.
    """

    exposure: float = 0.8
    gradient: tuple[float, float] = (0.2, -0.1)
    lamp: float = 0.0
    blur_px: float = 0.8
    noise: float = 0.012
    sharpen: float = 0.4
    tone: float = 0.15
    jpeg_quality: int = 92


class Canvas:
    """A linear-light picture on which polygons are laid one over another, far ones first."""

    def __init__(self, camera: Camera, origin_px: tuple[int, int] = (0, 0), size_px: tuple[int, int] | None = None):
        self.camera = camera
        self.origin = origin_px
        width, height = size_px or (camera.width_px, camera.height_px)
        self.linear: LinearPicture = np.zeros((height, width, 3), np.float32)

    def fill(self, colour: Rgb) -> None:
        """Paint everything in one colour (linear RGB)."""
        self.linear[:] = np.array(colour, np.float32)

    def lay(self, polygons_mm: Sequence[FloatArray], colour: Rgb, opacity: float = 1.0) -> None:
        """Lay the union of polygons that do not overlap (each (n, 3), wall frame) over the picture."""
        box, cover = self.cover(polygons_mm)
        if box is None:
            return
        region = self.linear[box]
        alpha = (opacity * cover)[..., None]
        region += alpha * (np.array(colour, np.float32) - region)

    def cover(self, polygons_mm: Sequence[FloatArray]) -> tuple[tuple[slice, slice] | None, LinearPicture]:
        """Return the box of pixels touched and the share of each that the polygons cover."""
        outlines = [o for o in (outline_px(self.camera, p) for p in polygons_mm if self._near(p)) if len(o)]
        nothing = np.zeros((0, 0), np.float32)
        if not outlines:
            return None, nothing
        outlines = [o - np.array(self.origin) for o in outlines]
        every = np.concatenate(outlines)
        height, width = self.linear.shape[:2]
        x0, y0 = np.floor(every.min(axis=0) + 0.5).astype(int)
        x1, y1 = np.floor(every.max(axis=0) + 0.5).astype(int) + 1
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, width), min(y1, height)
        if x0 >= x1 or y0 >= y1:
            return None, nothing
        share = area_coverage([o - np.array([x0, y0]) for o in outlines], (x1 - x0, y1 - y0))
        return (slice(y0, y1), slice(x0, x1)), share

    def _near(self, polygon_mm: FloatArray) -> bool:
        """Return False where a polygon is wholly ahead of the camera and wholly beside this window."""
        points = self.camera.to_camera(polygon_mm)
        if points[:, 2].min() < _NEAR_MM:
            return True
        flat = self.camera.image(points) - np.array(self.origin)
        height, width = self.linear.shape[:2]
        low, high = flat.min(axis=0), flat.max(axis=0)
        slack = 0.05 * float((high - low).max()) + 2  # the lens bends edges outwards a little
        return bool((high > -slack).all() and low[0] < width + slack and low[1] < height + slack)


def outline_px(camera: Camera, polygon_mm: FloatArray) -> FloatArray:
    """Return the pixel outline (m, 2) of a polygon (n, 3), clipped to the view, in short chords."""
    points = camera.to_camera(polygon_mm)
    reach_x = 1.2 * max(camera.centre_px[0], camera.width_px - camera.centre_px[0]) / camera.focal_px
    reach_y = 1.2 * max(camera.centre_px[1], camera.height_px - camera.centre_px[1]) / camera.focal_px
    planes = np.array(
        [[0, 0, 1, -_NEAR_MM], [1, 0, reach_x, 0], [-1, 0, reach_x, 0], [0, 1, reach_y, 0], [0, -1, reach_y, 0]]
    )
    for plane in planes:
        side = points @ plane[:3] + plane[3]
        if (side >= 0).all():
            continue
        points = _clipped(points, side)
        if len(points) < 3:
            return np.zeros((0, 2))
    ahead = np.roll(points, -1, axis=0)
    flat, flat_ahead = camera.image(points), camera.image(ahead)
    chord_px = 0.25 * camera.focal_px**0.5  # a bent edge leaves its chord by about 0.001 px
    counts = np.maximum(1, np.ceil(np.linalg.norm(flat_ahead - flat, axis=1) / chord_px)).astype(int)
    index = np.repeat(np.arange(len(points)), counts)
    step = np.concatenate([np.arange(n) / n for n in counts])[:, None]
    # Equal steps in space would crowd towards the far end; steps in 1/z are equal in the picture.
    z0, z1 = points[index, 2:], ahead[index, 2:]
    share = step * z0 / (z1 + step * (z0 - z1))
    return camera.image(points[index] + share * (ahead[index] - points[index]))


def _clipped(points: FloatArray, side: FloatArray) -> FloatArray:
    kept: list[FloatArray] = []
    for i in range(len(points)):
        j = (i + 1) % len(points)
        if side[i] >= 0:
            kept.append(points[i])
        if (side[i] >= 0) != (side[j] >= 0):
            kept.append(points[i] + side[i] / (side[i] - side[j]) * (points[j] - points[i]))
    return np.array(kept).reshape(-1, 3)


def area_coverage(outlines_px: Sequence[FloatArray], size_px: tuple[int, int]) -> LinearPicture:
    """Return the share of each pixel (integer = centre) that lies inside the outlines; sense of turning is ignored.

    Each edge is cut at pixel borders; every piece adds its exact trapezoid to its pixel and its height to all pixels
    to the right (the signed-area method of font rasterisers).
    """
    width, height = size_px
    starts = [np.asarray(o, float) + 0.5 for o in outlines_px]
    ends = [np.roll(o, -1, axis=0) for o in starts]
    areas = [np.sum(s[:, 0] * e[:, 1] - e[:, 0] * s[:, 1]) for s, e in zip(starts, ends, strict=True)]
    turn = np.repeat(np.sign(areas), [len(s) for s in starts])
    # Edges of polygons that turn the other way are walked backwards, so that every area counts as positive.
    start, end = np.concatenate(starts), np.concatenate(ends)
    back = (turn < 0)[:, None]
    a, b = _cut(*_cut(np.where(back, end, start), np.where(back, start, end), 1), 0)
    middle = 0.5 * (a + b)
    row = np.floor(middle[:, 1]).astype(int)
    rise = b[:, 1] - a[:, 1]
    inside = (row >= 0) & (row < height) & (rise != 0)
    x, row, rise = np.clip(middle[inside, 0], 0, width), row[inside], rise[inside]
    column = np.minimum(np.floor(x).astype(int), width)
    right_share = 1 - (x - column)
    flat = row * (width + 2) + column
    total = -np.bincount(flat, rise * right_share, height * (width + 2))
    total -= np.bincount(flat + 1, rise * (1 - right_share), height * (width + 2))
    cover = np.cumsum(total.reshape(height, width + 2), axis=1)[:, :width]
    return np.clip(cover, 0, 1).astype(np.float32)


def _cut(a: FloatArray, b: FloatArray, axis: int) -> tuple[FloatArray, FloatArray]:
    low = np.floor(np.minimum(a[:, axis], b[:, axis]))
    pieces = np.maximum(np.ceil(np.maximum(a[:, axis], b[:, axis])) - low, 1).astype(int)
    index = np.repeat(np.arange(len(a)), pieces)
    first = np.concatenate([[0], np.cumsum(pieces)[:-1]])
    order = np.arange(len(index)) - first[index]
    run = b[index] - a[index]
    forward = run[:, axis] >= 0
    line = np.where(forward, low[index] + order, low[index] + pieces[index] - order)
    line_end = np.where(forward, line + 1, line - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        t0 = (line - a[index, axis]) / run[:, axis]
        t1 = (line_end - a[index, axis]) / run[:, axis]
    still = run[:, axis] == 0
    t0, t1 = np.where(still, 0, np.clip(t0, 0, 1)), np.where(still, 1, np.clip(t1, 0, 1))
    return a[index] + t0[:, None] * run, a[index] + t1[:, None] * run


def smooth_field(rng: np.random.Generator, size_px: tuple[int, int], cell_px: float) -> LinearPicture:
    """Return a smooth random field of about unit sd with features of the given size."""
    width, height = size_px
    small = rng.standard_normal((max(2, round(height / cell_px) + 1), max(2, round(width / cell_px) + 1)))
    return np.asarray(cv2.resize(small.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC), np.float32)


def light_field(style: Style, camera: Camera, origin_px: tuple[int, int], size_px: tuple[int, int]) -> LinearPicture:
    """Return the light on each pixel of a window of the picture: a gradient, vignetting and perhaps a lamp."""
    x = ((np.arange(size_px[0]) + origin_px[0]) / camera.width_px - 0.5).astype(np.float32)[None]
    y = ((np.arange(size_px[1]) + origin_px[1]) / camera.height_px - 0.5).astype(np.float32)[:, None]
    light = style.exposure * (1 + style.gradient[0] * x + style.gradient[1] * y) * (1 - 0.25 * (x * x + y * y))
    if style.lamp:
        light = light * (1 + style.lamp * np.exp(-((x - 0.15) ** 2) / 0.05) * np.exp(-((y + 0.2) ** 2) / 0.05))
    return np.asarray(light, np.float32)


def encode(linear: FloatArray | LinearPicture, tone: float) -> LinearPicture:
    """Return sRGB values 0 to 1 (IEC 61966-2-1) after an S curve of the given strength."""
    x = np.clip(np.asarray(linear, np.float32), 0, 1)
    srgb = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-6), 1 / 2.4) - 0.055)
    bent = srgb + tone * (3 * srgb**2 - 2 * srgb**3 - srgb)
    return np.asarray(np.clip(bent, 0, 1), np.float32)


def develop(linear: LinearPicture, style: Style, rng: np.random.Generator, *, compress: bool = True) -> Picture:
    """Return the 8-bit BGR picture: blur and noise in linear light, tone curve, sharpening, JPEG."""
    size = linear.shape[1::-1]
    if style.blur_px > 0:
        linear = cv2.GaussianBlur(linear, (0, 0), style.blur_px, borderType=cv2.BORDER_REPLICATE)
    grain = np.empty((*linear.shape[:2], 3), np.float32)
    rng.standard_normal(grain.shape, np.float32, grain)
    grain[..., :] = 0.8 * grain[..., :1] + 0.6 * grain  # colours share most of it after demosaicing
    grain = cv2.GaussianBlur(grain, (0, 0), 0.6) * 2.1
    level = np.sqrt(0.1 + 0.9 * np.clip(linear, 0, 1)) / np.sqrt(0.55)
    code = encode(linear + style.noise * level * grain, style.tone)
    if style.sharpen:
        code = code + style.sharpen * (code - cv2.GaussianBlur(code, (0, 0), 1.4))
    picture: Picture = np.clip(code[..., ::-1] * 255 + 0.5, 0, 255).astype(np.uint8)
    if not compress or min(size) < 2:
        return picture
    data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, style.jpeg_quality])[1]
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
