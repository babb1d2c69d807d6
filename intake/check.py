"""The gate: which photos are good for their job, what each wall still lacks, and what to expect of the result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from intake.decode import decode_picture
from intake.expect import Expectation, expect_wall, missing_of, purpose_of
from intake.framing import framing_findings
from intake.gather import NOT_IN_THIS_PHOTO, Gathered, Progress, gather, give_walls, search_photo
from intake.outcomes import finding_entry
from intake.photos import Picture, lens_prior
from intake.propose import add_groups
from intake.quality import SMALL_REFERENCE_PX, PhotoQuality, judge_photo, look_hash, same_look
from intake.requests import client_message
from intake.results import Check, PhotoCheck, WallCheck
from intake.store import RESULTS, inputs_sha256, write_bytes, write_json, write_text
from intake.version import perpend_version
from vision.findings import Finding, PerpendError, worst_first
from vision.quick_look import glance, is_plain
from vision.walls import Sighting

CHECK_PARTS = ("references", "walls", "photos")


def check_folder(folder: Path | str, *, progress: Progress | None = None) -> Check:
    """Judge the photos of a folder, write results/check.json, and return it.

    Raises
    ------
    PerpendError
        No folder, nothing in it, or a survey that does not fit the schema.
    """
    found = gather(folder)
    judged: dict[str, PhotoQuality] = {}
    looks: dict[str, int] = {}
    for done, name in enumerate(list(found.photos), start=1):
        look_at(found, name, judged, looks)
        if progress is not None:
            progress(done, len(found.files))
    refused = {name for name, quality in judged.items() if any(f.severity == "stop" for f in quality.findings)}
    found.sightings = [seen for seen in found.sightings if seen.photo not in refused or len(refused) == len(judged)]
    found.findings += _never_seen(found)
    give_walls(found)
    if not any(wall.side == "inside" for wall in found.walls.values()):
        add_groups(found)
    expected = {wall.id: expect_wall(found, wall.id) for wall in found.walls.values() if wall.side == "inside"}
    findings = [*found.findings, *repeats(looks), *doubts_of(found), *framing_findings(found, expected)]
    for name, quality in judged.items():
        findings += [_larger_elsewhere(found, judged, name, finding) for finding in quality.findings]
    stopped = {finding.where.get("photo") for finding in findings if finding.severity == "stop"}
    photos = [
        _photo_check(found, name, judged.get(name), expected, usable=name not in stopped)
        for name in found.listing.photos
    ]
    ordered = worst_first(_without_repeated_messages(findings))
    check = Check(
        inputs_sha256=inputs_sha256(
            found.folder,
            survey=found.survey,
            photos=found.listing.photos,
            parts=CHECK_PARTS,
            version=perpend_version(),
        ),
        perpend_version=perpend_version(),
        photos=photos,
        walls=[_wall_check(found, expectation) for expectation in expected.values()],
        findings=[finding_entry(finding) for finding in ordered],
        message=client_message(photos, ordered),
    )
    write_json(found.folder / RESULTS / "check.json", check)
    return check


def look_at(found: Gathered, name: str, judged: dict[str, PhotoQuality], looks: dict[str, int]) -> None:
    """Look at one photo: its references, its fitness and its look; one that cannot be decoded becomes a finding."""
    try:
        data = found.data(name)
        grey = found.keep_grey(name, decode_picture(data, file=name, grey=True))
    except PerpendError as error:
        found.drop(name, str(error))
        return
    seen = _first_look(found, name, grey)
    if seen is None:
        search = search_photo(found, name, grey)
        seen = list(search.sightings)
        found.findings += [finding for finding in search.findings if finding.code != NOT_IN_THIS_PHOTO]
    found.sightings += seen
    looks[name] = look_hash(grey)
    judged[name] = judge_photo(grey, described=found.files[name], photo=found.photos[name], sightings=seen, data=data)


def _first_look(found: Gathered, name: str, grey: Picture) -> list[Sighting] | None:
    """Return the sheets that a first look shows, or None where only the search that measuring makes can tell."""
    expected = found.expected_in(name)
    if any(reference.kind != "survey_sheet" for reference in expected):
        return None
    sightings = glance(grey, photo=name)
    numbers = [reference.number for reference in expected if reference.number is not None]
    return [_named(found, seen) for seen in sightings] if is_plain(sightings, expected=numbers) else None


def _named(found: Gathered, sighting: Sighting) -> Sighting:
    """Return the sighting under the id that the survey gives its sheet."""
    sheets = [reference for reference in found.references.values() if reference.kind == "survey_sheet"]
    known = next((sheet.id for sheet in sheets if sheet.number == sighting.number), None)
    return sighting if known is None else replace(sighting, reference=known)


def _larger_elsewhere(found: Gathered, judged: Mapping[str, PhotoQuality], name: str, finding: Finding) -> Finding:
    """Return the finding; that a reference is small becomes a note where another photo shows the same one large."""
    if finding.code != "P014":
        return finding
    own = {seen.reference for seen in found.sightings if seen.photo == name}
    others = sorted({seen.photo for seen in found.sightings if seen.reference in own} - {name})
    large = [other for other in others if (judged[other].reference_px or 0.0) >= SMALL_REFERENCE_PX]
    if not large:
        return finding
    return replace(finding, severity="note", remedy=f"Nothing to do: {large[0]} shows it larger.")


def _never_seen(found: Gathered) -> list[Finding]:
    from vision.references import ReferenceSearch, never_found

    return never_found([ReferenceSearch(sightings=tuple(found.sightings))], tuple(found.references.values()))


def doubts_of(found: Gathered) -> list[Finding]:
    """Return a finding for every photo whose camera details cannot be trusted."""
    findings = []
    for name, described in found.files.items():
        _, doubts = lens_prior(described)
        if doubts:
            findings.append(
                Finding(
                    code="P002",
                    severity="warn",
                    message=f"{name}: {'; '.join(doubts)}. The result is less exact for it.",
                    remedy="Ask for the original file, as the phone took it.",
                    where={"photo": name},
                )
            )
    return findings


def _without_repeated_messages(findings: list[Finding]) -> list[Finding]:
    seen: dict[tuple[str, str], Finding] = {}
    for finding in findings:
        seen.setdefault((finding.code, finding.message), finding)
    return list(seen.values())


def repeats(looks: dict[str, int]) -> list[Finding]:
    """Return a note for each photo that looks the same as an earlier one."""
    findings = []
    names = list(looks)
    for place, name in enumerate(names):
        twin = next((other for other in names[:place] if same_look(looks[other], looks[name])), None)
        if twin is not None:
            findings.append(
                Finding(
                    code="P020",
                    severity="note",
                    message=f"{name}: looks the same as {twin}; one of a burst or a copy.",
                    remedy="Mark one of the two; a second view from elsewhere would add more.",
                    where={"photo": name},
                )
            )
    return findings


def _photo_check(
    found: Gathered, name: str, quality: PhotoQuality | None, expected: Mapping[str, Expectation], *, usable: bool
) -> PhotoCheck:
    photo = found.photos.get(name)
    if photo is None or quality is None:
        return PhotoCheck(file=name, usable=False)
    seen = [sighting for sighting in found.sightings if sighting.photo == name]
    walls = {found.references[one.reference].wall for one in seen if one.reference in found.references}
    entry = found.entries.get(name)
    purpose: str | None = entry.purpose if entry is not None else None
    if purpose is None:
        guesses = (purpose_of(wall, name, quality.view_angle_deg) for wall in expected.values())
        purpose = next((guess for guess in guesses if guess is not None), None)
    return PhotoCheck(
        file=name,
        usable=usable,
        purpose=purpose,
        width_px=photo.width_px,
        height_px=photo.height_px,
        references=sorted({sighting.reference for sighting in seen}),
        walls=sorted({*found.marked_in(name), *(wall for wall in walls if wall is not None)}),
        blur_px=quality.blur_px,
        reference_px=quality.reference_px,
        view_angle_deg=quality.view_angle_deg,
        camera="35 mm equivalent" if found.files[name].facts.focal_35mm is not None else "unknown",
    )


def _wall_check(found: Gathered, expected: Expectation) -> WallCheck:
    sd = expected.width_sd_mm
    return WallCheck(
        id=expected.wall,
        photos=expected.photos,
        missing=missing_of(found, expected),
        predicted_sd_mm=None if sd is None else round(sd, 2),
        best_help=expected.best_help,
    )


def write_for_client(folder: Path, check: Check) -> Path | None:
    """Write results/message.txt, ready to send, and results/message.png, how the photo should look; return the text's.

    None, and neither file, when there is nothing to ask.
    """
    from intake.sketch import good_photo_png

    path = Path(folder) / RESULTS / "message.txt"
    picture = path.with_suffix(".png")
    if not check.message:
        path.unlink(missing_ok=True)
        picture.unlink(missing_ok=True)
        return None
    write_text(path, check.message)
    write_bytes(picture, good_photo_png())
    return path


def write_shared(folder: Path) -> Path:
    """Write copies of the photos to results/share, cards and faces blurred, no metadata, and return that folder."""
    from intake.share import share_photos

    return share_photos(Path(folder))
