"""Many surveys: each is one task, alike in a process pool and on a Dask cluster; what is unchanged is left alone."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from intake.batch_work import COLUMNS, Row, failed_row, outcome_words, work_survey
from intake.gather import Progress
from intake.photos import EXTENSIONS
from intake.store import RESULTS, survey_folder, write_text
from vision.findings import PerpendError

FOLDER = "perpend_batch"
_RANK = {"failed": 0, "stop": 1, "proposed": 2, "done": 3}


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSummary:
    """What a batch came to: a line per survey, worst first, and the files that say it."""

    rows: tuple[Row, ...]
    csv: Path
    jsonl: Path
    page: Path

    @property
    def lines(self) -> list[str]:
        """Return a line per survey for a terminal, worst first."""
        return [_line(row) for row in self.rows]

    @property
    def exit_code(self) -> int:
        """Return 0, 1 where a stop finding stands, 3 where every survey failed."""
        states = [row["state"] for row in self.rows]
        if states and all(state == "failed" for state in states):
            return 3
        return 1 if any(state in ("failed", "stop") for state in states) else 0


def find_surveys(root: Path) -> list[Path]:
    """Return every survey folder at or below a folder: one that holds survey.json, or photos of no survey above it.

    ZIP files are unpacked beside themselves first; one that is refused is left out here and reported by the batch.
    """
    found: list[Path] = []
    for place, folders, files in os.walk(root):
        here = Path(place)
        folders[:] = sorted(
            name
            for name in folders
            if name[0] != "." and name not in (RESULTS, FOLDER) and not (here / name).is_symlink()
        )
        photos = any(Path(name).suffix.lower() in EXTENSIONS and name[0] != "." for name in files)
        owned = any(survey in here.parents for survey in found)
        if "survey.json" in files or (photos and not owned):
            found.append(here)
    return found


def unpack_all(root: Path) -> list[Row]:
    """Unpack the ZIP files below a folder beside themselves and return a row for each that was refused."""
    from intake.unzip import unpack_zip

    refused = []
    for archive in sorted(root.rglob("*.zip")):
        if any(part.startswith(".") or part == FOLDER for part in archive.relative_to(root).parts):
            continue
        try:
            unpack_zip(archive)
        except PerpendError as error:
            refused.append(failed_row(archive.relative_to(root).as_posix(), error))
    return refused


def run_batch(
    root: Path | str,
    *,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> BatchSummary:
    """Work through every survey below a folder and write the summary to perpend_batch.

    Parameters
    ----------
    root
        The folder of survey folders and ZIP files.
    workers
        Processes on this machine; as many as cores if None; one means this process.
    scheduler
        Address of a Dask scheduler to use instead.
    progress
        Called with surveys done and surveys in all.

    Raises
    ------
    PerpendError
        No such folder, no survey in it, or no Dask where a scheduler is named.
    """
    top = survey_folder(root)
    rows = unpack_all(top)
    surveys = find_surveys(top)
    if not surveys and not rows:
        raise PerpendError(f"{top}: no survey folders here. A survey folder holds photos or a survey.json.")
    names = [survey.relative_to(top).as_posix() for survey in surveys]
    done = 0
    with _stop_on_terminate():
        try:
            for row in _results(top, names, workers=workers, scheduler=scheduler):
                rows.append(row)
                done += 1
                if progress is not None:
                    progress(done, len(names))
        finally:
            summary = _write_summary(top, rows)
    return summary


def _results(top: Path, names: list[str], *, workers: int | None, scheduler: str | None) -> Iterator[Row]:
    if scheduler is not None:
        from intake.cluster import run_on_cluster

        yield from run_on_cluster(top, names, scheduler)
        return
    processes = min(workers or os.cpu_count() or 1, max(len(names), 1))
    if processes == 1:
        for name in names:
            yield work_survey(str(top), name)
        return
    yield from _in_pool(top, names, processes)


def _in_pool(top: Path, names: list[str], processes: int) -> Iterator[Row]:
    """Yield rows as they come from worker processes; what a dying worker held is tried again."""
    import multiprocessing
    from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
    from concurrent.futures.process import BrokenProcessPool

    waiting = list(reversed(names))
    tried: dict[str, int] = {}
    while waiting:
        pool = ProcessPoolExecutor(
            processes, mp_context=multiprocessing.get_context("spawn"), initializer=_quiet_worker
        )
        running: dict[Future[Row], str] = {}
        try:
            while waiting or running:
                while waiting and len(running) < 2 * processes:
                    name = waiting.pop()
                    tried[name] = tried.get(name, 0) + 1
                    running[pool.submit(work_survey, str(top), name)] = name
                finished, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in finished:
                    row = future.result()
                    del running[future]
                    yield row
        except BrokenProcessPool:
            for name in running.values():
                if tried[name] < 2:
                    waiting.append(name)
                else:
                    yield failed_row(name, PerpendError("the worker died twice on it. Work on this folder alone."))
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _quiet_worker() -> None:
    """Leave Ctrl-C to the parent, and keep the numeric libraries to one thread each."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    import cv2

    cv2.setNumThreads(1)


@contextmanager
def _stop_on_terminate() -> Iterator[None]:
    """Treat SIGTERM like Ctrl-C while the body runs, so that the summary of what is finished is still written."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    try:
        before = signal.signal(signal.SIGTERM, stop)
    except ValueError:  # not in the main thread: the caller handles signals
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _order(row: Row) -> tuple[int, int, str]:
    """Return the place of a row: worst first, and among those to be marked, least work first."""
    return _RANK[str(row["state"])], int(row["to_mark"] or 0), str(row["folder"])


def _line(row: Row) -> str:
    if row["state"] == "failed":
        return f"■ {row['folder']}: {row['error']}"
    sign = {"stop": "■", "proposed": "▲", "done": "✓"}[str(row["state"])]
    told = [str(row["sizes"] or "no wall yet"), *outcome_words(row)]
    after = [f"next: {row['next']}"] if row["next"] else []
    return f"{sign} {row['folder']}: {'; '.join([*told, *after])}"


def _write_summary(top: Path, rows: list[Row]) -> BatchSummary:
    from intake.batch_page import batch_page

    pictured = {row["folder"] for row in rows if (top / row["folder"] / RESULTS / "thumb.jpg").exists()}
    ordered = sorted(rows, key=_order)
    target = top / FOLDER
    lines = "".join(json.dumps(row, ensure_ascii=False, sort_keys=True) + "\n" for row in ordered)
    table = io.StringIO()
    writer = csv.DictWriter(table, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows([{key: _plain_cell(row[key]) for key in COLUMNS} for row in ordered])
    summary = BatchSummary(
        rows=tuple(ordered), csv=target / "summary.csv", jsonl=target / "summary.jsonl", page=target / "index.html"
    )
    write_text(summary.csv, table.getvalue())
    write_text(summary.jsonl, lines)
    write_text(summary.page, batch_page(ordered, pictured=pictured))
    return summary


def _plain_cell(value: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t" and value else value
