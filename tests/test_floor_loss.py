"""Floor area under linings: corners counted once, rooms shared out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.floor_loss import floor_area_lost_m2, floor_loss, neighbours_of, wall_corners
from estimator.inputs import Room
from tests.heat_cases import wall_case


def test_two_walls_in_a_corner_lose_the_corner_once() -> None:
    """Worked by hand: 4 m and 3 m at 62.5 mm lose 0.434 m2, 3.6 % of 12 m2."""
    lost = floor_area_lost_m2(7.0, 0.0625, corners=1)
    assert lost == pytest.approx(0.4336, abs=5e-5)
    assert lost / 12 == pytest.approx(0.0361, abs=5e-5)


@given(a=st.floats(1, 8), b=st.floats(1, 8), t=st.floats(0.02, 0.2))
def test_the_loss_is_the_room_less_the_room_that_is_left(a: float, b: float, t: float) -> None:
    four_walls = floor_area_lost_m2(2 * (a + b), t, corners=4)
    assert four_walls == pytest.approx(a * b - (a - 2 * t) * (b - 2 * t))


@given(widths=st.lists(st.floats(1500, 6000), min_size=4, max_size=4), t=st.floats(0.02, 0.2), lined=st.integers(1, 15))
def test_the_walls_losses_add_up_to_the_rooms(widths: list[float], t: float, lined: int) -> None:
    names = ("n", "e", "s", "w")
    room = Room(id="r", floor_area_m2=20.0, walls=names)
    cases = [
        wall_case(name, width_mm=width, line=bool(lined >> k & 1))
        for k, (name, width) in enumerate(zip(names, widths, strict=True))
    ]
    losses = [floor_loss(c, room, cases) for c in cases if c.declared.line]
    own = [loss.own_m2(t) for loss in losses]
    assert sum(x for x in own if x is not None) == pytest.approx(losses[0].room_m2(t))


def test_neighbours_share_a_corner_and_a_gap_parts_them() -> None:
    assert wall_corners(Room(id="r", walls=("n", "e"))) == (("n", "e"),)
    assert wall_corners(Room(id="r", walls=("n", None, "s"))) == ()
    closed = Room(id="r", walls=("n", "e", "s", "w"))
    assert wall_corners(closed) == (("n", "e"), ("e", "s"), ("s", "w"), ("w", "n"))
    assert neighbours_of("n", closed) == ("e", "w")
    assert wall_corners(None) == ()


def test_a_wall_that_is_not_lined_has_no_corner_to_share() -> None:
    room = Room(id="r", floor_area_m2=12.0, walls=("n", "e"))
    cases = [wall_case("n"), wall_case("e", line=False)]
    assert floor_loss(cases[0], room, cases).own_m2(0.1) == pytest.approx(0.4)


def test_a_wall_without_a_length_loses_nobody_knows_what() -> None:
    room = Room(id="r", floor_area_m2=12.0, walls=("n", "e"))
    cases = [wall_case("n"), wall_case("e", width_mm=None)]
    loss = floor_loss(cases[0], room, cases)
    assert loss.own_m2(0.1) is not None
    assert loss.room_m2(0.1) is None
    assert loss.share(None) is None
