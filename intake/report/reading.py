"""Reading estimate.json, which grows from version to version: what is missing comes back as None, never as a crash."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Data = Mapping[str, Any]


LARGE = frozenset({"heat", "options", "pieces", "offcuts", "joints", "findings", "construction"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A value with its standard uncertainty as read from JSON."""

    value: float
    sd: float


def find(data: object, *paths: str) -> Any:
    """Return the first of several dotted paths that leads to something other than None.

    Parameters
    ----------
    data
        Parsed JSON.
    paths
        For example ``"u.from_calculated"``; a number steps into a list.
    """
    for path in paths:
        here: Any = data
        for part in path.split("."):
            if isinstance(here, Mapping):
                here = here.get(part)
            elif isinstance(here, Sequence) and not isinstance(here, str) and part.isdigit() and int(part) < len(here):
                here = here[int(part)]
            else:
                here = None
            if here is None:
                break
        if here is not None:
            return here
    return None


def items(data: object, *paths: str) -> list[Data]:
    """Return the mappings of a list found at one of the paths; a mapping of mappings counts as its values."""
    found = find(data, *paths)
    if isinstance(found, Mapping):
        found = list(found.values())
    if not isinstance(found, Sequence) or isinstance(found, str):
        return []
    return [item for item in found if isinstance(item, Mapping)]


def number(data: object, *paths: str) -> float | None:
    """Return a number found at one of the paths; of a measured value or a spread its value or middle."""
    found = find(data, *paths)
    if isinstance(found, bool) or found is None:
        return None
    if isinstance(found, int | float):
        return float(found) if math.isfinite(found) else None
    if isinstance(found, Mapping):
        if isinstance(found.get("value"), int | float):
            return float(found["value"])
        pair = spread(found)
        return None if pair is None else (pair[0] + pair[1]) / 2
    return None


def spread(data: object, *paths: str) -> tuple[float, float] | None:
    """Return the low and high of a range found at one of the paths, or at the data itself where there is no path."""
    found = find(data, *paths) if paths else data
    if isinstance(found, Mapping):
        low, high = found.get("low"), found.get("high")
        if isinstance(low, int | float) and isinstance(high, int | float):
            return float(low), float(high)
        return None
    if isinstance(found, int | float) and not isinstance(found, bool):
        return float(found), float(found)
    pair = points([found])
    return pair[0] if pair else None


def points(data: object) -> list[tuple[float, float]]:
    """Return the pairs of numbers of a list; what is not a pair of numbers is left out."""
    if not isinstance(data, Sequence) or isinstance(data, str):
        return []
    return [
        (float(item[0]), float(item[1]))
        for item in data
        if isinstance(item, Sequence)
        and len(item) == 2
        and all(isinstance(value, int | float) and math.isfinite(value) for value in item)
    ]


def value_sd(data: object, *paths: str) -> Value | None:
    """Return a measured value found at one of the paths."""
    found = find(data, *paths) if paths else data
    if isinstance(found, Mapping) and isinstance(found.get("value"), int | float):
        return Value(value=float(found["value"]), sd=float(found.get("sd") or 0.0))
    return None


def text(data: object, *paths: str) -> str:
    """Return words found at one of the paths, or nothing."""
    found = find(data, *paths)
    if isinstance(found, str):
        return found
    if isinstance(found, bool):
        return "yes" if found else "no"
    return (
        ""
        if found is None or isinstance(found, Mapping | list)
        else f"{found:g}"
        if isinstance(found, float)
        else str(found)
    )


def texts(data: object, *paths: str) -> list[str]:
    """Return the sentences of a list of words, or of mappings with words in them."""
    found = find(data, *paths)
    if isinstance(found, str):
        return [found]
    if not isinstance(found, Sequence):
        return []
    said: list[str] = []
    for item in found:
        words = item if isinstance(item, str) else text(item, "words", "text", "condition", "message", "what")
        if words:
            said.append(words)
    return said


def wall_of(estimate: Data, wall: str) -> Data:
    """Return what the estimate says of one wall; empty where it says nothing."""
    for entry in items(estimate, "walls"):
        if (entry.get("id") or entry.get("wall")) == wall:
            return entry
    return {}


def room_of(estimate: Data, room: str | None) -> Data:
    """Return what the estimate says of one room; empty where it says nothing."""
    for entry in items(estimate, "rooms"):
        if (entry.get("id") or entry.get("room")) == room:
            return entry
    return {}


def heat_of(entry: Data) -> Data:
    """Return the part of a wall's entry that holds heat and moisture."""
    heat = entry.get("heat")
    return heat if isinstance(heat, Mapping) else entry


def records(data: object, keys: set[str], **equal: str) -> list[Data]:
    """Return the mappings anywhere below the data that have all the keys and the equal values, in order.

    What is large and holds no such records (heat, options, pieces) is passed over.

    Parameters
    ----------
    data
        Parsed JSON.
    keys
        Keys that a record must have.
    equal
        Values that it must have, for example ``wall="north"``.
    """
    found: list[Data] = []
    if isinstance(data, Mapping):
        if keys <= set(data) and all(data.get(key) == value for key, value in equal.items()):
            found.append(data)
        for name, value in data.items():
            if name not in LARGE and isinstance(value, Mapping | list):
                found += records(value, keys, **equal)
    elif isinstance(data, Sequence) and not isinstance(data, str):
        for value in data:
            if isinstance(value, Mapping | list):
                found += records(value, keys, **equal)
    return found
