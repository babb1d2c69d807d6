"""A Dask cluster does the same as one process, though a worker dies; without one, the failure is one line."""

from __future__ import annotations

import importlib.util
import signal
from pathlib import Path

import pytest

from intake.batch import run_batch
from tests.studies import cluster
from vision.findings import PerpendError

needs_dask = pytest.mark.skipif(importlib.util.find_spec("distributed") is None, reason="the extra 'cluster' is absent")


@needs_dask
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_a_killed_worker_loses_nothing_repeats_nothing_and_changes_no_byte() -> None:
    told = cluster.run(seed=5, part=0.008)
    assert told["worker_killed"]
    assert told["each_once"]
    assert told["files_that_differ"] == []
    assert told["second_run_share_of_time"] <= 0.05


@needs_dask
def test_an_address_where_no_scheduler_answers_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "survey.json").write_text('{"schema_version": 1, "walls": [{"id": "a"}]}')
    with pytest.raises(PerpendError, match=r"no Dask scheduler answers there. Check the address, or leave it out."):
        run_batch(tmp_path, scheduler="nonsense://127.0.0.1:1")
