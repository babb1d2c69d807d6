"""Why a length may be worth taping, one reason at a time: board length, reveals, thickness, plaster."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator.boards import BoardRules
from estimator.break_points import Dim, normal_tail
from estimator.construction import Construction, judge_construction
from estimator.count_risk import CountRisk
from estimator.existing_walls import candidate_walls
from estimator.fixing import fixing_length_mm
from estimator.heat_records import WallHeat
from estimator.inputs import Design, WallCase
from estimator.lined_wall import lined_transmittance
from estimator.linings import make_lining
from estimator.more_readings import TAPE_SD_MM, readings_wanted, size_named
from estimator.prices import Prices
from estimator.reveals import OpeningLining, reveal_bed_mm
from estimator.tables import read_table
from vision.walls import Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeItem:
    """A length to be taped: where, why, the chance that it matters, and the pounds at risk (chance x cost).

    ``readings`` says how often it is to be read: once with a tape, more often with laths where that has not settled it.
    """

    wall: str
    key: str
    why: str
    chance: float
    at_risk: float
    now_mm: Measured | None = None
    readings: int = 1


def how_often(readings: int) -> str:
    """Return what to add to a reason where a length is to be read more than once."""
    if readings <= 1:
        return ""
    return (
        f". A tape reading does not settle this: slide two laths apart until both ends touch, clamp them and read them "
        f"lying flat, at {readings} places"
    )


def middle_price(prices: Prices, key: str, fallback: float = 0.0) -> float:
    """Return the middle of a price range, or ``fallback`` where the list has no such key [pounds]."""
    row = prices.rows.get(key)
    return fallback if row is None else (row.low + row.high) / 2


def board_price(prices: Prices) -> float:
    """Return the middle price of a wall board [pounds]."""
    return middle_price(prices, "laminate_2400")


def at_stake(chance: float) -> str:
    """Return a chance in words: even, one in a whole number, or nearly certain."""
    if chance >= 0.85:
        return "it is nearly certain"
    if chance > 0.7:
        return "3 chances in 4"
    if chance > 0.58:
        return "2 chances in 3"
    if chance > 0.42:
        return "an even chance"
    return f"1 chance in {max(2, round(1 / max(chance, 0.001)))}"


def size_of(cases: Sequence[WallCase], dim: Dim) -> Measured | None:
    """Return the measured size that a wall and key name, or None."""
    wall = next((c.measured for c in cases if c.measured.id == dim[0]), None)
    return None if wall is None else size_named(wall, dim[1])


def height_reasons(risks: Sequence[CountRisk], cases: Sequence[WallCase], prices: Prices) -> list[TapeItem]:
    """Return the heights that may ask for boards of another length."""
    items = []
    wall = {c.measured.id: c for c in cases}
    for risk in risks:
        for dim, chance in risk.length_flip.items():
            now = size_of(cases, dim)
            wanted = 0 if now is None else readings_wanted(wall[dim[0]], dim[1], now)
            if not wanted:
                continue  # a tape can tell no more
            cost = chance * (risk.count * board_price(prices) + middle_price(prices, "redelivery"))
            items.append(
                TapeItem(
                    wall=dim[0],
                    key=dim[1],
                    why=f"{at_stake(chance)} that boards {risk.other_length_mm[dim]} mm long are needed instead"
                    + how_often(wanted),
                    chance=chance,
                    at_risk=cost,
                    now_mm=now,
                    readings=wanted,
                )
            )
    return items


def window_board_depth_mm(needed: float) -> float:
    """Return the next depth on sale [mm], or what is needed where none is deep enough."""
    depths = sorted(float(d) for d in read_table("window_boards").row("depths")["depths_mm"])
    return next((d for d in depths if d >= needed - 1e-9), needed)


def reveal_reasons(
    openings: Sequence[OpeningLining], cases: Sequence[WallCase], rules: BoardRules, prices: Prices
) -> list[TapeItem]:
    """Return the reveals and frames on which a window board or a lining hangs."""
    items = []
    by_id = {(c.measured.id, o.id): o for c in cases for o in c.measured.openings}
    for lining in openings:
        opening = by_id[lining.wall, lining.opening]
        depth = opening.reveal_depth_mm
        if lining.window_board_mm is not None and depth is not None and depth.sd > 0:
            needed = lining.depth_mm + rules.overhang_mm
            sold = window_board_depth_mm(needed)
            chance = normal_tail((sold - needed) / depth.sd)  # a deeper one than needed is cut down
            length = lining.window_board_mm[1] / 1000
            other = window_board_depth_mm(sold + 1)
            items.append(
                TapeItem(
                    wall=lining.wall,
                    key=f"openings.{lining.opening}.reveal_depth_mm",
                    why=f"{at_stake(chance)} that the window board has to be {other:g} mm deep, not {sold:g}",
                    chance=chance,
                    at_risk=chance * length * middle_price(prices, "window_board"),
                    now_mm=depth,
                )
            )
        shown = opening.visible_frame_mm
        taped_frame = _taped_frame(cases, lining)
        if lining.lining_mm is not None and not taped_frame:
            takes = lining.lining_mm + reveal_bed_mm() + rules.bead_clear_mm
            chance = 0.5 if shown is None else normal_tail((shown - takes) / rules.frame_sd_mm)
            said = "nobody has measured it" if shown is None else f"{shown:g} mm is typed"
            items.append(
                TapeItem(
                    wall=lining.wall,
                    key=f"openings.{lining.opening}.visible_frame_mm",
                    why=f"reveal lining, bead and clearance need {takes:g} mm of frame; {said}: {at_stake(chance)} "
                    "that it is too little for this reveal board",
                    chance=chance,
                    at_risk=chance * middle_price(prices, "reveal_board"),
                    now_mm=None if shown is None else Measured(value=shown, sd=rules.frame_sd_mm),
                )
            )
    return items


def _taped_frame(cases: Sequence[WallCase], lining: OpeningLining) -> bool:
    for case in cases:
        if case.measured.id == lining.wall:
            for o in case.declared.openings:
                if o.id == lining.opening:
                    return "visible_frame_mm" in o.taped
    return False


QUANTILES = (
    -1.645,
    -0.842,
    0.0,
    0.842,
    1.645,
)  # five points of a normal, for verdicts that have to be asked for one by one


def thickness_reasons(
    cases: Sequence[WallCase],
    heats: Mapping[str, WallHeat],
    constructions: Mapping[str, Construction],
    design: Design,
    risks: Sequence[CountRisk],
    prices: Prices,
) -> list[TapeItem]:
    """Return the wall thicknesses on which construction or transmittance hangs."""
    items = []
    for case in cases:
        wall = case.measured.id
        known = [o.thickness_mm for o in case.measured.openings if o.thickness_mm is not None]
        judged = constructions.get(wall)
        if judged is None or not known or case.declared.faces != "outside":
            continue
        thickness = min(known, key=lambda m: m.sd)
        if thickness.sd <= 1.25 * TAPE_SD_MM or any(o.taped.get("thickness_mm") for o in case.declared.openings):
            continue
        boards = next((r.count for r in risks if any(d[0] == wall for d in r.dims)), 4)
        settled = [
            judge_construction(_with_thickness(case, thickness.value + q * thickness.sd)).verdict for q in QUANTILES
        ]
        others = [v for v in settled if v != judged.verdict]
        chance = len(others) / len(settled)
        what = (
            "it settles whether the wall is solid or cavity"
            if judged.verdict == "unknown"
            else f"the wall is judged {(others or ['otherwise'])[0].replace('_', ' ')} instead"
        )
        heat = heats.get(wall)
        flips = _u_flip(heat, judged, thickness, design) if heat is not None else 0.0
        if flips > chance:
            chance, what = (
                flips,
                f"U {heat.chosen.u_from_calculated:.2f} lies on the other side of the target {heat.target_u:.2f}"
                if heat is not None
                else what,
            )
        items.append(
            TapeItem(
                wall=wall,
                key="thickness_mm",
                why=f"{at_stake(chance)} that {what}: tape the whole wall at an open door or casement",
                chance=chance,
                at_risk=chance * boards * board_price(prices) / 2,
                now_mm=thickness,
            )
        )
    return items


def _with_thickness(case: WallCase, value: float) -> WallCase:
    size = Measured(value=value, sd=TAPE_SD_MM)
    openings = tuple(replace(o, thickness_mm=size) if o.thickness_mm is not None else o for o in case.measured.openings)
    return replace(case, measured=replace(case.measured, openings=openings))


def _u_flip(heat: WallHeat, judged: Construction, thickness: Measured, design: Design) -> float:
    """Return the chance that the wall's thickness carries the lined transmittance over the target."""
    lining = make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing)

    def u(mm: float) -> float:
        walls = candidate_walls(judged, thickness_mm=Measured(value=mm, sd=TAPE_SD_MM))
        return lined_transmittance(walls[0], lining).u_w_m2k

    slope = (u(thickness.value + thickness.sd) - u(thickness.value - thickness.sd)) / 2
    here = u(thickness.value)
    return normal_tail(abs(heat.target_u - here) / abs(slope)) if slope else 0.0


def plaster_reasons(
    cases: Sequence[WallCase], design: Design, rules: BoardRules, risks: Sequence[CountRisk], prices: Prices
) -> list[TapeItem]:
    """Ask for the plaster's thickness where it decides between two fixings; one wall of a room stands for all."""
    items = []
    lining = make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing)
    lengths = sorted(float(v) for v in read_table("fixing_quantities").row("fixing_lengths")["lengths_mm"])
    for risk in risks:
        wall = next((c for c in cases if any(d[0] == c.measured.id for d in risk.dims)), None)
        if wall is None or isinstance(wall.site.extra.get("plaster_mm"), int | float):
            continue
        needed = fixing_length_mm(
            board_mm=lining.board_mm, insulation_mm=lining.insulation_mm, gap_mm=lining.gap_mm, rules=rules
        )
        sold = next((v for v in lengths if v >= needed), lengths[-1])
        chance = normal_tail((sold - needed) / rules.plaster_sd_mm)  # a longer one than needed only bites deeper
        fixings = 2.0 * risk.count
        other = next((v for v in lengths if v > sold), sold)
        items.append(
            TapeItem(
                wall=wall.measured.id,
                key="plaster_mm",
                why=f"{at_stake(chance)} that the fixings have to be {other:g} mm long, not {sold:g}: look at the "
                "edge of a socket hole",
                chance=chance,
                at_risk=chance * fixings * middle_price(prices, "fixing"),
                now_mm=Measured(value=rules.plaster_mm, sd=rules.plaster_sd_mm),
            )
        )
    return items
