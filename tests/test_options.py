"""Linings side by side on one wall."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.existing_walls import existing_wall
from estimator.heat_records import WallHeat
from estimator.inputs import Design, Room, Site
from estimator.lined_wall import inside_surface_c, least_thickness_mm, lined_transmittance
from estimator.linings import lining_keys, make_lining, thicknesses_mm
from estimator.options import compare_options
from estimator.tables import read_table
from tests.heat_cases import SOLID, UNSURE, Judged, wall_case
from vision.findings import PerpendError
from vision.walls import Measured

ROOM = Room(id="back", floor_area_m2=12.0, walls=("north",))


def _heat(*, construction: Judged | None = SOLID, design: Design | None = None, **case: object) -> WallHeat:
    return compare_options(
        wall_case(**case),  # type: ignore[arg-type]
        construction=construction,
        room=ROOM,
        design=design or Design(),
    )


HEAT = _heat()


def _codes(heat: WallHeat) -> set[str]:
    return {f.code for f in heat.findings}


def test_every_thickness_on_sale_of_every_lining_is_compared() -> None:
    assert {(o.insulation, o.insulation_mm) for o in HEAT.options} == {
        (key, mm) for key in lining_keys() for mm in thicknesses_mm(key)
    }


def test_the_families_that_people_choose_from_are_all_there() -> None:
    assert {o.family for o in HEAT.options} == {"laminate", "studs", "foil", "external"}
    assert sum(o.family == "external" for o in HEAT.options) == 1


@settings(max_examples=12, deadline=None)
@given(
    region=st.sampled_from(sorted(read_table("regions").rows)),
    heating=st.sampled_from(sorted(read_table("heating").rows)),
    zone=st.sampled_from([None, 1, 2, 3, 4]),
    thickness=st.one_of(st.none(), st.floats(215, 255)),
    fixing=st.sampled_from(sorted(read_table("fixings").rows)),
)
def test_forty_millimetres_of_pir_on_nine_inch_brick_is_always_said_not_to_meet_0_30(
    region: str, heating: str, zone: int | None, thickness: float | None, fixing: str
) -> None:
    design = Design(insulation="pir", insulation_mm=40, fixing=fixing)
    heat = _heat(
        design=design,
        site=Site(region=region, heating=heating, exposure_zone=zone),
        thickness_mm=thickness,
        openings=thickness is not None,
    )
    assert not heat.chosen.meets_target
    assert heat.chosen.target_words == "does not meet 0.30"
    assert "H110" in _codes(heat)
    (row,) = [o for o in heat.options if (o.insulation, o.insulation_mm) == ("pir", 40)]
    assert row.target_words == "does not meet 0.30"


def test_sixty_millimetres_of_pir_meets_0_30_only_if_the_gap_counts() -> None:
    chosen = _heat(design=Design(insulation="pir", insulation_mm=60)).chosen
    assert chosen.u_from_calculated == pytest.approx(0.299, abs=0.0006)
    assert chosen.u_without_gap == pytest.approx(0.308, abs=0.0006)
    assert chosen.target_words == "meets 0.30 only if the gap behind counts"
    assert not chosen.meets_target


@pytest.mark.parametrize("key", lining_keys())
def test_thicker_is_never_worse_in_transmittance_surface_or_saving(key: str) -> None:
    rows = [o for o in HEAT.options if o.insulation == key]
    for thin, thick in pairwise(rows):
        assert thick.u_from_calculated < thin.u_from_calculated
        assert thick.u_from_measured < thin.u_from_measured
        assert thick.f_rsi > thin.f_rsi
        assert thick.surface_cold_night_c > thin.surface_cold_night_c
        assert thin.saving_kwh is not None and thick.saving_kwh is not None
        assert thick.saving_kwh.low > thin.saving_kwh.low


@given(
    key=st.sampled_from(lining_keys()),
    fixing=st.sampled_from(sorted(read_table("fixings").rows)),
    mm=st.floats(1, 200),
    more=st.floats(0.05, 20),
    gap_counts=st.booleans(),
)
def test_thicker_is_never_worse_with_the_fixings_counted(
    key: str, fixing: str, mm: float, more: float, gap_counts: bool
) -> None:
    wall = existing_wall("solid_brick")

    def u(thickness: float) -> float:
        return lined_transmittance(wall, make_lining(key, thickness, fixing=fixing), gap_counts=gap_counts).u_w_m2k

    assert u(mm + more) <= u(mm) + 1e-12


def test_two_pins_a_board_are_left_out_and_five_count_in_pir() -> None:
    """Regression: EN ISO 6946 annex F; 3.67 % for five steel pins of 4.5 mm in 40 mm of PIR, 1.47 % for two."""
    wall = existing_wall("solid_brick")
    two = lined_transmittance(wall, make_lining("pir", 40.0, fixing="adhesive_dabs"))
    five = lined_transmittance(wall, make_lining("pir", 40.0, fixing="foam_adhesive"))
    assert not two.corrections_applied
    assert five.corrections_applied
    assert five.fixing_correction_w_m2k * five.total_m2k_w == pytest.approx(0.0367, abs=0.0005)


def test_each_transmittance_lies_in_its_range() -> None:
    for option in HEAT.options:
        assert option.u_low <= min(option.u_from_calculated, option.u_from_measured)
        assert option.u_high >= max(option.u_from_calculated, option.u_without_gap) - 1e-12


def test_both_starting_values_carry_through() -> None:
    assert HEAT.u_existing_calculated.value > HEAT.u_existing_measured.value
    assert HEAT.chosen.u_from_calculated > HEAT.chosen.u_from_measured
    assert HEAT.f_rsi_before_measured > HEAT.f_rsi_before
    assert HEAT.chosen.f_rsi_from_measured > HEAT.chosen.f_rsi
    assert HEAT.surface_before_measured_c > HEAT.surface_before_c
    assert HEAT.surface_after_measured_c > HEAT.surface_after_c
    assert HEAT.chosen.u_from_measured == pytest.approx(
        1 / (1 / 1.4 + 1 / HEAT.chosen.u_from_calculated - 1 / HEAT.u_existing_calculated.value)
    )


def test_the_front_is_what_nothing_beats() -> None:
    inside = [o for o in HEAT.options if o.family != "external"]
    for option in inside:
        beaten = any(
            o.build_up_mm <= option.build_up_mm
            and o.u_from_calculated <= option.u_from_calculated
            and (o.build_up_mm < option.build_up_mm or o.u_from_calculated < option.u_from_calculated)
            for o in inside
        )
        assert option.on_front is not beaten
    front = sorted((o for o in inside if o.on_front), key=lambda o: o.build_up_mm)
    values = [o.u_from_calculated for o in front]
    assert values == sorted(values, reverse=True)


def test_external_insulation_takes_no_floor_and_says_what_it_takes_instead() -> None:
    (row,) = [o for o in HEAT.options if o.family == "external"]
    assert row.build_up_mm == 0
    assert row.floor_area_m2 == 0
    assert row.moisture == "none"
    assert any("planning" in note for note in row.notes)
    assert not row.on_front


def test_floor_lost_is_length_times_depth_for_one_wall() -> None:
    assert HEAT.chosen.floor_area_m2 == pytest.approx(4.0 * 0.0725)
    assert HEAT.chosen.floor_share == pytest.approx(4.0 * 0.0725 / 12)


def test_a_thickness_not_on_sale_is_computed_with_a_finding() -> None:
    heat = _heat(design=Design(insulation="phenolic", insulation_mm=47.5))
    assert heat.chosen.insulation_mm == 47.5
    assert not heat.chosen.on_sale
    assert "H105" in _codes(heat)
    fifty = next(o for o in heat.options if (o.insulation, o.insulation_mm) == ("phenolic", 50))
    forty = next(o for o in heat.options if (o.insulation, o.insulation_mm) == ("phenolic", 40))
    assert fifty.u_from_calculated < heat.chosen.u_from_calculated < forty.u_from_calculated


def test_the_least_thickness_on_sale_meets_the_target_and_the_next_thinner_does_not() -> None:
    for key, mm in HEAT.least_thickness_mm.items():
        rows = [o for o in HEAT.options if o.insulation == key]
        if mm is None:
            assert not any(o.meets_target for o in rows)
        else:
            assert all(o.meets_target == (o.insulation_mm >= mm) for o in rows)


@given(key=st.sampled_from([k for k in lining_keys() if k != "reflective_foil"]), target=st.floats(0.15, 0.9))
def test_the_least_thickness_of_all_is_the_one_where_the_target_is_met(key: str, target: float) -> None:
    wall = existing_wall("solid_brick")
    mm = least_thickness_mm(key, target, wall=wall)
    assert mm is not None

    def u(thickness: float) -> float:
        return lined_transmittance(wall, make_lining(key, thickness), gap_counts=False).u_w_m2k

    assert u(mm) <= target
    if mm > 0:
        assert u(round(mm - 0.1, 1)) > target


def test_a_target_out_of_reach_has_no_thickness() -> None:
    assert least_thickness_mm("reflective_foil", 0.2, wall=existing_wall("solid_brick")) is None


def test_an_unknown_construction_gives_a_wider_range_and_a_finding() -> None:
    unsure = _heat(construction=UNSURE)
    assert "H104" in _codes(unsure)
    assert "H104" not in _codes(HEAT)
    assert unsure.chosen.saving_kwh is not None and HEAT.chosen.saving_kwh is not None
    assert unsure.chosen.saving_kwh.low < HEAT.chosen.saving_kwh.low
    assert unsure.u_existing_calculated.low < HEAT.u_existing_calculated.low


@pytest.mark.parametrize(
    "construction",
    [
        None,
        *(
            Judged(verdict=k, probability={k: 1.0})
            for k in (
                "solid_brick_thick",
                "cavity_empty",
                "cavity_filled",
                "half_brick",
                "stone",
                "timber_frame",
                "other",
            )
        ),
    ],
    ids=lambda c: c.verdict if c else "none",
)
def test_every_construction_runs_through(construction: Judged | None) -> None:
    heat = _heat(construction=construction)
    assert len(heat.options) > 40
    assert heat.junctions is not None


def test_a_wall_with_nothing_measured_still_has_transmittances() -> None:
    heat = _heat(width_mm=None, area_m2=None, openings=False, site=Site())
    assert heat.chosen.saving_kwh is None and heat.chosen.cost is None and heat.chosen.payback_years is None
    assert heat.chosen.floor_area_m2 is None
    assert heat.chosen.u_from_calculated < 0.4
    assert {"H101", "H102", "H103"} <= _codes(heat)


def test_an_unheard_of_region_and_heating_are_named_with_the_known_ones() -> None:
    heat = _heat(site=Site(region="atlantis", heating="steam"))
    messages = {f.code: (f.message, f.remedy) for f in heat.findings}
    assert "'atlantis'" in messages["H101"][0] and "thames" in messages["H101"][1]
    assert "'steam'" in messages["H102"][0] and "heat_pump" in messages["H102"][1]


def test_a_warmer_face_on_a_cold_night() -> None:
    assert HEAT.surface_before_c < HEAT.surface_after_c < 20
    assert inside_surface_c(2.12, -5.0) == pytest.approx(20 - 2.12 * 0.13 * 25)


def test_red_moisture_stops_and_nothing_approves() -> None:
    heat = _heat(
        design=Design(insulation="eps_white", insulation_mm=40),
        site=Site(region="east_scotland", occupancy="crowded", extra={"outside_finish": "paint"}),
    )
    assert heat.chosen.moisture in {"too_wet", "builds_up"}
    (stop,) = [f for f in heat.findings if f.code == "H120"]
    assert stop.severity == "stop"
    for option in HEAT.options:
        assert "approve" not in option.moisture_words or "does not approve" in option.moisture_words


def test_a_board_that_carries_water_is_not_judged_by_a_method_that_cannot() -> None:
    heat = _heat(design=Design(insulation="wood_fibre", insulation_mm=60))
    assert heat.chosen.moisture == "not_judged"
    assert "H123" in _codes(heat) and "H120" not in _codes(heat)


def test_a_taped_face_is_reported_beside_the_bare_board() -> None:
    heat = _heat(design=Design(insulation="pir", insulation_mm=40))
    assert heat.moisture.lined.verdict == "dries"
    assert heat.moisture.faced is not None and heat.moisture.faced.verdict == "none"
    assert "vapour-tight face" in heat.chosen.moisture_words
    assert heat.moisture.more_humid.peak_g_m2 > heat.moisture.lined.peak_g_m2


def test_prices_of_the_person_come_before_the_invented_ones() -> None:
    case = wall_case()
    prices = {"lining.phenolic": (100.0, 120.0), "fuel.gas_boiler": (0.10, 0.10)}
    heat = compare_options(case, construction=SOLID, room=ROOM, design=Design(), prices=prices)
    assert heat.chosen.cost is not None and heat.chosen.saving_pounds is not None
    assert (heat.chosen.cost.low, heat.chosen.cost.high) == pytest.approx((800, 960))
    assert heat.chosen.saving_kwh is not None
    assert heat.chosen.saving_pounds.low == pytest.approx(0.10 * heat.chosen.saving_kwh.low)
    assert heat.chosen.payback_years is not None
    assert heat.chosen.payback_years.low == pytest.approx(800 / heat.chosen.saving_pounds.high)


@pytest.mark.parametrize(
    ("faces", "code", "severity"),
    [
        ("unheated", "H106", "note"),
        ("ground", "H107", "stop"),
        ("party", "H108", "warn"),
        ("partition", "H108", "warn"),
    ],
)
def test_a_wall_that_does_not_face_the_weather_is_said_so(faces: str, code: str, severity: str) -> None:
    found = {f.code: f.severity for f in _heat(faces=faces).findings}
    assert found[code] == severity


def test_neighbours_of_the_room_decide_the_partition() -> None:
    room = Room(id="back", floor_area_m2=12.0, walls=("north", "east"))
    for faces, name in (("party", "party wall"), ("partition", "partition"), ("outside", "party wall or partition")):
        other = wall_case("east", faces=faces, line=False)
        heat = compare_options(wall_case(), construction=SOLID, room=room, design=Design(), neighbours=[other])
        assert heat.junctions is not None
        assert heat.junctions.partition == name


def test_the_element_share_reaches_the_rules() -> None:
    room = Room(id="back", floor_area_m2=12.0, walls=("north", "east"))
    other = wall_case("east", area_m2=2.0, line=False)
    heat = compare_options(wall_case(), construction=SOLID, room=room, design=Design(), neighbours=[other])
    assert heat.element_share == pytest.approx(0.8)
    assert "L001" in _codes(heat)


def test_a_date_long_after_makes_the_rules_stale() -> None:
    heat = compare_options(wall_case(), construction=SOLID, room=ROOM, design=Design(), on=date(2029, 1, 1))
    assert "L090" in _codes(heat)


def test_a_lining_nobody_knows_is_refused() -> None:
    with pytest.raises(PerpendError, match="no row 'straw'"):
        _heat(design=Design(insulation="straw"))


def test_the_reveal_and_the_return_are_told() -> None:
    assert {"H131", "H132"} <= _codes(HEAT)
    places = [f.where for f in HEAT.findings if f.code == "H132"]
    assert places == [{"wall": "north", "opening": "w1"}]


def test_an_outer_wall_left_bare_beside_a_lined_one_is_warned_of() -> None:
    room = Room(id="back", floor_area_m2=12.0, walls=("west", "north", "east"))
    for lined, expected in ((False, {"H133"}), (True, set())):
        others = [wall_case(name, line=lined) for name in ("west", "east")]
        heat = compare_options(wall_case(), construction=SOLID, room=room, design=Design(), neighbours=others)
        assert _codes(heat) & {"H131", "H133"} == expected


def test_an_external_lining_has_no_inner_junctions() -> None:
    heat = _heat(design=Design(insulation="external", insulation_mm=90))
    assert heat.junctions is None
    assert heat.chosen.meets_target


def test_a_wall_takes_under_a_second_and_a_half_with_its_junctions() -> None:
    _heat()
    start = time.process_time()
    _heat()
    assert time.process_time() - start < 1.5


def _maybe(low: float, high: float) -> st.SearchStrategy[Measured | None]:
    return st.one_of(st.none(), st.builds(Measured, value=st.floats(low, high), sd=st.floats(0, 60)))


@settings(max_examples=15, deadline=None)
@given(
    reveal=_maybe(-20, 700),
    outer=_maybe(-30, 300),
    thickness=_maybe(50, 900),
    frame=st.sampled_from([None, 0.0, 25.0, 200.0]),
    visible=st.sampled_from([None, 0.0, 5.0, 120.0]),
    verdict=st.sampled_from([*read_table("existing_walls").rows, "unknown"]),
    design=st.builds(
        Design,
        insulation=st.sampled_from(lining_keys()),
        insulation_mm=st.sampled_from([0.1, 20.0, 300.0, 500.0]),
        board_mm=st.sampled_from([0.1, 12.5, 30.0]),
        fixing=st.sampled_from(sorted(read_table("fixings").rows)),
        target_u=st.sampled_from([0.05, 0.3, 1.5]),
    ),
)
def test_no_odd_measurement_or_wish_stops_the_comparison(
    reveal: Measured | None,
    outer: Measured | None,
    thickness: Measured | None,
    frame: float | None,
    visible: float | None,
    verdict: str,
    design: Design,
) -> None:
    case = wall_case()
    opening = replace(
        case.measured.openings[0],
        reveal_depth_mm=reveal,
        outer_reveal_mm=outer,
        thickness_mm=thickness,
        frame_mm=frame,
        visible_frame_mm=visible,
    )
    odd = replace(case, measured=replace(case.measured, openings=(opening,)))
    judged = Judged(verdict=verdict, probability={verdict: 1.0})
    heat = compare_options(odd, construction=judged, room=ROOM, design=design)
    assert all(0 < o.u_from_calculated < 4 and 0 < o.f_rsi < 1 for o in heat.options)
