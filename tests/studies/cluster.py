"""A simulated stock of 2,000 surveys on a Dask cluster of two workers, one killed half-way, against a serial run."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from intake.batch import run_batch
from intake.store import write_json
from tests.survey_folders import Rendered, render_home, write_home

DEPENDS = (
    *("intake/batch*.py", "intake/cluster.py", "intake/store.py", "intake/pipeline.py", "intake/straighten.py"),
    "tests/survey_folders.py",
)
"""What decides whether a killed worker changes a byte: the tasks, and how results are written. What the results say,
and that they are the same each time, is held by the seeded part in the tests."""
SURVEYS = 2000
SIZE_PX = (1344, 1008)
THUMBNAIL_PX = (320, 240)
POLL_S = 0.5


def run(seed: int, part: float) -> dict[str, Any]:
    """Return whether all results are there, each once, which differ from a serial run's, and what a second run costs.

    Parameters
    ----------
    seed
        Of the stock.
    part
        Share of the 2,000 surveys.
    """
    count = max(12, round(part * SURVEYS))
    with tempfile.TemporaryDirectory() as scratch:
        stock = write_stock(Path(scratch) / "stock", seed, count)
        serial = Path(shutil.copytree(stock, Path(scratch) / "serial"))
        killed, rows = on_cluster(stock)
        begun = time.monotonic()
        run_batch(serial, workers=1)
        first = time.monotonic() - begun
        begun = time.monotonic()
        run_batch(serial, workers=1)
        second = time.monotonic() - begun
        ours, theirs = digests(stock), digests(serial)
        return {
            "surveys": count,
            "worker_killed": killed,
            "rows": len(rows),
            "each_once": len(set(rows)) == len(rows) == count,
            "files_compared": len(theirs),
            "files_that_differ": sorted(name for name in ours.keys() | theirs if ours.get(name) != theirs.get(name)),
            "second_run_share_of_time": second / first,
        }


def write_stock(root: Path, seed: int, count: int) -> Path:
    """Write that many survey folders: of 16, ten with a thumbnail, four by tape, one marked, one photo to propose."""
    rng = np.random.default_rng(seed)
    homes: list[Rendered] = [render_home(seed + k, photos=1, size_px=SIZE_PX) for k in range(4)]
    for k in range(count):
        folder = root / f"street_{k // 100:02d}" / f"home_{k:04d}"
        home = homes[int(rng.integers(len(homes)))]
        if k % 8 == 1:
            write_home(folder, home, seed=k, marked=k % 16 == 1)
        elif k % 4 == 0:
            taped = {"width_mm": float(rng.integers(2400, 6000)), "height_mm": float(rng.integers(2200, 2900))}
            write_json(folder / "survey.json", {"schema_version": 1, "walls": [{"id": "north", "taped": taped}]})
            continue
        else:
            folder.mkdir(parents=True)
            small = cv2.resize(home.scenes[0].picture, THUMBNAIL_PX, interpolation=cv2.INTER_AREA)
            cv2.imwrite(str(folder / "IMG_0001.jpg"), small)
        photo = folder / "IMG_0001.jpg"
        photo.write_bytes(photo.read_bytes() + k.to_bytes(4, "big"))  # no two files alike
    return root


def on_cluster(stock: Path) -> tuple[bool, list[str]]:
    """Run the batch on a local cluster and kill one worker half-way; return whether one died, and the rows' folders."""
    from distributed import LocalCluster

    surveys = len(list(stock.glob("*/home_*")))
    killed = threading.Event()
    over = threading.Event()
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:

        def kill_half_way() -> None:
            while not over.wait(POLL_S if surveys > 100 else 0.05):
                if len(list(stock.glob("*/home_*/results/batch.json"))) >= surveys // 2:
                    worker = next(iter(cluster.workers.values()))
                    os.kill(worker.process.process.pid, signal.SIGKILL)
                    killed.set()
                    return

        watcher = threading.Thread(target=kill_half_way, daemon=True)
        watcher.start()
        summary = run_batch(stock, scheduler=cluster.scheduler_address)
        over.set()
        watcher.join()
    return killed.is_set(), [str(row["folder"]) for row in summary.rows]


def digests(root: Path) -> dict[str, str]:
    """Return the SHA-256 of every file below a folder, by its place."""
    return {
        path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(root.rglob("*"))
        if path.is_file()
    }
