"""Words about the estimate: verdicts, linings, order, tape list, cautions, work that moves, moisture, sources."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from intake.report import reading
from intake.report.context import (
    Caution,
    MoistureEvidence,
    Step,
    Task,
    TradeTasks,
    Verdict,
)
from intake.report.reading import Data
from intake.report.tell_options import chosen_of, lining_name
from intake.report.tell_walls import verdict_of, worst
from intake.report.words import (
    NBSP,
    grouped,
    listing,
    name_of,
    plain,
    sentence,
)
from intake.results import WallResult

BECAUSE = {
    "nothing_found_against": "Nothing measured, answered or screened speaks against it; a professional may still.",
    "tape_first": "A few lengths decide what is ordered. Tape them, put them in and run the estimate again.",
    "not_before": "",
    "cannot_say": "Too little is known of this wall yet; the findings name what is missing.",
}


def wall_verdict(entry: Data) -> Verdict:
    """Return the verdict on one wall with its conditions, which hold whatever the verdict is."""
    key = reading.text(entry, "verdict") or "cannot_say"
    conditions = tuple(plain(line) for line in reading.texts(entry, "conditions"))
    key = key if key in BECAUSE else "cannot_say"
    return verdict_of(key, because=_because(key, conditions), conditions=conditions)


def _because(key: str, conditions: Sequence[str]) -> str:
    if key == "not_before":
        return "" if conditions else "The findings name what must be settled first."
    more = " And do not go ahead before:" if conditions else ""
    return BECAUSE[key] + more


def survey_verdict(verdicts: Mapping[str, Verdict]) -> Verdict:
    """Return the worst of the walls' verdicts with all conditions, each once, its walls named where not all share it.

    Parameters
    ----------
    verdicts
        By wall, of the walls that are to be lined.
    """
    key = worst([verdict.key for verdict in verdicts.values()])
    walls: dict[str, list[str]] = {}
    for wall, verdict in verdicts.items():
        for line in verdict.conditions:
            walls.setdefault(line, []).append(name_of(wall))
    told = [line if len(names) == len(verdicts) else f"{listing(names)}: {line}" for line, names in walls.items()]
    return verdict_of(key, because=_because(key, told), conditions=tuple(told))


def first_condition(estimate: Data, walls: Sequence[str]) -> str:
    """Return what to do about the condition that comes first: whom to ask, or what would tell."""
    for wall in walls:
        entry = reading.wall_of(estimate, wall)
        condition = next(iter(reading.texts(entry, "conditions")), "")
        if condition.startswith(NOT_KNOWN_WHAT):
            settle = " ".join(reading.texts(entry, "construction.settle")).partition(". ")[0].rstrip(".")
            return f"{settle[:1].lower()}{settle[1:]}." if settle else f"find out: {condition}."
        if condition:
            ask = who_to_ask(estimate, condition)
            return f"speak to {ask}." if ask else f"see to it that {condition}."
    return ""


def fixing_notes(estimate: Data) -> tuple[str, ...]:
    """Return how the boards are fixed and the air line closed, each sentence once."""
    notes: list[str] = []
    sealed: dict[str, float] = {}
    for entry in reading.items(estimate, "walls"):
        fixing = reading.find(entry, "fixing")
        if isinstance(fixing, dict):
            count, length = len(reading.find(fixing, "fixings") or []), reading.number(fixing, "fixing_length_mm")
            notes.append(
                f"{sentence(name_of(reading.text(fixing, 'method')))} Background: {reading.text(fixing, 'background')}."
            )
            if count and length:
                wait = reading.text(fixing, "wait")
                bare = reading.number(fixing, "bare_fixing_mm")
                told = f"{name_of(reading.text(entry, 'id'))}: {count} mechanical fixings {length:g}{NBSP}mm long"
                told += f" ({bare:g}{NBSP}mm would reach on bare brick)" if bare else ""
                notes.append(sentence(f"{told}; {wait}" if wait else told))
        for seal in reading.items(entry, "seals"):
            material = name_of(reading.text(seal, "material"))
            sealed[material] = sealed.get(material, 0.0) + _run_m(seal)
    for material, length in sealed.items():
        notes.append(f"Air line: {length:.0f}{NBSP}m of {material}; room air must not reach the cold brick anywhere.")
    return tuple(dict.fromkeys(notes))


def _run_m(seal: Data) -> float:
    points = reading.points(reading.find(seal, "line"))
    ends = [*points[1:], points[0]] if points and seal.get("closed") else points[1:]
    return sum(math.dist(a, b) for a, b in zip(points, ends, strict=False)) / 1000


NOT_KNOWN_WHAT = "it is known whether"  # how a condition on the wall's construction begins
GROUPS = (
    "Applies to this job",
    "May apply, as nobody has said",
    "Rules that bear on it",
    "True of every lining",
)
GENERAL = "holds for every lining"


def cautions(estimate: Data) -> tuple[Caution, ...]:
    """Return the cautions and rules that apply, or may apply, each once, the walls named where not all are meant."""
    notes: dict[str, tuple[Data, list[str]]] = {}
    walls = [entry for entry in reading.items(estimate, "walls") if _notes_of(entry)]
    for entry in [*walls, {"rules": reading.items(estimate, "rules"), "cautions": reading.items(estimate, "cautions")}]:
        for note in _notes_of(entry):
            if reading.text(note, "applies") != "no":
                key = reading.text(note, "key", "code", "title", "heading")
                names = notes.setdefault(key, (note, []))[1]
                names += [name_of(wall)] if (wall := reading.text(entry, "id", "wall")) else []
    told = [_caution(note, names, len(walls)) for note, names in notes.values()]
    return tuple(sorted(told, key=lambda caution: GROUPS.index(caution.group)))


def _notes_of(entry: Data) -> list[Data]:
    heat = reading.find(entry, "heat")
    return [note for place in (heat, entry) for part in ("cautions", "rules") for note in reading.items(place, part)]


def _caution(note: Data, names: list[str], walls: int) -> Caution:
    why = reading.text(note, "words", "because", "why")
    general = why == GENERAL
    where = "" if general or len(set(names)) in (0, walls) else f" ({listing(sorted(set(names)))})"
    rule = reading.text(note, "kind") == "rule"
    perhaps = reading.text(note, "applies") == "perhaps"
    group = GROUPS[2] if rule else GROUPS[3] if general else GROUPS[1] if perhaps else GROUPS[0]
    ask = reading.text(note, "ask", "who")
    action = [sentence(reading.text(note, "text", "action")), sentence(f"Ask {ask}") if ask else ""]
    return Caution(
        group=group,
        heading=plain(reading.text(note, "title", "heading", "topic")),
        because="" if general or not why else sentence(f"{why}{where}"),
        action=" ".join(part for part in action if part),
    )


TRADES = ("electrician", "plumber", "gas_engineer", "gas engineer", "building_professional", "building professional")


def knock_on(estimate: Data) -> tuple[TradeTasks, ...]:
    """Return what moves when the wall comes forward, by trade: licensed trades first."""
    groups: dict[str, list[Task]] = {}
    for entry in reading.items(estimate, "walls"):
        for task in reading.items(entry, "moves", "knock_on"):
            thing = reading.text(task, "thing", "feature", "opening", "name")
            wall = name_of(reading.text(entry, "id"))
            ask = reading.text(task, "ask")
            why = [sentence(reading.text(task, "caution", "why")), f"To look at: {plain(ask)}" if ask else ""]
            groups.setdefault(reading.text(task, "trade") or "fitter", []).append(
                Task(
                    where=f"{wall}, {name_of(thing)}" if thing else wall,
                    what=sentence(reading.text(task, "action", "what", "task", "text")),
                    why=" ".join(part for part in why if part),
                )
            )
    ordered = sorted(groups, key=lambda trade: TRADES.index(trade) if trade in TRADES else len(TRADES))
    return tuple(
        TradeTasks(trade=sentence(name_of(trade)).rstrip("."), tasks=tuple(_joined(groups[trade]))) for trade in ordered
    )


def _joined(tasks: Sequence[Task]) -> list[Task]:
    """Return the tasks with those alike in everything but their place told once."""
    places: dict[tuple[str, str], list[str]] = {}
    for task in tasks:
        places.setdefault((task.what, task.why), []).append(task.where)
    return [Task(where=listing(where), what=what, why=why) for (what, why), where in places.items()]


def sequence(estimate: Data) -> tuple[Step, ...]:
    """Return the order of the work, step by step."""
    steps = []
    for step in reading.items(estimate, "sequence"):
        hours, wait = reading.spread(step, "hours"), reading.number(step, "wait_hours") or 0.0
        time = f"{_hours(hours)}" if hours else ""
        if wait:
            dry = f"{wait / 24:.0f} days" if wait >= 48 else f"{grouped(wait)}{NBSP}h"
            time += f", then wait {dry}" if time else f"wait {dry}"
        day = reading.number(step, "day")
        steps.append(
            Step(
                day="before" if day == 0 else "" if day is None else f"day {day:.0f}",
                what=sentence(reading.text(step, "title", "what", "text")),
                who=plain(reading.text(step, "who")),
                time=time,
                stop="stop" if step.get("stop") else "",
            )
        )
    return tuple(steps)


def _hours(pair: tuple[float, float]) -> str:
    low, high = (f"{value:.1f}" if value < 2 else f"{value:.0f}" for value in pair)
    return f"{low}{NBSP}h" if low == high else f"{low} to {high}{NBSP}h"


def moisture(estimate: Data, wall: WallResult) -> MoistureEvidence | None:
    """Return the moisture screening of one wall, or None where there is none."""
    entry = reading.wall_of(estimate, wall.id)
    heat, chosen = reading.heat_of(entry), chosen_of(entry)
    words = " ".join(reading.texts(heat, "moisture.words")[:2]) or reading.text(chosen, "moisture_words", "moisture")
    if not words:
        return None
    before, after = reading.number(heat, "surface_before_c"), reading.number(heat, "surface_after_c")
    night = reading.number(heat, "cold_night_c")
    factor_before, factor_after = reading.number(heat, "f_rsi_before"), reading.number(chosen, "f_rsi")
    surface = ""
    if before is not None and after is not None and night is not None:
        surface = (
            f"On a night of {grouped(night)}{NBSP}°C, the room at 20{NBSP}°C, the inside goes from {before:.1f} to "
            f"{after:.1f}{NBSP}°C."
        )
    if factor_before is not None and factor_after is not None:
        surface += f" Temperature factor {factor_before:.2f} before, {factor_after:.2f} after; 0.75 is asked for."
    return MoistureEvidence(
        wall=name_of(wall.id),
        words=sentence(f"{lining_name(chosen)}: {plain(words)}"),
        surface=surface.strip(),
        junctions=tuple(sentence(line) for line in reading.texts(heat, "junctions.words")),
        limits="Monthly screening to EN ISO 13788. It leaves out rain, liquid water, storage, air leakage, built-in "
        "moisture, junctions and salts: it can stop a lining, it cannot approve one on a solid wall.",
    )


def who_to_ask(estimate: Data, condition: str) -> str:
    """Return whom to ask about a condition, from the rule or caution that sets it; nothing where none does."""
    for entry in reading.items(estimate, "walls"):
        for note in _notes_of(entry):
            if reading.text(note, "condition") == condition:
                return reading.text(note, "ask", "who")
    return ""
