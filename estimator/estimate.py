"""The whole estimate: measured walls, answers and prices in; boards, heat, order, tape list and verdict out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import date

from estimator.bill import make_bill, make_load, waste_by_kind
from estimator.boards import BoardRules, board_rules
from estimator.construction import Construction, judge_construction
from estimator.estimate_records import Estimate, RoomEstimate, WallEstimate
from estimator.faces import is_lined
from estimator.finishing import air_line, open_edges
from estimator.fixing import fix_wall
from estimator.heat_records import LiningOption, WallHeat
from estimator.inputs import Design, Room, Site, WallCase
from estimator.knock_on import what_moves
from estimator.knock_on_features import FLUES, GAS, WATER
from estimator.linings import Lining, make_lining
from estimator.more_readings import with_more_readings
from estimator.options import compare_options
from estimator.order import make_order
from estimator.order_materials import RoomBoardsOrder
from estimator.prices import Prices, default_prices
from estimator.readings_apart import readings_apart
from estimator.reveals import RevealPiece, cut_reveals, reveal_linings
from estimator.room_boards import RoomWork, boards_entry, calls_for, lay_room, to_order, with_stray_walls
from estimator.rules import ASBESTOS_YEAR, said_no, said_yes
from estimator.sequence import Task, work_sequence
from estimator.settled_first import ANSWERED, settled_by_findings, what_it_is_made_of
from estimator.tape_list import tape_list
from estimator.tape_reasons import TapeItem
from vision.findings import Finding, worst_first


def estimate_survey(
    cases: Sequence[WallCase],
    *,
    rooms: Sequence[Room],
    design: Design,
    prices: Prices | None = None,
    on: date | None = None,
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
    on
        The day that dated rules are held against; without it nothing is called out of date.

    Raises
    ------
    PerpendError
        When the design names an insulation or a fixing that there is none of.
    """
    prices = prices or default_prices()
    rules = board_rules()
    lining = make_lining(design.insulation, design.insulation_mm, board_mm=design.board_mm, fixing=design.fixing)
    made = 0
    findings: list[Finding] = [finding for case in cases for finding in readings_apart(case)]
    work = []
    cases = [with_more_readings(case) for case in cases]
    by_id = {case.measured.id: case for case in cases}
    all_rooms = with_stray_walls(rooms, cases)
    for n, room in enumerate(all_rooms):
        inside = tuple(by_id[w] for w in room.walls if w in by_id)
        calls = calls_for(len(all_rooms) - n, made=made)
        done, bad = lay_room(room, inside, lining=lining, rules=rules, calls=calls)
        made += calls.made
        work.append(done)
        findings += bad
    walls: list[WallEstimate] = []
    reveal_pieces: list[RevealPiece] = []
    shares: dict[str, float | None] = {}
    for done in work:
        for case in done.cases:
            wall, pieces, bad = _wall(case, done, lining=lining, design=design, prices=prices, rules=rules, on=on)
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
    boards = [to_order(d) for d in work if d.layout is not None and d.risk is not None]
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
            RoomEstimate(id=d.room.id, boards=boards_entry(d, design), element_share=shares.get(d.room.id))
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
        solver_calls=made,
        findings=tuple(worst_first(findings)),
    )


def _wall(
    case: WallCase,
    done: RoomWork,
    *,
    lining: Lining,
    design: Design,
    prices: Prices,
    rules: BoardRules,
    on: date | None,
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
    heat, bad = _heat(case, construction, done, design=design, prices=prices, on=on)
    findings += bad
    wanted, rules = _advised(heat, rules)
    openings, pieces, bad = (
        reveal_linings(case, build_up_mm=lining.build_up_mm, rules=rules, wanted_mm=wanted)
        if lining.build_up_mm
        else ([], [], [])
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
    by_rules = heat.conditions if heat else ()
    conditions = tuple(dict.fromkeys([*what_it_is_made_of(construction), *by_rules, *settled_by_findings(findings)]))
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


def _advised(heat: WallHeat | None, rules: BoardRules) -> tuple[dict[str, float | None], BoardRules]:
    """Return what the heat part asks of reveals and returns: insulation by opening [mm], rules with its return."""
    if heat is None or heat.junctions is None:
        return {}, rules
    wanted = {
        opening: None if window.advised is None else window.advised.insulation_mm
        for window in heat.junctions.windows
        for opening in window.openings
    }
    back = heat.junctions.advised_return_mm
    return wanted, rules if back is None else replace(rules, return_mm=round(back))


def _heat(
    case: WallCase, construction: Construction, done: RoomWork, *, design: Design, prices: Prices, on: date | None
) -> tuple[WallHeat | None, list[Finding]]:
    heat = compare_options(
        case,
        construction=construction,
        room=done.room,
        design=design,
        prices=prices.heat,
        neighbours=done.cases,
        on=on,
    )
    return heat, list(heat.findings)


def _verdict(heat: WallHeat | None, measured: bool, conditions: Sequence[str], findings: Sequence[Finding]) -> str:
    """Return the verdict before the tape list is known; a stop that no condition settles leaves nothing to say."""
    unsettled = [f for f in findings if f.severity == "stop" and f.code not in ANSWERED]
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
