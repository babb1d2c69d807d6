"""From a rendered pinhole picture to a phone's JPEG: lens, glare, exposure, noise, sharpening, tone, EXIF.

Projection, the same for truth and picture: ``q = R @ X + t`` (X in metres), ``x = q[:2] / q[2]``, ``r2 = x @ x``,
``pixel = f * x * (1 + k1*r2 + k2*r2**2) + (cx, cy)``; an integer is a pixel's centre, (0, 0) the top-left one.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from houses import House, Shot
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]
LONG_PX, SHORT_PX = 4032, 3024
FULL_FRAME_DIAGONAL_MM = float(np.hypot(36, 24))
MARGIN = 0.02  # of the longer side, rendered beyond the picture's edge so that the lens has something to bend in


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """One photo's camera; pixels of the upright picture, metres."""

    width: int
    height: int
    f: float
    cx: float
    cy: float
    k1: float
    k2: float
    R: Array
    t: Array
    at: Array

    def project(self, points: ArrayLike) -> Array:
        """Pixels (n, 2) of points (n, 3); NaN behind the camera."""
        q = np.asarray(points, float).reshape(-1, 3) @ self.R.T + self.t
        x = np.where(q[:, 2:] > 0.05, q[:, :2] / np.where(q[:, 2:] > 0.05, q[:, 2:], 1), np.nan)
        r2 = (x**2).sum(1, keepdims=True)
        return np.asarray(self.f * x * (1 + self.k1 * r2 + self.k2 * r2**2) + (self.cx, self.cy))

    def smaller(self, scale: float) -> Camera:
        """The same camera with fewer pixels, for trials."""
        w, h = round(self.width * scale), round(self.height * scale)
        return Camera(
            width=w,
            height=h,
            f=self.f * scale,
            cx=(self.cx + 0.5) * scale - 0.5,
            cy=(self.cy + 0.5) * scale - 0.5,
            k1=self.k1,
            k2=self.k2,
            R=self.R,
            t=self.t,
            at=self.at,
        )


def camera_of(house: House, shot: Shot) -> Camera:
    """The camera of a shot: the house's handset with the shot's small changes."""
    w, h = (SHORT_PX, LONG_PX) if shot.portrait else (LONG_PX, SHORT_PX)
    f = (
        house.equivalent_mm
        / FULL_FRAME_DIAGONAL_MM
        * float(np.hypot(w, h))
        * house.focal_scale
        * (1 + shot.focal_change)
    )
    at, towards = np.asarray(shot.at), np.asarray(shot.towards)
    forward = (towards - at) / np.linalg.norm(towards - at)
    right = np.cross(forward, (0, 1, 0))
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    a = np.radians(shot.roll_deg)
    R = np.array([np.cos(a) * right + np.sin(a) * down, -np.sin(a) * right + np.cos(a) * down, forward])
    # the lens's centre is fixed to the sensor: a quarter turn of the phone turns it too
    dx, dy = (-house.centre[1], house.centre[0]) if shot.portrait else house.centre
    return Camera(
        width=w,
        height=h,
        f=f,
        cx=(w - 1) / 2 + dx + shot.centre_change[0],
        cy=(h - 1) / 2 + dy + shot.centre_change[1],
        k1=house.lens[0],
        k2=house.lens[1],
        R=R,
        t=-R @ at,
        at=at,
    )


def film_size(camera: Camera) -> tuple[int, int]:
    """Width and height of the pinhole picture to render, pixels."""
    extra = 2 * round(MARGIN * max(camera.width, camera.height))
    return camera.width + extra, camera.height + extra


def bend(film: Array, camera: Camera) -> Array:
    """The pinhole picture as the lens shows it."""
    u, v = np.meshgrid(np.arange(camera.width, dtype=np.float32), np.arange(camera.height, dtype=np.float32))
    x, y = (u - camera.cx) / camera.f, (v - camera.cy) / camera.f
    ux, uy = x.copy(), y.copy()
    for _ in range(6):
        r2 = ux * ux + uy * uy
        gain = 1 + camera.k1 * r2 + camera.k2 * r2 * r2
        ux, uy = x / gain, y / gain
    h, w = film.shape[:2]
    sx = (ux * camera.f + (w - 1) / 2).astype(np.float32)
    sy = (uy * camera.f + (h - 1) / 2).astype(np.float32)
    return np.asarray(np.maximum(cv2.remap(film, sx, sy, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE), 0))


def develop(light: Array, camera: Camera, rng: np.random.Generator, exposure: float, clean: float = 1.0) -> Array:
    """Linear light (rows, columns, 3) to an 8-bit sRGB picture (RGB): glare, noise, sharpening, tone curve."""
    scale = max(camera.width, camera.height) / LONG_PX
    grey = light @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    light = 0.80 * light + 0.20 * grey[..., None]  # a phone's own colour rendering is calmer than the scene's
    x = np.minimum(light * exposure, 6.0).astype(np.float32)
    small = cv2.resize(np.minimum(x, 3.0), None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    halo = 0.6 * cv2.GaussianBlur(small, (0, 0), 6 * scale) + 0.4 * cv2.GaussianBlur(small, (0, 0), 36 * scale)
    x = x * 0.978 + 0.022 * cv2.resize(halo, (x.shape[1], x.shape[0]), interpolation=cv2.INTER_LINEAR)
    v, u = np.mgrid[0 : camera.height, 0 : camera.width].astype(np.float32)
    r2 = ((u - camera.cx) ** 2 + (v - camera.cy) ** 2) / camera.f**2
    x *= (1 / (1 + r2) ** 0.55)[..., None].astype(np.float32)  # corners fall off, partly corrected by the phone
    x = cv2.GaussianBlur(x, (0, 0), 0.62)
    grain = rng.standard_normal(x.shape, np.float32)
    grain = 0.75 * grain + 0.5 * rng.standard_normal((*x.shape[:2], 1), np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 0.55)  # the phone's own noise reduction leaves soft grain
    x = np.maximum(x + clean * grain * np.sqrt(np.maximum(1.2e-4 * x + 8e-7, 0)), 0)
    y = tone(x)
    y = y + 0.55 * (y - cv2.GaussianBlur(y, (0, 0), 1.3))
    return np.asarray(np.clip(y * 255 + rng.uniform(-0.5, 0.5, y.shape) + 0.5, 0, 255), np.uint8)


def tone(x: Array) -> Array:
    """A phone's tone curve: sRGB encoding with a lifted middle and a soft shoulder; 0 to about 1."""
    shoulder = np.where(x > 0.6, 0.6 + 0.4 * (1 - np.exp(-(x - 0.6) / 0.4)), x)
    s = np.where(shoulder <= 0.0031308, 12.92 * shoulder, 1.055 * np.maximum(shoulder, 1e-8) ** (1 / 2.4) - 0.055)
    return np.asarray(s + 0.055 * np.sin(2 * np.pi * (s - 0.03)) * (s - 1) * s * 2, np.float32)


def save_photo(path: Path, picture: Array, house: House, shot: Shot, quality: int) -> None:
    """Write the JPEG with the handset's EXIF; an upright shot is stored lying, with orientation 6. No place, no GPS."""
    from PIL import Image

    stored = np.ascontiguousarray(np.rot90(picture)) if shot.portrait else picture
    image = Image.fromarray(stored)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = house.handset
    exif[0x0112] = 6 if shot.portrait else 1
    exif[0x0132] = shot.taken
    details = exif.get_ifd(0x8769)
    details[0x9003] = details[0x9004] = shot.taken
    details[0x920A] = house.focal_mm
    details[0xA405] = round(house.equivalent_mm)
    details[0xA002], details[0xA003] = image.width, image.height
    details[0x829D], details[0x8827] = 1.8, 64
    image.save(path, quality=quality, subsampling="4:2:0", exif=exif, optimize=True)
