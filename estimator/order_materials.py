"""What the order says of fixing, air line, finish and window boards, and the records of the order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from estimator.boards import BoardRules, BoardSize
from estimator.finishing import Seal
from estimator.fixing import WallFixing, totals
from estimator.layout_records import Offcut
from estimator.reveals import OpeningLining, RevealBoards
from estimator.tables import read_table
from estimator.tape_reasons import window_board_depth_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """One line of the order: what, how many, and why it is there; ``cost`` is low and high in pounds, without VAT.

    ``group`` is ``boards``, ``fixing``, ``air_line``, ``finish``, ``services`` or ``making_good``; ``key`` the price
    list's.
    """

    item: str
    spec: str
    quantity: float
    unit: str
    why: str
    cost: tuple[float, float] | None = None
    group: str = "boards"
    key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomBoardsOrder:
    """What a room's boards come to: how many to order, of which size, how many of them are for certainty."""

    room: str
    board: BoardSize
    count: int
    to_order: int
    offcuts: tuple[Offcut, ...]


def fixing_lines(fixings: Sequence[WallFixing], reveals: Sequence[RevealBoards], rules: BoardRules) -> list[OrderLine]:
    """Return adhesive, primer, battens, screws and fixings."""
    sums = totals(fixings)
    lines: list[OrderLine] = []
    if not fixings:
        return lines
    method = fixings[0].method
    table = read_table("fixing_quantities")
    reveal_m2 = sum(p.on_wall.area for r in reveals for p in r.pieces) / 1e6
    reveal_kg = reveal_m2 * float(read_table("finishing").row("reveal_adhesive")["kg_per_m2"])
    if sums["adhesive_kg"] or reveal_kg:
        bag = float(table.row("adhesive_dabs")["bag_kg"])
        kg = max(sums["adhesive_kg"], sums["adhesive_least_kg"]) + reveal_kg
        lines.append(
            OrderLine(
                item="gypsum board adhesive",
                spec=f"{bag:g} kg bag",
                quantity=math.ceil(kg / bag),
                unit="bag",
                group="fixing",
                key="adhesive",
                why=f"{kg:.0f} kg: ribbons, dabs and reveals, unevenness and waste included",
            )
        )
    if sums["foam_cans"]:
        lines.append(
            OrderLine(
                item="foam adhesive",
                spec="750 ml can, for boards",
                quantity=math.ceil(sums["foam_cans"]),
                unit="can",
                group="fixing",
                key="foam_adhesive",
                why=f"{sums['area_m2']:.1f} m2 at 6 m2 a can",
            )
        )
    if sums["batten_m"] and method == "battens":
        metres = math.ceil(1.1 * sums["batten_m"])
        lines.append(
            OrderLine(
                item="treated batten",
                spec="25 x 50 mm",
                quantity=metres,
                unit="m",
                group="fixing",
                key="batten",
                why="uprights at each board edge and between, head and foot, round openings; a tenth for cutting",
            )
        )
    if sums["screws"]:
        lines.append(
            OrderLine(
                item="drywall screw",
                spec="through board and insulation, 25 mm into timber",
                quantity=math.ceil(1.1 * sums["screws"]),
                unit="piece",
                group="fixing",
                key="screw",
                why="at 300 mm",
            )
        )
    if sums["primer_litres"]:
        lines.append(
            OrderLine(
                item="primer for foil faces",
                spec="for gypsum adhesive",
                quantity=math.ceil(sums["primer_litres"]),
                unit="litre",
                group="fixing",
                key="primer",
                why="adhesive does not hold on bare foil; not needed where the board has a paper face",
            )
        )
    if sums["fixings"]:
        longest = max(f.fixing_length_mm for f in fixings)
        needed = max(f.fixing_mm for f in fixings)
        lines.append(
            OrderLine(
                item="secondary fixing",
                spec=f"insulation fixing, {longest:g} mm",
                quantity=math.ceil(1.1 * sums["fixings"]),
                unit="piece",
                group="fixing",
                key="fixing",
                why=f"board + insulation + gap + plaster + {rules.embed_mm} mm in the masonry = {needed:g} mm; they "
                "hold the board in a fire",
            )
        )
    return lines


def air_line_lines(seals: Sequence[Seal]) -> list[OrderLine]:
    """Return sealant and tape for the air line."""
    rows = read_table("finishing")
    sealant, tape = rows.row("sealant"), rows.row("foil_tape")
    bead = sum(s.length_m for s in seals if s.material == "sealant") * (1 + sealant["waste"])
    joints = sum(s.length_m for s in seals if s.material == "tape") * (1 + tape["waste"])
    per_tube = sealant["tube_ml"] * 1000 / sealant["bead_mm"] ** 2 / 1000
    return [
        OrderLine(
            item="flexible sealant",
            spec="310 ml tube, 6 mm bead",
            quantity=math.ceil(bead / per_tube),
            unit="tube",
            group="air_line",
            key="sealant",
            why=f"{bead:.0f} m: floor, ceiling, ends, openings, boxes and pipes; moist air must not reach the cold "
            "brick",
        ),
        OrderLine(
            item="vapour-tight joint tape",
            spec="45 m roll",
            quantity=math.ceil(joints / tape["roll_m"]),
            unit="roll",
            group="air_line",
            key="foil_tape",
            why=f"{joints:.0f} m of board joints",
        ),
    ]


def finish_lines(fixings: Sequence[WallFixing], openings: Sequence[OpeningLining]) -> list[OrderLine]:
    """Return what jointing, skim and corners take."""
    rows = read_table("finishing")
    area = sum(f.board_area_m2 for f in fixings)
    reveal = sum((2 * o.jamb_length_mm + o.soffit_length_mm) * o.depth_mm for o in openings) / 1e6
    if not area:
        return []
    skim, tape, mix, bead = (rows.row(k) for k in ("skim", "joint_tape", "joint_mix", "bead"))
    kg = (area + reveal) * mix["kg_per_m2"]
    beads = sum(o.bead_m for o in openings)
    return [
        OrderLine(
            item="scrim or paper joint tape",
            spec="90 m roll",
            quantity=math.ceil((area + reveal) * tape["m_per_m2"] / tape["roll_m"]),
            unit="roll",
            group="finish",
            key="joint_tape",
            why="joints and internal corners",
        ),
        OrderLine(
            item="joint filler",
            spec=f"{mix['bag_kg']} kg bag",
            quantity=math.ceil(kg / mix["bag_kg"]),
            unit="bag",
            group="finish",
            key="joint_mix",
            why=f"{kg:.0f} kg; leave it out where the whole wall is skimmed",
        ),
        OrderLine(
            item="board finish plaster",
            spec=f"{skim['bag_kg']} kg bag, 2 mm skim",
            quantity=math.ceil((area + reveal) / skim["m2_per_bag"]),
            unit="bag",
            group="finish",
            key="skim",
            why=f"{area + reveal:.1f} m2 of wall and reveals; leave it out where joints only are filled",
        ),
        OrderLine(
            item="corner bead",
            spec=f"{bead['length_m']:g} m",
            quantity=math.ceil(beads / bead["length_m"]),
            unit="piece",
            group="finish",
            key="bead",
            why=f"{beads:.1f} m round openings",
        ),
    ]


def window_board_lines(openings: Sequence[OpeningLining], rules: BoardRules) -> list[OrderLine]:
    """Return a line for each new window board."""
    lines = []
    for o in openings:
        if o.window_board_mm is None:
            continue
        needed, length = o.window_board_mm
        lines.append(
            OrderLine(
                item="window board",
                spec=f"{window_board_depth_mm(needed):g} mm deep, cut to {needed}",
                quantity=length / 1000,
                unit="m",
                group="making_good",
                key="window_board",
                why=f"{o.wall}, {o.opening}: new depth with {rules.overhang_mm} mm of overhang",
            )
        )
    return lines
