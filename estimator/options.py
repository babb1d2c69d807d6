"""Linings side by side: what each takes from the room, does to the wall, costs and saves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from estimator.climate import CLASS_EXCESS_PA, INSIDE_C, Climate, region_climate
from estimator.existing_walls import (
    ExistingWall,
    JudgedConstruction,
    Spread,
    candidate_walls,
    over_candidates,
    wall_thickness,
)
from estimator.floor_loss import FloorLoss, floor_loss, neighbours_of
from estimator.heat_findings import input_findings, junction_findings, lining_findings
from estimator.heat_records import LiningOption, MoistureScreening, WallHeat
from estimator.inputs import Design, Room, Site, WallCase
from estimator.junction_study import JunctionStudy, study_junctions
from estimator.linings import Lining, lining_keys, make_lining, thicknesses_mm
from estimator.materials import surface_resistance
from estimator.moisture import needed_temperature_factor, screen_moisture, temperature_factor, vapour_profile
from estimator.rules import LiningFacts, RuleNote, conditions, element_share, judge_rules, rule_findings
from estimator.saving import Heating, heating, saving_causes, simple_payback_years, yearly_saving
from estimator.tables import read_table
from estimator.transmittance import Transmittance, thermal_transmittance, upgraded_u
from estimator.verdict_words import moisture_verdict, moisture_words, target_words
from vision.findings import worst_first

DEFAULT_CLASS = 3
OCCUPANCY_CLASS = {
    "empty": 1,
    "low": 2,
    "single": 2,
    "normal": 3,
    "family": 3,
    "high": 4,
    "crowded": 4,
    "very_high": 5,
}
"""Humidity class by the person's word for how the home is lived in (invented default)."""
MORE_HUMID_CLASS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What does not change from one lining to the next."""

    wall_id: str
    candidates: tuple[ExistingWall, ...]
    climate: Climate
    plant: Heating
    excess_pa: float
    target_u: float
    area_m2: float | None
    floor: FloorLoss
    prices: Mapping[str, tuple[float, float]]


def compare_options(
    case: WallCase,
    *,
    construction: JudgedConstruction | None,
    room: Room | None,
    design: Design,
    prices: Mapping[str, tuple[float, float]] | None = None,
    neighbours: Sequence[WallCase] = (),
    on: date | None = None,
) -> WallHeat:
    """Return every lining on this wall, the chosen one, and what the person must know.

    Parameters
    ----------
    case
        The wall as measured and declared, with the site's answers.
    construction
        The judged construction; None or ``unknown`` gives a range over the candidates.
    room
        The wall's room, for the floor area lost.
    design
        What the person has in mind; computed even where it is not on sale.
    prices
        Costs by key, (low, high): ``lining.<insulation>`` in pounds per m2 installed, ``fuel.<heating>`` in pounds per
        kWh. What is missing is taken from the tables of invented defaults.
    neighbours
        All the walls of the room (this one may be among them).
    on
        Today's date, so that rules out of date are said to be so.

    Raises
    ------
    PerpendError
        When the design names a lining or fixing that there is none of.
    """
    setting = _setting(case, construction, room=room, design=design, prices=prices or {}, neighbours=neighbours)
    wall = setting.candidates[0]
    lining = make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing)
    options = _mark_front(
        [
            _option(make_lining(key, mm, board_mm=design.board_mm, fixing=design.fixing), setting)
            for key in lining_keys()
            for mm in thicknesses_mm(key)
        ]
    )
    chosen = next(
        (o for o in options if (o.insulation, o.insulation_mm) == (lining.key, lining.insulation_mm)),
        _option(lining, setting),
    )
    least = _least_thicknesses(options)
    moisture = _screening(lining, wall, setting)
    junctions = _junctions(case, wall, lining, room=room, neighbours=neighbours)
    share = element_share(room, tuple({c.measured.id: c for c in (*neighbours, case)}.values()))
    notes = judge_rules(case, _facts(chosen, setting, share), on=on)
    before = lined_transmittance(wall, None)
    fall_low, fall_high = _falls(lining, setting)
    findings = [
        *input_findings(
            setting.wall_id,
            site=case.site,
            climate=setting.climate,
            plant=setting.plant,
            area_known=setting.area_m2 is not None,
            faces=case.declared.faces,
            candidates=setting.candidates,
        ),
        *lining_findings(
            setting.wall_id,
            chosen,
            target_u=design.target_u,
            least_mm=least[chosen.insulation],
            needed_f_rsi=moisture.needed_f_rsi,
        ),
        *junction_findings(setting.wall_id, junctions),
        *rule_findings(notes, wall=setting.wall_id, on=on),
    ]
    return WallHeat(
        wall=setting.wall_id,
        candidates=setting.candidates,
        u_existing_calculated=over_candidates(setting.candidates, measured=False),
        u_existing_measured=over_candidates(setting.candidates, measured=True),
        target_u=design.target_u,
        options=tuple(options),
        chosen=chosen,
        least_thickness_mm=least,
        moisture=moisture,
        f_rsi_before=temperature_factor(before.total_m2k_w),
        surface_before_c=inside_surface_c(before.u_w_m2k, setting.climate.cold_night_c),
        f_rsi_before_measured=temperature_factor(1 / wall.measured.value),
        surface_after_c=chosen.surface_cold_night_c,
        surface_before_measured_c=inside_surface_c(wall.measured.value, setting.climate.cold_night_c),
        surface_after_measured_c=inside_surface_c(chosen.u_from_measured, setting.climate.cold_night_c),
        cold_night_c=setting.climate.cold_night_c,
        junctions=junctions,
        element_share=share,
        saving_causes=saving_causes(fall_low_w_m2k=fall_low, fall_high_w_m2k=fall_high, plant=setting.plant),
        rules=tuple(n for n in notes if n.kind != "caution"),
        cautions=tuple(n for n in notes if n.kind == "caution"),
        conditions=conditions(notes),
        assumptions=_assumptions(setting, lining, notes),
        findings=tuple(worst_first(findings)),
    )


def lined_transmittance(wall: ExistingWall, lining: Lining | None, *, gap_counts: bool = True) -> Transmittance:
    """Return the transmittance of a wall with a lining, or as it is where ``lining`` is None.

    Parameters
    ----------
    wall, lining
        The wall and what is put on it.
    gap_counts
        Whether the gap behind the board has its resistance.
    """
    layers = wall.layers if lining is None else lining.onto(wall.layers, gap_counts=gap_counts)
    return thermal_transmittance(
        layers, outside_m2k_w=wall.outside_m2k_w, insulation=None if lining is None else lining.insulation
    )


def added_m2k_w(wall: ExistingWall, lining: Lining, *, gap_counts: bool = True) -> float:
    """Return the resistance [m2K/W] that a lining adds to a wall, the loss through its fixings taken off.

    Parameters
    ----------
    wall, lining, gap_counts
        As for :func:`lined_transmittance`.
    """
    lined = lined_transmittance(wall, lining, gap_counts=gap_counts).u_w_m2k
    return 1 / lined - 1 / lined_transmittance(wall, None).u_w_m2k


def inside_surface_c(u_w_m2k: float, outside_c: float, *, inside_c: float = INSIDE_C) -> float:
    """Return the temperature [deg C] of a plane wall's inside face, with 0.13 m2K/W at the face.

    Parameters
    ----------
    u_w_m2k
        The wall's transmittance [W/m2K].
    outside_c, inside_c
        Air temperatures [deg C].
    """
    return inside_c - u_w_m2k * surface_resistance("inside_horizontal") * (inside_c - outside_c)


def least_thickness_mm(
    key: str, target_u: float, *, wall: ExistingWall, board_mm: float = 12.5, fixing: str = "adhesive_dabs"
) -> float | None:
    """Return the least insulation thickness [mm], to 0.1 mm upwards, that meets a target without the gap's credit.

    Parameters
    ----------
    key, board_mm, fixing
        The lining; any thickness of it, on sale or not.
    target_u
        Transmittance to meet [W/m2K].
    wall
        The wall as it is; its calculated transmittance counts.

    Returns
    -------
    float or None
        None where 500 mm do not meet the target.
    """

    def meets(tenths: int) -> bool:
        lining = make_lining(key, tenths / 10, board_mm=board_mm, fixing=fixing)
        return lined_transmittance(wall, lining, gap_counts=False).u_w_m2k <= target_u

    low, high = 0, 5000
    if not meets(high):
        return None
    while low < high:
        middle = (low + high) // 2
        if meets(middle):
            high = middle
        else:
            low = middle + 1
    return low / 10


def _setting(
    case: WallCase,
    construction: JudgedConstruction | None,
    *,
    room: Room | None,
    design: Design,
    prices: Mapping[str, tuple[float, float]],
    neighbours: Sequence[WallCase],
) -> Setting:
    plant = heating(case.site.heating)
    if f"fuel.{plant.key}" in prices:
        low, high = prices[f"fuel.{plant.key}"]
        plant = replace(plant, price=Spread(low=low, high=high))
    area = case.measured.net_area_m2
    return Setting(
        wall_id=case.measured.id,
        candidates=candidate_walls(
            construction,
            thickness_mm=wall_thickness(case),
            outside_finish=str(case.site.extra.get("outside_finish") or ""),
            sheltered=case.declared.faces == "unheated",
        ),
        climate=region_climate(case.site.region),
        plant=plant,
        excess_pa=CLASS_EXCESS_PA[_humidity_class(case.site)],
        target_u=design.target_u,
        area_m2=None if area is None else area.value,
        floor=floor_loss(case, room, neighbours),
        prices=prices,
    )


def _humidity_class(site: Site) -> int:
    return OCCUPANCY_CLASS.get((site.occupancy or "").strip().lower(), DEFAULT_CLASS)


def _option(lining: Lining, setting: Setting) -> LiningOption:
    wall = setting.candidates[0]
    lined = lined_transmittance(wall, lining)
    without_gap = lined_transmittance(wall, lining, gap_counts=False).u_w_m2k
    spread = [u for candidate in setting.candidates for u in _u_range(lining, candidate)]
    result = screen_moisture(lining.onto(wall.layers), climate=setting.climate, excess_pa=setting.excess_pa)
    faced = None
    if lining.faced is not None and lining.faced != lining.inside and result.verdict != "none":
        faced = screen_moisture(
            lining.onto(wall.layers, faced=True), climate=setting.climate, excess_pa=setting.excess_pa
        )
    meets, words = target_words(lined.u_w_m2k, without_gap, setting.target_u)
    floor, depth = setting.floor, lining.build_up_mm / 1000
    cost = _cost(lining, setting)
    saved = None
    if setting.area_m2 is not None:
        low, high = _falls(lining, setting)
        saved = yearly_saving(
            setting.area_m2, fall_low_w_m2k=low, fall_high_w_m2k=high, climate=setting.climate, plant=setting.plant
        )
    return LiningOption(
        insulation=lining.key,
        name=lining.name,
        family=lining.family,
        insulation_mm=lining.insulation_mm,
        board_mm=lining.board_mm,
        fixing=lining.fixing,
        gap_mm=lining.gap_mm,
        build_up_mm=lining.build_up_mm,
        on_sale=lining.on_sale,
        u_from_calculated=lined.u_w_m2k,
        u_from_measured=upgraded_u(wall.measured.value, added_m2k_w(wall, lining)),
        u_without_gap=without_gap,
        u_low=min(spread),
        u_high=max(spread),
        meets_target=meets,
        target_words=words,
        f_rsi=temperature_factor(lined.total_m2k_w),
        f_rsi_from_measured=temperature_factor(1 / wall.measured.value + added_m2k_w(wall, lining)),
        surface_cold_night_c=inside_surface_c(lined.u_w_m2k, setting.climate.cold_night_c),
        moisture=moisture_verdict(result, capillary=lining.capillary),
        moisture_words=moisture_words(result, faced=faced, capillary=lining.capillary),
        moisture_peak_g_m2=result.peak_g_m2,
        floor_area_m2=floor.own_m2(depth),
        floor_share=floor.share(floor.own_m2(depth)),
        room_floor_area_m2=floor.room_m2(depth),
        room_floor_share=floor.share(floor.room_m2(depth)),
        saving_kwh=None if saved is None else saved.fuel_kwh,
        saving_pounds=None if saved is None else saved.pounds,
        saving_kg_co2=None if saved is None else saved.kg_co2,
        cost=cost,
        payback_years=None if saved is None or cost is None else simple_payback_years(cost, saved.pounds),
        notes=lining.notes,
    )


def _u_range(lining: Lining, wall: ExistingWall) -> tuple[float, float]:
    """Return the lowest and highest lined transmittance over the wall's starting values and the gap's credit."""
    added, added_no_gap = added_m2k_w(wall, lining), added_m2k_w(wall, lining, gap_counts=False)
    low = min(wall.calculated.low, wall.measured.low)
    high = max(wall.calculated.high, wall.measured.high)
    return upgraded_u(low, added), upgraded_u(high, added_no_gap)


def _falls(lining: Lining, setting: Setting) -> tuple[float, float]:
    """Return the least and the greatest fall of the transmittance over all candidates and starting values."""
    falls = []
    for wall in setting.candidates:
        added = added_m2k_w(wall, lining)
        for before in (wall.calculated.low, wall.calculated.high, wall.measured.low, wall.measured.high):
            falls.append(before - upgraded_u(before, added))
    return min(falls), max(falls)


def _cost(lining: Lining, setting: Setting) -> Spread | None:
    if setting.area_m2 is None:
        return None
    given = setting.prices.get(f"lining.{lining.key}")
    if given is not None:
        return Spread(low=given[0] * setting.area_m2, high=given[1] * setting.area_m2)
    row = read_table("lining_costs").row(lining.key)
    low, high = (
        per_m2 + per_mm * lining.insulation_mm for per_m2, per_mm in zip(row["per_m2"], row["per_m2_mm"], strict=True)
    )
    return Spread(low=low * setting.area_m2, high=high * setting.area_m2)


def _mark_front(options: Sequence[LiningOption]) -> list[LiningOption]:
    """Mark the linings that no other inside lining beats in both depth and transmittance."""
    inside = [o for o in options if o.family != "external"]

    def beaten(option: LiningOption) -> bool:
        return any(
            other.build_up_mm <= option.build_up_mm
            and other.u_from_calculated <= option.u_from_calculated
            and (other.build_up_mm, other.u_from_calculated) != (option.build_up_mm, option.u_from_calculated)
            for other in inside
        )

    return [replace(o, on_front=o.family != "external" and not beaten(o)) for o in options]


def _least_thicknesses(options: Sequence[LiningOption]) -> dict[str, float | None]:
    least: dict[str, float | None] = {}
    for option in options:
        least.setdefault(option.insulation, None)
        if option.meets_target and least[option.insulation] is None:
            least[option.insulation] = option.insulation_mm
    return least


def _screening(lining: Lining, wall: ExistingWall, setting: Setting) -> MoistureScreening:
    climate, excess = setting.climate, setting.excess_pa
    humid = max(CLASS_EXCESS_PA[MORE_HUMID_CLASS], excess)
    lined = lining.onto(wall.layers)
    result = screen_moisture(lined, climate=climate, excess_pa=excess)
    more_humid = screen_moisture(lined, climate=climate, excess_pa=humid)
    faced = None
    if lining.faced is not None and lining.faced != lining.inside:
        faced = screen_moisture(lining.onto(wall.layers, faced=True), climate=climate, excess_pa=excess)
    return MoistureScreening(
        before=screen_moisture(wall.layers, climate=climate, excess_pa=excess),
        lined=result,
        faced=faced,
        more_humid=more_humid,
        profile=vapour_profile(
            lined,
            climate=climate,
            excess_pa=excess,
            month=min(range(12), key=lambda month: climate.temperature_c[month]),
        ),
        excess_pa=excess,
        needed_f_rsi=needed_temperature_factor(climate, excess_pa=excess),
        words=(
            f"As designed: {moisture_words(result, faced=faced, capillary=lining.capillary)}.",
            f"In a more humid home ({humid:.0f} Pa): {moisture_words(more_humid, capillary=lining.capillary)}.",
            "The screening leaves out rain, water in the wall, air leaks and joist ends: red can stop a lining, "
            "nothing here can approve one on a solid wall. A professional calculates to EN 15026.",
        ),
    )


def _junctions(
    case: WallCase, wall: ExistingWall, lining: Lining, *, room: Room | None, neighbours: Sequence[WallCase]
) -> JunctionStudy | None:
    if lining.family == "external":
        return None
    beside = set(neighbours_of(case.measured.id, room))
    faces = {c.declared.faces for c in neighbours if c.measured.id in beside}
    declared = {o.id: o for o in case.declared.openings}
    return study_junctions(
        wall.layers,
        lining,
        party=True if "party" in faces else False if "partition" in faces else None,
        openings=[(o, declared.get(o.id)) for o in case.measured.openings],
    )


def _facts(chosen: LiningOption, setting: Setting, share: float | None) -> LiningFacts:
    payback = chosen.payback_years
    return LiningFacts(
        construction=setting.candidates[0].key,
        insulation=chosen.insulation,
        insulation_mm=chosen.insulation_mm,
        u_before_w_m2k=setting.candidates[0].calculated.value,
        u_after_w_m2k=chosen.u_from_calculated,
        meets_target=chosen.meets_target,
        target_words=chosen.target_words,
        element_share=share,
        floor_share=chosen.room_floor_share,
        payback_low_years=None if payback is None else payback.low,
        payback_high_years=None if payback is None else payback.high,
    )


def _assumptions(setting: Setting, lining: Lining, notes: Sequence[RuleNote]) -> tuple[str, ...]:
    wall, checked = setting.candidates[0], max(n.checked for n in notes)
    named = ", ".join(f"{layer.name} {layer.thickness_mm:.0f} mm" for layer in wall.layers)
    return (
        f"The wall from outside to inside: {named}"
        + (" (fitted to the thickness measured)." if wall.thickness_known else " (usual thickness; not measured)."),
        f"Measured walls of this kind: {wall.source}.",
        f"Climate: {setting.climate.name}; {setting.climate.source}.",
        f"Heating: {setting.plant.name}; {setting.plant.source}.",
        f"Fixing: {read_table('fixings').row(lining.fixing)['source']}."
        if lining.family != "external"
        else "Outside insulation needs planning, eaves and sills looked at, and a professional to fit it.",
        f"Inside vapour pressure excess {setting.excess_pa:.0f} Pa at 0 °C and below (EN ISO 13788:2012 annex A).",
        f"Rules for England unless said, last checked {checked}; newer editions may be in force.",
    )
