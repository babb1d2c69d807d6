"""Many surveys: one bad one stops nothing, the unchanged are left alone, every way of running gives the same bytes."""

from __future__ import annotations

import csv
import json
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import cv2
import pytest

from intake.batch import find_surveys, run_batch
from intake.store import write_json
from tests.survey_folders import jpeg, render_home, write_home
from vision.findings import PerpendError

ROOT = Path(__file__).resolve().parent.parent


def taped(folder: Path, width_mm: float) -> None:
    wall = {"id": "north", "room": "back", "taped": {"width_mm": width_mm, "height_mm": 2400}}
    rooms = [{"id": "back", "floor_area_m2": 12, "walls": ["north"]}]
    write_json(folder / "survey.json", {"schema_version": 1, "rooms": rooms, "walls": [wall]})


@pytest.fixture
def stock(tmp_path: Path) -> Path:
    for k in range(3):
        taped(tmp_path / f"home_{k}", 3000 + 400 * k)
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "survey.json").write_text("{")
    return tmp_path


def results(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file() and ("results" in path.parts or "perpend_batch" in path.parts)
    }


def test_surveys_are_found_once_each_wherever_they_are(tmp_path: Path) -> None:
    for name in (
        "a/survey.json",
        "a/photos/1.jpg",
        "b/deep/2.heic",
        "c/results/rectified/3.jpg",
        ".d/4.jpg",
        "a/inner/survey.json",
    ):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    found = [path.relative_to(tmp_path).as_posix() for path in find_surveys(tmp_path)]
    assert found == ["a", "a/inner", "b/deep"]


def test_one_bad_survey_stops_nothing_and_comes_first(stock: Path) -> None:
    summary = run_batch(stock, workers=1)
    assert summary.rows[0]["folder"] == "bad"
    assert "survey.json: not JSON" in summary.rows[0]["error"]
    assert summary.exit_code == 1
    rows = list(csv.DictReader(summary.csv.read_text(encoding="utf-8").splitlines()))
    lines = [json.loads(line) for line in summary.jsonl.read_text(encoding="utf-8").splitlines()]
    assert [row["folder"] for row in rows] == [line["folder"] for line in lines]
    page = summary.page.read_text(encoding="utf-8")
    assert all(f"home_{k}" in page for k in range(3))
    assert "<img" not in page  # nothing was photographed: no picture that cannot be shown
    told = next(line for line in summary.lines if "home_0" in line)
    row = next(row for row in summary.rows if row["folder"] == "home_0")
    assert row["boards"] > 0
    assert f"; {row['boards']} boards; " in told
    assert f"<p>{row['boards']} boards</p>" in page


def test_a_wall_without_photos_is_not_sent_to_be_marked(tmp_path: Path) -> None:
    write_json(tmp_path / "a" / "survey.json", {"schema_version": 1, "walls": [{"id": "north"}]})
    (row,) = run_batch(tmp_path, workers=1).rows
    assert (row["next"], row["to_mark"]) == ("photograph north, or tape it", 0)


def test_a_second_run_does_nothing_and_a_change_is_done_again(stock: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run_batch(stock, workers=1)
    before = results(stock)
    with monkeypatch.context() as patch:
        patch.setattr("intake.pipeline.gather", lambda *_, **__: pytest.fail("done again without need"))
        run_batch(stock, workers=1)
    assert results(stock) == before
    taped(stock / "home_1", 9000)
    changed = run_batch(stock, workers=1)
    assert "9" in next(row["sizes"] for row in changed.rows if row["folder"] == "home_1")


def test_two_processes_give_the_same_bytes_as_one(stock: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    other = shutil.copytree(stock, tmp_path_factory.mktemp("other") / "stock")
    run_batch(stock, workers=1)
    run_batch(other, workers=2)
    assert results(other) == results(stock)


def test_zip_files_are_surveys_too_and_a_bad_one_is_a_row(tmp_path: Path) -> None:
    taped(tmp_path / "inside", 3000)
    with zipfile.ZipFile(tmp_path / "sent.zip", "w") as opened:
        opened.write(tmp_path / "inside" / "survey.json", "survey.json")
    (tmp_path / "broken.zip").write_bytes(b"PK")
    rows = {row["folder"]: row for row in run_batch(tmp_path, workers=1).rows}
    assert rows["sent"]["sizes"] == rows["inside"]["sizes"]
    assert "not a whole ZIP file" in rows["broken.zip"]["error"]


def test_a_folder_without_surveys_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PerpendError, match=r"no survey folders here"):
        run_batch(tmp_path)


@pytest.mark.skipif(not hasattr(signal, "SIGTERM") or sys.platform == "win32", reason="no SIGTERM here")
def test_sigterm_leaves_every_finished_result_whole_and_a_summary(tmp_path: Path) -> None:
    for k in range(60):
        taped(tmp_path / f"home_{k:02d}", 3000 + k)
    process = subprocess.Popen(
        [sys.executable, "-m", "intake", "batch", str(tmp_path), "--workers", "1"], cwd=ROOT, stdout=subprocess.DEVNULL
    )
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and len(list(tmp_path.glob("*/results/batch.json"))) < 2:
        time.sleep(0.05)
    process.send_signal(signal.SIGTERM)
    process.wait(timeout=30)
    finished = list(tmp_path.glob("*/results/batch.json"))
    assert 2 <= len(finished) < 60
    for path in finished:
        assert json.loads(path.read_text(encoding="utf-8"))["row"]["state"] in ("done", "stop")
    assert not [path for path in tmp_path.rglob("*.part")]
    assert (tmp_path / "perpend_batch" / "summary.csv").exists()


def test_a_cell_that_a_spreadsheet_would_run_is_made_harmless(tmp_path: Path) -> None:
    (tmp_path / "=cmd").mkdir()
    (tmp_path / "=cmd" / "survey.json").write_text("{")
    text = run_batch(tmp_path, workers=1).csv.read_text(encoding="utf-8")
    assert "\n'=cmd," in text


def test_photos_that_nobody_marked_are_checked_proposed_and_listed_by_work(tmp_path: Path) -> None:
    home = render_home(8, photos=1)
    scene = home.scenes[0]
    write_home(tmp_path / "good", home, marked=False)
    write_home(tmp_path / "marked", home)
    (tmp_path / "blurred").mkdir()
    smeared = replace(scene, picture=cv2.GaussianBlur(scene.picture, (0, 0), 4.0))
    (tmp_path / "blurred" / "a.jpg").write_bytes(jpeg(smeared))
    summary = run_batch(tmp_path, workers=1)
    rows = {row["folder"]: row for row in summary.rows}
    assert rows["good"]["state"] == "proposed"
    assert rows["good"]["to_mark"] == 8
    assert rows["good"]["next"] == "confirm wall-1 (8 points)"
    assert rows["good"]["message"] == ""
    assert rows["blurred"]["usable"] == 0
    assert rows["blurred"]["next"] == "send the message"
    assert rows["blurred"]["to_mark"] == 0
    asked = (tmp_path / "blurred" / rows["blurred"]["message"]).read_text(encoding="utf-8")
    assert "a.jpg" in asked
    pictures = summary.page.read_text(encoding="utf-8").split('<img src="')[1:]
    assert len(pictures) == 3
    assert all((summary.page.parent / picture.split('"')[0]).exists() for picture in pictures)
    assert "blurred/results/message.txt" in summary.page.read_text(encoding="utf-8")
    assert rows["marked"]["usable"] == rows["marked"]["message"] == ""
    order = [row["to_mark"] for row in summary.rows if row["state"] == "proposed"]
    assert order == sorted(order)
