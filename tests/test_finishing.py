"""The air line is closed, or the plan is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from estimator.boards import board_rules, sizes_on_sale
from estimator.faces import Face, lining_face
from estimator.finishing import Seal, air_line, open_edges
from estimator.layout import lay_boards
from estimator.layout_records import RoomLayout
from tests.board_cases import NORTH, case

RULES = board_rules()


def plan() -> tuple[list[Seal], Face, RoomLayout]:
    face, _ = lining_face(case(NORTH))
    assert face is not None
    layout = lay_boards([face], sizes=sizes_on_sale(50), rules=RULES)
    return air_line(face, layout, features=NORTH.features), face, layout


def test_the_plan_closes_every_edge_box_opening_and_joint() -> None:
    seals, face, layout = plan()
    assert open_edges(seals, face, layout, features=NORTH.features) == []
    assert {"floor", "ceiling", "left", "right", "opening w1", "through s1"} <= {s.edge for s in seals}
    assert sum(s.edge.startswith("joint") for s in seals) == len(layout.joints)


@pytest.mark.parametrize("edge", ["floor", "ceiling", "left", "right", "opening w1", "through s1", "joint 0"])
def test_a_plan_with_any_one_seal_left_out_is_refused(edge: str) -> None:
    seals, face, layout = plan()
    refused = open_edges([s for s in seals if s.edge != edge], face, layout, features=NORTH.features)
    assert [(f.code, f.severity, f.where["key"]) for f in refused] == [("B040", "stop", edge)]
    assert f"the air line is open at {edge}" in refused[0].message


def test_a_ring_that_does_not_close_is_refused() -> None:
    seals, face, layout = plan()
    broken = [replace(s, closed=False) if s.edge == "through s1" else s for s in seals]
    assert [f.where["key"] for f in open_edges(broken, face, layout, features=NORTH.features)] == ["through s1"]


def test_lengths_are_those_of_the_wall() -> None:
    seals, _, _ = plan()
    by_edge = {s.edge: s.length_m for s in seals}
    assert by_edge["floor"] == pytest.approx(4.0) and by_edge["left"] == pytest.approx(2.39)
    assert by_edge["opening w1"] == pytest.approx(4.8)
