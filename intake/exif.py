"""What a photo's EXIF says of its camera, and nothing of place or person: exifread first, Pillow where it fails."""

from __future__ import annotations

import io
import logging
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

# EXIF 2.32 tag numbers (CIPA DC-008-2019, tables 4 to 8).
_TAGS: Mapping[str, int] = {
    "make": 0x010F,
    "model": 0x0110,
    "orientation": 0x0112,
    "software": 0x0131,
    "focal_mm": 0x920A,
    "focal_35mm": 0xA405,
    "pixel_width": 0xA002,
    "pixel_height": 0xA003,
    "digital_zoom": 0xA404,
    "taken_at": 0x9003,
}
_EXIFREAD_NAMES: Mapping[str, str] = {
    "make": "Image Make",
    "model": "Image Model",
    "orientation": "Image Orientation",
    "software": "Image Software",
    "focal_mm": "EXIF FocalLength",
    "focal_35mm": "EXIF FocalLengthIn35mmFilm",
    "pixel_width": "EXIF ExifImageWidth",
    "pixel_height": "EXIF ExifImageLength",
    "digital_zoom": "EXIF DigitalZoomRatio",
    "taken_at": "EXIF DateTimeOriginal",
}
_EXIF_IFD = 0x8769
_LONGEST_WORD = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFacts:
    """The EXIF facts that measuring needs; None where the photo does not say. Places and serial numbers are not read.

    ``focal_mm`` and ``focal_35mm`` are in millimetres, ``pixel_width`` and ``pixel_height`` as the camera stored them.
    """

    make: str | None = None
    model: str | None = None
    orientation: int | None = None
    software: str | None = None
    focal_mm: float | None = None
    focal_35mm: float | None = None
    pixel_width: int | None = None
    pixel_height: int | None = None
    digital_zoom: float | None = None
    taken_at: str | None = None


def read_camera_facts(data: bytes) -> CameraFacts:
    """Return what the EXIF of a picture file says; an empty record where it says nothing.

    Parameters
    ----------
    data
        The file's bytes. A broken EXIF block is treated as silent.
    """
    values = _with_exifread(data)
    if "focal_35mm" not in values or "model" not in values:
        values = {**_with_pillow(data), **values}
    return CameraFacts(
        make=_word(values.get("make")),
        model=_word(values.get("model")),
        orientation=_whole(values.get("orientation")),
        software=_word(values.get("software")),
        focal_mm=_number(values.get("focal_mm")),
        focal_35mm=_number(values.get("focal_35mm")),
        pixel_width=_whole(values.get("pixel_width")),
        pixel_height=_whole(values.get("pixel_height")),
        digital_zoom=_number(values.get("digital_zoom")),
        taken_at=_word(values.get("taken_at")),
    )


def _with_exifread(data: bytes) -> dict[str, Any]:
    import exifread

    logging.getLogger("exifread").setLevel(logging.CRITICAL)
    try:
        tags = exifread.process_file(io.BytesIO(data), details=False, extract_thumbnail=False)
    except Exception:
        return {}
    found = {}
    for key, name in _EXIFREAD_NAMES.items():
        tag = tags.get(name)
        values = getattr(tag, "values", None)
        if values:
            found[key] = values if isinstance(values, str) else values[0]
    return found


def _with_pillow(data: bytes) -> dict[str, Any]:
    from PIL import Image

    from intake.decode import allow_heif
    from intake.heif_boxes import items_are_named

    if not items_are_named(data):
        return {}
    allow_heif()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as picture:
                exif = picture.getexif()
                inner = exif.get_ifd(_EXIF_IFD)
    except Exception:
        return {}
    merged = {**dict(exif), **dict(inner)}
    return {key: merged[number] for key, number in _TAGS.items() if number in merged}


def _number(value: Any) -> float | None:
    """Return a finite number above zero, or None."""
    try:
        number = float(value[0] if isinstance(value, list | tuple) else value)
    except (TypeError, ValueError, ZeroDivisionError, IndexError, OverflowError):
        return None
    return number if 0 < number < 1e6 else None


def _whole(value: Any) -> int | None:
    number = _number(value)
    return None if number is None else round(number)


def _word(value: Any) -> str | None:
    """Return a short printable word, or None."""
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    word = "".join(sign for sign in value if sign.isprintable()).strip()[:_LONGEST_WORD]
    return word or None
