"""Which of several outlines is the declared card or sheet, and when that is not clear enough to set the scale."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision import reference_search
from vision.cards import Candidate, Target
from vision.plane_view import PlaneView
from vision.reference_search import search_declared
from vision.walls import DeclaredReference, Measured

A4 = DeclaredReference(
    id="p1", kind="a4", wall="north", width_mm=Measured(value=297.0, sd=0.5), height_mm=Measured(value=210.0, sd=0.5)
)
VIEW = PlaneView(to_mm=np.eye(3), scale_ln_sd=0.05, source="the wall's marked corners")


def outline(left: float, misfit: float, *doubts: str) -> Candidate:
    corners = np.array([[left, 0.0], [left + 297.0, 0.0], [left + 297.0, 210.0], [left, 210.0]])
    return Candidate(
        corners_px=corners, sd_px=np.full(4, 0.1), model_mm=Target.of("a4").model_mm(corners), reasons=(),
        misfit=misfit, inside=np.zeros(3), darker=False, doubts=doubts,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("rivals", "used"),
    [
        ((), True),
        ((outline(900, 9.0),), True),
        ((outline(900, 7.0),), False),
        ((outline(900, 7.0, "it may be part of a larger thing"),), True),
        ((outline(900, 4.0, "it may be part of a larger thing"),), False),
        ((outline(900, 7.0, "it may be part of a larger thing"), outline(1500, 7.5)), False),
    ],
)
def test_the_best_outline_sets_the_scale_only_where_it_is_clearly_better_than_the_next(
    rivals: tuple[Candidate, ...], used: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reference_search, "find_rectangles", lambda *_, **__: [outline(100, 0.5), *rivals])
    found = search_declared(np.zeros((4, 4, 3), np.uint8), [], "a.jpg", [A4], {"north": [VIEW]})
    (seen,) = found.sightings
    assert seen.corners_px[0, 0] == 100
    assert seen.confirmed is used


def test_of_two_sheets_neither_sets_the_scale_while_a_doubtful_outline_may_be_the_doubtful_one_of_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    doubt = "it may be part of a larger thing"
    outlines = [outline(100, 0.5), outline(900, 1.0, doubt), outline(1500, 7.0, doubt)]
    monkeypatch.setattr(reference_search, "find_rectangles", lambda *_, **__: outlines)
    two = [A4, replace(A4, id="p2")]
    found = search_declared(np.zeros((4, 4, 3), np.uint8), [], "a.jpg", two, {"north": [VIEW]})
    assert [seen.confirmed for seen in found.sightings] == [False, False]
