"""Figures and names as people read them: rounding, give-or-take, plain British English."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Protocol

NBSP = "\u00a0"
NOT_MEASURED = "Not measured"
TITLE_LIMIT = 400  # longest title or file name shown whole, characters
COVERAGE = 2.0  # give or take 2 sd: 19 times in 20 for a normal spread
PRICE_ONLY_SHARE = 0.005  # wider than this share of a wall's length: good for a price, not an order
LOCAL_FIRST = "Local codes and licensed practice come first."
FOOTER = "Tested on simulated walls only; not a design."

VERDICTS = {
    "nothing_found_against": ("✓", "Nothing found against it (not an approval)"),
    "tape_first": ("▲", "Tape these first"),
    "not_before": ("■", "Do not go ahead before…"),
    "cannot_say": ("○", "Cannot say yet"),
}
VERDICT_ORDER = ("not_before", "cannot_say", "tape_first", "nothing_found_against")  # worst first
SEVERITIES = {"stop": ("■", "Stop"), "warn": ("▲", "Warning"), "note": ("○", "Note")}
CONSTRUCTIONS = {
    "solid_brick": "solid brick, one brick thick",
    "solid_brick_thick": "solid brick, thicker than one brick",
    "cavity_empty": "cavity wall, empty",
    "cavity_filled": "cavity wall, filled",
    "half_brick": "half-brick wall",
    "stone": "stone",
    "timber_frame": "timber frame",
    "other": "something else",
    "unknown": "not known",
}
KEYS = {
    "width_mm": "width",
    "width_bottom_mm": "width along the floor",
    "width_top_mm": "width along the ceiling",
    "height_mm": "height",
    "height_left_mm": "height at the left",
    "height_right_mm": "height at the right",
    "left_mm": "from the wall's left edge",
    "sill_mm": "sill above the floor",
    "bottom_mm": "above the floor",
    "reveal_depth_mm": "reveal, plaster to frame",
    "outer_reveal_mm": "outer reveal, frame to outer face",
    "thickness_mm": "whole thickness of the wall",
    "frame_mm": "depth of the frame",
    "visible_frame_mm": "frame seen beside the reveal",
    "plaster_mm": "thickness of the old plaster",
    "gross_area_m2": "area of the wall",
    "net_area_m2": "area less the openings",
}


class ValueWithSd(Protocol):
    """A value with its standard uncertainty."""

    @property
    def value(self) -> float: ...

    @property
    def sd(self) -> float: ...


def plain(text: object, *, limit: int | None = None) -> str:
    """Return text that every format can carry: control characters and lone surrogates become spaces or marks.

    Parameters
    ----------
    text
        What a person or a camera supplied.
    limit
        Longest text to keep, characters; longer text ends with an ellipsis.
    """
    cleaned = "".join(
        "\ufffd" if unicodedata.category(char) == "Cs" else " " if unicodedata.category(char) == "Cc" else char
        for char in str(text)
    )
    cleaned = "".join(char for char in cleaned if char not in "\ufffe\uffff").strip()
    if limit is not None and len(cleaned) > limit:
        cleaned = cleaned[: limit - 1].rstrip() + "…"
    return cleaned + _closing(cleaned)


EMBEDDINGS, ISOLATES = "\u202a\u202b\u202d\u202e", "\u2066\u2067\u2068"
POP_EMBEDDING, POP_ISOLATE = "\u202c", "\u2069"


def _closing(text: str) -> str:
    """Return the marks that end what directions the text leaves open, so that it turns no words but its own."""
    opened: list[str] = []
    for char in text:
        if char in EMBEDDINGS:
            opened.append(POP_EMBEDDING)
        elif char in ISOLATES:
            opened.append(POP_ISOLATE)
        elif opened and char == opened[-1]:
            opened.pop()
    return "".join(reversed(opened))


def name_of(identifier: str) -> str:
    """Return an identifier as a name: ``north_outside`` becomes ``north outside``."""
    return plain(identifier).replace("_", " ")


def bond_words(bond: str) -> str:
    """Return ``Flemish garden bond``: a bond as the trade writes it."""
    name = name_of(bond).replace("flemish", "Flemish").replace("english", "English")
    return f"{name} bond" if bond != "none_to_read" else "no bond to read"


def key_words(key: str) -> str:
    """Return the words for a result's key; an unknown key is spelled out."""
    last = key.rsplit(".", maxsplit=1)[-1]
    return KEYS.get(last, last.removesuffix("_mm").removesuffix("_m2").replace("_", " "))


def grouped(number: float, decimals: int = 0) -> str:
    """Return a number with a no-break space between thousands: 3 871."""
    text = f"{number:,.{decimals}f}".replace(",", NBSP)
    return "0" if text in ("-0", "-0.0", "-0.00") and decimals == 0 else text.replace("-", "−")


def rounded_uncertainty(uncertainty: float, finest: float) -> tuple[float, int]:
    """Return an expanded uncertainty rounded for people, and how many decimals its value should show.

    At most two significant figures, never finer than ``finest``; rounded to the nearest, or upwards where rounding
    down would lose more than a twentieth of it.

    Parameters
    ----------
    uncertainty
        Expanded uncertainty, any unit, not negative.
    finest
        The smallest step worth showing, a power of ten, same unit.

    References
    ----------
    JCGM 100:2008, 7.2.6: at most two significant digits, rounding up where sensible; the estimate is rounded to agree
    with its uncertainty.
    """
    if uncertainty < 0 or not math.isfinite(uncertainty):
        raise ValueError(f"an uncertainty must be finite and not negative, not {uncertainty}")
    exponent = math.floor(math.log10(uncertainty)) - 1 if uncertainty > 0 else -30
    step = max(10.0**exponent, finest)
    steps = round(uncertainty / step)
    if uncertainty > 0 and steps * step < 0.95 * uncertainty:
        steps += 1
    decimals = max(0, -round(math.log10(step)))
    return round(steps * step, decimals), decimals


def quantity(measured: ValueWithSd, *, finest: float = 1.0) -> tuple[str, str]:
    """Return a value and its give-or-take as two texts rounded to agree.

    Parameters
    ----------
    measured
        The value and its standard uncertainty.
    finest
        The smallest step worth showing, a power of ten.
    """
    uncertainty, decimals = rounded_uncertainty(COVERAGE * measured.sd, finest)
    step = max(finest, 10.0 ** (math.floor(math.log10(uncertainty)) - 1)) if uncertainty > 0 else finest
    value = round(measured.value / step) * step
    return grouped(value, decimals), grouped(uncertainty, decimals)


def give_or_take(measured: ValueWithSd | None, unit: str = "mm", *, finest: float = 1.0) -> str:
    """Return ``3 871 mm, give or take 10``, or that it was not measured."""
    if measured is None:
        return NOT_MEASURED
    value, spread = quantity(measured, finest=finest)
    if float(spread.replace(NBSP, "")) == 0:
        return f"{value}{NBSP}{unit}"
    return f"{value}{NBSP}{unit}, give or take {spread}"


def is_price_only(measured: ValueWithSd | None) -> bool:
    """Return whether a wall's length is too loosely known to order from."""
    return measured is not None and COVERAGE * measured.sd > PRICE_ONLY_SHARE * measured.value


def wall_length(measured: ValueWithSd | None) -> str:
    """Return a wall's width or height in words: with its give-or-take, or "about 3.9 m, price only"."""
    if measured is not None and is_price_only(measured):
        return f"about {measured.value / 1000:.1f}{NBSP}m, price only"
    return give_or_take(measured)


def millimetres(value: float) -> str:
    """Return a length for a drawing: whole millimetres, thousands apart, no unit."""
    return grouped(round(value))


def transmittance(value: float) -> str:
    """Return a thermal transmittance to two decimals, as rules print it, without the unit."""
    return f"{value:.2f}"


def span(low: float, high: float, *, decimals: int = 0, unit: str = "") -> str:
    """Return ``310 to 480 kWh``, or one figure where both round to the same."""
    first, second = grouped(min(low, high), decimals), grouped(max(low, high), decimals)
    text = first if first == second else f"{first} to {second}"
    return f"{text}{NBSP}{unit}" if unit else text


def in_hundred(probability: float) -> str:
    """Return a probability as people weigh it: ``94 in 100``, never 0 or 100 of them."""
    if probability >= 0.995:
        return "over 99 in 100"
    if 0 < probability < 0.01:
        return "under 1 in 100"
    return f"{round(100 * probability)} in 100"


def to_figures(value: float, figures: int = 2) -> float:
    """Return a value rounded to a number of significant figures."""
    return 0.0 if value == 0 else round(value, figures - 1 - math.floor(math.log10(abs(value))))


def significant(value: float, figures: int = 2) -> str:
    """Return a rough figure to a number of significant figures, thousands apart."""
    rounded = to_figures(value, figures)
    if rounded == 0:
        return "0"
    return grouped(rounded, max(0, figures - 1 - math.floor(math.log10(abs(rounded)))))


def listing(parts: list[str]) -> str:
    """Return ``a, b and c``."""
    return parts[0] if len(parts) == 1 else " and ".join([", ".join(parts[:-1]), parts[-1]]) if parts else ""


def signs(text: str) -> str:
    """Return the text with the trade's own signs: m² for m2, × between two sizes."""
    return re.sub(r"(?<=\d) x (?=\d)", " × ", re.sub(r"\b([km]?m)([23])\b", _power, plain(text)))


def _power(match: re.Match[str]) -> str:
    return match.group(1) + {"2": "²", "3": "³"}[match.group(2)]


def sentence(text: str) -> str:
    """Return the text with a capital first and a full stop last."""
    text = signs(text)
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?…" else ".")
