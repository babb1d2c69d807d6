"""Words about the photos: what was measured from each, or why it was not used; brickwork and straightened walls."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from intake.report.context import BrickPicture, PhotoEvidence, Rectified
from intake.report.pictures import brickwork_picture, photo_picture, rectified_picture
from intake.report.words import (
    TITLE_LIMIT,
    bond_words,
    give_or_take,
    in_hundred,
    listing,
    name_of,
    plain,
    sentence,
    wall_length,
)
from intake.results import BrickworkResult, Geometry, PhotoResult
from intake.survey import PhotoEntry, Survey

PURPOSES = {
    "whole": "whole wall",
    "oblique": "from one side",
    "opening": "opening",
    "detail": "detail",
    "wall_edge": "wall's edge",
    "outside": "outside",
    "bond": "brickwork outside",
}
KINDS = {"survey_sheet": "survey sheet", "id1_card": "card", "a4": "plain A4 sheet", "rectangle": "rectangle"}


def photo_evidence(folder: Path, entry: PhotoEntry, geometry: Geometry, survey: Survey) -> PhotoEvidence:
    """Return one photo with what was measured from it."""
    shown = photo_picture(folder, entry, geometry=geometry, survey=survey)
    names = [name_of(wall.id) for wall in geometry.walls if any(view.photo == entry.file for view in wall.views)]
    found = [
        _reference_words(reference.kind, reference.number, reference.id)
        for reference in geometry.references
        if reference.photo == entry.file and reference.found
    ]
    purpose = PURPOSES.get(entry.purpose or "", "")
    file = plain(entry.file, limit=TITLE_LIMIT)
    what = f"Photo {file}" + (f", {purpose}" if purpose else "")
    shows = f", showing {listing(names)} with its marks" if names else ""
    hidden = "everything beyond the wall is covered" if "coarse" not in shown.note else "in coarse squares"
    used = list(_uses(entry, names, geometry))
    return PhotoEvidence(
        file=file,
        purpose=purpose,
        measured=" ".join(used) if used else f"Not used: {why_unused(entry, bool(found), geometry)}",
        references=f"References: {listing(found)}." if found else "No reference found in it.",
        picture_jpeg=shown.jpeg,
        width_px=shown.width_px,
        height_px=shown.height_px,
        alt=f"{what}{shows}; {hidden}." if shown.jpeg else f"{what}: not shown.",
        note=shown.note,
    )


def _reference_words(kind: str, number: int | None, identifier: str) -> str:
    name = KINDS.get(kind, name_of(kind))
    return f"{name} {number}" if number is not None else f"{name} {name_of(identifier)}"


def _uses(entry: PhotoEntry, walls: list[str], geometry: Geometry) -> Iterator[str]:
    """Yield a sentence on each thing that came from one photo."""
    count = len(entry.marks)
    marked = {mark.wall for mark in entry.marks}
    faces = [wall for wall in geometry.walls if wall.id in marked and not wall.outline_mm]
    reveals = [f"{name_of(o.id)} of {name_of(wall.id)}" for wall in faces for o in wall.openings if o.reveal_depth_mm]
    marks = f"{count} mark{'s' if count != 1 else ''}"
    if walls:
        yield f"Measured from it: {listing(walls)}, {marks}."
    if reveals and not walls:
        yield f"Measured from it: the reveal at {listing(reveals)}, {marks}."
    if any(mark.point in ("edge_inner", "edge_outer") for mark in entry.marks):
        yield "Measured from it: the whole thickness at the wall's edge."
    read = brickwork_of(entry.file, geometry)
    if read is not None and read.bond != "none_to_read":
        yield f"Read from it: {brickwork_words(read)}."


def brickwork_of(file: str, geometry: Geometry) -> BrickworkResult | None:
    """Return what was read of the brickwork in one photo."""
    return next((photo.brickwork for photo in geometry.photos if photo.file == file), None)


def brickwork_words(read: BrickworkResult) -> str:
    """Return ``Flemish bond (99 in 100), 21 courses of 75.9 mm, give or take 0.3, and 140 bricks``."""
    course = f" of {give_or_take(read.course_height_mm, finest=0.1)}," if read.course_height_mm is not None else ""
    bond = f"{bond_words(read.bond)} ({in_hundred(read.probability)})"
    return f"{bond}, {read.courses} courses{course} and {read.bricks} bricks"


def why_unused(entry: PhotoEntry, has_reference: bool, geometry: Geometry) -> str:
    """Return why nothing was measured from a photo: from the finding that names it, else from what it lacks."""
    rank = {"stop": 0, "warn": 1, "note": 2}
    about = [finding for finding in geometry.findings if finding.where.get("photo") == entry.file]
    if about:
        worst = min(about, key=lambda finding: rank[finding.severity])
        return " ".join(sentence(plain(text)) for text in (worst.message, worst.remedy) if text)
    if entry.purpose in ("outside", "bond"):
        return "no brick bond could be read in it and no opening is marked in it."
    if entry.marks:
        return "its marks are too few, or belong to no wall that could be solved."
    if has_reference:
        return "nobody has marked a wall in it, so its reference measures nothing. Mark it, or leave it out."
    return "nobody has marked a wall in it and nothing of known size was found. Mark it, or leave it out."


def brick_pictures(folder: Path, geometry: Geometry) -> tuple[BrickPicture, ...]:
    """Return the brick faces that were read, with joints and bricks drawn over them."""
    return tuple(picture for photo in geometry.photos if (picture := _brick_picture(folder, photo, geometry)))


def _brick_picture(folder: Path, photo: PhotoResult, geometry: Geometry) -> BrickPicture | None:
    read = photo.brickwork
    if read is None or not read.shapes:
        return None
    shown = brickwork_picture(folder, photo.file, geometry)
    if shown is None or shown.jpeg is None:
        return None
    file, wall = plain(photo.file, limit=TITLE_LIMIT), listing([name_of(name) for name in read.walls])
    words = brickwork_words(read)
    return BrickPicture(
        file=file,
        wall=wall,
        alt=f"The brick face in {file} with the joints and bricks found drawn over it: {words}.",
        caption=f"{sentence(words)} Blue lines follow the bed joints and go round each stretcher; each header has an "
        f"orange line and a spot. If lines miss the joints, or spots sit on long bricks, do not trust the reading.",
        picture_jpeg=shown.jpeg,
        width_px=shown.width_px,
        height_px=shown.height_px,
    )


def rectified_walls(folder: Path, geometry: Geometry) -> tuple[Rectified, ...]:
    """Return the straightened walls with their grid."""
    made = []
    for wall in geometry.walls:
        if wall.rectified is None:
            continue
        path = (folder / "results" / wall.rectified.file).resolve()
        if not path.is_relative_to((folder / "results").resolve()):
            continue
        shown = rectified_picture(path, wall)
        if shown is None or shown.jpeg is None:
            continue
        name = name_of(wall.id)
        made.append(
            Rectified(
                wall=name,
                alt=f"{name} straightened, {wall_length(wall.width_mm)} wide, with solved edges and a grid of 500 mm.",
                caption="Straightened to scale; white lines every 500 mm, blue lines the edges as solved.",
                picture_jpeg=shown.jpeg,
                width_px=shown.width_px,
                height_px=shown.height_px,
            )
        )
    return tuple(made)
