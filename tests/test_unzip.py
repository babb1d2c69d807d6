"""ZIP files are unpacked whole or not at all; nothing leaves the folder, and nothing grows like no photo does."""

from __future__ import annotations

import io
import stat
import time
import tracemalloc
import zipfile
from pathlib import Path

import pytest

from intake.unzip import unpack_zip
from vision.findings import PerpendError


def archive(folder: Path, members: dict[str, bytes], name: str = "home.zip") -> Path:
    path = folder / name
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as opened:
        for member, data in members.items():
            opened.writestr(member, data)
    return path


def refusal(path: Path) -> str:
    before = sorted(item.name for item in path.parent.iterdir())
    with pytest.raises(PerpendError) as caught:
        unpack_zip(path)
    assert sorted(item.name for item in path.parent.iterdir()) == before
    assert path.name in str(caught.value)
    return str(caught.value)


def test_photos_and_survey_come_out_and_nothing_else(tmp_path: Path) -> None:
    members = {
        "a/IMG_1.jpg": b"x",
        "survey.json": b"{}",
        "__MACOSX/._a.jpg": b"m",
        "run.sh": b"rm",
        "読み.heic": b"y",
        ".x.jpg": b"h",
    }
    folder = unpack_zip(archive(tmp_path, members))
    found = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    assert found == ["a/IMG_1.jpg", "survey.json", "読み.heic"]


def test_unpacking_again_changes_nothing(tmp_path: Path) -> None:
    path = archive(tmp_path, {"IMG_1.jpg": b"x"})
    folder = unpack_zip(path)
    (folder / "survey.json").write_text("mine")
    assert unpack_zip(path) == folder
    assert (folder / "survey.json").read_text() == "mine"


@pytest.mark.parametrize("name", ["../evil.jpg", "/etc/evil.jpg", "a/../../evil.jpg", "..\\evil.jpg", "C:\\evil.jpg"])
def test_a_member_that_would_leave_the_folder_is_refused(tmp_path: Path, name: str) -> None:
    assert "would be written outside its folder" in refusal(archive(tmp_path, {name: b"x"}))
    assert not list(tmp_path.parent.glob("evil.jpg"))


def test_a_link_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "home.zip"
    with zipfile.ZipFile(path, "w") as opened:
        member = zipfile.ZipInfo("IMG_1.jpg")
        member.external_attr = (stat.S_IFLNK | 0o777) << 16
        opened.writestr(member, "/etc/passwd")
    assert "is a link to another place" in refusal(path)


def test_a_bomb_is_refused_quickly_and_in_little_memory(tmp_path: Path) -> None:
    path = tmp_path / "home.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as opened, opened.open("IMG_1.jpg", "w") as member:
        for _ in range(150):
            member.write(bytes(1 << 20))
    tracemalloc.start()
    begun = time.monotonic()
    assert "grows" in refusal(path)
    assert time.monotonic() - begun < 2.0
    assert tracemalloc.get_traced_memory()[1] < 20e6
    tracemalloc.stop()


def test_a_member_larger_than_the_table_says_is_refused(tmp_path: Path) -> None:
    path = archive(tmp_path, {"IMG_1.jpg": b"a" * 5000})
    data = bytearray(path.read_bytes())
    for place in (data.find(b"PK\x01\x02") + 24, 22):
        data[place : place + 4] = (100).to_bytes(4, "little")
    path.write_bytes(bytes(data))
    assert "not a whole ZIP file" in refusal(path)
    assert not list(tmp_path.rglob("*.jpg"))


def test_what_is_no_zip_or_is_cut_short_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"not a zip")
    assert "not a whole ZIP file" in refusal(tmp_path / "a.zip")
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as opened:
        opened.writestr("IMG_1.jpg", bytes(10_000))
    (tmp_path / "b.zip").write_bytes(whole.getvalue()[:5000])
    assert "not a whole ZIP file" in refusal(tmp_path / "b.zip")


def test_a_zip_file_of_one_folder_of_its_own_name_is_that_folder(tmp_path: Path) -> None:
    archive = tmp_path / "house.zip"
    with zipfile.ZipFile(archive, "w") as made:
        made.writestr("house/a.jpg", b"pixels")
        made.writestr("house/attic/b.jpg", b"pixels")
    folder = unpack_zip(archive)
    assert sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*.jpg")) == ["a.jpg", "attic/b.jpg"]


def test_what_a_killed_unpacking_left_is_cleared_and_another_s_hidden_folder_is_not(tmp_path: Path) -> None:
    archive = tmp_path / "house.zip"
    with zipfile.ZipFile(archive, "w") as made:
        made.writestr("a.jpg", b"pixels")
    killed, foreign = (tmp_path / f".house.{name}.part" for name in ("killed", "foreign"))
    (killed / "house").mkdir(parents=True)
    (killed / "house" / "half.jpg").write_bytes(b"half")
    foreign.mkdir()
    (foreign / "notes.txt").write_text("mine")
    assert (unpack_zip(archive) / "a.jpg").exists()
    assert not killed.exists()
    assert (foreign / "notes.txt").read_text() == "mine"
