"""What to buy: one line for each thing with why it is there, the bill, the weights and the waste."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from estimator.boards import BoardRules
from estimator.finishing import Seal
from estimator.fixing import WallFixing
from estimator.inputs import Design
from estimator.knock_on_features import Move
from estimator.order_materials import (
    OrderLine,
    RoomBoardsOrder,
    air_line_lines,
    finish_lines,
    fixing_lines,
    window_board_lines,
)
from estimator.prices import Prices
from estimator.reveals import OpeningLining, RevealBoards
from estimator.sequence import Task
from estimator.tables import read_table


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
        *fixing_lines(fixings, reveals, rules),
        *air_line_lines(seals),
        *finish_lines(fixings, openings),
        *window_board_lines(openings, rules),
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


_WORDS = {
    "back_box": ("dry-lining box", "35 or 47 mm deep", "piece", "services"),
    "pattress_timber": ("timber behind the board", "treated softwood, as thick as the insulation", "m", "making_good"),
    "skirting": ("skirting", "as the old one", "m", "making_good"),
    "coving": ("coving", "as the old one", "m", "making_good"),
    "radiator_bracket": (
        "radiator brackets",
        "a set, fixings long enough to reach through the lining",
        "set",
        "services",
    ),
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
            spec="flat, dry, with help to carry",
            quantity=1.0 if boards else 0.0,
            unit="delivery",
            key="delivery",
            why="one delivery, if the count is right",
        )
    ]
