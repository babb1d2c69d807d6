"""The message back to whoever took the photos: thanks first, at most three requests, one action each, a way out."""

from __future__ import annotations

from collections.abc import Sequence

from intake.results import PhotoCheck
from vision.findings import Finding

MOST_REQUESTS = 3
MOST_NAMED = 3

_PLACES = {
    "whole": "whole wall",
    "oblique": "wall from the side",
    "opening": "window",
    "detail": "detail",
    "wall_edge": "edge of the wall",
    "outside": "outside",
    "bond": "brickwork",
}


def client_message(photos: Sequence[PhotoCheck], findings: Sequence[Finding]) -> str:
    """Return a short text ready to send, or nothing when nothing is wrong.

    Parameters
    ----------
    photos
        The photos as judged.
    findings
        Findings, worst first; notes ask for nothing.
    """
    by_file = {photo.file: photo for photo in photos}
    asked: dict[str, Finding] = {}
    for finding in findings:
        file = finding.where.get("photo")
        if file is not None and finding.severity != "note" and finding.code.startswith("P") and file not in asked:
            asked[file] = finding
    if not asked:
        return ""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for file in sorted(asked):
        groups.setdefault(_request(file, by_file.get(file), asked[file]), []).append(file)
    right = len(photos) - len(asked)
    lines = [_thanks(right, len(photos)), ""]
    for (place, what, remedy), files in list(groups.items())[:MOST_REQUESTS]:
        lines += [f"{_named(files)}{f' ({place})' if place else ''}: {what}. {remedy}", ""]
    lines.append("If that is hard, a tape reading of the wall's width at half its height, in mm, does as well.")
    return "\n".join(lines) + "\n"


def _named(files: Sequence[str]) -> str:
    """Return up to three file names, and how many more."""
    if len(files) > MOST_NAMED:
        return f"{', '.join(files[:MOST_NAMED])} and {len(files) - MOST_NAMED} more"
    return " and ".join([", ".join(files[:-1]), files[-1]] if len(files) > 1 else files)


def _thanks(right: int, total: int) -> str:
    if right == 0:
        return "Thank you for the photos."
    return f"Thank you, {right} of {total} {'is' if right == 1 else 'are'} just right."


def _request(file: str, photo: PhotoCheck | None, finding: Finding) -> tuple[str, str, str]:
    """Return place, what is wrong and what to do, alike for photos that need the same."""
    place = _PLACES.get(photo.purpose or "", "") if photo is not None else ""
    return place, finding.message.removeprefix(f"{file}: ").rstrip("."), _to_client(finding.remedy)


def _to_client(remedy: str) -> str:
    """Return a remedy as said to whoever took the photos, not to whoever received them."""
    return remedy.replace("Ask for the original file", "Please send the original file").replace(
        "Copy it from the phone again", "Please send it again"
    )
