"""Walls that nobody has marked yet: photos grouped by shared sheets, outlines proposed, never called measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from intake.gather import Gathered
from intake.survey import OpeningEntry, WallEntry
from vision.findings import Finding
from vision.proposals import Proposal, propose_marks
from vision.walls import DeclaredReference, Mark

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
    proposals = []
    for name, photo in found.photos.items():
        sightings = [
            sighting
            for sighting in found.sightings
            if sighting.photo == name and sighting.confirmed and sighting.reference in own
        ]
        proposal = propose_marks(found.grey(name), photo=photo, sightings=sightings) if sightings else None
        if proposal is not None:
            proposals.append(proposal)
    proposals.sort(key=lambda proposal: (-proposal.score, proposal.photo))
    return [proposal for proposal in proposals if _agrees(proposal, proposals[0])]


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
            remedy=f"Confirm or move the corners: perpend mark {found.folder.name}.",
            where={"wall": entry.id},
        )
    )


def _openings(marks: Iterable[Mark], wall: str) -> set[str]:
    return {mark.opening for mark in marks if mark.wall == wall and mark.opening is not None}
