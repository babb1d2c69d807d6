"""Study: small wrong changes to the solver, the heat and the boards; do the quick tests notice?"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from tests.mutants import ROOT, Mutant, Trials, mutant_at, sites, unchanged
from tests.run_study import code_sha256

GROUPS = {
    "solver": (
        ("vision.solve", "vision.model", "vision.observe", "vision.unknowns"),
        (
            "tests/test_model.py", "tests/test_observe.py", "tests/test_descent.py", "tests/test_slips.py",
            "tests/test_solve.py", "tests/test_measure.py", "tests/test_lengths.py", "tests/test_lens_and_pose.py",
            "tests/test_little_to_see.py",
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
    "tests/plain_wall.py",
    "tests/linear_wall.py",
    "tests/mutants.py",
    "tests/cpu_times.py",
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
MOST_S = 25.0
"""Tests tried against one mutant, shortest first, take this long together at most."""
_FACE = (
    "return (Face(wall=wall.id, width=face_width, height_left=whole_mm(left or right or {}), "
    "height_right=whole_mm(right or left or {}), gaps=tuple(gaps), boxes=boxes), findings)"
)
_TALL = "face_width, tall = (whole_mm(width), whole_mm(max(left or {}, right or {})))"
EQUIVALENT: dict[str, str] = {
    f"estimator.faces: {_FACE.format('0.0', '0.0')} -> {_FACE.format(*zeros)}": (
        "one of the heights is known here: the function has returned before if neither is, so the last number is never "
        "used and only contents the type checker"
    )
    for zeros in (("1.0", "0.0"), ("0.0", "1.0"))
}
EQUIVALENT |= {
    f"estimator.faces: {_TALL.format('0.0', '0.0')} -> {_TALL.format(*zeros)}": (
        "the number stands in for a height that is not known beside one that is; what is lined is higher than 1 mm, "
        "so it is never the greater"
    )
    for zeros in (("1.0", "0.0"), ("0.0", "1.0"))
}
EQUIVALENT |= {
    "estimator.faces: return a.left < b.right and b.left < a.right and (a.bottom < b.top) and (b.bottom < a.top) -> "
    "return a.left <= b.right and b.left < a.right and (a.bottom < b.top) and (b.bottom < a.top)": (
        "openings are held against each other from left to right and have a width, so that the first always begins "
        "before the second ends"
    ),
    "estimator.cutting: if limit is not None and len(free) + 1 >= limit: -> if limit is not None and len(free) - 1 >= "
    "limit:": "it only saves time: a plan that takes no fewer boards is thrown away by the caller all the same",
    "estimator.moisture: if dried >= 0: -> if dried > 0:": "the outer face holds no water, so that it never dries",
    "estimator.moisture: if dried >= 0: -> if dried >= 1:": "the outer face holds no water, so that it never dries",
}
EQUIVALENT |= {
    f"estimator.junctions: inside_{a} = (cell_{a} > {low}) & (cell_{a} < {high}) -> inside_{a} = {changed}": (
        "the edges of every rectangle are lines of the grid, so that no middle of a cell lies on one"
    )
    for a, low, high in (("x", "left", "right"), ("y", "bottom", "top"))
    for changed in (
        f"(cell_{a} >= {low}) & (cell_{a} < {high})",
        f"(cell_{a} > {low}) & (cell_{a} <= {high})",
    )
}
_OF_LENSES = "the unknowns begin with a lens, so that no corner stands at their beginning"
_LAST_CORNER = (
    "the second corner of an edge is never the origin, so that the other value only contents the type checker"
)
_EVEN = "evenly spaced along the trace in any scale: the curve and its direction at each point are the same"
EQUIVALENT |= {
    f"vision.{change}": why
    for change, why in {
        "observe: index = self._quad_place(column, column, 0.0, -1, (0.0, 0.0), mark.proud_mm) -> "
        "index = self._quad_place(column, column, 0.0, -2, (0.0, 0.0), mark.proud_mm)":
            "any column below nought is none",
        "observe: pa = vector[a:a + 2] if a >= 0 else np.zeros(2) -> pa = vector[a:a + 2] if a > 0 else np.zeros(2)":
            _OF_LENSES,
        "observe: pa = vector[a:a + 2] if a >= 0 else np.zeros(2) -> pa = vector[a:a + 2] if a >= 1 else np.zeros(2)":
            _OF_LENSES,
        "observe: pb = vector[b:b + 2] if b >= 0 else np.zeros(2) -> pb = vector[b:b + 2] if b > 0 else np.zeros(2)":
            _OF_LENSES,
        "observe: pb = vector[b:b + 2] if b >= 0 else np.zeros(2) -> pb = vector[b:b + 2] if b >= 1 else np.zeros(2)":
            _OF_LENSES,
        "observe: pb = vector[b:b + 2] if b >= 0 else np.zeros(2) -> pb = vector[b:b + 2] if b >= 0 else np.zeros(3)":
            _LAST_CORNER,
        "observe: if column >= 0: -> if column > 0:": _OF_LENSES,
        "observe: if column >= 0: -> if column >= 1:": _OF_LENSES,
        "observe: t = np.linspace(-1.0, 1.0, len(points_px)) -> t = np.linspace(-2.0, 1.0, len(points_px))": _EVEN,
        "observe: t = np.linspace(-1.0, 1.0, len(points_px)) -> t = np.linspace(-1.0, 2.0, len(points_px))": _EVEN,
        "observe: along = np.gradient(points_px, axis=0) -> along = np.gradient(points_px, axis=1)":
            "the value is replaced before it is used",
        "solve: damping *= max(1.0 / 3.0, 1.0 - (2.0 * min(gain, 1.0) - 1.0) ** 3) -> "
        "damping *= max(1.0 / 3.0, 1.0 - (2.0 * min(gain, 2.0) - 1.0) ** 3)":
            "a gain above one leaves a third of the damping either way",
    }.items()
}  # fmt: skip
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
    that no quick test reaches is a survivor. What has been tried is kept in the system's folder for such things, so
    that a run that was cut off goes on where it stopped.
    """
    groups: dict[str, dict[str, Any]] = {}
    for group, (modules, _) in GROUPS.items():
        told = [tried(module, seed, part) for module in modules]
        survived = [place for one in told for place in one["survived"]]
        groups[group] = {
            "tried": sum(one["tried"] for one in told),
            "killed": sum(one["killed"] for one in told),
            "killed_by_running_out_of_time": sum(one["out_of_time"] for one in told),
            "survived": [place for place in survived if _name(place) not in EQUIVALENT],
            "equivalent": {place: EQUIVALENT[_name(place)] for place in survived if _name(place) in EQUIVALENT},
            "cpu_seconds": round(sum(one["cpu_seconds"] for one in told), 1),
        }
    count = sum(told["tried"] for told in groups.values())
    killed = sum(told["killed"] for told in groups.values())
    equivalent = sum(len(told["equivalent"]) for told in groups.values())
    return {
        "groups": groups,
        "tried": count,
        "killed": killed,
        "killed_share": killed / count,
        "equivalent": equivalent,
        "killed_share_without_equivalent": killed / max(1, count - equivalent),
    }


def tried(module: str, seed: int, part: float) -> dict[str, Any]:
    """Return what came of a module's mutants, from an earlier run of the same code where there was one."""
    own = (*DEPENDS, "tests/studies/mutation.py")
    name = f"{module}-{seed}-{part:g}-{code_sha256(own)[:16]}.json"
    kept = Path(tempfile.gettempdir()) / "perpend_mutants" / name
    if kept.exists():
        told: dict[str, Any] = json.loads(kept.read_text(encoding="utf-8"))
        return told
    files = next(files for modules, files in GROUPS.values() if module in modules)
    told = _trial(_some(random.Random(f"{seed} {module}"), module, max(1, round(MUTANTS * part / 12))), files)
    kept.parent.mkdir(exist_ok=True)
    kept.write_text(json.dumps(told), encoding="utf-8")
    return told


def _name(place: str) -> str:
    return place.rpartition(" (line ")[0]


def _some(rng: random.Random, module: str, number: int) -> list[Mutant]:
    everything = sites(module)
    return [mutant_at(module, site) for site in sorted(rng.sample(everything, min(number, len(everything))))]


def _trial(sample: Sequence[Mutant], files: Sequence[str]) -> dict[str, Any]:
    module = sample[0].module
    reach, lasts = reaching(module, files)
    survived, out_of_time, used_s = [], 0, 0.0
    with Trials() as trials:
        # the same source, only rewritten, must pass: else the tests would notice nothing real
        everything = shortest(set().union(*reach.values()), lasts, most_s=60.0)
        code, _ = trials.run(module, unchanged(module), everything, cpu_s=120.0)
        if code != 0:
            raise RuntimeError(f"{module}: the tests fail on the unchanged source (pytest ends with {code})")
        for mutant in sample:
            tests = shortest(reach.get(mutant.line) or reach.get(mutant.statement_line, set()), lasts)
            code, seconds = trials.run(module, mutant.source, tests, cpu_s=60.0) if tests else (0, 0.0)
            used_s += seconds
            out_of_time += code < 0
            if code == 0:
                survived.append(f"{mutant.name} (line {mutant.line}, {len(tests)} tests)")
    return {
        "tried": len(sample),
        "killed": len(sample) - len(survived),
        "out_of_time": out_of_time,
        "survived": survived,
        "cpu_seconds": used_s,
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


def reaching(module: str, files: Sequence[str]) -> tuple[dict[int, set[str]], dict[str, float]]:
    """Return which quick tests reach each line of a module, and how long each takes, in seconds of the processor.

    What a fixture of a whole file reaches counts for every test of the file.
    """
    lines, lasts = _watched(module.split(".", maxsplit=1)[0], tuple(files))
    of_file: dict[str, set[str]] = defaultdict(set)
    for test in lasts:
        of_file[test.split("::", maxsplit=1)[0]].add(test)
    own = lines.get(f"{module.replace('.', '/')}.py", {})
    return {line: _tests(contexts, of_file, lasts) for line, contexts in own.items()}, lasts


@cache
def _watched(core: str, files: tuple[str, ...]) -> tuple[dict[str, dict[int, list[str]]], dict[str, float]]:
    """Run the tests once; return by file of a core and line the tests and phases that ran it, and the tests' times."""
    from coverage import CoverageData

    with tempfile.TemporaryDirectory() as scratch:
        data, told = Path(scratch) / "coverage", Path(scratch) / "told.json"
        subprocess.run(
            [
                sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-m", "not long", *files,
                *(f"--deselect={test}" for test in SLOW),
                f"--cov={core}", "--cov-context=test", "--cov-report=", "-p", "tests.cpu_times",
            ],
            cwd=ROOT, check=True, stdout=subprocess.DEVNULL,
            env={**os.environ, "COVERAGE_FILE": str(data), "CPU_TIMES": str(told)},
        )  # fmt: skip
        lasts = {t: s for t, s in json.loads(told.read_text(encoding="utf-8")).items() if s < SLOWEST_S}
        kept = CoverageData(str(data))
        kept.read()
        lines = {
            Path(file).relative_to(ROOT).as_posix(): kept.contexts_by_lineno(file) for file in kept.measured_files()
        }
    return lines, lasts


def _tests(contexts: Sequence[str], of_file: dict[str, set[str]], lasts: dict[str, float]) -> set[str]:
    found: set[str] = set()
    for context in contexts:
        test, _, phase = context.rpartition("|")
        if not test:  # run while the module is imported: whatever is tested afterwards sees it
            found |= set(lasts)
        else:
            found |= of_file[test.split("::", maxsplit=1)[0]] if phase == "setup" else {test}
    return found


if __name__ == "__main__":
    print(json.dumps(tried(sys.argv[1], 20261125, 1.0), indent=1))
