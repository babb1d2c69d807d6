"""The message back to whoever took the photos: thanks first, at most three requests, one action each, a way out."""

from __future__ import annotations

from collections.abc import Sequence

from intake.results import PhotoCheck
from vision.findings import Finding

MOST_REQUESTS = 3

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
    requests = sorted(asked)[:MOST_REQUESTS]
    right = len(photos) - len(asked)
    lines = [_thanks(right, len(photos)), ""]
    for file in requests:
        lines += [_request(file, by_file.get(file), asked[file]), ""]
    lines.append("If that is hard, a tape reading of the wall's width at half its height, in mm, does as well.")
    return "\n".join(lines) + "\n"


def _thanks(right: int, total: int) -> str:
    if right == 0:
        return "Thank you for the photos."
    return f"Thank you, {right} of {total} {'is' if right == 1 else 'are'} just right."


def _request(file: str, photo: PhotoCheck | None, finding: Finding) -> str:
    place = _PLACES.get(photo.purpose or "", "") if photo is not None else ""
    what = finding.message.removeprefix(f"{file}: ").rstrip(".")
    remedy = finding.remedy
    return f"{file}{f' ({place})' if place else ''}: {what}. {remedy}"
