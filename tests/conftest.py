"""What all tests share: one thread per process, the browser's place, and where the tests' own rooms are."""

from __future__ import annotations

import os
import shutil
import warnings
from pathlib import Path

import pytest

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session", autouse=True)
def _one_thread() -> None:
    """Keep OpenCV to one thread, so that two workers share two cores fairly."""
    import cv2

    cv2.setNumThreads(1)


@pytest.fixture(scope="session")
def browser_path() -> str:
    """Return the Chromium that page tests use; skip loudly where there is none."""
    names = ("chromium", "chromium-browser", "google-chrome", "chrome")
    found = os.environ.get("PERPEND_BROWSER") or next((path for path in map(shutil.which, names) if path), None)
    if found is None:
        pytest.skip("SKIPPED LOUDLY: no Chromium on this machine; page tests did not run")
    return found


@pytest.fixture
def lock_cottage() -> Path:
    """Return the sample survey of the solid-walled cottage."""
    return ROOT / "sample_photos" / "lock_cottage"


@pytest.fixture
def signal_house() -> Path:
    """Return the sample survey of the cavity-walled house."""
    return ROOT / "sample_photos" / "signal_house"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say once more, at the end, what was skipped and why."""
    for report in terminalreporter.stats.get("skipped", []):
        if isinstance(report.longrepr, tuple) and "LOUDLY" in str(report.longrepr[2]):
            warnings.simplefilter("default")
            terminalreporter.write_line(str(report.longrepr[2]), yellow=True, bold=True)
