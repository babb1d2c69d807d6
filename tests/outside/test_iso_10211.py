"""EN ISO 10211 annex A, two-dimensional cases 1 and 2; values as printed in two published validations of software."""

from __future__ import annotations

import pytest

from estimator.junctions import Air, Block, Grid, SectionSolution, solve_section

FIXED = 1e-6  # surface resistance that stands for a given surface temperature
QUARTER_POINTS = [
    [9.7, 13.4, 14.7, 15.1],
    [5.3, 8.6, 10.3, 10.8],
    [3.2, 5.6, 7.0, 7.5],
    [2.0, 3.6, 4.7, 5.0],
    [1.3, 2.3, 3.0, 3.2],
    [0.7, 1.4, 1.8, 1.9],
    [0.3, 0.6, 0.8, 0.9],
]
SPOTS = {
    "A": (0, 47.5, 7.1),
    "B": (500, 47.5, 0.8),
    "C": (0, 41.5, 7.9),
    "D": (15, 41.5, 6.3),
    "E": (500, 41.5, 0.8),
    "F": (0, 36.5, 16.4),
    "G": (15, 36.5, 16.3),
    "H": (0, 0, 16.8),
    "I": (500, 0, 18.3),
}


def _air(name: str, box: tuple[float, float, float, float], temperature_c: float, surface_m2k_w: float) -> Air:
    left, right, bottom, top = box
    return Air(
        name=name,
        left=left,
        right=right,
        bottom=bottom,
        top=top,
        temperature_c=temperature_c,
        surface_m2k_w=surface_m2k_w,
    )


def _block(box: tuple[float, float, float, float], conductivity_w_mk: float) -> Block:
    left, right, bottom, top = box
    return Block(name="part", left=left, right=right, bottom=bottom, top=top, conductivity_w_mk=conductivity_w_mk)


def square_column(grid: Grid) -> SectionSolution:
    """Return case 1: half a column, 1 wide by 2 high: 20 deg C on top, 0 at the left and below."""
    return solve_section(
        [_block((0, 1000, 0, 2000), 1.0)],
        [
            _air("top", (0, 1000, 2000, 2001), 20, FIXED),
            _air("left", (-1, 0, 0, 2000), 0, FIXED),
            _air("bottom", (0, 1000, -1, 0), 0, FIXED),
        ],
        grid=grid,
    )


def layered_section(grid: Grid | None = None) -> SectionSolution:
    """Return case 2: concrete, wood, insulation and an aluminium profile."""
    blocks = [
        _block((0, 500, 1.5, 41.5), 0.029),
        _block((0, 500, 41.5, 47.5), 1.15),
        _block((0, 15, 36.5, 41.5), 0.12),
        _block((0, 15, 35, 36.5), 230),
        _block((0, 1.5, 1.5, 35), 230),
        _block((0, 500, 0, 1.5), 230),
    ]
    airs = [_air("above", (0, 500, 47.5, 48.5), 0, 0.06), _air("below", (0, 500, -1, 0), 20, 0.11)]
    return solve_section(blocks, airs, grid=grid)


def test_case_1_within_a_tenth_of_a_kelvin_at_every_quarter_point() -> None:
    solution = square_column(Grid(finest_mm=10, growth=1.5, coarsest_mm=60))
    for row, temperatures in enumerate(QUARTER_POINTS):
        for column, printed in enumerate(temperatures):
            found = solution.at(250 * (column + 1), 2000 - 250 * (row + 1))
            assert found == pytest.approx(printed, abs=0.1), (row, column)


@pytest.mark.parametrize("spot", SPOTS)
def test_case_2_within_a_tenth_of_a_kelvin_at_every_spot(spot: str) -> None:
    x, y, printed = SPOTS[spot]
    assert layered_section().at(x, y) == pytest.approx(printed, abs=0.1)


def test_case_2_within_a_tenth_of_a_watt_per_metre() -> None:
    heat = layered_section().heat_w_m
    assert heat["below"] == pytest.approx(9.5, abs=0.1)
    assert heat["above"] == pytest.approx(-9.5, abs=0.1)


@pytest.mark.parametrize("finest", [4.0, 2.0, 1.0])
def test_case_2_changes_by_under_a_hundredth_when_the_grid_is_halved(finest: float) -> None:
    coarse = layered_section(Grid(finest_mm=finest, growth=1.5, coarsest_mm=40)).heat_w_m["below"]
    fine = layered_section(Grid(finest_mm=finest / 2, growth=1.22, coarsest_mm=20)).heat_w_m["below"]
    assert fine == pytest.approx(coarse, rel=0.01)
