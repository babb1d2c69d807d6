"""Linings: build-ups, thicknesses, the gap behind, and a thicker one never worse."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.existing_walls import existing_wall
from estimator.layers import air_layer, resistive_layer, solid_layer
from estimator.linings import lining_keys, make_lining, thicknesses_mm
from estimator.tables import read_table
from estimator.transmittance import thermal_transmittance
from vision.findings import PerpendError

WALLS = {key: existing_wall(key).layers for key in read_table("existing_walls").rows}
FIXINGS = tuple(read_table("fixings").rows)
INSIDE = tuple(k for k in lining_keys() if k != "external")


@given(
    key=st.sampled_from(lining_keys()),
    wall=st.sampled_from(sorted(WALLS)),
    mm=st.floats(0, 300),
    more=st.floats(0.1, 100),
    board=st.sampled_from([9.5, 12.5, 15.0]),
    fixing=st.sampled_from(FIXINGS),
    gap_counts=st.booleans(),
)
def test_a_thicker_insulation_is_never_worse(
    key: str, wall: str, mm: float, more: float, board: float, fixing: str, gap_counts: bool
) -> None:
    def u(thickness: float) -> float:
        lining = make_lining(key, thickness, board_mm=board, fixing=fixing)
        return thermal_transmittance(lining.onto(WALLS[wall], gap_counts=gap_counts)).u_w_m2k

    assert u(mm + more) <= u(mm) + 1e-12


@given(key=st.sampled_from(INSIDE), wall=st.sampled_from(sorted(WALLS)), mm=st.floats(1, 150))
def test_a_lining_never_makes_a_wall_lose_more_and_the_gap_only_helps(key: str, wall: str, mm: float) -> None:
    lining = make_lining(key, mm)
    bare = thermal_transmittance(WALLS[wall]).u_w_m2k
    with_gap = thermal_transmittance(lining.onto(WALLS[wall])).u_w_m2k
    without = thermal_transmittance(lining.onto(WALLS[wall], gap_counts=False)).u_w_m2k
    assert with_gap <= without < bare


@given(fixing=st.sampled_from(FIXINGS), board=st.sampled_from([9.5, 12.5, 15.0, 19.0]), total=st.floats(210.0, 250.0))
def test_forty_millimetres_of_pir_on_nine_inch_brick_never_meets_0_30(fixing: str, board: float, total: float) -> None:
    wall = existing_wall("solid_brick").layers
    thin = solid_layer("brick_outer", total - 13)
    for layers in (wall, (thin, wall[-1])):
        lining = make_lining("pir", 40.0, board_mm=board, fixing=fixing)
        assert thermal_transmittance(lining.onto(layers)).u_w_m2k > 0.30


# Regressions: our own figures for laminates on 215 brick .77 + 13 plaster .57 with a 10 mm gap of 0.15 and board .25.
TABLE = {
    25: (0.553, 0.570, 0.603, 0.520, 0.664, 0.752),
    40: (0.402, 0.410, 0.427, 0.374, 0.499, 0.580),
    50: (0.340, 0.346, 0.358, 0.315, 0.428, 0.503),
    60: (0.294, 0.299, 0.308, 0.272, 0.374, 0.444),
    80: (0.232, 0.235, 0.240, 0.214, 0.300, 0.360),
}


@pytest.mark.parametrize("mm", TABLE)
def test_laminates_on_solid_brick(mm: int) -> None:
    wall = WALLS["solid_brick"]
    board = solid_layer("plasterboard", 12.5)
    still = resistive_layer("gap", 10, 0.15)
    dabs = resistive_layer("gap", 10, 0.15, bridge="gypsum_adhesive", bridge_share=0.2)
    found = (
        thermal_transmittance([*wall, still, solid_layer("pir", mm), board]).u_w_m2k,
        thermal_transmittance([*wall, dabs, solid_layer("pir", mm), board]).u_w_m2k,
        thermal_transmittance([*wall, solid_layer("pir", mm), board]).u_w_m2k,
        thermal_transmittance([*wall, still, solid_layer("phenolic", mm), board]).u_w_m2k,
        thermal_transmittance([*wall, still, solid_layer("eps_grey", mm), board]).u_w_m2k,
        thermal_transmittance([*wall, still, solid_layer("eps_white", mm), board]).u_w_m2k,
    )
    assert found == pytest.approx(TABLE[mm], abs=0.00061)


def test_the_build_up_counts_the_gap_the_insulation_and_the_board() -> None:
    assert make_lining("phenolic", 60.0).build_up_mm == 82.5
    assert make_lining("phenolic", 60.0, fixing="battens").build_up_mm == 97.5
    assert make_lining("studs_mineral_wool", 50.0).build_up_mm == 87.5
    assert make_lining("external", 90.0).build_up_mm == 0


def test_a_lining_that_needs_its_own_bed_takes_it() -> None:
    assert make_lining("wood_fibre", 60.0, fixing="adhesive_dabs").fixing == "full_bed"


def test_external_insulation_lies_outside() -> None:
    lining = make_lining("external", 90.0)
    stack = lining.onto(WALLS["solid_brick"])
    assert stack[: len(lining.outside)] == lining.outside
    assert stack[len(lining.outside) :] == WALLS["solid_brick"]


def test_foil_is_worth_two_still_gaps_and_little_more() -> None:
    lining = make_lining("reflective_foil", 10.0)
    shiny = air_layer(25, emissivity_2=0.05, bridge="softwood", bridge_share=0.1)
    resistance = sum(layer.resistance_m2k_w for layer in lining.inside)
    assert resistance == pytest.approx(2 * shiny.resistance_m2k_w + 0.5 + 0.0125 / 0.25)


@pytest.mark.parametrize("key", [k for k in INSIDE if make_lining(k, 60.0).faced is not None])
def test_a_facing_adds_vapour_resistance_and_nothing_else(key: str) -> None:
    lining = make_lining(key, 60.0)
    assert lining.faced is not None
    bare = [layer for layer in lining.faced if layer.thickness_mm > 0]
    assert sum(layer.resistance_m2k_w for layer in bare) == pytest.approx(
        sum(layer.resistance_m2k_w for layer in lining.inside)
    )
    assert sum(layer.sd_m for layer in lining.faced) >= 50


@pytest.mark.parametrize("key", lining_keys())
def test_thicknesses_on_sale_run_from_thin_to_thick(key: str) -> None:
    sizes = thicknesses_mm(key)
    assert list(sizes) == sorted(set(sizes))
    assert all(make_lining(key, mm).on_sale for mm in sizes)
    assert not make_lining(key, 47.5).on_sale


def test_a_lining_nobody_knows_is_refused_with_the_known_ones() -> None:
    with pytest.raises(PerpendError, match=r"no row 'straw'\. Choose one of: eps_grey"):
        make_lining("straw", 50.0)


def test_a_thickness_below_nothing_is_refused() -> None:
    with pytest.raises(PerpendError, match="cannot be below 0"):
        make_lining("pir", -1.0)
