"""The estimate as records: rooms with their boards, walls with their verdicts, and all that is bought and done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from estimator.bill import Bill, Load, Waste
from estimator.boards import BoardSize
from estimator.construction import Construction
from estimator.finishing import Seal
from estimator.fixing import WallFixing
from estimator.heat_records import WallHeat
from estimator.knock_on_features import Move
from estimator.layout_records import Joint, Offcut, Piece
from estimator.order_materials import OrderLine
from estimator.reveals import OpeningLining, RevealBoards
from estimator.sequence import Task
from estimator.tape_reasons import TapeItem
from vision.findings import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomBoards:
    """The boards of a room, ready for the order and the drawings.

    ``count`` is the fewest found at the measured sizes and ``lower_bound`` what no layout of the kind can beat;
    ``to_order`` is enough with 95 % probability, a gap of 2 mm being filled. ``chance_more`` and ``chance_fewer`` are
    those of one board more and one fewer. ``column_count`` is the trade's rule of full columns, ``area_count`` area and
    a tenth.
    """

    count: int
    lower_bound: int
    proved: bool
    to_order: int
    chance_more: float
    chance_fewer: float
    board: BoardSize
    pieces: tuple[Piece, ...]
    offcuts: tuple[Offcut, ...]
    joints: tuple[Joint, ...]
    joints_at_risk: int
    kept: str
    column_count: int
    area_count: int
    foot_gaps_mm: Mapping[str, int]
    run_through: tuple[str, ...]
    used_m2: float
    waste_m2: float
    board_weight_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomEstimate:
    """One room: its boards (None where none can be laid) and the share of its outer wall that is lined."""

    id: str
    boards: RoomBoards | None
    element_share: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WallEstimate:
    """One wall: heat, verdict, what must come first, how it is fixed, what moves, how it is sealed."""

    id: str
    lined: bool
    u_existing: Mapping[str, float | None]
    options: tuple[Mapping[str, object], ...]
    verdict: str
    conditions: tuple[str, ...]
    heat: WallHeat | None
    construction: Construction | None
    fixing: WallFixing | None
    openings: tuple[OpeningLining, ...]
    moves: tuple[Move, ...]
    seals: tuple[Seal, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Everything the estimate says; ``solver_calls`` is how often the count was asked for to find break-points."""

    rooms: tuple[RoomEstimate, ...]
    walls: tuple[WallEstimate, ...]
    tape_list: tuple[TapeItem, ...]
    order: tuple[OrderLine, ...]
    bill: Bill
    reveals: tuple[RevealBoards, ...]
    sequence: tuple[Task, ...]
    load: Load | None
    waste: tuple[Waste, ...]
    solver_calls: int
    findings: tuple[Finding, ...]
