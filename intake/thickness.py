"""The whole thickness of a wall, joined from its two faces: inner reveal + frame + outer reveal."""

from __future__ import annotations

import math
from dataclasses import replace

from intake.outcomes import TAPE_SD_MM
from vision.results import OUTER_REVEAL_SD_MM, thickness
from vision.walls import DeclaredOpening, DeclaredWall, Measured, MeasuredOpening, MeasuredWall


def with_outside(inside: MeasuredWall, declared: DeclaredWall, outside: MeasuredWall | None) -> MeasuredWall:
    """Return the inside wall with outer reveals from its other face and the thickness at every opening.

    Parameters
    ----------
    inside
        The wall as measured from inside.
    declared
        The wall as declared: frame depths, typed outer reveals, taped thicknesses [mm].
    outside
        The same wall as measured from outside; its openings carry the inside ids.
    """
    outer = {opening.id: opening.reveal_depth_mm for opening in outside.openings} if outside is not None else {}
    said = {opening.id: opening for opening in declared.openings}
    whole = _taped(declared.taped.get("thickness_mm")) or inside.thickness_mm
    openings = tuple(
        _joined(opening, said.get(opening.id), outer.get(opening.id), whole) for opening in inside.openings
    )
    return replace(inside, openings=openings)


def _taped(value: float | None) -> Measured | None:
    return None if value is None else Measured(value=value, sd=TAPE_SD_MM)


def _joined(
    opening: MeasuredOpening, said: DeclaredOpening | None, outer: Measured | None, whole: Measured | None
) -> MeasuredOpening:
    """Return the opening with its outer reveal and thickness: taped, else seen and typed together."""
    taped = said.taped if said is not None else {}
    typed = said.outer_reveal_mm if said is not None else None
    frame = opening.frame_mm if opening.frame_mm is not None else (said.frame_mm if said is not None else None)
    told = opening.outer_reveal_mm or (None if typed is None else Measured(value=typed, sd=OUTER_REVEAL_SD_MM))
    outer = _taped(taped.get("outer_reveal_mm")) or _together(outer, told)
    direct = _taped(taped.get("thickness_mm")) or whole
    joined = thickness(opening.reveal_depth_mm, frame, outer, direct)
    return replace(opening, outer_reveal_mm=outer, thickness_mm=joined or opening.thickness_mm, frame_mm=frame)


def _together(one: Measured | None, other: Measured | None) -> Measured | None:
    """Return the weighted mean of two independent values, its uncertainty widened where they disagree (Birge ratio)."""
    if one is None or other is None:
        return one or other
    weights = (1.0 / one.sd**2, 1.0 / other.sd**2)
    value = (weights[0] * one.value + weights[1] * other.value) / sum(weights)
    apart = abs(one.value - other.value) / math.hypot(one.sd, other.sd)
    return Measured(value=value, sd=max(1.0, apart) / math.sqrt(sum(weights)))
