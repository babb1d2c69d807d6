"""One lining as a row of the comparison, and what does not change from one row to the next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator.climate import CLASS_EXCESS_PA, Climate, region_climate
from estimator.existing_walls import ExistingWall, JudgedConstruction, Spread, candidate_walls, wall_thickness
from estimator.floor_loss import FloorLoss, floor_loss
from estimator.heat_records import LiningOption
from estimator.inputs import Design, Room, Site, WallCase
from estimator.lined_wall import added_m2k_w, inside_surface_c, lined_transmittance, lined_u_range
from estimator.linings import Lining
from estimator.moisture import screen_moisture, temperature_factor
from estimator.saving import Heating, heating, simple_payback_years, yearly_saving
from estimator.tables import read_table
from estimator.transmittance import upgraded_u
from estimator.verdict_words import moisture_verdict, moisture_words, target_words

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


def make_setting(
    case: WallCase,
    construction: JudgedConstruction | None,
    *,
    room: Room | None,
    design: Design,
    prices: Mapping[str, tuple[float, float]],
    neighbours: Sequence[WallCase],
) -> Setting:
    """Return what does not change from one lining to the next.

    Parameters
    ----------
    case, construction, room, design, prices, neighbours
        As for :func:`estimator.options.compare_options`.
    """
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


def option_row(lining: Lining, setting: Setting) -> LiningOption:
    """Return one lining on the wall of a setting.

    Parameters
    ----------
    lining
        The lining, on sale or not.
    setting
        Wall, climate, heating, target, areas and prices.
    """
    wall = setting.candidates[0]
    lined = lined_transmittance(wall, lining)
    without_gap = lined_transmittance(wall, lining, gap_counts=False).u_w_m2k
    spread = [u for candidate in setting.candidates for u in lined_u_range(lining, candidate)]
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
        low, high = transmittance_falls(lining, setting)
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


def transmittance_falls(lining: Lining, setting: Setting) -> tuple[float, float]:
    """Return the least and the greatest fall of the transmittance [W/m2K] over all candidates and starting values.

    Parameters
    ----------
    lining, setting
        As for :func:`option_row`.
    """
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
