"""The survey's photos as the page needs them: upright, scaled for the screen, cut into tiles, grey for measuring."""

from __future__ import annotations

import contextlib
import io
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from intake.photos import PhotoFile, Picture, allow_heif, decode_picture, describe_photo, list_photos, read_bytes
from vision.findings import PerpendError

SIDES = {"thumb": 320, "base": 2048}
"""Longer side of a whole picture sent to the browser, pixels."""
TILE = 512
KEPT, KEPT_GREY, KEPT_SCALED = 4, 12, 40
"""Pictures kept in memory: at 12 megapixels 36 MB each in colour, 12 MB in grey, half a megabyte as a scaled JPEG."""


Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureInfo:
    """A photo's name in the survey, its upright size, a mark of its version, and ``problem`` if it is unreadable."""

    file: str
    width_px: int = 0
    height_px: int = 0
    version: str = ""
    problem: str | None = None


class _Recent(Generic[Key, Value]):
    """The last few pictures made; two requests for one picture make it once."""

    def __init__(self, make: Callable[[Key], Value], most: int) -> None:
        self._make = make
        self._most = most
        self._kept: OrderedDict[Key, Value] = OrderedDict()
        self._lock = threading.Lock()
        self._busy: dict[Key, threading.Lock] = {}

    def get(self, key: Key) -> Value:
        with self._lock:
            busy = self._busy.setdefault(key, threading.Lock())
        with busy:
            with self._lock:
                if key in self._kept:
                    self._kept.move_to_end(key)
                    return self._kept[key]
            made = self._make(key)
            with self._lock:
                self._kept[key] = made
                while len(self._kept) > self._most:
                    self._kept.popitem(last=False)
            return made


class Pictures:
    """The photos of one folder, by name; only names found in the folder are ever opened."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.files: tuple[str, ...] = list_photos(folder).photos
        self.served = threading.Event()
        """Set once the first whole picture has gone to the browser."""
        self._infos: dict[str, PictureInfo] = {}
        self._described: dict[str, tuple[str, PhotoFile | None, str | None]] = {}
        self._colour: _Recent[str, Picture] = _Recent(self._decoded, KEPT)
        self._grey: _Recent[str, Picture] = _Recent(self._decoded_grey, KEPT_GREY)
        self._scaled: _Recent[tuple[str, str, str], bytes] = _Recent(self._scale, KEPT_SCALED)

    def look(self) -> bool:
        """Return whether photos have come or gone since the folder was last looked at."""
        files = list_photos(self.folder).photos
        changed = files != self.files
        self.files = files
        return changed

    def info(self, file: str) -> PictureInfo:
        """Return what the page needs to know of a photo before its pixels, from its header alone."""
        path = self._path(file)
        version = _version(path)
        known = self._infos.get(file)
        if known is None or known.version != version:
            known = _read_header(path, file, version)
            self._infos[file] = known
        return known

    def described(self, file: str) -> PhotoFile | None:
        """Return the photo's size and camera facts, or None if it cannot be measured from."""
        return self._describe(file)[1]

    def problem(self, file: str) -> str | None:
        """Return why a photo cannot be measured from, after reading the whole file; None if it can."""
        return self._describe(file)[2]

    def prepare(self, first: str | None) -> None:
        """Read every photo's header, and scale the photo that the page shows first before it is asked for."""
        for file in self.files:
            self.info(file)
        if first is not None:
            with contextlib.suppress(KeyError, PerpendError):
                self._scaled.get((first, "base", self.info(first).version))

    def scaled(self, file: str, name: str) -> bytes:
        """Return a whole photo as a JPEG no larger than the named size, ``thumb`` or ``base``.

        Raises
        ------
        KeyError
            If there is no such photo in the folder, or no such size.
        PerpendError
            If it cannot be read.
        """
        data = self._scaled.get((file, name, _version(self._path(file))))
        if name == "base":
            self.served.set()
        return data

    def _scale(self, key: tuple[str, str, str]) -> bytes:
        from PIL import Image, ImageOps

        file, name, _ = key
        side = SIDES[name]
        data = read_bytes(self._path(file))
        allow_heif()
        try:
            with Image.open(io.BytesIO(data)) as opened:
                opened.draft("RGB", (2 * side // 3, 2 * side // 3))  # a JPEG decodes at a half or an eighth at once
                opened.thumbnail((side, side), Image.Resampling.BILINEAR, reducing_gap=2.0)
                upright = ImageOps.exif_transpose(opened).convert("RGB")
        except Exception as error:  # decoders raise many kinds on damaged data
            raise PerpendError(f"{file}: cannot be read ({_reason(error)}). Copy it from the phone again.") from error
        buffer = io.BytesIO()
        upright.save(buffer, "JPEG", quality=88 if name == "base" else 80)
        return buffer.getvalue()

    def tile(self, file: str, column: int, row: int) -> bytes:
        """Return one full-size tile as a JPEG, counted from the top left.

        Raises
        ------
        KeyError
            If there is no such photo or tile.
        """
        import cv2

        pixels = self.colour(file)
        piece = pixels[row * TILE : (row + 1) * TILE, column * TILE : (column + 1) * TILE]
        if row < 0 or column < 0 or piece.size == 0:
            raise KeyError((file, column, row))
        _, coded = cv2.imencode(".jpg", piece, [cv2.IMWRITE_JPEG_QUALITY, 92])
        return bytes(coded)

    def colour(self, file: str) -> Picture:
        """Return a photo's upright pixels, (height, width, 3), blue, green, red."""
        self._path(file)
        return self._colour.get(file)

    def grey(self, file: str) -> Picture:
        """Return a photo's upright grey pixels, (height, width)."""
        self._path(file)
        return self._grey.get(file)

    def _decoded(self, file: str) -> Picture:
        return decode_picture(read_bytes(self._path(file)), file=file)

    def _decoded_grey(self, file: str) -> Picture:
        return decode_picture(read_bytes(self._path(file)), file=file, grey=True)

    def _describe(self, file: str) -> tuple[str, PhotoFile | None, str | None]:
        path = self._path(file)
        version = _version(path)
        known = self._described.get(file)
        if known is None or known[0] != version:
            try:
                known = (version, describe_photo(read_bytes(path), file=file), None)
            except PerpendError as error:
                known = (version, None, str(error))
            self._described[file] = known
        return known

    def _path(self, file: str) -> Path:
        if file not in self.files:
            raise KeyError(file)
        return self.folder / file


def _version(path: Path) -> str:
    try:
        stat = path.stat()
    except OSError:
        return "gone"
    return f"{stat.st_mtime_ns:x}-{stat.st_size:x}"


def _reason(error: Exception) -> str:
    """Return why a picture cannot be read, without the place of the folder on this computer."""
    from PIL import UnidentifiedImageError

    if isinstance(error, UnidentifiedImageError):
        return "not a picture"
    return (error.strerror or "cannot be opened") if isinstance(error, OSError) and error.filename else str(error)[:80]


def _read_header(path: Path, file: str, version: str) -> PictureInfo:
    from PIL import Image

    heif = path.suffix.lower() in (".heic", ".heif", ".hif")
    if heif:
        allow_heif()
    try:
        with Image.open(path) as opened:
            width, height = opened.size
            if not heif and opened.getexif().get(0x0112, 1) in (5, 6, 7, 8):
                width, height = height, width
    except Exception as error:  # decoders raise many kinds on damaged headers
        problem = f"{file}: cannot be read ({_reason(error)}). Copy it from the phone again."
        return PictureInfo(file=file, version=version, problem=problem)
    return PictureInfo(file=file, width_px=width, height_px=height, version=version)
