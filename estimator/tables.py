"""The data tables: read, checked and handed out; a row without a source is refused.

A table is a TOML file in ``estimator/data`` with a ``[table]`` header (``title``, ``edition``, ``checked``) and
``[[row]]`` entries. Each row has a unique ``key`` and a ``source``: a standard or publication with edition and clause
or page, or ``from memory``, or ``invented default``, or ``common practice, no source``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib import resources
from typing import Any

from vision.findings import PerpendError

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table as read: what it is, which edition, when somebody last checked it, and its rows by key."""

    name: str
    title: str
    edition: str
    checked: date
    rows: Mapping[str, Row]

    def row(self, key: str) -> Row:
        """Return the row called ``key``.

        Raises
        ------
        PerpendError
            When the table has no such row; the message names the nearest ones.
        """
        if key not in self.rows:
            raise PerpendError(f"table {self.name}: no row {key!r}. Choose one of: {', '.join(sorted(self.rows))}.")
        return self.rows[key]


def parse_table(name: str, text: str) -> Table:
    """Return the table written in ``text``.

    Parameters
    ----------
    name
        The table's name, for messages.
    text
        TOML with a ``[table]`` header and ``[[row]]`` entries.

    Raises
    ------
    PerpendError
        When the header is incomplete, or a row has no key, a key that was used before, or no source.
    """
    raw = tomllib.loads(text)
    header = raw.get("table", {})
    for field in ("title", "edition", "checked"):
        if not header.get(field):
            raise PerpendError(f"table {name}: the header has no {field}. Add it under [table].")
    if not isinstance(header["checked"], date):
        raise PerpendError(f"table {name}: checked is {header['checked']!r}. Write it as a date, like 2026-11-25.")
    rows: dict[str, Row] = {}
    for number, row in enumerate(raw.get("row", []), start=1):
        key = row.get("key")
        if not isinstance(key, str) or not key:
            raise PerpendError(f"table {name}, row {number}: no key. Give each row a unique key.")
        if key in rows:
            raise PerpendError(f"table {name}, row {number}: the key {key!r} was used before. Keys are unique.")
        source = row.get("source")
        if not isinstance(source, str) or not source.strip():
            raise PerpendError(f"table {name}, row {key!r}: no source. Name the standard, edition and clause or page.")
        rows[key] = row
    return Table(name=name, title=header["title"], edition=str(header["edition"]), checked=header["checked"], rows=rows)


@cache
def read_table(name: str) -> Table:
    """Return the table ``estimator/data/<name>.toml``, checked.

    Raises
    ------
    PerpendError
        When there is no such table or it breaks a rule of :func:`parse_table`.
    """
    file = resources.files("estimator") / "data" / f"{name}.toml"
    if not file.is_file():
        raise PerpendError(f"table {name}: no such file in estimator/data. Choose one of: {', '.join(table_names())}.")
    return parse_table(name, file.read_text(encoding="utf-8"))


def table_names() -> tuple[str, ...]:
    """Return the names of the tables that come with the package."""
    folder = resources.files("estimator") / "data"
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))
