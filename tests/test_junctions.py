"""Two-dimensional heat flow: plane walls, energy balance, mirrors, grids."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.junctions import Air, Block, Grid, graded_lines, solve_section
from vision.findings import PerpendError

INSIDE = Air(name="inside", left=0, right=1000, bottom=400, top=450, temperature_c=20, surface_m2k_w=0.13)
OUTSIDE = Air(name="outside", left=0, right=1000, bottom=-50, top=0, temperature_c=0, surface_m2k_w=0.04)
WALL = Block(name="wall", left=0, right=1000, bottom=0, top=400, conductivity_w_mk=0.77)


@st.composite
def sections(draw: st.DrawFn) -> tuple[list[Block], list[Air]]:
    """Draw a wall with up to four odd pieces in it, warm above and cold below."""
    blocks = [WALL]
    for number in range(draw(st.integers(0, 4))):
        left, bottom = draw(st.integers(0, 90)) * 10, draw(st.integers(0, 30)) * 10
        blocks.append(
            Block(
                name=f"piece {number}",
                left=left,
                right=min(1000, left + draw(st.integers(1, 40)) * 10),
                bottom=bottom,
                top=min(400, bottom + draw(st.integers(1, 20)) * 10),
                conductivity_w_mk=draw(st.sampled_from([0.02, 0.13, 0.6, 2.3, 50.0])),
            )
        )
    return blocks, [INSIDE, OUTSIDE]


def _mirror(blocks: list[Block], airs: list[Air]) -> tuple[list[Block], list[Air]]:
    return (
        [replace(b, left=1000 - b.right, right=1000 - b.left) for b in blocks],
        [replace(a, left=1000 - a.right, right=1000 - a.left) for a in airs],
    )


@settings(max_examples=40, deadline=None)
@given(section=sections())
def test_what_comes_in_goes_out(section: tuple[list[Block], list[Air]]) -> None:
    heat = solve_section(*section).heat_w_m
    assert sum(heat.values()) == pytest.approx(0, abs=1e-7 * heat["inside"])


@settings(max_examples=40, deadline=None)
@given(section=sections())
def test_a_mirrored_section_gives_a_mirrored_answer(section: tuple[list[Block], list[Air]]) -> None:
    plain, mirrored = solve_section(*section), solve_section(*_mirror(*section))
    np.testing.assert_allclose(mirrored.x_mm, 1000 - plain.x_mm[::-1], atol=1e-6)
    np.testing.assert_allclose(mirrored.temperature_c, plain.temperature_c[:, ::-1], atol=1e-6)
    assert mirrored.heat_w_m["inside"] == pytest.approx(plain.heat_w_m["inside"], rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(section=sections())
def test_no_point_is_warmer_than_the_room_or_colder_than_outside(section: tuple[list[Block], list[Air]]) -> None:
    solution = solve_section(*section)
    # Bilinear elements on long cells may overshoot a little where conductivities jump.
    assert np.nanmin(solution.temperature_c) >= -0.15
    assert np.nanmax(solution.temperature_c) <= 20.15


@settings(max_examples=25, deadline=None)
@given(section=sections(), factor=st.floats(1.05, 3))
def test_better_conducting_material_never_lets_less_through(
    section: tuple[list[Block], list[Air]], factor: float
) -> None:
    blocks, airs = section
    better = [replace(blocks[-1], conductivity_w_mk=blocks[-1].conductivity_w_mk * factor)]
    before = solve_section(blocks, airs).heat_w_m["inside"]
    assert solve_section(blocks[:-1] + better, airs).heat_w_m["inside"] >= before * (1 - 1e-9)


@pytest.mark.parametrize("grid", [Grid(), Grid(finest_mm=50, growth=3, coarsest_mm=500)])
def test_a_plane_wall_has_its_exact_heat_flow_on_any_grid(grid: Grid) -> None:
    solution = solve_section([WALL], [INSIDE, OUTSIDE], grid=grid)
    total = 0.13 + 0.4 / 0.77 + 0.04
    assert solution.heat_w_m["inside"] == pytest.approx(20 / total, rel=1e-9)
    assert solution.lowest_c["inside", "wall"] == pytest.approx(20 - 20 * 0.13 / total)
    assert solution.at(123.0, 200.0) == pytest.approx(20 * (0.04 + 0.2 / 0.77) / total)


def test_a_block_split_in_two_is_the_same_block() -> None:
    halves = [replace(WALL, right=430), replace(WALL, left=430)]
    piece = Block(name="p", left=300, right=600, bottom=100, top=300, conductivity_w_mk=0.03)
    fine = Grid(finest_mm=2, growth=1.3, coarsest_mm=30)
    whole = solve_section([WALL, piece], [INSIDE, OUTSIDE], grid=fine).heat_w_m["inside"]
    split = solve_section([*halves, piece], [INSIDE, OUTSIDE], grid=fine).heat_w_m["inside"]
    assert split == pytest.approx(whole, rel=1e-3)


def test_a_later_block_covers_an_earlier_one() -> None:
    cover = replace(WALL, conductivity_w_mk=0.04)
    covered = solve_section([WALL, cover], [INSIDE, OUTSIDE]).heat_w_m["inside"]
    assert covered == pytest.approx(20 / (0.17 + 0.4 / 0.04))


def test_one_block_may_have_a_surface_resistance_of_its_own() -> None:
    special = replace(INSIDE, surface_of={"wall": 0.25})
    assert solve_section([WALL], [special, OUTSIDE]).heat_w_m["inside"] == pytest.approx(20 / (0.29 + 0.4 / 0.77))


@given(edges=st.lists(st.integers(-500, 500), min_size=2, max_size=8, unique=True), finest=st.floats(1, 50))
def test_grid_lines_pass_through_every_edge_and_only_rise(edges: list[int], finest: float) -> None:
    lines = graded_lines(edges, Grid(finest_mm=finest))
    assert np.all(np.diff(lines) > 0)
    assert np.diff(lines).max() <= 150 + 1e-9
    for edge in edges:
        assert np.min(np.abs(lines - edge)) < 1e-9


@pytest.mark.parametrize(
    ("blocks", "airs", "message"),
    [
        ([], [INSIDE], "no material"),
        ([WALL], [], "no air touches it"),
        ([WALL], [replace(INSIDE, bottom=900, top=950)], "no air touches the material"),
        ([replace(WALL, conductivity_w_mk=0.0)], [INSIDE], "block 'wall': conductivity 0.0"),
        ([WALL], [replace(INSIDE, surface_m2k_w=0.0)], "air 'inside': surface resistance 0.0"),
    ],
    ids=["no material", "no air", "air elsewhere", "no conductivity", "no resistance"],
)
def test_a_section_that_cannot_be_solved_says_why(blocks: list[Block], airs: list[Air], message: str) -> None:
    with pytest.raises(PerpendError, match=message):
        solve_section(blocks, airs)


SQUARE = Block(name="square", left=0, right=1000, bottom=0, top=1000, conductivity_w_mk=1.0)


def _hot_topped_square(hot_c: float) -> list[Air]:
    """Return the airs of a square with its top face at ``hot_c`` and the others at 0 deg C."""
    boxes = [(0, 1000, 1000, 1001), (0, 1000, -1, 0), (-1, 0, 0, 1000), (1000, 1001, 0, 1000)]
    return [
        Air(
            name=f"side {number}",
            left=left,
            right=right,
            bottom=bottom,
            top=top,
            temperature_c=0.0 if number else hot_c,
            surface_m2k_w=1e-6,
        )
        for number, (left, right, bottom, top) in enumerate(boxes)
    ]


def test_the_middle_of_a_square_with_one_hot_side_is_a_quarter_hot() -> None:
    """By symmetry: four such squares, turned, add up to a square at one temperature."""
    solution = solve_section([SQUARE], _hot_topped_square(20.0), grid=Grid(finest_mm=20, growth=1.3, coarsest_mm=60))
    assert solution.at(500, 500) == pytest.approx(5.0, abs=1e-3)


@pytest.mark.parametrize("x", [100, 250, 500])
@pytest.mark.parametrize("y", [250, 500, 750])
def test_a_square_with_one_hot_side_follows_its_series(x: float, y: float) -> None:
    """Carslaw and Jaeger, Conduction of Heat in Solids, section 5.3 (from memory): the sum over odd n."""
    solution = solve_section([SQUARE], _hot_topped_square(1.0), grid=Grid(finest_mm=10, growth=1.2, coarsest_mm=40))
    series = sum(
        4 / np.pi * np.sin(n * np.pi * x / 1000) * np.sinh(n * np.pi * y / 1000) / (n * np.sinh(n * np.pi))
        for n in range(1, 200, 2)
    )
    assert solution.at(x, y) == pytest.approx(series, abs=0.003)


def test_the_usual_grid_has_five_millimetres_beside_an_edge_and_grows_by_four_fifths() -> None:
    """By hand between edges 20 mm apart: 5 and 9 mm cells, shrunk from 14 to the 10 mm that there are."""
    lines = graded_lines([0.0, 20.0], Grid())
    assert lines == pytest.approx([0.0, 50 / 14, 10.0, 20 - 50 / 14, 20.0])
    wide = np.diff(graded_lines([0.0, 4000.0], Grid()))
    assert wide[0] <= 5.0
    assert np.max(wide[1:] / wide[:-1]) == pytest.approx(1.8)
    assert 100.0 < wide.max() <= 150.0
    assert wide == pytest.approx(wide[::-1])


def test_the_coldest_place_of_a_surface_is_named_with_its_air_and_its_block() -> None:
    bridge = Block(name="steel", left=600, right=640, bottom=0, top=400, conductivity_w_mk=50.0)
    solution = solve_section([WALL, bridge], [INSIDE, OUTSIDE])
    assert set(solution.lowest_c) == {(air, block) for air in ("inside", "outside") for block in ("wall", "steel")}
    assert solution.lowest_at_mm["inside", "steel"] == pytest.approx((620.0, 400.0), abs=20.0)
    assert solution.lowest_at_mm["inside", "steel"][1] == pytest.approx(400.0)
    assert solution.lowest_c["inside", "steel"] < solution.lowest_c["inside", "wall"]
    at_wall = solution.lowest_at_mm["inside", "wall"]
    assert at_wall[0] in (pytest.approx(600.0), pytest.approx(640.0))  # the wall is coldest beside the steel
    assert solution.at(*at_wall) == pytest.approx(solution.lowest_c["inside", "wall"])
    assert solution.lowest_at_mm["outside", "wall"][1] == pytest.approx(0.0)


def test_a_temperature_is_read_at_and_between_the_lines_of_the_grid_and_counted_at_each() -> None:
    solution = solve_section([WALL], [INSIDE, OUTSIDE])
    total = 0.13 + 0.4 / 0.77 + 0.04

    def by_hand(y: float) -> float:
        return 20.0 * (0.04 + y / 1000.0 / 0.77) / total

    for x in (0.0, 1.0, 333.3, 1000.0):
        for y in (0.0, 0.7, 123.4, 399.0, 400.0):
            assert solution.at(x, y) == pytest.approx(by_hand(y))
    inside = solution.temperature_c[(solution.y_mm >= 0.0) & (solution.y_mm <= 400.0)]
    assert solution.unknowns == inside.size == int(np.isfinite(solution.temperature_c).sum())


def test_heat_through_each_side_of_a_square_is_what_its_opposite_side_gives() -> None:
    """Four airs, two warm and two cold, face each other: by symmetry each warm one gives what each cold one takes."""
    airs = _hot_topped_square(20.0)
    turned = [replace(airs[0]), replace(airs[1], temperature_c=20.0), airs[2], airs[3]]
    heat = solve_section([SQUARE], [replace(a, surface_m2k_w=0.1) for a in turned]).heat_w_m
    top, bottom, left, right = (heat[f"side {k}"] for k in range(4))
    assert top == pytest.approx(bottom)
    assert left == pytest.approx(right)
    assert top == pytest.approx(-left)
    assert top > 0.0
