"""Cost of the joint solution against a fixed NumPy workload in the same run, so that the machine drops out.

The workload is what the solution is made of: normal equations of an 800 x 120 Jacobian, formed and solved; 2.9 to
3.5 ms on two cores of a rented machine. There a cold solve of three photos took 20 times and a re-solve 12 times as
long, 57 and 36 ms. What is asked, 400 and 120 ms, is 114 and 34 times the slower figure; the limits below are half of
it and just under it.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.simulated_walls import simulate, two_sheets_three_photos
from vision.measure import measure_wall


def _cpu_s(work: Callable[[], object], repeats: int) -> float:
    """Return the least CPU time of several runs, which other load on the machine disturbs least."""
    times = []
    for _ in range(repeats):
        begun = time.process_time()
        work()
        times.append(time.process_time() - begun)
    return min(times)


def _workload() -> None:
    rng = np.random.default_rng(0)
    J = rng.normal(size=(800, 120))
    for _ in range(5):
        normal = J.T @ J
        np.linalg.solve(normal + np.eye(120), J.T @ np.ones(800))


def test_a_cold_solve_and_a_re_solve_keep_their_ratio_to_the_workload() -> None:
    case = simulate(two_sheets_three_photos(), np.random.default_rng(1))
    cold = measure_wall(case.problem)
    marks = list(case.problem.marks)
    marks[0] = replace(marks[0], px=(marks[0].px[0] + 3.0, marks[0].px[1]))
    moved = replace(case.problem, marks=tuple(marks))
    floor = _cpu_s(_workload, 9)
    first = _cpu_s(lambda: measure_wall(case.problem), 5) / floor
    again = _cpu_s(lambda: measure_wall(moved, start=cold), 5) / floor
    print(f"cold solve {first:.1f}, re-solve {again:.1f} times the workload of {1e3 * floor:.1f} ms")
    assert again < first
    assert first < 57.0
    assert again < 30.0
