"""The outer face of a wall: what gives it a scale, and why an outer reveal could not be read from its photos."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from intake.brick_courses import brick_courses
from intake.gather import Gathered
from vision.findings import Finding
from vision.problem import taped_lengths
from vision.walls import CORNERS, DeclaredReference, DeclaredWall, Mark, MeasuredOpening, MeasuredWall, Sighting

if TYPE_CHECKING:
    from vision.brickwork import BrickworkReading


def courses_as_scale(
    found: Gathered, wall: DeclaredWall, faces: Mapping[str, BrickworkReading]
) -> list[tuple[DeclaredReference, Sighting]]:
    """Return blocks of brick courses to scale an outside face by, one a photo; none where anything better is known.

    A note joins the folder's findings where they are used.

    Parameters
    ----------
    found
        The folder, its references looked for.
    wall
        The face; an inside face has none.
    faces
        The brickwork readings by photo.
    """
    marked = {mark.photo for mark in found.marks if mark.wall == wall.id and mark.opening is not None}
    if wall.side != "outside" or not marked or taped_lengths(wall) or _has_reference(found, wall.id, marked):
        return []
    seen = [brick_courses(faces[name], wall=wall.id) for name in sorted(marked & set(faces))]
    scales = [pair for pair in seen if pair is not None]
    if scales:
        share = 200 * scales[0][0].height_mm.sd / scales[0][0].height_mm.value
        message = (
            f"{wall.id}: nothing of known size shows on it, so the usual size of bricks sets its scale, give or take "
            f"{share:.0f} %: good for an outer reveal, not for lengths."
        )
        remedy = "Tape a survey sheet beside the window outside and photograph it again for a better outer reveal."
        found.findings.append(
            Finding(code="S011", severity="note", message=message, remedy=remedy, where={"wall": wall.id})
        )
    return scales


def _has_reference(found: Gathered, wall: str, photos: Collection[str]) -> bool:
    """Return whether a confirmed reference that may be on the face shows in one of its photos."""
    on = {reference.id for reference in found.references.values() if reference.wall in (None, wall)}
    return any(s.photo in photos and s.confirmed and s.reference in on for s in found.sightings)


def missing_outer_reveals(found: Gathered, inside: DeclaredWall, measured: MeasuredWall) -> list[Finding]:
    """Return a note for every opening without an outer reveal that says exactly why there is none.

    Parameters
    ----------
    found
        The folder.
    inside
        The wall as declared from inside; one that is not to be lined or faces no open air needs none.
    measured
        The wall with what its outer face gave.
    """
    if inside.side != "inside" or inside.faces != "outside" or not inside.line:
        return []
    faces = [wall.id for wall in found.walls.values() if wall.other_side_of == inside.id]
    return [
        _why(found, inside.id, opening, faces)
        for opening in measured.openings
        if opening.outer_reveal_mm is None and opening.thickness_mm is None
    ]


def _why(found: Gathered, wall: str, opening: MeasuredOpening, faces: Sequence[str]) -> Finding:
    marks = [mark for mark in found.marks if mark.wall in faces and mark.opening == opening.id]
    photos = sorted({mark.photo for mark in marks})
    front, back = (_corners(marks, face) for face in ("wall", "frame"))
    if not faces or not marks:
        why = "no photo from outside has its corners marked, and no outer reveal is typed"
        remedy = f"Mark {opening.id} in a photo from outside, at the brick and at the frame; or tape the outer reveal."
    elif not back:
        why = f"its corners at the frame are not marked in {', '.join(photos)}"
        remedy = f"Mark at least two back corners of {opening.id} there; or tape the outer reveal."
    elif len(front) < 4:
        missing = ", ".join(name.replace("_", " ") for name in CORNERS if name not in front)
        why = f"its outer corners are not all marked in {', '.join(photos)}: {missing}"
        remedy = "Mark them; or tape the outer reveal."
    elif any(_has_reference(found, face, photos) for face in faces):
        why = f"the marks in {', '.join(photos)} do not agree well enough to place the photo"
        remedy = f"Look at the findings on {faces[0]}; or tape the outer reveal."
    else:
        why = f"in {', '.join(photos)} nothing of known size shows beside it and too few brick courses could be read"
        remedy = "Tape a survey sheet flat on the wall beside it and photograph it again; or tape the outer reveal."
    return Finding(
        code="S012",
        severity="note",
        message=f"{wall}: the outer reveal of {opening.id} is not known: {why}.",
        remedy=remedy,
        where={"wall": wall, "opening": opening.id, "key": "outer_reveal_mm"},
    )


def _corners(marks: Sequence[Mark], face: str) -> set[str]:
    return {mark.point for mark in marks if mark.face == face and mark.point in CORNERS}
