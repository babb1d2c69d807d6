"""An open survey at work: its session, pictures, live solution and news in one place."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from intake.page.document import Edit, apply_edits
from intake.page.events import Events
from intake.page.pictures import Pictures
from intake.page.session import Saved, Session

Json = Any
_WATCH_S = 1.0


class Bench:
    """Everything behind one page.

    Parameters
    ----------
    folder
        The survey folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.events = Events()
        self.pictures = Pictures(self.folder)
        self.session = Session(self.folder, on_change=self._changed)
        self._stopping = threading.Event()
        self._watcher: threading.Thread | None = None

    def start(self) -> None:
        """Begin to watch the file and to measure."""
        self._watcher = threading.Thread(target=self._watch, name="survey watcher", daemon=True)
        self._watcher.start()

    def stop(self) -> None:
        """End the background work and every page's news."""
        self._stopping.set()
        self.events.close()

    def state(self) -> dict[str, Json]:
        """Return everything that a page needs at its start."""
        return {
            "folder": self.folder.name,
            "folder_id": folder_id(str(self.folder)),
            "survey": self.session.document,
            "revision": self.session.revision,
            "problem": self.session.problem,
            "photos": [asdict(self.pictures.info(file)) for file in self.pictures.files],
            "live": None,
        }

    def change(self, edits: Sequence[Edit], *, force: bool = False) -> Saved:
        """Return what came of the edits, saved."""
        return self.session.change(edits, force=force)

    def preview(self, edits: Sequence[Edit]) -> dict[str, Json]:
        """Return the live sizes as they would be with the edits, which are not saved."""
        apply_edits(self.session.document, edits, force=True)
        return {}

    def refine(self, file: str, px: tuple[float, float], reach_px: float) -> dict[str, Json]:
        """Return the edge crossing near a click, if there is one."""
        self.pictures.info(file)
        return {"px": None}

    def _changed(self, document: dict[str, Json], revision: str) -> None:
        self.events.send("survey", {"survey": document, "revision": revision, "problem": self.session.problem})

    def _watch(self) -> None:
        while not self._stopping.wait(_WATCH_S):
            self.session.refresh()


def folder_id(folder: str) -> str:
    """Return a short name for a folder that the browser may keep things under."""
    return hashlib.sha256(folder.encode()).hexdigest()[:12]
