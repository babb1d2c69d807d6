"""A plug-in for pytest that writes each test's seconds of the processor: ``-p tests.cpu_times`` with CPU_TIMES=FILE."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Generator
from pathlib import Path

import pytest

_times: dict[str, float] = {}


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, bool, bool]:
    """Time a test with its fixtures."""
    begun = time.process_time()
    ran = yield
    _times[item.nodeid] = time.process_time() - begun
    return ran


def pytest_sessionfinish() -> None:
    """Write the times."""
    Path(os.environ["CPU_TIMES"]).write_text(json.dumps(_times), encoding="utf-8")
