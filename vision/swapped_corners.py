"""Marks that do not run round their rectangle: corners swapped, or no rectangle at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.findings import Finding
from vision.problem import WallProblem
from vision.walls import CORNERS, Mark


def place_of(mark: Mark) -> dict[str, str]:
    """Return the ``where`` of a finding about a mark."""
    where = {"photo": mark.photo, "point": mark.point}
    for key in ("wall", "opening", "feature", "reference"):
        value = getattr(mark, key)
        if value is not None:
            where[key] = value
    if mark.face == "frame":
        where["face"] = "frame"
    return where


def untangle(problem: WallProblem) -> tuple[tuple[Mark, ...], list[Finding]]:
    """Return the marks to measure with, and findings for rectangles whose four marks do not run round.

    Two corners that look swapped are swapped for the measurement; four that form no rectangle are left out. Either is a
    ``stop``: the person decides.
    """
    found: list[Finding] = []
    groups: dict[tuple[str, str, str], dict[str, Mark]] = {}
    for m in problem.marks:
        if m.point in CORNERS:
            name = m.opening or m.feature or "wall"
            groups.setdefault((m.photo, name, m.face or "wall"), {})[m.point] = m
    mended: dict[Mark, Mark | None] = {}
    for (photo, name, _), marks in groups.items():
        if len(marks) < 4 or _runs_round([marks[c].px for c in CORNERS]):
            continue
        swaps = [(a, b) for i, a in enumerate(CORNERS) for b in CORNERS[i + 1 :]]
        for a, b in swaps:
            trial = {**marks, a: marks[b], b: marks[a]}
            if _runs_round([trial[c].px for c in CORNERS]):
                mended[marks[a]], mended[marks[b]] = (
                    replace(marks[a], px=marks[b].px),
                    replace(marks[b], px=marks[a].px),
                )
                found.append(Finding(
                    code="M011", severity="stop", where=place_of(marks[a]),
                    message=f"{photo}: {a} and {b} of {name} look swapped.",
                    remedy="Swap the two marks, or mark them again.",
                ))  # fmt: skip
                break
        else:
            mended.update(dict.fromkeys(marks.values()))
            found.append(Finding(
                code="M012", severity="stop", where=place_of(marks["bottom_left"]),
                message=f"{photo}: the four corners of {name} do not form a rectangle seen from the front.",
                remedy="Mark them again: bottom left, bottom right, top right, top left as you see them.",
            ))  # fmt: skip
    kept = (mended.get(m, m) for m in problem.marks)
    return tuple(m for m in kept if m is not None), found


def _runs_round(px: Sequence[tuple[float, float]]) -> bool:
    """Return whether four pixels run anticlockwise as seen (y down), each corner turning the same way."""
    p = np.array(px)
    if not np.all(np.isfinite(p)):
        return False
    edges = np.roll(p, -1, axis=0) - p
    after = np.roll(edges, -1, axis=0)
    return bool(np.all(edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0] < 0.0))
