"""What the heat and moisture rooms hand over: one lining on a wall, and the wall with all its linings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from estimator.existing_walls import ExistingWall, Spread, Valued
from estimator.junction_study import JunctionStudy
from estimator.moisture import MoistureResult, VapourProfile
from estimator.rules import RuleNote
from vision.findings import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class LiningOption:
    """One lining on this wall.

    Transmittances [W/m2K]: ``u_from_calculated`` and ``u_from_measured`` start from the two values of the wall as it
    is; ``u_without_gap`` is the first without the gap behind the board; ``u_low`` and ``u_high`` is the whole range.
    ``build_up_mm`` is the depth taken from the room, fixing gap included. ``moisture`` is ``none``, ``dries``,
    ``too_wet`` (it dries, but more gathers than a plane should hold) or ``builds_up``. ``floor_area_m2`` is this wall's
    loss with each lined corner shared between its two walls and ``floor_share`` (0 to 1) of the room's floor; the
    ``room_`` pair is for all walls that are to be lined. ``on_front`` marks linings that no other inside lining beats
    in both depth and transmittance.
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
    f_rsi_from_measured: float
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
    notes: tuple[str, ...] = ()
    on_front: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistureScreening:
    """The monthly screening of the wall as it is and lined.

    ``lined`` is the chosen lining without a vapour-tight face (unless it is never fitted without one), ``faced`` with
    one where there is one to have, ``more_humid`` the first in a more humid home, and ``profile`` the lined wall in
    its coldest month. ``excess_pa`` is the humidity class's vapour pressure excess; ``needed_f_rsi`` is the surface
    temperature factor that this climate and humidity ask for, beside the fixed 0.75.
    """

    before: MoistureResult
    lined: MoistureResult
    faced: MoistureResult | None
    more_humid: MoistureResult
    profile: VapourProfile
    excess_pa: float
    needed_f_rsi: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WallHeat:
    """All that is known of heat and moisture of one wall, before and after lining.

    ``rules`` are dated rules (with nation notes) and ``cautions`` the rest, each with whom to ask; ``conditions`` what
    must be settled before the work. Surface temperatures are those of a plane wall on a night of ``cold_night_c``; the
    names with ``measured`` start from the transmittance as measured in the field. ``saving_causes`` says by what
    factor each cause stretches the saving. ``junctions`` is None for a lining outside.
    """

    wall: str
    candidates: tuple[ExistingWall, ...]
    u_existing_calculated: Valued
    u_existing_measured: Valued
    target_u: float
    options: tuple[LiningOption, ...]
    chosen: LiningOption
    least_thickness_mm: Mapping[str, float | None]
    moisture: MoistureScreening
    f_rsi_before: float
    f_rsi_before_measured: float
    surface_before_c: float
    surface_after_c: float
    surface_before_measured_c: float
    surface_after_measured_c: float
    cold_night_c: float
    junctions: JunctionStudy | None
    element_share: float | None
    saving_causes: Mapping[str, float]
    rules: tuple[RuleNote, ...]
    cautions: tuple[RuleNote, ...]
    conditions: tuple[str, ...]
    assumptions: tuple[str, ...]
    findings: tuple[Finding, ...]
