"""From a wall case to the cues of the construction network: what may be used, what is set aside, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, sqrt

import numpy as np

from estimator.construction_network import (
    FAMILY,
    Cue,
    age_likelihood,
    answer_likelihood,
    bond_likelihood,
    looked_likelihood,
    rendered_likelihood,
    reveal_likelihood,
    tap_likelihood,
    thickness_likelihood,
)
from estimator.construction_tables import VERDICTS, WindowType, read_tables
from estimator.inputs import BondReading, WallCase
from estimator.rdsap import band_years
from vision.findings import Finding
from vision.walls import BONDS, DeclaredOpening, Measured, MeasuredOpening

_YES = {"yes", "true", "y", "1", "found", "rendered", "hollow", "holes"}
_NO = {"no", "false", "n", "0", "none", "plain", "brick", "solid"}
_TYPED_SD_MM = 3.0
_TAPED_SD_MM = 3.0
OVERLAP_MM = (85.0, 160.0)
"""Inner reveals that solid and cavity walls share (regression: from the ranges of the window and type tables)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The cues of one wall. ``blocked`` when something forbids any verdict from them."""

    cues: tuple[Cue, ...]
    thickness_mm: Measured | None
    rendered: bool | None
    blocked: bool
    findings: tuple[Finding, ...]


def gather_evidence(case: WallCase) -> Evidence:
    """Return the cues that the wall's sizes, bonds, age and answers give, with findings on what was set aside."""
    findings: list[Finding] = []
    answers = _Answers(case, findings)
    cues: list[Cue] = []
    record: dict[str, object]
    thickness = whole_thickness(case, findings)
    if thickness is not None:
        record = {"kind": "thickness", "value_mm": as_record(thickness)}
        cues.append(Cue(kind="thickness", record=record, likelihood=thickness_likelihood(thickness)))
    else:
        cues += _reveal_cues(case, answers, findings)
    cues += _bond_cues(case.bonds)
    cues += _age_cues(case, answers, findings)
    rendered = answers.yes_no("render")
    if rendered is not None:
        record = {"kind": "render", "rendered": rendered}
        cues.append(Cue(kind="render", record=record, likelihood=rendered_likelihood(rendered)))
    hollow = answers.yes_no("tap")
    if hollow is not None:
        cues.append(Cue(kind="tap", record={"kind": "tap", "hollow": hollow}, likelihood=tap_likelihood(hollow)))
    for question in ("drilling_found", "fill_certificate"):
        yes = answers.yes_no(question)
        if yes is not None:
            record = {"kind": question, "answer": "yes" if yes else "no"}
            cues.append(Cue(kind=question, record=record, likelihood=answer_likelihood(question, yes)))
    cues += _looked_cues(answers)
    bay = answers.yes_no("bay_panel") is True
    if bay:
        findings.append(_bay(case.measured.id))
    return Evidence(cues=tuple(cues), thickness_mm=thickness, rendered=rendered, blocked=bay, findings=tuple(findings))


def as_record(measured: Measured) -> dict[str, float]:
    """Return a measured value as it is written to the results."""
    return {"value": round(measured.value, 2), "sd": round(measured.sd, 2)}


class _Answers:
    """The person's answers about this wall, read leniently; what is not understood becomes a finding."""

    def __init__(self, case: WallCase, findings: list[Finding]) -> None:
        self.extra: Mapping[str, object] = case.site.extra
        self.wall = case.measured.id
        self.findings = findings

    def word(self, key: str) -> str | None:
        value = self.extra.get(key)
        if value is None or str(value).strip().lower() in ("", "unknown", "not sure", "none given"):
            return None
        return str(value).strip().lower()

    def yes_no(self, key: str) -> bool | None:
        word = self.word(key)
        if word is None:
            return None
        if word in _YES or word in _NO:
            return word in _YES
        self.not_understood(key, word, "yes, no or unknown")
        return None

    def number(self, key: str) -> int | None:
        word = self.word(key)
        if word is None:
            return None
        try:
            return int(float(word))
        except ValueError:
            self.not_understood(key, word, "a year such as 1975")
            return None

    def not_understood(self, key: str, word: str, known: str) -> None:
        self.findings.append(
            Finding(
                code="C006",
                severity="warn",
                message=f'Wall {self.wall}: the answer "{word}" to {key} is not understood and was left out.',
                remedy=f"Answer {key} with {known}.",
                where={"wall": self.wall, "key": key},
            )
        )


def _usable(measured: Measured | None) -> Measured | None:
    if measured is None or not isfinite(measured.value) or measured.value < 0 or not isfinite(measured.sd):
        return None
    return measured


def whole_thickness(case: WallCase, findings: list[Finding]) -> Measured | None:
    """Return the wall's whole thickness: taped, read at an edge, or reveal + frame + outer reveal; None if none has it.

    Openings that disagree by more than their uncertainty give a finding and a wider uncertainty.
    """
    taped = case.declared.taped.get("thickness_mm")
    if taped is not None and taped > 0:
        return Measured(value=float(taped), sd=_TAPED_SD_MM)
    if case.measured.thickness_mm is not None:
        return case.measured.thickness_mm
    declared = {opening.id: opening for opening in case.declared.openings}
    found: dict[str, Measured] = {}
    for opening in case.measured.openings:
        thickness = _opening_thickness(opening, declared.get(opening.id))
        if thickness is not None:
            found[opening.id] = thickness
    if not found:
        return None
    values = np.array([m.value for m in found.values()], dtype=float)
    sds = np.array([max(m.sd, 0.5) for m in found.values()], dtype=float)
    weights = sds**-2 / (sds**-2).sum()
    mean = float(values @ weights)
    spread = float(np.max(values) - np.min(values))
    limit = 3.0 * sqrt(float(np.sum(np.sort(sds**2)[-2:])))
    if len(values) > 1 and spread > max(limit, 15.0):
        each = ", ".join(f"{name} {m.value:.0f}" for name, m in found.items())
        findings.append(
            Finding(
                code="C004",
                severity="warn",
                message=f"Wall {case.measured.id}: its openings give different thicknesses ({each} mm).",
                remedy="Measure again; if they stand, the wall is of two constructions: judge each part by itself.",
                where={"wall": case.measured.id, "key": "thickness_mm"},
            )
        )
        return Measured(value=mean, sd=spread / 2.0)
    return Measured(value=mean, sd=float(sds.min()))


def _opening_thickness(opening: MeasuredOpening, declared: DeclaredOpening | None) -> Measured | None:
    taped = declared.taped.get("thickness_mm") if declared is not None else None
    if taped is not None and taped > 0:
        return Measured(value=float(taped), sd=_TAPED_SD_MM)
    direct = _usable(opening.thickness_mm)
    if direct is not None and direct.value > 0:
        return direct
    reveal, frame, outer = _parts(opening, declared)
    if reveal is None or frame is None or outer is None:
        return None
    overlap = read_tables().rules["frame_overlap_sd_mm"]
    sd = sqrt(reveal.sd**2 + frame.sd**2 + outer.sd**2 + overlap**2)
    return Measured(value=reveal.value + frame.value + outer.value, sd=sd)


def _parts(
    opening: MeasuredOpening, declared: DeclaredOpening | None
) -> tuple[Measured | None, Measured | None, Measured | None]:
    """Return inner reveal, frame depth and outer reveal, each measured or typed or None."""
    frame = opening.frame_mm if opening.frame_mm is not None else (declared.frame_mm if declared else None)
    outer = _usable(opening.outer_reveal_mm)
    if outer is None and declared is not None and declared.outer_reveal_mm is not None:
        outer = Measured(value=declared.outer_reveal_mm, sd=_TYPED_SD_MM)
    typed_frame = Measured(value=frame, sd=_TYPED_SD_MM) if frame is not None and frame > 0 else None
    return _usable(opening.reveal_depth_mm), typed_frame, outer


def _reveal_cues(case: WallCase, answers: _Answers, findings: list[Finding]) -> list[Cue]:
    """Return the inner reveal as a cue: the opening of which most is known; its missing parts drawn from ranges."""
    declared = {opening.id: opening for opening in case.declared.openings}
    candidates = []
    for opening in case.measured.openings:
        reveal, frame, outer = _parts(opening, declared.get(opening.id))
        if reveal is not None:
            candidates.append(
                ((frame is not None) + 2 * (outer is not None), -reveal.sd, opening.id, reveal, frame, outer)
            )
    if not candidates:
        return []
    for key, words in (("splayed_reveals", "splayed or shuttered reveals"), ("secondary_glazing", "secondary glazing")):
        if answers.yes_no(key):
            findings.append(_reveal_aside(case.measured.id, words))
            return []
    _, _, name, reveal, frame, outer = max(candidates, key=lambda c: (c[0], c[1]))
    likelihood = reveal_likelihood(reveal, frame_mm=frame, outer_reveal_mm=outer, windows=_windows(answers))
    record: dict[str, object] = {"kind": "reveal", "opening": name, "value_mm": as_record(reveal)}
    if outer is None and OVERLAP_MM[0] - reveal.sd <= reveal.value <= OVERLAP_MM[1] + reveal.sd:
        findings.append(_overlap(case.measured.id, name, reveal))
        record["in_overlap"] = True
    return [Cue(kind="reveal", record=record, likelihood=likelihood)]


def _windows(answers: _Answers) -> Sequence[WindowType] | None:
    word = answers.word("window_type")
    if word is None:
        return None
    windows = read_tables().windows
    chosen = [window for window in windows if window.name == word.replace(" ", "_").replace("-", "_")]
    if not chosen:
        answers.not_understood("window_type", word, ", ".join(window.name for window in windows))
        return None
    return chosen


def _overlap(wall: str, opening: str, reveal: Measured) -> Finding:
    return Finding(
        code="C008",
        severity="note",
        message=(
            f"Wall {wall}, {opening}: an inner reveal of {reveal.value:.0f} mm is found in solid and in cavity walls "
            f"({OVERLAP_MM[0]:.0f} to {OVERLAP_MM[1]:.0f} mm), so it says little by itself."
        ),
        remedy="Measure the outer reveal and the frame's depth, or the whole thickness at an open door or casement.",
        where={"wall": wall, "opening": opening, "key": "reveal_depth_mm"},
    )


def _reveal_aside(wall: str, words: str) -> Finding:
    return Finding(
        code="C005",
        severity="note",
        message=f"Wall {wall}: {words} hide the true reveal, so it was not used to tell the construction.",
        remedy="Measure the whole thickness at an open door or casement.",
        where={"wall": wall, "key": "reveal_depth_mm"},
    )


def _bay(wall: str) -> Finding:
    return Finding(
        code="C011",
        severity="warn",
        message=f"Wall {wall} is a bay panel: these are often half-brick or timber whatever the house is built of.",
        remedy="Judge the bay by itself: have a professional open it up or look with a borescope.",
        where={"wall": wall, "key": "construction"},
    )


def _bond_cues(bonds: Sequence[BondReading]) -> list[Cue]:
    """Return one cue from all bond readings of the wall: photos of one wall are not independent: averaged."""
    if not bonds:
        return []
    legible = [b for b in bonds if b.bond != "none_to_read"] or list(bonds)
    mean = {bond: float(np.mean([b.probability.get(bond, 0.0) for b in legible])) for bond in BONDS}
    best = max(legible, key=lambda b: b.probability.get(b.bond, 0.0))
    record: dict[str, object] = {
        "kind": "bond",
        "photo": best.photo,
        "bond": max(mean, key=lambda bond: mean[bond]),
        "probability": {bond: round(p, 4) for bond, p in mean.items()},
        "course_height_mm": as_record(best.course_height_mm) if best.course_height_mm else None,
        "header_share": {"value": round(best.header_share.value, 4), "sd": round(best.header_share.sd, 4)}
        if best.header_share
        else None,
    }
    return [Cue(kind="bond", record=record, likelihood=bond_likelihood(mean, best.course_height_mm))]


def _age_cues(case: WallCase, answers: _Answers, findings: list[Finding]) -> list[Cue]:
    built = case.declared.built
    span = (built, built) if built is not None else None
    band = answers.word("built_band")
    if span is None and band is not None:
        span = band_years(band, nation=case.site.nation)
        if span is None:
            answers.not_understood("built_band", band, "an RdSAP band letter (A to M) or years such as 1930-1949")
    if answers.yes_no("extension"):
        own = answers.number("extension_built")
        if own is None and span is not None:
            findings.append(_extension(case.measured.id, span[0]))
            span = (span[0], 2025)
        elif own is not None:
            built, span = own, (own, own)
    if span is None:
        return []
    record: dict[str, object] = {"kind": "age", "built": built, "years": list(span)}
    return [Cue(kind="age", record=record, likelihood=age_likelihood(*span))]


def _extension(wall: str, built: int) -> Finding:
    return Finding(
        code="C010",
        severity="note",
        message=f"Wall {wall} belongs to an extension whose own year is not given; {built} is the house's.",
        remedy="Give the extension's year under extension_built.",
        where={"wall": wall, "key": "extension_built"},
    )


def _looked_cues(answers: _Answers) -> list[Cue]:
    word = answers.word("looked_inside")
    if word is None:
        return []
    seen = word.replace(" ", "_").replace("-", "_")
    known = (*VERDICTS, *(f for f in dict.fromkeys(FAMILY.values()) if f not in VERDICTS))
    if seen not in known:
        answers.not_understood("looked_inside", word, ", ".join(known))
        return []
    record = {"kind": "looked_inside", "seen": seen}
    return [Cue(kind="looked_inside", record=record, likelihood=looked_likelihood(seen))]
