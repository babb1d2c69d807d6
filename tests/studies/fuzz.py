"""Study: damaged bytes thrown at everything that reads what strangers send; no crash, no hang, no gigabyte."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

from tests.fuzzing import LONGEST_S, ROOT, TARGETS

DEPENDS = (
    "intake/refusing.py", "intake/survey.py", "intake/decode.py", "intake/exif.py", "intake/photos.py",
    "intake/unzip.py", "intake/page/document.py", "intake/page/keeping.py", "estimator/prices.py",
    "vision/measure.py", "vision/solve.py", "vision/start.py", "tests/fuzzing.py",
)  # fmt: skip
SECONDS = 60.0
"""Of the processor, for each target."""


def run(seed: int, part: float) -> dict[str, Any]:
    """Return how many inputs each target took, the longest it took for one, and what it failed on.

    Parameters
    ----------
    seed
        Of the damage.
    part
        Share of the 60 seconds a target.

    Notes
    -----
    Each target runs in a process of its own that may use 1 GB of memory more than its imports do; 5 seconds for one
    input count as a hang.
    """
    told: dict[str, Any] = {}
    failed: list[str] = []
    for name in sorted(TARGETS):
        command = [sys.executable, "-m", "tests.fuzzing", name, "--seconds", f"{SECONDS * part}", "--seed", f"{seed}"]
        done = subprocess.run(
            command, cwd=ROOT, capture_output=True, text=True, check=False, env={**os.environ, "OMP_NUM_THREADS": "1"}
        )
        if done.returncode == 0:
            told[name] = json.loads(done.stdout.splitlines()[-1])
        else:
            failed.append(f"{name}: {done.stderr.strip().splitlines()[-1][:400]}")
    return {
        "targets": told,
        "inputs": sum(int(item["inputs"]) for item in told.values()),
        "longest_s": max((float(item["longest_s"]) for item in told.values()), default=0.0),
        "limit_s": LONGEST_S,
        "failed": failed,
    }
