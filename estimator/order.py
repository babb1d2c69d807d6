"""What to buy: one line for each thing with why it is there, the bill, the weights and the waste."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from estimator.boards import BoardRules, BoardSize, face_weight_kg_m2
from estimator.finishing import Seal
from estimator.fixing import WallFixing, totals
from estimator.inputs import Design
from estimator.knock_on import Move
from estimator.layout import Offcut
from estimator.prices import Prices
from estimator.reveals import OpeningLining, RevealBoards
from estimator.sequence import Task, labour_hours
from estimator.tables import read_table
from estimator.tape_list import window_board_depth_mm


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
class Bill:
    """Pounds without VAT, low and high: materials, trades called in, own labour by the hour, and a reserve.

    ``invented`` is True as long as the prices are the project's own.
    """

    materials: tuple[float, float]
    trades: tuple[float, float]
    labour_hours: tuple[float, float]
    labour: tuple[float, float]
    contingency: tuple[float, float]
    total: tuple[float, float]
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What is carried: the heaviest board and how many people lift it, all boards, and van loads."""

    board_kg: float
    people_per_board: int
    boards_kg: float
    all_kg: float
    van_loads: int
    longest_mm: int
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Waste:
    """One kind of waste: area [m²], weight [kg], where it goes."""

    kind: str
    area_m2: float
    weight_kg: float
    goes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomBoardsOrder:
    """What a room's boards come to: how many to order, of which size, how many of them are for certainty."""

    room: str
    board: BoardSize
    count: int
    to_order: int
    offcuts: tuple[Offcut, ...]


def make_order(
    boards: Sequence[RoomBoardsOrder],
    *,
    reveals: Sequence[RevealBoards],
    openings: Sequence[OpeningLining],
    fixings: Sequence[WallFixing],
    seals: Sequence[Seal],
    moves: Sequence[Move],
    tasks: Sequence[Task],
    design: Design,
    rules: BoardRules,
    prices: Prices,
    asbestos: bool,
) -> list[OrderLine]:
    """Return the order: boards, fixing, air line, finish, services and making good.

    Parameters
    ----------
    boards, reveals
        Wall boards by room, and reveal boards.
    openings, fixings, seals, moves, tasks
        What the other rooms of the estimate found.
    design, rules, prices
        The lining, the rules and the price list.
    asbestos
        Whether a sample has to be taken.
    """
    lines = [
        *_boards(boards, design),
        *_reveals(reveals, design),
        *_fixing(fixings, reveals, rules),
        *_air_line(seals),
        *_finish(fixings, openings),
        *_window_boards(openings, rules),
        *_moves(moves),
        *_sundries(boards, reveals, rules, asbestos),
        *_delivery(boards),
    ]
    return [_priced(line, prices) for line in lines if line.quantity > 0]


def _priced(line: OrderLine, prices: Prices) -> OrderLine:
    return OrderLine(
        item=line.item,
        spec=line.spec,
        quantity=line.quantity,
        unit=line.unit,
        why=line.why,
        cost=prices.line(line.key, line.quantity),
        group=line.group,
        key=line.key,
    )


def _boards(boards: Sequence[RoomBoardsOrder], design: Design) -> list[OrderLine]:
    lines = []
    for size in dict.fromkeys(b.board for b in boards):
        mine = [b for b in boards if b.board == size]
        why = "; ".join(
            f"{b.room}: {b.count} by the cut plan"
            + (
                f" and {b.to_order - b.count} because a length is uncertain (see what to tape)"
                if b.to_order > b.count
                else ""
            )
            for b in mine
        )
        lines.append(
            OrderLine(
                item="insulated plasterboard",
                spec=f"{name_of(design.insulation)} {design.insulation_mm:g} + board {design.board_mm:g} mm, "
                f"{size.length_mm} x {size.width_mm} mm" + (", to order" if size.on_order else ""),
                quantity=sum(b.to_order for b in mine),
                unit="board",
                why=why,
                key=f"laminate_{size.length_mm}",
            )
        )
    return lines


def name_of(insulation: str) -> str:
    """Return the lining's name in words."""
    rows = read_table("linings").rows
    return str(rows[insulation]["name"]) if insulation in rows else insulation


def _reveals(reveals: Sequence[RevealBoards], design: Design) -> list[OrderLine]:
    return [
        OrderLine(
            item="reveal board",
            spec=f"{name_of(design.insulation)} {r.insulation_mm:g} + board {r.board_mm:g} mm, {r.board.length_mm} x "
            f"{r.board.width_mm} mm",
            quantity=r.count,
            unit="board",
            why=f"{len(r.pieces)} pieces for jambs, soffits and sills",
            key="reveal_board",
        )
        for r in reveals
    ]


def _fixing(fixings: Sequence[WallFixing], reveals: Sequence[RevealBoards], rules: BoardRules) -> list[OrderLine]:
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


def _air_line(seals: Sequence[Seal]) -> list[OrderLine]:
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


def _finish(fixings: Sequence[WallFixing], openings: Sequence[OpeningLining]) -> list[OrderLine]:
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


def _window_boards(openings: Sequence[OpeningLining], rules: BoardRules) -> list[OrderLine]:
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


_WORDS = {
    "back_box": ("dry-lining box", "35 or 47 mm deep", "piece", "services"),
    "pattress_timber": ("timber behind the board", "treated softwood, as thick as the insulation", "m", "making_good"),
    "skirting": ("skirting", "as the old one", "m", "making_good"),
    "coving": ("coving", "as the old one", "m", "making_good"),
    "radiator_move": ("radiator moved", "plumber", "piece", "services"),
    "socket_move": ("socket or switch moved", "registered electrician", "piece", "services"),
    "pipe_move": ("water pipe moved", "plumber", "piece", "services"),
}


def _moves(moves: Iterable[Move]) -> list[OrderLine]:
    sums: dict[str, float] = {}
    things: dict[str, list[str]] = {}
    for move in moves:
        for key, quantity in move.buy.items():
            if key == "window_board":
                continue  # each has a depth of its own, so a line of its own
            sums[key] = sums.get(key, 0.0) + quantity
            things.setdefault(key, []).append(f"{move.wall} {move.thing}")
    return [
        OrderLine(
            item=words[0],
            spec=words[1],
            quantity=math.ceil(sums[key] * 10 - 1e-9) / 10 if words[2] == "m" else sums[key],
            unit=words[2],
            group=words[3],
            key=key,
            why=", ".join(things[key]),
        )
        for key, words in _WORDS.items()
        if key in sums
    ]


def _sundries(
    boards: Sequence[RoomBoardsOrder], reveals: Sequence[RevealBoards], rules: BoardRules, asbestos: bool
) -> list[OrderLine]:
    row = read_table("finishing").row("waste_bag")
    scrap = sum(o.area_m2 for b in boards for o in b.offcuts if not o.reusable) + sum(
        o.area_m2 for r in reveals for o in r.offcuts if not o.reusable
    )
    return [
        OrderLine(
            item="rubble bag",
            spec="heavy",
            quantity=math.ceil(scrap / row["m2_per_bag"]),
            unit="bag",
            group="making_good",
            key="waste_bag",
            why=f"{scrap:.1f} m2 of offcuts too small to keep; plaster and insulation apart",
        ),
        OrderLine(
            item="asbestos sample",
            spec="laboratory, taken by a trained person",
            quantity=1.0 if asbestos else 0.0,
            unit="piece",
            group="services",
            key="asbestos_sample",
            why="a coating or board from before 2000 is cut or scraped",
        ),
    ]


def _delivery(boards: Sequence[RoomBoardsOrder]) -> list[OrderLine]:
    return [
        OrderLine(
            item="delivery of boards",
            spec="flat, dry, two to carry",
            quantity=1.0 if boards else 0.0,
            unit="delivery",
            key="delivery",
            why="one delivery, if the count is right",
        )
    ]


def make_bill(lines: Sequence[OrderLine], tasks: Sequence[Task], prices: Prices) -> Bill:
    """Return the bill: lines with a price, hours at the day rate, and a reserve on the sum."""
    trades_keys = {"radiator_move", "socket_move", "pipe_move", "asbestos_sample"}

    def sums(chosen: Iterable[OrderLine]) -> tuple[float, float]:
        costs = [line.cost for line in chosen if line.cost is not None]
        return sum(c[0] for c in costs), sum(c[1] for c in costs)

    materials = sums(line for line in lines if line.key not in trades_keys)
    trades = sums(line for line in lines if line.key in trades_keys)
    hours = labour_hours([t for t in tasks if t.who.startswith(("you", "two", "plasterer"))])
    day = prices.line("labour_day", 1.0) or (0.0, 0.0)
    labour = (hours[0] / 8 * day[0], hours[1] / 8 * day[1])
    share = read_table("finishing").row("contingency")["share"]
    low, high = (materials[n] + trades[n] + labour[n] for n in (0, 1))
    reserve = (low * share[0], high * share[1])
    return Bill(
        materials=materials,
        trades=trades,
        labour_hours=hours,
        labour=labour,
        contingency=reserve,
        total=(low + reserve[0], high + reserve[1]),
        invented=not prices.edited,
    )


def make_load(
    boards: Sequence[RoomBoardsOrder],
    reveals: Sequence[RevealBoards],
    lines: Sequence[OrderLine],
    *,
    design: Design,
    rules: BoardRules,
) -> Load | None:
    """Return what is carried, or None where there are no boards."""
    if not boards:
        return None
    rows: Mapping[str, Mapping[str, object]] = read_table("board_weights").rows
    per_m2 = face_weight_kg_m2(rows, design.insulation, design.insulation_mm, design.board_mm)
    heaviest = max(b.board.area_m2 * per_m2 for b in boards)
    board_kg = sum(b.board.area_m2 * per_m2 * b.to_order for b in boards)
    board_kg += sum(
        r.board.area_m2 * face_weight_kg_m2(rows, design.insulation, r.insulation_mm, r.board_mm) * r.count
        for r in reveals
    )
    bags = sum(line.quantity * 25 for line in lines if line.key in ("adhesive", "skim")) + sum(
        line.quantity * 20 for line in lines if line.key == "joint_mix"
    )
    people = max(1, math.ceil(heaviest / rules.lift_one_person_kg))
    payload = float(read_table("finishing").row("van")["payload_kg"])
    longest = max(b.board.length_mm for b in boards)
    return Load(
        board_kg=heaviest,
        people_per_board=people,
        boards_kg=board_kg,
        all_kg=board_kg + bags,
        van_loads=math.ceil((board_kg + bags) / payload),
        longest_mm=longest,
        words=f"Each board weighs {heaviest:.0f} kg: {people} people lift it, with a foot lifter under it. Boards of "
        f"{longest} mm have to get round the stairs; try it with a batten of that length.",
    )


def waste_by_kind(boards: Sequence[RoomBoardsOrder], reveals: Sequence[RevealBoards], *, design: Design) -> list[Waste]:
    """Return waste by kind: offcuts worth keeping, offcuts to be thrown away, each as area and weight."""
    rows: Mapping[str, Mapping[str, object]] = read_table("board_weights").rows
    lots = [
        (b.offcuts, face_weight_kg_m2(rows, design.insulation, design.insulation_mm, design.board_mm)) for b in boards
    ]
    lots += [(r.offcuts, face_weight_kg_m2(rows, design.insulation, r.insulation_mm, r.board_mm)) for r in reveals]
    found = []
    for kind, keep, goes in (
        ("laminate offcuts worth keeping", True, "keep for returns, cupboards and the next room"),
        (
            "laminate scrap",
            False,
            "insulation and gypsum apart where the tip takes them apart; gypsum never with household waste",
        ),
    ):
        parts = [(o.area_m2, per_m2) for offcuts, per_m2 in lots for o in offcuts if o.reusable == keep]
        if parts:
            found.append(
                Waste(kind=kind, area_m2=sum(a for a, _ in parts), weight_kg=sum(a * k for a, k in parts), goes=goes)
            )
    return found
