"""The command line: words, exit codes, one line for each failure, and a quick start."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from intake.cli import main
from intake.store import write_json
from intake.survey import Survey

ROOT = Path(__file__).resolve().parent.parent
COMMANDS = ("sheet", "check", "mark", "measure", "estimate", "report", "batch", "demo", "schema")


def perpend(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_bare_perpend_prints_three_steps_and_names_the_demo() -> None:
    told = perpend()
    assert told.exit_code == 0
    assert [
        step for step in ("perpend sheet", "perpend check FOLDER", "perpend mark FOLDER") if step not in told.output
    ] == []
    assert "perpend demo" in told.output


def test_help_names_every_command_and_every_option_has_words() -> None:
    assert set(main.commands) == set(COMMANDS)
    for name, command in main.commands.items():
        assert command.help, name
        for option in command.params:
            assert option.param_type_name == "argument" or getattr(option, "help", None), f"{name} {option.name}"


def test_help_answers_quickly_because_nothing_heavy_is_imported() -> None:
    code = "import sys, intake.cli; print(*sorted(m for m in sys.modules if '.' not in m))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
    heavy = {
        "cv2",
        "numpy",
        "scipy",
        "skimage",
        "ortools",
        "ezdxf",
        "typst",
        "starlette",
        "pydantic",
        "PIL",
        "rich",
        "uvicorn",
    }
    assert heavy & set(loaded) == set()


def test_help_answers_within_two_fifths_of_a_second() -> None:
    times = []
    for _ in range(3):
        begun = time.monotonic()
        subprocess.run([sys.executable, "-m", "intake", "--help"], cwd=ROOT, capture_output=True, check=True)
        times.append(time.monotonic() - begun)
    assert min(times) < 0.4


@pytest.mark.parametrize("command", ["check", "measure", "estimate", "report", "batch", "mark"])
def test_a_folder_that_is_not_there_is_one_line_and_exit_3(command: str, tmp_path: Path) -> None:
    told = perpend(command, tmp_path / "nowhere")
    assert told.exit_code == 3
    assert re.fullmatch(
        r".*nowhere: no such folder\. Check the name, or make it and copy the photos in\.\n", told.output
    )


@pytest.mark.parametrize("command", ["check", "measure", "estimate", "report", "batch"])
def test_an_empty_folder_is_one_line_and_exit_3_and_stays_empty(command: str, tmp_path: Path) -> None:
    told = perpend(command, tmp_path)
    assert told.exit_code == 3
    assert told.output.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_key_is_one_line_with_the_nearest_known_one(tmp_path: Path) -> None:
    (tmp_path / "survey.json").write_text('{"schema_version": 1, "walls": [{"id": "a", "taped": {"widht_mm": 3000}}]}')
    told = perpend("measure", tmp_path)
    assert told.exit_code == 3
    assert told.output == 'survey.json walls[0].taped: unknown key "widht_mm". Did you mean "width_mm"?\n'


def test_wrong_usage_is_exit_2() -> None:
    assert perpend("measure").exit_code == 2
    assert perpend("sheet", "--number", "200").exit_code == 2
    assert perpend("nonsense").exit_code == 2


def test_debug_shows_the_traceback(tmp_path: Path) -> None:
    told = perpend("measure", tmp_path / "nowhere", "--debug")
    assert told.exception is not None
    assert type(told.exception).__name__ == "PerpendError"


def test_a_stop_finding_is_exit_1_and_the_next_command_is_named(tmp_path: Path) -> None:
    write_json(tmp_path / "survey.json", {"schema_version": 1, "walls": [{"id": "north"}]})
    told = perpend("measure", tmp_path)
    assert told.exit_code == 1
    assert "■ stop S003 north: not marked in any photo and not taped, so it has no size." in told.output
    assert f"Next: perpend estimate {tmp_path}" in told.output


def test_json_prints_what_the_command_wrote_and_nothing_else(tmp_path: Path) -> None:
    taped = {"width_mm": 3000, "height_mm": 2400}
    write_json(tmp_path / "survey.json", {"schema_version": 1, "walls": [{"id": "north", "taped": taped}]})
    for command, file in (("measure", "geometry.json"), ("estimate", "estimate.json"), ("check", "check.json")):
        told = perpend(command, tmp_path, "--json")
        assert told.stdout == (tmp_path / "results" / file).read_text(encoding="utf-8"), command
        assert json.loads(told.stdout)["schema_version"] == 1


def test_schema_prints_the_schema_that_the_code_checks_with() -> None:
    told = json.loads(perpend("schema").output)
    assert told["properties"].keys() == Survey.model_fields.keys()
    assert "widths" not in told["properties"]
    for name in ("geometry", "check", "estimate"):
        assert json.loads(perpend("schema", name).output)["title"]


def test_sheet_writes_a_pdf_and_says_how_to_print_it(tmp_path: Path) -> None:
    told = perpend("sheet", "--out", tmp_path / "sheets.pdf", "--number", 3)
    assert told.exit_code == 0
    assert (tmp_path / "sheets.pdf").read_bytes()[:5] == b"%PDF-"
    assert "Print at 100 %" in told.output


def test_readme_shows_every_command_and_every_option() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name, command in main.commands.items():
        assert f"perpend {name}" in readme, name
        for option in command.params:
            for word in option.opts:
                if word.startswith("--") and word not in ("--debug", "--help"):
                    assert word in readme, f"{name} {word}"


def test_the_next_command_can_be_typed_as_printed_though_the_folder_has_spaces(tmp_path: Path) -> None:
    folder = tmp_path / "14 Mill Lane"
    folder.mkdir()
    (folder / "survey.json").write_text('{"schema_version": 1, "walls": [{"id": "a", "taped": {"width_mm": 3000}}]}')
    line = next(line for line in perpend("measure", folder).output.splitlines() if line.startswith("Next: "))
    assert shlex.split(line.removeprefix("Next: ")) == ["perpend", "estimate", str(folder)]


def test_demo_never_writes_over_a_folder(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    told = perpend("demo", "--out", tmp_path / "mine")
    assert told.exit_code == 3
    assert "is there already; nothing was overwritten" in told.output
