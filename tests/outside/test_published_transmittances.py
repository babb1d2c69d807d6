"""Published transmittances and air layers, each at the precision that its source prints."""

from __future__ import annotations

import pytest

from estimator.layers import Layer, air_resistance, resistive_layer, solid_layer
from estimator.materials import Material, surface_resistance
from estimator.transmittance import thermal_transmittance, upgraded_u

CAVITY = resistive_layer("cavity", 50, 0.18)  # tabulated, EN ISO 6946 table 8 (table 2 of the 2007 edition)


def _material(conductivity: float, name: str = "material") -> Material:
    return Material(key=name, name=name, conductivity_w_mk=conductivity, vapour_factor=1, source="the example's own")


def _layer(
    mm: float, conductivity: float, *, bridge: float | None = None, share: float = 0.0, name: str = "m"
) -> Layer:
    other = None if bridge is None else _material(bridge, "bridge")
    return solid_layer(_material(conductivity, name), mm, bridge=other, bridge_share=share)


def test_timber_frame_with_brick_as_the_scottish_handbook_works_it() -> None:
    """Scottish Government Building Standards, worked example 6.B.2: upper 3.435, lower 3.304, U 0.297."""
    wall = [
        _layer(102, 0.77),
        CAVITY,
        _layer(9, 0.13),
        _layer(140, 0.040, bridge=0.12, share=0.15),
        _layer(12.5, 0.21),
    ]
    result = thermal_transmittance(wall)
    assert round(result.upper_m2k_w, 3) == 3.435
    assert result.lower_m2k_w == pytest.approx(3.304, abs=0.0006)  # exact sums give 3.3035: printed from rounded layers
    assert round(result.u_w_m2k, 3) == 0.297


def test_aircrete_cavity_wall_with_two_bridged_layers_as_the_scottish_handbook_works_it() -> None:
    """Scottish Government Building Standards, worked example 6.B.3: 3.617, 3.136, U 0.30; its layers are rounded."""
    wall = [
        _layer(102, 0.77),
        CAVITY,
        _layer(125, 0.11, bridge=0.88, share=0.067, name="aircrete"),
        _layer(89, 0.038, bridge=0.13, share=0.118, name="wool"),
        _layer(12.5, 0.21),
    ]
    result = thermal_transmittance(wall)
    assert result.upper_m2k_w == pytest.approx(3.617, abs=0.002)
    assert result.lower_m2k_w == pytest.approx(3.136, abs=0.002)
    assert round(result.u_w_m2k, 2) == 0.30


@pytest.mark.parametrize(
    ("wall", "printed"),
    [
        ([solid_layer("brick_outer", 220), solid_layer("gypsum_plaster_dense", 13)], 2.09),
        (
            [
                solid_layer("brick_outer", 105),
                CAVITY,
                solid_layer("brick_inner", 105),
                solid_layer("gypsum_plaster_dense", 13),
            ],
            1.44,
        ),
    ],
    ids=["220 brick, plaster", "105 brick, 50 cavity, 105 brick, plaster"],
)
def test_walls_of_the_cibse_tables(wall: list[Layer], printed: float) -> None:
    """CIBSE Guide A tables 3.49 and 3.50, as quoted in Historic Scotland Technical Paper 10, p. 38."""
    assert round(thermal_transmittance(wall).u_w_m2k, 2) == printed


def test_battened_wall_of_the_cibse_tables_with_a_tenth_of_battens() -> None:
    """Same source: 220 brick, 50 airspace and battens, 12.5 board: 1.41. Assumed here: 10 % battens of 0.13 W/mK."""
    gap = resistive_layer("airspace", 50, 0.18, bridge="softwood", bridge_share=0.10)
    wall = [solid_layer("brick_outer", 220), gap, solid_layer("plasterboard_light", 12.5)]
    assert round(thermal_transmittance(wall).u_w_m2k, 2) == 1.41


def test_rendered_cavityless_wall_of_the_published_tables() -> None:
    """Regression: published wall tables print 1.85 for this wall from rounded layers; the exact sum gives 1.84."""
    wall = [_layer(18, 0.50), _layer(102, 0.77), _layer(102, 0.56), _layer(13, 0.57)]
    assert thermal_transmittance(wall).u_w_m2k == pytest.approx(1.84, abs=0.005)


def test_a_known_wall_with_a_board_of_known_resistance() -> None:
    """Common practice, no source: a board of R 1.8 m2K/W on a wall of R 0.47 m2K/W gives 0.44 W/m2K."""
    assert round(upgraded_u(1 / 0.47, 1.8), 2) == 0.44


def test_upgrading_a_known_transmittance_is_rdsap_s1_1_2() -> None:
    """RdSAP 2012 appendix S, clause S1.1.2: 1 / (1/U + R)."""
    assert upgraded_u(2.1, 1.5) == pytest.approx(1 / (1 / 2.1 + 1.5))


@pytest.mark.parametrize(("mm", "printed"), [(5, 0.11), (7, 0.13), (10, 0.15), (15, 0.17), (25, 0.18), (300, 0.18)])
def test_unventilated_air_layers_of_the_standard(mm: float, printed: float) -> None:
    """EN ISO 6946:2017 table 8 (horizontal heat flow), from memory; the formula is annex D."""
    assert round(air_resistance(mm), 2) == printed


@pytest.mark.parametrize(
    ("key", "printed"), [("inside_horizontal", 0.13), ("inside_up", 0.10), ("inside_down", 0.17), ("outside", 0.04)]
)
def test_surface_resistances_of_the_standard(key: str, printed: float) -> None:
    """EN ISO 6946:2017 table 7, as quoted from BR 443 table A1."""
    assert surface_resistance(key) == printed
