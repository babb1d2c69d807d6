"""Surfaces drawn by rule: plaster, paper, boards, carpet, a picture, the garden, survey sheets and a card.

Colours are linear light, float32 (rows, columns, 3), row 0 at the top. Height maps are metres. Nothing here is a
photograph; every pattern is our own.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from houses import Reference
from numpy.typing import NDArray

Picture = NDArray[np.float32]
Array = NDArray[Any]


def linear(*srgb: float) -> Array:
    """An sRGB colour (0 to 255) as linear light (0 to 1)."""
    c = np.asarray(srgb, float) / 255
    return np.asarray(np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4), np.float32)


def noise(
    rng: np.random.Generator,
    shape: tuple[int, int],
    shortest: float,
    longest: float,
    slope: float = 1.0,
    stretch: tuple[float, float] = (1.0, 1.0),
) -> Array:
    """Tileable noise of unit standard deviation with waves from ``shortest`` to ``longest`` pixels."""
    fy = np.fft.fftfreq(shape[0])[:, None] * stretch[0]
    fx = np.fft.rfftfreq(shape[1])[None] * stretch[1]
    f = np.hypot(fy, fx)
    keep = (f >= 1 / longest) & (f <= 1 / shortest)
    gain = np.where(keep, np.maximum(f, 1e-9) ** -slope, 0)
    field = np.fft.irfft2(np.fft.rfft2(rng.standard_normal(shape)) * gain, s=shape)
    return np.asarray(field / field.std(), np.float32)


def shade(colour: Array, factor: Array) -> Picture:
    """A colour varied by a factor per pixel."""
    return np.asarray(np.clip(colour * factor[..., None], 0.004, 0.95), np.float32)


def painted_plaster(rng: np.random.Generator, colour: Array, side_px: int = 2048) -> tuple[Picture, Array]:
    """Emulsion on hand-floated plaster, a 2 m tile: colour and height."""
    px = side_px / 2.0  # pixels a metre
    shape = (side_px, side_px)
    trowel = noise(rng, shape, 0.05 * px, 0.6 * px, 1.4, (1.0, 0.6))
    roller = noise(rng, shape, 0.0022 * px, 0.008 * px, 0.6)
    patches = noise(rng, shape, 0.15 * px, 1.0 * px, 1.2)
    colour_map = shade(colour, 1 + 0.016 * patches + 0.008 * trowel + 0.012 * roller)
    height = 0.00030 * trowel + 0.000028 * roller
    chips = height.copy()
    for _ in range(14):  # filled nail holes and small knocks
        x, y = rng.integers(0, side_px, 2)
        r = int(rng.integers(2, 5))
        cv2.circle(
            colour_map, (int(x), int(y)), r, [float(v) for v in colour * rng.uniform(0.45, 0.8)], -1, cv2.LINE_AA
        )
    return colour_map, chips


def wallpaper(
    rng: np.random.Generator, ground: Array, ink: Array, second: Array, side_px: int = 2120
) -> tuple[Picture, Array]:
    """Printed paper of interlocking petals, a 1.06 m tile (two rolls of 530 mm): colour and height."""
    px = side_px / 1.06
    mask = np.zeros((side_px, side_px), np.float32)
    dots = mask.copy()
    step = 0.1325 * px
    t = np.linspace(0, 2 * np.pi, 60)
    for row in range(-1, 18):
        for col in range(-1, 10):
            x, y = (col + 0.5 * (row % 2)) * step, row * step / 2
            for turn in (0, np.pi / 2):
                along, across = 0.40 * step * np.cos(t), 0.13 * step * np.sin(t) * np.abs(np.sin(t)) ** 0.3
                xy = np.column_stack(
                    [along * np.cos(turn) - across * np.sin(turn), along * np.sin(turn) + across * np.cos(turn)]
                ) + np.array([x, y])
                cv2.fillPoly(mask, [np.round(xy * 16).astype(np.int32)], 1.0, cv2.LINE_8, 4)
            cv2.circle(dots, (int(x * 16), int((y + step / 4) * 16)), int(0.035 * step * 16), 1.0, -1, cv2.LINE_8, 4)
    mask, dots = cv2.GaussianBlur(mask, (0, 0), 0.8), cv2.GaussianBlur(dots, (0, 0), 0.8)
    colour = ground * np.ones((side_px, side_px, 1), np.float32)
    colour = colour * (1 - mask[..., None]) + ink * mask[..., None]
    colour = colour * (1 - dots[..., None]) + second * dots[..., None]
    fibre = noise(rng, (side_px, side_px), 2, 9, 0.5)
    height = 0.00002 * fibre + 0.00005 * mask
    for seam in (0, side_px // 2):
        colour[:, seam : seam + 1] *= 0.9
    tint = 1 + 0.02 * fibre + 0.015 * noise(rng, (side_px, side_px), 200, 2000, 1.2)
    return np.clip(colour * tint[..., None], 0.004, 0.95).astype(np.float32), height


def floorboards(rng: np.random.Generator, colour: Array, side_px: int = 2048) -> tuple[Picture, Array]:
    """Pine boards 146 mm wide running up the tile (2.044 m, fourteen boards): colour and height."""
    grain = noise(rng, (side_px, side_px), 3, 90, 0.9, (9.0, 1.0))
    fine = noise(rng, (side_px, side_px), 2, 8, 0.3, (6.0, 1.0))
    out = np.empty((side_px, side_px, 3), np.float32)
    height = 0.00006 * grain
    edges = np.round(np.linspace(0, side_px, 15)).astype(int)
    for a, b in pairwise(edges):
        tone = rng.uniform(0.78, 1.18)
        warm = np.array([1.0, rng.uniform(0.94, 1.03), rng.uniform(0.85, 1.05)], np.float32)
        out[:, a:b] = shade(
            colour * warm * tone, (1 + 0.10 * np.roll(grain, rng.integers(0, side_px), 0) + 0.05 * fine)[:, a:b]
        )
        out[:, a : a + 3] *= 0.22
        height[:, a : a + 3] -= 0.002
        joint = rng.integers(0, side_px)
        out[joint : joint + 2, a:b] *= 0.35
        for nail in (joint - 22, joint + 24):
            for x in (a + 26, b - 24):
                cv2.circle(out, (int(x), int(nail % side_px)), 3, (0.03, 0.03, 0.03), -1, cv2.LINE_AA)
    return out, height


def carpet(rng: np.random.Generator, colour: Array, side_px: int = 1024) -> tuple[Picture, Array]:
    """A short loop pile, a 0.6 m tile: colour and height."""
    loop = noise(rng, (side_px, side_px), 5, 11, 0.0)
    soft = noise(rng, (side_px, side_px), 60, 500, 1.0)
    return shade(colour, 1 + 0.22 * loop + 0.05 * soft), 0.0009 * loop


def rug(rng: np.random.Generator, width_px: int = 1400, height_px: int = 900) -> Picture:
    """A woven rug with borders and lozenges, shown once."""
    base = linear(122, 46, 40) * np.ones((height_px, width_px, 1), np.float32)
    for inset, colour in (
        (30, linear(38, 44, 66)),
        (70, linear(196, 176, 136)),
        (86, linear(122, 46, 40)),
        (150, linear(38, 44, 66)),
        (160, linear(140, 58, 46)),
    ):
        cv2.rectangle(base, (inset, inset), (width_px - inset, height_px - inset), colour.tolist(), -1)
    for k in range(5):
        for size, colour in ((120, linear(38, 44, 66)), (86, linear(196, 176, 136)), (54, linear(122, 46, 40))):
            x = 260 + k * 220
            pts = np.array(
                [
                    (x - size * 0.8, height_px / 2),
                    (x, height_px / 2 - size * 1.5),
                    (x + size * 0.8, height_px / 2),
                    (x, height_px / 2 + size * 1.5),
                ],
                np.int32,
            )
            cv2.fillPoly(base, [pts], colour.tolist(), cv2.LINE_AA)
    weave = noise(rng, (height_px, width_px), 3, 7, 0.0)
    return np.clip(base * (1 + 0.2 * weave[..., None]), 0.004, 0.9).astype(np.float32)


def landscape(rng: np.random.Generator, width_px: int = 700, height_px: int = 520) -> Picture:
    """A small painting of hills, for the picture on the wall."""
    y = np.linspace(0, 1, height_px)[:, None, None]
    out = (linear(214, 200, 170) * (1 - y) + linear(236, 222, 190) * y) * np.ones((1, width_px, 1))
    x = np.arange(width_px)
    hills = (
        (0.45, linear(126, 140, 150)),
        (0.56, linear(98, 120, 104)),
        (0.68, linear(92, 104, 60)),
        (0.82, linear(66, 76, 42)),
    )
    for level, colour in hills:
        top = level + 0.05 * noise(rng, (8, width_px), 90, 600, 1.5)[0]
        below = np.arange(height_px)[:, None] > top * height_px
        out[below] = (colour * (1 + 0.1 * noise(rng, (height_px, width_px), 4, 40, 0.8)[..., None]))[below]
    cv2.circle(out, (int(0.68 * x[-1]), int(0.25 * height_px)), 26, linear(246, 226, 160).tolist(), -1, cv2.LINE_AA)
    return np.clip(out, 0.01, 0.9).astype(np.float32)


def garden(rng: np.random.Generator, side_px: int = 768) -> Picture:
    """What is seen through the window, out of focus: sky, trees, a hedge and a lawn (radiance, sky about 1)."""
    y = np.linspace(0, 1, side_px)[:, None, None].astype(np.float32)
    sky = np.array([0.92, 1.0, 1.10], np.float32) * (1.05 - 0.35 * y) * np.ones((1, side_px, 1), np.float32)
    clouds = noise(rng, (side_px, side_px), 60, 600, 1.4)[..., None]
    out = sky * (1 + 0.06 * clouds)
    for level, wave, colour in (
        (0.40, 0.055, (0.10, 0.13, 0.07)),
        (0.60, 0.018, (0.13, 0.20, 0.06)),
        (0.74, 0.005, (0.26, 0.36, 0.12)),
    ):
        crown = noise(rng, (8, side_px), 70, 420, 1.2)[0]
        crown = np.abs(crown) ** 0.8 * np.sign(crown) + 0.16 * noise(rng, (8, side_px), 9, 50, 0.4)[0]
        below = np.arange(side_px)[:, None] > (level + wave * crown) * side_px
        leaves = 1 + 0.40 * noise(rng, (side_px, side_px), 8, 160, 1.1)[..., None]
        out[below] = (np.array(colour, np.float32) * np.clip(leaves, 0.2, 3))[below]
    return np.asarray(cv2.GaussianBlur(np.clip(out, 0.02, 2), (0, 0), side_px / 190), np.float32)


def survey_sheet(number: int, px_per_mm: int = 10) -> Picture:
    """Sheet ``number`` as printed, 297 x 210 mm: four 36h11 tags of 72 mm, a 250 mm bar between ticks, our words."""
    w, h = 297 * px_per_mm, 210 * px_per_mm
    page = np.full((h, w), 255, np.uint8)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    side = 72 * px_per_mm
    for k, (x, y) in enumerate(((-100, 56), (100, 56), (100, -56), (-100, -56))):
        tag = cv2.aruco.generateImageMarker(family, 4 * number + k, side, borderBits=1)
        left, top = round(w / 2 + x * px_per_mm - side / 2), round(h / 2 - y * px_per_mm - side / 2)
        page[top : top + side, left : left + side] = tag
    mid = h // 2
    a, b = w // 2 - 125 * px_per_mm, w // 2 + 125 * px_per_mm
    page[mid - px_per_mm // 4 : mid + px_per_mm // 4, a:b] = 20
    for x in (a, b):
        page[mid - 5 * px_per_mm : mid + 5 * px_per_mm, x - 3 * px_per_mm // 10 : x + 3 * px_per_mm // 10] = 20
    lines = (
        (str(number), 56, 10.5, 32),
        ("survey sheet", 86, 1.5, 4),
        ("Print at 100 % on plain, matt A4.", 40, 1.7, 5),
        ("In the print window choose actual size.", 34, 1.3, 3),
        ("Then check the bar below with a rule.", 29, 1.3, 3),
        ("Lay a steel rule along this bar and read it from tick to tick: 250 mm.", 4, 1.4, 3),
        ("The bar reads ____________ mm", -9, 1.6, 4),
        ("Keep every black square in the picture,", -40, 1.3, 3),
        ("dry, clean and out of glare.", -46, 1.3, 3),
    )
    for words, y, scale, weight in lines:
        (tw, _), _ = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, scale, weight)
        cv2.putText(
            page, words, ((w - tw) // 2, mid - y * px_per_mm), cv2.FONT_HERSHEY_SIMPLEX, scale, 30, weight, cv2.LINE_AA
        )
    ink = page.astype(np.float32)[..., None] / 255
    return (linear(26, 26, 28) * (1 - ink) + linear(232, 231, 226) * ink).astype(np.float32)


def plain_paper(rng: np.random.Generator) -> Picture:
    """Unprinted office paper."""
    return shade(linear(234, 234, 231), 1 + 0.006 * noise(rng, (420, 594), 3, 60, 0.8))


def library_card(rng: np.random.Generator) -> Picture:
    """The face of an invented lending-library card, 20 pixels a millimetre."""
    w, h = 1712, 1080
    y = np.linspace(0, 1, h)[:, None, None].astype(np.float32)
    out = (linear(28, 70, 104) * (1 - y) + linear(24, 100, 108) * y) * np.ones((1, w, 1), np.float32)
    out = np.ascontiguousarray(out, np.float32)
    cv2.rectangle(out, (0, 760), (w, 900), linear(226, 214, 180).tolist(), -1)
    words = np.zeros((h, w), np.uint8)
    cv2.putText(words, "Village Library", (110, 270), cv2.FONT_HERSHEY_DUPLEX, 4.2, 255, 9, cv2.LINE_AA)
    cv2.putText(words, "reader 0417", (110, 430), cv2.FONT_HERSHEY_DUPLEX, 2.4, 225, 5, cv2.LINE_AA)
    ink = words.astype(np.float32)[..., None] / 255
    out = out * (1 - ink) + linear(240, 238, 228) * ink
    out = np.ascontiguousarray(out, np.float32)
    for k in range(46):
        if rng.random() < 0.55:
            cv2.rectangle(out, (960 + k * 13, 780), (966 + k * 13, 880), linear(30, 30, 34).tolist(), -1)
    return np.clip(out, 0.004, 0.9).astype(np.float32)


def reference_face(reference: Reference, rng: np.random.Generator) -> Picture:
    """The printed face of a reference."""
    if reference.kind == "survey_sheet":
        return survey_sheet(reference.number or 0)
    return library_card(rng) if reference.kind == "id1_card" else plain_paper(rng)
