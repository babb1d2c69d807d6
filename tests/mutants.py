"""Small wrong changes to a module, one at a time, and a warm process that tries tests against each of them.

Run as ``python -m tests.mutants`` it reads one JSON request a line (``module``, ``source``, ``tests``, ``cpu_s``), runs
the tests with the module's source replaced, and answers with pytest's exit code (or minus the signal that ended it) and
the processor's seconds. Nothing is written: the changed source reaches the import system and no file.
"""

from __future__ import annotations

import ast
import copy
import importlib
import importlib.abc
import importlib.util
import json
import os
import resource
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType, TracebackType
from typing import cast

ROOT = Path(__file__).resolve().parent.parent
WARM = (
    "pytest", "hypothesis", "numpy", "scipy.optimize", "scipy.linalg", "scipy.sparse.linalg", "scipy.ndimage", "cv2",
    "ortools.sat.python.cp_model", "tomllib",
)  # fmt: skip
COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult, ast.Pow: ast.Mult, ast.MatMult: ast.Add,
}  # fmt: skip
OTHER_NAME = {
    "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all", "all": "any",
    "floor": "ceil", "ceil": "floor", "sin": "cos", "cos": "sin", "argmin": "argmax", "argmax": "argmin",
}  # fmt: skip
CHANGE_NOTHING = ("strict", "optimize", "hermitian")
"""Keywords that are a guard for the programmer (``zip``) or a question of speed (``einsum``, ``pinv``), not of any
result."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One wrong change: module as ``vision.solve``, lines of it and its statement, text before and after, source."""

    module: str
    line: int
    statement_line: int
    was: str
    now: str
    source: str

    @property
    def name(self) -> str:
        """The change in words that survive a shifted line: module, and the statement before and after."""
        return f"{self.module}: {self.was} -> {self.now}"


def sites(module: str) -> list[tuple[int, int]]:
    """Return every place of a module where it can be changed, in the order of its source, for :func:`mutant_at`.

    Notes
    -----
    Comparisons, arithmetic and signs, and/or/not, whole numbers (n + 1) and others (doubled; nought and slacks for
    rounding become one), min/max, any/all, floor/ceil, sin/cos, continue/break, and conditions turned round. Words for
    people (f-strings, strings), annotations and what changes no result (``CHANGE_NOTHING``, a length left open in
    ``reshape``) are left alone.
    """
    found = enumerate(_live(ast.parse(_text(module))))
    return [(number, which) for number, node in found for which, _ in enumerate(_changes(node))]


def mutant_at(module: str, site: tuple[int, int]) -> Mutant:
    """Return the mutant of a place."""
    tree = ast.parse(_text(module))
    node = list(_live(tree))[site[0]]
    changed = list(_changes(node))[site[1]]
    statement = _statement(tree, node)
    was = ast.unparse(statement)
    if node is statement:
        statement = cast("ast.stmt", changed)  # a statement that is itself replaced
    _replace(tree, node, changed)
    return Mutant(
        module=module,
        line=node.lineno,
        statement_line=_statement(tree, changed).lineno,
        was=_difference(was, ast.unparse(statement))[0],
        now=_difference(was, ast.unparse(statement))[1],
        source=ast.unparse(ast.fix_missing_locations(tree)),
    )


def unchanged(module: str) -> str:
    """Return a module's own source as the mutants' is written."""
    return ast.unparse(ast.parse(_text(module)))


def _text(module: str) -> str:
    return (ROOT / f"{module.replace('.', '/')}.py").read_text(encoding="utf-8")


def _difference(was: str, now: str) -> tuple[str, str]:
    """Return the first line in which two texts differ, of each."""
    pairs = zip(was.splitlines(), now.splitlines(), strict=False)
    return next(((a.strip(), b.strip()) for a, b in pairs if a != b), (was, now))


def _live(tree: ast.AST) -> Iterator[ast.expr | ast.stmt]:
    """Yield the expressions and statements that may be changed."""
    for name, field in ast.iter_fields(tree):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for node in field if isinstance(field, list) else [field]:
            if not isinstance(node, ast.AST) or isinstance(node, ast.JoinedStr | ast.Raise | ast.ImportFrom):
                continue
            if isinstance(node, ast.keyword) and node.arg in CHANGE_NOTHING:
                continue
            if isinstance(node, ast.expr | ast.stmt):
                yield node
            if not (_is_reshape(tree) and isinstance(node, ast.UnaryOp)):  # any length below nought is left open
                yield from _live(node)


def _is_reshape(tree: ast.AST) -> bool:
    return isinstance(tree, ast.Call) and isinstance(tree.func, ast.Attribute) and tree.func.attr == "reshape"


def _changes(node: ast.expr | ast.stmt) -> Iterator[ast.expr | ast.stmt]:
    changed = copy.deepcopy(node)
    match changed:
        case ast.Compare(ops=[op, *_]) if type(op) in COMPARISONS:
            changed.ops[0] = COMPARISONS[type(op)]()
            yield changed
        case ast.BinOp(op=op) if type(op) in ARITHMETIC and not _is_text(changed):
            changed.op = ARITHMETIC[type(op)]()
            yield changed
        case ast.BoolOp(op=op):
            changed.op = ast.Or() if isinstance(op, ast.And) else ast.And()
            yield changed
        case ast.UnaryOp(op=ast.USub() | ast.Not(), operand=operand):
            yield operand
        case ast.Constant(value=bool(value)):
            yield ast.copy_location(ast.Constant(not value), changed)
        case ast.Constant(value=int(value)):
            yield ast.copy_location(ast.Constant(value + 1), changed)
        case ast.Constant(value=float(value)):
            slack = abs(value) < 1e-5  # twice a slack for rounding is no wrong change; one instead of it is
            yield ast.copy_location(ast.Constant(1.0 if slack else 2.0 * value), changed)
        case ast.Name(id=name) if name in OTHER_NAME:
            changed.id = OTHER_NAME[name]
            yield changed
        case ast.Attribute(attr=name) if name in OTHER_NAME:
            changed.attr = OTHER_NAME[name]
            yield changed
        case ast.Continue():
            yield ast.copy_location(ast.Break(), changed)
        case ast.Break():
            yield ast.copy_location(ast.Continue(), changed)
        case ast.If(test=test) | ast.IfExp(test=test) if not isinstance(test, ast.Compare | ast.UnaryOp | ast.BoolOp):
            changed.test = ast.copy_location(ast.UnaryOp(ast.Not(), test), test)
            yield changed


def _is_text(node: ast.BinOp) -> bool:
    sides = (node.left, node.right)
    return any(
        isinstance(s, ast.JoinedStr) or (isinstance(s, ast.Constant) and isinstance(s.value, str)) for s in sides
    )


def _replace(tree: ast.AST, old: ast.AST, new: ast.AST) -> None:
    for parent in ast.walk(tree):
        for name, field in ast.iter_fields(parent):
            if field is old:
                setattr(parent, name, new)
                return
            if isinstance(field, list) and any(item is old for item in field):
                field[next(i for i, item in enumerate(field) if item is old)] = new
                return


def _statement(tree: ast.AST, node: ast.AST) -> ast.stmt:
    """Return the innermost statement that holds a node."""
    innermost: ast.stmt | None = None
    for statement in ast.walk(tree):
        if isinstance(statement, ast.stmt) and any(inner is node for inner in ast.walk(statement)):
            innermost = statement  # breadth first: the last one found is the deepest
    assert innermost is not None
    return innermost


class Trials:
    """A warm process that runs tests against changed sources, one at a time."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.mutants"], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )

    def __enter__(self) -> Trials:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.terminate()
        self._process.wait()

    def run(self, module: str, source: str | None, tests: Sequence[str], *, cpu_s: float) -> tuple[int, float]:
        """Return pytest's exit code, or minus the signal that ended it, and the seconds of the processor."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        request = {"module": module, "source": source, "tests": list(tests), "cpu_s": cpu_s}
        self._process.stdin.write(json.dumps(request).encode() + b"\n")
        self._process.stdin.flush()
        code, seconds = json.loads(self._process.stdout.readline())
        return int(code), float(seconds)


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives one module another source."""

    def __init__(self, module: str, source: str) -> None:
        self.module = module
        self.source = source

    def find_spec(self, fullname: str, path: object, target: ModuleType | None = None) -> ModuleSpec | None:
        if fullname != self.module:
            return None
        file = ROOT / f"{fullname.replace('.', '/')}.py"
        return importlib.util.spec_from_file_location(fullname, file, loader=self)

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.source, str(module.__file__), "exec"), module.__dict__)


def _try(request: dict[str, object]) -> None:
    """Be the trial; never return."""
    seconds = int(float(str(request["cpu_s"]))) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    quiet = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(quiet, number)
    if request["source"] is not None:
        sys.meta_path.insert(0, _Changed(str(request["module"]), str(request["source"])))
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    import pytest

    tests = request["tests"]
    assert isinstance(tests, list)
    code = 70
    try:
        # the tests' own libraries are imported already, so pytest cannot rewrite their assertions, nor need it
        quiet_start = ["-x", "-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning"]
        code = int(pytest.main([*quiet_start, *tests]))
    finally:
        os._exit(code)


def main() -> None:
    """Serve requests until standard input ends."""
    for name in WARM:
        importlib.import_module(name)
    for line in sys.stdin:
        before = os.times()
        process = os.fork()
        if process == 0:
            _try(json.loads(line))
        code = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
        after = os.times()
        used = after.children_user + after.children_system - before.children_user - before.children_system
        print(json.dumps([code, used]), flush=True)


if __name__ == "__main__":
    main()
