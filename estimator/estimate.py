"""The whole estimate: measured walls, answers and prices in; boards, heat, order, tape list and verdict out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator.boards import BoardRules, BoardSize, board_rules, board_weight_kg, sizes_on_sale
from estimator.columns import Corner
from estimator.construction import Construction, judge_construction
from estimator.faces import Face, lining_face
from estimator.heat_records import WallHeat
from estimator.inputs import Design, Room, WallCase
from estimator.layout import Joint, Offcut, Piece, RoomLayout, lay_boards
from estimator.linings import make_lining
from estimator.options import compare_options
from estimator.prices import Prices, default_prices
from vision.findings import Finding, PerpendError, worst_first


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """One line of the order: what, how many, and why it is there; ``cost`` is low and high in pounds, without VAT."""

    item: str
    spec: str
    quantity: float
    unit: str
    why: str
    cost: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomBoards:
    """The boards of a room, ready for the order and the drawings."""

    count: int
    lower_bound: int
    proved: bool
    board: BoardSize
    pieces: tuple[Piece, ...]
    offcuts: tuple[Offcut, ...]
    joints: tuple[Joint, ...]
    column_count: int
    area_count: int
    foot_gaps_mm: Mapping[str, int]
    run_through: tuple[str, ...]
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
    """One wall: heat, verdict and what must come first."""

    id: str
    u_existing: Mapping[str, float | None]
    options: tuple[Mapping[str, object], ...]
    verdict: str
    conditions: tuple[str, ...]
    heat: WallHeat | None
    construction: Construction


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeItem:
    """A length worth taping before ordering."""

    wall: str
    key: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Everything the estimate says."""

    rooms: tuple[RoomEstimate, ...]
    walls: tuple[WallEstimate, ...]
    tape_list: tuple[TapeItem, ...]
    order: tuple[OrderLine, ...]
    findings: tuple[Finding, ...]


def estimate_survey(
    cases: Sequence[WallCase], *, rooms: Sequence[Room], design: Design, prices: Prices | None = None
) -> Estimate:
    """Return the estimate of a whole survey.

    Parameters
    ----------
    cases
        The walls, as measured and declared.
    rooms
        The rooms; walls that no room names make a room of their own.
    design
        What the person has in mind.
    prices
        The person's price list; the invented defaults where None.

    Raises
    ------
    PerpendError
        When the design names an insulation or a fixing that there is none of.
    """
    prices = prices or default_prices()
    rules = board_rules()
    by_id = {case.measured.id: case for case in cases}
    findings: list[Finding] = []
    room_results, wall_results, order = [], [], []
    for room in with_stray_walls(rooms, cases):
        inside = [by_id[w] for w in room.walls if w in by_id]
        boards, bad = _boards(room, inside, design=design, rules=rules)
        findings += bad
        heats = []
        for case in inside:
            wall, heat, bad = _wall(case, room, inside, design=design, prices=prices)
            wall_results.append(wall)
            findings += bad
            heats.append(heat)
        share = next((h.element_share for h in heats if h is not None), None)
        room_results.append(RoomEstimate(id=room.id, boards=boards, element_share=share))
        if boards is not None:
            order.append(_board_line(room, boards, design, prices))
    return Estimate(
        rooms=tuple(room_results), walls=tuple(wall_results), tape_list=(), order=tuple(order),
        findings=tuple(worst_first(findings)),
    )


def with_stray_walls(rooms: Sequence[Room], cases: Sequence[WallCase]) -> list[Room]:
    """Return the rooms, with a room for the walls that none of them names."""
    named = {w for room in rooms for w in room.walls if w is not None}
    found: list[Room] = []
    for room in rooms:
        extra = tuple(c.measured.id for c in cases if c.measured.id not in named and c.declared.room == room.id)
        named |= set(extra)
        found.append(replace(room, walls=(*room.walls, None, *extra)) if extra else room)
    stray = [c.measured.id for c in cases if c.measured.id not in named]
    for wall in stray:
        found.append(Room(id=f"room of {wall}", walls=(wall,)))
    return found


def _boards(
    room: Room, cases: Sequence[WallCase], *, design: Design, rules: BoardRules
) -> tuple[RoomBoards | None, list[Finding]]:
    findings: list[Finding] = []
    faces: list[Face] = []
    for case in cases:
        if not case.declared.line or case.declared.side != "inside":
            continue
        face, bad = lining_face(case)
        findings += bad
        if face is not None:
            faces.append(face)
    sizes = sizes_on_sale(design.insulation_mm)
    if not faces:
        return None, findings
    if not sizes:
        findings.append(Finding(
            code="B010", severity="stop", message=f"{room.id}: no board on sale has {design.insulation_mm:g} mm of insulation.",
            remedy="Choose a thickness from estimator/data/board_sizes.toml.", where={"room": room.id, "key": "insulation_mm"},
        ))
        return None, findings
    depth = round(make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing).build_up_mm)
    try:
        layout = lay_boards(faces, sizes=sizes, rules=rules, corners=corners_of(room, faces, depth))
    except ValueError as error:
        findings.append(Finding(
            code="B011", severity="stop", message=f"{room.id}: {error}.", remedy="Check the heights, or ask for boards of another length.",
            where={"room": room.id},
        ))
        return None, findings
    return _room_boards(layout, design), findings


def corners_of(room: Room, faces: Sequence[Face], depth: int) -> list[Corner]:
    """Return the corners where two linings meet; walls run clockwise, so that a wall's right end meets the next one's left."""
    at = {face.wall: n for n, face in enumerate(faces)}
    ring = list(room.walls)
    pairs = list(zip(ring, [*ring[1:], *ring[:1]], strict=True)) if len(ring) > 2 else list(zip(ring, ring[1:], strict=False))
    return [
        Corner(left_face=at[a], right_face=at[b], depth=depth)
        for a, b in pairs if a is not None and b is not None and a != b and a in at and b in at
    ]


def _room_boards(layout: RoomLayout, design: Design) -> RoomBoards:
    return RoomBoards(
        count=layout.count, lower_bound=layout.lower_bound, proved=layout.proved, board=layout.board,
        pieces=layout.pieces, offcuts=layout.offcuts, joints=layout.joints, column_count=layout.column_count,
        area_count=layout.area_count, foot_gaps_mm=layout.foot_gaps_mm, run_through=layout.run_through,
        waste_m2=layout.waste_m2,
        board_weight_kg=board_weight_kg(
            layout.board, insulation=design.insulation, insulation_mm=design.insulation_mm, board_mm=design.board_mm
        ),
    )


def _wall(
    case: WallCase, room: Room, neighbours: Sequence[WallCase], *, design: Design, prices: Prices
) -> tuple[WallEstimate, WallHeat | None, list[Finding]]:
    construction = judge_construction(case)
    findings = [*case.measured.findings, *construction.findings]
    heat = None
    if case.declared.line and case.declared.side == "inside":
        try:
            heat = compare_options(
                case, construction=construction, room=room, design=design, prices=prices.heat, neighbours=neighbours
            )
            findings += heat.findings
        except PerpendError as error:
            findings.append(Finding(
                code="B012", severity="stop", message=str(error), remedy="Change the design.", where={"wall": case.measured.id},
            ))
    stops = [f for f in findings if f.severity == "stop"]
    verdict = "cannot_say" if stops or heat is None else "not_before" if heat.conditions else "nothing_found_against"
    return WallEstimate(
        id=case.measured.id,
        u_existing={
            "from_calculated": heat.u_existing_calculated.value if heat else None,
            "from_measured": heat.u_existing_measured.value if heat else None,
        },
        options=tuple(option_entry(o) for o in heat.options) if heat else (), verdict=verdict,
        conditions=heat.conditions if heat else (), heat=heat, construction=construction,
    ), heat, findings


def option_entry(option: object) -> Mapping[str, object]:
    """Return a lining as estimate.json lists it: the record with its two transmittances under ``u``."""
    entry: dict[str, object] = {name: getattr(option, name) for name in option.__slots__}  # type: ignore[attr-defined]
    entry["u"] = {"from_calculated": entry.pop("u_from_calculated"), "from_measured": entry.pop("u_from_measured")}
    return entry


def _board_line(room: Room, boards: RoomBoards, design: Design, prices: Prices) -> OrderLine:
    size = boards.board
    return OrderLine(
        item="insulated plasterboard",
        spec=f"{design.insulation}, {design.insulation_mm:g} + {design.board_mm:g} mm, {size.width_mm} x {size.length_mm} mm",
        quantity=boards.count, unit="board", why=f"room {room.id}, cut plan",
        cost=prices.line(f"laminate_{size.length_mm}", boards.count),
    )
