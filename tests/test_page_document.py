"""Edits to a survey are made all or none, by identity, and never over what someone else changed unseen."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.page.document import Edit, EditError, apply_edits, mark_identity, read_edits

MARK = {"wall": "north", "opening": "w1", "face": "wall", "point": "top_left", "px": [10.0, 20.0]}
NAME = "wall=north;opening=w1;face=wall;point=top_left"


def edit(path: list[str], value: Any, was: Any = None) -> Edit:
    return Edit(path=tuple(path), value=value, was=was)


def test_a_mark_is_named_by_what_it_marks_and_not_by_where_it_lies() -> None:
    assert mark_identity(MARK) == NAME
    assert mark_identity(MARK | {"px": [1, 2], "proud_mm": 18, "sd_px": 1.0}) == NAME
    assert mark_identity({"reference": "c1", "point": "top_left"}) == "reference=c1;point=top_left"


def test_an_edit_makes_the_photo_and_its_list_where_there_is_none() -> None:
    document, conflicts = apply_edits({"schema_version": 1}, [edit(["photos", "a.jpg", "marks", NAME], MARK)])
    assert conflicts == []
    assert document["photos"] == [{"file": "a.jpg", "marks": [MARK]}]


def test_the_document_given_is_left_alone() -> None:
    before: dict[str, Any] = {"photos": [{"file": "a.jpg", "marks": [copy.deepcopy(MARK)]}]}
    kept = copy.deepcopy(before)
    apply_edits(before, [edit(["photos", "a.jpg", "marks", NAME], None, MARK)])
    assert before == kept


def test_two_people_may_edit_different_things() -> None:
    base: dict[str, Any] = {"walls": [{"id": "north"}]}
    mine, _ = apply_edits(base, [edit(["walls", "north", "built"], 1908)])
    both, conflicts = apply_edits(mine, [edit(["walls", "north", "taped", "width_mm"], 3870)])
    assert conflicts == []
    assert both["walls"] == [{"id": "north", "built": 1908, "taped": {"width_mm": 3870}}]


def test_a_change_seen_too_late_is_a_conflict_and_changes_nothing() -> None:
    base = {"walls": [{"id": "north", "built": 1908}]}
    edits = [edit(["title"], "Lock cottage"), edit(["walls", "north", "built"], 1961, 1900)]
    document, conflicts = apply_edits(base, edits)
    assert document == base
    assert [(c.path, c.mine, c.theirs) for c in conflicts] == [(("walls", "north", "built"), 1961, 1908)]


def test_keeping_mine_overrules() -> None:
    base = {"walls": [{"id": "north", "built": 1908}]}
    document, conflicts = apply_edits(base, [edit(["walls", "north", "built"], 1961, 1900)], force=True)
    assert (document["walls"][0]["built"], conflicts) == (1961, [])


def test_an_edit_sent_twice_does_no_harm() -> None:
    edits = [edit(["photos", "a.jpg", "marks", NAME], MARK)]
    once, _ = apply_edits({}, edits)
    twice, conflicts = apply_edits(once, edits)
    assert (twice, conflicts) == (once, [])


@given(st.lists(st.sampled_from(["bottom_left", "bottom_right", "top_right", "top_left"]), min_size=1, max_size=6))
def test_undoing_each_edit_backwards_brings_the_document_back(points: list[str]) -> None:
    document: dict[str, Any] = {"photos": [{"file": "a.jpg", "marks": []}]}
    history = [document]
    done = []
    for number, point in enumerate(points):
        mark = {"wall": "north", "point": point, "px": [number, number]}
        path = ["photos", "a.jpg", "marks", mark_identity(mark)]
        was = next((m for m in document["photos"][0]["marks"] if m["point"] == point), None)
        done.append(edit(path, mark, was))
        document, _ = apply_edits(document, [done[-1]])
        history.append(document)
    for made, before in zip(reversed(done), reversed(history[:-1]), strict=True):
        document, conflicts = apply_edits(document, [edit(list(made.path), made.was, made.value)])
        assert conflicts == []
        assert sorted(map(repr, document["photos"][0]["marks"])) == sorted(map(repr, before["photos"][0]["marks"]))


@pytest.mark.parametrize(
    ("posted", "words"),
    [
        ([], "at least one edit"),
        ("x", "at least one edit"),
        ([{"path": ["a"]}], "path, value and was"),
        ([{"path": ["a"], "value": 1, "who": 2}], "path, value and was"),
        ([{"path": [], "value": 1}], "list of names"),
        ([{"path": ["a", 3], "value": 1}], "list of names"),
    ],
)
def test_what_is_not_an_edit_is_refused_in_words(posted: Any, words: str) -> None:
    with pytest.raises(EditError, match=words):
        read_edits(posted)


def test_a_value_that_calls_itself_something_else_is_refused() -> None:
    with pytest.raises(EditError, match="calls itself"):
        apply_edits({}, [edit(["walls", "north"], {"id": "south"})])


@pytest.mark.parametrize("path", [["title", "x"], ["site", "region", "x"]])
def test_an_edit_through_a_plain_value_is_refused(path: list[str]) -> None:
    with pytest.raises(EditError, match="not an object"):
        apply_edits({"title": "Lock cottage", "site": {"region": "east_anglia"}}, [edit(path, 1)])
