"""Words about the linings: the shortlist for the householder, the table for the adviser."""

from __future__ import annotations

from collections.abc import Sequence

from intake.report import reading
from intake.report.context import BoardChoice, OptionCard, OptionRow, WallOptions
from intake.report.reading import Data
from intake.report.tell_walls import pounds
from intake.report.words import (
    NBSP,
    grouped,
    listing,
    name_of,
    plain,
    sentence,
    significant,
    span,
    to_figures,
    transmittance,
)

Pair = tuple[float, float]
NOTE = (
    "U is the heat that passes, in W/m²K: less is warmer. Each is a range over two starting values, the wall as "
    "calculated and as such walls are measured to be. Prices are invented until you put in your own; savings depend on "
    "how the house is heated and lived in."
)
NOT_KNOWN = "not known"
LONG_YEARS = 100.0
UNDECIDED = ("unknown", "cavity_empty", "cavity_filled", "timber_frame", "other")  # other questions come first


def options_of(entry: Data) -> list[Data]:
    """Return the linings of one wall as the estimate lists them."""
    return reading.items(reading.heat_of(entry), "options") or reading.items(entry, "options")


def chosen_of(entry: Data) -> Data:
    """Return the lining that the estimate plans with; empty where it names none."""
    heat = reading.heat_of(entry)
    chosen = reading.find(heat, "chosen", "recommended") or reading.find(entry, "chosen", "recommended")
    if isinstance(chosen, dict):
        return chosen
    options = options_of(entry)
    return options[0] if len(options) == 1 else {}


def same_lining(one: Data, other: Data) -> bool:
    """Return whether two entries are the same board."""
    return all(one.get(key) == other.get(key) for key in ("insulation", "insulation_mm", "board_mm"))


def lining_name(option: Data) -> str:
    """Return ``60 mm phenolic laminate + 12.5 board``."""
    name = reading.text(option, "name") or name_of(reading.text(option, "insulation") or "lining")
    thick = reading.number(option, "insulation_mm")
    board = reading.number(option, "board_mm")
    first = f"{thick:g}{NBSP}mm {plain(name)}" if thick else plain(name)
    return first if not board or option.get("family") == "external" else f"{first} + {board:g} board"


def option_u(option: Data) -> Pair | None:
    """Return the transmittance after lining from the two starting values, low to high."""
    low = reading.number(option, "u.from_measured", "u_from_measured")
    high = reading.number(option, "u.from_calculated", "u_from_calculated")
    both = [value for value in (low, high) if value is not None]
    return (min(both), max(both)) if both else None


def existing_u(entry: Data) -> Pair | None:
    """Return the two starting values of a wall, low to high."""
    heat = reading.heat_of(entry)
    found = [
        reading.number(heat, "u_existing_calculated", "u_existing.from_calculated"),
        reading.number(heat, "u_existing_measured", "u_existing.from_measured"),
        reading.number(entry, "u_existing.from_calculated"),
        reading.number(entry, "u_existing.from_measured"),
    ]
    known = [value for value in found if value is not None]
    return (min(known), max(known)) if known else None


def u_words(pair: Pair | None) -> str:
    """Return ``0.26 to 0.28``."""
    if pair is None:
        return NOT_KNOWN
    low, high = transmittance(pair[0]), transmittance(pair[1])
    return low if low == high else f"{low} to {high}"


def rough(pair: Pair | None) -> str:
    """Return a range rounded to two figures."""
    if pair is None:
        return NOT_KNOWN
    low, high = (to_figures(value) for value in pair)
    return span(low, high)


def payback_words(pair: Pair | None) -> str:
    """Return ``13 to 64 years``; nobody plans on more than a hundred."""
    if pair is None:
        return NOT_KNOWN
    if pair[0] > LONG_YEARS:
        return "over 100 years"
    high = "over 100" if pair[1] > LONG_YEARS else grouped(round(pair[1]))
    return f"{grouped(round(pair[0]))} to {high} years"


def board_choices(entries: Sequence[tuple[str, Data]]) -> tuple[BoardChoice, ...]:
    """Return the shortlist, once for all walls that are planned alike.

    Parameters
    ----------
    entries
        (wall, its entry in the estimate) of every wall that is to be lined.
    """
    groups: list[list[tuple[str, Data]]] = []
    for name, entry in entries:
        chosen = chosen_of(entry)
        if not chosen:
            continue
        group = next((g for g in groups if same_lining(chosen_of(g[0][1]), chosen)), None)
        if group is None:
            groups.append([(name, entry)])
        else:
            group.append((name, entry))
    return tuple(
        BoardChoice(
            walls=listing([name_of(name) for name, _ in group]),
            shortlist=_cards([entry for _, entry in group]),
            note=NOTE,
        )
        for group in groups
    )


def _cards(entries: Sequence[Data]) -> tuple[OptionCard, ...]:
    before = [pair for entry in entries if (pair := existing_u(entry)) is not None]
    cards = []
    decided = all(reading.text(entry, "construction.verdict") not in UNDECIDED for entry in entries)
    for role, option in shortlist_of(options_of(entries[0]), chosen_of(entries[0]), decided=decided):
        alike = []
        for entry in entries:
            candidates = [*options_of(entry), chosen_of(entry)]
            alike += [next((other for other in candidates if same_lining(other, option)), {})]
        cards.append(_card(role, option, alike, before, planned=same_lining(option, chosen_of(entries[0]))))
    return tuple(cards)


def _card(role: str, option: Data, alike: Sequence[Data], before: Sequence[Pair], *, planned: bool) -> OptionCard:
    after = [pair for other in alike if (pair := option_u(other)) is not None]
    energy, money, cost = (_sum(alike, key) for key in ("saving_kwh", "saving_pounds", "cost"))
    years = None
    if cost is not None and money is not None and money[1] > 0:
        years = (cost[0] / money[1], cost[1] / money[0] if money[0] > 0 else 1e9)
    build_up = reading.number(option, "build_up_mm")
    return OptionCard(
        role=role,
        planned=planned,
        name=lining_name(option),
        build_up=NOT_KNOWN if build_up is None else f"{build_up:g}{NBSP}mm",
        u_before=u_words(_widest(before)),
        u_after=u_words(_widest(after)),
        target=_target(alike),
        floor_lost=_floor(alike),
        saving=NOT_KNOWN
        if energy is None
        else f"{rough(energy)}{NBSP}kWh a year" + (f", {pounds(money)}" if money else ""),
        cost=pounds(cost) or NOT_KNOWN,
        payback=payback_words(years),
    )


def _target(alike: Sequence[Data]) -> str:
    """Return the words of the wall that comes off worst."""
    worst_first = sorted(alike, key=lambda other: -((option_u(other) or (0.0, 0.0))[1]))
    words = [reading.text(other, "target_words") for other in worst_first if reading.text(other, "target_words")]
    unmet = [word for other, word in zip(worst_first, words, strict=False) if other.get("meets_target") is False]
    return plain((unmet or words or ["not judged"])[0])


def _widest(pairs: Sequence[Pair]) -> Pair | None:
    return (min(pair[0] for pair in pairs), max(pair[1] for pair in pairs)) if pairs else None


def _sum(alike: Sequence[Data], key: str) -> Pair | None:
    pairs = [reading.spread(other, key) for other in alike]
    known = [pair for pair in pairs if pair is not None]
    if not known or len(known) < len(pairs):
        return None
    return sum(pair[0] for pair in known), sum(pair[1] for pair in known)


def _floor(alike: Sequence[Data]) -> str:
    areas = [reading.number(other, "floor_area_m2") for other in alike]
    if not areas or any(area is None for area in areas):
        return NOT_KNOWN
    total = sum(area for area in areas if area is not None)
    whole = [reading.number(other, "room_floor_area_m2") for other in alike]
    share = reading.number(alike[0], "room_floor_share") if len(alike) > 1 else reading.number(alike[0], "floor_share")
    one_room = len(alike) == 1 or all(area is not None and abs(area - total) < 0.005 for area in whole)
    words = f"{total:.2f}{NBSP}m²"
    return f"{words}, {100 * share:.1f}{NBSP}% of the room" if share is not None and one_room else words


def shortlist_of(options: Sequence[Data], chosen: Data, *, decided: bool = True) -> list[tuple[str, Data]]:
    """Return the planned board with its neighbours of the same kind, thin to thick, each with its role.

    Parameters
    ----------
    options, chosen
        The linings of a wall and the one that is planned.
    decided
        Whether it is known that the wall is one to be lined; where it is not, no board is recommended.
    """
    thick = reading.number(chosen, "insulation_mm") or 0.0
    family = [option for option in options if option.get("insulation") == chosen.get("insulation")]
    ordered = sorted(family, key=lambda option: reading.number(option, "insulation_mm") or 0.0)
    thinner = [option for option in ordered if (reading.number(option, "insulation_mm") or 0.0) < thick - 0.01]
    thicker = [option for option in ordered if (reading.number(option, "insulation_mm") or 0.0) > thick + 0.01]
    own = next((option for option in ordered if same_lining(option, chosen)), chosen)
    meets = chosen.get("meets_target") is not False
    better = next((option for option in thicker if option.get("meets_target")), None) if not meets else None
    found = [("Next thinner", thinner[-1])] if thinner else []
    found.append((_chosen_role(chosen, decided=decided), own))
    if better is not None:
        first = "Recommended: the thinnest" if decided else "Thinnest"
        found.append((f"{first} of its kind that meets the target", better))
    elif thicker:
        found.append(("Next thicker", thicker[0]))
    if len(found) < 3 and len(thinner) > 1 and not thicker:
        found.insert(0, ("Thinner still", thinner[-2]))
    if len(found) < 3 and len(thicker) > 1 and not thinner:
        found.append(("Thicker still", thicker[1]))
    return found


def _chosen_role(chosen: Data, *, decided: bool) -> str:
    if reading.text(chosen, "moisture") == "builds_up":
        return "Planned, but do not fit it"
    if chosen.get("meets_target") is False:
        return "Planned in this report; does not meet the target"
    return "Recommended, and planned in this report" if decided else "Planned here; first see what the wall is"


def wall_options(wall: str, entry: Data) -> WallOptions:
    """Return every lining of one wall for the adviser."""
    chosen = chosen_of(entry)
    options = options_of(entry)
    if chosen and not any(same_lining(option, chosen) for option in options):
        options = [chosen, *options]
    causes = reading.find(reading.heat_of(entry), "saving_causes")
    known = causes.items() if isinstance(causes, dict) else ()
    told = [f"{plain(key)}: {value:.2f} times" for key, value in known if isinstance(value, int | float)]
    return WallOptions(
        wall=name_of(wall),
        rows=tuple(_row(option, planned=bool(chosen) and same_lining(option, chosen)) for option in options),
        causes=tuple(told),
        notes=tuple(_notes(options)),
    )


def _notes(options: Sequence[Data]) -> list[str]:
    """Return the notes of the linings, each with the names of those it is about."""
    about: dict[str, list[str]] = {}
    for option in options:
        for note in reading.texts(option, "notes"):
            name = plain(reading.text(option, "name") or name_of(reading.text(option, "insulation")))
            names = about.setdefault(note, [])
            if name not in names:
                names.append(name)
    return [sentence(f"{listing(names)}: {note}") for note, names in about.items()]


def _row(option: Data, *, planned: bool) -> OptionRow:
    after = option_u(option)
    low, high = reading.number(option, "u_low"), reading.number(option, "u_high")
    floor, f_rsi = reading.number(option, "floor_area_m2"), reading.number(option, "f_rsi")
    words = reading.text(option, "target_words")
    met = "yes" if option.get("meets_target") else "with the gap" if "only" in words else "no" if words else "?"
    build_up = reading.number(option, "build_up_mm")
    return OptionRow(
        name=lining_name({**option, "board_mm": None}),
        build_up="?" if build_up is None else f"{build_up:g}",
        u_after=u_words(after).replace(" to ", "–"),
        u_range="" if low is None or high is None else u_words((low, high)).replace(" to ", "–"),
        target=met,
        f_rsi="" if f_rsi is None else f"{f_rsi:.2f}",
        moisture=_moisture(option),
        floor_lost="" if floor is None else f"{floor:.2f}",
        saving=_short(reading.spread(option, "saving_kwh")),
        cost=_short(reading.spread(option, "cost"), "£"),
        payback=_short_years(reading.spread(option, "payback_years")),
        mark="◉" if planned else "●" if option.get("on_front") else "",
    )


def _moisture(option: Data) -> str:
    verdict, peak = reading.text(option, "moisture"), reading.number(option, "moisture_peak_g_m2")
    grams = f", {significant(peak)}{NBSP}g/m²" if peak else ""
    known = {
        "none": "none found",
        "dries": f"dries{grams}",
        "too_wet": f"too wet{grams}",
        "builds_up": f"builds up{grams}",
    }
    return known.get(verdict, name_of(verdict) or "not screened")


def _short(pair: Pair | None, sign: str = "") -> str:
    return "" if pair is None else sign + rough(pair).replace(" to ", "–")


def _short_years(pair: Pair | None) -> str:
    if pair is None:
        return ""
    low, high = (f"{min(value, LONG_YEARS):.0f}" for value in pair)
    return f"over {low}" if pair[0] > LONG_YEARS else f"{low}–{high}+" if pair[1] > LONG_YEARS else f"{low}–{high}"
