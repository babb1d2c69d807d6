"""What to expect of each wall before anybody marks it: its accuracy, what its photos show, and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from intake.gather import Gathered
from intake.propose import belongs
from intake.records import declared_wall
from vision.forecast import forecast
from vision.measure import WallSolution
from vision.problem import WallProblem
from vision.proposals import Proposal, propose_marks
from vision.walls import CORNERS, Mark, Sighting

MOST_FORECAST_FROM = 6
"""Photos per wall that a forecast is made from: more change it little, and its cost grows with their cube."""
MOST_PROPOSED_FROM = 2
"""Photos per wall that an outline is looked for in, largest reference first, when nobody has marked it."""


@dataclass(slots=True, kw_only=True)
class Expectation:
    """What a wall's photos promise: the solution to expect (None without an outline), and corners shown by photo."""

    wall: str
    photos: list[str] = field(default_factory=list)
    solution: WallSolution | None = None
    corners: dict[str, set[str]] = field(default_factory=dict)
    openings: dict[str, set[str]] = field(default_factory=dict)

    @property
    def width_sd_mm(self) -> float | None:
        """Return the standard uncertainty of the width to expect, mm."""
        width = self.solution.measured.width_mm if self.solution is not None else None
        return None if width is None else width.sd

    @property
    def best_help(self) -> str | None:
        """Return the one photo or reading that would help most."""
        advice = self.solution.measured.advice if self.solution is not None else ()
        return None if not advice else advice[0].action.replace("_mm", "").replace("_", " ")


def expect_wall(found: Gathered, wall: str, *, propose_from: Sequence[str] | None = None) -> Expectation:
    """Return what a wall's photos promise.

    Parameters
    ----------
    found
        The folder, its references seen.
    wall
        An inside wall.
    propose_from
        Photos whose pixels may be looked at for an outline; the best two of the wall if None.
    """
    own = {reference.id for reference in found.references.values() if belongs(found, reference, wall)}
    sightings = [seen for seen in found.sightings if seen.reference in own and seen.confirmed]
    marks = [mark for mark in found.marks if mark.wall == wall]
    photos = sorted({seen.photo for seen in sightings} | {mark.photo for mark in marks})
    expected = Expectation(wall=wall, photos=photos)
    if not _enough(marks):
        marks += _proposed(found, wall, sightings, propose_from)
    if not marks:
        return expected
    references = tuple(replace(found.references[name], wall=wall) for name in sorted(own))
    used = _most_telling(photos, marks, sightings)
    problem = WallProblem(
        wall=declared_wall(found.walls[wall]),
        photos=tuple(found.photos[name] for name in used),
        marks=tuple(mark for mark in marks if mark.photo in used),
        sightings=tuple(seen for seen in sightings if seen.photo in used),
        references=references,
    )
    expected.solution = forecast(_with_openings(problem))
    if expected.solution is not None:
        _note_what_shows(expected)
    return expected


def _most_telling(photos: Sequence[str], marks: Sequence[Mark], sightings: Sequence[Sighting]) -> list[str]:
    """Return the photos that a forecast is made from: those with most marks, then with the largest references."""
    marked = {name: sum(mark.photo == name for mark in marks) for name in photos}
    sizes = {name: max((_size(seen) for seen in sightings if seen.photo == name), default=0.0) for name in photos}
    return sorted(sorted(photos, key=lambda name: (-marked[name], -sizes[name], name))[:MOST_FORECAST_FROM])


def _enough(marks: Sequence[Mark]) -> bool:
    """Return whether the four corners of the wall are marked somewhere."""
    return {mark.point for mark in marks if mark.opening is None and mark.feature is None} >= set(CORNERS)


def _proposed(
    found: Gathered, wall: str, sightings: Sequence[Sighting], propose_from: Sequence[str] | None
) -> list[Mark]:
    sizes = {
        name: max(_size(seen) for seen in sightings if seen.photo == name) for name in {s.photo for s in sightings}
    }
    names = sorted(sizes, key=lambda name: (-sizes[name], name)) if propose_from is None else list(propose_from)
    best: Proposal | None = None
    for name in names[:MOST_PROPOSED_FROM]:
        mine = [seen for seen in sightings if seen.photo == name]
        proposal = propose_marks(found.grey(name), photo=found.photos[name], sightings=mine)
        if proposal is not None and (best is None or proposal.score > best.score):
            best = proposal
    if best is None:
        return []
    photo = found.photos[best.photo]
    return list(best.marks(wall=wall, longer_side_px=max(photo.width_px, photo.height_px)))


def _size(sighting: Sighting) -> float:
    return float(np.ptp(sighting.corners_px, axis=0).max())


def _with_openings(problem: WallProblem) -> WallProblem:
    """Return the problem with every marked opening declared."""
    from vision.walls import DeclaredOpening

    known = {opening.id for opening in problem.wall.openings}
    named = sorted({mark.opening for mark in problem.marks if mark.opening is not None} - known)
    openings = (*problem.wall.openings, *(DeclaredOpening(id=name) for name in named))
    return replace(problem, wall=replace(problem.wall, openings=openings))


def _note_what_shows(expected: Expectation) -> None:
    """Note which corners of wall and openings each placed photo has in its frame."""
    solution = expected.solution
    assert solution is not None
    for mark in solution.problem.marks:
        target = expected.corners if mark.opening is None else expected.openings
        target.setdefault(mark.photo, set()).add(mark.point if mark.opening is None else f"{mark.opening} {mark.point}")


def purpose_of(expected: Expectation, photo: str, angle_deg: float | None) -> str | None:
    """Return what a photo seems to be for: whole, oblique, opening or detail; None where that cannot be told."""
    if expected.solution is None or photo not in expected.solution.files:
        return None
    corners, openings = len(expected.corners.get(photo, ())), len(expected.openings.get(photo, ()))
    if corners >= 4:
        return "whole" if angle_deg is None or angle_deg < 30 else "oblique"
    if corners >= 2:
        return "oblique"
    return "opening" if openings >= 4 else "detail"


def missing_of(found: Gathered, expected: Expectation) -> list[str]:
    """Return what a wall still lacks, in words, first things first."""
    entry = found.walls[expected.wall]
    taped = entry.taped.model_dump(exclude_none=True)
    seen = {reference.wall for reference in found.references.values()}
    lacks = []
    if not expected.photos and not taped:
        return ["a photo that shows it with a survey sheet, or its width and height by tape"]
    if expected.wall not in seen and not taped:
        lacks.append("a reference of known size on it, or one tape reading")
    shown: set[str] = set().union(*expected.corners.values()) if expected.corners else set()
    if expected.solution is None:
        lacks.append("its corners in a photo: perpend mark")
    elif shown < set(CORNERS):
        names = ", ".join(corner.replace("_", " ") for corner in CORNERS if corner not in shown)
        lacks.append(f"a photo that shows its corner {names}")
    if len(expected.photos) == 1:
        lacks.append("a second photo, from two steps to the side")
    if entry.openings and not any(len(points) >= 4 for points in expected.openings.values()):
        lacks.append("a photo of its window from 1.5 to 2 m, with a sheet beside it")
    outside = any(photo.purpose in ("outside", "bond") for photo in found.entries.values())
    if entry.faces == "outside" and not outside:
        lacks.append("a photo of about ten courses of brick outside, with a rule")
    if not taped:
        lacks.append("one tape reading, best its width at half height")
    return lacks
