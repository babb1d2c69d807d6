"""The whole estimate: measured walls, answers and prices in; boards, heat, order, tape list and verdict out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

from estimator.boards import BoardRules, BoardSize, board_rules, board_weight_kg, sizes_on_sale
from estimator.columns import Corner
from estimator.construction import Construction, judge_construction
from estimator.count_risk import Calls, CountRisk, count_risk
from estimator.faces import Face, is_lined, lining_face
from estimator.finishing import Seal, air_line, open_edges
from estimator.fixing import WallFixing, fix_wall
from estimator.heat_records import LiningOption, WallHeat
from estimator.inputs import Design, Room, Site, WallCase
from estimator.knock_on import FLUES, GAS, WATER, Move, what_moves
from estimator.layout import Joint, Offcut, Piece, RoomLayout, lay_boards
from estimator.linings import Lining, make_lining
from estimator.options import compare_options
from estimator.order import (
    Bill,
    Load,
    OrderLine,
    RoomBoardsOrder,
    Waste,
    make_bill,
    make_load,
    make_order,
    waste_by_kind,
)
from estimator.prices import Prices, default_prices
from estimator.reveals import OpeningLining, RevealBoards, RevealPiece, cut_reveals, reveal_linings
from estimator.rules import ASBESTOS_YEAR, said_no, said_yes
from estimator.sequence import Task, work_sequence
from estimator.tape_list import TapeItem, tape_list
from vision.findings import Finding, worst_first


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomBoards:
    """The boards of a room, ready for the order and the drawings.

    ``count`` is the fewest found at the measured sizes and ``lower_bound`` what no layout of the kind can beat;
    ``to_order`` is enough with 95 % probability. ``chance_more`` and ``chance_fewer`` are those of one board more and
    one fewer. ``column_count`` is the trade's rule of full columns, ``area_count`` area and a tenth.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _RoomWork:
    room: Room
    cases: tuple[WallCase, ...]
    faces: Mapping[str, Face]
    layout: RoomLayout | None
    risk: CountRisk | None


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
    lining = make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing)
    calls = Calls()
    findings: list[Finding] = []
    work = []
    by_id = {case.measured.id: case for case in cases}
    for room in with_stray_walls(rooms, cases):
        inside = tuple(by_id[w] for w in room.walls if w in by_id)
        done, bad = _lay_room(room, inside, lining=lining, rules=rules, calls=calls)
        work.append(done)
        findings += bad
    walls: list[WallEstimate] = []
    reveal_pieces: list[RevealPiece] = []
    shares: dict[str, float | None] = {}
    for done in work:
        for case in done.cases:
            wall, pieces, bad = _wall(case, done, lining=lining, design=design, prices=prices, rules=rules)
            walls.append(wall)
            reveal_pieces += pieces
            findings += bad
            if wall.heat is not None:
                shares[done.room.id] = wall.heat.element_share
    reveals, bad = cut_reveals(reveal_pieces, [o for w in walls for o in w.openings], rules=rules)
    findings += bad
    tape = tape_list(
        [c for c in cases if is_lined(c)],
        risks=[d.risk for d in work if d.risk is not None],
        openings=[o for w in walls for o in w.openings],
        heats={w.id: w.heat for w in walls if w.heat is not None},
        constructions={w.id: w.construction for w in walls if w.construction is not None},
        design=design,
        prices=prices,
        rules=rules,
    )
    boards = [_to_order(d) for d in work if d.layout is not None and d.risk is not None]
    fixings = [w.fixing for w in walls if w.fixing is not None]
    moves = [m for w in walls for m in w.moves]
    tasks = _tasks(cases, walls, boards, tape)
    order = make_order(
        boards,
        reveals=reveals,
        openings=[o for w in walls for o in w.openings],
        fixings=fixings,
        seals=[s for w in walls for s in w.seals],
        moves=moves,
        tasks=tasks,
        design=design,
        rules=rules,
        prices=prices,
        asbestos=any(_asbestos(c) for c in cases if is_lined(c)),
    )
    taped_walls = {item.wall for item in tape}
    return Estimate(
        rooms=tuple(
            RoomEstimate(id=d.room.id, boards=_room_boards(d, design), element_share=shares.get(d.room.id))
            for d in work
        ),
        walls=tuple(
            replace(w, verdict="tape_first") if w.verdict == "nothing_found_against" and w.id in taped_walls else w
            for w in walls
        ),
        tape_list=tuple(tape),
        order=tuple(order),
        bill=make_bill(order, tasks, prices),
        reveals=tuple(reveals),
        sequence=tuple(tasks),
        load=make_load(boards, reveals, order, design=design, rules=rules),
        waste=tuple(waste_by_kind(boards, reveals, design=design)),
        solver_calls=calls.made,
        findings=tuple(worst_first(findings)),
    )


def with_stray_walls(rooms: Sequence[Room], cases: Sequence[WallCase]) -> list[Room]:
    """Return the rooms, walls that name their room added behind a gap, and a room for each wall that has none."""
    named = {w for room in rooms for w in room.walls if w is not None}
    found: list[Room] = []
    for room in rooms:
        extra = tuple(c.measured.id for c in cases if c.measured.id not in named and c.declared.room == room.id)
        named |= set(extra)
        found.append(replace(room, walls=(*room.walls, None, *extra)) if extra else room)
    for case in cases:
        if case.measured.id not in named and case.declared.side == "inside":
            found.append(Room(id=case.declared.room or f"room of {case.measured.id}", walls=(case.measured.id,)))
    return found


def _lay_room(
    room: Room, cases: tuple[WallCase, ...], *, lining: Lining, rules: BoardRules, calls: Calls
) -> tuple[_RoomWork, list[Finding]]:
    findings: list[Finding] = []
    faces: dict[str, Face] = {}
    for case in cases:
        if is_lined(case):
            face, bad = lining_face(case)
            findings += bad
            if face is not None:
                faces[face.wall] = face
    nothing = _RoomWork(room=room, cases=cases, faces=faces, layout=None, risk=None)
    if not faces:
        return nothing, findings
    sizes = sizes_on_sale(lining.insulation_mm)
    where = {"room": room.id, "key": "insulation_mm"}
    if lining.family != "laminate":
        return nothing, [
            *findings,
            Finding(
                code="B013",
                severity="note",
                message=f"{room.id}: {lining.name} is no board with insulation on it, so no boards are laid out for "
                "it.",
                remedy="Compare it by heat, depth and cost; its own trade sets it out.",
                where=where,
            ),
        ]
    if not sizes:
        return nothing, [
            *findings,
            Finding(
                code="B010",
                severity="stop",
                message=f"{room.id}: no board on sale has {lining.insulation_mm:g} mm of insulation.",
                remedy=f"Choose one of {', '.join(f'{t:g}' for t in _thicknesses())} mm.",
                where=where,
            ),
        ]
    corners = corners_of(room, list(faces.values()), round(lining.build_up_mm))
    try:
        layout = lay_boards(list(faces.values()), sizes=sizes, rules=rules, corners=corners)
    except ValueError as error:
        return nothing, [
            *findings,
            Finding(
                code="B011",
                severity="stop",
                message=f"{room.id}: {error}.",
                remedy="Check the heights and openings, or ask for boards of another length.",
                where={"room": room.id},
            ),
        ]
    lined = [c for c in cases if c.measured.id in faces]
    risk = count_risk(room.id, lined, layout, sizes=sizes, corners=corners, rules=rules, calls=calls)
    return _RoomWork(room=room, cases=cases, faces=faces, layout=layout, risk=risk), [
        *findings,
        *_layout_findings(room, layout),
    ]


def _thicknesses() -> list[float]:
    from estimator.tables import read_table

    rows = read_table("board_sizes").rows.values()
    return sorted({float(t) for row in rows if row.get("use", "wall") == "wall" for t in row["insulation_mm"]})


def _layout_findings(room: Room, layout: RoomLayout) -> list[Finding]:
    found = []
    where = {"room": room.id}
    if not layout.proved:
        found.append(
            Finding(
                code="B014",
                severity="note",
                message=f"{room.id}: {layout.count} boards found, at least {layout.lower_bound} needed; not proved to "
                "be the fewest.",
                remedy="Order as found; a shorter list may exist.",
                where=where,
            )
        )
    near = sorted({j.wall for j in layout.joints if "jamb" in j.risk})
    if near:
        found.append(
            Finding(
                code="B015",
                severity="warn",
                message=f"{room.id}: a joint stands within the clearance of a jamb on {', '.join(near)}.",
                remedy="Tape and fill that joint with care; one more board would avoid it.",
                where=where,
            )
        )
    boxed = sorted({j.risk.removeprefix("in line with ") for j in layout.joints if j.risk.startswith("in line with ")})
    if boxed:
        found.append(
            Finding(
                code="B016",
                severity="note",
                message=f"{room.id}: a joint runs in line with {', '.join(boxed)}.",
                remedy="Have the electrician shift the box a hand's width.",
                where=where,
            )
        )
    if layout.board.on_order:
        found.append(
            Finding(
                code="B017",
                severity="note",
                message=f"{room.id}: boards of {layout.board.length_mm} mm are made to order and not taken back.",
                remedy="Ask for the lead time, and tape the heights before ordering.",
                where=where,
            )
        )
    return found


def corners_of(room: Room, faces: Sequence[Face], depth: int) -> list[Corner]:
    """Return the corners where two linings meet; clockwise, a wall's right end meets the next one's left."""
    at = {face.wall: n for n, face in enumerate(faces)}
    ring = list(room.walls)
    following = [*ring[1:], *(ring[:1] if len(ring) > 2 else [None])]
    return [
        Corner(left_face=at[a], right_face=at[b], depth=depth)
        for a, b in zip(ring, following, strict=True)
        if a in at and b in at and a is not None and b is not None and a != b
    ]


def _to_order(done: _RoomWork) -> RoomBoardsOrder:
    assert done.layout is not None and done.risk is not None  # asked only for rooms with boards
    return RoomBoardsOrder(
        room=done.room.id,
        board=done.layout.board,
        count=done.layout.count,
        to_order=done.risk.to_order,
        offcuts=done.layout.offcuts,
    )


def _room_boards(done: _RoomWork, design: Design) -> RoomBoards | None:
    layout, risk = done.layout, done.risk
    if layout is None or risk is None:
        return None
    more, fewer = risk.chances()
    return RoomBoards(
        count=layout.count,
        lower_bound=layout.lower_bound,
        proved=layout.proved,
        to_order=risk.to_order,
        chance_more=more,
        chance_fewer=fewer,
        board=layout.board,
        pieces=layout.pieces,
        offcuts=layout.offcuts,
        joints=layout.joints,
        joints_at_risk=layout.joints_at_risk,
        kept=layout.kept,
        column_count=layout.column_count,
        area_count=layout.area_count,
        foot_gaps_mm=layout.foot_gaps_mm,
        run_through=layout.run_through,
        used_m2=layout.used_m2,
        waste_m2=layout.waste_m2,
        board_weight_kg=board_weight_kg(
            layout.board, insulation=design.insulation, insulation_mm=design.insulation_mm, board_mm=design.board_mm
        ),
    )


def _wall(
    case: WallCase, done: _RoomWork, *, lining: Lining, design: Design, prices: Prices, rules: BoardRules
) -> tuple[WallEstimate, list[RevealPiece], list[Finding]]:
    wall = case.measured.id
    if not is_lined(case):
        return (
            WallEstimate(
                id=wall,
                lined=False,
                u_existing={"from_calculated": None, "from_measured": None},
                options=(),
                verdict="cannot_say",
                conditions=(),
                heat=None,
                construction=None,
                fixing=None,
                openings=(),
                moves=(),
                seals=(),
            ),
            [],
            [],
        )
    construction = judge_construction(case)
    findings = [*case.measured.findings, *construction.findings]
    heat, bad = _heat(case, construction, done, design=design, prices=prices)
    findings += bad
    openings, pieces, bad = (
        reveal_linings(case, build_up_mm=lining.build_up_mm, rules=rules) if lining.build_up_mm else ([], [], [])
    )
    findings += bad
    face = done.faces.get(wall)
    moves, bad = (
        what_moves(
            case,
            room=done.room,
            build_up_mm=lining.build_up_mm,
            lining_mm=lining.insulation_mm + lining.board_mm,
            layout=done.layout,
            openings=openings,
            rules=rules,
            neighbours=done.cases,
        )
        if lining.build_up_mm
        else ([], [])
    )
    findings += bad
    fixing, seals = None, []
    if face is not None and done.layout is not None:
        fixing = fix_wall(
            face,
            done.layout,
            features=case.measured.features,
            method=lining.fixing,
            insulation=lining.key,
            insulation_mm=lining.insulation_mm,
            board_mm=lining.board_mm,
            gap_mm=lining.gap_mm,
            rules=rules,
        )
        seals = air_line(face, done.layout, features=case.measured.features)
        findings += open_edges(seals, face, done.layout, features=case.measured.features)
    conditions = tuple(dict.fromkeys([*(heat.conditions if heat else ()), *_conditions(findings)]))
    measured = (done.layout is not None and face is not None) or lining.family != "laminate"
    return (
        WallEstimate(
            id=wall,
            lined=True,
            u_existing={
                "from_calculated": heat.u_existing_calculated.value if heat else None,
                "from_measured": heat.u_existing_measured.value if heat else None,
            },
            options=tuple(option_entry(o) for o in heat.options) if heat else (),
            verdict=_verdict(heat, measured, conditions, findings),
            conditions=conditions,
            heat=heat,
            construction=construction,
            fixing=fixing,
            openings=tuple(openings),
            moves=tuple(moves),
            seals=tuple(seals),
        ),
        list(pieces),
        findings,
    )


def _heat(
    case: WallCase, construction: Construction, done: _RoomWork, *, design: Design, prices: Prices
) -> tuple[WallHeat | None, list[Finding]]:
    heat = compare_options(
        case, construction=construction, room=done.room, design=design, prices=prices.heat, neighbours=done.cases
    )
    return heat, list(heat.findings)


SETTLED_FIRST = {
    "B030": "water pipes have moved to the warm side",
    "B031": "an engineer has looked at the flue or chimney breast",
    "B040": "the air line is closed",
}


def _conditions(findings: Sequence[Finding]) -> list[str]:
    return [SETTLED_FIRST[f.code] for f in findings if f.severity == "stop" and f.code in SETTLED_FIRST]


def _verdict(heat: WallHeat | None, measured: bool, conditions: Sequence[str], findings: Sequence[Finding]) -> str:
    """Return the verdict before the tape list is known; a stop that no condition settles leaves nothing to say."""
    unsettled = [f for f in findings if f.severity == "stop" and f.code not in SETTLED_FIRST]
    if heat is None or not measured or unsettled:
        return "cannot_say"
    return "not_before" if conditions else "nothing_found_against"


def option_entry(option: LiningOption) -> Mapping[str, object]:
    """Return a lining as estimate.json lists it: the record with its two transmittances under ``u``."""
    entry: dict[str, object] = {f.name: getattr(option, f.name) for f in fields(option)}
    entry["u"] = {"from_calculated": entry.pop("u_from_calculated"), "from_measured": entry.pop("u_from_measured")}
    return entry


def _asbestos(case: WallCase) -> bool:
    site: Site = case.site
    if said_yes(site.textured_coating):
        return True
    old = case.declared.built is None or case.declared.built < ASBESTOS_YEAR
    return old and not said_no(site.textured_coating)


def _tasks(
    cases: Sequence[WallCase],
    walls: Sequence[WallEstimate],
    boards: Sequence[RoomBoardsOrder],
    tape: Sequence[TapeItem],
) -> list[Task]:
    lined = [c for c in cases if is_lined(c)]
    if not lined:
        return []
    kinds = [f.kind.strip().lower().replace(" ", "_") for c in lined for f in c.measured.features]
    area = sum(w.fixing.board_area_m2 for w in walls if w.fixing is not None)
    length = sum(c.measured.width_mm.value for c in lined if c.measured.width_mm is not None) / 1000
    amounts = {
        "m2": area,
        "board": float(sum(b.to_order for b in boards)),
        "radiator": float(kinds.count("radiator")),
        "socket": float(sum(kinds.count(k) for k in ("socket", "switch", "data", "aerial", "light"))),
        "opening": float(sum(len(w.openings) for w in walls)),
        "pipe": float(sum(1 for k in kinds if k in WATER)),
        "m": length,
    }
    applies = {
        "asbestos": any(_asbestos(c) for c in lined),
        "damp": any(
            said_yes(c.site.damp) and str(c.site.damp).lower() not in ("none_seen", "none seen") for c in lined
        ),
        "gas": any(k in GAS or k in FLUES for k in kinds),
        "sockets": amounts["socket"] > 0,
        "tape": bool(tape),
        "joists": any(not said_no(c.site.joists) for c in lined),
        "radiators": amounts["radiator"] > 0,
        "pipes": amounts["pipe"] > 0,
        "openings": amounts["opening"] > 0,
        "services": amounts["radiator"] + amounts["socket"] > 0,
    }
    return work_sequence(amounts, applies)
