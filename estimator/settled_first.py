"""What must be settled before a wall is lined: what it is made of, and the stops that a person can answer."""

from __future__ import annotations

from collections.abc import Sequence

from estimator.construction import Construction
from estimator.construction_tables import read_tables
from vision.findings import Finding

SOLID_OR_CAVITY = (
    "it is known whether the wall is solid or has a cavity: have its whole thickness measured where a door or window "
    "opens, or have it drilled and looked into"
)
FILLED_OR_EMPTY = (
    "it is known whether the cavity is filled: look for the papers of a filling, or have the cavity looked into "
    "through a drilled hole"
)
ANSWERED = {
    "B030": "water pipes have moved to the warm side",
    "B031": "an engineer has looked at the flue or chimney breast",
    "B040": "the air line is closed",
}
"""Findings of grade stop that a person can settle, with what must then be true."""


def what_it_is_made_of(construction: Construction) -> tuple[str, ...]:
    """Return what must be known of a wall's construction before it is lined; nothing where that is decided."""
    if construction.verdict != "unknown":
        return ()
    sure = read_tables().rules["verdict_probability"]
    return (FILLED_OR_EMPTY if construction.family["cavity"] >= sure else SOLID_OR_CAVITY,)


def settled_by_findings(findings: Sequence[Finding]) -> tuple[str, ...]:
    """Return what must be true before the work, from the stops that a person can settle."""
    return tuple(ANSWERED[f.code] for f in findings if f.severity == "stop" and f.code in ANSWERED)
