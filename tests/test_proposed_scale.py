"""An unmarked wall whose only reference is a declared sheet of paper: proposed where a storey tells it, never used."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from intake import propose
from intake.gather import gather, look_for_references
from intake.pipeline import measure_folder
from tests.survey_folders import render_home, write_home
from vision.proposals import Proposal


def _declared(folder: Path, seed: int) -> Path:
    home = write_home(folder, render_home(seed, photos=1, references=("a4",)), marked=False)
    said = {
        "schema_version": 1,
        "references": [{"id": "p1", "kind": "a4", "on": "north"}],
        "walls": [{"id": "north"}],
    }
    (home / "survey.json").write_text(json.dumps(said), encoding="utf-8")
    return home


def test_a_declared_sheet_of_paper_scales_a_proposal_that_says_so(tmp_path: Path) -> None:
    room = render_home(900, photos=1, references=("a4",)).room
    geometry = measure_folder(_declared(tmp_path / "home", 900))
    (wall,) = geometry.walls
    assert wall.status == "proposed"
    assert wall.width_mm is not None
    assert wall.width_mm.value == pytest.approx(room.width_mm, rel=0.015)
    told = {finding.code: finding for finding in geometry.findings}
    assert told["S004"].severity == "stop"
    assert told["R008"].severity == "warn"
    assert "most likely p1" in told["R008"].message


def test_a_thing_that_would_make_the_wall_no_storey_high_scales_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = gather(_declared(tmp_path / "home", 900))
    look_for_references(found)
    assert not any(sighting.confirmed for sighting in found.sightings)
    outline = np.array([[0.0, 900.0], [900.0, 900.0], [900.0, 0.0], [0.0, 0.0]])
    low = Proposal(
        photo="IMG_0001.jpg", score=5.0, outline_px=outline, openings_px=(), width_mm=1900.0, height_mm=1250.0
    )
    monkeypatch.setattr(propose, "propose_marks", lambda *_args, **_more: low)
    assert propose.propose_walls(found) == set()
    assert not any(sighting.confirmed for sighting in found.sightings)
    assert {finding.severity for finding in found.findings if finding.code == "R008"} == {"note"}
