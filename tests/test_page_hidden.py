"""What does not show can still be marked through the page: a hidden corner from its edges, a card from its middle."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image

from tests.page_person import Knowledge, Person, await_question, chromium, open_page, serving
from tests.page_scenes import two_window_scenes, write_scenes
from tests.survey_folders import render_home, write_home

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser(browser_path: str) -> Iterator[Browser]:
    with chromium(browser_path) as running:
        yield running


@pytest.fixture(scope="module")
def one_photo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Knowledge]:
    folder = tmp_path_factory.mktemp("one_photo")
    scenes = two_window_scenes()
    first = dict([next(iter(scenes.items()))])
    return folder, write_scenes(first, folder)


def on_disk(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "survey.json").read_bytes())
    return data


def marks(folder: Path) -> list[dict[str, Any]]:
    return [mark for photo in on_disk(folder).get("photos", []) for mark in photo.get("marks", [])]


def ask_for_a_corner(page: Page) -> None:
    """Name the wall, leave the bars unread and the proposals aside, and say that no floor corner shows."""
    page.keyboard.press("Enter")
    for kind, key in (("bar", "s"), ("bar", "s"), ("confirm", "x"), ("point", "s"), ("point", "s")):
        await_question(page, kind)
        page.locator("#bench").focus()
        page.keyboard.press(key)
        page.wait_for_selector("html[data-waiting='0']")
    page.wait_for_selector("#question[data-point='wall=north;point=top_right']")


def along(a: tuple[float, float], b: tuple[float, float], share: float) -> tuple[float, float]:
    return (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))


@pytest.mark.parametrize("way", ["drags", "presses"])
def test_a_hidden_corner_is_put_where_its_two_edges_meet(
    browser: Browser, one_photo: tuple[Path, Knowledge], tmp_path: Path, way: str
) -> None:
    folder = tmp_path / "survey"
    shutil.copytree(one_photo[0], folder)
    complaints: list[str] = []
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=complaints)
        ask_for_a_corner(page)
        person = Person(page=page, knowledge=one_photo[1])
        pixels = {k: v for k, v in one_photo[1].pixels[person.photo()].items() if v is not None}
        true = np.array(pixels["wall_tr"])
        page.keyboard.press("h")
        assert "hidden" in page.inner_text("#question h2")
        pieces = [
            [along(pixels["wall_tr"], pixels["wall_tl"], s) for s in (0.06, 0.25)],
            [along(pixels["wall_tr"], pixels["wall_br"], s) for s in (0.15, 0.5)],
        ]
        for piece in pieces:
            ends = [person.on_screen(px) for px in piece]
            if way == "presses":
                for x, y in ends:
                    page.mouse.click(x, y)
            else:
                page.mouse.move(*ends[0])
                page.mouse.down()
                page.mouse.move(*ends[1], steps=4)
                page.mouse.up()
        page.wait_for_selector("html[data-waiting='0']")
        page.wait_for_selector(".mark.chosen")
        page.wait_for_selector("html[data-waiting='0']")
        (mark,) = marks(folder)
        assert mark["point"] == "top_right"
        off = float(np.hypot(*(np.array(mark["px"]) - true)))
        assert off < 3.0 * mark["sd_px"]
        assert off < 6.0
        page.keyboard.press("Control+z")
        page.wait_for_selector("html[data-waiting='0']")
        assert marks(folder) == []
        page.context.close()
    assert complaints == []


def test_edges_that_do_not_meet_are_refused_in_words_and_can_be_drawn_again(
    browser: Browser, one_photo: tuple[Path, Knowledge], tmp_path: Path
) -> None:
    folder = tmp_path / "survey"
    shutil.copytree(one_photo[0], folder)
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=[])
        ask_for_a_corner(page)
        box = page.locator("#bench").bounding_box()
        assert box is not None
        page.keyboard.press("h")
        for y in (0.4, 0.6):
            page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + y * box["height"])
            page.mouse.down()
            page.mouse.move(box["x"] + 0.7 * box["width"], box["y"] + y * box["height"], steps=3)
            page.mouse.up()
        page.wait_for_selector("#notice:not([hidden])")
        assert "nearly the same way" in page.inner_text("#notice")
        assert marks(folder) == []
        assert page.get_attribute("#question", "data-point") == "wall=north;point=top_right"
        page.context.close()


def test_a_card_that_nobody_found_is_marked_by_one_press_on_its_middle(browser: Browser, tmp_path: Path) -> None:
    home = render_home(104, photos=1, references=("card",))
    folder = write_home(tmp_path / "survey", home, marked=False)
    scene = home.scenes[0]
    middle = scene.camera.project(np.array([[*home.room.references[0].centre_mm, 1.0]]))[0]
    complaints: list[str] = []
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=complaints)
        page.keyboard.press("Enter")
        await_question(page, "reference")
        page.locator("#bench").focus()
        page.keyboard.press("1")
        page.wait_for_selector("#question[data-kind='middle']")
        person = Person(page=page, knowledge=Knowledge(pixels={}, skirting_mm=0))
        person.click_photo((float(middle[0]), float(middle[1])))
        page.wait_for_selector("[data-mark='reference=card1;point=bottom_left']")
        page.wait_for_selector("html[data-waiting='0']")
        found = np.array([mark["px"] for mark in marks(folder)])
        assert len(found) == 4
        assert np.abs(found.mean(axis=0) - middle).max() < 1.5
        page.wait_for_selector("#marks .found", timeout=30_000)  # and the search fitted it from there
        page.context.close()
    assert complaints == []


def test_a_press_beside_the_card_says_so_and_asks_for_its_corners(browser: Browser, tmp_path: Path) -> None:
    Image.new("RGB", (1600, 1200), (120, 130, 125)).save(tmp_path / "a.jpg")
    with serving(tmp_path) as server:
        page = open_page(browser, server.address, complaints=[])
        page.keyboard.press("Enter")
        await_question(page, "reference")
        page.locator("#bench").focus()
        page.keyboard.press("1")
        page.wait_for_selector("#question[data-kind='middle']")
        box = page.locator("#bench").bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
        page.wait_for_selector("#notice:not([hidden])")
        assert "no four-sided outline here" in page.inner_text("#notice")
        assert page.get_attribute("#question", "data-point") == "reference=card1;point=top_left"
        page.context.close()


def test_a_declared_sheet_that_a_photo_does_not_show_is_named_with_the_photo(
    browser: Browser, one_photo: tuple[Path, Knowledge], tmp_path: Path
) -> None:
    folder = tmp_path / "survey"
    shutil.copytree(one_photo[0], folder)
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=[])
        ask_for_a_corner(page)
        page.wait_for_timeout(200)
        survey = on_disk(folder)
        survey["references"] = [
            {"id": "s17", "kind": "survey_sheet", "number": 17, "bar_mm": 250, "on": "north"},
        ]
        (folder / "survey.json").write_text(json.dumps(survey))
        box = page.locator("#bench").bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + 0.2 * box["width"], box["y"] + 0.8 * box["height"])
        page.wait_for_selector("#question .aside", timeout=30_000)
        assert "Sheet 17 not found in IMG_0001.jpg" in page.inner_text("#question .aside")
        page.click("#question .aside button:has-text('it is not here')")
        page.wait_for_selector("#question .aside", state="detached")
        page.wait_for_selector("html[data-waiting='0']")
        assert {"reference": "s17"} in on_disk(folder)["photos"][0]["not_seen"]
        page.context.close()
