"""The bill, what has to be carried, and the waste by kind."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from estimator.boards import BoardRules, face_weight_kg_m2
from estimator.inputs import Design
from estimator.order_materials import OrderLine, RoomBoardsOrder
from estimator.prices import Prices
from estimator.reveals import RevealBoards
from estimator.sequence import Task, labour_hours
from estimator.tables import read_table

MOST_ALONE_KG = 25.0  # HSE guidance on L23, from memory: what most men lift at knuckle height near the body


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
    people = people_to_lift(heaviest, alone_kg=rules.lift_one_person_kg)
    payload = float(read_table("finishing").row("van")["payload_kg"])
    longest = max(b.board.length_mm for b in boards)
    return Load(
        board_kg=heaviest,
        people_per_board=people,
        boards_kg=board_kg,
        all_kg=board_kg + bags,
        van_loads=math.ceil((board_kg + bags) / payload),
        longest_mm=longest,
        words=f"Each board weighs {heaviest:.0f} kg: {_people(people)} it, with a foot lifter under it. Boards of "
        f"{longest} mm have to get round the stairs; try it with a batten of that length.",
    )


def _people(count: int) -> str:
    return "one person lifts" if count == 1 else f"{count} people lift"


def people_to_lift(weight_kg: float, *, alone_kg: float) -> int:
    """Return how many people lift a board.

    Parameters
    ----------
    weight_kg
        Of the board.
    alone_kg
        What one person still lifts.

    Notes
    -----
    A team lifts less than the sum of its members: two lift two thirds of it, three a half. HSE's guidance on L23 gives
    these shares and 25 kg as what most men lift at knuckle height near the body (from memory).
    """
    if weight_kg <= alone_kg:
        return 1
    return 2 if weight_kg <= 2 * MOST_ALONE_KG * 2 / 3 else max(3, math.ceil(2 * weight_kg / MOST_ALONE_KG))


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
