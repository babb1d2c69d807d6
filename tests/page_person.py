"""A scripted person at the marking page: sees where corners are as an eye would, and uses mouse and keys only."""

from __future__ import annotations

import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ROOT = Path(__file__).resolve().parent.parent
ENDS = {"bottom_left": "bl", "bottom_right": "br", "top_right": "tr", "top_left": "tl"}
HAND_SD_CSS_PX = 1.2
"""How well a person with a magnifier presses, screen pixels (judgement)."""
EYE_CSS_PX = 3.0
"""A person sees in a close-up of about 0.75 screen pixels a photo pixel when a cross is this far off (judgement)."""

Pixels = Mapping[str, Mapping[str, tuple[float, float] | None]]


@dataclass(slots=True, kw_only=True)
class Server:
    """The marking page of one folder, in a process of its own."""

    folder: Path
    process: subprocess.Popen[str]
    address: str
    errors: list[str]
    reader: threading.Thread

    def kill(self) -> None:
        """End it without warning."""
        self.process.send_signal(signal.SIGKILL)
        self.close()

    def stop(self) -> None:
        """Ask it to end, as Ctrl+C does."""
        if self.process.poll() is None:
            self.process.terminate()
        self.close()

    def close(self) -> None:
        """Wait for its end and close what it talked through."""
        self.process.wait(10)
        self.reader.join(10)
        assert self.process.stderr is not None
        self.process.stderr.close()


def start_server(folder: Path) -> Server:
    """Return the page's server once it has said its address."""
    code = f"from pathlib import Path; from intake.page import serve; serve(Path({str(folder)!r}), open_browser=False)"
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", code],
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"OMP_NUM_THREADS": "1"},
    )
    assert process.stderr is not None
    first = process.stderr.readline()
    match = re.search(r"http://127\.0\.0\.1:\d+/\?token=\S+", first)
    if match is None:
        raise RuntimeError(first + process.stderr.read())
    errors: list[str] = []
    stream = process.stderr
    reader = threading.Thread(target=lambda: errors.extend(stream), daemon=True)
    reader.start()
    return Server(folder=folder, process=process, address=match.group(0), errors=errors, reader=reader)


@contextmanager
def serving(folder: Path) -> Iterator[Server]:
    """Yield a running server; afterwards it has stopped by itself, and said nothing but its two first lines."""
    server = start_server(folder)
    try:
        yield server
    finally:
        server.stop()


@contextmanager
def chromium(path: str) -> Iterator[Browser]:
    """Yield a fresh headless Chromium that talks to nobody but the page."""
    from playwright.sync_api import sync_playwright

    quiet = "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
    more = "--disable-component-update --disable-sync"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=[*quiet.split(), *more.split()])
        try:
            yield browser
        finally:
            browser.close()


def open_page(
    browser: Browser,
    address: str,
    *,
    complaints: list[str],
    before: Callable[[Page], None] = lambda _: None,
    **settings: Any,
) -> Page:
    """Return the page opened in a context of its own; every error on its console joins the complaints."""
    context = browser.new_context(**({"viewport": {"width": 1440, "height": 900}} | settings))
    page = context.new_page()
    page.on("console", lambda m: complaints.append(f"{m.type}: {m.text}") if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    before(page)
    page.goto(address)
    page.wait_for_selector("html[data-ready]")
    return page


def await_question(page: Page, kind: str) -> None:
    """Wait until the page asks a question of the kind; if it never does, say what it shows instead.

    Raises
    ------
    AssertionError
        After a minute.
    """
    from playwright.sync_api import TimeoutError as NeverCame

    try:
        page.wait_for_selector(f"#question[data-kind='{kind}']", timeout=60_000)
    except NeverCame:
        told = page.evaluate("JSON.stringify(document.documentElement.dataset)")
        words = f"{page.inner_text('#question')!r}; {page.inner_text('#saved')}; {told}"
        raise AssertionError(f"never asked for a {kind}, but: {words}") from None


@dataclass(slots=True, kw_only=True)
class Knowledge:
    """What the person sees and knows: where points are in each photo, and what to answer.

    ``openings``, ``features``: the page's ids in the order in which the person names them, with the truth's stems. What
    the page itself proposes keeps the page's name and becomes the thing that the person sees there.
    """

    pixels: Pixels
    skirting_mm: float
    bars_mm: dict[int, float] = field(default_factory=dict)
    openings: dict[str, str] = field(default_factory=dict)
    features: dict[str, str] = field(default_factory=dict)
    wall: str = "north"

    def recognise(self, file: str, point: Mapping[str, str], px: tuple[float, float]) -> None:
        """Give a proposed feature's name to the thing of that kind that is there, if one is."""
        ours = [name for name in self.features if _kind(name) == _kind(point["feature"])]
        if not ours:
            return
        ends = {name: self.pixels.get(file, {}).get(f"{self.features[name]}_{ENDS[point['point']]}") for name in ours}
        off = {name: float(np.hypot(px[0] - at[0], px[1] - at[1])) for name, at in ends.items() if at is not None}
        if off and point["feature"] in self.features:
            nearest = min(off, key=lambda name: off[name])
            swapped = {point["feature"]: self.features[nearest], nearest: self.features[point["feature"]]}
            self.features.update(swapped)

    def where(self, file: str, point: Mapping[str, str]) -> tuple[float, float] | None:
        """Return where a point is in a photo, or None if it cannot be seen there."""
        end = ENDS[point["point"]]
        if "opening" in point:
            number = self.openings[point["opening"]]
            stem = f"{'back' if point.get('face') == 'frame' else 'open'}{number}"
        elif "feature" in point:
            stem = self.features[point["feature"]]
        else:
            stem = "skirt" if self.skirting_mm and end.startswith("b") else "wall"
        return self.pixels.get(file, {}).get(f"{stem}_{end}")


def _kind(name: str) -> str:
    return name.rstrip("0123456789")


@dataclass(slots=True, kw_only=True)
class Person:
    """Marks a survey through the page, counting clicks and key presses; typed numbers are not counted."""

    page: Page
    knowledge: Knowledge
    seed: int = 1
    presses: int = 0
    log: list[str] = field(default_factory=list)
    chance: random.Random = field(default_factory=lambda: random.Random(1))

    def rest(self) -> None:
        """Wait as a person does, until the page has taken the last press in."""
        self.page.wait_for_selector("html[data-waiting='0']")
        self.page.wait_for_timeout(60)

    def press(self, key: str) -> None:
        """Press one key."""
        self.page.keyboard.press(key)
        self.presses += 1

    def click_photo(self, px: tuple[float, float]) -> None:
        """Press a place in the photo with an unsteady hand."""
        x, y = self.on_screen(px)
        hand = self.chance
        self.page.mouse.click(x + hand.gauss(0, HAND_SD_CSS_PX), y + hand.gauss(0, HAND_SD_CSS_PX))
        self.presses += 1

    def on_screen(self, px: tuple[float, float]) -> tuple[float, float]:
        """Return where a photo pixel is on the screen."""
        box = self.page.locator("#bench").bounding_box()
        assert box is not None
        scale, left, top = map(float, (self.page.get_attribute("#bench", "data-view") or "").split())
        return box["x"] + (px[0] + 0.5) * scale + left, box["y"] + (px[1] + 0.5) * scale + top

    def photo(self) -> str:
        """Return the photo on the bench."""
        return self.page.get_attribute("#bench", "data-photo") or ""

    def question(self) -> tuple[str, dict[str, str]]:
        """Return the kind of question that stands and the point it asks for."""
        kind = self.page.get_attribute("#question", "data-kind") or ""
        name = self.page.get_attribute("#question", "data-point") or ""
        return kind, dict(part.split("=", 1) for part in name.split(";")) if name else {}

    def mark_everything(self, *, most: int = 200) -> None:
        """Answer every question until the wall is done in every photo that it is asked in."""
        for _ in range(most):
            self.rest()
            kind, point = self.question()
            self.log.append(f"{self.presses} {self.photo()} {kind} {' '.join(point.values())}")
            if kind == "done" and "Next photo" not in self.page.inner_text("#question"):
                return
            getattr(self, f"_{kind}")(point)
        raise AssertionError("\n".join(["the page asks without end", *self.log[-30:]]))

    def _type(self, value: float) -> None:
        self.page.keyboard.type(f"{value:g}")

    def _wall(self, _: dict[str, str]) -> None:
        self.press("Enter")

    def _bar(self, _: dict[str, str]) -> None:
        number = int(re.findall(r"Sheet (\d+)", self.page.inner_text("#question"))[0])
        self._type(self.knowledge.bars_mm[number])
        self.press("Enter")

    def _point(self, point: dict[str, str]) -> None:
        px = self.knowledge.where(self.photo(), point)
        if px is None:
            self.press("s")
        else:
            self.click_photo(px)

    def _skirting(self, _: dict[str, str]) -> None:
        if self.knowledge.skirting_mm:
            self._type(self.knowledge.skirting_mm)
            self.press("Enter")
        else:
            self.press("p")

    def _openings(self, _: dict[str, str]) -> None:
        self.press("1" if self._declared("openings") < len(self.knowledge.openings) else "Enter")

    def _features(self, _: dict[str, str]) -> None:
        lacking = [name for name in self.knowledge.features if name not in self._names("features")]
        self.press({"rad": "3", "switch": "2"}.get(_kind(lacking[0]), "1") if lacking else "Enter")

    def _tape(self, _: dict[str, str]) -> None:
        self.press("Enter")

    def _done(self, _: dict[str, str]) -> None:
        before = self.photo()
        self.press("Enter")
        self.page.wait_for_selector(f"#bench:not([data-photo='{before}'])")
        self.page.wait_for_timeout(300)

    def _confirm(self, _: dict[str, str]) -> None:
        self.page.wait_for_selector(".strip .cell.looked")
        for cell in self.page.query_selector_all(".strip .cell:not(.left-out)"):
            name, shown = cell.get_attribute("data-key") or "", cell.get_attribute("data-px") or ""
            point = dict(part.split("=", 1) for part in name.split(";"))
            x, y = map(float, shown.split())
            if "feature" in point and point["feature"] not in self._names("features"):
                self.knowledge.recognise(self.photo(), point, (x, y))
            true = self.knowledge.where(self.photo(), point) if self._is_known(point) else None
            size = max(json.loads(self.page.evaluate("JSON.stringify(window.devicePixelRatio)")), 1.0)
            off = np.hypot(x - true[0], y - true[1]) * 0.75 / size if true else np.inf
            if off > EYE_CSS_PX * 2:
                out = cell.query_selector(".out")
                assert out is not None
                out.scroll_into_view_if_needed()
                out.click()
                self.presses += 1
        self.page.wait_for_timeout(400)
        self.page.locator("#bench").evaluate("b => b.focus({preventScroll: true})")
        self.press("a")
        self.page.wait_for_timeout(400)

    def _is_known(self, point: Mapping[str, str]) -> bool:
        if "feature" in point:
            return point["feature"] in self.knowledge.features
        return point.get("opening", "w1") in self.knowledge.openings or "opening" not in point

    def _declared(self, things: str) -> int:
        return len(self._names(things))

    def _names(self, things: str) -> list[str]:
        survey = self.page.evaluate("() => fetch('/api/state').then(r => r.json()).then(s => s.survey)")
        walls = {wall["id"]: wall for wall in survey.get("walls", [])}
        return [thing["id"] for thing in walls[self.knowledge.wall].get(things, [])]


def sample_copy(sample: Path, folder: Path, *, photos: list[str]) -> Path:
    """Return a folder with photos of a sample survey and nothing else: its marks and answers are taken away."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in photos:
        (folder / name).write_bytes((sample / name).read_bytes())
    return folder


def sample_pixels(sample: Path) -> Pixels:
    """Return the true pixels of a rendered sample survey, by photo and point."""
    truth = json.loads((sample / "truth.json").read_text())
    return {
        photo["file"]: {name: tuple(px) if px else None for name, px in photo["pixels"].items()}
        for photo in truth["photos"]
    }
