"""Study: commands that write are killed at random moments; survey and results stay whole, never half-read."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.survey_folders import render_home, write_home

DEPENDS = ("intake/store.py", "intake/pipeline.py", "intake/cli.py", "intake/batch.py", "tests/studies/faults.py")
KILLS = 300
ROOT = Path(__file__).resolve().parent.parent.parent
COMMANDS = (
    ["check", "{folder}"],
    ["measure", "{folder}", "--again"],
    ["estimate", "{folder}"],
    ["report", "{folder}"],
    ["batch", "{parent}", "--workers", "1"],
)
RESULTS = ("check.json", "geometry.json", "estimate.json")


def start(arguments: list[str], folder: Path) -> subprocess.Popen[bytes]:
    """Start one command on a folder."""
    filled = [a.format(folder=folder, parent=folder.parent) for a in arguments]
    return subprocess.Popen(
        [sys.executable, "-m", "intake", *filled], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


def sound(folder: Path, survey: bytes) -> list[str]:
    """Return what is wrong with a folder: a changed survey, a result that is not whole."""
    wrong = []
    if (folder / "survey.json").read_bytes() != survey:
        wrong.append("survey.json changed")
    for name in RESULTS:
        path = folder / "results" / name
        if path.exists():
            try:
                json.loads(path.read_text(encoding="utf-8"))
            except ValueError:
                wrong.append(f"{name} is half-written")
    report = folder / "results" / "report.html"
    if report.exists() and not report.read_text(encoding="utf-8").rstrip().endswith("</html>"):
        wrong.append("report.html is half-written")
    return wrong


def run(seed: int, part: float) -> dict[str, object]:
    """Return how many kills there were and what they broke; ``part`` is the share of 300 kills."""
    kills = max(5, round(KILLS * part))
    rng = np.random.default_rng(seed)
    broken: list[str] = []
    landed = {arguments[0]: 0 for arguments in COMMANDS}
    with tempfile.TemporaryDirectory() as scratch:
        folder = write_home(
            Path(scratch) / "surveys" / "home", render_home(seed % 1000, photos=1, size_px=(1344, 1008))
        )
        survey = (folder / "survey.json").read_bytes()
        lasts: dict[str, float] = {}
        for arguments in COMMANDS:
            begun = time.monotonic()
            start(arguments, folder).wait()
            lasts[arguments[0]] = time.monotonic() - begun
        for k in range(kills):
            arguments = COMMANDS[k % len(COMMANDS)]
            if rng.random() < 0.3:
                shutil.rmtree(folder / "results", ignore_errors=True)
            process = start(arguments, folder)
            try:
                process.wait(timeout=float(rng.uniform(0.2, 1.0)) * lasts[arguments[0]])
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
                process.wait()
                landed[arguments[0]] += 1
            broken += [f"{arguments[0]}: {what}" for what in sound(folder, survey)]
        process = start(["report", "{folder}"], folder)
        code = process.wait()
        broken += [f"after all: {what}" for what in sound(folder, survey)]
        left = [path.name for path in (folder / "results").glob(".*.part")]
    return {
        "kills_tried": kills,
        "kills_that_landed": landed,
        "broken": broken,
        "exit_code_of_a_report_afterwards": code,
        "temporary_files_left": len(left),
    }
