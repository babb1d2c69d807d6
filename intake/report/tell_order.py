"""Words about buying and taping: the order, the bill, carrying, waste, the tape list."""

from __future__ import annotations

from collections.abc import Sequence

from intake.report import reading
from intake.report.context import BillRow, OrderRow, TapeRow, Verdict
from intake.report.reading import Data
from intake.report.tell_walls import pounds
from intake.report.words import (
    NBSP,
    give_or_take,
    grouped,
    in_hundred,
    key_words,
    listing,
    name_of,
    plain,
    sentence,
    signs,
    span,
)
from intake.results import FeatureResult, Geometry, OpeningResult, ValueSd, WallResult

ORDER_GROUPS = {
    "boards": "Boards",
    "fixing": "Fixing",
    "air_line": "Air line",
    "finish": "Joints and finish",
    "making_good": "Making good",
    "services": "Trades and services",
}


def order_rows(estimate: Data) -> tuple[OrderRow, ...]:
    """Return the order list, the boards first, line by line."""
    lines = reading.items(estimate, "order", "order.lines")
    groups = list(dict.fromkeys(reading.text(line, "group") for line in lines))
    ranked = sorted(groups, key=lambda group: list(ORDER_GROUPS).index(group) if group in ORDER_GROUPS else 99)
    rows = []
    for line in sorted(lines, key=lambda line: ranked.index(reading.text(line, "group"))):
        group = reading.text(line, "group")
        rows.append(
            OrderRow(
                group=ORDER_GROUPS.get(group, sentence(name_of(group)).rstrip(".")),
                item=plain(reading.text(line, "item", "name")),
                spec=signs(reading.text(line, "spec", "specification")),
                quantity=_quantity(reading.number(line, "quantity"), reading.text(line, "unit")),
                price=pounds(reading.spread(line, "price") or reading.spread(line, "cost")),
                why=sentence(reading.text(line, "why", "reason")),
            )
        )
    return tuple(rows)


def _quantity(count: float | None, unit: str) -> str:
    """Return ``6 boards``, ``1.4 m``, ``1 roll``."""
    if count is None:
        return ""
    unit = plain(unit)
    if unit not in ("", "m", "m2", "m²", "kg") and count != 1 and not unit.endswith("s"):
        unit = f"{unit.removesuffix('y')}ies" if unit.endswith("ery") else f"{unit}s"
    decimals = 0 if abs(count - round(count)) < 0.005 else 1
    return f"{grouped(count, decimals)}{NBSP}{unit}".strip()


def bill_rows(estimate: Data) -> tuple[BillRow, ...]:
    """Return what the job costs, as ranges of pounds without VAT."""
    bill = reading.find(estimate, "bill")
    hours = reading.spread(bill, "labour_hours")
    labour = f"Labour, {span(*hours)} hours" if hours else "Labour"
    names = {
        "materials": "Materials",
        "trades": "Trades called in",
        "labour": labour,
        "contingency": "Reserve for what nobody foresaw",
        "total": "All together",
    }
    pairs = [(words, reading.spread(bill, key)) for key, words in names.items()]
    return tuple(BillRow(what=words, amount=pounds(pair)) for words, pair in pairs if pair is not None)


def bill_note(estimate: Data) -> str:
    """Return whose prices the bill rests on."""
    if not isinstance(reading.find(estimate, "bill"), dict):
        return ""
    if reading.find(estimate, "bill.invented"):
        return "Every price is invented, without VAT; put your own in a price list before you compare anything."
    return "With the prices you gave, without VAT."


def carrying(estimate: Data) -> str:
    """Return what the boards weigh and how they are carried."""
    load = reading.find(estimate, "load")
    words = sentence(reading.text(load, "words"))
    loads, whole = reading.number(load, "van_loads"), reading.number(load, "all_kg")
    if whole is not None and loads is not None:
        words += f" All together {grouped(whole)}{NBSP}kg, {grouped(loads)} van load{'s' if loads != 1 else ''}."
    return words.strip()


def waste(estimate: Data) -> tuple[str, ...]:
    """Return what is left over and where it goes."""
    told = []
    for kind in reading.items(estimate, "waste"):
        area, weight = reading.number(kind, "area_m2"), reading.number(kind, "weight_kg")
        size = ", ".join(
            part
            for part in (
                f"{area:.1f}{NBSP}m²" if area is not None else "",
                f"{grouped(weight)}{NBSP}kg" if weight is not None else "",
            )
            if part
        )
        goes = reading.text(kind, "goes", "words")
        told.append(
            sentence(
                f"{reading.text(kind, 'kind')}: {size}; {goes}" if goes else f"{reading.text(kind, 'kind')}: {size}"
            )
        )
    return tuple(told)


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
        count = reading.number(boards, "to_order", "count")
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
            name = name_of(reading.text(room, "id") or "room")
            more = reading.number(boards, "chance_more") or 0.0
            doubt = f" and one more with a chance of {in_hundred(more)}" if more >= 0.02 else ""
            counts.append(f"{name} takes {count:g} wall board{'s' if count != 1 else ''}, {how}{doubt}")
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


def _thing(key: str, line: Data) -> str:
    """Return the opening or feature that a length is of, ``w1`` of ``openings.w1.width_mm``; names may hold dots."""
    kind, _, rest = key.partition(".")
    thing = rest.rpartition(".")[0] if kind in ("openings", "features") else ""
    return thing or reading.text(line, "opening", "feature", "thing")


def _place(wall: str, key: str, line: Data) -> str:
    thing = _thing(key, line)
    return f"{name_of(wall)}, {name_of(thing)}" if thing else name_of(wall)


def _now(wall: WallResult | None, key: str, line: Data) -> str:
    thing_id = _thing(key, line)
    found: WallResult | OpeningResult | FeatureResult | None = wall
    if wall is not None and thing_id:
        things: list[OpeningResult | FeatureResult] = [*wall.openings, *wall.features]
        found = next((item for item in things if item.id == thing_id), None)
    measured = getattr(found, key.rpartition(".")[2], None)
    if not isinstance(measured, ValueSd):
        return give_or_take(reading.value_sd(line, "now_mm", "value", "now", "measured"))
    return give_or_take(measured)


def tape_note(rows: Sequence[TapeRow]) -> str:
    """Return how to tape, or that nothing need be taped."""
    if not rows:
        return (
            "No single length would change the order or a verdict. Every piece is still cut to the wall as you find it."
        )
    return (
        "Hook the tape, pull it level and tight, read twice. Write the reading before you look at what the photos say; "
        "type it on the marking page under Tape, further readings beside it, and run the estimate again."
    )
