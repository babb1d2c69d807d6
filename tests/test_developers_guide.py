"""DEVELOPERS.md leads from a figure to its formula, and to every study by its command."""

from __future__ import annotations

import importlib
import inspect
import re
from pathlib import Path

import pytest

from tests.run_study import STUDIES

GUIDE = (Path(__file__).resolve().parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = GUIDE.split("## From a figure in the report to its formula", 1)[1].split("\n## ", 1)[0]
ROWS = re.findall(r"^\| ([^|]+) \| ([^|]+) \| `([\w.]+)` \|$", SECTION, re.MULTILINE)


def test_the_table_of_formulas_is_there() -> None:
    assert len(ROWS) >= 8


@pytest.mark.parametrize(("figure", "standard", "place"), ROWS, ids=[row[0] for row in ROWS])
def test_a_figures_function_is_where_the_guide_says_and_names_the_standard(
    figure: str, standard: str, place: str
) -> None:
    room, module, *name = place.split(".")
    found = importlib.import_module(f"{room}.{module}")
    told = inspect.getdoc(getattr(found, name[0]) if name else found) or ""
    assert standard in told, f"{figure}: {place} does not name {standard}"


@pytest.mark.parametrize("heading", ["A material", "A rule", "A kind of reference", "A finding", "A function"])
def test_the_guide_says_how_to_add(heading: str) -> None:
    assert f"**{heading}.**" in GUIDE


def test_files_that_the_guide_names_are_there() -> None:
    root = Path(__file__).resolve().parent.parent
    for name in re.findall(r"`((?:estimator|intake|vision|tests)/[\w/.]+\.(?:py|toml))`", GUIDE):
        assert (root / name).exists(), name


@pytest.mark.parametrize("study", ["faults", "fuzz", "branches", "mutation", "cluster", "measurement"])
def test_each_study_is_made_again_by_one_command(study: str) -> None:
    assert f"bash tests/run --study {study}" in GUIDE
    assert (STUDIES / f"{study}.py").exists()
