"""The report as a whole: complete, true to its inputs, private, and safe with any name."""

from __future__ import annotations

import base64
import copy
import csv
import html as html_words
import io
import json
import random
import re
import shutil
import subprocess
import time
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from intake.report import context, write_report
from intake.report.compose import compose
from intake.report.html import html
from intake.report.tables import cell, csv_bytes, cut_list_csv, order_csv
from intake.report.tell_estimate import first_condition, survey_verdict, wall_verdict
from intake.report.tell_walls import finding_rows
from intake.report.write import file_stem, read_results
from intake.results import FindingEntry
from tests import report_example as example
from vision.findings import PerpendError

DAY = date(2026, 11, 25)
NBSP = "\u00a0"
needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is not installed")


class Reader(HTMLParser):
    """Collects the words of a page: text, alternative texts and labels, and what it asks for from outside."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.outside: list[str] = []
        self.scripts = 0
        self._style = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._style = tag == "style"
        self.scripts += tag == "script"
        for name, value in attrs:
            if name in ("alt", "aria-label"):
                self.words.append(value or "")
            if name in ("src", "href", "srcset", "action") and not (value or "").startswith(("data:", "#")):
                self.outside.append(value or "")
            if name.startswith("on"):
                self.scripts += 1

    def handle_endtag(self, tag: str) -> None:
        self._style = False

    def handle_data(self, data: str) -> None:
        if not self._style:
            self.words.append(data)


def page_words(text: str) -> str:
    reader = Reader()
    reader.feed(text)
    return squeezed(" ".join(reader.words))


def squeezed(text: str) -> str:
    """Return the text with every run of white space, no-break spaces too, as one space."""
    return re.sub(r"\s+", " ", text)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = example.write_whole_example(tmp_path_factory.mktemp("lock"))
    write_report(made, made_on=DAY)
    return made


@pytest.fixture(scope="module")
def page(folder: Path) -> str:
    return (folder / "results" / "report.html").read_text(encoding="utf-8")


def all_words(folder: Path) -> str:
    """Return the words of every file of a report, white space squeezed."""
    results = folder / "results"
    parts = [page_words((results / "report.html").read_text(encoding="utf-8"))]
    parts += [file.read_text(encoding="utf-8-sig") for file in sorted(results.glob("*.csv"))]
    parts += [file.read_text(encoding="utf-8") for file in sorted((results / "drawings").glob("*.dxf"))]
    if shutil.which("pdftotext"):
        command = ["pdftotext", "-layout", str(results / "report.pdf"), "-"]
        parts.append(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return squeezed("\n".join(parts))


def test_it_writes_the_page_the_pdf_the_drawings_and_the_lists(folder: Path) -> None:
    written = {path.relative_to(folder / "results").as_posix() for path in write_report(folder, made_on=DAY)}
    assert {"report.html", "report.pdf", "order.csv", "cut_list.csv", "drawings/north_elevation.dxf"} <= written
    assert {"drawings/north_boards.dxf", "drawings/back_cut_plan.dxf", "drawings/back_plan.dxf"} <= written
    assert not list((folder / "results").rglob("*.part"))


def test_the_first_page_says_wall_board_verdict_order_and_cautions(page: str) -> None:
    words = page_words(page)
    first = words[: words.index("The rest of this report")]
    for told in (
        "3 871 mm, give or take 10",
        "2 630 mm, give or take 8",
        "solid brick, one brick thick (94 in 100)",
        "231 mm, give or take 11",
        "60 mm phenolic laminate + 12.5 board",
        "82.5 mm",
        "insulated plasterboard",
        "Local codes and licensed practice come first.",
        "Tested on simulated walls only; not a design.",
    ):
        assert told in first, told
    assert any(verdict in first for verdict in ("Do not go ahead before…", "Tape these first", "Cannot say yet"))


def test_cautions_are_those_of_this_wall(page: str, folder: Path) -> None:
    """A house of 1908 with sockets has lead and electricity among its own; what was answered no is left out."""
    words = page_words(page)
    own = words[words.index("Applies to this job") : words.index("May apply, as nobody has said")]
    assert "Electricity" in own
    assert "Lead paint" in own
    open_ones = words[words.index("May apply, as nobody has said") : words.index("Rules that bear on it")]
    assert "Asbestos" in open_ones
    assert "Listed or in a conservation area." not in own + open_ones  # answered: not listed


def test_the_page_asks_for_nothing_from_outside_and_runs_nothing(page: str) -> None:
    reader = Reader()
    reader.feed(page)
    assert reader.outside == []
    assert reader.scripts == 0
    assert "default-src 'none'" in page
    assert "url(http" not in page
    assert "@import" not in page


def test_every_field_of_the_context_has_a_help_sentence() -> None:
    records = [value for value in vars(context).values() if isinstance(value, type) and is_dataclass(value)]
    own = [record for record in records if record.__module__ == context.__name__]
    assert len(own) > 15
    for record in own:
        for item in fields(record):
            sentence = item.metadata.get("help", "")
            assert len(sentence) > 10, f"{record.__name__}.{item.name}"
            assert sentence.endswith("."), f"{record.__name__}.{item.name}"


def test_every_shown_value_of_the_context_is_on_the_page(folder: Path, page: str) -> None:
    survey, geometry, estimate = read_results(folder)
    report = compose(folder, survey=survey, geometry=geometry, estimate=estimate, made_on=DAY)
    words = page_words(page)
    seen = 0
    for name, text in context.shown_texts(report):
        if text:
            seen += 1
            assert squeezed(text).strip() in words, f"{name}: {text}"
    assert seen > 300


@needs_poppler
def test_the_householders_part_of_the_context_is_in_the_pdf(folder: Path) -> None:
    survey, geometry, estimate = read_results(folder)
    report = compose(folder, survey=survey, geometry=geometry, estimate=estimate, made_on=DAY)
    command = ["pdftotext", str(folder / "results" / "report.pdf"), "-"]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    printed = re.sub(r"[\s\u00ad-]", "", told)
    for record in (*report.walls, *report.order, *report.tape, *report.cautions, report.verdict, *report.boards):
        for name, text in context.shown_texts(record):
            assert re.sub(r"[\s\u00ad-]", "", text) in printed, f"{name}: {text}"


def changed(path: str, value: float) -> dict[str, Any]:
    """Return the geometry with one value changed; a wall's outline goes, so that nothing remembers the old one."""
    data = example.geometry()
    wall = data["walls"][0]
    wall["outline_mm"] = None
    here: Any = wall
    *way, last = path.split(".")
    for part in way:
        here = here[part] if isinstance(here, dict) else next(item for item in here if item["id"] == part)
    here[last]["value"] = value
    if path.startswith("openings"):
        here["front_mm"] = here["back_mm"] = None
    return data


@pytest.mark.parametrize(
    ("path", "old", "new", "value"),
    [
        ("width_mm", "3 871", "3 988", 3987.6),
        ("openings.w1.sill_mm", "912 mm", "957 mm", 956.8),
        ("openings.w1.thickness_mm", "231 mm", "250 mm", 250.2),
        ("openings.w1.reveal_depth_mm", "132 mm", "145 mm", 145.2),
        ("features.s2.left_mm", "3 203", "3 077", 3077.3),
    ],
)
def test_a_changed_value_changes_every_place_that_shows_it(
    tmp_path: Path, folder: Path, path: str, old: str, new: str, value: float
) -> None:
    assert old in all_words(folder)
    after = example.write_whole_example(tmp_path / "after", changes={"geometry": changed(path, value)})
    write_report(after, made_on=DAY)
    words = all_words(after)
    assert new in words
    assert old not in words
    digits = old.removesuffix(" mm").replace(" ", "")
    assert not re.search(rf"(?<![\d.]){digits}\s?mm\b", words)


HOSTILE = (
    '<img src=x onerror="alert(1)">',
    "\u202eמשפט ימין \u0627\u0644\u062c\u062f\u0627\u0631",
    "🧱🏚️ wall \u0000\u0007",
    "n" * 64,
    "=cmd|' /C calc'!A0",
    "{{ 7*7 }} {% raw %} #set text() $x$",
)


@pytest.mark.parametrize("name", HOSTILE, ids=["markup", "right to left", "emoji", "long", "formula", "templates"])
def test_any_name_is_shown_as_text_and_breaks_nothing(tmp_path: Path, folder: Path, name: str) -> None:
    survey, geometry = example.survey(), example.geometry()
    wall_id = re.sub(r"[/\\\x00-\x1f\x7f]", "_", name)[:64]
    survey["title"] = name
    survey["rooms"][0]["walls"] = [wall_id, "east"]
    for holder in (survey["walls"][0], geometry["walls"][0]):
        holder["id"] = wall_id
    for reference in survey["references"]:
        reference["on"] = wall_id
    for reference in geometry["references"]:
        reference["wall"] = wall_id
    for mark in survey["photos"][0]["marks"]:
        mark["wall"] = wall_id
    photo = re.sub(r"[/\\\x00-\x1f\x7f]", "_", name)[:40] + ".jpg"
    survey["photos"][0]["file"] = geometry["photos"][0]["file"] = photo
    geometry["walls"][0]["views"][0]["photo"] = photo
    for reference in geometry["references"]:
        reference["photo"] = photo
    renamed = example.renamed(json.loads((folder / "results" / "estimate.json").read_text("utf-8")), "north", wall_id)
    made = example.write_example(tmp_path, estimate=renamed, changes={"survey": survey, "geometry": geometry})
    written = write_report(made, made_on=DAY)
    text = (made / "results" / "report.html").read_text(encoding="utf-8")
    reader = Reader()
    reader.feed(text)
    assert reader.scripts == 0
    assert reader.outside == []
    shown = squeezed(re.sub(r"[\x00-\x1f]", " ", name)).strip()
    assert shown in page_words(text)
    assert all(path.stat().st_size > 0 for path in written)
    assert (made / "results" / "report.pdf").read_bytes().startswith(b"%PDF")
    for path in written:
        assert re.fullmatch(r"[A-Za-z0-9_.]+", path.name)


def test_a_title_of_300_characters_is_kept_whole(tmp_path: Path) -> None:
    title = "wall " * 60
    made = example.write_example(tmp_path, changes={"survey": example.survey() | {"title": title}})
    write_report(made, made_on=DAY)
    assert title.strip() in (made / "results" / "report.html").read_text(encoding="utf-8")


def embedded_pictures(page: str) -> list[bytes]:
    return [base64.b64decode(data) for data in re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", page)]


def test_nothing_written_carries_place_serial_or_camera(folder: Path, page: str) -> None:
    pictures = embedded_pictures(page)
    assert pictures
    for data in pictures:
        picture = Image.open(io.BytesIO(data))
        assert not picture.getexif()
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    secrets = (b"SERIAL-90210", b"Handset", b"Marker works", b"Exif\x00", b"GPSLatitude")
    blobs = [path.read_bytes() for path in (folder / "results").rglob("*") if path.is_file()] + pictures
    for secret in secrets:
        assert not any(secret in blob for blob in blobs), secret


def test_csv_opens_right_and_holds_no_formula(folder: Path) -> None:
    for name in ("order.csv", "cut_list.csv"):
        raw = (folder / "results" / name).read_bytes()
        assert raw.startswith(b"\xef\xbb\xbf")
        assert raw.endswith(b"\r\n")
        rows = list(csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline="")))
        assert len(rows) > 1
        assert len({len(row) for row in rows}) == 1
        assert not any(text.startswith(("=", "+", "-", "@")) for row in rows for text in row)


@pytest.mark.parametrize("text", ["=1+1", "+A1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "＝1+1"])
def test_a_cell_that_looks_like_a_formula_stays_text(text: str) -> None:
    assert not cell(text).startswith(("=", "+", "-", "@", "\t", "\r", "＝"))


def test_commas_quotes_and_line_ends_survive_csv() -> None:
    raw = csv_bytes(["a", "b"], [['say "x", y', "one\ntwo"], [1.5, True]])
    rows = list(csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline="")))
    assert rows == [["a", "b"], ['say "x", y', "one two"], ["1.5", "yes"]]


def test_pieces_in_the_cut_list_are_those_of_the_estimate(folder: Path) -> None:
    estimate = json.loads((folder / "results" / "estimate.json").read_text(encoding="utf-8"))
    pieces = estimate["rooms"][0]["boards"]["pieces"]
    raw = (folder / "results" / "cut_list.csv").read_text(encoding="utf-8-sig")
    left_over = ("offcut to keep", "waste")
    rows = [row for row in csv.DictReader(io.StringIO(raw, newline="")) if row["part"] not in left_over]
    areas = [float(row["width_mm"]) * float(row["height_mm"]) for row in rows if row["shape"] == "rectangle"]
    assert len(rows) >= len(pieces)
    for piece in pieces:
        xs = [x for x, _ in piece["on_board"]["outer"]]
        ys = [y for _, y in piece["on_board"]["outer"]]
        size = (round(max(xs) - min(xs), 1), round(max(ys) - min(ys), 1))
        assert any((float(row["width_mm"]), float(row["height_mm"])) == pytest.approx(size) for row in rows)
    assert areas


def without(data: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in data.items() if key not in keys}


def bare(change: Callable[[dict[str, Any]], None]) -> dict[str, Any]:
    data = copy.deepcopy(example.geometry())
    change(data)
    return data


def _no_sizes(data: dict[str, Any]) -> None:
    data["walls"] = [{"id": "north"}, {"id": "east", "width_mm": example.v(3598.0, 6.0)}]


def _no_walls(data: dict[str, Any]) -> None:
    data["walls"] = data["references"] = data["photos"] = []


def _proposed(data: dict[str, Any]) -> None:
    for wall in data["walls"]:
        wall["status"] = "proposed"


def _no_opening(data: dict[str, Any]) -> None:
    for key in ("width_mm", "height_mm", "left_mm", "sill_mm", "reveal_depth_mm", "front_mm", "back_mm"):
        data["walls"][0]["openings"][0][key] = None


@pytest.mark.parametrize("change", [_no_sizes, _no_walls, _no_opening], ids=["no sizes", "no walls", "no opening"])
@pytest.mark.parametrize("estimate", [None, {}, {"walls": [{"id": "north"}], "rooms": [{"id": "back"}]}])
def test_what_is_missing_is_said_and_breaks_nothing(
    tmp_path: Path, change: Callable[[dict[str, Any]], None], estimate: dict[str, Any] | None
) -> None:
    made = example.write_example(tmp_path, estimate=estimate, changes={"geometry": bare(change)})
    write_report(made, made_on=DAY)
    words = page_words((made / "results" / "report.html").read_text(encoding="utf-8"))
    assert "Cannot say yet" in words
    assert "None" not in re.sub(r"None\.", "", words)
    if change is not _no_walls:
        assert "Not measured:" in words


def damaged(data: Any, rng: random.Random) -> Any:
    """Return JSON data with here and there a part lost, empty, of another kind or of an impossible size."""
    if rng.random() < 0.004:
        return rng.choice([None, [], {}, "", "x" * 200, -1, 0, 1e9])
    if isinstance(data, dict):
        return {key: damaged(value, rng) for key, value in data.items() if rng.random() > 0.002}
    if isinstance(data, list):
        return [damaged(value, rng) for value in data]
    return data


@pytest.mark.parametrize("seed", range(8))
def test_a_damaged_estimate_never_stops_the_report(folder: Path, seed: int) -> None:
    """What another version wrote, or a person edited, is read as far as it goes."""
    survey, geometry, estimate = read_results(folder)
    broken = damaged(estimate, random.Random(seed))
    report = compose(
        folder,
        survey=survey.model_copy(update={"photos": []}),
        geometry=geometry.model_copy(update={"photos": []}),
        estimate=broken if isinstance(broken, dict) else {},
        made_on=DAY,
    )
    assert "Local codes and licensed practice come first." in html(report)
    assert order_csv(estimate)
    assert cut_list_csv(broken if isinstance(broken, dict) else {}, geometry)


def test_the_estimate_of_the_contract_is_enough(tmp_path: Path) -> None:
    """The least that estimate.json holds gives a verdict, linings, an order and a tape list."""
    least = {
        "schema_version": 1,
        "inputs_sha256": "c3" * 32,
        "rooms": [
            {"id": "back", "boards": {"count": 5, "lower_bound": 5, "proved": True, "pieces": [], "offcuts": []}}
        ],
        "walls": [
            {
                "id": "north",
                "u_existing": {"from_calculated": 2.11, "from_measured": 1.4},
                "options": [
                    {
                        "insulation": "phenolic",
                        "insulation_mm": 50,
                        "build_up_mm": 72.5,
                        "u": {"from_calculated": 0.32, "from_measured": 0.29},
                        "f_rsi": 0.92,
                        "moisture": "none",
                        "floor_area_m2": 0.29,
                        "saving_kwh": {"low": 300, "high": 800},
                        "cost": {"low": 700, "high": 1500},
                    }
                ],
                "verdict": "tape_first",
                "conditions": [],
            }
        ],
        "tape_list": [{"wall": "north", "key": "width_mm", "why": "4 or 5 boards"}],
        "order": [{"item": "board", "spec": "1200 x 2700", "quantity": 5, "unit": "board", "why": "cut plan"}],
        "findings": [],
    }
    made = example.write_example(tmp_path, estimate=least)
    write_report(made, made_on=DAY)
    words = page_words((made / "results" / "report.html").read_text(encoding="utf-8"))
    for told in (
        "U 2.11 W/m²K",
        "0.29 to 0.32",
        "4 or 5 boards.",
        "5 boards",
        "3 871 mm, give or take 10",
        "£700 to 1 500",
    ):
        assert told in words, told


def test_a_proposed_outline_is_said_to_be_unconfirmed_and_gets_no_verdict(tmp_path: Path) -> None:
    geometry = bare(_proposed)
    made = example.write_whole_example(tmp_path, changes={"geometry": geometry})
    write_report(made, made_on=DAY)
    words = page_words((made / "results" / "report.html").read_text(encoding="utf-8"))
    assert "proposed, not confirmed: no size to order from" in words
    assert "Cannot say yet" in words[: words.index("The board")]
    assert "Do not order yet" in words


def test_no_board_is_recommended_before_it_is_known_what_the_wall_is(page: str) -> None:
    """The east wall of the example is undecided; what follows from that stands on the first page."""
    words = page_words(page)
    first = words[: words.index("The rest of this report")]
    assert "Recommended" not in first
    assert "Planned here; first see what the wall is" in first
    assert "What follows" in first


def test_a_wall_of_unknown_construction_leads_the_conditions_and_the_next_step(page: str) -> None:
    """The east wall of the example is undecided; the north wall is not, so the condition names its wall."""
    words = page_words(page)
    verdict = words[: words.index("In short")]
    assert "east: it is known whether the wall is solid or has a cavity" in verdict
    assert "north: it is known" not in verdict
    assert "Do not go ahead before…" in verdict


def test_conditions_are_told_with_every_verdict() -> None:
    entry = {"verdict": "cannot_say", "conditions": ["consent is in hand"]}
    verdict = wall_verdict(entry)
    assert verdict.conditions == ("consent is in hand",)
    assert verdict.because.endswith("do not go ahead before:")
    both = survey_verdict({"north": verdict, "east": wall_verdict({"verdict": "not_before", "conditions": ["x"]})})
    assert both.key == "not_before"
    assert both.conditions == ("north: consent is in hand", "east: x")


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ({"conditions": ["it is known whether x"], "construction": {"settle": "Look at y: so. Z."}}, "look at y: so."),
        ({"conditions": ["it is known whether x"]}, "find out: it is known whether x."),
        ({"conditions": ["damp is mended"]}, "see to it that damp is mended."),
        ({"conditions": []}, ""),
    ],
    ids=["what would settle it", "nothing to settle it", "a rule without a person", "none"],
)
def test_the_next_step_follows_the_first_condition(entry: dict[str, Any], told: str) -> None:
    assert first_condition({"walls": [{"id": "north", **entry}]}, ["north"]) == told


def test_findings_name_files_as_they_are_and_lengths_in_words() -> None:
    where = {"photo": "IMG_0101.jpg", "wall": "north_outside", "key": "openings.w1.outer_reveal_mm"}
    rows = finding_rows([FindingEntry(code="S012", severity="note", where=where, message="m", remedy="r")])
    assert rows[0].where == "IMG_0101.jpg, north outside and outer reveal, frame to outer face"


def test_without_a_measurement_it_says_what_to_run(tmp_path: Path) -> None:
    (tmp_path / "survey.json").write_text('{"schema_version": 1}', encoding="utf-8")
    with pytest.raises(PerpendError, match=r"geometry\.json.*perpend measure"):
        write_report(tmp_path)


def test_a_file_name_is_plain_whatever_the_wall_is_called() -> None:
    assert file_stem("north wall/../x") == "north_wall_x"
    assert file_stem("עברית") == "wall"
    assert len(file_stem("n" * 300)) == 60


def test_the_same_inputs_give_the_same_page_and_pdf_to_the_byte(folder: Path, page: str) -> None:
    before = (folder / "results" / "report.pdf").read_bytes()
    write_report(folder, made_on=DAY)
    assert (folder / "results" / "report.html").read_text(encoding="utf-8") == page
    assert (folder / "results" / "report.pdf").read_bytes() == before


def test_an_old_drawing_goes_but_a_persons_own_stays(tmp_path: Path) -> None:
    """A wall no longer surveyed leaves no drawing of ours; a drawing saved by another program is not touched."""
    made = example.write_example(tmp_path)
    write_report(made, made_on=DAY)
    drawings = made / "results" / "drawings"
    shutil.copy(drawings / "north_elevation.dxf", drawings / "west_elevation.dxf")
    (drawings / "mine.dxf").write_text("0\nSECTION\n", encoding="ascii")
    write_report(made, made_on=DAY)
    assert not (drawings / "west_elevation.dxf").exists()
    assert (drawings / "mine.dxf").exists()


def test_alt_texts_say_what_pictures_show(page: str) -> None:
    labels = [html_words.unescape(text) for text in re.findall(r'aria-label="([^"]*)"', page)]
    drawings = [label for label in labels if "All in millimetres" in label]
    assert any("3\u00a0871" in label and "window w1" in label for label in drawings)
    assert all(alt.strip() for alt in re.findall(r'<img[^>]* alt="([^"]*)"', page))


def four_walls(folder: Path, estimate: dict[str, Any]) -> Path:
    """Write a room of four walls with six 12-megapixel photos."""
    geometry, survey = example.geometry(), example.survey()
    for name in ("south", "west"):
        wall = copy.deepcopy(example.wall_north()) | {"id": name}
        geometry["walls"].append(wall)
        survey["walls"].append(copy.deepcopy(survey["walls"][0]) | {"id": name})
    survey["rooms"][0]["walls"] = ["north", "east", "south", "west"]
    files = [f"IMG_02{index:02d}.jpg" for index in range(6)]
    survey["photos"] = [{"file": file, "purpose": "whole", "marks": []} for file in files]
    geometry["photos"] = [{"file": file, "usable": True} for file in files]
    outline = [[300, 2600], [3700, 2700], [3750, 500], [280, 450]]
    geometry["walls"][0]["views"] = [{"photo": file, "outline_px": outline} for file in files]
    rng = np.random.default_rng(7)
    coarse = rng.integers(60, 230, (189, 252, 3), dtype=np.uint8)
    picture = Image.fromarray(coarse).resize((4032, 3024), Image.Resampling.BICUBIC)
    for file in files:
        picture.save(_ready(folder) / file, quality=88)
    for name in ("south", "west"):
        copied = example.renamed(copy.deepcopy(estimate), "north", name)
        estimate["walls"].append(copied["walls"][0])
        boards = copied["rooms"][0]["boards"]["pieces"]
        estimate["rooms"][0]["boards"]["pieces"] += [piece for piece in boards if piece["wall"] == name]
    return example.write_example(folder, estimate=estimate, changes={"geometry": geometry, "survey": survey})


def _ready(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def test_four_walls_and_six_photos_take_4_seconds_and_6_megabytes_at_most(tmp_path: Path, folder: Path) -> None:
    """After the estimate; on a busy machine the processor's own time counts. The limits are the project's own."""
    estimate = json.loads((folder / "results" / "estimate.json").read_text(encoding="utf-8"))
    made = four_walls(tmp_path / "four", estimate)
    start, spent = time.perf_counter(), time.process_time()
    write_report(made, made_on=DAY)
    taken = min(time.perf_counter() - start, time.process_time() - spent)
    assert taken <= 4.0
    assert (made / "results" / "report.html").stat().st_size < 6_000_000
    assert len(embedded_pictures((made / "results" / "report.html").read_text(encoding="utf-8"))) == 6
