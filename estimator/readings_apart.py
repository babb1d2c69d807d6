"""Readings of one length that do not agree: each is kept, and the person is told before boards hang on their mean."""

from __future__ import annotations

from collections.abc import Iterator

from estimator.inputs import WallCase
from vision.findings import Finding

FAR_FROM_TAPE_MM = 8.0  # four standard uncertainties of a tape reading (invented default)
FAR_APART_MM = 5.0  # readings by laths near one place differ less on a sound wall (invented default)


def readings_apart(case: WallCase) -> list[Finding]:
    """Return a warning (B019) for each length whose readings by laths differ, or lie far from its reading by tape.

    Parameters
    ----------
    case
        The wall, with what was taped of it and its further readings [mm].

    Notes
    -----
    Nothing is left out of the mean: which reading is wrong only a look at the wall can tell.
    """
    found = []
    taped = dict(_taped(case))
    for key, readings in case.more_readings.items():
        if not readings:
            continue
        mean = sum(readings) / len(readings)
        apart = max(readings) - min(readings)
        off = abs(mean - taped.get(key, mean))
        if apart > FAR_APART_MM:
            said = f"readings by laths from {min(readings):g} to {max(readings):g} mm, {apart:g} mm apart"
        elif off > FAR_FROM_TAPE_MM:
            said = f"{taped[key]:g} mm by tape, {mean:.1f} mm by laths"
        else:
            continue
        found.append(
            Finding(
                code="B019",
                severity="warn",
                message=f"{case.measured.id}: {key} has {said}; the boards are counted from all of them.",
                remedy="Read it again by tape and by laths, strike what was misread (the marking page, Tape), then "
                "estimate again.",
                where={"wall": case.measured.id, "key": key},
            )
        )
    return found


def _taped(case: WallCase) -> Iterator[tuple[str, float]]:
    yield from case.declared.taped.items()
    for opening in case.declared.openings:
        for name, value in opening.taped.items():
            yield f"openings.{opening.id}.{name}", value
