"""Study: the joint solution on simulated features; error over bound, coverage, 95th percentiles, misclicks named."""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from multiprocessing import get_context

import numpy as np

from tests.simulated_walls import Case, Placed, Setting, View, simulate, two_sheets_three_photos
from vision.advice import limits
from vision.measure import WallSolution, measure_wall
from vision.reliability import redundancy
from vision.results import solved_sizes
from vision.solve import Solution, click_limit

DEPENDS = (
    *(
        f"vision/{name}.py"
        for name in ("lens", "pose", "priors", "model", "problem", "unknowns", "observe", "start", "solve", "lengths")
    ),
    "vision/measure.py",
    "vision/results.py",
    "vision/reliability.py",
    "vision/checks.py",
    "vision/reference_pulls.py",
    "vision/board_nose.py",
    "vision/corners.py",
    "tests/simulated_walls.py",
    "tests/studies/measurement.py",
)
CASES = 4000  # a configuration, in full
CHUNK = 200
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
    "sheet_one_photo_foot_hidden": Setting(references=_one("survey_sheet"), photos=(FRONTAL,), foot=False),
    "sheet_oblique": Setting(references=_one("survey_sheet"), photos=(View(yaw=(20, 35), distance_m=4.2),)),
    "two_sheets_one_photo": Setting(references=_two("survey_sheet"), photos=(FRONTAL,)),
    "two_sheets_three_photos": two_sheets_three_photos(),
    "two_sheets_three_photos_foot_hidden": replace(two_sheets_three_photos(), foot=False),
    "sheet_close_up": Setting(references=_one("survey_sheet"), photos=(FRONTAL, CLOSE)),
    "sheet_three_close_ups": Setting(references=_one("survey_sheet"), photos=(FRONTAL, *THREE_CLOSE), splay=0.05),
    "id1_taped": Setting(references=_one("id1_card"), photos=(FRONTAL,), taped_width=True),
    "clicks_only": Setting(references=_one("survey_sheet"), photos=(FRONTAL,), edges=False),
}
QUANTITIES = (
    "width_mm", "height_mm", "openings.w1.width_mm", "openings.w1.height_mm", "openings.w1.left_mm",
    "openings.w1.sill_mm", "openings.w1.reveal_depth_mm",
)  # fmt: skip
REFERENCE_CODES = ("M020", "M021", "M022", "M023")  # wrong kind, leaning, wrong size, curled


def stated(solution: WallSolution) -> dict[str, tuple[float, float]]:
    """Return value and sd of each measured size by key."""
    m = solution.measured
    out = {"width_mm": m.width_mm, "height_mm": m.height_mm}
    for o in m.openings:
        for key in ("width_mm", "height_mm", "left_mm", "sill_mm", "reveal_depth_mm"):
            out[f"openings.{o.id}.{key}"] = getattr(o, key)
    return {key: (v.value, v.sd) for key, v in out.items() if v is not None}


def summarise(pairs: list[tuple[float, float, float]]) -> dict[str, float]:
    """Return the figures of one quantity from (truth, value, sd) triples.

    The error stands over its bound in two ways: root mean square over root mean square, which a few hard cases rule,
    and the root mean square of each error over its own bound.
    """
    truth, value, sd = np.array(pairs).T
    error = value - truth
    return {
        "n": len(pairs),
        "rms_over_bound": float(np.sqrt(np.mean(error**2) / np.mean(sd**2))),
        "rms_of_error_over_bound": float(np.sqrt(np.mean((error / sd) ** 2))),
        "coverage": float(np.mean(np.abs(error) <= 1.96 * sd)),
        "p95_percent": float(np.quantile(np.abs(error / truth), 0.95) * 100),
        "p95_percent_of_the_bound": float(1.96 * np.sqrt(np.mean((sd / truth) ** 2)) * 100),
        "p95_mm": float(np.quantile(np.abs(error), 0.95)),
        "bias_over_sd": float(np.mean(error / sd)),
    }


@dataclass(slots=True)
class _Tally:
    """What a number of cases of one configuration gave."""

    pairs: dict[str, list[tuple[float, float, float]]]
    cases: int = 0
    alarms: int = 0
    doubted: int = 0
    slips: int = 0
    slips_named: int = 0
    slips_foreseen: float = 0.0
    wrong_kinds: int = 0
    wrong_kinds_named: int = 0
    causes: list[dict[str, float]] = field(default_factory=list)


def _chunk(task: tuple[str, int, int, int, int]) -> _Tally:
    """Return the tally of one chunk of cases: configuration, seed, its number, cases, slips of 15 px among them."""
    name, seed, number, cases, slips = task
    setting = CONFIGURATIONS[name]
    rng = np.random.default_rng([seed, list(CONFIGURATIONS).index(name), number])
    tally = _Tally({}, cases=cases, slips=slips)
    for k in range(cases):
        case = simulate(setting, rng)
        solution = measure_wall(case.problem)
        tally.alarms += bool(solution.solution and solution.solution.outliers)
        tally.doubted += any(f.code in REFERENCE_CODES for f in solution.findings)
        for key, (value, sd) in stated(solution).items():
            if key in QUANTITIES and key in case.truth:
                tally.pairs.setdefault(key, []).append((case.truth[key], value, sd))
        if k < slips and solution.solution:
            named, foreseen = _slip(case, solution.solution, rng, 15.0)
            tally.slips_named += named
            tally.slips_foreseen += foreseen
            tally.causes.append(_causes(solution.solution))
            if case.problem.references[0].kind != "survey_sheet":
                tally.wrong_kinds += 1
                tally.wrong_kinds_named += _wrong_kind_is_named(case, rng)
    return tally


def _causes(solution: Solution) -> dict[str, float]:
    """Return the shares of the variance of the opening's height by source."""
    named, rows, _ = solved_sizes(solution, [])
    return {cause.source: cause.share for cause in limits(solution, named, rows, "openings.w1.height_mm")}


def _wrong_kind_is_named(case: Case, rng: np.random.Generator) -> bool:
    """Return whether a thing of 5 to 30 % other proportions, taken for the declared reference, is refused as that."""
    stretch = np.array([np.exp(rng.uniform(np.log(1.05), np.log(1.30)) * rng.choice([-1.0, 1.0])), 1.0])
    sightings = tuple(replace(s, model_mm=s.model_mm * stretch) for s in case.problem.sightings)
    findings = measure_wall(replace(case.problem, sightings=sightings)).findings
    return any(f.code == "M020" and f.severity == "stop" for f in findings)


def _slip(case: Case, clean: Solution, rng: np.random.Generator, size_px: float) -> tuple[bool, float]:
    """Return whether one mark moved in a random direction is named, and how likely the geometry makes that.

    The likelihood is that of the leave-one-out test: noncentral chi-square, two degrees of freedom, with the redundancy
    that the mark has in the undisturbed solution. No test of that level can name more.
    """
    from scipy.stats import ncx2

    marks = list(case.problem.marks)
    i = int(rng.integers(len(marks)))
    angle = rng.uniform(0.0, 2.0 * np.pi)
    x, y = marks[i].px
    moved = replace(marks[i], px=(x + size_px * np.cos(angle), y + size_px * np.sin(angle)))
    point = clean.observations.point_label.index(marks[i])
    slip = size_px * np.array([np.cos(angle), np.sin(angle)]) / marks[i].sd_px
    strength = float(slip @ redundancy(clean, point) @ slip)
    foreseen = float(ncx2.sf(click_limit(int(np.sum(clean.observations.click))), 2, max(strength, 1e-9)))
    marks[i] = moved
    solution = measure_wall(replace(case.problem, marks=tuple(marks)))
    outliers = solution.solution.outliers if solution.solution else []
    return any(o.mark == moved for o in outliers), foreseen


def _figures(tallies: list[_Tally]) -> dict[str, object]:
    pairs: dict[str, list[tuple[float, float, float]]] = {}
    for tally in tallies:
        for key, triples in tally.pairs.items():
            pairs.setdefault(key, []).extend(triples)
    cases = sum(t.cases for t in tallies)
    slips = sum(t.slips for t in tallies)
    causes = [c for t in tallies for c in t.causes]
    sources = sorted({source for c in causes for source in c})
    return {
        "cases": cases,
        "false_alarm_share": sum(t.alarms for t in tallies) / cases,
        "right_references_doubted_share": sum(t.doubted for t in tallies) / cases,
        "slips_of_15_px": slips,
        "slips_named_share": sum(t.slips_named for t in tallies) / slips if slips else None,
        "slips_named_share_by_geometry": sum(t.slips_foreseen for t in tallies) / slips if slips else None,
        "wrong_kinds": sum(t.wrong_kinds for t in tallies),
        "wrong_kinds_named": sum(t.wrong_kinds_named for t in tallies),
        "opening_height_variance_by_source": {s: float(np.mean([c.get(s, 0.0) for c in causes])) for s in sources},
        "quantities": {key: summarise(values) for key, values in pairs.items()},
    }


def run(seed: int, part: float) -> dict[str, object]:
    """Return the study's figures; ``part`` is the share of the full number of cases.

    Cases are drawn in chunks with seeds of their own, so the figures do not depend on the number of processes.
    """
    cases = max(4, round(CASES * part))
    chunks = [min(CHUNK, cases - start) for start in range(0, cases, CHUNK)]
    tasks = [
        (name, seed, number, size, max(1, size // 10))
        for name in CONFIGURATIONS
        for number, size in enumerate(chunks)
    ]  # fmt: skip
    if cases <= CHUNK:
        tallies = [_chunk(task) for task in tasks]
    else:
        with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
            tallies = list(pool.map(_chunk, tasks))
    return {
        name: _figures([tally for tally, task in zip(tallies, tasks, strict=True) if task[0] == name])
        for name in CONFIGURATIONS
    }


if __name__ == "__main__":
    for chosen in sys.argv[2:] or list(CONFIGURATIONS):
        figures = _figures([_chunk((chosen, 0, 0, int(sys.argv[1]), int(sys.argv[1]) // 4))])
        print(chosen, {k: v for k, v in figures.items() if k != "quantities"})
        for key, row in figures["quantities"].items():  # type: ignore[attr-defined]
            print("  ", key, " ".join(f"{k}={v:.3g}" for k, v in row.items()))
