"""The batch's tasks on an existing Dask cluster (extra ``cluster``); workers see the same folders as this machine."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from intake.batch_work import work_survey
from vision.findings import PerpendError

RETRIES = 3


def run_on_cluster(top: Path, names: list[str], scheduler: str) -> Iterator[dict[str, Any]]:
    """Yield the row of each survey as the cluster finishes it, each once; a task whose worker dies is given to another.

    Raises
    ------
    PerpendError
        Dask is not installed, or no scheduler answers at the address.
    """
    try:
        from distributed import Client, as_completed
    except ImportError as error:
        raise PerpendError("--scheduler needs Dask: install perpend with its extra, perpend[cluster].") from error
    try:
        client = Client(scheduler, timeout=10)
    except (OSError, ValueError) as error:
        raise PerpendError(
            f"{scheduler}: no Dask scheduler answers there. Check the address, or leave it out."
        ) from error
    try:
        futures = [
            client.submit(work_survey, str(top.resolve()), name, key=f"perpend-{name}", pure=False, retries=RETRIES)
            for name in names
        ]
        for future in as_completed(futures):
            if future.status == "finished":
                yield future.result()
            else:
                name = str(future.key).removeprefix("perpend-")
                yield work_survey(str(top.resolve()), name)
    finally:
        client.close()
