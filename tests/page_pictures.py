"""Pictures of every state of the marking page: ``python -m tests.page_pictures OUT``."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.page_person import Knowledge, Person, chromium, open_page, sample_copy, sample_pixels, serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "sample_photos" / "lock_cottage"
PHOTOS = ["IMG_0101.jpg", "IMG_0102.jpg", "IMG_0103.jpg", "IMG_0104.jpg"]


def knowledge() -> Knowledge:
    """Return what a person knows of the sample's inside wall."""
    return Knowledge(
        pixels=sample_pixels(SAMPLE),
        skirting_mm=18.0,
        bars_mm={17: 250.0, 18: 250.0},
        openings={"w1": ""},
        features={"rad1": "rad", "socket1": "s1", "socket2": "s2"},
    )


class Album:
    """Takes numbered pictures into a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.taken = 0
        folder.mkdir(parents=True, exist_ok=True)

    def take(self, page: Page, name: str) -> None:
        """Take one picture of the window."""
        page.wait_for_timeout(400)
        self.taken += 1
        page.screenshot(path=str(self.folder / f"{self.taken:02}_{name}.png"))


def take_marking(browser: Browser, album: Album, folder: Path) -> None:
    """Take pictures while a person marks the sample survey from nothing."""
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=[])
        album.take(page, "which_wall")
        page.wait_for_selector("html[data-found='all']", timeout=90_000)
        page.wait_for_timeout(800)
        person = Person(page=page, knowledge=knowledge())
        seen: set[str] = set()
        while True:
            person.rest()
            kind, point = person.question()
            state = f"{kind}_{'later' if person.photo() != PHOTOS[0] else 'first'}_{point.get('face', '')}"
            if state not in seen:
                seen.add(state)
                px = person.knowledge.where(person.photo(), point) if kind == "point" else None
                if px is not None:
                    page.mouse.move(*person.on_screen(px))
                album.take(page, state.strip("_"))
            if kind == "done" and "Next photo" not in page.inner_text("#question"):
                break
            getattr(person, f"_{kind}")(point)
        page.wait_for_timeout(3000)
        album.take(page, "all_marked")
        page.keyboard.press("g")
        page.wait_for_timeout(1500)
        album.take(page, "look_again")
        page.click("#look [data-close]")
        page.keyboard.press("m")
        album.take(page, "marks_as_a_table")
        page.click("#table [data-close]")
        page.keyboard.press("t")
        album.take(page, "tape_readings")
        page.click("#readings [data-close]")
        page.keyboard.press("?")
        album.take(page, "keys")
        page.click("#keys [data-close]")
        page.context.close()


def take_trouble(browser: Browser, album: Album, folder: Path) -> None:
    """Take pictures of a survey that is marked, in other sizes and colours, and of what can go wrong."""
    with serving(folder) as server:
        windows: dict[str, dict[str, Any]] = {
            "dark": {"color_scheme": "dark"},
            "1024_wide": {"viewport": {"width": 1024, "height": 720}},
            "tablet": {"viewport": {"width": 820, "height": 1180}, "has_touch": True},
        }
        for name, settings in windows.items():
            page = open_page(browser, server.address, complaints=[], **settings)
            page.wait_for_selector("html[data-found='all']", timeout=90_000)
            page.wait_for_timeout(2500)
            album.take(page, name)
            page.context.close()
        page = open_page(browser, server.address, complaints=[])
        page.wait_for_selector("html[data-found='all']", timeout=90_000)
        page.wait_for_timeout(2000)
        slip(page)
        page.wait_for_timeout(3000)
        album.take(page, "doubtful_mark")
        text = (folder / "survey.json").read_text()
        (folder / "survey.json").write_text(text.replace('"walls"', '"wals"'))
        page.wait_for_selector("#conflict[open]")
        album.take(page, "file_broken_by_hand")
        (folder / "survey.json").write_text(text)
        page.wait_for_selector("#conflict:not([open])", state="attached")
        server.kill()
        page.wait_for_selector("#saved.gone")
        album.take(page, "server_gone")
        page.context.close()


def slip(page: Page) -> None:
    """Drag the first corner 25 pixels of the screen off, with Alt so that it stays there."""
    page.locator("#bench").focus()
    page.keyboard.press("n")
    box: dict[str, Any] | None = page.locator(".mark.chosen").bounding_box()  # type: ignore[assignment]
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.keyboard.down("Alt")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 12, y - 10, steps=3)
    page.mouse.move(x + 25, y - 14, steps=3)
    page.mouse.up()
    page.keyboard.up("Alt")


def take_empty(browser: Browser, album: Album, folder: Path) -> None:
    """Take pictures of a folder without photos, and of one with a broken photo and no reference."""
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=[])
        album.take(page, "no_photos")
        page.context.close()
    shutil.copy(SAMPLE / "IMG_0104.jpg", folder / "a.jpg")
    (folder / "b.jpg").write_bytes((SAMPLE / "IMG_0102.jpg").read_bytes()[:40_000])
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=[])
        page.wait_for_selector("html[data-found='all']", timeout=90_000)
        page.click("#photos li:nth-child(2) button")
        album.take(page, "unreadable_photo")
        page.context.close()


def main(out: str) -> None:
    """Take all pictures into a folder."""
    album = Album(Path(out))
    path = next(p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "chrome")) if p)
    with tempfile.TemporaryDirectory() as spare, chromium(path) as browser:
        survey = sample_copy(SAMPLE, Path(spare) / "Lock cottage", photos=PHOTOS)
        take_marking(browser, album, survey)
        take_trouble(browser, album, survey)
        empty = Path(spare) / "Signal house"
        empty.mkdir()
        take_empty(browser, album, empty)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m tests.page_pictures OUT")
    main(sys.argv[1])
