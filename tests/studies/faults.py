"""Study: 300 kills of every command that writes; survey and results are always the old or the new version, whole."""

from __future__ import annotations

import contextlib
import hashlib
import http.client
import json
import os
import re
import signal
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from intake.demo import copy_demo
from tests.survey_folders import render_home, write_home
from tests.warm_commands import WarmCommands

DEPENDS = (
    "intake/store.py", "intake/demo.py", "intake/page/keeping.py", "intake/page/session.py",
    "intake/report/write.py", "tests/warm_commands.py",
)  # fmt: skip
KILLS = {"check": 35, "measure": 35, "estimate": 35, "report": 50, "batch": 35, "sheet": 25, "demo": 25, "mark": 60}
ARGUMENTS = {
    "check": ["check", "home", "--for-client", "--share"],
    "measure": ["measure", "home", "--again"],
    "estimate": ["estimate", "home"],
    "report": ["report", "home"],
    "batch": ["batch", ".", "--workers", "1"],
    "sheet": ["sheet", "--out", "sheets.pdf"],
    "demo": ["demo", "--out", "demo"],
}
UNREAD = (".part", ".survey.lock", "/demo/results/")
"""Never read as a result: what a killed writer left; and the demo is killed while it copies, not after."""
ENDINGS = {".dxf": b"EOF", ".pdf": b"%%EOF"}
ADDRESS = re.compile(r"127\.0\.0\.1:(\d+)/\?token=(\S+)")
Stamps = dict[str, tuple[int, int, int]]


def run(seed: int, part: float) -> dict[str, Any]:
    """Return how many kills landed in each command and what they broke.

    Parameters
    ----------
    seed
        Of the room and of the moments.
    part
        Share of the 300 kills; each command gets at least one.

    Notes
    -----
    Half of the moments are anywhere in the command's time, half within 30 ms of its first write. Two versions of the
    survey take turns, so that old and new differ. Whole means: byte for byte what an undisturbed run writes
    (drawings and PDFs, which hold the time of writing: with their last line).
    """
    rng = np.random.default_rng(seed)
    wanted = {name: max(1, round(number * part)) for name, number in KILLS.items()}
    broken: list[str] = []
    landed = dict.fromkeys(wanted, 0)
    begun = os.times()
    with tempfile.TemporaryDirectory() as scratch, WarmCommands() as commands:
        top = Path(scratch) / "surveys"
        home = write_home(top / "home", render_home(361, photos=1, size_px=(1344, 1008)))
        ground = Ground(commands, top, versions(home, rng))
        for name in ARGUMENTS:
            for k in range(wanted[name]):
                for told in ground.kill(name, rng, at_first_write=k % 2 == 0 or name == "demo"):
                    broken.append(told)
                landed[name] += 1
            if part > 0.5 or name == "demo":
                broken += ground.undisturbed()
        copy_demo(top / "demo")  # takes away what killed ones left
        left = [path.name for path in top.rglob("*.part")]
        lost, landed["mark"] = killed_pages(commands, Path(scratch) / "marked", rng, wanted["mark"])
    return {
        "kills_that_landed": landed,
        "kills_in_all": sum(landed.values()),
        "during_the_writing": ground.caught,
        "broken": broken,
        "acknowledged_marks_lost": lost,
        "temporary_files_left": left,
        "cpu_seconds": round(sum(os.times()[:4]) - sum(begun[:4]), 1),
    }


def versions(home: Path, rng: np.random.Generator) -> tuple[bytes, bytes]:
    """Return two surveys of one room that differ in a taped length and in the design."""
    survey = json.loads((home / "survey.json").read_text(encoding="utf-8"))
    height_mm = float(rng.integers(2480, 2560))
    told = []
    for k, insulation_mm in enumerate((40.0, 60.0)):
        survey["walls"][0]["taped"] = {"height_mm": height_mm + k}
        survey["design"] = {"insulation": "pir", "insulation_mm": insulation_mm}
        told.append(json.dumps(survey).encode())
    return told[0], told[1]


class Ground:
    """A stock of one survey in which commands are killed, and what whole files look like there."""

    def __init__(self, commands: WarmCommands, top: Path, surveys: tuple[bytes, bytes]) -> None:
        self.commands = commands
        self.top = top
        self.surveys = surveys
        self.turn = 0
        self.caught = 0
        self.lasts: dict[str, float] = {}
        self.whole: dict[str, set[str]] = {}
        self.final: tuple[dict[str, str], dict[str, str]] = ({}, {})
        for turn in (0, 1):
            self._say(turn)
            for name, arguments in ARGUMENTS.items():
                if name == "demo":
                    continue
                begun = time.monotonic()
                self.commands.start(arguments, cwd=top)
                assert self.commands.wait() in (0, 1), name
                self.lasts[name] = time.monotonic() - begun
                for place, found in digests(top).items():
                    self.whole.setdefault(place, set()).add(found)
            self.final[turn].update(digests(top))
        self.lasts["demo"] = 1.0
        self.demo = copied_demo()

    def _say(self, turn: int) -> None:
        self.turn = turn
        (self.top / "home" / "survey.json").write_bytes(self.surveys[turn])

    def kill(self, name: str, rng: np.random.Generator, *, at_first_write: bool) -> list[str]:
        """Run a command, kill it at one moment, again until the kill landed; return what is not whole then."""
        while True:
            self._say(1 - self.turn)
            before = stamps(self.top)
            process = self.commands.start(ARGUMENTS[name], cwd=self.top)
            moment = time.monotonic() + float(rng.uniform(0.0, 0.95)) * self.lasts[name]
            if at_first_write:
                until(partial(_begun, self.top, before, process))
                moment = time.monotonic() + float(rng.uniform(0.0, 0.03 if name != "demo" else 0.008))
            time.sleep(max(0.0, moment - time.monotonic()))
            if alive(process):
                os.kill(process, signal.SIGKILL)
            if self.commands.wait() == -signal.SIGKILL:
                break
        self.caught += any(self.top.rglob("*.part"))
        return [f"{name}: {told}" for told in self.unwhole()]

    def unwhole(self) -> list[str]:
        """Return the files that are neither the old nor the new version, whole."""
        told = []
        for place, found in digests(self.top).items():
            if place.startswith("/demo/"):
                if self.demo.get(place) != found:
                    told.append(f"{place} is not what was copied")
            elif found not in self.whole.get(place, set()):
                told.append(f"{place} is neither version")
        copied = {place for place in digests(self.top) if place.startswith("/demo/")}
        if copied:
            told += [f"{place} is missing from the copy" for place in self.demo.keys() - copied]
            for path in sorted((self.top / "demo").rglob("*"), reverse=True):
                path.rmdir() if path.is_dir() else path.unlink()
            (self.top / "demo").rmdir()
        return told

    def undisturbed(self) -> list[str]:
        """Run everything once more without a kill; return what then differs from the same run before any kill."""
        told = []
        for name in ("check", "report", "batch", "sheet"):
            self.commands.start(ARGUMENTS[name], cwd=self.top)
            code = self.commands.wait()
            if code not in (0, 1):
                told.append(f"after the kills, {name} ends with {code}")
        now = digests(self.top)
        return told + [
            f"after the kills, {place} differs" for place in now.keys() | self.final[self.turn]
            if now.get(place) != self.final[self.turn].get(place)
        ]  # fmt: skip


def digests(top: Path) -> dict[str, str]:
    """Return the SHA-256 of every file below a folder that could be read as a survey, a result or a list."""
    return {place: digest(path.read_bytes(), Path(place).suffix) for place, path in files(top)}


def digest(data: bytes, suffix: str) -> str:
    """Return the SHA-256 of a file; of a format that holds the time of writing, whether its last line is there."""
    if suffix in ENDINGS:
        return "whole" if data.rstrip().endswith(ENDINGS[suffix]) else "cut short"
    return hashlib.sha256(data).hexdigest()


def stamps(top: Path) -> Stamps:
    """Return number, time and size of every file below a folder, temporary ones too."""
    found: Stamps = {}
    folders = [str(top)]
    while folders:
        try:
            for entry in os.scandir(folders.pop()):
                if entry.is_dir(follow_symlinks=False):
                    folders.append(entry.path)
                stat = entry.stat()
                found[entry.path] = (stat.st_ino, stat.st_mtime_ns, stat.st_size)
        except FileNotFoundError:
            continue  # renamed while we looked
    return found


def files(top: Path) -> Iterator[tuple[str, Path]]:
    """Yield place and path of every file below a folder that perpend or a person may read."""
    for path in sorted(top.rglob("*")):
        place = f"/{path.relative_to(top).as_posix()}"
        left_over = any(part.endswith(UNREAD[0]) for part in place.split("/"))
        if path.is_file() and not left_over and not any(unread in place for unread in UNREAD[1:]):
            yield place, path


def copied_demo() -> dict[str, str]:
    """Return what the demo's folder holds once it is copied, before anything is worked out."""
    with tempfile.TemporaryDirectory() as scratch:
        copy_demo(Path(scratch) / "demo")
        return digests(Path(scratch))


def _begun(top: Path, before: Stamps, process: int) -> bool:
    return stamps(top) != before or not alive(process)


def alive(process: int) -> bool:
    """Return whether a process is running and not merely unburied."""
    try:
        state = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


def until(true: Callable[[], bool], *, patience_s: float = 120.0) -> None:
    """Wait until something holds."""
    end = time.monotonic() + patience_s
    while not true():
        if time.monotonic() > end:
            raise TimeoutError
        time.sleep(0.001)


def killed_pages(commands: WarmCommands, folder: Path, rng: np.random.Generator, kills: int) -> tuple[list[str], int]:
    """Kill the page's server while marks come in; return what was lost of what it had acknowledged, and the kills."""
    folder.mkdir()
    lost: list[str] = []
    number = 0
    for _ in range(kills):
        (folder / "said.txt").unlink(missing_ok=True)
        process = commands.start(["mark", ".", "--no-browser"], cwd=folder, stderr=folder / "said.txt")
        until((folder / "said.txt").exists)
        until(lambda: ADDRESS.search((folder / "said.txt").read_text()) is not None)
        found = ADDRESS.search((folder / "said.txt").read_text())
        assert found is not None
        page = Page(int(found[1]), found[2])
        end = time.monotonic() + float(rng.uniform(0.02, 0.3))
        acknowledged = number
        while True:
            number += 1
            sent = page.send(["title"], str(number))
            if time.monotonic() > end:
                break  # the last one is on its way when the kill comes
            with contextlib.closing(sent):
                if sent.getresponse().status == 200:
                    acknowledged = number
        time.sleep(float(rng.uniform(0.0, 0.006)))
        os.kill(process, signal.SIGKILL)
        commands.wait()
        sent.close()
        lost += _kept(folder / "survey.json", acknowledged, number)
    return lost, kills


def _kept(path: Path, acknowledged: int, sent: int) -> list[str]:
    if not path.exists():
        return [] if acknowledged == 0 else [f"no survey, but mark {acknowledged} was acknowledged"]
    try:
        title = int(json.loads(path.read_bytes())["title"])
    except (ValueError, KeyError) as error:
        return [f"survey.json is not whole: {error!r}"]
    return [] if acknowledged <= title <= sent else [f"{title} kept of {acknowledged} acknowledged and {sent} sent"]


class Page:
    """The page's side of one server."""

    def __init__(self, port: int, token: str) -> None:
        self.port = port
        self.headers = {
            "origin": f"http://127.0.0.1:{port}",
            "cookie": f"perpend_{port}={token}",
            "content-type": "application/json",
        }

    def send(self, path: list[str], value: object) -> http.client.HTTPConnection:
        """Send an edit and return the connection on which its answer will come."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        posted = json.dumps({"edits": [{"path": path, "value": value}], "force": True})
        connection.request("POST", "/api/change", body=posted, headers=self.headers)
        return connection
