"""The shape of the code: which room imports which, how long modules are, what public functions say of themselves."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("vision", "estimator", "intake")
MODULES = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))
IDS = [path.relative_to(ROOT).as_posix() for path in MODULES]
MOST_LINES = 350


def test_imports_run_from_intake_to_estimator_to_vision() -> None:
    linter = Path(sys.executable).with_name("lint-imports")
    checked = subprocess.run([str(linter), "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stdout


@pytest.mark.parametrize("path", [path for path in MODULES if path.parent.name in ("vision", "estimator")], ids=str)
def test_the_two_cores_touch_no_disk_clock_or_terminal(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = {
        alias.name.split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names
    }
    imported |= {str(node.module).split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert imported & {"os", "time", "socket", "subprocess", "tempfile", "shutil", "requests", "urllib"} == set()
    assert not re.search(r"\brandom\.(?!Random\(|default_rng\(|Generator)\w+\(", path.read_text(encoding="utf-8"))
    called = {node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
    assert called & {"print", "open", "input"} == set()


@pytest.mark.parametrize("path", MODULES, ids=IDS)
def test_a_module_is_one_subject_of_at_most_350_lines_and_says_what_it_is(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= MOST_LINES
    assert ast.get_docstring(ast.parse(text)), "no docstring"


def public_functions() -> list[tuple[str, ast.FunctionDef]]:
    found = []
    for path in MODULES:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                found.append((f"{path.relative_to(ROOT).as_posix()}:{node.name}", node))
    return found


FUNCTIONS = public_functions()


@pytest.mark.parametrize("function", [node for _, node in FUNCTIONS], ids=[name for name, _ in FUNCTIONS])
def test_a_public_function_says_what_it_does_and_documents_only_parameters_it_has(function: ast.FunctionDef) -> None:
    told = ast.get_docstring(function)
    assert told, "no docstring"
    arguments = function.args
    known = {argument.arg for argument in (*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs)}
    known |= {argument.arg for argument in (arguments.vararg, arguments.kwarg) if argument is not None}
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\w[^\n]*\n-+$|\Z)", told, re.DOTALL | re.MULTILINE)
    if section is None:
        return
    heads = [line for line in section.group(1).splitlines() if line and not line.startswith(" ")]
    named = {name.strip(" *") for head in heads for name in head.split(" : ")[0].split(",")}
    assert named <= known, named - known


def test_no_brand_no_machine_path_and_no_unfinished_word_stands_in_the_code() -> None:
    unfinished = re.compile(r"\b(TODO|FIXME|XXX|HACK)\b|NotImplementedError\(")
    for path in [*MODULES, *sorted((ROOT / "tests").rglob("*.py"))]:
        if path == Path(__file__).resolve():
            continue
        text = path.read_text(encoding="utf-8")
        assert not unfinished.search(text), path
        for place in (ROOT, Path.home()):
            assert f"{place}/" not in text, path


def test_the_top_level_holds_only_what_the_map_says() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout.split(
        "\n"
    )
    if not any(listed):
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed if line and not line.startswith(".")}
    assert top == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "intake",
        "vision",
        "estimator",
        "tests",
        "sample_photos",
    }


def test_the_map_of_the_code_names_every_module() -> None:
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    modules = [path for core in ("vision", "estimator", "intake") for path in (ROOT / core).rglob("*.py")]
    words = re.sub(r"tell_\*", " ".join(path.stem for path in modules if path.stem.startswith("tell_")), told)
    missing = [path.name for path in modules if path.stem[0] != "_" and not re.search(rf"\b{path.stem}\b", words)]
    assert missing == []
