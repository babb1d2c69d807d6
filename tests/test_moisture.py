"""Moisture: the monthly screening against a second solver, regressions, and relations that must hold."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.climate import Climate, region_climate, saturation_pressure_pa
from estimator.layers import Layer, resistive_layer, sheet_layer, solid_layer, split_layer
from estimator.materials import Material
from estimator.moisture import (
    MoistureResult,
    needed_temperature_factor,
    screen_moisture,
    temperature_factor,
    vapour_path,
    vapour_profile,
)
from estimator.transmittance import thermal_transmittance
from tests.obstacle_moisture import yearly_water

SOUTH, NORTH = region_climate("thames"), region_climate("east_scotland")


def _plain(mm: float, conductivity: float, mu: float) -> Layer:
    return solid_layer(
        Material(key="m", name=f"layer {mm:g}", conductivity_w_mk=conductivity, vapour_factor=mu, source="test"), mm
    )


BRICK, PLASTER, BOARD = _plain(215, 0.77, 10), _plain(13, 0.57, 10), _plain(12.5, 0.25, 10)
GAP = resistive_layer("gap", 10, 0.15, sd_m=0.01)
PIR, EPS = _plain(40, 0.022, 60), _plain(40, 0.038, 30)
FOIL, PAINT, TILE = sheet_layer("foil_facing"), sheet_layer("outside_paint"), sheet_layer("outside_tile")

# Regressions: our own figures, not published ones. The examples of ISO 13788 annex C were not at hand.
CASES: dict[str, tuple[tuple[Layer, ...], Climate, float]] = {
    "bare": ((BRICK, PLASTER), SOUTH, 810),
    "pir": ((BRICK, PLASTER, GAP, PIR, BOARD), SOUTH, 810),
    "pir, foil inside": ((BRICK, PLASTER, GAP, PIR, FOIL, BOARD), SOUTH, 810),
    "pir, foil both faces": ((BRICK, PLASTER, GAP, FOIL, PIR, FOIL, BOARD), SOUTH, 810),
    "eps": ((BRICK, PLASTER, GAP, EPS, BOARD), SOUTH, 810),
    "eps, paint, humid": ((PAINT, BRICK, PLASTER, GAP, EPS, BOARD), NORTH, 1080),
    "pir, tile": ((TILE, BRICK, PLASTER, GAP, PIR, BOARD), NORTH, 810),
    "bare, very humid": ((BRICK, PLASTER), NORTH, 1350),
    "pir, paint": ((PAINT, BRICK, PLASTER, GAP, PIR, BOARD), NORTH, 810),
}


def _run(name: str) -> MoistureResult:
    layers, climate, excess = CASES[name]
    return screen_moisture(layers, climate=climate, excess_pa=excess)


@pytest.mark.parametrize("name", ["bare", "pir, foil inside", "pir, foil both faces"])
def test_these_walls_stay_dry(name: str) -> None:
    assert _run(name).verdict == "none"


@pytest.mark.parametrize(
    ("name", "start", "contents"),
    [
        ("pir", 11, [17.01, 30.11, 25.64, 0.0]),
        ("eps", 11, [43.39, 81.20, 90.63, 37.12, 0.0]),
        ("bare, very humid", 11, [319.5, 549.8, 614.6, 268.6, 0.0]),
        ("pir, paint", 10, [19.6, 72.5, 120.9, 155.0, 166.3, 138.1, 72.5, 0.0]),
    ],
)
def test_water_gathers_and_dries_as_it_did(name: str, start: int, contents: list[float]) -> None:
    """Regression values, agreed by two solvers to 0.01 g/m2."""
    result = _run(name)
    assert result.verdict == "dries"
    assert result.start_month == start
    wettest = max(result.planes, key=lambda plane: max(plane.content_g_m2))
    found = [wettest.content_g_m2[(start + k) % 12] for k in range(len(contents))]
    precision = 0.005 if name in {"pir", "eps"} else 0.05
    assert found == pytest.approx(contents, abs=precision + 1e-3)


def test_a_painted_wall_in_a_humid_home_does_not_dry_out() -> None:
    """Regression values: 775.9 g/m2 in April and 267.7 g/m2 left in September behind the lining, two wet planes."""
    result = _run("eps, paint, humid")
    assert result.verdict == "builds_up"
    assert len(result.planes) == 2
    behind = result.planes[1].content_g_m2
    assert behind[3] == pytest.approx(775.9, abs=0.06)
    assert behind[8] == pytest.approx(267.7, abs=0.06)


def test_a_tiled_wall_gathers_water_in_four_planes() -> None:
    """Regression value: 199.4 g/m2 behind the tiles at the end of September, still rising."""
    result = _run("pir, tile")
    assert result.verdict == "builds_up"
    assert len(result.planes) == 4
    assert result.planes[0].content_g_m2[8] == pytest.approx(199.4, abs=0.06)


def test_one_month_by_hand() -> None:
    """The wall with 40 mm PIR in January: (rise inside less rise outside of the string) x delta x time, by hand."""
    g = 2e-10 * ((1358.5 - 1011.5) / 2.535 - (1011.5 - 755.0) / 2.28) * 31 * 86400 * 1000
    change = _run("pir").planes[0].change_g_m2[0]
    assert change == pytest.approx(g, abs=0.05)


def _raw(layers: tuple[Layer, ...]) -> list[tuple[float, float]]:
    """Return layers as raw numbers, thin sheets joined to the next layer's outer face as a layer of no resistance."""
    return [(layer.resistance_m2k_w, layer.sd_m) for layer in layers]


@pytest.mark.parametrize("name", [n for n in CASES if n not in {"bare", "pir, foil inside", "pir, foil both faces"}])
def test_an_independent_solver_finds_the_same_water(name: str) -> None:
    layers, climate, excess = CASES[name]
    result = _run(name)
    assert result.start_month is not None
    other = yearly_water(_raw(layers), climate.temperature_c, climate.humidity, excess, result.start_month)
    totals = [sum(p.content_g_m2[(result.start_month + k) % 12] for p in result.planes) for k in range(12)]
    peaks = [max(p.content_g_m2[(result.start_month + k) % 12] for p in result.planes) for k in range(12)]
    assert totals == pytest.approx([sum(month) for month in other], abs=0.05)
    assert peaks == pytest.approx([max(month) for month in other], abs=0.05)


@st.composite
def lined_walls(draw: st.DrawFn) -> tuple[Layer, ...]:
    """Draw a wall of two to five plain layers."""
    return tuple(
        _plain(draw(st.floats(5, 250)), draw(st.floats(0.02, 2.0)), draw(st.floats(1, 100)))
        for _ in range(draw(st.integers(2, 5)))
    )


@settings(max_examples=12, deadline=None)
@given(layers=lined_walls(), excess=st.floats(300, 1300))
def test_an_independent_solver_agrees_on_drawn_walls(layers: tuple[Layer, ...], excess: float) -> None:
    result = screen_moisture(layers, climate=NORTH, excess_pa=excess)
    start = 9 if result.start_month is None else result.start_month
    other = yearly_water(_raw(layers), NORTH.temperature_c, NORTH.humidity, excess, start)
    totals = [sum(p.content_g_m2[(start + k) % 12] for p in result.planes) for k in range(12)]
    assert totals == pytest.approx([sum(month) for month in other], abs=0.05, rel=1e-4)


@given(layers=lined_walls(), excess=st.floats(300, 1300))
def test_a_month_changes_a_plane_by_what_its_content_says(layers: tuple[Layer, ...], excess: float) -> None:
    result = screen_moisture(layers, climate=NORTH, excess_pa=excess)
    for plane in result.planes:
        assert min(plane.content_g_m2) >= 0
        start = result.start_month or 0
        level = 0.0
        for k in range(12):
            month = (start + k) % 12
            level += plane.change_g_m2[month]
            assert level == pytest.approx(plane.content_g_m2[month], abs=1e-6)


@given(excess=st.floats(200, 1200), more=st.floats(1, 200), sheet=st.sampled_from([None, PAINT, TILE]))
def test_a_more_humid_home_never_gathers_less(excess: float, more: float, sheet: Layer | None) -> None:
    layers = (*([sheet] if sheet else []), BRICK, PLASTER, GAP, EPS, BOARD)
    drier = screen_moisture(layers, climate=NORTH, excess_pa=excess)
    wetter = screen_moisture(layers, climate=NORTH, excess_pa=excess + more)
    assert wetter.peak_g_m2 >= drier.peak_g_m2 - 1e-6


@given(mu=st.floats(1, 200), factor=st.floats(1.01, 5))
def test_a_tighter_insulation_never_lets_more_gather_behind_it(mu: float, factor: float) -> None:
    def peak(value: float) -> float:
        layers = (BRICK, PLASTER, GAP, _plain(40, 0.03, value), BOARD)
        return screen_moisture(layers, climate=SOUTH, excess_pa=810).peak_g_m2

    assert peak(mu * factor) <= peak(mu) + 1e-6


@given(count=st.integers(2, 4))
def test_slicing_thin_layers_changes_nothing(count: int) -> None:
    whole = _run("eps")
    sliced = (BRICK, *split_layer(PLASTER, count), GAP, EPS, *split_layer(BOARD, count))
    result = screen_moisture(sliced, climate=SOUTH, excess_pa=810)
    assert result.peak_g_m2 == pytest.approx(whole.peak_g_m2, abs=1e-6)


def test_warm_dry_weather_all_year_leaves_the_wall_dry() -> None:
    mild = replace(SOUTH, temperature_c=(18.0,) * 12, humidity=(0.5,) * 12)
    assert screen_moisture(CASES["eps"][0], climate=mild, excess_pa=810).verdict == "none"


def test_a_winter_that_never_ends_builds_up() -> None:
    cold = replace(NORTH, temperature_c=(-5.0,) * 12, humidity=(0.9,) * 12)
    result = screen_moisture(CASES["eps"][0], climate=cold, excess_pa=810)
    assert result.verdict == "builds_up"
    assert result.residual_g_m2 == pytest.approx(sum(p.content_g_m2[8] for p in result.planes))


@pytest.mark.parametrize(("extra", "expected"), [((), 0.578), ((GAP, PIR, BOARD), 0.904)], ids=["bare", "40 mm PIR"])
def test_surface_temperature_factors_of_plane_walls(extra: tuple[Layer, ...], expected: float) -> None:
    """Regression: fRsi = R / (R + 0.25), 0.578 bare and 0.904 with 40 mm PIR on 215 mm brick."""
    total = thermal_transmittance((BRICK, PLASTER, *extra)).total_m2k_w
    assert temperature_factor(total) == pytest.approx(expected, abs=0.0005)


def test_the_shortcut_with_the_transmittance_is_not_used() -> None:
    total = thermal_transmittance((BRICK, PLASTER)).total_m2k_w
    assert abs(temperature_factor(total) - (1 - 0.25 / total)) > 0.1


def test_the_factor_that_a_month_needs() -> None:
    """Regression: 0 deg C, 90 %, +810 Pa: pi 1359.5, 80 % at 14.95 deg C, factor 0.748."""
    month = replace(SOUTH, temperature_c=(0.0,) * 12, humidity=(0.9,) * 12)
    assert needed_temperature_factor(month, excess_pa=810, margin=1.0) == pytest.approx(0.748, abs=0.0005)
    surface = 0.748 * 20
    assert 0.9 * saturation_pressure_pa(0) + 810 == pytest.approx(0.8 * saturation_pressure_pa(surface), rel=0.002)


@pytest.mark.parametrize(("margin", "expected"), [(1.0, 0.667), (1.1, 0.712)])
def test_the_factor_that_a_year_in_the_south_needs(margin: float, expected: float) -> None:
    """Regression: SAP table U1, Thames, 810 Pa, December."""
    assert needed_temperature_factor(SOUTH, excess_pa=810, margin=margin) == pytest.approx(expected, abs=0.0005)


@given(layers=lined_walls(), excess=st.floats(300, 1300), month=st.integers(0, 11))
def test_the_profile_never_rises_above_saturation(layers: tuple[Layer, ...], excess: float, month: int) -> None:
    profile = vapour_profile(layers, climate=NORTH, excess_pa=excess, month=month)
    inner = list(zip(profile.pressure_pa, profile.saturation_pa, strict=True))[1:-1]
    assert all(pressure <= saturation * (1 + 1e-9) for pressure, saturation in inner)
    assert list(profile.temperature_c) == sorted(profile.temperature_c)
    assert len(profile.names) == len(profile.depth_mm) == len(profile.pressure_pa)


def test_the_profile_touches_saturation_where_water_gathers() -> None:
    layers, climate, excess = CASES["pir"]
    profile = vapour_profile(layers, climate=climate, excess_pa=excess, month=11)
    touching = [
        name
        for name, p, s in zip(profile.names[1:-1], profile.pressure_pa[1:-1], profile.saturation_pa[1:-1], strict=True)
        if p == pytest.approx(s)
    ]
    assert touching == [plane.name for plane in screen_moisture(layers, climate=climate, excess_pa=excess).planes]


def test_the_profile_runs_from_the_weather_to_the_room_in_proportion_to_resistance() -> None:
    layers, climate, excess = CASES["pir"]
    profile = vapour_profile(layers, climate=climate, excess_pa=excess, month=0)
    path = vapour_path(layers)
    outside = climate.temperature_c[0]
    by_hand = [outside + (20.0 - outside) * r / path.total_m2k_w for r in path.r_m2k_w]
    assert list(profile.temperature_c) == pytest.approx(by_hand)
    assert profile.temperature_c[0] > outside  # the outer face is a little warmer than the air
    assert profile.temperature_c[-1] < 20.0


def test_vapour_starts_at_the_outer_face_and_the_planes_lie_where_the_layers_meet() -> None:
    path = vapour_path((BRICK, PLASTER))
    assert path.s_m[0] == 0.0
    assert path.s_m[-1] == pytest.approx(BRICK.sd_m + PLASTER.sd_m)
    assert path.depths_mm[-1] == pytest.approx(BRICK.thickness_mm + PLASTER.thickness_mm)


def test_the_year_is_counted_from_the_first_wet_month_after_a_dry_one() -> None:
    """A climate with one cold month, January: the year starts there, whatever came before."""
    layers, climate, excess = CASES["pir"]
    mild = replace(climate, temperature_c=(-5.0, *(18.0,) * 11), humidity=(0.9, *(0.5,) * 11))
    result = screen_moisture(layers, climate=mild, excess_pa=excess)
    assert result.start_month == 0
    two = replace(climate, temperature_c=(-5.0, *(18.0,) * 10, -5.0), humidity=(0.9, *(0.5,) * 10, 0.9))
    assert screen_moisture(layers, climate=two, excess_pa=excess).start_month == 11


def test_a_month_as_warm_as_the_room_needs_no_temperature_factor() -> None:
    warm = replace(SOUTH, temperature_c=(19.5,) * 12, humidity=(0.6,) * 12)
    assert needed_temperature_factor(warm, excess_pa=810, margin=1.1) == 0.0


def test_a_warm_month_first_does_not_hide_the_cold_ones_after_it() -> None:
    cold = replace(SOUTH, temperature_c=(0.0,) * 12, humidity=(0.9,) * 12)
    mixed = replace(SOUTH, temperature_c=(19.5, *(0.0,) * 11), humidity=(0.9,) * 12)
    assert needed_temperature_factor(mixed, excess_pa=810, margin=1.0) == pytest.approx(
        needed_temperature_factor(cold, excess_pa=810, margin=1.0)
    )


@pytest.mark.parametrize(("resistance", "steps"), [(0.0, 1), (0.25, 1), (0.2501, 2), (0.5, 2), (1.1, 5)])
def test_no_step_of_the_path_is_above_a_quarter_and_there_are_no_more_than_that_takes(
    resistance: float, steps: int
) -> None:
    layer = resistive_layer("x", 40, resistance, sd_m=2.0)
    path = vapour_path((layer, BOARD), inside_m2k_w=0.2, outside_m2k_w=0.1)
    assert len(path.r_m2k_w) == 1 + steps + 1
    assert path.r_m2k_w[0] == 0.1
    assert path.r_m2k_w[steps] == pytest.approx(0.1 + resistance)
    assert path.total_m2k_w == pytest.approx(path.r_m2k_w[-1] + 0.2)
    assert path.s_m[: steps + 1] == pytest.approx([2.0 * k / steps for k in range(steps + 1)])
    assert path.depths_mm[: steps + 1] == pytest.approx([40.0 * k / steps for k in range(steps + 1)])
    assert path.names == ("outer face", *["in x"] * (steps - 1), "x / layer 12.5", "layer 12.5 / room")


def test_the_first_autumn_month_that_wets_the_wall_begins_the_year() -> None:
    """Two cold spells, from October and from March: October comes first, wherever the calendar begins."""
    layers, climate, excess = CASES["pir"]
    cold = {2, 9}
    spells = replace(
        climate, temperature_c=tuple(-5.0 if m in cold else 18.0 for m in range(12)),
        humidity=tuple(0.9 if m in cold else 0.5 for m in range(12)),
    )  # fmt: skip
    assert screen_moisture(layers, climate=spells, excess_pa=excess).start_month == 9
    only = replace(climate, temperature_c=tuple(-5.0 if m == 2 else 18.0 for m in range(12)), humidity=spells.humidity)
    assert screen_moisture(layers, climate=only, excess_pa=excess).start_month == 2


def test_the_factor_needed_has_a_tenth_of_margin_on_the_excess_unless_another_is_said() -> None:
    usual = needed_temperature_factor(SOUTH, excess_pa=810)
    assert usual == needed_temperature_factor(SOUTH, excess_pa=810, margin=1.1)
    assert usual == pytest.approx(needed_temperature_factor(SOUTH, excess_pa=891, margin=1.0))
    nearly = replace(SOUTH, temperature_c=(19.0,) * 12, humidity=(0.95,) * 12)
    assert needed_temperature_factor(nearly, excess_pa=810) == 0.0
    assert needed_temperature_factor(replace(nearly, temperature_c=(18.9,) * 12), excess_pa=810) > 0.0


def test_a_dry_wall_has_no_month_no_planes_and_no_water() -> None:
    dry = _run("bare")
    assert (dry.start_month, dry.planes, dry.peak_g_m2, dry.residual_g_m2, dry.excess_pa) == (None, (), 0.0, 0.0, 810)
    wet = _run("eps, paint, humid")
    assert wet.excess_pa == 1080
    assert wet.peak_g_m2 == pytest.approx(max(max(plane.content_g_m2) for plane in wet.planes))
    last = ((wet.start_month or 0) + 11) % 12
    assert wet.residual_g_m2 == pytest.approx(sum(plane.content_g_m2[last] for plane in wet.planes))
    assert [plane.depth_mm for plane in wet.planes] == sorted(plane.depth_mm for plane in wet.planes)
