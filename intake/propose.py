"""Walls that nobody has marked yet: photos grouped by shared sheets, outlines proposed, never called measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from intake.gather import Gathered
from intake.printing import typed
from intake.survey import OpeningEntry, WallEntry
from vision.findings import Finding
from vision.proposals import Proposal, propose_marks
from vision.references import UNSURE_OF_SIZE
from vision.walls import DeclaredReference, Mark, Sighting

STOREY_MM = (2050.0, 3150.0)
"""Room heights that a proposed wall may have where nothing else tells the size; common practice, no source."""
AGREE = 0.03
"""Proposals of one wall from two photos that differ by more than this share do not go together."""


def propose_walls(found: Gathered) -> set[str]:
    """Add proposed marks for every inside wall that has neither marks nor tape, and return the walls that got some.

    Where no wall is declared at all, each group of photos that share sheets is taken for one wall.
    """
    marked = {mark.wall for mark in found.marks}
    if not any(wall.side == "inside" for wall in found.walls.values()):
        add_groups(found)
    proposed = set()
    for entry in list(found.walls.values()):
        if entry.side == "outside" or entry.id in marked or entry.taped.model_dump(exclude_none=True):
            continue
        proposals = _proposals(found, entry.id)
        if proposals:
            _use(found, entry, proposals)
            proposed.add(entry.id)
    return proposed


def add_groups(found: Gathered) -> None:
    """Declare a wall for each group of photos joined by the references they share."""
    for number, references in enumerate(shared_groups(found), start=1):
        name = f"wall-{number}"
        found.walls[name] = WallEntry(id=name)
        for reference in references:
            known = found.references.get(reference)
            if known is not None and known.wall is None:
                found.references[reference] = replace(known, wall=name)


def shared_groups(found: Gathered) -> list[list[str]]:
    """Return the references in groups: those that are ever seen in one photo belong together, directly or by others."""
    groups: list[set[str]] = []
    for photo in found.photos:
        seen = {sighting.reference for sighting in found.sightings if sighting.photo == photo and sighting.confirmed}
        if not seen:
            continue
        touching = [group for group in groups if group & seen]
        groups = [group for group in groups if not group & seen]
        groups.append(seen.union(*touching))
    return sorted(sorted(group) for group in groups)


def _proposals(found: Gathered, wall: str) -> list[Proposal]:
    """Return the proposals for a wall from every photo that shows its references, best first, those that agree."""
    own = {reference.id for reference in found.references.values() if belongs(found, reference, wall)}
    sure = [sighting for sighting in found.sightings if sighting.confirmed and sighting.reference in own]
    proposals = _outlines(found, sure)
    if not sure:
        proposals = _told_by_a_storey(found, own)
    return [proposal for proposal in proposals if _agrees(proposal, proposals[0])]


def _outlines(found: Gathered, sightings: list[Sighting]) -> list[Proposal]:
    """Return an outline from each photo that shows some of the sightings, best first."""
    proposals = []
    for name, photo in found.photos.items():
        here = [sighting for sighting in sightings if sighting.photo == name]
        proposal = propose_marks(found.grey(name), photo=photo, sightings=here) if here else None
        if proposal is not None:
            proposals.append(proposal)
    return sorted(proposals, key=lambda proposal: (-proposal.score, proposal.photo))


def _told_by_a_storey(found: Gathered, own: set[str]) -> list[Proposal]:
    """Return outlines scaled by declared cards or sheets of paper that only lacked something to tell their size by.

    A room tells it: scaled by the wrong thing, its wall would hardly be a storey high. What is used so is said; the
    sizes are proposed ones like all the rest.
    """
    doubtful = {
        (finding.where["photo"], finding.where["reference"])
        for finding in found.findings
        if finding.code == UNSURE_OF_SIZE
    }
    maybe = [
        sighting
        for sighting in found.sightings
        if sighting.reference in own and (sighting.photo, sighting.reference) in doubtful
    ]
    likely = [proposal for proposal in _outlines(found, maybe) if _is_between(proposal.height_mm, STOREY_MM)]
    likely = [proposal for proposal in likely if _agrees(proposal, likely[0])]
    shown = {proposal.photo for proposal in likely}
    used = {(sighting.photo, sighting.reference) for sighting in maybe if sighting.photo in shown}
    found.sightings[:] = [
        replace(sighting, confirmed=True) if (sighting.photo, sighting.reference) in used else sighting
        for sighting in found.sightings
    ]
    found.findings[:] = [
        _scaled_by(finding)
        if finding.code == UNSURE_OF_SIZE and (finding.where["photo"], finding.where["reference"]) in used
        else finding
        for finding in found.findings
    ]
    return likely


def _scaled_by(finding: Finding) -> Finding:
    reference = finding.where["reference"]
    return replace(
        finding,
        severity="warn",
        message=f"{finding.where['photo']}: the proposed sizes are scaled by what is most likely {reference}.",
        remedy=f"Confirm the corners of {reference} when you mark the wall; until then trust no size.",
    )


def _is_between(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] < value < limits[1]


def belongs(found: Gathered, reference: DeclaredReference, wall: str) -> bool:
    """Return whether a reference is on a wall; one that nobody placed is on the only inside wall there is."""
    inside = [entry.id for entry in found.walls.values() if entry.side == "inside"]
    return reference.wall == wall or (reference.wall is None and inside == [wall])


def _agrees(one: Proposal, other: Proposal) -> bool:
    width, height = one.width_mm / other.width_mm, one.height_mm / other.height_mm
    return abs(width - 1) < AGREE and abs(height - 1) < AGREE


def _use(found: Gathered, entry: WallEntry, proposals: list[Proposal]) -> None:
    """Join the proposals to what was gathered: marks, openings, and the references' wall."""
    for place, proposal in enumerate(proposals):
        photo = found.photos[proposal.photo]
        longer = max(photo.width_px, photo.height_px)
        marks = proposal.marks(wall=entry.id, longer_side_px=longer)
        shape = [mark for mark in marks if mark.feature is None]
        found.marks += [mark for mark in shape if place == 0 or mark.opening is None]
    first = _openings(found.marks, entry.id)
    known = {opening.id for opening in entry.openings}
    added = [OpeningEntry(id=name) for name in sorted(first - known)]
    found.walls[entry.id] = entry.model_copy(update={"openings": [*entry.openings, *added]})
    for name, reference in found.references.items():
        if reference.wall is None and belongs(found, reference, entry.id):
            found.references[name] = replace(reference, wall=entry.id)
    found.findings.append(
        Finding(
            code="S004",
            severity="stop",
            message=f"{entry.id}: its outline is proposed from the photos, not confirmed; order nothing from it.",
            remedy=f"Confirm or move the corners: perpend mark {typed(found.folder.name)}.",
            where={"wall": entry.id},
        )
    )


def _openings(marks: Iterable[Mark], wall: str) -> set[str]:
    return {mark.opening for mark in marks if mark.wall == wall and mark.opening is not None}
