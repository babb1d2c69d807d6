"""Hostile input: whatever comes in, the answer is a value, or a refusal in words; never a crash, never a hang."""

from __future__ import annotations

import io
import json
import random
import re
import struct
import time
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from estimator.prices import load_prices
from intake.decode import decode_picture
from intake.photos import describe_photo, lens_prior
from intake.survey import parse_survey
from tests import fuzzing
from tests.simulated_walls import Case, Placed, Setting, View, simulate
from vision.findings import PerpendError
from vision.measure import measure_wall
from vision.walls import CORNERS, Mark, MeasuredOpening

ROOT = Path(__file__).resolve().parent.parent
QUIET = settings(max_examples=150, deadline=5000, suppress_health_check=list(HealthCheck), derandomize=True)

leaves = st.one_of(
    st.none(), st.booleans(), st.integers(-(2**70), 2**70), st.floats(allow_nan=True), st.text(max_size=20),
    st.sampled_from(["north", "w1", "../x", "\u202e", "\x00", "1e999", "IMG_0001.jpg"]),
)  # fmt: skip
trees = st.recursive(leaves, lambda t: st.lists(t, max_size=4) | st.dictionaries(st.text(max_size=8), t, max_size=4))


@cache
def _sample() -> dict[str, Any]:
    text = (ROOT / "sample_photos" / "lock_cottage" / "survey.json").read_text(encoding="utf-8")
    data = json.loads(text)
    assert isinstance(data, dict)
    return data


def _paths(node: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [here] if here else []
    if isinstance(node, dict):
        for key, value in node.items():
            found += _paths(value, (*here, key))
    elif isinstance(node, list):
        for i, value in enumerate(node):
            found += _paths(value, (*here, i))
    return found


def _put(data: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    copy: Any = json.loads(json.dumps(data))
    node = copy
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = value
    assert isinstance(copy, dict)
    return copy


def _refused_in_words(error: PerpendError) -> None:
    text = str(error)
    assert len(text) > 15
    assert "\n" not in text.strip()
    assert "Traceback" not in text


@QUIET
@given(trees)
def test_any_json_is_a_survey_or_is_refused_in_one_line(tree: Any) -> None:
    try:
        parse_survey(json.dumps(tree))
    except PerpendError as error:
        _refused_in_words(error)


@QUIET
@given(st.data())
def test_a_survey_with_one_value_replaced_is_read_or_refused_naming_the_file(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(_paths(_sample())))
    value = data.draw(trees)
    try:
        parse_survey(json.dumps(_put(_sample(), path, value)))
    except PerpendError as error:
        _refused_in_words(error)
        assert "survey.json" in str(error)
        remedy = r"\b(Mend|Did you mean|Known|Add it|Remove one|restore|write a finite number)\b"
        assert re.search(remedy, str(error)), "no remedy"


@QUIET
@given(st.binary(max_size=300))
def test_any_bytes_are_refused_as_a_survey_in_words(data: bytes) -> None:
    try:
        parse_survey(data)
    except PerpendError as error:
        _refused_in_words(error)


@QUIET
@given(st.text(max_size=200))
def test_any_text_is_a_price_list_or_is_refused_in_words(text: str) -> None:
    try:
        load_prices(text)
    except PerpendError as error:
        _refused_in_words(error)


@cache
def _pictures() -> dict[str, bytes]:
    pixels = np.tile(np.arange(64, dtype=np.uint8)[:, None, None] * 3, (1, 80, 3))
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "Handset", 6
    exif.get_ifd(0x8769)[0xA405] = 26
    out = {}
    for kind in ("JPEG", "PNG", "WEBP", "TIFF"):
        buffer = io.BytesIO()
        Image.fromarray(pixels).save(buffer, kind, exif=exif)
        out[kind.lower()] = buffer.getvalue()
    return out


@pytest.mark.parametrize("kind", ["jpeg", "png", "webp", "tiff"])
def test_a_damaged_picture_is_decoded_or_refused_in_words(kind: str) -> None:
    whole = _pictures()[kind]
    rng = random.Random(kind)
    for round_number in range(150):
        data = bytearray(whole)
        for _ in range(rng.randint(1, 12)):
            data[rng.randrange(min(len(data), 400 if round_number % 2 else len(data)))] = rng.randrange(256)
        if round_number % 5 == 0:
            del data[rng.randrange(1, len(data)) :]
        for read in (
            lambda d: decode_picture(d, file="a.jpg"),
            lambda d: lens_prior(describe_photo(d, file="a.jpg")),
        ):
            try:
                read(bytes(data))
            except PerpendError as error:
                _refused_in_words(error)
                assert "a.jpg" in str(error)


@cache
def _case() -> Case:
    sheet = (Placed(kind="survey_sheet", at=(0.2, 0.5)),)
    return simulate(Setting(references=sheet, photos=(View(yaw=(-10, 10), distance_m=3.8),)), np.random.default_rng(2))


pixels = st.tuples(*(st.one_of(st.floats(-500, 5000), st.sampled_from([0.0, 1999.5, 4000.0])) for _ in range(2)))


@settings(
    max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True,
    phases=[Phase.explicit, Phase.generate],
)  # fmt: skip
@given(st.lists(st.tuples(st.sampled_from(CORNERS), st.sampled_from(["wall", "front", "frame"]), pixels), max_size=10))
def test_marks_anywhere_give_finite_sizes_or_none_and_say_why(given_marks: list[Any]) -> None:
    marks = tuple(
        Mark(
            photo="photo0.jpg", wall="north", point=point, px=px,
            opening=None if face == "wall" else "w1",
            face=None if face == "wall" else ("wall" if face == "front" else "frame"),
        ) for point, face, px in given_marks
    )  # fmt: skip
    solution = measure_wall(replace(_case().problem, marks=marks, edges=()))
    for size in (solution.measured.width_mm, solution.measured.height_mm, solution.measured.gross_area_m2):
        assert size is None or (np.isfinite(size.value) and np.isfinite(size.sd) and size.sd >= 0.0)
    if solution.measured.width_mm is None:
        assert solution.findings


def test_thousands_of_marks_are_solved_in_reasonable_time() -> None:
    case = _case()
    many = tuple(replace(m, px=(m.px[0] + 0.001 * k, m.px[1])) for k in range(120) for m in case.problem.marks)
    begun = time.process_time()
    solution = measure_wall(replace(case.problem, marks=many))
    assert time.process_time() - begun < fuzzing.LONGEST_S
    assert solution.measured.width_mm is not None


def test_a_mark_light_years_away_is_measured_without_a_word_of_the_computer() -> None:
    far = (4, 900.0, 2300.0), (5, 3100.0, 2280.0), (6, 4.0, 1e-25), (68, 1.4411530833494016e17, 1e-19)
    fuzzing.marks(b"".join(struct.pack("<Bff", *mark) for mark in far))


@pytest.mark.parametrize("sheet", [True, False], ids=["with a sheet", "scaled by its tape"])
def test_an_opening_named_with_a_dot_is_measured_as_any_other(sheet: bool) -> None:
    problem = replace(_case().problem, edges=())
    if not sheet:
        problem = replace(problem, sightings=(), references=())

    def measured(name: str) -> MeasuredOpening:
        (opening,) = problem.wall.openings
        taped = {"width_mm": 1075.0, "reveal_depth_mm": 140.0}
        wall = replace(problem.wall, openings=(replace(opening, id=name, taped=taped),))
        marks = tuple(mark if mark.opening is None else replace(mark, opening=name) for mark in problem.marks)
        return measure_wall(replace(problem, wall=wall, marks=marks)).measured.openings[0]

    told = measured("w.1")
    assert told == replace(measured("w1"), id="w.1")
    assert told.width_mm is not None and told.reveal_depth_mm is not None
    assert told.width_mm.value == pytest.approx(1075.0, abs=4.0)
    assert told.reveal_depth_mm.value == pytest.approx(140.0, abs=1.0)


@pytest.mark.parametrize("target", sorted(fuzzing.TARGETS))
def test_damaged_input_of_every_kind_is_read_or_refused_in_words(target: str) -> None:
    most = {"marks": 30, "archive": 120}.get(target, 800)
    assert fuzzing.throw(target, seconds=60.0, seed=7, most=most)["inputs"] == most
