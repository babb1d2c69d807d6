"""Is a photo good for its job: sharpness where it matters, light, size and angle of the reference, its history.

Nothing here is a score: every figure has a unit, and every finding says what to do about it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from intake.photos import PhotoFile, Picture
from vision.findings import Finding
from vision.walls import FloatArray, Photo, Sighting

SOFT_BLUR_PX = 2.2
"""Above this standard deviation of blur at 12 megapixels a reference's corners are less exact than a tenth of a pixel
(judgement, from the study of the gate)."""
BAD_BLUR_PX = 4.0
SMALL_REFERENCE_PX = 90.0
STEEP_VIEW_DEG = 55.0
STEEP_REVEAL_DEG = 68.0
"""A reveal is best seen from the side; a wall is not (judgement, from the study of the gate)."""
ULTRA_WIDE_F35_MM = 20.0
CLIPPED_LIGHT = 252
MESSENGER_SIDE_PX = 2100
"""Messengers reduce pictures to about 1280 to 2048 pixels on the longer side (common practice, no source)."""
COARSE_QUANTISATION = 12.0
"""Mean luminance step of the JPEG tables above which fine edges are lost (judgement; quality about 75)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoQuality:
    """What was measured of one photo's fitness; lengths in pixels, angle in degrees, light as shares of pixels."""

    blur_px: float | None
    reference_px: float | None
    view_angle_deg: float | None
    clipped_share: float
    dark_share: float
    findings: tuple[Finding, ...]


def judge_photo(
    grey: Picture, *, described: PhotoFile, photo: Photo, sightings: Sequence[Sighting], data: bytes = b""
) -> PhotoQuality:
    """Return how fit a photo is to be measured from.

    Parameters
    ----------
    grey
        (h, w) upright pixels.
    described
        The photo as found in its file.
    photo
        The same with its lens prior.
    sightings
        The references seen in it.
    data
        The file's bytes, for traces of a messenger; may be left out.
    """
    blurs = [blur for blur in (reference_blur_px(grey, sighting) for sighting in sightings) if blur is not None]
    sizes = [longest_side_px(sighting) for sighting in sightings]
    angles = [angle for angle in (view_angle_deg(photo, sighting) for sighting in sightings) if angle is not None]
    blur = min(blurs) if blurs else general_blur_px(grey)
    small = grey[:: max(1, grey.shape[0] // 400), :: max(1, grey.shape[1] // 400)]
    clipped, dark = float(np.mean(small >= CLIPPED_LIGHT)), float(np.mean(small <= 12))
    size = max(sizes) if sizes else None
    angle = min(angles) if angles else None
    findings = [
        *_sharpness(photo, blur),
        *_light(photo, grey, sightings, clipped, dark),
        *_reference(photo, size, angle, sheet=any(sighting.kind == "survey_sheet" for sighting in sightings)),
        *_history(described, data),
    ]
    return PhotoQuality(
        blur_px=None if blur is None else round(blur, 2),
        reference_px=None if size is None else round(size, 1),
        view_angle_deg=None if angle is None else round(angle, 1),
        clipped_share=clipped,
        dark_share=dark,
        findings=tuple(findings),
    )


def longest_side_px(sighting: Sighting) -> float:
    """Return the longest side of a reference in the picture, pixels."""
    corners = np.asarray(sighting.corners_px, dtype=float)
    return float(np.max(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)))


def reference_blur_px(grey: Picture, sighting: Sighting) -> float | None:
    """Return the blur's standard deviation at a reference's edges, in its worse direction, pixels; None if unclear."""
    corners = np.asarray(sighting.corners_px, dtype=float)
    across = corners[1] - corners[0]
    down = corners[3] - corners[0]
    margin = 0.08 * max(float(np.linalg.norm(across)), float(np.linalg.norm(down)))
    low = np.floor(corners.min(axis=0) - margin).astype(int)
    high = np.ceil(corners.max(axis=0) + margin).astype(int)
    x0, y0 = max(int(low[0]), 0), max(int(low[1]), 0)
    x1, y1 = min(int(high[0]), grey.shape[1]), min(int(high[1]), grey.shape[0])
    if x1 - x0 < 24 or y1 - y0 < 24:
        return None
    reach = int(np.clip(0.012 * float(np.linalg.norm(across)), 3, 9))
    values = [edge_blur_px(grey[y0:y1, x0:x1], direction=axis, reach=reach) for axis in (across, down)]
    known = [value for value in values if value is not None]
    return max(known) if known else None


def general_blur_px(grey: Picture) -> float | None:
    """Return the blur's standard deviation at the strongest edges of the middle of the picture, pixels."""
    h, w = grey.shape
    middle = grey[h // 4 : h - h // 4, w // 4 : w - w // 4]
    values = [edge_blur_px(middle, direction=np.array(axis), reach=14) for axis in ((1.0, 0.0), (0.0, 1.0))]
    known = [value for value in values if value is not None]
    return max(known) if known else None


def edge_blur_px(crop: Picture, *, direction: FloatArray, reach: int) -> float | None:
    """Return the median blur of the strongest edges that cross a direction; None where there are too few.

    A step blurred by a Gaussian of standard deviation s has its steepest slope, step / (s sqrt(2 pi)), at its middle.

    Parameters
    ----------
    crop
        (h, w) grey pixels.
    direction
        (2,) the direction across the edges.
    reach
        How far to look on either side, pixels.
    """
    import cv2

    unit = direction / max(float(np.linalg.norm(direction)), 1e-9)
    light = np.power(crop.astype(np.float32) / 255.0, 2.2)
    gx, gy = cv2.Scharr(light, cv2.CV_32F, 1, 0) / 32.0, cv2.Scharr(light, cv2.CV_32F, 0, 1) / 32.0
    size = np.hypot(gx, gy)
    aligned = np.abs(gx * unit[0] + gy * unit[1]) > 0.92 * size
    rim = reach + 2
    aligned[:rim], aligned[-rim:], aligned[:, :rim], aligned[:, -rim:] = False, False, False, False
    strength = np.where(aligned, size, 0.0)
    if not aligned.any() or float(strength.max()) < 0.01:
        return None
    level = 0.5 * float(np.partition(strength.ravel(), -min(40, strength.size))[-min(40, strength.size)])
    rows, columns = np.nonzero(strength > max(level, 0.008))
    if len(rows) < 12:
        return None
    pick = np.linspace(0, len(rows) - 1, min(len(rows), 400)).astype(int)
    rows, columns = rows[pick], columns[pick]
    places = np.column_stack([columns, rows]).astype(np.float64)
    gradients = np.column_stack([gx[rows, columns], gy[rows, columns]]).astype(np.float64)
    return _median_blur(light, places, gradients, reach)


def _median_blur(light: NDArray[np.float32], places: FloatArray, gradients: FloatArray, reach: int) -> float | None:
    """Return the median blur at given edge pixels (n, 2) from profiles along their gradients (n, 2)."""
    import cv2

    across = gradients / np.maximum(np.linalg.norm(gradients, axis=1, keepdims=True), 1e-9)
    offsets = np.arange(-reach, reach + 0.25, 0.5)
    along = places[:, None, :] + offsets[None, :, None] * across[:, None, :]
    x, y = along[..., 0].astype(np.float32), along[..., 1].astype(np.float32)
    profile = cv2.remap(light, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    slope = np.max(np.diff(profile, axis=1), axis=1) / 0.5
    step = profile.max(axis=1) - profile.min(axis=1)
    good = (step > 0.05) & (slope > 1e-4)
    if good.sum() < 8:
        return None
    return float(np.median(step[good] / (slope[good] * math.sqrt(2 * math.pi))))


def view_angle_deg(photo: Photo, sighting: Sighting) -> float | None:
    """Return the angle between the wall's normal and the line of sight to the reference, degrees; None if unclear."""
    import cv2

    matrix = np.array(
        [
            [photo.focal_px, 0, (photo.width_px - 1) / 2],
            [0, photo.focal_px, (photo.height_px - 1) / 2],
            [0, 0, 1],
        ],
        dtype=float,
    )
    model = np.asarray(sighting.model_mm, dtype=float).reshape(-1, 2)
    if len(model) < 4:
        return None
    points = np.column_stack([model[:, 0], -model[:, 1], np.zeros(len(model))])
    seen = np.asarray(sighting.points_px, dtype=float).reshape(-1, 2)
    try:
        done, rotations, shifts, _ = cv2.solvePnPGeneric(points, seen, matrix, None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return None
    if not done or len(rotations) == 0:
        return None
    turn = cv2.Rodrigues(np.asarray(rotations[0], dtype=float).reshape(3, 1))[0]
    shift = np.asarray(shifts[0], dtype=float).reshape(3)
    cosine = abs(float(turn[:, 2] @ shift)) / max(float(np.linalg.norm(shift)), 1e-9)
    return math.degrees(math.acos(min(1.0, cosine)))


def _sharpness(photo: Photo, blur: float | None) -> list[Finding]:
    if blur is None:
        return []
    scale = max(photo.width_px, photo.height_px) / 4032
    soft, bad = SOFT_BLUR_PX * max(scale, 0.5), BAD_BLUR_PX * max(scale, 0.5)
    if blur <= soft:
        return []
    message = f"{photo.file}: edges are spread over {2.35 * blur:.0f} pixels, from shake or focus."
    remedy = "Retake it: wipe the lens, hold the phone with both hands, tap the wall to focus."
    return [_finding("P010", "stop" if blur > bad else "warn", message, remedy, photo.file)]


def _light(photo: Photo, grey: Picture, sightings: Sequence[Sighting], clipped: float, dark: float) -> list[Finding]:
    findings = []
    glaring = [sighting.reference for sighting in sightings if glare_share(grey, sighting) > 0.75]
    if glaring:
        message = f"{photo.file}: {', '.join(glaring)} is washed out by light."
        findings.append(
            _finding("P011", "warn", message, "Retake it with the flash off and the lamp behind you.", photo.file)
        )
    if clipped > 0.35:
        message = f"{photo.file}: {clipped:.0%} of the picture is white without detail."
        findings.append(
            _finding("P012", "warn", message, "Retake it by daylight, tapping the wall, not the window.", photo.file)
        )
    if dark > 0.5:
        message = f"{photo.file}: {dark:.0%} of the picture is black."
        findings.append(_finding("P013", "warn", message, "Retake it by daylight or with all lamps on.", photo.file))
    return findings


def glare_share(grey: Picture, sighting: Sighting) -> float:
    """Return the share of a reference's surface that is white without detail."""
    corners = np.asarray(sighting.corners_px, dtype=float)
    u, v = np.meshgrid(np.linspace(0.05, 0.95, 24), np.linspace(0.05, 0.95, 24))
    top = corners[0] + u[..., None] * (corners[1] - corners[0])
    bottom = corners[3] + u[..., None] * (corners[2] - corners[3])
    places = np.rint((top + v[..., None] * (bottom - top)).reshape(-1, 2)).astype(int)
    inside = (places >= 0).all(axis=1) & (places[:, 0] < grey.shape[1]) & (places[:, 1] < grey.shape[0])
    if not inside.any():
        return 0.0
    return float(np.mean(grey[places[inside, 1], places[inside, 0]] >= CLIPPED_LIGHT))


def _reference(photo: Photo, size: float | None, angle: float | None, *, sheet: bool) -> list[Finding]:
    findings = []
    if size is not None and size < SMALL_REFERENCE_PX:
        message = f"{photo.file}: the reference is only {size:.0f} pixels long, so the scale is rough."
        remedy = "Retake it from nearer." if sheet else "Retake it from nearer, or use an A4 survey sheet."
        findings.append(_finding("P014", "warn", message, remedy, photo.file))
    steep = STEEP_REVEAL_DEG if photo.purpose in ("opening", "detail", "wall_edge") else STEEP_VIEW_DEG
    if angle is not None and angle > steep:
        message = f"{photo.file}: the wall is seen at {angle:.0f}° from square, which stretches every error."
        findings.append(_finding("P015", "warn", message, "Retake it from nearer to the wall's middle.", photo.file))
    return findings


def _history(described: PhotoFile, data: bytes) -> list[Finding]:
    """Return findings on what happened to the file between the phone and here."""
    facts, name = described.facts, described.file
    longer = max(described.width_px, described.height_px)
    shorter = min(described.width_px, described.height_px)
    ask = "Ask for the original file: sent as a file, not in a chat."
    findings = []
    silent = facts.model is None and facts.focal_35mm is None
    if silent and described.kind == "png" and longer / shorter > 1.6:
        message = (
            f"{name}: looks like a screenshot, {described.width_px} x {described.height_px} without camera details."
        )
        return [_finding("P016", "stop", message, ask, name)]
    step = mean_quantisation(data)
    if silent and longer <= MESSENGER_SIDE_PX:
        coarse = (
            f" and compressed hard (mean step {step:.0f})" if step is not None and step > COARSE_QUANTISATION else ""
        )
        message = (
            f"{name}: {described.width_px} x {described.height_px} without camera details{coarse}; a messenger's copy."
        )
        findings.append(_finding("P017", "warn", message, ask, name))
    if facts.focal_35mm is not None and facts.focal_35mm < ULTRA_WIDE_F35_MM:
        message = f"{name}: taken with the ultra-wide lens ({facts.focal_35mm:.0f} mm), which bends the wall's edges."
        findings.append(_finding("P018", "warn", message, "Retake it at 1×, from further back.", name))
    if facts.digital_zoom is not None and facts.digital_zoom > 1.02:
        message = f"{name}: taken with digital zoom {facts.digital_zoom:.1f}."
        findings.append(_finding("P019", "warn", message, "Retake it at 1×, from nearer.", name))
    return findings


def mean_quantisation(data: bytes) -> float | None:
    """Return the mean step of a JPEG's luminance table (ITU-T T.81, B.2.4.1); None for other files."""
    place = data.find(b"\xff\xdb", 2, 200_000) if data[:2] == b"\xff\xd8" else -1
    if place < 0 or place + 5 + 64 > len(data) or data[place + 4] >> 4:
        return None
    return float(np.mean(np.frombuffer(data[place + 5 : place + 69], dtype=np.uint8)))


def look_hash(grey: Picture) -> int:
    """Return 64 bits that stay the same when a photo is scaled or compressed: which neighbours are darker."""
    import cv2

    small = cv2.resize(grey, (9, 8), interpolation=cv2.INTER_AREA)
    bits = (small[:, 1:] > small[:, :-1]).ravel()
    return int("".join("1" if bit else "0" for bit in bits), 2)


def same_look(one: int, other: int, *, most_bits: int = 3) -> bool:
    """Return whether two photos look the same by their hashes."""
    return (one ^ other).bit_count() <= most_bits


def _finding(code: str, severity: str, message: str, remedy: str, photo: str) -> Finding:
    return Finding(
        code=code,
        severity="stop" if severity == "stop" else "warn",
        message=message,
        remedy=remedy,
        where={"photo": photo},
    )
