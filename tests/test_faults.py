"""Kills, full disks, read-only folders, two at once: survey and results are the old or the new version, whole."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from intake.check import check_folder
from intake.demo import copy_demo
from intake.page.document import Edit
from intake.page.pictures import Pictures
from intake.page.session import Session
from intake.pipeline import estimate_folder, measure_folder, report_folder
from tests.studies import faults
from tests.survey_folders import render_home, write_home
from vision.findings import PerpendError

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_home(tmp_path_factory.mktemp("faults") / "home", render_home(7, photos=1, size_px=(1344, 1008)))


def _run(*arguments: str, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "intake", *arguments], cwd=ROOT, capture_output=True, text=True, check=False,
        timeout=240, env={**os.environ, **(env or {})}, encoding="utf-8",
    )  # fmt: skip


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="the study watches processes through /proc")
def test_commands_killed_at_random_moments_leave_everything_whole() -> None:
    result = faults.run(seed=3, part=0.02)
    assert result["broken"] == []
    assert result["acknowledged_marks_lost"] == []
    assert set(result["kills_that_landed"]) == set(faults.KILLS)
    assert all(result["kills_that_landed"].values())
    assert not [name for name in result["temporary_files_left"] if "demo" in name]


def test_a_demo_clears_what_a_killed_one_left_and_leaves_what_a_running_one_or_a_person_has(tmp_path: Path) -> None:
    fcntl = pytest.importorskip("fcntl")
    running, killed, private = (tmp_path / f".demo.{name}.part" for name in ("running", "killed", "private"))
    for folder, inside in ((running, "demo"), (killed, "demo"), (private, "letters")):
        (folder / inside).mkdir(parents=True)
    handle = os.open(running, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        copy_demo(tmp_path / "demo")
    finally:
        os.close(handle)
    assert sorted(path.name for path in tmp_path.iterdir()) == [private.name, running.name, "demo"]


def test_two_measures_of_one_folder_at_once_leave_one_whole_result(home: Path) -> None:
    command = [sys.executable, "-m", "intake", "measure", str(home), "--again"]
    both = [subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL) for _ in range(2)]
    assert all(process.wait(timeout=240) in (0, 1) for process in both)
    assert not list((home / "results").rglob("*.part"))
    assert json.loads((home / "results" / "geometry.json").read_text(encoding="utf-8"))["schema_version"] == 1


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """Yield a disk of one megabyte that holds a survey by tape, to be filled or remounted."""
    place = tmp_path / "disk"
    place.mkdir()
    if mount("-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)) != 0:
        pytest.skip("no disk of its own: mounting needs root")
    try:
        (place / "survey.json").write_text(BY_TAPE, encoding="utf-8")
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def mount(*arguments: str) -> int:
    if shutil.which("mount") is None:
        return 1
    return subprocess.run(["mount", *arguments], check=False, capture_output=True).returncode


def fill(disk: Path) -> Path:
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(b"x" * 4096)
    return filler


BY_TAPE = (
    '{"schema_version": 1, "rooms": [{"id": "back", "walls": ["north"]}],'
    ' "walls": [{"id": "north", "room": "back", "taped": {"width_mm": 3800, "height_mm": 2500}}]}'
)


def test_a_full_disk_is_said_loses_nothing_and_is_forgotten_once_there_is_room(disk: Path) -> None:
    measure_folder(disk)
    before = {path: path.read_bytes() for path in disk.rglob("*") if path.is_file()}
    filler = fill(disk)
    for command in (lambda: report_folder(disk), lambda: check_folder(disk), lambda: measure_folder(disk, again=True)):
        with pytest.raises(PerpendError, match=r"could not be written \(No space left on device\)\. Free some space"):
            command()
        assert {path: path.read_bytes() for path in disk.rglob("*") if path.is_file() and path != filler} == before
    filler.unlink()
    mount("-o", "remount,size=8m", str(disk))
    assert report_folder(disk)[0][0].read_text(encoding="utf-8").rstrip().endswith("</html>")


def test_on_a_full_disk_the_page_keeps_the_survey_it_has_and_says_so(disk: Path) -> None:
    session = Session(disk)
    filler = fill(disk)
    long = Edit(path=("title",), value="Lock cottage " * 30, was=None)
    with pytest.raises(PerpendError, match=r"No space left on device.*nothing was changed"):
        session.change([long])
    assert (disk / "survey.json").read_text(encoding="utf-8") == BY_TAPE
    filler.unlink()
    assert session.change([long]).conflicts == ()
    assert Session(disk).document["title"] == long.value


def test_a_read_only_disk_is_said_and_left_alone(disk: Path) -> None:
    assert mount("-o", "remount,ro", str(disk)) == 0
    for command in (lambda: report_folder(disk), lambda: check_folder(disk), lambda: measure_folder(disk, again=True)):
        with pytest.raises(PerpendError, match=r"could not be written \(Read-only file system\).*allow writing"):
            command()
    with pytest.raises(PerpendError, match=r"could not be written \(Read-only file system\). Allow writing"):
        Session(disk).change([Edit(path=("title",), value="Lock cottage", was=None)])
    assert [path.name for path in disk.iterdir()] == ["survey.json"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_said_and_left_alone(home: Path) -> None:
    home.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        done = _run("measure", str(home), "--again")
    finally:
        home.chmod(stat.S_IRWXU)
    assert done.returncode == 3
    assert "could not be written" in done.stderr


@pytest.fixture
def by_tape(tmp_path: Path) -> Path:
    (tmp_path / "survey.json").write_text(BY_TAPE, encoding="utf-8")
    return tmp_path


def test_what_is_no_file_where_a_file_belongs_is_refused_in_words_and_left(by_tape: Path) -> None:
    (by_tape / "results" / "geometry.json").mkdir(parents=True)
    with pytest.raises(PerpendError, match=r"geometry.json: could not be written .*nothing was changed"):
        measure_folder(by_tape)
    assert (by_tape / "results" / "geometry.json").is_dir()
    (by_tape / "survey.json").unlink()
    (by_tape / "survey.json").mkdir()
    with pytest.raises(PerpendError, match=r"survey.json: could not be read \(Is a directory\)"):
        measure_folder(by_tape)
    page = Session(by_tape)
    assert page.problem == "survey.json: could not be read (Is a directory). Allow reading it; nothing was changed."
    with pytest.raises(PerpendError, match="Is a directory"):
        page.change([Edit(path=("title",), value="Lock cottage", was=None)])


def test_a_survey_replaced_while_it_is_measured_is_measured_again_next_time(
    by_tape: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import intake.gather
    import intake.pipeline

    gather = intake.gather.gather

    def replaced(folder: Path, **said: object) -> object:
        (folder / "survey.json").write_text(BY_TAPE.replace("3800", "3900"), encoding="utf-8")
        return gather(folder, **said)  # type: ignore[arg-type]

    monkeypatch.setattr(intake.pipeline, "gather", replaced)
    measure_folder(by_tape)
    monkeypatch.undo()
    width = measure_folder(by_tape).walls[0].width_mm
    assert width is not None
    assert width.value == pytest.approx(3900)


def test_a_picture_of_a_run_that_was_cut_off_is_not_taken_for_the_one_before(home: Path, tmp_path: Path) -> None:
    """Killed between the straightened picture and geometry.json, and the survey then put back as it was."""
    folder = Path(shutil.copytree(home, tmp_path / "cut_off"))
    measure_folder(folder)
    picture = folder / "results" / "rectified" / "north.jpg"
    own = picture.read_bytes()
    picture.write_bytes(own[:-2] + b"\x00\x00")  # as the other run wrote it
    measure_folder(folder)
    assert picture.read_bytes() == own


def test_a_photo_that_vanishes_while_the_page_is_open_is_a_problem_of_that_photo(home: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(home, tmp_path / "open"))
    pictures = Pictures(folder)
    assert pictures.info("IMG_0001.jpg").problem is None
    (folder / "IMG_0001.jpg").unlink()
    assert "IMG_0001.jpg: cannot be read" in str(pictures.info("IMG_0001.jpg").problem)
    assert "IMG_0001.jpg" in str(pictures.problem("IMG_0001.jpg"))
    with pytest.raises(PerpendError, match=r"IMG_0001.jpg"):
        pictures.scaled("IMG_0001.jpg", "base")


def test_a_clock_set_back_hides_no_change_and_remakes_nothing(by_tape: Path) -> None:
    survey, results = by_tape / "survey.json", by_tape / "results"
    page = Session(by_tape)
    estimate_folder(by_tape)
    made = {name: (results / name).stat() for name in ("geometry.json", "estimate.json")}
    for path, years in ((survey, 2060), (results / "geometry.json", 1995), (results / "estimate.json", 2070)):
        stamp = (years - 1970) * 31_557_600
        os.utime(path, (stamp, stamp))
    estimate_folder(by_tape)
    assert {name: (results / name).stat().st_ino for name in made} == {name: old.st_ino for name, old in made.items()}
    survey.write_text(BY_TAPE.replace("3800", "3900"), encoding="utf-8")
    os.utime(survey, (1_000_000_000, 1_000_000_000))  # saved in 2001, as this clock has it, after what was made in 2070
    width = measure_folder(by_tape).walls[0].width_mm
    assert width is not None
    assert width.value == pytest.approx(3900)
    assert page.refresh()
    assert page.document["walls"][0]["taped"]["width_mm"] == 3900


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
