"""The folder's files are always the old or the new version, whole; the version before is kept."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from intake import store
from intake.survey import Survey, parse_survey
from vision.findings import PerpendError

HERE = Path(__file__).resolve().parent.parent


def test_a_file_is_replaced_whole_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "a.json"
    store.write_json(path, {"a": 1})
    store.write_json(path, {"a": 2})
    assert store.read_json(path) == {"a": 2}
    assert [item.name for item in path.parent.iterdir()] == ["a.json"]


def test_a_write_that_fails_leaves_the_old_version_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.json"
    store.write_text(path, "old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(PerpendError, match=r"could not be written \(No space left on device\).*nothing was changed"):
        store.write_text(path, "new")
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["a.json"]


KILLED_WRITER = """
import os, sys, time
from pathlib import Path
from intake import store
os.fsync = lambda handle: (print("half", flush=True), time.sleep(60))
store.write_bytes(Path(sys.argv[1]), b"x" * 100_000)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_what_a_killed_writer_left_is_taken_over_by_the_next(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    writer = subprocess.Popen([sys.executable, "-c", KILLED_WRITER, str(path)], cwd=HERE, stdout=subprocess.PIPE)
    assert writer.stdout is not None
    assert writer.stdout.readline() == b"half\n"
    writer.kill()
    writer.communicate()
    assert [item.name for item in tmp_path.iterdir()] == [".a.json.part"]
    store.write_bytes(path, b"new")
    assert path.read_bytes() == b"new"
    assert [item.name for item in tmp_path.iterdir()] == ["a.json"]


def test_many_writers_of_one_file_leave_one_of_their_versions_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    versions = [bytes([65 + k]) * 50_000 for k in range(16)]
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda data: store.write_bytes(path, data), versions * 4))
    assert path.read_bytes() in versions
    assert [item.name for item in tmp_path.iterdir()] == ["a.json"]


def test_the_survey_before_is_kept_as_a_backup(tmp_path: Path) -> None:
    first, second = Survey(schema_version=1, title="one"), Survey(schema_version=1, title="two")
    store.write_survey(tmp_path, first)
    store.write_survey(tmp_path, second)
    assert store.read_survey(tmp_path).title == "two"
    assert parse_survey((tmp_path / store.BACKUP).read_bytes()).title == "one"


def test_a_survey_changed_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    known = store.write_survey(tmp_path, Survey(schema_version=1, title="mine"))
    store.write_survey(tmp_path, Survey(schema_version=1, title="theirs"))
    with pytest.raises(PerpendError, match="changed on disk meanwhile"):
        store.write_survey(tmp_path, Survey(schema_version=1, title="mine again"), expected_sha256=known)
    assert store.read_survey(tmp_path).title == "theirs"


def test_a_broken_survey_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "survey.json").write_text('{"schema_version": 1, ')
    with pytest.raises(PerpendError, match=r"survey.json: not JSON at line 1"):
        store.read_survey(tmp_path)
    assert (tmp_path / "survey.json").read_text() == '{"schema_version": 1, '


def test_the_hash_follows_meaning_and_content_but_not_spacing_or_line_endings(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"one")

    def hashed(text: str) -> str:
        survey = parse_survey(text)
        return store.inputs_sha256(tmp_path, survey=survey, photos=["a.jpg"], parts=["walls"], version="1")

    plain = hashed('{"schema_version": 1, "walls": [{"id": "a"}]}')
    assert hashed('{\r\n"walls":[{"id":"a"}],"schema_version":1}') == plain
    assert hashed('{"schema_version": 1, "walls": [{"id": "a"}], "title": "other part"}') == plain
    assert hashed('{"schema_version": 1, "walls": [{"id": "b"}]}') != plain
    (tmp_path / "a.jpg").write_bytes(b"two")
    assert hashed('{"schema_version": 1, "walls": [{"id": "a"}]}') != plain


def test_a_geometry_that_no_longer_fits_is_made_again_not_trusted(tmp_path: Path) -> None:
    assert store.read_geometry(tmp_path) is None
    store.write_text(tmp_path / "results" / "geometry.json", '{"schema_version": 1, "half": ')
    assert store.read_geometry(tmp_path) is None


WRITER = """
import sys
from pathlib import Path
from intake.store import write_json
n = 0
while True:
    n += 1
    write_json(Path(sys.argv[1]), {"n": n, "filler": ["x" * 1000] * 200, "end": n})
"""


def killed_writes(folder: Path, rounds: int) -> None:
    path = folder / "geometry.json"
    store.write_json(path, {"n": 0, "end": 0})
    for number in range(rounds):
        process = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], cwd=HERE)
        time.sleep(0.25 + 0.013 * (number % 17))
        process.send_signal(signal.SIGKILL)
        process.wait()
        kept = store.read_json(path)
        assert kept["n"] == kept["end"]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_a_writer_killed_at_any_moment_leaves_a_whole_file(tmp_path: Path) -> None:
    killed_writes(tmp_path, 8)
