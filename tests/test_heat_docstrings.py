"""Public functions of heat and moisture say what they take, and their examples run."""

from __future__ import annotations

import doctest
import importlib
import inspect

import pytest

MODULES = (
    "climate",
    "existing_walls",
    "floor_loss",
    "heat_findings",
    "junction_models",
    "junction_study",
    "junctions",
    "layers",
    "lined_wall",
    "linings",
    "materials",
    "moisture",
    "option_rows",
    "options",
    "rules",
    "saving",
    "tables",
    "transmittance",
    "verdict_words",
)


@pytest.mark.parametrize("name", MODULES)
def test_every_argument_is_named_in_its_functions_docstring(name: str) -> None:
    module = importlib.import_module(f"estimator.{name}")
    for label, function in inspect.getmembers(module):
        if label.startswith("_") or getattr(function, "__module__", "") != module.__name__ or inspect.isclass(function):
            continue
        if callable(function):
            text = inspect.getdoc(function) or ""
            missing = [p for p in inspect.signature(function).parameters if p not in text]
            assert not missing, f"{name}.{label}: {missing}"
            assert text.startswith(("Return", "Say")), f"{name}.{label}"


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_run(name: str) -> None:
    assert doctest.testmod(importlib.import_module(f"estimator.{name}")).failed == 0
