"""Study: which branches of the two cores do the tests take?"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
DEPENDS = ("vision/*.py", "estimator/*.py", "tests/test_*.py", "tests/outside/*.py")
CORES = ("vision", "estimator")
RIM = ("browser", "report", "page_", "sample_photos", "cluster", "batch", "cli", "faults", "scenes", "sheets_pdf",
       "studies", "unzip", "store", "structure", "exif", "self_check")  # fmt: skip
"""Words in the names of tests that reach the cores only through pages, reports and commands, and slowly."""


def run(seed: int, part: float) -> dict[str, Any]:
    """Return the share of branches and lines of each core that its tests take, and every branch that none takes.

    Parameters
    ----------
    seed
        Not used: the tests have seeds of their own.
    part
        Share of the test files, in alphabetical order; the long tests are left out.
    """
    del seed
    files = sorted(p for p in (ROOT / "tests").glob("test_*.py") if not any(word in p.name for word in RIM))
    files += sorted((ROOT / "tests" / "outside").glob("test_*.py"))
    chosen = files[: max(1, round(part * len(files)))]
    with tempfile.TemporaryDirectory() as scratch:
        told = Path(scratch) / "told.json"
        subprocess.run(
            [
                sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-m", "not long and not browser",
                *map(str, chosen), *(f"--cov={core}" for core in CORES), "--cov-branch", f"--cov-report=json:{told}",
            ],
            cwd=ROOT, check=True, stdout=subprocess.DEVNULL,
            env={**os.environ, "COVERAGE_FILE": str(Path(scratch) / "data"), "OMP_NUM_THREADS": "1"},
        )  # fmt: skip
        measured = json.loads(told.read_text(encoding="utf-8"))["files"]
    return {core: _core(core, measured) for core in CORES} | {"test_files": len(chosen)}


def _core(core: str, measured: dict[str, Any]) -> dict[str, Any]:
    mine = {name: file for name, file in measured.items() if name.startswith(f"{core}/")}
    total = {
        key: sum(int(file["summary"][key]) for file in mine.values())
        for key in ("num_branches", "covered_branches", "num_statements", "covered_lines")
    }
    return {
        "branches": total["num_branches"],
        "branch_share": total["covered_branches"] / total["num_branches"],
        "lines": total["num_statements"],
        "line_share": total["covered_lines"] / total["num_statements"],
        "missed_branches": {
            name: [f"{a} -> {b}" for a, b in file["missing_branches"]]
            for name, file in sorted(mine.items())
            if file["missing_branches"]
        },
    }
