"""survey.json: what fits is taken, what does not is refused with the place, the value and the nearest known word."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from intake.results import SCHEMAS
from intake.store import survey_text
from intake.survey import Survey, known_keys, parse_survey
from vision.findings import PerpendError

EXAMPLE: dict[str, Any] = {
    "schema_version": 1,
    "title": "Lock cottage, back room",
    "site": {"region": "east_anglia", "heating": "gas_boiler", "listed": False, "exposure_zone": 2},
    "rooms": [{"id": "back", "floor_area_m2": 11.8, "walls": ["north", None, "east"]}],
    "references": [
        {"id": "s17", "kind": "survey_sheet", "number": 17, "bar_mm": 250.0, "on": "north"},
        {"id": "q1", "kind": "rectangle", "width_mm": 300.0, "height_mm": 200.0, "on": "north"},
    ],
    "walls": [
        {
            "id": "north",
            "room": "back",
            "side": "inside",
            "taped": {"width_mm": 3870},
            "openings": [{"id": "w1", "kind": "window", "frame_mm": 70, "taped": {}}],
            "features": [{"id": "s1", "kind": "socket"}],
        },
        {"id": "north_outside", "side": "outside", "other_side_of": "north"},
    ],
    "photos": [
        {
            "file": "IMG_0101.jpg",
            "purpose": "whole",
            "marks": [
                {"wall": "north", "point": "bottom_left", "px": [412.0, 2710.5]},
                {"wall": "north", "opening": "w1", "face": "frame", "point": "top_right", "px": [2231.0, 702.7]},
                {"reference": "c1", "point": "top_left", "px": [1800.0, 1203.0]},
            ],
        }
    ],
    "design": {"insulation": "phenolic", "insulation_mm": 50},
}


def refusal(data: Any) -> str:
    with pytest.raises(PerpendError) as caught:
        parse_survey(data if isinstance(data, str | bytes) else json.dumps(data))
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_everything_but_the_version_may_be_missing() -> None:
    assert parse_survey('{"schema_version": 1}').walls == []


def test_what_was_said_comes_back_unchanged_and_nothing_is_added() -> None:
    assert json.loads(survey_text(parse_survey(json.dumps(EXAMPLE)))) == EXAMPLE


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (
            {"walls": [{"id": "a", "taped": {"widht_mm": 3}}]},
            'walls[0].taped: unknown key "widht_mm". Did you mean "width_mm"?',
        ),
        ({"wals": []}, 'survey.json: unknown key "wals". Did you mean "walls"?'),
        (
            {"photos": [{"file": "a.jpg", "marks": [{"wal": "n"}]}]},
            'photos[0].marks[0]: unknown key "wal". Did you mean "wall"?',
        ),
        ({"\n\x1b": 1}, r'survey.json: unknown key "\n\x1b". Known here: '),
        ({"site": {"zzz": 1}}, 'survey.json site: unknown key "zzz". Known here: '),
        (
            {"references": [{"id": "c", "kind": "id1card"}]},
            'references[0].kind: "id1card" is not known here. Did you mean "id1_card"?',
        ),
        ({"walls": [{"id": "a"}, {"id": "a"}]}, 'the id "a" is used twice; give each its own.'),
        ({"walls": [{"id": "a\u0000b"}]}, "survey.json walls[0].id: "),
        ({"walls": [{"id": "a", "openings": [{"id": "../a"}]}]}, "survey.json walls[0].openings[0].id: "),
        ({"photos": [{"file": "../a.jpg"}]}, "outside the survey folder; copy it in"),
        ({"photos": [{"file": "C:\\a.jpg"}]}, "outside the survey folder; copy it in"),
        ({"references": [{"id": "q", "kind": "rectangle"}]}, "measure it and add width_mm and height_mm"),
        (
            {"walls": [{"id": "a", "taped": {"width_mm": -3}}]},
            "walls[0].taped.width_mm: input should be greater than 0, not -3.",
        ),
        ({"schema_version": 2}, "survey.json schema_version: 2 is not known here. Known: 1."),
    ],
)
def test_a_misfit_is_refused_in_one_line_naming_place_and_remedy(change: dict[str, Any], text: str) -> None:
    assert text in refusal({"schema_version": 1, **change})


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[1", "survey.json: not JSON at line 1"),
        ("", "survey.json: not JSON at line 1"),
        ("[]", "survey.json: "),
        ("null", "survey.json: "),
        ('{"schema_version": 1, "schema_version": 1}', 'the key "schema_version" stands twice'),
        ('{"schema_version": NaN}', "NaN is not a number that JSON allows"),
        ("[" * 100_000, "nested too deeply"),
        (b"\xff\xfe", "not UTF-8 text"),
        ('{"schema_version":1,"walls":[{"id":"a","taped":{"width_mm":1e999}}]}', "finite number"),
    ],
    ids=["cut", "empty", "list", "null", "twice", "nan", "deep", "not utf-8", "infinite"],
)
def test_what_is_not_a_survey_is_refused_with_the_place(text: str | bytes, words: str) -> None:
    assert words in refusal(text)


@pytest.mark.parametrize(
    "mark",
    [
        {"point": "top_left", "px": [1, 2]},
        {"wall": "n", "face": "wall", "point": "top_left", "px": [1, 2]},
        {"wall": "n", "opening": "w", "feature": "s", "point": "top_left", "px": [1, 2]},
        {"wall": "n", "feature": "s", "point": "edge_inner", "px": [1, 2]},
        {"wall": "n", "point": "middle", "px": [1, 2]},
        {"wall": "n", "point": "top_left", "px": [1, 2, 3]},
    ],
    ids=["nothing named", "face without opening", "two things", "edge of a socket", "unknown point", "three numbers"],
)
def test_a_mark_names_exactly_one_point_of_one_thing(mark: dict[str, Any]) -> None:
    assert "photos[0].marks[0]" in refusal({"schema_version": 1, "photos": [{"file": "a.jpg", "marks": [mark]}]})


def test_every_field_of_every_schema_has_a_description() -> None:
    models: list[type[BaseModel]] = [Survey, *SCHEMAS.values()]
    for model in models:
        schema = model.model_json_schema()
        for definition in [schema, *schema.get("$defs", {}).values()]:
            for name, field in definition.get("properties", {}).items():
                assert field.get("description"), f"{definition['title']}.{name}"


def test_known_keys_follow_lists_and_sub_records() -> None:
    assert "width_mm" in known_keys(Survey, ("walls", 3, "taped"))
    assert known_keys(Survey, ("photos", 0, "marks", 2)) == sorted(
        ["wall", "opening", "face", "feature", "reference", "point", "px", "proud_mm", "sd_px"]
    )


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(sorted(EXAMPLE)) | st.text(max_size=8), inner)
    ),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None)
@given(JSON_VALUES)
def test_any_json_is_either_a_survey_or_refused_in_one_line(value: Any) -> None:
    try:
        parse_survey(json.dumps(value))
    except PerpendError as error:
        assert str(error).startswith("survey.json")
        assert "\n" not in str(error)
