"""Doubtful marks as the page points at them: which mark a finding means, and what the others say of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from intake.gather import Gathered
from intake.page.document import mark_identity
from vision.findings import Finding

Json = Any


def suspect_of(finding: Finding, found: Gathered, points: Mapping[str, Mapping[str, Json]]) -> dict[str, Json] | None:
    """Return a doubtful mark as the page points at it, or None if the finding is about something else.

    Parameters
    ----------
    finding
        A finding whose ``where`` may name one mark by photo, point and the thing it belongs to.
    found
        The survey's records.
    points
        Where the solution puts every point, by photo and identity.
    """
    if finding.severity == "note" or not {"photo", "point"} <= finding.where.keys():
        return None
    place = dict(finding.where)
    file = place.pop("photo")
    for mark in found.marks:
        named = {k: getattr(mark, k) for k in ("wall", "opening", "feature", "reference", "face", "point")}
        if mark.photo != file or any(named.get(k) != v for k, v in place.items() if k in named):
            continue
        identity = mark_identity(named)
        point = points.get(file, {}).get(identity)
        if point is None:
            return None
        dx, dy = point["px"][0] - mark.px[0], point["px"][1] - mark.px[1]
        return {
            "photo": file, "wall": mark.wall, "identity": identity, "point": {k: v for k, v in named.items() if v},
            "px": point["px"], "words": f"the others say {offset_words(dx, dy)}",
            "message": finding.message, "code": finding.code,
        }  # fmt: skip
    return None


def offset_words(dx: float, dy: float) -> str:
    """Return an offset in the picture in words, e.g. ``14 px right, 3 up``."""
    parts = []
    if round(abs(dx)):
        parts.append(f"{round(abs(dx))} px {'right' if dx > 0 else 'left'}")
    if round(abs(dy)):
        parts.append(f"{round(abs(dy))} px {'down' if dy > 0 else 'up'}")
    return ", ".join(parts) or f"less than a pixel away ({math.hypot(dx, dy):.1f})"
