"""Study files say from which code they come; an old one is worth a warning, a broken one is a failure."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import pytest

from tests.readme_figures import QUOTED, quoted
from tests.run_study import ROOT, STUDIES, code_sha256

KEPT = sorted(STUDIES.glob("*.json"))


class OldStudyWarning(UserWarning):
    """A study's result was made by older code."""


@pytest.mark.parametrize("path", KEPT, ids=[path.stem for path in KEPT])
@pytest.mark.filterwarnings("default::UserWarning")
def test_a_study_file_names_seed_date_and_the_code_it_came_from(path: Path) -> None:
    kept = json.loads(path.read_text(encoding="utf-8"))
    assert {"study", "seed", "date", "part", "code_sha256", "depends", "result"} <= set(kept)
    assert kept["part"] == 1.0, "README quotes full studies only"
    if kept["code_sha256"] != code_sha256(kept["depends"]):
        again = f"bash tests/run --study {path.stem}"
        warnings.warn(f"{path.name} was made by older code; make it again: {again}", OldStudyWarning, stacklevel=1)


def test_a_changed_file_changes_the_hash_of_the_code_and_line_endings_do_not(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_bytes(b"one\ntwo\n")
    before = code_sha256(["*.py"], root=tmp_path)
    (tmp_path / "a.py").write_bytes(b"one\r\ntwo\r\n")
    assert code_sha256(["*.py"], root=tmp_path) == before
    (tmp_path / "a.py").write_bytes(b"one\nthree\n")
    assert code_sha256(["*.py"], root=tmp_path) != before


@pytest.mark.parametrize("study", sorted(QUOTED))
def test_readme_quotes_a_study_as_its_file_has_it(study: str) -> None:
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    for words in quoted(study):
        assert " ".join(words.split()) in readme, "python -m tests.readme_figures prints what README should say"
