"""Looking for references in each photo in the background, once, and again when what is looked for has changed."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from intake.page.pictures import Pictures
from intake.photos import lens_prior
from intake.records import declared_reference, marks_of
from intake.survey import Survey
from vision.findings import Finding, PerpendError
from vision.walls import DeclaredReference, Mark, Sighting

if TYPE_CHECKING:
    from vision.references import ReferenceSearch

PATIENCE_S = 4.0
"""The first photo goes to the browser before the search takes the processor, but not for longer than this."""
Key = tuple[Any, ...]
_log = logging.getLogger(__name__)


@dataclass(slots=True, kw_only=True)
class Looked:
    """What was looked for in one photo, and what came of it."""

    key: Key
    sightings: tuple[Sighting, ...] = ()
    findings: tuple[Finding, ...] = ()
    proposed: tuple[Mark, ...] | None = None
    """Corners proposed from lines, of no wall yet; None before they have been looked for."""


class Searching:
    """The references of every photo, as far as they have been looked for.

    Parameters
    ----------
    pictures
        The photos.
    news
        Called from the background after each photo.
    """

    def __init__(self, pictures: Pictures, news: Callable[[], None]) -> None:
        self.pictures = pictures
        self.looked: dict[str, Looked] = {}
        self._news = news
        self._wanted: Survey | None = None
        self._change = threading.Condition()
        self._stopped = False
        self._thread = threading.Thread(target=self._work, name="reference search", daemon=True)

    def start(self, survey: Survey) -> None:
        """Begin to look, for what a survey declares."""
        self._wanted = survey
        self._thread.start()

    def want(self, survey: Survey) -> None:
        """Look again where this survey declares or marks other references than before."""
        with self._change:
            self._wanted = survey
            self._change.notify()

    def stop(self) -> None:
        """End after the photo at hand."""
        with self._change:
            self._stopped = True
            self._change.notify()

    def complete(self) -> bool:
        """Return whether every readable photo has been looked at."""
        return all(file in self.looked or self.pictures.problem(file) for file in self.pictures.files)

    def wait(self, timeout_s: float) -> bool:
        """Return whether the search came to rest within the time."""
        with self._change:
            return self._change.wait_for(lambda: self._stopped or not (self._next() or self._unproposed()), timeout_s)

    def _unproposed(self) -> str | None:
        """Return a photo whose references are known and whose lines have not been looked at."""
        seen = (file for file, looked in self.looked.items() if looked.proposed is None)
        return next(iter(sorted(seen)), None)

    def _next(self) -> tuple[str, Key, tuple[DeclaredReference, ...], tuple[Mark, ...]] | None:
        survey = self._wanted
        if survey is None:
            return None
        references = tuple(declared_reference(entry) for entry in survey.references)
        for file in self.pictures.files:
            info = self.pictures.info(file)
            if info.problem or self.pictures.problem(file):
                continue
            declared, marks = expected_in(survey, file, references)
            key = (info.version, _sought(declared), marks)
            known = self.looked.get(file)
            if known is None or known.key != key:
                return file, key, declared, marks
        return None

    def _work(self) -> None:
        self.pictures.served.wait(PATIENCE_S)
        self.pictures.served.set()  # from here on what is found is told, however late the browser takes its first photo
        while True:
            with self._change:
                self._change.wait_for(lambda: self._stopped or self._next() or self._unproposed())
                task, file = self._next(), self._unproposed()
                if self._stopped:
                    return
            if task is not None:
                self._look(*task)
            elif file is not None:
                self._propose(file)
            with self._change:
                self._change.notify_all()
            self._news()

    def _look(self, file: str, key: Key, declared: tuple[DeclaredReference, ...], marks: tuple[Mark, ...]) -> None:
        before = self.looked.get(file)
        looked = Looked(key=key, proposed=before.proposed if before is not None else None)
        try:
            search = _find(self.pictures, file, declared, marks)
            looked.sightings, looked.findings = search.sightings, search.findings
        except PerpendError as error:
            remedy = "Copy it from the phone again."
            looked.findings = (Finding(code="P001", severity="stop", message=str(error), remedy=remedy),)
            looked.proposed = ()
        except Exception as error:  # marking goes on without this photo's references
            _log.exception("looking for references in %s failed", file)
            message = f"{file}: the search for references failed ({type(error).__name__})."
            remedy = "Mark the corners of the reference by hand."
            looked.findings = (Finding(code="P001", severity="warn", message=message, remedy=remedy),)
        self.looked[file] = looked

    def _propose(self, file: str) -> None:
        from vision.proposals import propose_marks

        looked, described = self.looked[file], self.pictures.described(file)
        proposal = None
        if described is not None and looked.sightings:
            photo, _ = lens_prior(described)
            try:
                proposal = propose_marks(self.pictures.grey(file), photo=photo, sightings=looked.sightings)
            except Exception:  # a proposal is a help, not a need
                _log.exception("proposing marks in %s failed", file)
        longer = max(described.width_px, described.height_px) if described is not None else 0
        looked.proposed = proposal.marks(wall="", longer_side_px=longer) if proposal is not None else ()


def _find(
    pictures: Pictures, file: str, declared: tuple[DeclaredReference, ...], marks: tuple[Mark, ...]
) -> ReferenceSearch:
    """Return the references of one photo; in colour where a card or a sheet of paper is to be told from the wall."""
    from vision.references import find_references

    picture = pictures.grey(file) if only_sheets(declared) else pictures.colour(file)
    return find_references(picture, photo=file, declared=declared, marks=marks)


def only_sheets(declared: tuple[DeclaredReference, ...]) -> bool:
    """Return whether survey sheets are all that is looked for: grey pixels do for them."""
    return all(reference.kind == "survey_sheet" for reference in declared)


def _sought(declared: tuple[DeclaredReference, ...]) -> Key:
    """Return what of the declarations changes where references are found (not their print scale)."""
    return tuple((r.id, r.kind, r.number, r.width_mm.value, r.height_mm.value) for r in declared)


def expected_in(
    survey: Survey, file: str, references: tuple[DeclaredReference, ...]
) -> tuple[tuple[DeclaredReference, ...], tuple[Mark, ...]]:
    """Return the references that a photo may show, and its marks that help to find them.

    As when measuring: those of the walls marked in it, or all if none is; and where a card or sheet of paper is among
    them, marks of walls and openings tell how large it should be.
    """
    marks = tuple(m for entry in survey.photos if entry.file == file for m in marks_of(entry, file=file))
    walls = {m.wall for m in marks if m.wall is not None}
    declared = tuple(r for r in references if not walls or r.wall is None or r.wall in walls)
    return declared, tuple(m for m in marks if m.reference is not None or not only_sheets(declared))
