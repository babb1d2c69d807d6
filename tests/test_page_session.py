"""Every change to a survey is on the disk when it is acknowledged, and survives other writers, bad edits and kills."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from intake.page.bench import Bench
from intake.page.document import Edit, mark_identity
from intake.page.keeping import KEPT, KEPT_VERSIONS
from intake.page.searching import expected_in, only_sheets
from intake.page.session import Session
from intake.records import declared_reference
from intake.store import BACKUP
from intake.survey import parse_survey
from vision.findings import PerpendError

ROOT = Path(__file__).resolve().parent.parent


def put(photo: str, point: str, x: float, was: Any = None) -> Edit:
    mark = {"wall": "north", "point": point, "px": [x, x]}
    return Edit(path=("photos", photo, "marks", mark_identity(mark)), value=mark, was=was)


def test_the_page_looks_for_a_card_in_colour_with_the_wall_s_marks_and_for_sheets_alone_in_grey() -> None:
    mark = {"wall": "north", "point": "top_left", "px": [10, 12]}
    for kind, in_colour in (("id1_card", True), ("survey_sheet", False)):
        number = {"number": 4} if kind == "survey_sheet" else {}
        elsewhere = {"id": "p9", "kind": "a4", "on": "south"}
        told = {
            "schema_version": 1,
            "walls": [{"id": "north"}, {"id": "south"}],
            "references": [{"id": "r1", "kind": kind, "on": "north", **number}, elsewhere],
            "photos": [{"file": "a.jpg", "marks": [mark]}],
        }
        survey = parse_survey(json.dumps(told))
        references = tuple(declared_reference(entry) for entry in survey.references)
        declared, marks = expected_in(survey, "a.jpg", references)
        assert [r.id for r in declared] == ["r1"]
        assert only_sheets(declared) is not in_colour
        assert len(marks) == (1 if in_colour else 0)


def on_disk(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "survey.json").read_bytes())
    return data


def marks(folder: Path) -> int:
    return sum(len(photo.get("marks", [])) for photo in on_disk(folder).get("photos", []))


def test_an_acknowledged_change_is_on_the_disk_and_is_a_survey(tmp_path: Path) -> None:
    saved = Session(tmp_path).change([put("a.jpg", "top_left", 5)])
    assert saved.conflicts == ()
    survey = parse_survey((tmp_path / "survey.json").read_bytes())
    assert survey.photos[0].marks[0].px == (5.0, 5.0)


def test_the_version_before_is_kept(tmp_path: Path) -> None:
    session = Session(tmp_path)
    session.change([put("a.jpg", "top_left", 5)])
    first = (tmp_path / "survey.json").read_bytes()
    session.change([put("a.jpg", "top_right", 6)])
    assert (tmp_path / BACKUP).read_bytes() == first
    kept = list((tmp_path / KEPT).glob("*.json"))
    assert 1 <= len(kept) <= KEPT_VERSIONS
    assert kept[0].read_bytes() == first


def test_a_change_that_changes_nothing_writes_nothing(tmp_path: Path) -> None:
    session = Session(tmp_path)
    session.change([put("a.jpg", "top_left", 5)])
    before = (tmp_path / "survey.json").stat().st_mtime_ns
    session.change([put("a.jpg", "top_left", 5)])
    assert (tmp_path / "survey.json").stat().st_mtime_ns == before


def test_two_servers_on_one_folder_lose_nothing_of_each_other(tmp_path: Path) -> None:
    sessions = [Session(tmp_path), Session(tmp_path)]

    def work(session: Session, photo: str) -> None:
        for n in range(12):
            session.change([Edit(path=("walls", f"{photo}{n}"), value={"id": f"{photo}{n}"}, was=None)])

    threads = [threading.Thread(target=work, args=(s, name)) for s, name in zip(sessions, "ab", strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    ids = {wall["id"] for wall in on_disk(tmp_path)["walls"]}
    assert ids == {f"{name}{n}" for name in "ab" for n in range(12)}


def test_an_edit_by_hand_meanwhile_is_merged(tmp_path: Path) -> None:
    session = Session(tmp_path)
    session.change([put("a.jpg", "top_left", 5)])
    by_hand = on_disk(tmp_path) | {"title": "Lock cottage"}
    (tmp_path / "survey.json").write_text(json.dumps(by_hand, indent=4))
    session.change([put("a.jpg", "top_right", 6)])
    assert on_disk(tmp_path)["title"] == "Lock cottage"
    assert marks(tmp_path) == 2


def test_a_mark_moved_by_hand_meanwhile_is_a_conflict(tmp_path: Path) -> None:
    session = Session(tmp_path)
    session.change([put("a.jpg", "top_left", 5)])
    mine = session.document["photos"][0]["marks"][0]
    by_hand = on_disk(tmp_path)
    by_hand["photos"][0]["marks"][0]["px"] = [99, 99]
    (tmp_path / "survey.json").write_text(json.dumps(by_hand))
    saved = session.change([put("a.jpg", "top_left", 7, was=mine)])
    assert saved.conflicts[0].theirs["px"] == [99, 99]
    assert on_disk(tmp_path)["photos"][0]["marks"][0]["px"] == [99, 99]
    session.change([put("a.jpg", "top_left", 7, was=mine)], force=True)
    assert on_disk(tmp_path)["photos"][0]["marks"][0]["px"] == [7, 7]


@pytest.mark.parametrize("text", ["{", '{"schema_version": 1, "wals": []}', '{"schema_version": 9}', "\x00"])
def test_a_file_broken_by_hand_is_refused_in_words_and_never_overwritten(tmp_path: Path, text: str) -> None:
    session = Session(tmp_path)
    session.change([put("a.jpg", "top_left", 5)])
    (tmp_path / "survey.json").write_text(text)
    with pytest.raises(PerpendError, match=r"survey\.json"):
        session.change([put("a.jpg", "top_right", 6)])
    assert (tmp_path / "survey.json").read_text() == text
    assert session.refresh() is False
    assert session.problem is not None


def test_a_mended_file_is_taken_up_again(tmp_path: Path) -> None:
    news: list[str] = []
    session = Session(tmp_path, on_change=lambda _, revision: news.append(revision))
    session.change([put("a.jpg", "top_left", 5)])
    good = (tmp_path / "survey.json").read_bytes()
    (tmp_path / "survey.json").write_text("{")
    assert session.refresh() is True
    (tmp_path / "survey.json").write_bytes(good)
    assert session.refresh() is True
    assert session.problem is None
    assert len(news) == 3


def test_what_someone_else_wrote_is_told_even_when_a_refused_change_met_it_first(tmp_path: Path) -> None:
    news: list[int] = []
    session = Session(tmp_path, on_change=lambda *_: news.append(session.serial))
    session.change([put("a.jpg", "top_left", 5)])
    Session(tmp_path).change([put("a.jpg", "top_left", 9)], force=True)
    refused = session.change([put("a.jpg", "top_left", 6, was={"wall": "north", "point": "top_left", "px": [5, 5]})])
    assert refused.conflicts
    assert news == [1, 2]
    assert refused.serial == 2


@pytest.mark.parametrize("fresh_server", [False, True], ids=["same server", "server started on the broken file"])
def test_the_last_good_version_can_be_put_back_and_the_broken_one_is_kept(tmp_path: Path, fresh_server: bool) -> None:
    session = Session(tmp_path)
    session.change([put("a.jpg", "top_left", 5)])
    session.change([put("a.jpg", "top_right", 6)])
    (tmp_path / "survey.json").write_text("{broken")
    session = Session(tmp_path) if fresh_server else session
    session.restore()
    assert marks(tmp_path) == 2
    assert (tmp_path / "survey.json.broken").read_text() == "{broken"
    session.change([put("a.jpg", "bottom_left", 7)])


def test_a_full_disk_is_said_and_nothing_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session = Session(tmp_path)
    session.change([put("a.jpg", "top_left", 5)])
    before = (tmp_path / "survey.json").read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch, pytest.raises(PerpendError, match="No space left"):
        patch.setattr(os, "replace", full)
        patch.setattr(os, "link", full)
        session.change([put("a.jpg", "top_right", 6)])
    assert (tmp_path / "survey.json").read_bytes() == before
    session.change([put("a.jpg", "top_right", 6)])
    assert marks(tmp_path) == 2


def test_what_is_measured_goes_back_to_what_was_saved_when_saving_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    measured: list[tuple[int, str]] = []

    def accept(document: dict[str, Any], revision: str) -> None:
        measured.append((len(document.get("photos", [{}])[0].get("marks", [])), revision))

    session = Session(tmp_path, on_accept=accept)
    session.change([put("a.jpg", "top_left", 5)])
    assert measured == [(1, session.revision)]

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch, pytest.raises(PerpendError, match="No space left"):
        patch.setattr(os, "replace", full)
        session.change([put("a.jpg", "top_right", 6)])
    assert [count for count, _ in measured] == [1, 2, 1]
    assert measured[-1][1] == session.revision


SAVER = """
import sys
from pathlib import Path
from intake.page.document import Edit
from intake.page.searching import expected_in, only_sheets
from intake.page.session import Session
from intake.records import declared_reference
session = Session(Path(sys.argv[1]))
start = len(session.document.get("walls", []))
print("ready", flush=True)
for n in range(start, start + 5000):
    session.change([Edit(path=("walls", f"w{n}"), value={"id": f"w{n}", "built": 1900}, was=None)])
    print(f"w{n}", flush=True)
"""


def test_a_kill_in_mid_save_loses_no_acknowledged_change(tmp_path: Path) -> None:
    chance = random.Random(5)
    for _ in range(6):
        saver = subprocess.Popen(
            [sys.executable, "-c", SAVER, str(tmp_path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        assert saver.stdout is not None
        assert saver.stdout.readline() == "ready\n"
        time.sleep(0.05 + 0.15 * chance.random())
        saver.send_signal(signal.SIGKILL)
        said = saver.stdout.read().splitlines()
        saver.wait()
        saver.stdout.close()
        survey = parse_survey((tmp_path / "survey.json").read_bytes())
        assert {name for name in said if name.startswith("w")} <= {wall.id for wall in survey.walls}
    assert len(survey.walls) > 10


def test_a_photo_that_comes_while_the_page_is_open_is_there_at_the_next_load(tmp_path: Path) -> None:
    from PIL import Image

    from intake.page.bench import Bench

    Image.new("RGB", (640, 480), "grey").save(tmp_path / "IMG_0001.jpg")
    bench = Bench(tmp_path)
    bench.start()
    try:
        assert [photo["file"] for photo in bench.state()["photos"]] == ["IMG_0001.jpg"]
        Image.new("RGB", (640, 480), "white").save(tmp_path / "IMG_0002.jpg")
        assert [photo["file"] for photo in bench.state()["photos"]] == ["IMG_0001.jpg", "IMG_0002.jpg"]
        assert bench.searching.wait(timeout_s=60)
        assert set(bench.searching.looked) == {"IMG_0001.jpg", "IMG_0002.jpg"}
    finally:
        bench.stop()


def test_what_was_found_is_told_though_no_browser_has_taken_a_photo_yet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from PIL import Image

    from intake.page import searching
    from intake.page.bench import Bench

    monkeypatch.setattr(searching, "PATIENCE_S", 0.1)
    Image.new("RGB", (640, 480), "grey").save(tmp_path / "IMG_0001.jpg")
    bench = Bench(tmp_path)
    bench.start()
    try:
        assert bench.searching.wait(timeout_s=60)
        assert bench.found()["complete"]
    finally:
        bench.stop()


def test_a_file_that_an_editor_is_still_writing_is_waited_for(tmp_path: Path) -> None:
    session = Session(tmp_path)
    session.change([Edit(path=("title",), value="one", was=None)])
    whole = json.dumps({"schema_version": 1, "title": "two"})
    (tmp_path / "survey.json").write_text(whole[:10])
    threading.Timer(0.1, lambda: (tmp_path / "survey.json").write_text(whole)).start()
    assert session.refresh()
    assert session.problem is None
    assert session.document["title"] == "two"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            '{"tape_list": [{"wall": "north", "key": "width_mm", "why": "4 or 5 boards", "readings": 1}, {"wall": 3}]}',
            1,
        ),
        ('{"tape_list": {"wall": "north"}}', 0),
        ("[]", 0),
        ("{", 0),
        (None, 0),
    ],
    ids=["a list", "no list", "no object", "broken", "no estimate"],
)
def test_the_page_is_told_what_the_last_estimate_asks_to_be_taped(tmp_path: Path, text: str | None, told: int) -> None:
    (tmp_path / "results").mkdir()
    if text is not None:
        (tmp_path / "results" / "estimate.json").write_text(text)
    asked = [{"wall": "north", "key": "width_mm", "why": "4 or 5 boards"}]
    assert Bench(tmp_path).state()["tape_list"] == asked[:told]
