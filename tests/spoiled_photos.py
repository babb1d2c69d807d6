"""Rendered photos as people spoil them: blur, shake, glare, crop, zoom, a messenger, hidden sheets, angle, wrong lens.

Light is spoiled before the phone develops it, files as programs spoil them afterwards. Sizes in pixels are those of a
picture of 2,016 pixels; a phone's 4,032 doubles them. How often and how badly is invented.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from PIL import Image

from tests.scenes import Room, Scene, true_pixels
from tests.scenes import _draw as draw_room
from tests.scenes_draw import Camera, Canvas, FloatArray, LinearPicture, Style, develop, light_field
from tests.scenes_random import look_at, random_room, random_style

SIZE_PX = (2016, 1512)
KINDS = ("good", "blur", "shake", "glare", "crop", "zoom", "messenger", "partial_sheet", "steep", "wrong_lens")
PRINT_SD = 0.001
BLUR_CLICK_SHARE = 0.3
"""A click on a blurred corner is off by this share of the blur's standard deviation more (invented default)."""
ULTRA_WIDE_SHARE = 13.0 / 26.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoiled:
    """A photo as it arrives: the scene in its pixels, its file, and how much worse a person clicks in it (sd, px)."""

    kind: str
    scene: Scene
    jpeg: bytes
    click_sd_px: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the file says of the camera; None where it is silent."""

    f35_mm: float | None = None
    stored_px: tuple[int, int] | None = None
    digital_zoom: float | None = None


def spoiled_photo(seed: int, kind: str) -> Spoiled:
    """Return one photo of a random room with two survey sheets, spoiled in one way; the same seed, the same bytes."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    room = _room(rng)
    style = random_style(rng)
    if kind == "partial_sheet":
        room = _with_hidden_sheets(rng, room)
    zoom = float(rng.uniform(1.2, 3.0)) if kind == "zoom" else 1.0
    camera = _camera(rng, room, kind, zoom)
    linear, click = _light(rng, room, camera, style, kind)
    picture = develop(linear, style, rng, compress=kind not in ("zoom", "crop"))
    scene = Scene(picture=picture, room=room, camera=camera, pixels=true_pixels(room, camera))
    told = Told(f35_mm=_f35(camera), stored_px=SIZE_PX)
    quality = style.jpeg_quality
    if kind == "crop":
        scene, told = _cropped(rng, scene, told)
    elif kind == "zoom":
        scene, told = _zoomed(rng, scene, zoom)
    elif kind == "messenger":
        scene, told, quality = _sent(rng, scene)
    elif kind == "wrong_lens":
        told = replace(told, f35_mm=rng.choice([13.0, 26.0]))
    return Spoiled(kind=kind, scene=scene, jpeg=file_of(scene.picture, told, quality), click_sd_px=click)


def _room(rng: np.random.Generator) -> Room:
    while True:
        room = random_room(rng, references=("sheet", "sheet"), flat=False, tilt_mrad=7.0)
        if room.opening is not None and len(room.references) == 2:
            break
    printed = (replace(r, print_scale=float(np.exp(rng.normal(0, PRINT_SD)))) for r in room.references)
    return replace(room, references=tuple(printed))


def _with_hidden_sheets(rng: np.random.Generator, room: Room) -> Room:
    """Cover part of each sheet, from one side, as a curtain or a chair does."""
    sheets = []
    for sheet in room.references:
        share = rng.uniform(0.1, 0.95)
        cover = (-149.0, -106.0, -149.0 + 298.0 * share, 106.0)
        if rng.random() < 0.5:
            cover = (149.0 - 298.0 * share, -106.0, 149.0, 106.0)
        sheets.append(replace(sheet, covered=(cover,)))
    return replace(room, references=tuple(sheets))


def _camera(rng: np.random.Generator, room: Room, kind: str, zoom: float) -> Camera:
    """Return a phone that has the whole wall in view with a margin, held as the photo guide says unless spoiled."""
    focal = SIZE_PX[0] * rng.uniform(0.66, 0.75) * zoom
    radial = rng.normal(0, (0.015, 0.006))
    if kind == "wrong_lens":
        focal, radial = (
            focal * ULTRA_WIDE_SHARE,
            np.array([-rng.uniform(0.01, 0.05), 0.0]),
        )  # straightened in the phone, not quite
    w, h = room.width_mm, room.height_mm
    half = np.array(SIZE_PX) / 2 / focal
    away = max(w / 2 / half[0], h / 2 / half[1]) * rng.uniform(1.08, 1.2)
    yaw = np.radians(rng.choice([rng.uniform(-10, 10), rng.uniform(18, 26), -rng.uniform(18, 26)]))
    if kind == "steep":
        yaw = np.radians(rng.choice([-1, 1]) * rng.uniform(50, 68))
    away *= 1.0 + 0.5 * abs(np.sin(yaw)) * w / away  # the near end comes closer
    if kind == "zoom":
        away /= zoom ** float(rng.uniform(0.0, 1.0))  # some zoom in from the same place and lose corners
    aim = np.array([w / 2, h / 2, 0.0]) + np.array([*rng.normal(0, 25, 2), 0.0])
    position = np.array([w / 2, 0.0, 0.0]) + away * np.array([np.sin(yaw), 0.0, np.cos(yaw)])
    position[1] = rng.uniform(1200, 1650)
    return look_at(
        position,
        aim,
        size_px=SIZE_PX,
        focal_px=focal,
        centre_shift_px=rng.normal(0, 8, 2) * (zoom if kind == "zoom" else 1.0),
        k1=float(radial[0]),
        k2=float(radial[1]),
        roll_deg=float(rng.normal(0, 1.0)),
    )


def _light(
    rng: np.random.Generator, room: Room, camera: Camera, style: Style, kind: str
) -> tuple[LinearPicture, float]:
    """Return the light on the sensor, spoiled, and how much worse a person will click for it, pixels."""
    canvas = Canvas(camera)
    draw_room(canvas, room, rng)
    canvas.linear *= light_field(style, camera, (0, 0), (camera.width_px, camera.height_px))[..., None]
    if kind == "blur":
        sd = float(np.exp(rng.uniform(np.log(1.0), np.log(12.0))))
        return cv2.GaussianBlur(canvas.linear, (0, 0), sd), BLUR_CLICK_SHARE * sd
    if kind == "shake":
        return _shaken(rng, canvas.linear)
    if kind == "glare":
        return _glaring(rng, canvas.linear, room, camera), 0.0
    return canvas.linear, 0.0


def _shaken(rng: np.random.Generator, linear: LinearPicture) -> tuple[LinearPicture, float]:
    length = float(np.exp(rng.uniform(np.log(4.0), np.log(45.0))))
    angle = rng.uniform(0, np.pi)
    reach = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    for t in np.linspace(-length / 2, length / 2, 8 * reach):
        x, y = reach + t * np.cos(angle), reach + t * np.sin(angle)
        i, j = int(y), int(x)
        for di, dj in ((0, 0), (0, 1), (1, 0), (1, 1)):
            kernel[i + di, j + dj] += (1 - abs(y - i - di)) * (1 - abs(x - j - dj))
    shaken = cv2.filter2D(linear, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(shaken, np.float32), BLUR_CLICK_SHARE * length / np.sqrt(12)


def _glaring(rng: np.random.Generator, linear: LinearPicture, room: Room, camera: Camera) -> LinearPicture:
    """Add a lamp's reflection: on a sheet, on both, or beside them."""
    places = [np.array([r.centre_mm]) for r in room.references]
    chosen = rng.choice(3)
    targets = [places[0]] if chosen == 0 else places if chosen == 1 else [np.array([[0.5, 0.6]]) * room.corners_mm[2]]
    out = linear.copy()
    rows, columns = np.indices(linear.shape[:2], dtype=np.float32)
    for place in targets:
        x, y = camera.project(room.surface(place))[0]
        near = camera.focal_px / float(camera.to_camera(room.surface(place))[0, 2])
        radius = float(rng.uniform(60, 400)) * near
        strength = float(np.exp(rng.uniform(np.log(0.3), np.log(12.0))))
        x, y = x + rng.normal(0, 60) * near, y + rng.normal(0, 60) * near
        out += (strength * np.exp(-0.5 * ((columns - x) ** 2 + (rows - y) ** 2) / radius**2))[..., None]
    return out


def moved(scene: Scene, change: Callable[[FloatArray], FloatArray], picture: LinearPicture | np.ndarray) -> Scene:
    """Return the scene with its named points moved and another picture; points outside it are None."""
    height, width = picture.shape[:2]
    pixels: dict[str, tuple[float, float] | None] = {}
    for name, px in scene.pixels.items():
        x, y = change(np.array(px)) if px is not None else (np.nan, np.nan)
        inside = -0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5
        pixels[name] = (float(x), float(y)) if inside else None
    return replace(scene, picture=np.asarray(picture, np.uint8), pixels=pixels)


def _cropped(rng: np.random.Generator, scene: Scene, told: Told) -> tuple[Scene, Told]:
    """Return the photo cropped in a gallery: to any shape or to four to three, with or without the size it had."""
    w, h = SIZE_PX
    share = rng.uniform(0.6, 0.97, 2)
    if rng.random() < 0.4:
        share[1] = share[0]
    cw, ch = round(w * share[0]), round(h * share[1])
    x0, y0 = int(rng.integers(0, w - cw + 1)), int(rng.integers(0, h - ch + 1))
    picture = np.ascontiguousarray(scene.picture[y0 : y0 + ch, x0 : x0 + cw])
    kept = told if rng.random() < 0.5 else replace(told, stored_px=(cw, ch))
    return moved(scene, lambda px: px - np.array([x0, y0]), picture), kept


def _zoomed(rng: np.random.Generator, scene: Scene, zoom: float) -> tuple[Scene, Told]:
    """Return the photo as digital zoom makes it: fewer pixels of the sensor, stretched to the usual size."""
    small = cv2.resize(scene.picture, None, fx=1 / zoom, fy=1 / zoom, interpolation=cv2.INTER_AREA)
    picture = cv2.resize(small, SIZE_PX, interpolation=cv2.INTER_CUBIC)
    long_f35 = _f35(scene.camera)
    honest = bool(rng.random() < 0.7)  # most phones give the focal length of what is seen, some of the lens
    told = Told(f35_mm=long_f35 if honest else round(long_f35 / zoom), stored_px=SIZE_PX)
    if rng.random() < 0.7:
        told = replace(told, digital_zoom=round(zoom, 2))
    return replace(scene, picture=np.asarray(picture, np.uint8)), told


def _sent(rng: np.random.Generator, scene: Scene) -> tuple[Scene, Told, int]:
    """Return the photo as a messenger passes it on: reduced, compressed hard, without a word on the camera."""
    longer = int(rng.choice([1024, 1280, 1600, 2016]))
    scale = longer / SIZE_PX[0]
    picture = cv2.resize(scene.picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return moved(scene, lambda px: (px + 0.5) * scale - 0.5, picture), Told(), int(rng.integers(30, 80))


def _f35(camera: Camera) -> float:
    return float(round(camera.focal_px * 43.27 / float(np.hypot(camera.width_px, camera.height_px))))


def file_of(picture: np.ndarray, told: Told, quality: int) -> bytes:
    """Return a picture as JPEG with what its EXIF says."""
    buffer = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(picture[:, :, ::-1]))
    if told.f35_mm is None:
        image.save(buffer, "JPEG", quality=quality)
        return buffer.getvalue()
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Handset", "H-12", 1
    inner = exif.get_ifd(0x8769)
    inner[0xA405] = round(told.f35_mm)
    if told.stored_px is not None:
        inner[0xA002], inner[0xA003] = told.stored_px
    if told.digital_zoom is not None:
        inner[0xA404] = told.digital_zoom
    image.save(buffer, "JPEG", quality=quality, exif=exif)
    return buffer.getvalue()
