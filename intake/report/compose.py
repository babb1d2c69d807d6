"""Composing the report: from the survey, the geometry and the estimate to the one context that is set."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from intake.report import reading
from intake.report.chart_figures import charts
from intake.report.context import Report, SourceRow, Verdict
from intake.report.figures import drawings, is_inside
from intake.report.pictures import photo_entries
from intake.report.reading import Data
from intake.report.sources import reproduce_rows, source_rows
from intake.report.tell_estimate import (
    cautions,
    first_condition,
    fixing_notes,
    knock_on,
    moisture,
    sequence,
    survey_verdict,
    wall_verdict,
)
from intake.report.tell_options import board_choices, wall_options
from intake.report.tell_order import (
    bill_note,
    bill_rows,
    carrying,
    order_note,
    order_rows,
    tape_note,
    tape_rows,
    waste,
)
from intake.report.tell_photos import brick_pictures, photo_evidence, rectified_walls
from intake.report.tell_walls import construction_evidence, dimension_rows, finding_rows, verdict_of, wall_summary
from intake.report.words import FOOTER, LOCAL_FIRST, TITLE_LIMIT, listing, name_of, plain, sentence
from intake.results import FindingEntry, Geometry, WallResult
from intake.survey import Survey

COVERAGE_WORDS = "Give or take: 19 times in 20 the true length lies this close (two standard uncertainties)."


def compose(folder: Path, *, survey: Survey, geometry: Geometry, estimate: Data, made_on: date) -> Report:
    """Return all that the report shows.

    Parameters
    ----------
    folder
        The survey folder, for its photos and the straightened walls.
    survey, geometry, estimate
        What was said, measured and estimated; the estimate may be empty.
    made_on
        The day to print.
    """
    entries = {entry.id: entry for entry in survey.walls}
    inside = [wall for wall in geometry.walls if is_inside(entries.get(wall.id))]
    lined = [wall for wall in inside if wall.id not in entries or entries[wall.id].line]
    verdicts = {wall.id: _verdict(wall, estimate) for wall in inside}
    whole = survey_verdict({wall.id: verdicts[wall.id] for wall in lined})
    findings = all_findings(geometry, estimate)
    tape = tape_rows(estimate, geometry)
    told_moisture = [moisture(estimate, wall) for wall in lined]
    return Report(
        title=plain(survey.title or folder.resolve().name, limit=TITLE_LIMIT),
        rooms_and_walls=_rooms_and_walls(survey, [wall.id for wall in inside]),
        made_on=f"Made on {made_on.day} {made_on:%B %Y}.",
        verdict=whole,
        next_step=sentence(next_step(whole, bool(tape), findings, first_condition(estimate, [w.id for w in lined]))),
        walls=tuple(
            wall_summary(
                wall,
                entries.get(wall.id),
                geometry=geometry,
                estimate=estimate,
                verdict=_own(verdicts[wall.id], entries.get(wall.id)),
            )
            for wall in inside
        ),
        boards=board_choices([(wall.id, reading.wall_of(estimate, wall.id)) for wall in lined]),
        options=tuple(wall_options(wall.id, reading.wall_of(estimate, wall.id)) for wall in lined),
        order=order_rows(estimate),
        order_note=order_note(estimate, geometry, whole),
        tape=tape,
        tape_note=tape_note(tape),
        cautions=cautions(estimate),
        drawings=drawings(geometry, survey, estimate),
        charts=charts(geometry, survey, estimate),
        bill=bill_rows(estimate),
        bill_note=bill_note(estimate),
        carrying=carrying(estimate),
        waste=waste(estimate),
        fixing_notes=fixing_notes(estimate),
        knock_on=knock_on(estimate),
        sequence=sequence(estimate),
        moisture=tuple(told for told in told_moisture if told is not None),
        photos=tuple(photo_evidence(folder, entry, geometry, survey) for entry in photo_entries(survey, geometry)),
        brickwork=brick_pictures(folder, geometry),
        rectified=rectified_walls(folder, geometry),
        dimensions=dimension_rows(geometry, survey),
        construction=construction_evidence(geometry, estimate),
        sources=source_rows(survey, estimate),
        findings=finding_rows(findings),
        reproduce=reproduce_rows(geometry, estimate),
        coverage=COVERAGE_WORDS,
        local_first=LOCAL_FIRST,
        footer=FOOTER,
    )


def _verdict(wall: WallResult, estimate: Data) -> Verdict:
    """Return the verdict on a wall; on an outline that nobody has confirmed there is none."""
    if wall.status == "proposed":
        return verdict_of("cannot_say", because="Its outline was found without a person: confirm its corners first.")
    return wall_verdict(reading.wall_of(estimate, wall.id))


def _own(verdict: Verdict, entry: object) -> Verdict:
    if entry is None or getattr(entry, "line", True):
        return verdict
    return Verdict(key="cannot_say", symbol="–", words="Not to be lined.", because="", conditions=())


def all_findings(geometry: Geometry, estimate: Data) -> list[FindingEntry]:
    """Return the findings of measurement and estimate together."""
    found = list(geometry.findings)
    for entry in reading.items(estimate, "findings"):
        severity = reading.text(entry, "severity")
        found.append(
            FindingEntry(
                code=reading.text(entry, "code") or "?",
                severity=severity if severity in ("stop", "warn", "note") else "note",
                where=_places(reading.find(entry, "where")),
                message=reading.text(entry, "message"),
                remedy=reading.text(entry, "remedy"),
            )
        )
    return found


def _places(where: object) -> dict[str, str]:
    return {str(key): str(value) for key, value in where.items()} if isinstance(where, dict) else {}


def next_step(verdict: Verdict, has_tape: bool, findings: list[FindingEntry], about_condition: str) -> str:
    """Return the one next thing to do.

    Parameters
    ----------
    verdict, findings
        Of the whole survey.
    has_tape
        Whether there is anything to tape.
    about_condition
        What to do about the condition that comes first; empty where there is none.
    """
    stops = [finding for finding in findings if finding.severity == "stop"]
    if stops:
        return plain(stops[0].remedy)
    if verdict.key == "not_before" and about_condition:
        return plain(about_condition)
    if has_tape:
        return "tape the lengths listed below, put them in, and run the estimate again."
    if verdict.key == "cannot_say":
        warn = next((finding for finding in findings if finding.severity == "warn"), None)
        return plain(warn.remedy) if warn else "mark the walls and measure them."
    return "show this report to building control and to whoever will fit the boards, then order."


def _rooms_and_walls(survey: Survey, walls: list[str]) -> str:
    rooms = [name_of(room.id) for room in survey.rooms]
    parts = []
    if rooms:
        parts.append(f"Room{'s' if len(rooms) > 1 else ''}: {listing(rooms)}")
    if walls:
        parts.append(f"wall{'s' if len(walls) > 1 else ''}: {listing([name_of(wall) for wall in walls])}")
    return sentence("; ".join(parts)) if parts else "No wall yet."


def context_rows() -> list[SourceRow]:
    """Return every field of the context with its help sentence, for the contributors' guide and tests."""
    from dataclasses import fields, is_dataclass

    from intake.report import context

    rows = []
    for name in sorted(vars(context)):
        record = getattr(context, name)
        if isinstance(record, type) and is_dataclass(record) and record.__module__ == context.__name__:
            rows += [
                SourceRow(what=f"{name}.{item.name}", value=str(item.metadata.get("help", "")), source="")
                for item in fields(record)
            ]
    return rows
