"""The same problem gives the same numbers to the last bit, whatever the process's hash seed."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np

from vision.start import _level

SOLVE = """
import hashlib
from dataclasses import replace
import numpy as np
from tests.simulated_walls import simulate, two_sheets_three_photos
from vision.measure import measure_wall
problem = simulate(two_sheets_three_photos(), np.random.default_rng(5)).problem
photos = tuple(replace(photo, phone=f"phone {k}") for k, photo in enumerate(problem.photos))
solution = measure_wall(replace(problem, photos=photos)).solution
print(hashlib.sha256(solution.state.vector.tobytes() + solution.covariance.tobytes()).hexdigest())
"""


def _digest(seed: int) -> str:
    env = {**os.environ, "PYTHONHASHSEED": str(seed), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run([sys.executable, "-c", SOLVE], check=True, capture_output=True, text=True, env=env).stdout


def test_a_solution_is_the_same_to_the_last_bit_under_any_hash_seed() -> None:
    assert len({_digest(seed) for seed in range(4)}) == 1


def test_the_turn_of_a_wall_does_not_hang_on_the_order_of_its_openings() -> None:
    rng = np.random.default_rng(8)
    corners = {
        f"{quad}/{corner}": at + rng.normal(0.0, 3.0, 2)
        for quad in ("wall", *(f"w{k}" for k in range(8)))
        for corner, at in (
            ("bottom_left", np.array([0.0, 0.0])), ("bottom_right", np.array([900.0, 0.0])),
            ("top_left", np.array([0.0, 700.0])), ("top_right", np.array([900.0, 700.0])),
        )
    }  # fmt: skip
    names = list(corners)
    assert len({_level({name: corners[name] for name in rng.permutation(names)}) for _ in range(20)}) == 1
