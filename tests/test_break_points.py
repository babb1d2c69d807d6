"""Break-points found by asking, held against a count whose breaks are known."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from estimator import fewest, layout, solving
from estimator.boards import board_rules
from estimator.break_points import CALLS, FAR_SD, REACH_SD, Calls, Dim, Look, find_side
from estimator.layout_records import RoomLayout
from estimator.setting_out import Programme
from tests.random_rooms import random_room
from tests.studies.layout import SIZES
from vision.walls import FloatArray

DIMS: tuple[Dim, ...] = (
    ("a", "width_mm"), ("a", "height_mm"), ("a", "openings.w.width_mm"), ("a", "openings.w.height_mm"),
    ("a", "openings.w.left_mm"), ("b", "width_mm"),
)  # fmt: skip
SD = np.array([6.0, 5.0, 3.0, 3.0, 3.0, 6.0])
COVARIANCE = np.diag(SD**2)


@dataclass
class Plane:
    """Stands in for walls and solver: the count changes once the moves, weighed by ``slope``, come to more than 1."""

    slope: FloatArray
    way: int = 1
    layout: SimpleNamespace = field(default_factory=lambda: SimpleNamespace(count=5))
    calls: Calls = field(default_factory=Calls)

    def moved(self, dims: tuple[Dim, ...], moves: FloatArray, way: int) -> bool:
        return bool(self.calls.take() and way == self.way and float(self.slope @ moves) > 1)


def found(plane: Plane, covariance: FloatArray = COVARIANCE) -> tuple[dict[Dim, float], float]:
    """Return the breaks found, and the chance of being beyond them."""
    look = cast(Look, plane)
    side = find_side(look, DIMS, np.sqrt(np.diag(covariance)), covariance, plane.way)
    return ({}, 0.0) if side is None else (dict(side.breaks), side.chance(DIMS, covariance))


def beyond(plane: Plane, covariance: FloatArray = COVARIANCE) -> float:
    draws = np.random.default_rng(7).multivariate_normal(np.zeros(len(DIMS)), covariance, 100_000)
    return float(np.mean(draws @ plane.slope > 1))


PLANES = {
    "widths alone": [1 / 9, 0, 0, 0, 0, 1 / 9],
    "a height, and the widths hardly": [1 / 60, 1 / 8, 0, 0, 0, 1 / 60],
    "a window's height": [1 / 60, 0, 0, -1 / 5, 0, 1 / 60],
    "a window's place, either way": [1 / 12, 0, 0, 0, -1 / 9, 1 / 12],
    "ceiling and head only together": [0, 1 / 14, 0, -1 / 14, 0, 0],
    "everything a little": [1 / 16, 1 / 25, -1 / 30, -1 / 30, 0, 1 / 16],
}


@pytest.mark.parametrize("name", list(PLANES))
@pytest.mark.parametrize("way", [1, -1])
def test_the_chance_of_another_count_is_near_what_sampling_gives(name: str, way: int) -> None:
    plane = Plane(np.array(PLANES[name]) * way, way)
    breaks, chance = found(plane)
    assert breaks
    assert chance == pytest.approx(beyond(plane), abs=0.045)
    assert plane.calls.made <= CALLS


@pytest.mark.parametrize("name", list(PLANES))
def test_a_break_lies_on_the_side_on_which_it_is(name: str) -> None:
    plane = Plane(np.array(PLANES[name]))
    for dim, at in found(plane)[0].items():
        slope = plane.slope[DIMS.index(dim)]
        assert slope == 0 or np.sign(at) == np.sign(slope) or abs(1 / slope) > 4 * SD[DIMS.index(dim)]


def test_sizes_that_tip_the_balance_only_together_are_found_and_shared_out_alike() -> None:
    """14 mm of ceiling and head together: neither moves so far alone, both together do within two and a half."""
    breaks, _ = found(Plane(np.array(PLANES["ceiling and head only together"])))
    ceiling, head = breaks["a", "height_mm"], breaks["a", "openings.w.height_mm"]
    assert ceiling == pytest.approx(-head)
    # the widths are taken to change it at four standard uncertainties, and were moved a third of the way there
    assert ceiling * (1 - REACH_SD / 2 / FAR_SD) == pytest.approx(14, abs=1.5)
    assert not {("a", "openings.w.width_mm"), ("a", "openings.w.left_mm")} & set(breaks)


def test_what_changes_nothing_within_reach_costs_two_questions() -> None:
    plane = Plane(np.full(len(DIMS), 1e-4))
    assert found(plane) == ({}, 0.0)
    assert plane.calls.made == 2


def test_sizes_without_uncertainty_have_no_break_and_ask_nothing() -> None:
    plane = Plane(np.array(PLANES["widths alone"]))
    assert found(plane, np.zeros_like(COVARIANCE)) == ({}, 0.0)
    assert plane.calls.made == 0


def test_where_no_width_is_uncertain_a_height_still_breaks() -> None:
    only = np.diag((SD * [0, 1, 1, 1, 1, 0]) ** 2)
    plane = Plane(np.array(PLANES["a height, and the widths hardly"]))
    breaks, chance = found(plane, only)
    assert set(breaks) == {("a", "height_mm")}
    assert breaks["a", "height_mm"] == pytest.approx(8, abs=0.25 * SD[1])
    assert chance == pytest.approx(beyond(plane, only), abs=0.02)


def test_a_break_just_within_reach_is_found_and_one_just_beyond_is_not() -> None:
    for part, there in ((0.98, True), (1.02, False)):
        at = part * REACH_SD * float(SD[0] + SD[5])
        assert bool(found(Plane(np.array([1 / at, 0, 0, 0, 0, 1 / at])))[0]) is there


def test_once_the_questions_are_used_up_what_is_known_is_given() -> None:
    plane = Plane(np.array(PLANES["everything a little"]), calls=Calls(left=6))
    breaks, _ = found(plane)
    assert plane.calls.made == 6
    assert set(breaks) >= {("a", "width_mm"), ("b", "width_mm")}


def test_a_question_whose_shortest_roll_found_is_too_long_is_given_up_without_the_long_searches(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A room at the edge of what the solver can tell: the long searches never found what no roll came near."""
    spent: list[float] = []
    solved = solving.solve

    def counted(p: Programme, **more: Any) -> Any:
        status, solver = solved(p, **more)
        spent.append(solver.response_proto.deterministic_time)
        return status, solver

    for module in (layout, fewest):
        monkeypatch.setattr(module, "solve", counted)
    rng = random.Random(20261125)
    room = [random_room(rng, f"r{n}") for n in range(100)][99]
    faces = [replace(f, width=f.width + 12) for f in room.faces]
    job = layout.make_job(faces, corners=room.corners, sizes=SIZES, rules=board_rules())
    like = cast(RoomLayout, SimpleNamespace(board=job.board, kept="all"))
    fit = layout.fits_on(faces, 7, like=like, rules=board_rules(), corners=room.corners)
    assert fit.fits is None
    assert sum(spent) < 0.9  # of the 1.0 allowed; 1.3 with the searches
