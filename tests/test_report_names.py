"""Names of any kind in the report: shown as text, whole, in every format, and breaking nothing."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
import tempfile
import unicodedata
from datetime import date
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from intake.report import write_report
from intake.report.compose import compose
from intake.report.drawing import Words, text_width_mm
from intake.report.dxf import dxf
from intake.report.html import html
from intake.report.pdf import breakable, in_words
from intake.report.svg import svg
from intake.report.tables import cut_list_csv, order_csv
from intake.report.tell_order import tape_note, tape_rows
from intake.report.words import name_of, plain
from intake.report.write import drawing_names, read_results
from intake.results import Geometry
from intake.straighten import safe_name
from intake.survey import parse_survey
from tests import report_example as example
from tests.test_report import Reader, page_words, squeezed

DAY = date(2026, 11, 25)
NAMES = {
    "markup": '<b>north</b> & <script>alert("1")</script>',
    "right to left": "\u05e7\u05d9\u05e8 \u05e6\u05e4\u05d5\u05df",
    "turned": "north \u202efdp.exe",
    "emoji": "\U0001f9f1 brick \U0001f3da\ufe0f wall",
    "300 letters": "n" * 300,
    "300 in words": "north wall of the long room " * 10 + "and on it goes, as far.",
    "slashes": "../north/..\\south",
    "formula": "=cmd|' /C calc'!A0",
    "templates": "{{ 7*7 }} {% raw %} #set text() $x$ %%d",
}
NAMES["300 in words"] = NAMES["300 in words"][:300]


@cache
def estimate_words() -> str:
    """Return the example's estimate as JSON, made once."""
    with tempfile.TemporaryDirectory() as folder:
        made = example.write_whole_example(Path(folder))
        return (made / "results" / "estimate.json").read_text(encoding="utf-8")


def renamed(folder: Path, name: str) -> Path:
    """Write the example with a title, a wall, a room, an opening and a photo of that name."""
    wall, thing = name, re.sub(r"[/\\]", "|", name)
    file = re.sub(r"[/\\]", "|", name)
    while len(file.encode()) > 240:  # what file systems take
        file = file[:-1]
    file += ".jpg"
    estimate: dict[str, Any] = json.loads(estimate_words())
    documents = {"survey": example.survey(), "geometry": example.geometry(), "estimate": estimate}
    for old, new in (("north", wall), ("back", wall + "2"), ("w1", thing), ("IMG_0101.jpg", file)):
        documents = {key: example.renamed(document, old, new) for key, document in documents.items()}
    documents["survey"]["title"] = name
    text = json.dumps(documents["survey"])
    for line in documents["estimate"].get("tape_list", []):
        line["key"] = line["key"].replace(".w1.", f".{thing}.")
    parse_survey(text)  # the schema takes the name
    return example.write_example(folder, estimate=documents["estimate"], changes=documents)


def shown(text: str) -> str:
    return squeezed(text).strip()


QUICK = ("markup", "right to left", "emoji", "300 letters")
CASES = [pytest.param(key, id=key, marks=[] if key in QUICK else pytest.mark.long) for key in NAMES]
PRINTED = {"turned": "north exe.pdf"}  # as it reads when the direction that it asks for is followed


@pytest.mark.parametrize("key", CASES)
def test_a_name_is_shown_whole_as_text_in_every_format(tmp_path: Path, key: str) -> None:
    name = NAMES[key]
    made = renamed(tmp_path, name)
    written = write_report(made, made_on=DAY)
    page = (made / "results" / "report.html").read_text(encoding="utf-8")
    reader = Reader()
    reader.feed(page)
    assert reader.scripts == 0
    assert reader.outside == []
    assert page_words(page).count(shown(name)) > 10
    for path in written:
        assert re.fullmatch(r"[A-Za-z0-9_.]{1,120}", path.name)
        assert path.is_relative_to(made / "results")
    lists = (made / "results" / "cut_list.csv").read_text(encoding="utf-8-sig")
    cells = [cell for row in csv.reader(io.StringIO(lists)) for cell in row]
    assert any(shown(plain(name)).lstrip("=") in squeezed(cell) for cell in cells)
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    assert_in_pdf(made / "results" / "report.pdf", PRINTED.get(key, in_words(name)), tmp_path)


def assert_in_pdf(file: Path, wanted: str, scratch: Path) -> None:
    """The name's letters are in the PDF, every sign has a font or is named in words, and no page runs over its edge."""
    assert b"<pdfuaid:part>1</pdfuaid:part>" in file.read_bytes()
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler is not installed")
    told = subprocess.run(["pdftotext", str(file), "-"], check=True, capture_output=True, text=True).stdout
    assert letters(wanted) in letters(told) or letters(wanted[::-1]) in letters(told)
    subprocess.run(["pdftoppm", "-r", "24", "-gray", str(file), str(scratch / "p")], check=True, capture_output=True)
    pages = list(scratch.glob("p-*.pgm"))
    assert pages
    for page in pages:
        dark = np.asarray(Image.open(page)) < 170
        edge = round(4 / 25.4 * 24)
        dark[edge:-edge, edge:-edge] = False
        assert not dark.any(), page.name


def letters(text: str) -> str:
    """Return the text without spaces, hyphens and marks that cannot be seen."""
    return "".join(
        char for char in text if not char.isspace() and unicodedata.category(char) not in ("Cf", "Mn") and char != "-"
    )


hostile = st.text(
    alphabet=st.one_of(
        st.characters(exclude_categories=["Cs"]),
        st.sampled_from(list("<>&\"'{}%#$=+-@\\/|\u202e\u2066\u200b\ufeff\u0000\u0085\u2028\U0001f9f1")),
    ),
    min_size=1,
    max_size=300,
)


@given(name=hostile)
@settings(max_examples=8, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
def test_no_text_whatever_breaks_page_drawings_or_lists(name: str) -> None:
    """Names as people, cameras and other programs make them, control signs and unbalanced directions among them."""
    wall = re.sub(r"[\x00-\x1f\x7f]", "_", name)
    documents = {"survey": example.survey() | {"photos": []}, "geometry": example.geometry() | {"photos": []}}
    documents = {key: example.renamed(value, "north", wall) for key, value in documents.items()}
    documents["survey"]["title"] = name
    kept = example.renamed(json.loads(estimate_words()), "north", wall)
    survey = parse_survey(json.dumps(documents["survey"]))
    geometry = Geometry.model_validate(documents["geometry"])
    report = compose(Path("/nowhere"), survey=survey, geometry=geometry, estimate=kept, made_on=DAY)
    page = html(report)
    reader = Reader()
    reader.feed(page)
    assert reader.scripts == 0
    assert reader.outside == []
    assert shown(name_of(wall)) in page_words(page)
    assert all(opened_and_closed(text) for text in re.findall(r"<bdi>(.*?)</bdi>", page, flags=re.DOTALL))
    for figure in report.drawings:
        ElementTree.fromstring(svg(figure.drawing))
    assert dxf(report.drawings[0].drawing).startswith(b"999\n")
    assert all(re.fullmatch(r"[A-Za-z0-9_]{1,100}", stem) for stem in drawing_names(report))
    for table in (order_csv(kept), cut_list_csv(kept, geometry)):
        rows = list(csv.reader(io.StringIO(table.decode("utf-8-sig"), newline="")))
        assert len({len(row) for row in rows}) == 1


def opened_and_closed(text: str) -> bool:
    opens = sum(text.count(char) for char in "\u202a\u202b\u202d\u202e")
    isolates = sum(text.count(char) for char in "\u2066\u2067\u2068")
    return text.count("\u202c") >= opens and text.count("\u2069") >= isolates


def test_a_direction_left_open_ends_with_the_name() -> None:
    """Else the words after it would run backwards too."""
    assert plain("a\u202eb") == "a\u202eb\u202c"
    assert plain("a\u2067b\u202ec\u202c") == "a\u2067b\u202ec\u202c\u2069"
    assert plain("a\u202e" + "b" * 50, limit=10) == "a\u202e" + "b" * 7 + "…\u202c"


def test_a_long_run_may_break_and_short_words_may_not() -> None:
    assert breakable("a" * 30) == "\u200b".join(["a" * 12, "a" * 12, "a" * 6])
    assert breakable("plain words stay") == "plain words stay"
    assert breakable("e\u0301" * 30).replace("\u200b", "") == "e\u0301" * 30
    assert "\u200b\u0301" not in breakable("e\u0301" * 30)


def test_picture_signs_are_named_in_words() -> None:
    assert in_words("\U0001f9f1 wall") == "[brick] wall"
    assert in_words("✓ ▲ ■ £") == "✓ ▲ ■ £"


def test_words_in_a_drawing_are_cut_before_they_leave_the_sheet(tmp_path: Path) -> None:
    made = renamed(tmp_path, "n" * 300)
    survey, geometry, kept = read_results(made)
    report = compose(made, survey=survey, geometry=geometry, estimate=kept, made_on=DAY)
    widest = text_width_mm("n" * 64, 3.5)
    for figure in report.drawings:
        width, _ = figure.drawing.paper_size_mm()
        assert width < 297 + widest
        assert all(len(item.text) <= 66 for item in figure.drawing.items if isinstance(item, Words))


def test_two_names_never_share_a_file() -> None:
    """Names alike but for what a file name cannot hold, or but for their ends; and names of devices."""
    names = ["a b", "a_b", "a/b", "n" * 299 + "1", "n" * 299 + "2", "\u05e7\u05d9\u05e8", "con", "CON", "wall", ""]
    stems = [safe_name(name).lower() for name in names]
    assert len(set(stems)) == len(stems)
    assert safe_name("north") == "north"
    assert all(len(stem.encode()) < 200 for stem in stems)


def test_a_name_with_a_dot_is_found_in_the_tape_list() -> None:
    geometry = example.renamed(example.geometry(), "w1", "w.1")
    rows = tape_rows(
        {"tape_list": [{"wall": "north", "key": "openings.w.1.reveal_depth_mm", "why": "so"}]},
        Geometry.model_validate(geometry),
    )
    assert rows[0].place == "north, w.1"
    assert rows[0].now.startswith("132")


def test_the_report_sends_a_reading_to_the_place_that_the_page_has_for_it() -> None:
    geometry = Geometry.model_validate(example.geometry())
    row = tape_rows({"tape_list": [{"wall": "north", "key": "width_mm", "why": "so"}]}, geometry)
    page = (resources.files("intake.page") / "static" / "page.html").read_text()
    (place,) = re.findall(r"marking page under (\w+)", tape_note(row))
    assert f">{place}</button>" in page


@pytest.mark.parametrize("length", [300, 400])
def test_the_survey_takes_names_of_300_characters_and_refuses_endless_ones(length: int) -> None:
    said = {
        "schema_version": 1,
        "title": "t" * length,
        "walls": [{"id": "w" * length}],
        "photos": [{"file": "f" * length}],
    }
    assert len(parse_survey(json.dumps(said)).walls[0].id) == length
    with pytest.raises(Exception, match="at most 400"):
        parse_survey(json.dumps(said | {"walls": [{"id": "w" * 401}]}))


def test_a_figure_keeps_the_whole_name_in_its_heading(tmp_path: Path) -> None:
    made = renamed(tmp_path, NAMES["300 in words"])
    survey, geometry, kept = read_results(made)
    report = compose(made, survey=survey, geometry=geometry, estimate=kept, made_on=DAY)
    assert any(NAMES["300 in words"].strip() in figure.title for figure in report.drawings)
