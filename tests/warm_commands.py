"""perpend's commands in processes that can be killed, without each paying for its imports: one warm process forks them.

Run as ``python -m tests.warm_commands`` it reads one JSON request a line (``arguments``, ``cwd``, ``stderr``), answers
with the new process's number, and then with how it ended.
"""

from __future__ import annotations

import importlib
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from types import TracebackType

ROOT = Path(__file__).resolve().parent.parent
HEAVY = (
    "cv2", "scipy.optimize", "scipy.ndimage", "scipy.sparse.linalg", "skimage.measure", "ortools.sat.python.cp_model",
    "ezdxf", "typst", "jinja2", "PIL.Image", "pi_heif", "exifread", "starlette.applications", "uvicorn",
    "intake.cli", "intake.check", "intake.pipeline", "intake.batch", "intake.report", "intake.sheets_pdf",
    "intake.demo",
    "intake.page", "intake.page.server", "intake.printing", "intake.share", "estimator.estimate", "vision.references",
    "vision.measure", "vision.edges", "vision.brickwork", "vision.proposals", "intake.report.html",
    "intake.report.pdf", "intake.report.dxf", "intake.report.tables",
)  # fmt: skip


class WarmCommands:
    """A process that holds everything imported and forks one command at a time."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.warm_commands"], cwd=ROOT, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, start_new_session=True,
        )  # fmt: skip

    def __enter__(self) -> WarmCommands:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        os.killpg(self._process.pid, signal.SIGKILL)  # a command that still runs as well
        self._process.wait()
        self._process.stdin.close()
        self._process.stdout.close()

    def start(self, arguments: list[str], *, cwd: Path, stderr: Path | None = None) -> int:
        """Start ``perpend ARGUMENTS`` in a folder and return the number of its process."""
        assert self._process.stdin is not None
        request = {"arguments": arguments, "cwd": str(cwd), "stderr": str(stderr or os.devnull)}
        self._process.stdin.write(json.dumps(request).encode() + b"\n")
        self._process.stdin.flush()
        return self._number()

    def wait(self) -> int:
        """Return how the command ended: its exit code, or minus the signal that ended it."""
        return self._number()

    def _number(self) -> int:
        assert self._process.stdout is not None
        return int(self._process.stdout.readline())


def _be(request: dict[str, str | list[str]]) -> None:
    """Become the command; never return."""
    from intake.cli import main as perpend

    os.chdir(str(request["cwd"]))
    quiet = os.open(os.devnull, os.O_RDWR)
    loud = os.open(str(request["stderr"]), os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for number, handle in ((0, quiet), (1, quiet), (2, loud)):
        os.dup2(handle, number)
    code = 70
    try:
        perpend(list(request["arguments"]))
    except SystemExit as left:
        code = left.code if isinstance(left.code, int) else 1
    finally:
        os._exit(code)


def main() -> None:
    """Serve requests until standard input ends."""
    for name in HEAVY:
        importlib.import_module(name)
    for line in sys.stdin:
        process = os.fork()
        if process == 0:
            _be(json.loads(line))
        print(process, flush=True)
        print(os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), flush=True)


if __name__ == "__main__":
    main()
