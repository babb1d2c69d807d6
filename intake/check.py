"""The gate: which photos are good for their job, what each wall still lacks, and what to expect of the result."""

from __future__ import annotations

from pathlib import Path

from intake.gather import Gathered, Progress, gather, look_for_references
from intake.outcomes import finding_entry
from intake.photos import lens_prior
from intake.quality import PhotoQuality, judge_photo, look_hash, same_look
from intake.requests import client_message
from intake.results import Check, PhotoCheck, WallCheck
from intake.store import RESULTS, inputs_sha256, write_json, write_text
from intake.version import perpend_version
from vision.findings import Finding, worst_first

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

    def look(name: str) -> None:
        grey = found.grey(name)
        looks[name] = look_hash(grey)
        seen = [sighting for sighting in found.sightings if sighting.photo == name]
        judged[name] = judge_photo(
            grey, described=found.files[name], photo=found.photos[name], sightings=seen, data=found.data(name)
        )

    look_for_references(found, progress=progress, then=look)
    findings = [*found.findings, *repeats(looks)]
    for quality in judged.values():
        findings += quality.findings
    findings += doubts_of(found)
    walls = [_wall_check(found, wall) for wall in found.walls if found.walls[wall].side == "inside"]
    photos = [_photo_check(found, name, judged.get(name)) for name in found.listing.photos]
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
        walls=walls,
        findings=[finding_entry(finding) for finding in ordered],
        message=client_message(photos, ordered),
    )
    write_json(found.folder / RESULTS / "check.json", check)
    return check


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


def _photo_check(found: Gathered, name: str, quality: PhotoQuality | None) -> PhotoCheck:
    photo = found.photos.get(name)
    if photo is None or quality is None:
        return PhotoCheck(file=name, usable=False)
    seen = [sighting for sighting in found.sightings if sighting.photo == name]
    walls = {found.references[one.reference].wall for one in seen if one.reference in found.references}
    described = found.files[name]
    entry = found.entries.get(name)
    return PhotoCheck(
        file=name,
        usable=quality.usable,
        purpose=entry.purpose if entry is not None else None,
        width_px=photo.width_px,
        height_px=photo.height_px,
        references=sorted({sighting.reference for sighting in seen}),
        walls=sorted({*found.marked_in(name), *(wall for wall in walls if wall is not None)}),
        blur_px=quality.blur_px,
        reference_px=quality.reference_px,
        view_angle_deg=quality.view_angle_deg,
        camera="35 mm equivalent" if described.facts.focal_35mm is not None else "unknown",
    )


def _wall_check(found: Gathered, wall: str) -> WallCheck:
    photos = sorted({mark.photo for mark in found.marks if mark.wall == wall})
    scaled = any(reference.wall == wall for reference in found.references.values())
    missing = []
    if not photos:
        missing.append("its corners in a photo: perpend mark")
    if not scaled and not found.walls[wall].taped.model_dump(exclude_none=True):
        missing.append("a reference of known size on it, or one tape reading")
    return WallCheck(id=wall, photos=photos, missing=missing)


def write_for_client(folder: Path, check: Check) -> Path | None:
    """Write results/message.txt, ready to send, and return its path; None when there is nothing to ask."""
    path = Path(folder) / RESULTS / "message.txt"
    if not check.message:
        path.unlink(missing_ok=True)
        return None
    write_text(path, check.message)
    return path


def write_shared(folder: Path) -> Path:
    """Write copies of the photos to results/share, cards and faces blurred, no metadata, and return that folder."""
    from intake.share import share_photos

    return share_photos(Path(folder))
