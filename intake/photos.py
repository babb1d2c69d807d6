"""Photos of a folder: which files they are, and what is known of the lens before measuring."""

from __future__ import annotations

import io
import math
import os
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from intake.decode import (
    LARGEST_FILE_BYTES,
    Picture,
    allow_heif,
    decode_picture,
    first_line,
    jpeg_is_whole,
    picture_kind,
    read_bytes,
)
from intake.exif import CameraFacts, read_camera_facts
from intake.heif_boxes import items_are_named
from vision.findings import PerpendError
from vision.walls import Photo

__all__ = [
    "EXTENSIONS",
    "LARGEST_FILE_BYTES",
    "Listing",
    "PhotoFile",
    "Picture",
    "allow_heif",
    "decode_picture",
    "describe_photo",
    "find_photo",
    "jpeg_is_whole",
    "lens_prior",
    "list_photos",
    "read_bytes",
    "read_picture",
]

EXTENSIONS = frozenset({".jpg", ".jpeg", ".jpe", ".png", ".heic", ".heif", ".hif", ".webp", ".tif", ".tiff"})
SIDECARS = frozenset({".aae", ".mov", ".mp4", ".xmp", ".thm", ".dng", ".json.backup"})
LARGEST_PIXELS = 110_000_000
"""Largest picture read, pixels: a little over the 108 megapixels of the largest common phone sensors (from memory)."""
SMALLEST_SIDE_PX = 16

DIAGONAL_35MM = 43.27
"""Diagonal of the 36 x 24 mm frame, mm (CIPA DC-008-2019, FocalLengthIn35mmFilm)."""
KNOWN_FOCAL_REL_SD = 0.03
"""Of a focal length from the 35 mm equivalent: rounding to whole mm and width against diagonal (judgement)."""
UNKNOWN_FOCAL_REL_SD = 0.30
TYPICAL_F35_MM = 26.0
"""A phone's main lens, 35 mm equivalent (invented default, used with the wide prior only)."""
KNOWN_CENTRE_SD = 20.0 / 4032.0
UNKNOWN_CENTRE_SD = 300.0 / 4032.0
"""Standard uncertainty of the principal point over the longer side: 20 and 300 px at 12 megapixels (judgement)."""
F35_RANGE_MM = (9.0, 150.0)
"""Outside this a 35 mm equivalent is taken for a wrong tag."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFile:
    """A photo as found in its file: upright size, kind, camera facts, and notes for the person."""

    file: str
    kind: str
    width_px: int
    height_px: int
    facts: CameraFacts
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """The photos below a folder, and the files beside them that were left out and why."""

    photos: tuple[str, ...]
    ignored: tuple[tuple[str, str], ...] = ()


def list_photos(folder: Path) -> Listing:
    """Return the photos below a survey folder, sorted by name, with what was ignored.

    Results, hidden folders, symbolic links and nested surveys of their own are left out.
    """
    photos: list[str] = []
    ignored: list[tuple[str, str]] = []
    for place, folders, files in os.walk(folder):
        here = Path(place)
        inner = here != folder
        if inner and "survey.json" in files:
            folders.clear()
            continue
        skipped = {"results"} if not inner else set()
        folders[:] = sorted(
            name for name in folders if name[0] != "." and name not in skipped and not (here / name).is_symlink()
        )
        for name in sorted(files):
            path = here / name
            suffix = path.suffix.lower()
            relative = path.relative_to(folder).as_posix()
            if name.startswith("."):
                continue
            if suffix in EXTENSIONS and path.is_symlink():
                ignored.append((relative, "a link to another place; copy the photo itself into the folder"))
            elif suffix in EXTENSIONS:
                photos.append(relative)
            elif suffix in SIDECARS:
                ignored.append((relative, "goes with a photo but is not one; left alone"))
    return Listing(photos=tuple(sorted(photos)), ignored=tuple(ignored))


def find_photo(folder: Path, file: str, listed: tuple[str, ...]) -> str | None:
    """Return the photo below the folder that survey.json means by this name, or None.

    A bare name may lie in a sub-folder.

    Raises
    ------
    PerpendError
        Two photos in different sub-folders have the name.
    """
    wanted = file.replace("\\", "/")
    if wanted in listed:
        return wanted
    same = [name for name in listed if name.rsplit("/", 1)[-1] == wanted]
    if len(same) > 1:
        where = f"{same[0]} and {same[1]}"
        raise PerpendError(f"{file}: two photos have this name, {where}. Write the sub-folder too, or rename one.")
    return same[0] if same else None


def describe_photo(data: bytes, *, file: str) -> PhotoFile:
    """Return size, kind and camera facts of a photo without decoding its pixels.

    Parameters
    ----------
    data
        The file's bytes.
    file
        Its name, for messages.

    Raises
    ------
    PerpendError
        Not a picture, cut short, or too large; the message names the file and the remedy.
    """
    from PIL import Image, UnidentifiedImageError

    kind = picture_kind(data)
    if kind is None:
        raise PerpendError(f"{file}: not a picture, whatever its name says. Ask for the original photo.")
    if kind == "heif":
        if not items_are_named(data):
            raise PerpendError(f"{file}: damaged; its table of contents is no text. Copy it from the phone again.")
        allow_heif()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as picture:
                width, height = _stored_size(picture)
                orientation = 1 if kind == "heif" else int(picture.getexif().get(0x0112, 1) or 1)
    except UnidentifiedImageError as error:
        raise PerpendError(f"{file}: damaged; its header cannot be read. Copy it from the phone again.") from error
    except Image.DecompressionBombError as error:
        raise PerpendError(f"{file}: far too large for a photo ({_pixels_in(error)}). Send the original.") from error
    except Exception as error:  # decoders raise many kinds on hostile headers
        raise PerpendError(f"{file}: cannot be opened ({first_line(error)}). Copy it from the phone again.") from error
    if width * height > LARGEST_PIXELS:
        raise PerpendError(f"{file}: {width} x {height} pixels is too large for a photo. Send the original.")
    if min(width, height) < SMALLEST_SIDE_PX:
        raise PerpendError(f"{file}: {width} x {height} pixels is too small to measure. Send the original.")
    if kind == "jpeg" and not jpeg_is_whole(data):
        raise PerpendError(f"{file}: the file is cut short. Copy it from the phone again.")
    if orientation in (5, 6, 7, 8):
        width, height = height, width
    notes = () if _extension_fits(file, kind) else (f"the file is a {kind.upper()} picture under another ending",)
    return PhotoFile(file=file, kind=kind, width_px=width, height_px=height, facts=read_camera_facts(data), notes=notes)


def _pixels_in(error: Exception) -> str:
    """Return how many pixels a decoder's refusal speaks of, in words."""
    found = re.search(r"(\d{6,}) pixels", str(error))
    return f"{int(found.group(1)) / 1e6:.0f} megapixels" if found else "too many pixels"


def _stored_size(picture: Any) -> tuple[int, int]:
    """Return a picture's size as stored; Pillow turns the size of some TIFF files by itself."""
    tags = getattr(picture, "tag_v2", None)
    if picture.format == "TIFF" and tags is not None and 0x0100 in tags and 0x0101 in tags:
        return int(tags[0x0100]), int(tags[0x0101])
    width, height = picture.size
    return int(width), int(height)


def _extension_fits(file: str, kind: str) -> bool:
    endings = {"jpeg": (".jpg", ".jpeg", ".jpe"), "png": (".png",), "webp": (".webp",), "tiff": (".tif", ".tiff")}
    return file.lower().endswith(endings.get(kind, (".heic", ".heif", ".hif")))


def read_picture(path: Path, *, grey: bool = False) -> Picture:
    """Return the upright pixels of a photo file (see ``decode_picture``).

    Raises
    ------
    PerpendError
        Not a picture, damaged, or too large.
    """
    data = read_bytes(path)
    describe_photo(data, file=path.name)
    return decode_picture(data, file=path.name, grey=grey)


def lens_prior(photo: PhotoFile, *, purpose: str | None = None) -> tuple[Photo, tuple[str, ...]]:
    """Return the photo with its lens prior, and why the prior is wide if it is.

    Parameters
    ----------
    photo
        The photo as found.
    purpose
        What it is for.

    Returns
    -------
    tuple
        ``vision.walls.Photo`` (focal length in pixels = 35 mm equivalent / 43.27 mm x diagonal in pixels) and the
        reasons, empty when the camera details can be trusted.
    """
    facts = photo.facts
    doubts = _doubts(photo)
    longer = max(photo.width_px, photo.height_px)
    diagonal_px = math.hypot(photo.width_px, photo.height_px)
    equivalent = facts.focal_35mm
    stated = equivalent is not None and F35_RANGE_MM[0] <= equivalent <= F35_RANGE_MM[1]
    focal_mm = float(equivalent) if stated and equivalent is not None else TYPICAL_F35_MM
    known = stated and not doubts
    turn = _turn(facts)
    stored = (photo.height_px, photo.width_px) if turn in (1, 3) else (photo.width_px, photo.height_px)
    camera = f"{facts.make or 'unknown'} {facts.model or ''} {focal_mm if stated else 'unknown'}".strip()
    own = f" {photo.file}" if doubts and stated else ""
    return Photo(
        file=photo.file,
        width_px=photo.width_px,
        height_px=photo.height_px,
        phone=f"{camera} {stored[0]}x{stored[1]}{own}",
        focal_px=focal_mm / DIAGONAL_35MM * diagonal_px,
        focal_rel_sd=KNOWN_FOCAL_REL_SD if known else UNKNOWN_FOCAL_REL_SD,
        centre_sd_px=(KNOWN_CENTRE_SD if known else UNKNOWN_CENTRE_SD) * longer,
        turn=turn,
        purpose=purpose,
    ), doubts


def _turn(facts: CameraFacts) -> int | None:
    """Return the quarter turns that brought the stored pixels upright; None for a mirrored or silent photo."""
    if facts.orientation is None:
        return 0 if facts.model is not None else None
    return {1: 0, 6: 1, 3: 2, 8: 3}.get(facts.orientation)


def _doubts(photo: PhotoFile) -> tuple[str, ...]:
    """Return why the 35 mm equivalent may not belong to these pixels."""
    facts = photo.facts
    if facts.focal_35mm is None:
        return ("the camera details are gone",)
    doubts = []
    if not F35_RANGE_MM[0] <= facts.focal_35mm <= F35_RANGE_MM[1]:
        doubts.append(f"the focal length in the file, {facts.focal_35mm:.0f} mm, cannot be right")
    long_side, short_side = max(photo.width_px, photo.height_px), min(photo.width_px, photo.height_px)
    aspect = long_side / short_side
    if not (abs(aspect - 4 / 3) < 0.012 or (abs(aspect - 1.5) < 0.012 and facts.pixel_width is not None)):
        doubts.append(f"the picture is {aspect:.2f} to 1, not 4 to 3, so it may be cropped")
    if facts.pixel_width and facts.pixel_height:
        stored = max(facts.pixel_width, facts.pixel_height) / min(facts.pixel_width, facts.pixel_height)
        if abs(stored / aspect - 1) > 0.01:
            doubts.append(f"the camera stored {facts.pixel_width} x {facts.pixel_height}, so the picture was cropped")
        elif max(facts.pixel_width, facts.pixel_height) < 0.98 * long_side:
            doubts.append("the picture was enlarged after it was taken")
    if facts.digital_zoom is not None and facts.digital_zoom > 1.02:
        doubts.append(f"digital zoom {facts.digital_zoom:.1f} was used")
    return tuple(doubts)
