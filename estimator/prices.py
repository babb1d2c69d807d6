"""The price list: what the person edits, invented until then."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from vision.findings import PerpendError


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """A price range in pounds for one unit, without VAT."""

    low: float
    high: float
    unit: str
    source: str = "invented default"


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Prices by key, and the spread kept for what nobody foresaw.

    ``edited`` is False for the invented defaults. ``heat`` are the keys for linings and fuel that the comparison of
    linings takes (``lining.<insulation>``, ``fuel.<heating>``).
    """

    rows: Mapping[str, Price]
    heat: Mapping[str, tuple[float, float]]
    edited: bool = False

    def line(self, key: str, quantity: float) -> tuple[float, float] | None:
        """Return low and high pounds for ``quantity`` units, or None where the list has no such key."""
        price = self.rows.get(key)
        return None if price is None else (price.low * quantity, price.high * quantity)


def load_prices(text: str) -> Prices:
    """Return the invented prices with those in ``text`` put in their place.

    Parameters
    ----------
    text
        TOML: a table for each key with ``low`` and ``high`` in pounds for one ``unit``, as in
        ``estimator/data/price_list/default.toml``; keys under ``[heat]`` go to the comparison of linings.

    Raises
    ------
    PerpendError
        When the text is not TOML, a key is unknown (the nearest known one is named), or a price is no range of numbers.
    """
    base = default_prices()
    rows, heat = dict(base.rows), dict(base.heat)
    for key, entry in _tables(text).items():
        if key == "heat":
            heat |= {name: _range(f"heat.{name}", value) for name, value in entry.items()}
            continue
        if key not in rows:
            raise PerpendError(f"prices: unknown key {key!r}. Did you mean {_nearest(key, rows)!r}?")
        unknown = set(entry) - {"low", "high", "unit", "source"}
        if unknown:
            raise PerpendError(
                f"prices, {key}: unknown entry {sorted(unknown)[0]!r}. Write low, high, unit and source."
            )
        low, high = _range(key, entry)
        unit = str(entry.get("unit", rows[key].unit))
        if unit != rows[key].unit:
            raise PerpendError(f"prices, {key}: the unit is {unit!r}, but it is reckoned by {rows[key].unit!r}.")
        rows[key] = Price(low=low, high=high, unit=unit, source=str(entry.get("source", "the person's price list")))
    return Prices(rows=rows, heat=heat, edited=True)


@cache
def default_prices() -> Prices:
    """Return the invented default prices."""
    text = (resources.files("estimator") / "data" / "price_list" / "default.toml").read_text(encoding="utf-8")
    rows = {}
    for key, entry in _tables(text).items():
        low, high = _range(key, entry)
        rows[key] = Price(low=low, high=high, unit=str(entry["unit"]), source=str(entry["source"]))
    return Prices(rows=rows, heat={})


def default_price_list() -> str:
    """Return the default price list as TOML text, for the person to edit."""
    return (resources.files("estimator") / "data" / "price_list" / "default.toml").read_text(encoding="utf-8")


def _tables(text: str) -> dict[str, Mapping[str, Any]]:
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PerpendError(
            f"prices: not readable as TOML ({error}). Keep the form of the default price list."
        ) from error
    for key, entry in raw.items():
        if not isinstance(entry, dict):
            raise PerpendError(f"prices: {key!r} is {entry!r}. Write a table: [{key}], then low = and high =.")
    return raw


def _range(key: str, entry: Any) -> tuple[float, float]:
    pair: list[Any] = [None, None]
    if isinstance(entry, dict):
        pair = [entry.get("low"), entry.get("high")]
    elif isinstance(entry, list) and len(entry) == 2:
        pair = entry
    low, high = pair
    for name, value in (("low", low), ("high", high)):
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            raise PerpendError(f"prices, {key}: {name} is {value!r}. Write a number of at least 0, in pounds.")
    if low > high:
        raise PerpendError(f"prices, {key}: low {low} is more than high {high}. Change them over.")
    return float(low), float(high)


def _nearest(key: str, known: Mapping[str, Price]) -> str:
    import difflib

    close = difflib.get_close_matches(key, known, n=1, cutoff=0.0)
    return close[0]
