"""Study: small wrong changes to the solver, the heat and the boards; do the quick tests notice?"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from tests.mutants import ROOT, Mutant, Trials, mutant_at, sites, unchanged

GROUPS = {
    "solver": (
        ("vision.solve", "vision.model", "vision.observe", "vision.unknowns"),
        (
            "tests/test_model.py", "tests/test_solve.py", "tests/test_measure.py", "tests/test_lengths.py",
            "tests/test_lens_and_pose.py", "tests/test_little_to_see.py",
        ),
    ),
    "heat": (
        ("estimator.layers", "estimator.transmittance", "estimator.moisture", "estimator.junctions"),
        (
            "tests/test_layers.py", "tests/test_transmittance.py", "tests/test_moisture.py", "tests/test_junctions.py",
            "tests/test_junction_models.py", "tests/outside/test_iso_10211.py", "tests/outside/test_psychrolib.py",
            "tests/outside/test_published_transmittances.py",
        ),
    ),
    "boards": (
        ("estimator.faces", "estimator.columns", "estimator.cutting", "estimator.cut_plan"),
        ("tests/test_faces.py", "tests/test_layout.py", "tests/test_cutting.py", "tests/test_little_said.py"),
    ),
}  # fmt: skip
DEPENDS = (
    *(f"{module.replace('.', '/')}.py" for modules, _ in GROUPS.values() for module in modules),
    *(tests for _, files in GROUPS.values() for tests in files),
    "tests/mutants.py",
)
MUTANTS = 216
SLOW = (
    "tests/test_measure.py::test_the_stated_uncertainty_is_the_spread_of_many_solves",
    "tests/test_measure.py::test_the_covariance_is_the_spread_of_redrawn_solutions",
    "tests/test_layout.py::test_a_seeded_part_of_the_study_meets_its_bounds",
)
"""Tests of more than five seconds, left out from the start."""
SLOWEST_S = 5.0
"""A test that takes longer is not tried: the quick tests are what a person runs while working."""
MOST_S = 9.0
"""Tests tried against one mutant, shortest first, take this long together at most."""
EQUIVALENT: dict[str, str] = {}
"""Mutants that no test can notice, with the argument why, by their name."""


def run(seed: int, part: float) -> dict[str, Any]:
    """Return how many mutants the quick tests noticed, in each group, and every one that they did not.

    Parameters
    ----------
    seed
        Of the sample.
    part
        Share of the 216 mutants, an equal number from each module.

    Notes
    -----
    Against each mutant only those tests run that reach its line, shortest first, until one fails. A mutant on a line
    that no quick test reaches is a survivor.
    """
    rng = random.Random(seed)
    groups: dict[str, dict[str, Any]] = {}
    for group, (modules, files) in GROUPS.items():
        each = max(1, round(MUTANTS * part / 12))
        sample = [mutant for module in modules for mutant in _some(rng, module, each)]
        groups[group] = _trial(sample, modules, files)
    tried = sum(told["tried"] for told in groups.values())
    killed = sum(told["killed"] for told in groups.values())
    equivalent = sum(len(told["equivalent"]) for told in groups.values())
    return {
        "groups": groups,
        "tried": tried,
        "killed": killed,
        "killed_share": killed / tried,
        "equivalent": equivalent,
        "killed_share_without_equivalent": killed / max(1, tried - equivalent),
    }


def _some(rng: random.Random, module: str, number: int) -> list[Mutant]:
    everything = sites(module)
    return [mutant_at(module, site) for site in sorted(rng.sample(everything, min(number, len(everything))))]


def _trial(sample: Sequence[Mutant], modules: Sequence[str], files: Sequence[str]) -> dict[str, Any]:
    reach, lasts = reaching(modules, files)
    survived, equivalent, out_of_time, used_s = [], {}, 0, 0.0
    with Trials() as trials:
        for module in modules:  # the same source, only rewritten, must pass: else the tests would notice nothing real
            everything = shortest(set().union(*reach[module].values()), lasts, most_s=60.0)
            code, _ = trials.run(module, unchanged(module), everything, cpu_s=120.0)
            if code != 0:
                raise RuntimeError(f"{module}: the tests fail on the unchanged source (pytest ends with {code})")
        for mutant in sample:
            lines = reach[mutant.module]
            tests = shortest(lines.get(mutant.line) or lines.get(mutant.statement_line, set()), lasts)
            code, seconds = trials.run(mutant.module, mutant.source, tests, cpu_s=30.0) if tests else (0, 0.0)
            used_s += seconds
            out_of_time += code < 0
            if code == 0:
                place = f"{mutant.name} (line {mutant.line}, {len(tests)} tests)"
                if mutant.name in EQUIVALENT:
                    equivalent[place] = EQUIVALENT[mutant.name]
                else:
                    survived.append(place)
    return {
        "tried": len(sample),
        "killed": len(sample) - len(survived) - len(equivalent),
        "killed_by_running_out_of_time": out_of_time,
        "survived": survived,
        "equivalent": equivalent,
        "cpu_seconds": round(used_s, 1),
    }


def shortest(tests: set[str], lasts: dict[str, float], *, most_s: float = MOST_S) -> list[str]:
    """Return the tests, shortest first, as many as take so many seconds together."""
    chosen: list[str] = []
    together_s = 0.0
    for test in sorted(tests & lasts.keys(), key=lambda name: (lasts[name], name)):
        together_s += lasts[test]
        if chosen and together_s > most_s:
            break
        chosen.append(test)
    return chosen


def reaching(modules: Sequence[str], files: Sequence[str]) -> tuple[dict[str, dict[int, set[str]]], dict[str, float]]:
    """Return which quick tests reach each line of each module, and how long each test takes, in seconds.

    What a fixture of a whole file reaches counts for every test of the file.
    """
    from coverage import CoverageData

    with tempfile.TemporaryDirectory() as scratch:
        data, told = Path(scratch) / "coverage", Path(scratch) / "told.xml"
        subprocess.run(
            [
                sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-m", "not long", *files,
                *(f"--deselect={test}" for test in SLOW),
                *(f"--cov={module.split('.', maxsplit=1)[0]}" for module in modules[:1]), "--cov-context=test",
                "--cov-report=", f"--junitxml={told}", "-o", "junit_duration_report=total",
            ],
            cwd=ROOT, env={**os.environ, "COVERAGE_FILE": str(data)}, check=True, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        lasts = {
            f"{case.attrib['classname'].replace('.', '/')}.py::{case.attrib['name']}": float(case.attrib["time"])
            for case in ElementTree.parse(told).iter("testcase")
        }
        lasts = {test: seconds for test, seconds in lasts.items() if seconds < SLOWEST_S}
        kept = CoverageData(str(data))
        kept.read()
        of_file: dict[str, set[str]] = defaultdict(set)
        for test in lasts:
            of_file[test.split("::", maxsplit=1)[0]].add(test)
        reach: dict[str, dict[int, set[str]]] = {}
        for module in modules:
            lines = kept.contexts_by_lineno(str(ROOT / f"{module.replace('.', '/')}.py"))
            reach[module] = {line: _tests(contexts, of_file, lasts) for line, contexts in lines.items()}
    return reach, lasts


def _tests(contexts: Sequence[str], of_file: dict[str, set[str]], lasts: dict[str, float]) -> set[str]:
    found: set[str] = set()
    for context in contexts:
        test, _, phase = context.rpartition("|")
        if not test:  # run while the module is imported: whatever is tested afterwards sees it
            found |= set(lasts)
        else:
            found |= of_file[test.split("::", maxsplit=1)[0]] if phase == "setup" else {test}
    return found
