"""Words about the estimate: verdicts, linings, order, tape list, cautions, work that moves, moisture, sources."""

from __future__ import annotations

from collections.abc import Sequence

from intake.report import reading
from intake.report.context import (
    Caution,
    MoistureEvidence,
    OrderRow,
    TapeRow,
    Task,
    TradeTasks,
    Verdict,
)
from intake.report.reading import Data
from intake.report.tell_options import chosen_of, lining_name
from intake.report.tell_walls import pounds, verdict_of, worst
from intake.report.words import (
    NBSP,
    give_or_take,
    grouped,
    key_words,
    listing,
    name_of,
    plain,
    sentence,
)
from intake.results import FeatureResult, Geometry, OpeningResult, ValueSd, WallResult

BECAUSE = {
    "nothing_found_against": "Nothing measured, answered or screened speaks against it; a professional may still.",
    "tape_first": "A few lengths decide what is ordered. Tape them, put them in and run the estimate again.",
    "not_before": "",
    "cannot_say": "Too little is known of this wall yet; the findings name what is missing.",
}


def wall_verdict(entry: Data) -> Verdict:
    """Return the verdict on one wall with its conditions."""
    key = reading.text(entry, "verdict") or "cannot_say"
    conditions = tuple(plain(line) for line in reading.texts(entry, "conditions"))
    key = key if key in BECAUSE else "cannot_say"
    because = BECAUSE[key] if key != "not_before" or conditions else "The findings name what must be settled first."
    return verdict_of(key, because=because, conditions=conditions if key == "not_before" else ())


def survey_verdict(verdicts: Sequence[Verdict]) -> Verdict:
    """Return the worst of the walls' verdicts with all their conditions, each once."""
    key = worst([verdict.key for verdict in verdicts])
    conditions = tuple(dict.fromkeys(line for verdict in verdicts if verdict.key == key for line in verdict.conditions))
    return verdict_of(key, because=BECAUSE[key], conditions=conditions)


def order_rows(estimate: Data) -> tuple[OrderRow, ...]:
    """Return the order list."""
    rows = []
    for line in reading.items(estimate, "order", "order.lines"):
        count = reading.number(line, "quantity")
        unit = reading.text(line, "unit")
        price = reading.spread(line, "price") or reading.spread(line, "cost")
        plural = unit if count == 1 or not unit or unit.endswith("s") or len(unit) <= 2 else f"{unit}s"
        rows.append(
            OrderRow(
                item=plain(reading.text(line, "item", "name")),
                spec=plain(reading.text(line, "spec", "specification")),
                quantity=""
                if count is None
                else f"{grouped(count, 0 if count == int(count) else 1)}{NBSP}{plain(plural)}",
                price=pounds(price),
                why=sentence(reading.text(line, "why", "reason")),
            )
        )
    return tuple(rows)


def order_note(estimate: Data, geometry: Geometry, verdict: Verdict) -> str:
    """Return what the order rests on and whether it may be placed."""
    stops = any(finding.severity == "stop" for finding in geometry.findings)
    if verdict.key in ("cannot_say", "not_before") or stops:
        first = "Do not order yet: see the verdict above."
    elif verdict.key == "tape_first":
        first = "Provisional: tape the lengths below before you order."
    else:
        first = "Check the sizes with a tape as the boards are cut; every piece is cut to the wall, not to paper."
    counts = []
    for room in reading.items(estimate, "rooms"):
        boards = reading.find(room, "boards")
        count = reading.number(boards, "count")
        if count is not None:
            proved = reading.find(boards, "proved")
            bound = reading.number(boards, "lower_bound")
            how = (
                "proved the fewest"
                if proved
                else f"at least {bound:g} are needed"
                if bound
                else "not proved the fewest"
            )
            counts.append(f"{name_of(reading.text(room, 'id') or 'room')} takes {count:g} wall boards, {how}")
    said = reading.text(estimate, "order_note")
    return " ".join(part for part in (first, sentence(listing(counts)), sentence(said)) if part)


def tape_rows(estimate: Data, geometry: Geometry) -> tuple[TapeRow, ...]:
    """Return the lengths worth taping, with what the photos say of each."""
    walls = {wall.id: wall for wall in geometry.walls}
    rows = []
    for line in reading.items(estimate, "tape_list"):
        wall, key = reading.text(line, "wall"), reading.text(line, "key")
        rows.append(
            TapeRow(
                place=_place(wall, key, line),
                what=sentence(key_words(key)).rstrip("."),
                now=_now(walls.get(wall), key, line),
                why=sentence(reading.text(line, "why")),
                reading="",
            )
        )
    return tuple(rows)


def _place(wall: str, key: str, line: Data) -> str:
    parts = key.split(".")
    thing = parts[1] if len(parts) == 3 else reading.text(line, "opening", "feature", "thing")
    return f"{name_of(wall)}, {name_of(thing)}" if thing else name_of(wall)


def _now(wall: WallResult | None, key: str, line: Data) -> str:
    parts = key.split(".")
    thing_id = parts[1] if len(parts) == 3 else reading.text(line, "opening", "feature", "thing")
    found: WallResult | OpeningResult | FeatureResult | None = wall
    if wall is not None and thing_id:
        things: list[OpeningResult | FeatureResult] = [*wall.openings, *wall.features]
        found = next((item for item in things if item.id == thing_id), None)
    measured = getattr(found, parts[-1], None)
    if not isinstance(measured, ValueSd):
        return give_or_take(reading.value_sd(line, "value", "now", "measured"))
    return give_or_take(measured)


def tape_note(rows: Sequence[TapeRow]) -> str:
    """Return how to tape, or that nothing need be taped."""
    if not rows:
        return (
            "No single length would change the order or a verdict. Every piece is still cut to the wall as you find it."
        )
    return (
        "Hook the tape, pull it level and tight, read twice. Write the reading before you look at what the photos say; "
        "put it under taped in survey.json and run the estimate again."
    )


GROUPS = (
    "Applies to this job",
    "May apply: nobody has said yet",
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


def knock_on(estimate: Data) -> tuple[TradeTasks, ...]:
    """Return what moves when the wall comes forward, by trade in the order the estimate names them."""
    groups: dict[str, list[Task]] = {}
    found = [
        (reading.text(entry, "id"), task)
        for entry in reading.items(estimate, "walls")
        for task in reading.items(entry, "knock_on")
    ]
    found += [(reading.text(task, "wall"), task) for task in reading.items(estimate, "knock_on")]
    for wall, task in found:
        thing = reading.text(task, "feature", "opening", "thing", "name")
        where = f"{name_of(wall)}, {name_of(thing)}" if wall and thing else name_of(wall or thing)
        trade = sentence(name_of(reading.text(task, "trade") or "the fitter")).rstrip(".")
        what = reading.text(task, "what", "task", "action", "text")
        groups.setdefault(trade, []).append(
            Task(
                where=where or "room",
                what=sentence(what),
                why=sentence(reading.text(task, "why", "caution", "because")),
            )
        )
    return tuple(TradeTasks(trade=trade, tasks=tuple(tasks)) for trade, tasks in groups.items())


def sequence(estimate: Data) -> tuple[str, ...]:
    """Return the order of the work, step by step."""
    return tuple(sentence(line) for line in reading.texts(estimate, "sequence"))


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
        surface += (
            f" Temperature factor {factor_before:.2f} before, {factor_after:.2f} after; 0.75 is asked for."
        )
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
