"""Junctions of a lined wall: plane parts, halves, grids, time, and which way things move."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest

from estimator.existing_walls import existing_wall
from estimator.junction_models import (
    Section,
    corner_section,
    coupling_w_mk,
    floor_section,
    half_of,
    partition_section,
    plane_u,
    reveal_section,
    solve_junction,
)
from estimator.junctions import Grid, solve_section
from estimator.layers import solid_layer
from estimator.linings import make_lining

WALL = existing_wall("solid_brick").layers
LINING = make_lining("phenolic", 60.0)
PLASTER = solid_layer("gypsum_plaster_dense", 13)
PARTY = (PLASTER, solid_layer("brick_inner", 215), PLASTER)
REVEAL = make_lining("phenolic", 20.0, fixing="full_bed").inside
FINER = Grid(finest_mm=2.5, growth=1.34, coarsest_mm=75)


def _reveal(**changes: object) -> Section:
    given = {"outer_reveal_mm": 30.0, "frame_mm": 70.0, "visible_frame_mm": 60.0, "reveal": REVEAL} | changes
    return reveal_section(WALL, LINING, **given)  # type: ignore[arg-type]


SECTIONS = {
    "party wall, one side": partition_section(WALL, LINING, partition=PARTY, return_mm=300),
    "party wall, both sides": half_of(partition_section(WALL, LINING, partition=PARTY, return_mm=300, both_sides=True)),
    "floor, open void": floor_section(WALL, LINING, through=False),
    "floor, closed void": floor_section(WALL, LINING, through=True),
    "outer corner, one wall lined": corner_section(WALL, LINING, other_lined=False),
    "outer corner, both lined": corner_section(WALL, LINING, other_lined=True),
    "reveal, lined": _reveal(),
    "reveal, plain": _reveal(reveal=None),
}


@pytest.mark.parametrize("name", SECTIONS)
def test_halving_the_grid_changes_the_heat_flow_by_under_a_hundredth(name: str) -> None:
    section = SECTIONS[name]
    coarse = coupling_w_mk(solve_section(section.blocks, section.airs))
    fine = coupling_w_mk(solve_section(section.blocks, section.airs, grid=FINER))
    assert coarse == pytest.approx(fine, rel=0.01)


@pytest.mark.parametrize("name", SECTIONS)
def test_halving_the_grid_moves_the_temperature_factor_by_under_a_hundredth(name: str) -> None:
    coarse = solve_junction(SECTIONS[name], name=name, variant_mm=0)
    fine = solve_junction(SECTIONS[name], name=name, variant_mm=0, grid=FINER)
    assert coarse.f_rsi == pytest.approx(fine.f_rsi, abs=0.01)


@pytest.mark.parametrize("name", SECTIONS)
def test_a_junction_takes_under_a_second(name: str) -> None:
    solve_junction(SECTIONS[name], name=name, variant_mm=0)
    start = time.process_time()
    solve_junction(SECTIONS[name], name=name, variant_mm=0)
    assert time.process_time() - start < 1.0


def test_a_partition_of_the_walls_own_air_leaves_no_thermal_bridge() -> None:
    """A partition without thickness is no junction: psi is nothing but the wall's own."""
    thin = (replace(PLASTER, thickness_mm=0.002, parts=(replace(PLASTER.parts[0], resistance_m2k_w=0.1),)),)
    result = solve_junction(partition_section(WALL, LINING, partition=thin, both_sides=True), name="none", variant_mm=0)
    assert result.psi_w_mk == pytest.approx(0, abs=2e-3)


def test_half_a_mirrored_junction_is_half_of_it() -> None:
    whole = partition_section(WALL, LINING, partition=PARTY, return_mm=200, both_sides=True)
    full, half = (solve_junction(s, name="x", variant_mm=200) for s in (whole, half_of(whole)))
    assert half.psi_w_mk == pytest.approx(full.psi_w_mk, abs=1e-3)
    assert half.f_rsi == pytest.approx(full.f_rsi, abs=1e-3)
    assert full.f_rsi_next_room == pytest.approx(full.f_rsi, abs=1e-6)


def test_a_longer_return_never_loses_more() -> None:
    psi = [
        solve_junction(
            half_of(partition_section(WALL, LINING, partition=PARTY, return_mm=mm, both_sides=True)),
            name="party wall",
            variant_mm=mm,
        ).psi_w_mk
        for mm in (0.0, 150.0, 300.0, 600.0, 1000.0)
    ]
    assert psi == sorted(psi, reverse=True)


def test_lining_one_side_makes_the_bare_corner_beyond_colder() -> None:
    bare = solve_junction(partition_section(WALL, None, partition=PARTY), name="x", variant_mm=0)
    lined = solve_junction(partition_section(WALL, LINING, partition=PARTY), name="x", variant_mm=0)
    assert lined.f_rsi_next_room is not None
    assert lined.f_rsi_next_room < bare.f_rsi
    assert lined.f_rsi > bare.f_rsi


def test_a_plain_reveal_gets_colder_when_the_wall_is_lined_and_a_board_mends_it() -> None:
    before = solve_junction(
        reveal_section(WALL, None, outer_reveal_mm=30, frame_mm=70, visible_frame_mm=60, reveal=None),
        name="jamb",
        variant_mm=0,
    )
    plain = solve_junction(SECTIONS["reveal, plain"], name="jamb", variant_mm=0)
    lined = solve_junction(SECTIONS["reveal, lined"], name="jamb", variant_mm=20)
    assert plain.f_rsi < before.f_rsi < lined.f_rsi
    assert plain.f_rsi_away is not None and lined.f_rsi_away is not None
    assert lined.f_rsi_away > plain.f_rsi_away + 0.15
    assert lined.psi_w_mk < plain.psi_w_mk


def test_insulation_through_the_joist_void_warms_the_edge() -> None:
    open_void = solve_junction(SECTIONS["floor, open void"], name="floor", variant_mm=0)
    closed = solve_junction(SECTIONS["floor, closed void"], name="floor", variant_mm=1)
    assert closed.f_rsi > open_void.f_rsi
    assert closed.psi_w_mk < open_void.psi_w_mk


def test_far_from_the_junction_the_wall_is_plane() -> None:
    section = SECTIONS["reveal, lined"]
    solution = solve_section(section.blocks, section.airs)
    left, face = float(solution.x_mm[0]), 228.0 + LINING.build_up_mm
    expected = 20 - 20 * 0.13 * plane_u(WALL, LINING)
    assert solution.at(left, face) == pytest.approx(expected, abs=0.02)


def test_an_outer_corner_is_colder_than_the_wall_and_lining_both_walls_warms_it() -> None:
    bare, one, both = (
        solve_junction(corner_section(WALL, on, other_lined=other), name="corner", variant_mm=0)
        for on, other in ((None, False), (LINING, False), (LINING, True))
    )
    plane = 1 / plane_u(WALL, None) - 0.13
    assert bare.f_rsi < plane / (plane + 0.25)
    assert both.f_rsi > one.f_rsi > bare.f_rsi - 0.02
    assert both.f_rsi > 0.75 > one.f_rsi


def test_an_outer_corner_by_inside_sizes_costs_a_little_and_less_when_lined() -> None:
    """By inside dimensions an outer corner adds heat: there is more outside than inside."""
    bare, both = (
        solve_junction(corner_section(WALL, on, other_lined=True), name="corner", variant_mm=0) for on in (None, LINING)
    )
    assert 0 < both.psi_w_mk < bare.psi_w_mk


def test_a_symmetric_outer_corner_is_the_same_from_either_wall() -> None:
    section = corner_section(WALL, LINING, other_lined=True)
    solution = solve_section(section.blocks, section.airs)
    for x, y in ((100.0, 600.0), (250.0, 900.0), (310.5, 700.0)):
        assert solution.at(x, y) == pytest.approx(solution.at(y, x), abs=1e-6)
