"""Picture files: which kind, whether whole, and their upright pixels at full resolution.

Colour pictures are (height, width, 3) uint8 in the order blue, green, red, as OpenCV reads them.
"""

from __future__ import annotations

import io
import re
import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from intake.heif_boxes import items_are_named
from vision.findings import PerpendError

Picture = NDArray[np.uint8]

LARGEST_FILE_BYTES = 200_000_000


def read_bytes(path: Path) -> bytes:
    """Return a photo file's bytes.

    Raises
    ------
    PerpendError
        It is empty, too large or cannot be read.
    """
    try:
        size = path.stat().st_size
        if size == 0:
            raise PerpendError(f"{path.name}: the file is empty. Copy it from the phone again.")
        if size > LARGEST_FILE_BYTES:
            raise PerpendError(f"{path.name}: {size / 1e6:.0f} MB is too large for a photo. Send the original.")
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise PerpendError(f"{path.name}: could not be read ({reason}). Copy it from the phone again.") from error


_HEIF_BRANDS = frozenset({b"heic", b"heix", b"hevc", b"heim", b"heis", b"hevm", b"mif1", b"msf1", b"avif"})
"""Brands of ISO/IEC 23008-12 that the decoder reads (from memory)."""


def picture_kind(data: bytes) -> str | None:
    """Return jpeg, png, heif, webp or tiff by the file's first bytes, or None."""
    if data[:3] == b"\xff\xd8\xff":
        return "jpeg"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "png"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return "heif"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    if data[:4] in (b"II*\x00", b"MM\x00*"):
        return "tiff"
    return None


def allow_heif() -> None:
    """Let Pillow open HEIC and HEIF files; does nothing the second time."""
    import pi_heif

    pi_heif.register_heif_opener()


def jpeg_is_whole(data: bytes) -> bool:
    """Return whether a JPEG's scans run to its end-of-image marker (ITU-T T.81, annex B).

    A decoder fills what is missing with grey, which must not be measured.
    """
    place = 2
    while True:
        match = _MARKER.search(data, place)
        if match is None:
            return False
        marker, place = data[match.end() - 1], match.end()
        if marker == 0xD9:
            return True
        if marker in (0xD8, 0x01):
            continue
        if place + 2 > len(data):
            return False
        place += int.from_bytes(data[place : place + 2], "big")


_MARKER = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]", re.DOTALL)


def decode_picture(data: bytes, *, file: str, grey: bool = False) -> Picture:
    """Return the upright pixels at full resolution, uint8: (h, w) grey or (h, w, 3) blue, green, red.

    Parameters
    ----------
    data
        The file's bytes; call ``describe_photo`` first, which refuses what is not a whole picture.
    file
        Its name, for messages.
    grey
        Grey instead of colour.

    Raises
    ------
    PerpendError
        The pixels cannot be decoded.
    """
    import cv2

    kind = picture_kind(data)
    if kind == "heif":
        return _decode_heif(data, file=file, grey=grey)
    if kind == "jpeg":
        flag = cv2.IMREAD_GRAYSCALE if grey else cv2.IMREAD_COLOR
        try:
            decoded = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), flag)
        except cv2.error:
            decoded = None
        if decoded is not None:
            return np.asarray(decoded, dtype=np.uint8)
    return _decode_with_pillow(data, file=file, grey=grey)


def _decode_heif(data: bytes, *, file: str, grey: bool) -> Picture:
    """Return a HEIF picture's pixels; the decoder itself turns them upright (ISO/IEC 23008-12, irot and imir)."""
    import cv2
    import pi_heif

    if not items_are_named(data):
        raise PerpendError(f"{file}: damaged; its table of contents is no text. Copy it from the phone again.")
    try:
        picture = pi_heif.open_heif(data, convert_hdr_to_8bit=True, bgr_mode=True)
        padded = np.asarray(picture)  # borrows the decoder's memory, rows padded to its stride
        pixels = np.array(padded[:, : picture.size[0]])
    except Exception as error:  # decoders raise many kinds on damaged data
        raise PerpendError(f"{file}: damaged ({first_line(error)}). Copy it from the phone again.") from error
    if pixels.ndim == 2:
        return pixels if grey else np.asarray(cv2.cvtColor(pixels, cv2.COLOR_GRAY2BGR), dtype=np.uint8)
    if pixels.shape[2] == 4:
        pixels = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGRA2BGR), dtype=np.uint8)
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), dtype=np.uint8) if grey else pixels


def _decode_with_pillow(data: bytes, *, file: str, grey: bool) -> Picture:
    from PIL import Image, ImageOps

    allow_heif()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as picture:
                picture.load()
                upright = ImageOps.exif_transpose(picture)
    except Exception as error:  # decoders raise many kinds on damaged data
        raise PerpendError(f"{file}: damaged ({first_line(error)}). Copy it from the phone again.") from error
    if upright.mode.startswith(("I", "F")):
        values = np.asarray(upright, dtype=np.float64)
        top = 65535.0 if values.max(initial=0) > 255 else 255.0
        upright = Image.fromarray(np.clip(values * (255.0 / top), 0, 255).astype(np.uint8))
    if grey:
        return np.asarray(upright.convert("L"), dtype=np.uint8)
    if upright.mode in ("RGBA", "LA", "PA", "P"):
        base = Image.new("RGBA", upright.size, "white")
        upright = Image.alpha_composite(base, upright.convert("RGBA"))
    colour = np.asarray(upright.convert("RGB"), dtype=np.uint8)
    return np.ascontiguousarray(colour[:, :, ::-1])


def first_line(error: Exception) -> str:
    """Return the first line of an error's text, short, without the addresses that mean nothing to people."""
    from PIL import UnidentifiedImageError

    if isinstance(error, UnidentifiedImageError):
        return "not a picture"
    lines = str(error).splitlines()
    return lines[0][:120] if lines else type(error).__name__
