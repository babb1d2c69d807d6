"""How the page reads, checks and writes survey.json, and keeps the versions before."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

from intake.store import BACKUP, json_text, write_bytes
from intake.survey import Survey, parse_json, validate
from vision.findings import PerpendError

Json = Any
KEPT = ".survey_kept"
"""Hidden folder of earlier versions: at most one a minute, the last ``KEPT_VERSIONS``."""
KEPT_VERSIONS = 20
LATEST = "latest.copy"
"""A copy of the version that the page wrote last, for when survey.json is then broken by hand."""


def parse(data: bytes) -> dict[str, Json]:
    """Return the survey as decoded JSON, checked against the schema.

    Raises
    ------
    PerpendError
        If it is not a survey; the words name the place.
    """
    document = parse_json(data, name="survey.json")
    check(document)
    return cast("dict[str, Json]", document)


def check(document: dict[str, Json]) -> Survey:
    """Return the survey that a document is.

    Raises
    ------
    PerpendError
        If it is not one; the words name the place.
    """
    return validate(Survey, document, name="survey.json")


def encode(document: dict[str, Json]) -> bytes:
    """Return a survey as it is written to the disk."""
    return json_text(document).encode()


def write(path: Path, data: bytes) -> None:
    """Write a survey whole or not at all, the version before kept as a backup.

    Parameters
    ----------
    path
        survey.json itself.
    data
        A checked survey, encoded.

    Raises
    ------
    PerpendError
        If it cannot be written; what was there is untouched.
    """
    if path.exists():
        _link(path, path.with_name(BACKUP))
        _keep(path)
    write_bytes(path, data)
    _copy(path.parent / KEPT / LATEST, data)


def last_good(path: Path) -> dict[str, Json]:
    """Return the newest kept version of the survey that is one; an empty survey if there is none."""
    kept = path.parent / KEPT
    for candidate in (kept / LATEST, path.with_name(BACKUP), *sorted(kept.glob("*.json"), reverse=True)):
        with contextlib.suppress(OSError, PerpendError):
            return parse(candidate.read_bytes())
    return {"schema_version": 1}


def _keep(path: Path) -> None:
    kept = path.parent / KEPT
    name = kept / time.strftime("%Y%m%d-%H%M.json")
    if name.exists():
        return
    kept.mkdir(exist_ok=True)
    _link(path, name)
    for old in sorted(kept.glob("*.json"))[:-KEPT_VERSIONS]:
        old.unlink(missing_ok=True)


def _copy(target: Path, data: bytes) -> None:
    """Write a copy that may fail or be lost without harm."""
    spare = target.with_suffix(f".{os.getpid()}.part")
    with contextlib.suppress(OSError):
        target.parent.mkdir(exist_ok=True)
        spare.write_bytes(data)
        os.replace(spare, target)


def _link(path: Path, target: Path) -> None:
    """Give the present version a second name; where the file system has no links, copy it."""
    spare = target.with_name(f".{target.name}.{os.getpid()}.part")
    spare.unlink(missing_ok=True)
    try:
        os.link(path, spare)
    except OSError:
        write_bytes(target, path.read_bytes())
    else:
        os.replace(spare, target)
        spare.unlink(missing_ok=True)  # left behind when both names were already one file


@contextmanager
def exclusive(folder: Path) -> Iterator[None]:
    """Hold the survey's lock against other processes while the body runs.

    Raises
    ------
    PerpendError
        If the folder cannot be written, at the lock or anywhere in the body.
    """
    try:
        with _locked(folder):
            yield
    except OSError as error:
        remedy = "Allow writing to the folder or free some space; nothing was changed."
        raise PerpendError(f"{folder}: could not be written ({error.strerror or error}). {remedy}") from error


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    try:
        import fcntl
    except ImportError:  # no such locks on this system: the file's time stamp still shows other writers
        yield
        return
    with (folder / ".survey.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
