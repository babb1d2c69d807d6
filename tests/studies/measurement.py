"""Study: the joint solution on simulated features; error over bound, coverage, 95th percentiles, misclicks named."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.simulated_walls import Case, Placed, Setting, View, simulate, two_sheets_three_photos
from vision.measure import WallSolution, measure_wall
from vision.walls import DeclaredWall

DEPENDS = ("vision/*.py", "tests/simulated_walls.py", "tests/studies/measurement.py")
CASES = 4000  # a configuration, in full
FRONTAL = View(yaw=(-12, 12), distance_m=3.75)
CLOSE = View(yaw=(20, 35), distance_m=2.0, of="opening")


def _one(kind: str) -> tuple[Placed, ...]:
    return (Placed(kind=kind, at=(0.2, 0.5)),)  # type: ignore[arg-type]


def _two(kind: str) -> tuple[Placed, ...]:
    return (Placed(kind=kind, at=(0.12, 0.25)), Placed(kind=kind, at=(0.88, 0.75)))  # type: ignore[arg-type]


THREE_CLOSE = (
    View(yaw=(-35, -25), distance_m=2.0, of="opening"), View(yaw=(-4, 4), distance_m=2.0, of="opening"),
    View(yaw=(25, 35), distance_m=2.0, of="opening"),
)  # fmt: skip
CONFIGURATIONS: dict[str, Setting] = {
    "id1_one_photo": Setting(references=_one("id1_card"), photos=(FRONTAL,)),
    "a4_one_photo": Setting(references=_one("a4"), photos=(FRONTAL,)),
    "a4_loosely_cut": Setting(references=_one("a4"), photos=(FRONTAL,), a4_sd=0.0039, size_prior_a4=0.0039),
    "sheet_one_photo": Setting(references=_one("survey_sheet"), photos=(FRONTAL,)),
    "sheet_oblique": Setting(references=_one("survey_sheet"), photos=(View(yaw=(20, 35), distance_m=4.2),)),
    "two_sheets_one_photo": Setting(references=_two("survey_sheet"), photos=(FRONTAL,)),
    "two_sheets_three_photos": two_sheets_three_photos(),
    "sheet_close_up": Setting(references=_one("survey_sheet"), photos=(FRONTAL, CLOSE)),
    "sheet_three_close_ups": Setting(references=_one("survey_sheet"), photos=(FRONTAL, *THREE_CLOSE), splay=0.05),
    "id1_taped": Setting(references=_one("id1_card"), photos=(FRONTAL,), taped_width=True),
    "clicks_only": Setting(references=_one("survey_sheet"), photos=(FRONTAL,), edges=False),
}
QUANTITIES = (
    "width_mm", "height_mm", "openings.w1.width_mm", "openings.w1.height_mm", "openings.w1.left_mm",
    "openings.w1.sill_mm", "openings.w1.reveal_depth_mm",
)  # fmt: skip


def stated(solution: WallSolution) -> dict[str, tuple[float, float]]:
    """Return value and sd of each measured size by key."""
    m = solution.measured
    out = {"width_mm": m.width_mm, "height_mm": m.height_mm}
    for o in m.openings:
        for key in ("width_mm", "height_mm", "left_mm", "sill_mm", "reveal_depth_mm"):
            out[f"openings.{o.id}.{key}"] = getattr(o, key)
    return {key: (v.value, v.sd) for key, v in out.items() if v is not None}


def summarise(pairs: list[tuple[float, float, float]]) -> dict[str, float]:
    """Return the figures of one quantity from (truth, value, sd) triples."""
    truth, value, sd = np.array(pairs).T
    error = value - truth
    return {
        "n": len(pairs),
        "rms_over_bound": float(np.sqrt(np.mean(error**2) / np.mean(sd**2))),
        "coverage": float(np.mean(np.abs(error) <= 1.96 * sd)),
        "p95_percent": float(np.quantile(np.abs(error / truth), 0.95) * 100),
        "p95_mm": float(np.quantile(np.abs(error), 0.95)),
        "bias_over_sd": float(np.mean(error / sd)),
    }


def run_configuration(setting: Setting, rng: np.random.Generator, cases: int) -> dict[str, object]:
    """Return the figures of one configuration over a number of drawn cases."""
    pairs: dict[str, list[tuple[float, float, float]]] = {}
    named, false_alarms = 0, 0
    for _ in range(cases):
        case = simulate(setting, rng)
        solution = measure_wall(case.problem)
        false_alarms += bool(solution.solution and solution.solution.outliers)
        for key, (value, sd) in stated(solution).items():
            if key in QUANTITIES and key in case.truth:
                pairs.setdefault(key, []).append((case.truth[key], value, sd))
    return {
        "cases": cases, "false_alarm_share": false_alarms / cases, "named": named,
        "quantities": {key: summarise(values) for key, values in pairs.items()},
    }  # fmt: skip


def misclick_share(setting: Setting, rng: np.random.Generator, cases: int, size_px: float) -> float:
    """Return the share of misclicks of a size, in a random direction, that are named at the right photo and point."""
    named = 0
    for _ in range(cases):
        case = simulate(setting, rng)
        marks = list(case.problem.marks)
        i = int(rng.integers(len(marks)))
        angle = rng.uniform(0.0, 2.0 * np.pi)
        x, y = marks[i].px
        marks[i] = replace(marks[i], px=(x + size_px * np.cos(angle), y + size_px * np.sin(angle)))
        solution = measure_wall(replace(case.problem, marks=tuple(marks)))
        outliers = solution.solution.outliers if solution.solution else []
        named += any(o.mark == marks[i] for o in outliers)
    return named / cases


def run(seed: int, part: float) -> dict[str, object]:
    """Return the study's figures; ``part`` is the share of the full number of cases."""
    cases = max(4, round(CASES * part))
    result: dict[str, object] = {}
    for i, (name, setting) in enumerate(CONFIGURATIONS.items()):
        result[name] = run_configuration(setting, np.random.default_rng([seed, i]), cases)
    result["misclicks_15px_named"] = misclick_share(
        CONFIGURATIONS["two_sheets_three_photos"], np.random.default_rng([seed, 99]), max(4, cases // 8), 15.0
    )
    return result


def untaped(case: Case) -> DeclaredWall:
    """Return the case's wall without its taped lengths."""
    return replace(case.problem.wall, taped={})


if __name__ == "__main__":
    names = sys.argv[2:] or list(CONFIGURATIONS)
    for name in names:
        figures = run_configuration(CONFIGURATIONS[name], np.random.default_rng(0), int(sys.argv[1]))
        print(Path(__file__).stem, name, "false alarms", figures["false_alarm_share"])
        for key, row in figures["quantities"].items():  # type: ignore[attr-defined]
            print("  ", key, " ".join(f"{k}={v:.3g}" for k, v in row.items()))
