"""Linings side by side: what each takes from the room, does to the wall, costs and saves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from estimator.climate import CLASS_EXCESS_PA
from estimator.existing_walls import (
    ExistingWall,
    JudgedConstruction,
    over_candidates,
)
from estimator.floor_loss import neighbours_of
from estimator.heat_findings import input_findings, junction_findings, lining_findings
from estimator.heat_records import LiningOption, MoistureScreening, WallHeat
from estimator.inputs import Design, Room, WallCase
from estimator.junction_study import JunctionStudy, study_junctions
from estimator.lined_wall import inside_surface_c, lined_transmittance
from estimator.linings import Lining, lining_keys, make_lining, thicknesses_mm
from estimator.moisture import needed_temperature_factor, screen_moisture, temperature_factor, vapour_profile
from estimator.option_rows import Setting, make_setting, option_row, transmittance_falls
from estimator.rules import LiningFacts, RuleNote, conditions, element_share, judge_rules, rule_findings
from estimator.saving import saving_causes
from estimator.tables import read_table
from estimator.verdict_words import moisture_words
from vision.findings import worst_first
from vision.walls import DeclaredWall

MORE_HUMID_CLASS = 4


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
    setting = make_setting(case, construction, room=room, design=design, prices=prices or {}, neighbours=neighbours)
    wall = setting.candidates[0]
    lining = make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing)
    options = _mark_front(
        [
            option_row(make_lining(key, mm, board_mm=design.board_mm, fixing=design.fixing), setting)
            for key in lining_keys()
            for mm in thicknesses_mm(key)
        ]
    )
    chosen = next(
        (o for o in options if (o.insulation, o.insulation_mm) == (lining.key, lining.insulation_mm)),
        option_row(lining, setting),
    )
    least = _least_thicknesses(options)
    moisture = _screening(lining, wall, setting)
    junctions = _junctions(case, wall, lining, room=room, neighbours=neighbours)
    share = element_share(room, tuple({c.measured.id: c for c in (*neighbours, case)}.values()))
    notes = judge_rules(case, _facts(chosen, setting, share), on=on)
    before = lined_transmittance(wall, None)
    fall_low, fall_high = transmittance_falls(lining, setting)
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
        *junction_findings(setting.wall_id, junctions, outer=_outer_beside(case, room, neighbours)),
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
    faces = {other.faces for other in _beside(case, room, neighbours)}
    declared = {o.id: o for o in case.declared.openings}
    return study_junctions(
        wall.layers,
        lining,
        party=True if "party" in faces else False if "partition" in faces else None,
        outer=_outer_beside(case, room, neighbours),
        openings=[(o, declared.get(o.id)) for o in case.measured.openings],
    )


def _beside(case: WallCase, room: Room | None, neighbours: Sequence[WallCase]) -> list[DeclaredWall]:
    beside = set(neighbours_of(case.measured.id, room))
    return [c.declared for c in neighbours if c.measured.id in beside]


def _outer_beside(case: WallCase, room: Room | None, neighbours: Sequence[WallCase]) -> tuple[bool, ...]:
    """Return for each outer wall beside this one whether it is lined."""
    beside = _beside(case, room, neighbours)
    return tuple(other.line for other in beside if other.faces in {"outside", "unheated"})


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
