"""What the photos have in their frames: a wall's four corners, something that gives a scale, the lens they claim."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from intake.expect import Expectation
from intake.gather import Gathered
from vision.findings import Finding
from vision.walls import CORNERS

CLOSE_UPS = frozenset({"opening", "detail", "wall_edge", "outside", "bond"})
"""Jobs that need neither the wall's corners nor a reference of their own."""
LENS_CODES = frozenset({"M030", "M031", "M032"})
"""Codes of ``vision.checks`` for a lens pulled far from what the file says."""


def framing_findings(found: Gathered, expected: Mapping[str, Expectation]) -> list[Finding]:
    """Return what keeps photos from giving a size: no reference, a wall that none shows whole, a lens not as stated.

    Parameters
    ----------
    found
        The folder, its references seen.
    expected
        What each inside wall's photos promise.
    """
    findings = _without_scale(found)
    for expectation in expected.values():
        findings += _cut_off(found, expectation)
        findings += _not_as_stated(expectation)
    return findings


def _without_scale(found: Gathered) -> list[Finding]:
    """Return a finding for each photo of a survey in which nothing of known size was seen and nothing is taped.

    What was seen but is not sure counts, and so does what a person can mark by hand: a card, a sheet of paper.
    """
    taped = any(wall.taped.model_dump(exclude_none=True) for wall in found.walls.values())
    by_hand = any(reference.kind != "survey_sheet" for reference in found.survey.references)
    if taped or by_hand or found.sightings:
        return []
    return [
        Finding(
            code="P021",
            severity="stop",
            message=f"{name}: no survey sheet can be read, so the size is unknown.",
            remedy="Retake it sharp, with a whole sheet in view and no light or curtain on it. "
            "If a card or a plain A4 sheet is on the wall, or it shows the outside, say so.",
            where={"photo": name},
        )
        for name in found.photos
        if _purpose(found, name) not in CLOSE_UPS
    ]


def _purpose(found: Gathered, name: str) -> str | None:
    entry = found.entries.get(name)
    return entry.purpose if entry is not None else None


def _cut_off(found: Gathered, expected: Expectation) -> list[Finding]:
    """Return a finding for the photo that shows most of a wall, where the photos together lack one of its corners."""
    shown: set[str] = set().union(*expected.corners.values()) if expected.corners else set()
    entry = found.walls[expected.wall]
    name = _widest_view(found, expected)
    if name is None or shown >= set(CORNERS) or entry.taped.model_dump(exclude_none=True):
        return []
    where = {"photo": name, "wall": expected.wall}
    if expected.solution is None:
        return [
            Finding(
                code="P022",
                severity="stop",
                message=f"{name}: the wall's four corners cannot all be made out in it.",
                remedy="If they are hidden, clear or mark them; if cut off, retake it from further back. "
                "If it shows the outside, say so.",
                where=where,
            )
        ]
    missing = [corner.replace("_", " ") for corner in reversed(CORNERS) if corner not in shown]
    corners = f"{', '.join(missing[:-1])} and {missing[-1]} corners" if len(missing) > 1 else f"{missing[0]} corner"
    return [
        Finding(
            code="P022",
            severity="stop",
            message=f"{name}: cuts off the wall's {corners}.",
            remedy=f"Retake it {_which_way(missing)}, with a hand's width to spare all round.",
            where=where,
        )
    ]


def _not_as_stated(expected: Expectation) -> list[Finding]:
    """Return a finding for a lone photo whose sheets and outline do not fit the lens that its file names."""
    if expected.solution is None:
        return []
    pulled = {finding.where["photo"] for finding in expected.solution.findings if finding.code in LENS_CODES}
    if len(expected.photos) > 1:  # a bad photo or a wrong outline drags the others along: which it is cannot be told
        return []
    return [
        Finding(
            code="P023",
            severity="stop",
            message=f"{name}: it was zoomed, cropped or taken with another lens than the file says, and does not fit.",
            remedy="Retake it at 1×, and send the original file.",
            where={"photo": name, "wall": expected.wall},
        )
        for name in sorted(pulled)
    ]


def _which_way(missing: list[str]) -> str:
    """Return how to hold the phone so that the missing corners come into view."""
    if len({corner.split()[0] for corner in missing}) == len({corner.split()[1] for corner in missing}) == 2:
        return "from further back"
    sides = {side for side in ("top", "bottom", "left", "right") if all(side in corner for corner in missing)}
    tilt = {"top": "tilted up a little", "bottom": "tilted down a little"}
    turn = {side: f"turned a little to the {side}" for side in ("left", "right")}
    words = [way[side] for way in (tilt, turn) for side in way if side in sides]
    return "from the same place, " + " and ".join(words) if words else "from further back"


def _widest_view(found: Gathered, expected: Expectation) -> str | None:
    """Return the wall's photo that reaches furthest over it: the one with the smallest reference; None without any."""
    sizes = {
        name: max(
            (float(np.ptp(seen.corners_px, axis=0).max()) for seen in found.sightings if seen.photo == name),
            default=0.0,
        )
        / max(found.photos[name].width_px, found.photos[name].height_px)
        for name in expected.photos
        if name in found.photos and _purpose(found, name) not in CLOSE_UPS
    }
    return min(sorted(sizes), key=lambda name: sizes[name]) if sizes else None
