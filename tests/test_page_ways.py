"""Other ways through the page: an outside face with only an opening in view, keyboard alone, lengths read again."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

from tests.page_person import Knowledge, Person, chromium, open_page, sample_copy, sample_pixels, serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Route

pytestmark = pytest.mark.browser
INSIDE = {
    "schema_version": 1,
    "references": [{"id": "s19", "kind": "survey_sheet", "number": 19, "bar_mm": 250.0, "on": "north_outside"}],
    "walls": [{"id": "north", "side": "inside", "openings": [{"id": "w1", "kind": "window"}]}],
    "photos": [{"file": "IMG_0105.jpg", "purpose": "outside"}],
}


@pytest.fixture(scope="module")
def browser(browser_path: str) -> Iterator[Browser]:
    with chromium(browser_path) as running:
        yield running


def on_disk(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "survey.json").read_bytes())
    return data


def settled(page: Page) -> None:
    page.wait_for_selector("html[data-waiting='0']")
    page.wait_for_timeout(100)


def test_an_outside_face_is_marked_under_the_inside_openings_names(
    browser: Browser, lock_cottage: Path, tmp_path: Path
) -> None:
    folder = sample_copy(lock_cottage, tmp_path / "survey", photos=["IMG_0105.jpg"])
    (folder / "survey.json").write_text(json.dumps(INSIDE))
    knowledge = Knowledge(pixels=sample_pixels(lock_cottage), skirting_mm=0.0, openings={"w1": ""})
    complaints: list[str] = []
    with serving(folder) as server:
        page = open_page(browser, server.address, complaints=complaints)
        page.wait_for_selector("html[data-found='all']", timeout=120_000)
        page.select_option("#wall", "")
        page.wait_for_selector("#question[data-kind='wall']")
        page.fill("#question input[name='id']", "north_outside")
        page.check("#question input[value='outside']")
        page.select_option("#question select[name='other']", "north")
        page.keyboard.press("Enter")
        page.wait_for_selector("#question[data-point='wall=north_outside;point=bottom_left']")
        page.locator("#bench").focus()
        page.keyboard.press("x")
        settled(page)
        person = Person(page=page, knowledge=knowledge)
        for _ in range(12):
            settled(page)
            kind, point = person.question()
            if kind != "point":
                break
            assert point["opening"] == "w1"  # the same window as inside, by the same name
            px = knowledge.where("IMG_0105.jpg", point)
            if point["face"] == "frame":
                page.keyboard.press("x")  # the outer reveal is too shallow to press at this size
            elif px is None:
                page.keyboard.press("s")
            else:
                person.click_photo(px)
        settled(page)
        assert person.question()[0] == "done"
        page.context.close()
    assert complaints == []
    survey = on_disk(folder)
    assert [(w["id"], w.get("other_side_of")) for w in survey["walls"]] == [("north", None), ("north_outside", "north")]
    (photo,) = survey["photos"]
    assert {m["wall"] for m in photo["marks"]} == {"north_outside"}
    assert sum(m["face"] == "wall" for m in photo["marks"]) == 4
    assert len(photo["not_seen"]) >= 4  # the wall's corners


def test_a_wall_is_marked_from_its_name_to_its_end_by_keyboard_alone(browser: Browser, tmp_path: Path) -> None:
    Image.new("RGB", (1600, 1200), (120, 130, 125)).save(tmp_path / "a.jpg")
    complaints: list[str] = []
    corners = (
        ("ArrowLeft", "ArrowDown"),
        ("ArrowRight", "ArrowDown"),
        ("ArrowRight", "ArrowUp"),
        ("ArrowLeft", "ArrowUp"),
    )
    with serving(tmp_path) as server:
        page = open_page(browser, server.address, complaints=complaints)
        page.wait_for_selector("#question input[name='id']:focus")
        page.keyboard.press("Enter")
        page.wait_for_selector("#question[data-kind='reference']", timeout=120_000)
        page.keyboard.press("Escape")  # out of the form
        page.keyboard.press("s")
        for keys in corners:
            page.wait_for_selector("#question[data-kind='point']")
            settled(page)
            page.keyboard.press("c")
            for key in keys:
                page.keyboard.press(f"Shift+{key}")
            page.keyboard.press("Enter")
            settled(page)
        for kind, key in (("skirting", "Escape"), ("skirting", "p"), ("openings", "Enter"), ("features", "Enter")):
            page.wait_for_selector(f"#question[data-kind='{kind}']")
            page.keyboard.press(key)
            settled(page)
        page.wait_for_selector("#question[data-kind='tape']")
        page.keyboard.type("3871")
        page.keyboard.press("Enter")
        settled(page)
        page.wait_for_selector("#question[data-kind='done']")
        page.context.close()
    assert complaints == []
    survey = on_disk(tmp_path)
    marks = {m["point"]: m["px"] for m in survey["photos"][0]["marks"]}
    assert len(marks) == 4
    assert marks["bottom_left"][0] < marks["bottom_right"][0]
    assert marks["top_left"][1] < marks["bottom_left"][1]
    assert survey["walls"][0]["taped"]["width_mm"] == 3871


def test_news_that_a_later_answer_has_overtaken_takes_nothing_back(browser: Browser, tmp_path: Path) -> None:
    Image.new("RGB", (1600, 1200), (120, 130, 125)).save(tmp_path / "a.jpg")
    late: list[Route] = []

    def hold_first(page: Page) -> None:
        page.route("**/api/news", lambda route: route.continue_() if late else late.append(route))

    with serving(tmp_path) as server:
        page = open_page(browser, server.address, complaints=[], before=hold_first)
        page.keyboard.press("Enter")
        page.wait_for_selector("#saved.saved:has-text('✓ Saved')")
        assert page.input_value("#wall") == "north"
        old = {"survey": {"schema_version": 1}, "serial": 0, "revision": "", "problem": None}
        body = f"retry: 100\n\nevent: survey\ndata: {json.dumps(old)}\n\n"
        late[0].fulfill(content_type="text/event-stream", body=body)
        page.wait_for_selector("html[data-found='all']")  # told by the next stream: the old news has been read by now
        assert page.input_value("#wall") == "north"
        assert page.get_attribute("#question", "data-kind") != "wall"
        page.context.close()


TAPED = {
    "schema_version": 1,
    "walls": [{"id": "north", "taped": {"height_mm": 2424}, "openings": [{"id": "w.1", "kind": "window"}]}],
}
ASKED = {"tape_list": [{"wall": "north", "key": "height_mm", "why": "1 chance in 3 of longer boards", "readings": 3}]}


@pytest.fixture
def taped(tmp_path: Path) -> Path:
    Image.new("RGB", (800, 600), (120, 130, 125)).save(tmp_path / "a.jpg")
    (tmp_path / "survey.json").write_text(json.dumps(TAPED))
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "estimate.json").write_text(json.dumps(ASKED))
    return tmp_path


def test_a_length_is_read_again_one_reading_struck_and_brought_back_by_keyboard(browser: Browser, taped: Path) -> None:
    complaints: list[str] = []

    def kept() -> Any:
        settled(page)
        return on_disk(taped)["walls"][0].get("more_readings", {}).get("height_mm")

    def said() -> str:
        return page.inner_text("#readings-said")

    with serving(taped) as server:
        page = open_page(browser, server.address, complaints=complaints)
        page.locator("#bench").focus()
        page.keyboard.press("t")
        page.wait_for_selector("#readings .asked:has-text('1 chance in 3 of longer boards')")
        assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "height at half width by tape, mm"
        page.keyboard.press("Tab")
        for reading in ("2423,5", "2424", "2442"):
            page.keyboard.type(reading)
            page.keyboard.press("Enter")
            page.wait_for_timeout(50)
        assert kept() == [2423.5, 2424, 2442]
        assert said() == "2442 mm kept, beside 3 read before."
        assert "18.5 mm apart" in page.inner_text("#readings .asked .odd")
        page.keyboard.press("Control+z")
        assert kept() == [2423.5, 2424]
        assert page.locator("#readings .odd").count() == 0
        page.keyboard.press("Control+Shift+z")
        assert kept() == [2423.5, 2424, 2442]
        page.keyboard.press("Shift+Tab")
        strike = "document.activeElement.getAttribute('aria-label')"
        assert page.evaluate(strike) == "Strike 2442 mm, third reading by laths of height at half width"
        page.keyboard.press("Enter")
        assert kept() == [2423.5, 2424]
        assert "2424 mm, second" in page.evaluate(strike)  # the focus stays among the readings
        page.keyboard.press("Control+z")
        assert kept() == [2423.5, 2424, 2442]
        assert on_disk(taped)["walls"][0]["taped"] == {"height_mm": 2424}
        page.context.close()
    assert complaints == []


def test_what_is_no_length_is_refused_in_words_and_what_is_typed_stays_while_news_come(
    browser: Browser, taped: Path
) -> None:
    with serving(taped) as server:
        page = open_page(browser, server.address, complaints=[])
        page.click("#readings-button")
        again = "#readings .asked input[aria-label*='first reading by laths']"
        page.fill(again, "24x4")
        page.keyboard.press("Enter")
        assert "“24x4” is no length" in page.inner_text("#readings-said")
        page.fill(again, "242")
        changed = on_disk(taped)
        changed["walls"][0]["openings"][0]["taped"] = {"width_mm": 1200}
        (taped / "survey.json").write_text(json.dumps(changed))
        page.wait_for_selector("#readings summary:has-text('w.1, 1 read')")  # taken in, the half-typed number kept
        assert page.input_value(again) == "242"
        page.keyboard.type("4")
        page.click("#readings [data-close]")
        settled(page)
        assert on_disk(taped)["walls"][0]["more_readings"] == {"height_mm": [2424]}
        page.click("#readings-button")
        page.click("#readings summary:has-text('w.1')")
        page.fill('#readings input[aria-label="w.1\'s height by tape, mm"]', "1300")
        page.keyboard.press("Enter")
        settled(page)
        assert on_disk(taped)["walls"][0]["openings"][0]["taped"] == {"width_mm": 1200, "height_mm": 1300}
        page.context.close()


def test_a_press_that_goes_far_to_the_edges_that_show_is_doubted_and_k_keeps_it(
    browser: Browser, tmp_path: Path
) -> None:
    picture = Image.new("RGB", (1600, 1200), (90, 95, 92))
    picture.paste((200, 205, 200), (800, 600, 1600, 1200))  # one corner that shows, at 799.5, 599.5
    picture.save(tmp_path / "a.png")
    with serving(tmp_path) as server:
        page = open_page(browser, server.address, complaints=[])
        page.keyboard.press("Enter")
        page.wait_for_selector("#question[data-kind='reference']", timeout=120_000)
        page.keyboard.press("Escape")
        page.keyboard.press("s")
        page.wait_for_selector("#question[data-kind='point']")
        settled(page)
        person = Person(page=page, knowledge=Knowledge(pixels={}, skirting_mm=0.0))
        told = []
        for css in (0.8, 3.0):  # near the corner, and beyond three quarters of the reach of 3.5
            scale = float((page.get_attribute("#bench", "data-view") or "").split()[0])
            x, y = person.on_screen((799.5, 599.5))
            page.mouse.click(x + css * 0.8, y + css * 0.6)
            settled(page)
            (mark,) = on_disk(tmp_path)["photos"][0]["marks"]
            assert mark["px"] == pytest.approx([799.5, 599.5], abs=0.3)
            told.append((page.is_visible("#notice"), mark["sd_px"]))
            if css == 0.8:
                page.keyboard.press("Delete")
                settled(page)
        assert [visible for visible, _ in told] == [False, True]
        assert told[1][1] > 1.3 * told[0][1]
        assert "K keeps your press" in page.inner_text("#notice")
        page.keyboard.press("k")
        settled(page)
        (mark,) = on_disk(tmp_path)["photos"][0]["marks"]
        assert mark["px"] == pytest.approx([799.5 + 2.4 / scale, 599.5 + 1.8 / scale], abs=0.2)
        page.context.close()
