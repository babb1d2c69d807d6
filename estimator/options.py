"""Linings side by side: what each takes from the room, does to the wall, costs and saves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from estimator.climate import CLASS_EXCESS_PA, INSIDE_C, Climate, region_climate
from estimator.existing_walls import (
    ExistingWall,
    JudgedConstruction,
    Spread,
    Valued,
    candidate_walls,
    over_candidates,
)
from estimator.inputs import Design, Room, WallCase
from estimator.linings import Lining, lining_keys, make_lining, thicknesses_mm
from estimator.materials import surface_resistance
from estimator.moisture import MoistureResult, screen_moisture, temperature_factor
from estimator.saving import Heating, Saving, heating, simple_payback_years, yearly_saving
from estimator.tables import read_table
from estimator.transmittance import thermal_transmittance, upgraded_u
from vision.findings import Finding, PerpendError
from vision.walls import Measured

RUN_OFF_G_M2 = 200.0  # EN ISO 13788:2012 (from memory): water begins to run down a surface that does not take it up
PEAK_LIMIT_G_M2 = 500.0  # DIN 4108-3, as summarised: limit at a plane that takes up no water
DEFAULT_CLASS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LiningOption:
    """One lining on this wall.

    Transmittances [W/m2K]: ``u_from_calculated`` and ``u_from_measured`` start from the two values of the wall as it
    is; ``u_without_gap`` is the first without the gap behind the board; ``u_low`` and ``u_high`` is the whole range.
    ``build_up_mm`` is the depth taken from the room, fixing gap included. ``moisture`` is ``none``, ``dries`` or
    ``builds_up``. ``floor_area_m2`` is this wall's loss with each lined corner shared between its two walls and
    ``floor_share`` (0 to 1) of the room's floor; the ``room_`` pair is for all walls that are to be lined.
    """

    insulation: str
    name: str
    family: str
    insulation_mm: float
    board_mm: float
    fixing: str
    gap_mm: float
    build_up_mm: float
    on_sale: bool
    u_from_calculated: float
    u_from_measured: float
    u_without_gap: float
    u_low: float
    u_high: float
    meets_target: bool
    target_words: str
    f_rsi: float
    surface_cold_night_c: float
    moisture: str
    moisture_words: str
    moisture_peak_g_m2: float
    floor_area_m2: float | None
    floor_share: float | None
    room_floor_area_m2: float | None
    room_floor_share: float | None
    saving_kwh: Spread | None
    saving_pounds: Spread | None
    saving_kg_co2: Spread | None
    cost: Spread | None
    payback_years: Spread | None
    on_front: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WallHeat:
    """All that is known of heat and moisture of one wall, before and after lining."""

    wall: str
    candidates: tuple[ExistingWall, ...]
    u_existing_calculated: Valued
    u_existing_measured: Valued
    target_u: float
    options: tuple[LiningOption, ...]
    chosen: LiningOption
    least_thickness_mm: Mapping[str, float | None]
    moisture: MoistureResult
    moisture_before: MoistureResult
    f_rsi_before: float
    surface_before_c: float
    surface_after_c: float
    cold_night_c: float
    findings: tuple[Finding, ...]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorLoss:
    """What the floor area lost depends on: lengths [m], lined corners, the room's floor area [m2]."""

    length_m: float | None
    corners: int
    room_length_m: float | None
    room_corners: int
    room_area_m2: float | None


def compare_options(
    case: WallCase,
    *,
    construction: JudgedConstruction | None,
    room: Room | None,
    design: Design,
    prices: Mapping[str, tuple[float, float]] | None = None,
    neighbours: Sequence[WallCase] = (),
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

    Raises
    ------
    PerpendError
        When the design names a lining or fixing that there is none of.
    """
    prices = prices or {}
    setting, findings = _setting(
        case, construction=construction, room=room, design=design, prices=prices, neighbours=neighbours
    )
    options = [
        _option(make_lining(key, mm, board_mm=design.board_mm, fixing=design.fixing), setting)
        for key in lining_keys()
        for mm in thicknesses_mm(key)
    ]
    options = _mark_front(options)
    lining = make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing)
    chosen = next(
        (o for o in options if (o.insulation, o.insulation_mm) == (lining.key, lining.insulation_mm)),
        _option(lining, setting),
    )
    wall = setting.candidates[0]
    before = thermal_transmittance(wall.layers)
    findings += _chosen_findings(chosen, lining, setting)
    return WallHeat(
        wall=setting.wall_id,
        candidates=setting.candidates,
        u_existing_calculated=over_candidates(setting.candidates, measured=False),
        u_existing_measured=over_candidates(setting.candidates, measured=True),
        target_u=design.target_u,
        options=tuple(options),
        chosen=chosen,
        least_thickness_mm=_least_thicknesses(options, design.target_u),
        moisture=screen_moisture(lining.onto(wall.layers), climate=setting.climate, excess_pa=setting.excess_pa),
        moisture_before=screen_moisture(wall.layers, climate=setting.climate, excess_pa=setting.excess_pa),
        f_rsi_before=temperature_factor(before.total_m2k_w),
        surface_before_c=inside_surface_c(before.u_w_m2k, setting.climate.cold_night_c),
        surface_after_c=chosen.surface_cold_night_c,
        cold_night_c=setting.climate.cold_night_c,
        findings=tuple(findings),
    )


def inside_surface_c(u_w_m2k: float, outside_c: float, *, inside_c: float = INSIDE_C) -> float:
    """Return the temperature [deg C] of a plane wall's inside face, with 0.13 m2K/W at the face."""
    return inside_c - u_w_m2k * surface_resistance("inside_horizontal") * (inside_c - outside_c)


def floor_area_lost_m2(length_m: float, build_up_m: float, *, corners: int) -> float:
    """Return the floor area [m2] under linings of one depth, each lined corner counted once.

    Parameters
    ----------
    length_m
        Length of all lined walls [m], measured on the old face.
    build_up_m
        Depth of the lining [m].
    corners
        Number of corners between two lined walls.
    """
    return max(0.0, length_m * build_up_m - corners * build_up_m**2)


def least_thickness_mm(
    key: str,
    target_u: float,
    *,
    wall: ExistingWall,
    board_mm: float = 12.5,
    fixing: str = "adhesive_dabs",
    on_sale: bool = True,
) -> float | None:
    """Return the least insulation thickness [mm] that meets a target without the gap's credit.

    Parameters
    ----------
    key, board_mm, fixing
        The lining.
    target_u
        Transmittance to meet [W/m2K].
    wall
        The wall as it is; its calculated transmittance counts.
    on_sale
        Choose among thicknesses on sale; else any thickness, to 0.1 mm upwards.

    Returns
    -------
    float or None
        None where no thickness on sale (or none up to 500 mm) meets the target.
    """

    def meets(mm: float) -> bool:
        lining = make_lining(key, mm, board_mm=board_mm, fixing=fixing)
        return thermal_transmittance(lining.onto(wall.layers, gap_counts=False)).u_w_m2k <= target_u

    if on_sale:
        return next((mm for mm in thicknesses_mm(key) if meets(mm)), None)
    low, high = 0, 5000
    if not meets(high / 10):
        return None
    while low < high:
        middle = (low + high) // 2
        if meets(middle / 10):
            high = middle
        else:
            low = middle + 1
    return low / 10


def _setting(
    case: WallCase,
    *,
    construction: JudgedConstruction | None,
    room: Room | None,
    design: Design,
    prices: Mapping[str, tuple[float, float]],
    neighbours: Sequence[WallCase],
) -> tuple[Setting, list[Finding]]:
    site, wall_id = case.site, case.measured.id
    where = {"wall": wall_id}
    climate, plant = region_climate(site.region), heating(site.heating)
    if f"fuel.{plant.key}" in prices:
        low, high = prices[f"fuel.{plant.key}"]
        plant = replace(plant, price=Spread(low=low, high=high))
    area = case.measured.net_area_m2
    findings = []
    if not climate.known:
        what = "No region is given" if site.region is None else f"The region {site.region!r} is not known"
        findings.append(
            Finding(
                code="H101",
                severity="note",
                message=f"{what}: the mean climate of the United Kingdom is used.",
                remedy=f"Set site.region to one of: {', '.join(sorted(read_table('regions').rows))}.",
                where={**where, "key": "site.region"},
            )
        )
    if not plant.known:
        what = "No heating is given" if site.heating is None else f"The heating {site.heating!r} is not known"
        findings.append(
            Finding(
                code="H102",
                severity="note",
                message=f"{what}: the saving spans every kind from an old gas boiler to electric heaters.",
                remedy=f"Set site.heating to one of: {', '.join(sorted(read_table('heating').rows))}.",
                where={**where, "key": "site.heating"},
            )
        )
    if area is None:
        findings.append(
            Finding(
                code="H103",
                severity="warn",
                message="The wall's area without its openings is not known, so there is no saving, cost or payback.",
                remedy="Measure the wall, or tape width_mm and height_mm.",
                where=where,
            )
        )
    candidates = candidate_walls(construction, thickness_mm=_thickness(case))
    if len(candidates) > 1:
        names = " or ".join(c.name for c in candidates)
        findings.append(
            Finding(
                code="H104",
                severity="warn",
                message=f"The construction is not decided ({names}): values are for the first, ranges for all.",
                remedy="Measure the wall's whole thickness at an open window or door, and photograph the bricks.",
                where=where,
            )
        )
    setting = Setting(
        wall_id=wall_id,
        candidates=candidates,
        climate=climate,
        plant=plant,
        excess_pa=CLASS_EXCESS_PA[DEFAULT_CLASS],
        target_u=design.target_u,
        area_m2=None if area is None else area.value,
        floor=_floor_loss(case, room, neighbours),
        prices=prices,
    )
    return setting, findings


def _thickness(case: WallCase) -> Measured | None:
    if "thickness_mm" in case.declared.taped:
        return Measured(value=float(case.declared.taped["thickness_mm"]), sd=2.0)
    known = [o.thickness_mm for o in case.measured.openings if o.thickness_mm is not None]
    return min(known, key=lambda m: m.sd, default=None)


def _floor_loss(case: WallCase, room: Room | None, neighbours: Sequence[WallCase]) -> FloorLoss:
    cases = {c.measured.id: c for c in (*neighbours, case)}
    order: list[str | None] = list(room.walls) if room is not None else [case.measured.id]
    lined = {i for i, c in cases.items() if c.declared.line and c.declared.side == "inside" and i in order}
    lined.add(case.measured.id)
    # A room of fewer than four walls is not closed: its last wall and its first do not meet.
    pairs = list(pairwise(order)) + ([(order[-1], order[0])] if len(order) > 3 else [])
    corners = [pair for pair in pairs if pair[0] in lined and pair[1] in lined]
    lengths = {i: cases[i].measured.width_mm for i in lined}
    length = lengths[case.measured.id]
    all_known = [w.value / 1000 for w in lengths.values() if w is not None]
    return FloorLoss(
        length_m=None if length is None else length.value / 1000,
        corners=sum(case.measured.id in pair for pair in corners),
        room_length_m=sum(all_known) if len(all_known) == len(lengths) else None,
        room_corners=len(corners),
        room_area_m2=None if room is None else room.floor_area_m2,
    )


def _option(lining: Lining, setting: Setting) -> LiningOption:
    wall = setting.candidates[0]
    calculated, without_gap, measured = _lined_u(lining, wall)
    spread = [u for c in setting.candidates for u in _u_range(lining, c)]
    lined = thermal_transmittance(lining.onto(wall.layers))
    result = screen_moisture(lining.onto(wall.layers), climate=setting.climate, excess_pa=setting.excess_pa)
    meets, words = target_words(calculated, without_gap, setting.target_u)
    floor = setting.floor
    depth = lining.build_up_mm / 1000
    own = None
    if floor.length_m is not None:
        own = max(0.0, floor.length_m * depth - floor.corners * depth**2 / 2)
    whole = None
    if floor.room_length_m is not None:
        whole = floor_area_lost_m2(floor.room_length_m, depth, corners=floor.room_corners)
    saved, cost = _saving(lining, setting), _cost(lining, setting)
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
        u_from_calculated=calculated,
        u_from_measured=measured,
        u_without_gap=without_gap,
        u_low=min(spread),
        u_high=max(spread),
        meets_target=meets,
        target_words=words,
        f_rsi=temperature_factor(lined.total_m2k_w),
        surface_cold_night_c=inside_surface_c(calculated, setting.climate.cold_night_c),
        moisture=result.verdict,
        moisture_words=moisture_words(result),
        moisture_peak_g_m2=result.peak_g_m2,
        floor_area_m2=own,
        floor_share=_share(own, floor.room_area_m2),
        room_floor_area_m2=whole,
        room_floor_share=_share(whole, floor.room_area_m2),
        saving_kwh=None if saved is None else saved.fuel_kwh,
        saving_pounds=None if saved is None else saved.pounds,
        saving_kg_co2=None if saved is None else saved.kg_co2,
        cost=cost,
        payback_years=None if saved is None or cost is None else simple_payback_years(cost, saved.pounds),
    )


def _share(part: float | None, whole: float | None) -> float | None:
    return None if part is None or not whole else part / whole


def _lined_u(lining: Lining, wall: ExistingWall) -> tuple[float, float, float]:
    """Return the lined transmittances: calculated, calculated without the gap, and from the measured value."""
    bare = thermal_transmittance(wall.layers)
    lined = thermal_transmittance(lining.onto(wall.layers))
    no_gap = thermal_transmittance(lining.onto(wall.layers, gap_counts=False))
    measured = upgraded_u(wall.measured.value, lined.total_m2k_w - bare.total_m2k_w)
    return lined.u_w_m2k, no_gap.u_w_m2k, measured


def _u_range(lining: Lining, wall: ExistingWall) -> tuple[float, float]:
    """Return the lowest and highest lined transmittance over the wall's starting values and the gap's credit."""
    bare = thermal_transmittance(wall.layers).total_m2k_w
    added = thermal_transmittance(lining.onto(wall.layers)).total_m2k_w - bare
    added_no_gap = thermal_transmittance(lining.onto(wall.layers, gap_counts=False)).total_m2k_w - bare
    low = min(wall.calculated.low, wall.measured.low)
    high = max(wall.calculated.high, wall.measured.high)
    return upgraded_u(low, added), upgraded_u(high, added_no_gap)


def target_words(u_w_m2k: float, without_gap_w_m2k: float, target_u: float) -> tuple[bool, str]:
    """Return whether a lining meets the target, the gap behind left out, and the same in words."""
    if without_gap_w_m2k <= target_u:
        return True, f"meets {target_u:.2f}"
    if u_w_m2k <= target_u:
        return False, f"meets {target_u:.2f} only if the gap behind counts"
    return False, f"does not meet {target_u:.2f}"


def moisture_words(result: MoistureResult) -> str:
    """Return the screening's verdict in words; it never approves."""
    if result.verdict == "none":
        return "screening finds no condensation between the layers; this does not approve a solid wall"
    peak = f"{result.peak_g_m2:.0f} g/m² at its peak"
    if result.verdict == "builds_up":
        return f"stop: condensation builds up from year to year ({peak}, {result.residual_g_m2:.0f} g/m² left)"
    if result.peak_g_m2 > RUN_OFF_G_M2:
        return f"condensation may run down behind the lining before it dries ({peak}); ask a professional"
    return f"some condensation in winter that dries by summer ({peak}); screening only"


def _saving(lining: Lining, setting: Setting) -> Saving | None:
    if setting.area_m2 is None:
        return None
    falls = []
    for wall in setting.candidates:
        bare = thermal_transmittance(wall.layers).total_m2k_w
        added = thermal_transmittance(lining.onto(wall.layers)).total_m2k_w - bare
        for before in (wall.calculated.low, wall.calculated.high, wall.measured.low, wall.measured.high):
            falls.append(before - upgraded_u(before, added))
    return yearly_saving(
        setting.area_m2,
        fall_low_w_m2k=min(falls),
        fall_high_w_m2k=max(falls),
        climate=setting.climate,
        plant=setting.plant,
    )


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


def _least_thicknesses(options: Sequence[LiningOption], target_u: float) -> dict[str, float | None]:
    least: dict[str, float | None] = {}
    for option in options:
        least.setdefault(option.insulation, None)
        if option.meets_target and least[option.insulation] is None:
            least[option.insulation] = option.insulation_mm
    return least


def _chosen_findings(chosen: LiningOption, lining: Lining, setting: Setting) -> list[Finding]:
    where = {"wall": setting.wall_id}
    name = f"{chosen.insulation_mm:g} mm {chosen.name}"
    found = []
    if not lining.on_sale:
        sizes = ", ".join(f"{mm:g}" for mm in thicknesses_mm(lining.key))
        found.append(
            Finding(
                code="H105",
                severity="warn",
                message=f"{name} is not a usual thickness; it is computed all the same.",
                remedy=f"Choose one of {sizes} mm, or ask the supplier.",
                where={**where, "key": "design.insulation_mm"},
            )
        )
    if not chosen.meets_target:
        found.append(
            Finding(
                code="H110",
                severity="warn",
                message=f"{name} gives {chosen.u_from_calculated:.2f} W/m²K ({chosen.u_without_gap:.2f} without the gap"
                f" behind): it {chosen.target_words}.",
                remedy=_remedy_thickness(chosen, setting),
                where={**where, "key": "design.insulation_mm"},
            )
        )
    if chosen.moisture == "builds_up":
        found.append(
            Finding(
                code="H120",
                severity="stop",
                message=f"{name}: {chosen.moisture_words}.",
                remedy="Do not fit this lining; ask a professional for a calculation to EN 15026.",
                where=where,
            )
        )
    elif chosen.moisture == "dries":
        found.append(
            Finding(
                code="H121",
                severity="warn",
                message=f"{name}: {chosen.moisture_words}.",
                remedy="Take a board with a taped vapour-tight face, seal every edge, and ask a professional.",
                where=where,
            )
        )
    return found


def _remedy_thickness(chosen: LiningOption, setting: Setting) -> str:
    try:
        mm = least_thickness_mm(
            chosen.insulation,
            setting.target_u,
            wall=setting.candidates[0],
            board_mm=chosen.board_mm,
            fixing=chosen.fixing,
        )
    except PerpendError:
        mm = None
    if mm is None:
        return f"No thickness on sale of this lining meets {setting.target_u:.2f}; choose another lining."
    return f"{mm:g} mm meets it without counting the gap; or ask building control what is reasonable here."
