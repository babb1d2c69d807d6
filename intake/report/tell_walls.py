"""Words about the walls as measured: summary, dimensions, construction, findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from intake.outcomes import FEATURE_KEYS, OPENING_KEYS, WALL_KEYS
from intake.report import reading
from intake.report.context import ConstructionEvidence, CueRow, DimensionRow, FindingRow, Verdict, WallSummary
from intake.report.words import (
    CONSTRUCTIONS,
    NBSP,
    NOT_MEASURED,
    SEVERITIES,
    VERDICT_ORDER,
    VERDICTS,
    bond_words,
    give_or_take,
    grouped,
    in_hundred,
    key_words,
    listing,
    name_of,
    plain,
    sentence,
    significant,
    span,
    to_figures,
    wall_length,
)
from intake.results import FeatureResult, FindingEntry, Geometry, OpeningResult, ValueSd, WallResult
from intake.survey import Survey, WallEntry


def verdict_of(key: str, *, because: str = "", conditions: tuple[str, ...] = ()) -> Verdict:
    """Return a verdict in its fixed wording; an unknown key counts as "Cannot say yet"."""
    key = key if key in VERDICTS else "cannot_say"
    symbol, words = VERDICTS[key]
    return Verdict(key=key, symbol=symbol, words=words, because=because, conditions=conditions)


def worst(keys: list[str]) -> str:
    """Return the worst of several verdicts."""
    return min(keys, key=VERDICT_ORDER.index) if keys else "cannot_say"


MISSING = {
    "thickness_mm": "not read at an open door or window, nor made up of its reveals and frame",
    "outer_reveal_mm": "not seen from outside and not typed",
    "reveal_depth_mm": "the back edges of the reveal are not marked",
    "net_area_m2": "a size of the wall or of an opening is missing",
    "gross_area_m2": "a size of the wall is missing",
}


def why_missing(findings: list[FindingEntry], *, wall: str, key: str, thing: str = "") -> str:
    """Return ``Not measured: why`` from the finding that names this place, else in general words."""
    for finding in findings:
        where = finding.where
        same_thing = thing in (where.get("opening"), where.get("feature")) if thing else "opening" not in where
        if where.get("wall") == wall and same_thing and where.get("key", "").split(".")[-1] == key:
            return f"{NOT_MEASURED}: {plain(finding.message)}"
    for finding in findings:
        where = finding.where
        if where.get("wall") == wall and finding.severity == "stop" and "key" not in where and "opening" not in where:
            return f"{NOT_MEASURED}: {plain(finding.message)}"
    return f"{NOT_MEASURED}: {MISSING.get(key, 'not marked and not taped')}."


def thickness_of(wall: WallResult) -> ValueSd | None:
    """Return the best known thickness of a wall."""
    known = [opening.thickness_mm for opening in wall.openings if opening.thickness_mm is not None]
    return min(known, key=lambda value: value.sd, default=None)


def wall_summary(
    wall: WallResult, entry: WallEntry | None, *, geometry: Geometry, estimate: reading.Data, verdict: Verdict
) -> WallSummary:
    """Return one wall for the householder."""
    findings = geometry.findings
    thickness = thickness_of(wall)
    taped = entry.taped.thickness_mm if entry is not None else None
    if thickness is None and taped is not None:
        thickness_words = f"{grouped(taped)}{NBSP}mm, taped"
    elif thickness is None:
        thickness_words = why_missing(findings, wall=wall.id, key="thickness_mm")
    else:
        thickness_words = give_or_take(thickness)
    construction = wall.construction
    made_of = CONSTRUCTIONS.get(construction.verdict, name_of(construction.verdict)) if construction else "not known"
    sure = ""
    if construction is not None:
        chance = construction.probability.get(construction.verdict)
        sure = in_hundred(chance) if chance is not None else _likeliest(construction.probability)
    return WallSummary(
        name=name_of(wall.id),
        verdict=verdict,
        width=_length(wall, "width_mm", findings),
        height=_length(wall, "height_mm", findings),
        area=give_or_take(wall.net_area_m2, "m²", finest=0.01),
        thickness=thickness_words,
        construction=made_of,
        how_sure=sure,
        follows=" ".join(
            sentence(line) for line in reading.texts(reading.wall_of(estimate, wall.id), "construction.follows")
        ),
        u_now=u_before_words(reading.wall_of(estimate, wall.id)),
    )


def _length(wall: WallResult, key: str, findings: list[FindingEntry]) -> str:
    """Return a wall's width or height in words; of an outline that nobody confirmed it says so."""
    measured: ValueSd | None = getattr(wall, key)
    if measured is None:
        return why_missing(findings, wall=wall.id, key=key)
    proposed = " (proposed, not confirmed: no size to order from)" if wall.status == "proposed" else ""
    return wall_length(measured) + proposed


def _likeliest(probability: Mapping[str, float]) -> str:
    if not probability:
        return ""
    name = max(probability, key=lambda key: probability[key])
    return f"likeliest {CONSTRUCTIONS.get(name, name_of(name))}, {in_hundred(probability[name])}"


def u_before_words(entry: reading.Data) -> str:
    """Return the two starting values of a wall in words."""
    heat = reading.heat_of(entry)
    calculated = reading.number(heat, "u_existing_calculated", "u_existing.from_calculated")
    measured = reading.number(heat, "u_existing_measured", "u_existing.from_measured")
    if calculated is None and measured is None:
        calculated = reading.number(entry, "u_existing.from_calculated", "u_existing.calculated")
        measured = reading.number(entry, "u_existing.from_measured", "u_existing.measured")
    if calculated is None or measured is None:
        return "not known"
    return (
        f"U {calculated:.2f}{NBSP}W/m²K as calculated, {measured:.2f} as such walls are measured to be"
        if abs(calculated - measured) >= 0.005
        else f"U {calculated:.2f}{NBSP}W/m²K"
    )


def dimension_rows(geometry: Geometry, survey: Survey) -> tuple[DimensionRow, ...]:
    """Return every measured length and area with its uncertainty and what limits it."""
    entries = {entry.id: entry for entry in survey.walls}
    rows: list[DimensionRow] = []
    for wall in geometry.walls:
        entry = entries.get(wall.id)
        name = name_of(wall.id)
        cause = _main_cause(wall)
        outside = entry is not None and entry.side == "outside"
        for key in WALL_KEYS:
            if outside and getattr(wall, key) is None:
                continue  # of an outer face only the reveals and the bricks are wanted
            taped = getattr(entry.taped, key, None) if entry is not None else None
            rows.append(_row(name, key, getattr(wall, key), taped, cause, geometry.findings, wall.id))
        things: list[OpeningResult | FeatureResult] = [*wall.openings, *wall.features]
        for thing in things:
            told = list(_thing_rows(name, thing, entry, cause, geometry.findings, wall.id))
            rows += [_from_outside(row) for row in told if row.sd != "none"] if outside else told
    return tuple(rows)


def _from_outside(row: DimensionRow) -> DimensionRow:
    """Return a row of an outer face, whose reveal runs from the frame to the brick."""
    inner = row.what == key_words("reveal_depth_mm")
    return replace(row, what=key_words("outer_reveal_mm")) if inner else row


def _thing_rows(
    wall_name: str,
    thing: OpeningResult | FeatureResult,
    entry: WallEntry | None,
    cause: str,
    findings: list[FindingEntry],
    wall_id: str,
) -> Iterator[DimensionRow]:
    keys = OPENING_KEYS if isinstance(thing, OpeningResult) else FEATURE_KEYS
    declared: list[Any] = [*entry.openings, *entry.features] if entry is not None else []
    said = next((item.taped for item in declared if item.id == thing.id), None)
    for key in keys:
        taped = getattr(said, key, None) if said is not None else None
        place = f"{wall_name}, {name_of(thing.kind)} {name_of(thing.id)}"
        yield _row(place, key, getattr(thing, key), taped, cause, findings, wall_id, thing.id)


def _row(
    place: str,
    key: str,
    measured: ValueSd | None,
    taped: float | None,
    cause: str,
    findings: list[FindingEntry],
    wall: str,
    thing: str = "",
) -> DimensionRow:
    unit, finest = ("m²", 0.01) if key.endswith("_m2") else ("mm", 1.0)
    if measured is None:
        why = why_missing(findings, wall=wall, key=key, thing=thing)
        return DimensionRow(place=place, what=key_words(key), value=why, sd="none", cause="")
    told = f"taped {grouped(taped)}, joined with the photos" if taped is not None else cause
    return DimensionRow(
        place=place,
        what=key_words(key),
        value=give_or_take(measured, unit, finest=finest),
        sd=f"{significant(measured.sd)}{NBSP}{unit}",
        cause=told,
    )


def _main_cause(wall: WallResult) -> str:
    if not wall.limits:
        return "taped only" if wall.status == "taped" else ""
    main = max(wall.limits, key=lambda cause: cause.share)
    return f"mostly {plain(main.source)}"


def construction_evidence(geometry: Geometry, estimate: reading.Data) -> tuple[ConstructionEvidence, ...]:
    """Return, for each wall that was judged, what spoke for its construction."""
    told: list[ConstructionEvidence] = []
    for wall in geometry.walls:
        judged = wall.construction
        if judged is None:
            continue
        ordered = sorted(judged.probability.items(), key=lambda pair: -pair[1])
        chance = judged.probability.get(judged.verdict)
        sure = f", {in_hundred(chance)}" if chance is not None else ""
        words = CONSTRUCTIONS.get(judged.verdict, name_of(judged.verdict))
        extra = judged.model_dump() | dict(reading.find(reading.wall_of(estimate, wall.id), "construction") or {})
        told.append(
            ConstructionEvidence(
                wall=name_of(wall.id),
                verdict=sentence(f"Judged: {words}{sure}"),
                probabilities=tuple(
                    f"{CONSTRUCTIONS.get(key, name_of(key))}: {in_hundred(value)}"
                    for key, value in ordered
                    if value >= 0.005
                ),
                cues=tuple(_cue(cue) for cue in reading.items(extra, "cues") or judged.cues),
                settle=_settle(extra, decided=judged.verdict != "unknown"),
                follows=" ".join(sentence(line) for line in reading.texts(extra, "follows")),
            )
        )
    return tuple(told)


def _settle(judged: Mapping[str, Any], *, decided: bool) -> str:
    lines = reading.texts(judged, "settle")
    if lines:
        return " ".join(sentence(line) for line in lines)
    if decided:
        return "Only drilling or a borescope proves it."
    return "Not settled: measure the whole thickness at an open door, and photograph the brickwork outside."


def _cue(cue: Mapping[str, Any]) -> CueRow:
    kind = str(cue.get("kind", "cue"))
    found: list[str] = []
    thickness = reading.value_sd(cue, "value_mm", "thickness_mm")
    if thickness is not None:
        found.append(give_or_take(thickness))
    if cue.get("bond"):
        found.append(f"{bond_words(str(cue['bond']))} in {plain(cue.get('photo', 'a photo'))}")
    course = reading.value_sd(cue, "course_height_mm")
    if course is not None:
        found.append(f"courses {give_or_take(course, finest=0.1)}")
    share = reading.value_sd(cue, "header_share")
    if share is not None:
        found.append(f"headers {round(100 * share.value)} in 100 bricks, give or take {max(1, round(200 * share.sd))}")
    if cue.get("built") is not None:
        found.append(f"built {cue['built']}")
    if not found:
        found.append(plain(reading.text(cue, "words", "answer", "value", "said", "found")) or "as answered")
    speaks = reading.text(cue, "speaks_for")
    factor = reading.number(cue, "factor")
    told = CONSTRUCTIONS.get(speaks, name_of(speaks)) if speaks else ""
    if told and factor is not None and factor > 1.05:
        told += f" ({significant(factor)} times likelier)"
    elif told and factor is not None:
        told += " (hardly changes the odds)"
    if not told and isinstance(cue.get("probability"), Mapping) and cue["probability"]:
        best = max(cue["probability"].items(), key=lambda pair: float(pair[1]))
        told = f"{name_of(str(best[0]))}, {in_hundred(float(best[1]))}"
    return CueRow(cue=sentence(name_of(kind)).rstrip("."), found=", ".join(found), speaks_for=told)


def _place_words(key: str, value: str) -> str:
    """Return one part of where a finding is: files as they are called, lengths by their words, names as names."""
    return plain(value) if key in ("photo", "file") else key_words(value) if key == "key" else name_of(value)


def finding_rows(entries: list[FindingEntry]) -> tuple[FindingRow, ...]:
    """Return the findings, worst first, without repeats."""
    rank = {"stop": 0, "warn": 1, "note": 2}
    seen: set[tuple[str, str, str]] = set()
    rows: list[FindingRow] = []
    for entry in sorted(entries, key=lambda item: (rank[item.severity], item.code)):
        where = listing(list(dict.fromkeys(_place_words(key, value) for key, value in entry.where.items())))
        key = (entry.code, where, entry.message)
        if key in seen:
            continue
        seen.add(key)
        symbol, word = SEVERITIES[entry.severity]
        rows.append(
            FindingRow(
                symbol=symbol,
                severity=word,
                code=entry.code,
                where=where or "the survey",
                message=plain(entry.message),
                remedy=plain(entry.remedy),
            )
        )
    return tuple(rows)


def pounds(pair: tuple[float, float] | None) -> str:
    """Return a range of pounds, rounded to two figures, or nothing."""
    if pair is None:
        return ""
    low, high = (to_figures(value) for value in pair)
    return f"£{span(low, high)}"
