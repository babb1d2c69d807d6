"""From a folder to its results: measured within the stated uncertainty, made again when stale, nothing lost."""

from __future__ import annotations

import datetime
import json
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from intake.pipeline import estimate_folder, measure_folder, report_folder
from intake.results import Geometry, ValueSd
from intake.store import json_text
from tests.survey_folders import Rendered, render_home, write_home
from vision.findings import PerpendError


@pytest.fixture(scope="module")
def home() -> Rendered:
    return render_home(7)


@pytest.fixture(scope="module")
def measured(home: Rendered, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Geometry]:
    folder = write_home(tmp_path_factory.mktemp("lock") / "cottage", home)
    return folder, measure_folder(folder)


def near(size: ValueSd | None, truth: float) -> None:
    assert size is not None
    assert abs(size.value - truth) <= max(0.006 * truth, 8.0)
    assert abs(size.value - truth) <= 3.0 * size.sd


def test_a_marked_wall_is_measured_within_its_stated_uncertainty(
    home: Rendered, measured: tuple[Path, Geometry]
) -> None:
    wall = measured[1].walls[0]
    assert wall.status == "measured"
    near(wall.width_mm, home.room.width_mm)
    near(wall.height_mm, home.room.height_mm)
    assert home.room.opening is not None
    front = home.room.opening.front_mm
    near(wall.openings[0].width_mm, float(np.mean([front[1][0] - front[0][0], front[2][0] - front[3][0]])))
    near(wall.openings[0].reveal_depth_mm, home.room.opening.reveal_mm)


def test_thickness_is_reveal_and_frame_and_outer_reveal(measured: tuple[Path, Geometry]) -> None:
    opening = measured[1].walls[0].openings[0]
    assert opening.reveal_depth_mm and opening.thickness_mm and opening.outer_reveal_mm
    assert opening.thickness_mm.value == pytest.approx(opening.reveal_depth_mm.value + 70 + 30, abs=0.01)
    assert opening.thickness_mm.sd > opening.reveal_depth_mm.sd


def test_the_file_says_what_was_returned_and_the_picture_is_there(measured: tuple[Path, Geometry]) -> None:
    folder, geometry = measured
    assert (folder / "results" / "geometry.json").read_text(encoding="utf-8") == json_text(geometry)
    rectified = geometry.walls[0].rectified
    assert rectified is not None
    data = (folder / "results" / rectified.file).read_bytes()
    assert b"Handset" not in data
    assert b"Exif" not in data


def test_measuring_again_without_a_change_reads_what_is_there_and_with_a_change_does_not(
    measured: tuple[Path, Geometry], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = shutil.copytree(measured[0], tmp_path / "copy")
    with monkeypatch.context() as patch:
        patch.setattr("intake.pipeline.gather", lambda *_, **__: pytest.fail("measured again without need"))
        assert measure_folder(folder) == measured[1]
    survey = json.loads((folder / "survey.json").read_text())
    survey["walls"][0]["taped"] = {"height_mm": round(measured[1].walls[0].height_mm.value)}  # type: ignore[union-attr]
    (folder / "survey.json").write_text(json.dumps(survey))
    changed = measure_folder(folder)
    assert changed.inputs_sha256 != measured[1].inputs_sha256


def test_the_same_folder_gives_the_same_bytes_whatever_its_line_endings(
    measured: tuple[Path, Geometry], tmp_path: Path
) -> None:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    for photo in measured[0].glob("*.jpg"):
        shutil.copy(photo, folder)
    text = (measured[0] / "survey.json").read_text()
    (folder / "survey.json").write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    measure_folder(folder)
    before = (measured[0] / "results" / "geometry.json").read_bytes()
    assert (folder / "results" / "geometry.json").read_bytes() == before


def test_a_measured_folder_goes_through_to_estimate_and_report(measured: tuple[Path, Geometry], tmp_path: Path) -> None:
    folder = shutil.copytree(measured[0], tmp_path / "whole")
    estimate = estimate_folder(folder)
    assert {"schema_version", "inputs_sha256", "rooms", "walls", "tape_list", "order", "findings"} <= set(estimate)
    assert estimate["rooms"][0]["boards"]["count"] >= estimate["rooms"][0]["boards"]["lower_bound"] > 0
    written, again, _ = report_folder(folder)
    assert json.loads(json_text(again)) == json.loads(
        (folder / "results" / "estimate.json").read_text(encoding="utf-8")
    )
    assert all(path.exists() for path in written)
    assert any(path.suffix == ".html" for path in written)


def test_an_estimate_is_kept_from_one_day_to_the_next_and_made_again_when_a_rule_has_run_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wall = {"id": "east", "faces": "outside", "line": True, "taped": {"width_mm": 3600, "height_mm": 2400}}
    (tmp_path / "survey.json").write_text(json.dumps({"schema_version": 1, "walls": [wall]}))

    def made_on(day: datetime.date) -> bytes:
        monkeypatch.setattr("intake.pipeline.datetime", SimpleNamespace(date=SimpleNamespace(today=lambda: day)))
        estimate_folder(tmp_path)
        return (tmp_path / "results" / "estimate.json").read_bytes()

    first = made_on(datetime.date(2026, 11, 25))
    with monkeypatch.context() as patch:
        patch.setattr("intake.pipeline._estimate", lambda *_: pytest.fail("estimated again without need"))
        assert made_on(datetime.date(2027, 3, 31)) == first
    later = made_on(datetime.date(2027, 4, 1))
    assert b"ran until 2027-03-31" not in first
    assert b"ran until 2027-03-31" in later
    assert made_on(datetime.date(2027, 4, 2)) == later


def test_estimate_needs_no_photos_once_the_geometry_is_there(measured: tuple[Path, Geometry], tmp_path: Path) -> None:
    from intake.pipeline import wall_cases
    from intake.store import read_survey

    cases = wall_cases(measured[0], read_survey(measured[0]), measured[1])
    assert [case.measured.id for case in cases] == ["north"]
    width = measured[1].walls[0].width_mm
    assert cases[0].measured.width_mm is not None and width is not None
    assert cases[0].measured.width_mm.value == width.value
    assert cases[0].measured.covariance_mm2 is not None


def test_a_folder_without_marks_gets_proposed_sizes_that_reach_no_order(home: Rendered, tmp_path: Path) -> None:
    folder = write_home(tmp_path / "unmarked", home, marked=False)
    geometry = measure_folder(folder)
    wall = geometry.walls[0]
    assert wall.status == "proposed"
    assert wall.width_mm is not None
    assert wall.width_mm.value == pytest.approx(home.room.width_mm, rel=0.015)
    assert any(finding.code == "S004" and finding.severity == "stop" for finding in geometry.findings)
    assert estimate_folder(folder)["order"] == []
    assert not (folder / "survey.json").exists()


def taped(**walls: Any) -> dict[str, Any]:
    return {"schema_version": 1, "walls": [{"id": "east", **walls}]}


def test_a_wall_without_photos_is_taken_from_its_tape(tmp_path: Path) -> None:
    opening = {"id": "w1", "taped": {"width_mm": 1200, "height_mm": 1100, "left_mm": 900, "sill_mm": 850}}
    survey = taped(taped={"width_mm": 3600, "height_mm": 2400}, openings=[opening], features=[
        {"id": "s1", "kind": "socket", "taped": {"left_mm": 400, "bottom_mm": 450}}])  # fmt: skip
    (tmp_path / "survey.json").write_text(json.dumps(survey))
    wall = measure_folder(tmp_path).walls[0]
    assert wall.status == "taped"
    assert wall.width_mm is not None and wall.width_mm.value == 3600
    assert wall.outline_mm is not None and wall.outline_mm[2] == (3600, 2400)
    assert wall.openings[0].front_mm is not None and wall.openings[0].front_mm[0] == (900, 850)
    assert wall.features[0].left_mm is not None and wall.features[0].left_mm.value == 400
    assert wall.net_area_m2 is not None
    assert wall.net_area_m2.value == pytest.approx(3.6 * 2.4 - 1.2 * 1.1)


def test_an_empty_folder_is_refused_with_the_next_step(tmp_path: Path) -> None:
    with pytest.raises(PerpendError, match=r"no photos and no survey.json here. Copy the photos in"):
        measure_folder(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_bad_photos_and_marks_are_findings_that_name_file_and_remedy(
    measured: tuple[Path, Geometry], home: Rendered, tmp_path: Path
) -> None:
    folder = shutil.copytree(measured[0], tmp_path / "bad", ignore=shutil.ignore_patterns("results"))
    (folder / "note.jpg").write_text("not a photo")
    (folder / "cut.jpg").write_bytes((folder / "IMG_0001.jpg").read_bytes()[:90_000])
    for sub in ("one", "two"):
        (folder / sub).mkdir()
        shutil.copy(folder / "IMG_0002.jpg", folder / sub / "twin.jpg")
    survey = json.loads((folder / "survey.json").read_text())
    survey["photos"][0]["marks"].append({"wall": "north", "point": "top_left", "px": [9000, 10]})
    survey["photos"] += [{"file": "gone.jpg"}, {"file": "twin.jpg"}]
    text = json.dumps(survey)
    (folder / "survey.json").write_text(text)
    geometry = measure_folder(folder)
    told = {finding.where.get("photo"): finding for finding in geometry.findings if finding.code.startswith("P")}
    assert "not a picture" in told["note.jpg"].message
    assert "cut short" in told["cut.jpg"].message
    assert "lies outside the photo, which is 2016 x 1512" in told["IMG_0001.jpg"].message
    assert "no such photo" in told["gone.jpg"].message
    assert "two photos have this name, one/twin.jpg and two/twin.jpg" in told["twin.jpg"].message
    assert all(finding.remedy for finding in geometry.findings)
    assert (folder / "survey.json").read_text() == text
    near(geometry.walls[0].width_mm, home.room.width_mm)


def test_a_bad_survey_stops_before_anything_is_written(measured: tuple[Path, Geometry], tmp_path: Path) -> None:
    folder = shutil.copytree(measured[0], tmp_path / "typo")
    before = (folder / "results" / "geometry.json").read_bytes()
    (folder / "survey.json").write_text('{"schema_version": 1, "wals": []}')
    with pytest.raises(PerpendError, match=r'survey.json: unknown key "wals". Did you mean "walls"\?'):
        measure_folder(folder)
    assert (folder / "results" / "geometry.json").read_bytes() == before
