"""An open survey at work: its session, pictures, reference search, live solution and news in one place."""

from __future__ import annotations

import hashlib
import itertools
import logging
import math
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from intake.page import keeping
from intake.page.asked import tape_list
from intake.page.document import Edit, apply_edits
from intake.page.events import Events
from intake.page.live import Live
from intake.page.pictures import Pictures
from intake.page.searching import Searching
from intake.page.session import Saved, Session
from intake.page.snap import DOUBTFUL, chance_of_another, widened_sd_px
from vision.walls import Mark, ReferenceKind, Sighting

Json = Any
Place = tuple[float, float]
_log = logging.getLogger(__name__)
WATCH_S = 1.0
SETTLE_S = 0.5
"""Rest after the last change before all is solved in full and the edges are traced anew."""


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
        self.session = Session(self.folder, on_accept=self._accepted, on_change=self._changed)
        self.searching = Searching(self.pictures, self._looked)
        self.live = Live(self.pictures, self.searching)
        self.answer: dict[str, Json] | None = None
        self._solving = threading.Lock()
        self._change = threading.Condition()
        self._changes = 1
        self._solved_changes = self._settled_changes = 0
        self._stopped = False
        self._wanted = (self.session.document, self.session.revision)
        self._surveyed = keeping.check(self.session.document)
        self._solved_revision = self.session.revision

    def start(self) -> None:
        """Begin to make the first picture ready, watch the file, look for references and measure."""
        threading.Thread(target=lambda: self.pictures.prepare(self.first_photo()), name="prepare", daemon=True).start()
        self.searching.start(keeping.check(self.session.document))
        for work in (self._watch, self._measure, self._settle):
            threading.Thread(target=work, name=work.__name__, daemon=True).start()

    def first_photo(self) -> str | None:
        """Return the photo that a page shows first: where an inside wall is marked, or the whole wall, or any."""
        survey = keeping.check(self.session.document)
        inside = next((wall.id for wall in survey.walls if wall.side != "outside"), None)
        marked = (entry.file for entry in survey.photos if any(mark.wall == inside for mark in entry.marks))
        whole = (entry.file for entry in survey.photos if entry.purpose == "whole")
        readable = (file for file in self.pictures.files if self.pictures.info(file).problem is None)
        return next(itertools.chain(marked if inside else (), whole, readable), None)

    def stop(self) -> None:
        """End the background work and every page's news."""
        with self._change:
            self._stopped = True
            self._change.notify_all()
        self.searching.stop()
        self.events.close()

    def state(self) -> dict[str, Json]:
        """Return everything that a page needs at its start, photos that have come meanwhile among it."""
        if self.pictures.look():
            self.searching.want(keeping.check(self.session.document))
        return {
            "folder": self.folder.name,
            "folder_id": hashlib.sha256(str(self.folder).encode()).hexdigest()[:12],
            **self._survey_news(),
            "photos": [asdict(self.pictures.info(file)) for file in self.pictures.files],
            "found": {"complete": False, "photos": {}},
            "live": self.answer,
            "tape_list": tape_list(self.folder),
        }

    def greeting(self) -> dict[str, Json]:
        """Return the news that a page is told when it begins to listen."""
        news = {"survey": self._survey_news(), "found": self.found()}
        return news if self.answer is None else news | {"live": self.answer}

    def _survey_news(self) -> dict[str, Json]:
        session = self.session
        serial = session.serial  # read first: the survey beside it is never older
        return {
            "survey": session.document,
            "revision": session.revision,
            "serial": serial,
            "problem": session.problem,
        }

    def found(self) -> dict[str, Json]:
        """Return the references seen so far, by photo."""
        if not self.pictures.served.is_set():
            return {"complete": False, "photos": {}}
        looked = {file: self.searching.looked.get(file) for file in self.pictures.files}
        return {
            "complete": self.searching.complete(),
            "photos": {
                file: {
                    "references": [_reference_json(seen) for seen in item.sightings] if item else [],
                    "proposed": [_proposed_json(mark) for mark in item.proposed or ()] if item else [],
                    "problem": self.pictures.problem(file),
                }
                for file, item in looked.items()
                if item or self.pictures.problem(file)
            },
        }

    def change(self, edits: Sequence[Edit], *, force: bool = False) -> Saved:
        """Return what came of the edits, saved."""
        return self.session.change(edits, force=force)

    def preview(self, edits: Sequence[Edit]) -> dict[str, Json]:
        """Return the live sizes as they would be with the edits, which are not saved."""
        document, _ = apply_edits(self.session.document, edits, force=True)
        survey = keeping.check(document)
        with self._solving:
            return self.live.solve(survey, keep=False)

    def refine(self, file: str, px: tuple[float, float], reach_px: float) -> dict[str, Json]:
        """Return the edge crossing near a click, if there is one, and whether it is doubtful; or the reason why not."""
        from vision.crossings import find_crossing

        crossing = find_crossing(self.pictures.grey(file), px, reach_px=reach_px)
        if isinstance(crossing, str):
            return {"px": None, "why": crossing}
        moved = math.dist(px, crossing.px)
        sd_px = widened_sd_px(crossing.sd_px, moved, reach_px)
        far = chance_of_another(moved, reach_px) > DOUBTFUL
        return {"px": [round(v, 2) for v in crossing.px], "sd_px": round(sd_px, 2), "doubtful": far}

    def cross(self, file: str, lines: Sequence[Sequence[Place]], sd_px: float) -> dict[str, Json]:
        """Return where two edges, each drawn by two places on it, would meet, or the reason why not."""
        from vision.crossed_edges import cross_edges

        crossed = cross_edges(self.pictures.grey(file), np.array(lines), hand_sd_px=sd_px)
        if isinstance(crossed, str):
            return {"px": None, "why": crossed}
        return {"px": [round(v, 2) for v in crossed.px], "sd_px": round(crossed.sd_px, 2), "fitted": crossed.fitted}

    def seek(self, file: str, px: Place, kind: ReferenceKind, size_mm: Place | None) -> dict[str, Json]:
        """Return the corners of a thing of known size about a place, top left first, or the reason why not."""
        from vision.cards import Target
        from vision.seek import seek_outline

        outline = seek_outline(self.pictures.colour(file), px, Target.of(kind, *(size_mm or ())))
        if isinstance(outline, str):
            return {"corners_px": None, "why": outline}
        return {"corners_px": [[round(float(v), 2) for v in corner] for corner in outline]}

    def _accepted(self, document: dict[str, Json], revision: str) -> None:
        self._wanted = (document, revision)
        self._wake()

    def _changed(self, document: dict[str, Json], revision: str) -> None:
        self.events.send("survey", self._survey_news())
        if self.session.problem is None:
            self.searching.want(keeping.check(document))
        if self._wanted != (document, revision):
            self._accepted(document, revision)

    def _looked(self) -> None:
        self.events.send("found", self.found())
        self._wake()

    def _wake(self) -> None:
        with self._change:
            self._changes += 1
            self._change.notify_all()

    def _watch(self) -> None:
        while not self._stopped:
            time.sleep(WATCH_S)
            self.session.refresh()

    def _measure(self) -> None:
        """Solve after each change, at once."""
        while self._wait_for(lambda: self._changes != self._solved_changes):
            changes = self._changes
            self._tell(self._solve, changes, settled=False)
            with self._change:
                self._solved_changes = changes
                self._change.notify_all()

    def _settle(self) -> None:
        """Trace the edges anew and solve in full whenever nothing has changed for a while."""
        while self._wait_for(lambda: self._settled_changes != self._solved_changes == self._changes):
            changes = self._changes
            with self._change:
                if self._change.wait_for(partial(self._overtaken, changes), SETTLE_S):
                    continue
            self._settled_changes = changes
            self._tell(partial(self._solve_fully, changes), changes, settled=True)

    def _wait_for(self, due: Callable[[], bool]) -> bool:
        """Return whether there is work, once there is or the bench has been stopped."""
        with self._change:
            self._change.wait_for(lambda: self._stopped or due())
        return not self._stopped

    def _overtaken(self, changes: int) -> bool:
        return self._stopped or self._changes != changes

    def _tell(self, solve: Callable[[], dict[str, Json] | None], changes: int, *, settled: bool) -> None:
        began = time.perf_counter()
        try:
            answer = solve()
        except Exception as error:  # the page goes on marking and saving whatever the solution does
            _log.exception("the live solution failed")
            answer = {"problem": f"These marks could not be measured ({type(error).__name__}); they are saved."}
            self.live.forget()
        took_ms = round(1000 * (time.perf_counter() - began), 1)
        with self._change:
            if answer is not None and not (settled and self._overtaken(changes)):
                self.answer = answer | {"settled": settled, "solve_ms": took_ms, "revision": self._solved_revision}
                self.events.send("live", self.answer)

    def _solve(self) -> dict[str, Json]:
        document, self._solved_revision = self._wanted
        self._surveyed = keeping.check(document)
        with self._solving:
            return self.live.solve(self._surveyed)

    def _solve_fully(self, changes: int) -> dict[str, Json] | None:
        return self.live.settle(self._surveyed, overtaken=partial(self._overtaken, changes), turn=self._solving)


def _reference_json(seen: Sighting) -> dict[str, Json]:
    return {
        "id": seen.reference,
        "kind": seen.kind,
        "number": seen.number,
        "confirmed": seen.confirmed,
        "corners_px": [[round(float(v), 2) for v in corner] for corner in seen.corners_px],
    }


def _proposed_json(mark: Mark) -> dict[str, Json]:
    place = {"opening": mark.opening, "face": mark.face, "feature": mark.feature, "point": mark.point}
    named = {key: value for key, value in place.items() if value is not None}
    return named | {"px": [round(v, 1) for v in mark.px], "sd_px": round(mark.sd_px, 1)}
