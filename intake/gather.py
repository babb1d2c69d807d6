"""A survey folder read once: photos, marks, references and findings, as records ready to be measured."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from intake.photos import (
    Listing,
    PhotoFile,
    Picture,
    decode_picture,
    describe_photo,
    find_photo,
    lens_prior,
    list_photos,
    read_bytes,
)
from intake.records import (
    SCALE_REL_SD_UNREAD,
    declared_reference,
    declared_wall,
    marks_of,
    undeclared_sheet,
    with_implied,
)
from intake.store import read_survey, survey_folder
from intake.survey import PhotoEntry, Survey, WallEntry
from vision.findings import Finding, PerpendError
from vision.walls import DeclaredReference, DeclaredWall, Mark, Photo, Sighting

if TYPE_CHECKING:
    from vision.references import ReferenceSearch

Progress = Callable[[int, int], None]

NOT_IN_THIS_PHOTO = "R004"
"""Code of "not found in this photo", which says nothing where another photo shows the reference."""
SCALE_REL_SD_PAPER = 0.005
"""Standard uncertainty of the print scale from the paper's own edges (the survey sheet's definition)."""
KEPT_PIXELS = 150_000_000
"""Grey pixels kept in memory between the passes over the photos; older ones are decoded again."""


@dataclass(slots=True, kw_only=True)
class Gathered:
    """What a survey folder holds, read and joined; ``grey`` decodes on demand and remembers a bounded amount."""

    folder: Path
    survey: Survey
    listing: Listing
    entries: dict[str, PhotoEntry]
    files: dict[str, PhotoFile] = field(default_factory=dict)
    photos: dict[str, Photo] = field(default_factory=dict)
    marks: list[Mark] = field(default_factory=list)
    walls: dict[str, WallEntry] = field(default_factory=dict)
    references: dict[str, DeclaredReference] = field(default_factory=dict)
    sightings: list[Sighting] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    _grey: OrderedDict[str, Picture] = field(default_factory=OrderedDict)

    def data(self, file: str) -> bytes:
        """Return a photo's bytes."""
        return read_bytes(self.folder / file)

    def colour(self, file: str) -> Picture:
        """Return a photo's upright pixels, blue, green, red."""
        return decode_picture(self.data(file), file=file)

    def grey(self, file: str) -> Picture:
        """Return a photo's upright grey pixels."""
        if file in self._grey:
            self._grey.move_to_end(file)
            return self._grey[file]
        return self.keep_grey(file, decode_picture(self.data(file), file=file, grey=True))

    def keep_grey(self, file: str, picture: Picture) -> Picture:
        """Remember a decoded photo, forgetting the ones not used for longest."""
        self._grey[file] = picture
        while len(self._grey) > 1 and sum(kept.size for kept in self._grey.values()) > KEPT_PIXELS:
            self._grey.popitem(last=False)
        return picture

    def forget(self) -> None:
        """Give the pictures' memory back."""
        self._grey.clear()

    def drop(self, file: str, why: str) -> None:
        """Leave a photo out because its pixels cannot be read, with a finding."""
        message, _, remedy = why.partition(". ")
        self.findings.append(_stop("P001", message + ".", remedy or "Leave it out.", photo=file))
        del self.photos[file], self.files[file]
        self.marks = [mark for mark in self.marks if mark.photo != file]

    def expected_in(self, file: str) -> tuple[DeclaredReference, ...]:
        """Return the declared references that a photo may show: those of the walls marked in it, or all if none is."""
        marked = self.marked_in(file)
        return tuple(
            reference
            for reference in self.references.values()
            if not marked or reference.wall is None or reference.wall in marked
        )

    def declared_walls(self) -> Iterator[DeclaredWall]:
        """Yield the walls as records, in the survey's order."""
        for entry in self.walls.values():
            yield declared_wall(entry)

    def marked_in(self, file: str) -> set[str]:
        """Return the walls that are marked in a photo."""
        return {mark.wall for mark in self.marks if mark.photo == file and mark.wall is not None}


def gather(folder: Path | str, *, survey: Survey | None = None) -> Gathered:
    """Return what the folder says without looking at pixels yet; broken photos become findings.

    Raises
    ------
    PerpendError
        No such folder, a survey that does not fit, or nothing to work on at all.
    """
    path = survey_folder(folder)
    said = read_survey(path) if survey is None else survey
    listing = list_photos(path)
    if not listing.photos and not said.walls and not said.photos:
        raise PerpendError(f"{path}: no photos and no survey.json here. Copy the photos in, then run this again.")
    walls, findings = with_implied(said)
    found = Gathered(
        folder=path,
        survey=said,
        listing=listing,
        entries={},
        walls={wall.id: wall for wall in walls},
        findings=findings,
    )
    for name, why in listing.ignored:
        found.findings.append(_note("P009", f"{name}: {why}.", "Nothing to do.", photo=name))
    _match_entries(found)
    for name in listing.photos:
        _read_photo(found, name)
    for reference in said.references:
        found.references[reference.id] = declared_reference(reference)
    return found


def _match_entries(found: Gathered) -> None:
    """Join the survey's photo entries to the files; two entries for one file are merged."""
    for entry in found.survey.photos:
        try:
            name = find_photo(found.folder, entry.file, found.listing.photos)
        except PerpendError as error:
            found.findings.append(_stop("P006", str(error), "Nothing of this entry was used.", photo=entry.file))
            continue
        if name is None:
            message = f"{entry.file}: named in survey.json, but there is no such photo in the folder."
            remedy = "Copy it back, or remove the entry; its marks are kept until you do."
            found.findings.append(_stop("P005", message, remedy, photo=entry.file))
        elif name in found.entries:
            before = found.entries[name]
            merged = {
                "marks": [*before.marks, *entry.marks],
                "not_seen": [*before.not_seen, *entry.not_seen],
                "purpose": before.purpose or entry.purpose,
            }
            found.entries[name] = before.model_copy(update=merged)
            message = f"{name}: two photos have this name in survey.json; the marks of both were used."
            found.findings.append(_warn("P006", message, "Make one entry of the two, or rename a photo.", photo=name))
        else:
            found.entries[name] = entry


def _read_photo(found: Gathered, name: str) -> None:
    """Read header and EXIF of one photo; a photo that cannot be read is a finding."""
    entry = found.entries.get(name)
    try:
        described = describe_photo(found.data(name), file=name)
    except PerpendError as error:
        message, _, remedy = str(error).partition(". ")
        marked = entry is not None and bool(entry.marks)
        make = _stop if marked else _warn
        found.findings.append(make("P001", message + ".", remedy or "Leave it out.", photo=name))
        return
    photo, doubts = lens_prior(described, purpose=entry.purpose if entry else None)
    found.files[name], found.photos[name] = described, photo
    found.findings += [_note("P008", f"{name}: {note}.", "Nothing to do.", photo=name) for note in described.notes]
    if entry is None:
        return
    if doubts and entry.marks:
        message = f"{name}: {'; '.join(doubts)}. The result is less exact for it."
        found.findings.append(_warn("P002", message, "Ask for the original file, as the phone took it.", photo=name))
    for mark in marks_of(entry, file=name):
        if -0.5 <= mark.px[0] <= described.width_px - 0.5 and -0.5 <= mark.px[1] <= described.height_px - 0.5:
            found.marks.append(mark)
        else:
            found.findings.append(_outside(mark, described))


def _outside(mark: Mark, photo: PhotoFile) -> Finding:
    where = {"photo": mark.photo, "point": mark.point}
    for key in ("wall", "opening", "feature", "reference"):
        if getattr(mark, key) is not None:
            where[key] = getattr(mark, key)
    size = f"{photo.width_px} x {photo.height_px}"
    return Finding(
        code="P003",
        severity="stop",
        message=f"{mark.photo}: the mark at ({mark.px[0]:g}, {mark.px[1]:g}) lies outside the photo, which is {size}.",
        remedy=f"Mark it again: perpend mark; or ask whether {mark.photo} was replaced by a smaller copy.",
        where=where,
    )


def _note(code: str, message: str, remedy: str, **where: str) -> Finding:
    return Finding(code=code, severity="note", message=message, remedy=remedy, where=where)


def _warn(code: str, message: str, remedy: str, **where: str) -> Finding:
    return Finding(code=code, severity="warn", message=message, remedy=remedy, where=where)


def _stop(code: str, message: str, remedy: str, **where: str) -> Finding:
    return Finding(code=code, severity="stop", message=message, remedy=remedy, where=where)


def look_for_references(found: Gathered, *, progress: Progress | None = None) -> None:
    """Look at every readable photo once, for its references, and give each reference its wall.

    Parameters
    ----------
    found
        The folder; its sightings and findings are added to.
    progress
        Called with photos done and photos in all.
    """
    from vision.references import never_found

    names = list(found.photos)
    searches: dict[str, ReferenceSearch] = {}
    for done, name in enumerate(names, start=1):
        try:
            grey = found.grey(name)
        except PerpendError as error:
            found.drop(name, str(error))
            continue
        searches[name] = search_photo(found, name, grey)
        if progress is not None:
            progress(done, len(names))
    for search in _looked_again(found, searches).values():
        found.sightings += search.sightings
        found.findings += [finding for finding in search.findings if finding.code != NOT_IN_THIS_PHOTO]
    found.findings += never_found(searches.values(), tuple(found.references.values()))
    give_walls(found)


def search_photo(
    found: Gathered, name: str, grey: Picture, heights_mm: Mapping[tuple[str, str], float] | None = None
) -> ReferenceSearch:
    """Return the references of one photo; in colour where a card or a sheet of paper is to be told from the wall."""
    from vision.references import find_references

    declared = found.expected_in(name)
    picture = grey if all(d.kind == "survey_sheet" for d in declared) else found.colour(name)
    marks = tuple(mark for mark in found.marks if mark.photo == name)
    return find_references(picture, photo=name, declared=declared, marks=marks, opening_heights_mm=heights_mm)


def _looked_again(found: Gathered, searches: dict[str, ReferenceSearch]) -> dict[str, ReferenceSearch]:
    """Return the searches, repeated where a reference could not be told by size and another photo knows a window's."""
    from vision.references import UNSURE_OF_SIZE, opening_heights

    unsure = [n for n, search in searches.items() if any(f.code == UNSURE_OF_SIZE for f in search.findings)]
    if not unsure:
        return searches
    walls = {reference.id: reference.wall for reference in found.references.values()}
    heights: dict[tuple[str, str], float] = {}
    for name, search in searches.items():
        size = (found.photos[name].width_px, found.photos[name].height_px)
        heights |= opening_heights(search, found.marks, walls, photo=name, size_px=size)
    if heights:
        searches |= {name: search_photo(found, name, found.grey(name), heights) for name in unsure}
    return searches


def give_walls(found: Gathered) -> None:
    """Give every reference that was seen its wall: the declared one, or the only wall marked where it was seen."""
    for name in sorted({sighting.reference for sighting in found.sightings}):
        seen = [sighting for sighting in found.sightings if sighting.reference == name]
        reference = found.references.get(name)
        if reference is None:
            number = seen[0].number
            if seen[0].kind != "survey_sheet" or number is None:
                continue
            reference = undeclared_sheet(number, None)
            reference = replace(reference, id=name)
        if reference.wall is None:
            reference = replace(reference, wall=_only_wall(found, name, seen))
        found.references[name] = _with_print_scale(found, reference, seen)


def _with_print_scale(found: Gathered, reference: DeclaredReference, seen: list[Sighting]) -> DeclaredReference:
    """Return a sheet whose bar nobody read with the scale that its paper's edges show, and a finding either way."""
    if reference.kind != "survey_sheet" or reference.scale_rel_sd < SCALE_REL_SD_UNREAD:
        return reference
    shown = [sighting.print_scale for sighting in seen if sighting.print_scale is not None]
    where = {"reference": reference.id, **({"wall": reference.wall} if reference.wall is not None else {})}
    share = SCALE_REL_SD_PAPER if shown else SCALE_REL_SD_UNREAD
    message = f"Sheet {reference.number}: bar not entered, so every size may be {200 * share:.0f} % out."
    remedy = "Measure the 250 mm bar on the sheet with a rule and enter what it reads; do not order before."
    found.findings.append(_warn("R021", message, remedy, **where))
    if not shown:
        return reference
    weights = [1 / scale.sd**2 for scale in shown]
    mean = sum(weight * scale.value for weight, scale in zip(weights, shown, strict=True)) / sum(weights)
    return replace(reference, scale=mean, scale_rel_sd=SCALE_REL_SD_PAPER)


def _only_wall(found: Gathered, name: str, seen: list[Sighting]) -> str | None:
    """Return the only wall that is marked in the photos where the reference was seen, or None with a finding."""
    candidates = [found.marked_in(sighting.photo) for sighting in seen]
    single = {next(iter(walls)) for walls in candidates if len(walls) == 1}
    if len(single) == 1:
        return next(iter(single))
    if not any(candidates):
        return None
    walls = ", ".join(sorted(set().union(*candidates)))
    message = f"{name}: seen in {seen[0].photo}, where it could belong to any of {walls}; it was not used."
    remedy = f'Declare it in survey.json under references, for example with "on": "{walls.split(", ")[0]}".'
    found.findings.append(_warn("R020", message, remedy, photo=seen[0].photo, reference=name))
    return None
