"""Tables: every row names its source, and a row without one is refused."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from estimator.tables import parse_table, read_table, table_names
from vision.findings import PerpendError

DATA = Path(__file__).resolve().parent.parent / "estimator" / "data"
HEADER = '[table]\ntitle = "t"\nedition = "1"\nchecked = 2026-11-25\n'


def _rows(file: Path) -> Iterator[dict[str, object]]:
    if file.suffix == ".toml":
        content = tomllib.loads(file.read_text(encoding="utf-8"))
        yield from content.get("row") or content.values()
    else:
        lines = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
        yield from csv.DictReader(lines)


@pytest.mark.parametrize("file", sorted(DATA.rglob("*.toml")) + sorted(DATA.rglob("*.csv")), ids=lambda f: f.name)
def test_every_row_of_every_table_names_its_source(file: Path) -> None:
    rows = list(_rows(file))
    assert rows
    for row in rows:
        assert str(row.get("source") or "").strip(), f"{file.name}: {row}"


@pytest.mark.parametrize("name", table_names())
def test_every_packaged_table_is_read_and_dated(name: str) -> None:
    table = read_table(name)
    assert table.rows
    assert table.checked.year >= 2026


@pytest.mark.parametrize("source", ["", '\nsource = ""', '\nsource = "  "', "\nsource = 3"])
def test_a_row_without_a_source_is_refused_by_name(source: str) -> None:
    with pytest.raises(PerpendError, match=r"table t, row 'a': no source\. Name the standard"):
        parse_table("t", f'{HEADER}[[row]]\nkey = "a"{source}')


def test_a_key_used_twice_is_refused() -> None:
    row = '[[row]]\nkey = "a"\nsource = "s"\n'
    with pytest.raises(PerpendError, match="row 2: the key 'a' was used before"):
        parse_table("t", HEADER + row + row)


def test_a_row_without_a_key_is_refused() -> None:
    with pytest.raises(PerpendError, match="row 1: no key"):
        parse_table("t", f'{HEADER}[[row]]\nsource = "s"')


@pytest.mark.parametrize("field", ["title", "edition", "checked"])
def test_a_header_must_say_what_edition_and_when(field: str) -> None:
    text = "\n".join(line for line in HEADER.splitlines() if not line.startswith(field))
    with pytest.raises(PerpendError, match=f"the header has no {field}"):
        parse_table("t", text)


def test_an_unknown_row_is_answered_with_the_known_ones() -> None:
    with pytest.raises(PerpendError, match=r"no row 'brik'\. Choose one of: aac_block"):
        read_table("materials").row("brik")


def test_an_unknown_table_is_answered_with_the_known_ones() -> None:
    with pytest.raises(PerpendError, match="table nothing: no such file"):
        read_table("nothing")
