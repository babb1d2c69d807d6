"""Kills, full disks, read-only folders, two at once: survey and results are the old or the new version, whole."""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tests.studies import faults
from tests.survey_folders import render_home, write_home

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_home(tmp_path_factory.mktemp("faults") / "home", render_home(7, photos=1, size_px=(1344, 1008)))


def _run(*arguments: str, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "intake", *arguments], cwd=ROOT, capture_output=True, text=True, check=False,
        timeout=240, env={**os.environ, **(env or {})}, encoding="utf-8",
    )  # fmt: skip


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_commands_killed_at_random_moments_leave_everything_whole() -> None:
    result = faults.run(seed=3, part=0.02)
    assert result["broken"] == []
    assert result["exit_code_of_a_report_afterwards"] in (0, 1)
    assert sum(result["kills_that_landed"].values()) >= 2  # type: ignore[attr-defined]


def test_two_measures_of_one_folder_at_once_leave_one_whole_result(home: Path) -> None:
    both = [faults.start(["measure", "{folder}", "--again"], home) for _ in range(2)]
    assert all(process.wait(timeout=240) in (0, 1) for process in both)
    assert json.loads((home / "results" / "geometry.json").read_text(encoding="utf-8"))["schema_version"] == 1


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_said_and_left_alone(home: Path) -> None:
    home.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        done = _run("measure", str(home), "--again")
    finally:
        home.chmod(stat.S_IRWXU)
    assert done.returncode == 3
    assert "could not be written" in done.stderr


@pytest.mark.parametrize("locale", ["C", "de_DE.UTF-8", "tr_TR.UTF-8"])
def test_the_results_have_the_same_bytes_in_any_locale_and_with_other_line_endings(home: Path, locale: str) -> None:
    results = home / "results"
    assert _run("estimate", str(home)).returncode in (0, 1)
    before = {name: (results / name).read_bytes() for name in ("geometry.json", "estimate.json")}
    survey = (home / "survey.json").read_bytes()
    (home / "survey.json").write_bytes(survey.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))
    for name in before:
        (results / name).unlink()
    try:
        done = _run("estimate", str(home), env={"LC_ALL": locale, "LANG": locale, "PYTHONUTF8": "0"})
    finally:
        (home / "survey.json").write_bytes(survey)
    assert done.returncode in (0, 1), done.stderr
    for name, old in before.items():
        assert (results / name).read_bytes() == old, name
