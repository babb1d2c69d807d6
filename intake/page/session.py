"""One survey folder as the page holds it: read, edited, saved at once, and watched for changes made elsewhere."""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from intake.page import keeping
from intake.page.document import Conflict, Edit, apply_edits
from vision.findings import PerpendError

Json = Any
Listener = Callable[[dict[str, Any], str], None]
PATIENCE_S = (0.05, 0.1, 0.2)
"""Waits before a file that is no survey is called broken: an editor may not have written all of it yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """What came of a change: the survey as it now is, which version of it, and conflicts (then nothing was changed)."""

    document: dict[str, Json]
    revision: str
    serial: int
    conflicts: tuple[Conflict, ...] = ()


class Session:
    """The survey of one folder.

    The file is the truth. Each change is made to what the file holds at that moment, under a lock that other
    processes respect, so that another page, another server and a text editor can all add to it.

    Parameters
    ----------
    folder
        The survey folder.
    on_accept
        Called with a document and its revision while it is still on its way to the disk, so that it can be measured
        meanwhile; if it does not get there, called again with the one before.
    on_change
        Called with the document and revision after each change, whoever made it; from any thread.
    """

    def __init__(self, folder: Path, *, on_accept: Listener | None = None, on_change: Listener | None = None) -> None:
        self.folder = folder
        self.path = folder / "survey.json"
        self.problem: str | None = None
        self._on_accept = on_accept
        self._on_change = on_change
        self._lock = threading.RLock()
        self._seen: tuple[int, int] | None = None
        self._document: dict[str, Json] = {"schema_version": 1}
        self._revision = ""
        self._serial = 0
        self._read()

    @property
    def document(self) -> dict[str, Json]:
        """The survey as last read or written."""
        return self._document

    @property
    def revision(self) -> str:
        """A short digest of the file as last read or written; empty before there is one."""
        return self._revision

    @property
    def serial(self) -> int:
        """How many versions of the survey have been read or written: of two answers the higher is the later."""
        return self._serial

    def change(self, edits: Sequence[Edit], *, force: bool = False) -> Saved:
        """Return what came of the edits, after they are safely on the disk.

        Parameters
        ----------
        edits
            Made all or none.
        force
            Overrule what others changed meanwhile.

        Raises
        ------
        PerpendError
            If the file cannot be read, or would not be a survey any more; nothing is written then.
        """
        with self._lock, keeping.exclusive(self.folder):
            self.refresh()
            if self.problem is not None:
                raise PerpendError(self.problem)
            document, conflicts = apply_edits(self._document, edits, force=force)
            if not conflicts and document != self._document:
                keeping.check(document)
                self._save(document)
            return self._saved(tuple(conflicts))

    def refresh(self) -> bool:
        """Return whether the file on the disk was changed by someone else; if so it is read."""
        with self._lock:
            before = (self._revision, self.problem)
            self._read()
            changed = (self._revision, self.problem) != before
            if changed and self._on_change is not None:
                self._on_change(self._document, self._revision)
            return changed

    def restore(self) -> Saved:
        """Return the survey after the last version that this page knows has been written over a broken file.

        The broken file is kept beside it, as ``survey.json.broken``.
        """
        with self._lock, keeping.exclusive(self.folder):
            self._read()
            if self.problem is not None:
                good = self._document if self._revision else keeping.last_good(self.path)
                self.path.replace(self.path.with_name("survey.json.broken"))
                self.problem = None
                self._save(good)
            return self._saved()

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Hold changes off while the body runs."""
        with self._lock:
            yield

    def _saved(self, conflicts: tuple[Conflict, ...] = ()) -> Saved:
        return Saved(document=self._document, revision=self._revision, serial=self._serial, conflicts=conflicts)

    def _save(self, document: dict[str, Json]) -> None:
        data = keeping.encode(document)
        revision = _digest(data)
        if self._on_accept is not None:
            self._on_accept(document, revision)
        try:
            keeping.write(self.path, data)
        except BaseException:
            if self._on_accept is not None:
                self._on_accept(self._document, self._revision)
            raise
        self._document = document
        self._revision = revision
        self._serial += 1
        self._seen = _stamp(self.path)
        if self._on_change is not None:
            self._on_change(document, self._revision)

    def _read(self) -> None:
        stamp = _stamp(self.path)
        if stamp == self._seen:
            return
        self._seen = stamp
        if stamp is None:
            self.problem = None
            return
        for patience in (*PATIENCE_S, None):
            try:
                data = self.path.read_bytes()
                document = keeping.parse(data)
                break
            except OSError as error:
                self._seen = None
                reason = error.strerror
                self.problem = f"survey.json: could not be read ({reason}). Allow reading it; nothing was changed."
                return
            except PerpendError as error:
                if patience is None:
                    self.problem = str(error)
                    return
            time.sleep(patience)  # an editor may be half-way through saving it
            self._seen = _stamp(self.path)
        self.problem = None
        self._document = document
        self._revision = _digest(data)
        self._serial += 1


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        stat = path.stat()
    except FileNotFoundError:
        return None
    return (stat.st_mtime_ns, stat.st_size)
