"""Solid or cavity: what one wall is made of, how sure that is, what would settle it, and what follows.

Thickness, bond, age and the person's answers are brought together by a small Bayesian network whose tables stand in
``estimator/data/construction``. Nothing here replaces a drilled hole or a borescope, the only proof.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from estimator.construction_evidence import Evidence, gather_evidence
from estimator.construction_network import (
    Cue,
    age_likelihood,
    answer_likelihood,
    bond_likelihood,
    by_family,
    decide,
    posterior,
    support,
    thickness_likelihood,
)
from estimator.construction_tables import read_tables
from estimator.inputs import WallCase
from vision.findings import Finding, worst_first
from vision.walls import BONDS, FloatArray, Measured

WORDS = {
    "solid_brick": "solid brick, one brick (9 inches) thick",
    "solid_brick_thick": "solid brick, 13 inches or more",
    "cavity_empty": "a cavity wall with nothing in the cavity",
    "cavity_filled": "a cavity wall with insulation in the cavity",
    "half_brick": "a half-brick wall",
    "stone": "stone",
    "timber_frame": "timber frame",
    "other": "another construction (concrete, system, cob or rat-trap bond)",
    "unknown": "not known",
}
FAMILY_WORDS = {"solid": "a solid brick wall", "cavity": "a cavity wall"} | {
    name: WORDS[name] for name in ("half_brick", "stone", "timber_frame", "other")
}
_PROOF_WORDS = (
    "A drilled hole or a borescope, by a professional who has checked for cables, pipes and suspect coatings, "
    "is the only proof."
)
_FOLLOWS = {
    "solid_brick": (
        "Insulation can go on the inside or the outside. Inside, the wall becomes colder and dries more slowly: "
        "driving rain, damp, joist ends and open joints must be answered first."
    ),
    "solid_brick_thick": (
        "Insulation can go on the inside or the outside. A thick wall loses less heat than a thin one, so the saving "
        "is smaller; driving rain, damp and built-in joist ends must be answered first."
    ),
    "cavity_empty": (
        "Filling the cavity comes first, if the wall suits it: a professional surveys it for exposure, debris and "
        "damp, and does the filling. Line the inside only if it cannot be filled or is still not enough."
    ),
    "cavity_filled": (
        "The wall is already insulated: ask whether lining is needed at all. A cold or damp patch in a filled wall "
        "is a fault for a professional to find (missing or wet fill, a thermal bridge), not a reason to line it."
    ),
    "half_brick": (
        "Rain can come through half a brick, so a lining may sit on a wet wall, and the wall may be a bay panel "
        "or an outhouse. Have a professional look before anything is lined."
    ),
    "stone": (
        "A stone wall is traditional construction: it has a core, holds moisture and needs to dry. Have a professional "
        "who knows such walls design the insulation."
    ),
    "timber_frame": (
        "A timber frame holds its insulation between the studs and relies on a layer that stops vapour. Lining it can "
        "rot the frame: have a professional look, and never drill or fill its cavity as if it were brick."
    ),
    "other": (
        "This is a system, concrete, earth or rat-trap wall, with hidden weak points. Have a professional who "
        "knows the type look before anything is planned. A rat-trap wall has a void but is no cavity wall to be filled."
    ),
    "unknown": (
        "Nothing should be ordered until the wall's construction is known: a cavity is filled first, a solid wall "
        "raises moisture questions, and a timber frame must not be treated as either."
    ),
}
_CAVITY_FOLLOWS = (
    "It is a cavity wall, but whether the cavity is filled is not known. Empty: have a professional fill it first. "
    "Filled: ask whether lining is needed at all. Do not order boards before this is answered."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Construction:
    """The construction of one wall.

    Parameters
    ----------
    verdict
        One of ``solid_brick``, ``solid_brick_thick``, ``cavity_empty``, ``cavity_filled``, ``half_brick``, ``stone``,
        ``timber_frame``, ``other``, ``unknown``.
    probability
        Over the verdicts without ``unknown``; they add to one.
    family
        Over ``solid``, ``cavity``, ``half_brick``, ``stone``, ``timber_frame``, ``other``.
    likeliest
        The likeliest verdict, also where the verdict is ``unknown``.
    thickness_mm
        The whole thickness used, or None.
    cues
        What was brought together, one mapping a cue, ready for JSON; ``speaks_for`` is the likeliest reading and
        ``factor`` by how much the cue raises its odds.
    settle
        What single photo or check would settle it, in words.
    follows
        What follows from the verdict, in words.
    """

    verdict: str
    probability: Mapping[str, float]
    family: Mapping[str, float]
    likeliest: str
    thickness_mm: Measured | None
    cues: tuple[Mapping[str, object], ...]
    settle: str
    follows: str
    findings: tuple[Finding, ...] = ()


def judge_construction(case: WallCase) -> Construction:
    """Return the construction of one wall with its probability, cues and what follows.

    Parameters
    ----------
    case
        The wall as measured (openings: ``reveal_depth_mm``, ``outer_reveal_mm``, ``thickness_mm``) and declared
        (``built``, typed sizes), its site answers and bond readings. Answers read from ``case.site.extra``:
        ``render``, ``extension``, ``extension_built``, ``built_band``, ``window_type``, ``drilling_found``,
        ``fill_certificate``, ``looked_inside``, ``tap``, ``bay_panel``, ``secondary_glazing``, ``splayed_reveals``.

    Returns
    -------
    Construction
        ``unknown`` unless one verdict has at least 0.9 and two independent cues speak for it.

    Notes
    -----
    Not modelled: cladding, a wall of two constructions, and errors shared by thickness and bond.
    """
    evidence = gather_evidence(case)
    verdict, probability, speaking = decide(evidence.cues)
    if evidence.blocked:
        verdict = "unknown"
    family = by_family(probability)
    likeliest = max(probability, key=lambda name: probability[name])
    findings = list(evidence.findings)
    findings += _contradictions(evidence, case.measured.id)
    settle = settling_check(evidence, verdict=verdict, family=family)
    if verdict == "unknown":
        findings.append(_unknown(case.measured.id, likeliest, probability, family, settle))
    return Construction(
        verdict=verdict,
        probability=probability,
        family=family,
        likeliest=likeliest,
        thickness_mm=evidence.thickness_mm,
        cues=_cue_records(evidence.cues, likeliest, speaking),
        settle=settle,
        follows=_follows(verdict, family),
        findings=tuple(worst_first(findings)),
    )


def _follows(verdict: str, family: Mapping[str, float]) -> str:
    if verdict == "unknown" and family["cavity"] >= read_tables().rules["verdict_probability"]:
        return _CAVITY_FOLLOWS
    return _FOLLOWS[verdict]


def _cue_records(cues: Sequence[Cue], likeliest: str, speaking: Sequence[Cue]) -> tuple[Mapping[str, object], ...]:
    return tuple(
        {
            **cue.record,
            "speaks_for": likeliest if any(cue is one for one in speaking) else None,
            "factor": round(support(cue, likeliest), 2),
        }
        for cue in cues
    )


def _contradictions(evidence: Evidence, wall: str) -> list[Finding]:
    """Name two cues that each speak strongly for another family."""
    strong: dict[str, str] = {}
    for cue in evidence.cues:
        if cue.kind in ("age", "render", "tap"):
            continue
        _, alone, _ = decide([cue])
        probability = by_family(alone)
        best = max(probability, key=lambda name: probability[name])
        if probability[best] >= 0.7:
            strong.setdefault(best, cue.kind)
    if len(strong) < 2:
        return []
    readings = " but ".join(f"{kind.replace('_', ' ')} says {FAMILY_WORDS[name]}" for name, kind in strong.items())
    return [
        Finding(
            code="C003",
            severity="warn",
            message=f"Wall {wall}: the cues contradict each other: {readings}.",
            remedy="The wall may be mixed, refaced or an early cavity wall with cut bricks: ask a professional.",
            where={"wall": wall, "key": "construction"},
        )
    ]


def _unknown(
    wall: str, likeliest: str, probability: Mapping[str, float], family: Mapping[str, float], settle: str
) -> Finding:
    where = {"wall": wall, "key": "construction"}
    best = max(family, key=lambda name: family[name])
    if family["cavity"] >= read_tables().rules["verdict_probability"]:
        message = (
            f"Wall {wall}: a cavity wall ({family['cavity']:.2f}), but whether the cavity is filled is not known "
            f"(filled {probability['cavity_filled']:.2f}, empty {probability['cavity_empty']:.2f})."
        )
        return Finding(code="C002", severity="warn", message=message, remedy=settle, where=where)
    message = (
        f"Wall {wall}: the construction is not known; {FAMILY_WORDS[best]} is the likeliest ({family[best]:.2f}), "
        f"and a verdict needs 0.90 and two independent cues."
    )
    return Finding(code="C001", severity="warn", message=message, remedy=settle, where=where)


_CHECKS = {
    "thickness": (
        "Open an outside door or casement in this wall, hold a rule across the wall's whole thickness and photograph "
        "the edge; where none opens, photograph the same window from outside with a survey sheet beside it"
    ),
    "bond": "Photograph about ten courses of the bare brick outside, square on, with a rule or survey sheet on it",
    "age": "Find the year this part of the house was built (deeds, old maps, neighbours)",
    "drilling_found": (
        "Look at the outside face for a pattern of plugged holes, about 25 mm across, over the whole wall "
        "(a single row near the ground is a damp course, not fill)"
    ),
}


def settling_check(evidence: Evidence, *, verdict: str, family: Mapping[str, float]) -> str:
    """Return the one photo or check that is most likely to settle the verdict, in words.

    Each check's outcomes are tried with their probability under what is known now; the check with the highest chance
    of a verdict is named with that chance. Where none has an even chance, only opening the wall up is.
    """
    if verdict != "unknown":
        return "Nothing more is needed to plan. " + _PROOF_WORDS
    chances = {kind: _chance(evidence, kind) for kind in _CHECKS if _open_check(evidence, kind, family)}
    if not chances or evidence.blocked:
        return _PROOF_WORDS
    best = max(chances, key=lambda kind: chances[kind])
    if chances[best] < 0.25:
        first = f"{_CHECKS[best]}: that narrows it, but no photo is likely to settle it. "
        return first + _PROOF_WORDS
    return f"{_CHECKS[best]}: that would settle it with a chance of {_tenths(chances[best])} in 10. {_PROOF_WORDS}"


def _tenths(chance: float) -> str:
    return f"about {min(max(round(10 * chance), 1), 9)}"


def _open_check(evidence: Evidence, kind: str, family: Mapping[str, float]) -> bool:
    """Return whether a check would bring something that is not there yet."""
    if kind == "drilling_found" and family["cavity"] < 0.5:
        return False
    if kind == "thickness":
        return evidence.thickness_mm is None or evidence.thickness_mm.sd > 6.0
    if kind == "bond" and evidence.rendered:
        return False
    return all(cue.kind != kind for cue in evidence.cues)


def _chance(evidence: Evidence, kind: str) -> float:
    """Return the probability that the outcome of a check leads to a verdict."""
    dropped = {"thickness": ("thickness", "reveal")}.get(kind, ())
    kept = [cue for cue in evidence.cues if cue.kind not in dropped]
    now = posterior(evidence.cues)
    chance, total = 0.0, 0.0
    for likelihood in _outcomes(kind):
        p = float((now * likelihood).sum())
        total += p
        if p < 1e-4:
            continue
        verdict, _, _ = decide([*kept, Cue(kind=kind, record={}, likelihood=likelihood)])
        chance += p * (verdict != "unknown")
    return chance / total


def _outcomes(kind: str) -> list[FloatArray]:
    """Return the likelihood of each outcome that a check may have, on one scale."""
    tables = read_tables()
    if kind == "thickness":
        sd = tables.rules["reading_sd_mm"]
        return [thickness_likelihood(Measured(value=float(t), sd=sd)) for t in np.arange(90.0, 660.0, 10.0)]
    if kind == "bond":
        return [bond_likelihood({bond: 1.0}) for bond in BONDS]
    if kind == "age":
        return [age_likelihood(b.first_year, b.last_year) * b.stock_share for b in tables.ages]
    return [answer_likelihood(kind, True), answer_likelihood(kind, False)]
