"""Reading and writing the survey folder: whole or not at all, with a backup, and knowing what is stale."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO

from pydantic import BaseModel

from intake.results import Geometry
from intake.survey import Survey, parse_json, parse_survey, validate
from vision.findings import PerpendError

SURVEY = "survey.json"
BACKUP = "survey.json.backup"
RESULTS = "results"
LARGEST_JSON_BYTES = 64_000_000


def survey_folder(folder: Path | str) -> Path:
    """Return the folder as a path, or refuse it.

    Raises
    ------
    PerpendError
        It is not there or is not a folder.
    """
    path = Path(folder)
    if not path.exists():
        raise PerpendError(f"{path}: no such folder. Check the name, or make it and copy the photos in.")
    if not path.is_dir():
        raise PerpendError(f"{path}: not a folder. Name the folder that holds the photos.")
    return path


def write_bytes(path: Path, data: bytes) -> None:
    """Write the file whole or not at all: a temporary file beside it, flushed to the disk, then renamed.

    A temporary file that a killed writer left behind is taken over, so nothing half-written stays.

    Raises
    ------
    PerpendError
        The disk is full or the folder cannot be written; what was there before is untouched.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with _replacing(path) as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        _flush_folder(path.parent)
    except OSError as error:
        reason = error.strerror or str(error)
        remedy = "Free some space or allow writing to the folder; nothing was changed."
        raise PerpendError(f"{path}: could not be written ({reason}). {remedy}") from error


@contextlib.contextmanager
def _replacing(path: Path) -> Iterator[BinaryIO]:
    """Give an empty file beside the path that takes the path's place when the body ends, and vanishes if it fails.

    Where the system has advisory locks, there is one such file for each path: the lock of a writer that died is gone,
    so the next writer takes its leftover over. Elsewhere each writer has a file of its own.
    """
    handle, part, locked = _open_part(path)
    try:
        with os.fdopen(handle, "wb") as file:
            file.truncate()
            yield file
            os.chmod(part, _mode_of(path))
            if locked:
                os.replace(part, path)
        if not locked:  # an open file cannot be renamed there
            os.replace(part, path)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def _open_part(path: Path) -> tuple[int, Path, bool]:
    """Return an open temporary file beside a path, its place, and whether this process holds its lock."""
    try:
        import fcntl
    except ImportError:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        return handle, Path(name), False
    part = path.with_name(f".{path.name}.part")
    while True:
        handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            if os.path.samestat(os.fstat(handle), os.stat(part)):
                return handle, part, True
        except FileNotFoundError:
            pass  # the writer before has just renamed it
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _mode_of(path: Path) -> int:
    """Return the permissions that a new file would get, or those that the old one has."""
    with contextlib.suppress(OSError):
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _flush_folder(folder: Path) -> None:
    """Flush the rename itself, where the system allows a folder to be opened."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text with line feeds, whole or not at all."""
    write_bytes(path, text.encode("utf-8"))


def json_text(data: BaseModel | Mapping[str, Any]) -> str:
    """Return the data as JSON: same data, same text, on every machine."""
    plain = data.model_dump(mode="json") if isinstance(data, BaseModel) else data
    return json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def write_json(path: Path, data: BaseModel | Mapping[str, Any]) -> None:
    """Write the data as JSON, whole or not at all."""
    write_text(path, json_text(data))


def read_json(path: Path) -> Any:
    """Return the parsed JSON of a file.

    Raises
    ------
    PerpendError
        The file cannot be read or is not JSON.
    """
    return parse_json(_read_limited(path), name=path.name)


def _read_limited(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_JSON_BYTES:
            megabytes = path.stat().st_size / 1e6
            raise PerpendError(f"{path.name}: {megabytes:.0f} MB is too large for a survey. Restore the backup.")
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise PerpendError(f"{path}: could not be read ({reason}). Check that it may be read.") from error


def read_survey(folder: Path) -> Survey:
    """Return the survey of a folder; an empty one where there is no survey.json.

    Raises
    ------
    PerpendError
        survey.json cannot be read or does not fit the schema; it is never changed by this.
    """
    path = survey_folder(folder) / SURVEY
    if not path.exists():
        return Survey(schema_version=1)
    return parse_survey(_read_limited(path))


def survey_text(survey: Survey) -> str:
    """Return survey.json's text: what was said, without the defaults that nobody said."""
    data = survey.model_dump(mode="json", exclude_unset=True)
    return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def write_survey(folder: Path, survey: Survey, *, backup: bool = True, expected_sha256: str | None = None) -> str:
    """Write survey.json whole, keeping the version before as survey.json.backup, and return the new file's SHA-256.

    Parameters
    ----------
    folder
        The survey folder.
    survey
        What to write.
    backup
        Keep the version that is there now.
    expected_sha256
        SHA-256 of the file as last read or written by the caller; refuse if it has changed since.

    Raises
    ------
    PerpendError
        The file changed meanwhile, or cannot be written.
    """
    path = survey_folder(folder) / SURVEY
    if expected_sha256 is not None and file_sha256(path) != expected_sha256:
        raise PerpendError(f"{path}: changed on disk meanwhile. Keep yours, take theirs, or compare before saving.")
    text = survey_text(survey).encode("utf-8")
    if backup and path.exists():
        before = path.read_bytes()
        if before != text:
            write_bytes(path.with_name(BACKUP), before)
    write_bytes(path, text)
    return hashlib.sha256(text).hexdigest()


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file, hexadecimal; of nothing where there is no file."""
    digest = hashlib.sha256()
    if path.exists():
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def inputs_sha256(folder: Path, *, survey: Survey, photos: Iterable[str], parts: Iterable[str], version: str) -> str:
    """Return the hash of all that a result depends on.

    Parameters
    ----------
    folder
        The survey folder.
    survey
        The survey as read; its meaning is hashed, so line endings and spacing do not count.
    photos
        Photos below the folder whose content counts.
    parts
        Keys of the survey that count.
    version
        The program's version.
    """
    said = survey.model_dump(mode="json", include=set(parts))
    lines = [version, json.dumps(said, sort_keys=True, ensure_ascii=True)]
    lines += [f"{name} {file_sha256(folder / name)}" for name in sorted(photos)]
    return hashlib.sha256("\n".join(lines).encode("utf-8")).hexdigest()


def read_geometry(folder: Path) -> Geometry | None:
    """Return results/geometry.json, or None where it is missing or no longer fits the schema (it can be made again)."""
    path = Path(folder) / RESULTS / "geometry.json"
    if not path.exists():
        return None
    try:
        return validate(Geometry, read_json(path), name="results/geometry.json")
    except PerpendError:
        return None
