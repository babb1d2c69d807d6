"""The report in a real browser: quiet, self-contained, accessible, readable on a phone and in grey."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pytest

from intake.report import write_report
from tests import report_example as example
from tests.page_person import chromium

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture(scope="module")
def browser(browser_path: str) -> Iterator[Browser]:
    with chromium(browser_path) as running:
        yield running


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = example.write_whole_example(tmp_path_factory.mktemp("browser"))
    write_report(made, made_on=date(2026, 11, 25))
    return made / "results" / "report.html"


def opened(
    browser: Browser, report: Path, *, width: int = 1200, scheme: Literal["light", "dark"] = "light"
) -> tuple[Page, list[str], list[str]]:
    """Return the page with what its console said and what it asked the network for."""
    page = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme).new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(report.as_uri())
    page.wait_for_load_state("load")
    return page, said, asked


def assert_quiet_and_accessible(browser: Browser, report: Path, scheme: Literal["light", "dark"] = "light") -> None:
    from axe_playwright_python.sync_playwright import Axe

    page, said, asked = opened(browser, report, scheme=scheme)
    assert said == []
    assert [url for url in asked if not url.startswith("data:")] == [report.as_uri()]
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()
    pictures = page.locator("img, svg[role=img]").count()
    assert pictures > 5
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_quiet_alone_and_without_an_accessibility_violation(
    browser: Browser, report: Path, scheme: Literal["light", "dark"]
) -> None:
    """No word on the console, no request but the file itself, and nothing found by axe-core (WCAG 2.2 AA)."""
    assert_quiet_and_accessible(browser, report, scheme)


def test_a_phones_first_screens_say_verdict_wall_board_tape_and_cautions(browser: Browser, report: Path) -> None:
    """The answer in short stands within the first two screens of a phone, before any table."""
    page, _, _ = opened(browser, report, width=390)
    brief = page.locator("section.brief")
    words = brief.inner_text()
    for told in ("Next", "Board", "To tape", "Cautions", "give or take"):
        assert told in words, told
    box = brief.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] < 2 * 900
    assert page.locator("table").first.evaluate("e => e.getBoundingClientRect().top") > box["y"]
    page.context.close()


def test_every_table_fits_the_width_of_a_phone(browser: Browser, report: Path) -> None:
    page, _, _ = opened(browser, report, width=360)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    too_wide = page.evaluate(
        "[...document.querySelectorAll('table, h1, h2, h3, p, .card, .verdict')]"
        ".filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName + e.innerText.slice(0, 60))"
    )
    assert too_wide == []
    page.context.close()


def test_drawings_can_be_reached_by_keyboard_and_are_described(browser: Browser, report: Path) -> None:
    page, _, _ = opened(browser, report, width=500)
    sheets = page.locator("figure .sheet")
    assert sheets.count() > 5
    for index in range(sheets.count()):
        assert sheets.nth(index).get_attribute("tabindex") == "0"
        label = sheets.nth(index).locator("svg").get_attribute("aria-label")
        assert label is not None
        assert len(label) > 20
    page.context.close()


def test_the_verdict_does_not_hang_on_colour(browser: Browser, report: Path) -> None:
    """In a page without any colour the sign and the words still say it, and text keeps its contrast."""
    page, _, _ = opened(browser, report)
    page.add_style_tag(content="html { filter: grayscale(1) }")
    words = page.locator(".verdict .words").first.inner_text()
    assert words.strip()[0] in "✓▲■○"
    assert len(words.split()) > 2
    page.context.close()


def test_it_prints_on_a4_with_local_codes_on_each_page(browser: Browser, report: Path, tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler is not installed")
    import subprocess

    page, _, _ = opened(browser, report)
    file = tmp_path / "printed.pdf"
    page.pdf(path=file, prefer_css_page_size=True, print_background=True)
    text = subprocess.run(["pdftotext", str(file), "-"], check=True, capture_output=True, text=True).stdout
    pages = text.split("\f")[:-1]
    assert 8 < len(pages) < 60
    for number, words in enumerate(pages, start=1):
        assert "Local codes and licensed practice come first." in " ".join(words.split()), number
    page.context.close()


@pytest.mark.long
@pytest.mark.parametrize("name", ["lock_cottage", "signal_house"])
def test_the_sample_surveys_reports_are_quiet_and_accessible(
    browser: Browser, tmp_path: Path, name: str, request: pytest.FixtureRequest
) -> None:
    from intake.pipeline import report_folder

    folder = tmp_path / name
    shutil.copytree(request.getfixturevalue(name), folder)
    report_folder(folder)
    assert_quiet_and_accessible(browser, folder / "results" / "report.html")
