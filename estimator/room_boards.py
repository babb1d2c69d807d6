"""The boards of one room: faces, corners, layout, how sure the count is, and what stands against it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from estimator.boards import BoardRules, board_weight_kg, sizes_on_sale
from estimator.break_points import CALLS, Calls
from estimator.count_risk import FILLED_MM, CountRisk, count_risk
from estimator.estimate_records import RoomBoards
from estimator.faces import Face, is_lined, lining_face
from estimator.inputs import Design, Room, WallCase
from estimator.layout import lay_boards
from estimator.layout_records import RoomLayout
from estimator.linings import Lining
from estimator.more_readings import readings_wanted
from estimator.order_materials import RoomBoardsOrder
from estimator.setting_out import Corner
from estimator.tape_reasons import at_stake
from vision.findings import Finding

ENOUGH = 0.05  # boards are ordered so that they are too few with no more than this chance (``CountRisk.to_order``)
LEAST_CALLS = 12  # both ends, five halvings of the widths, a few of the other sizes (judgement)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomWork:
    room: Room
    cases: tuple[WallCase, ...]
    faces: Mapping[str, Face]
    layout: RoomLayout | None
    risk: CountRisk | None


def calls_for(rooms_left: int, *, made: int) -> Calls:
    """Return the solver calls of the next room: its share of those that the survey has left, and never too few.

    Parameters
    ----------
    rooms_left
        Rooms still to be laid, this one among them.
    made
        Calls made for the rooms before.
    """
    return Calls(left=max(LEAST_CALLS, (CALLS - made) // max(1, rooms_left)))


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


def lay_room(
    room: Room, cases: tuple[WallCase, ...], *, lining: Lining, rules: BoardRules, calls: Calls
) -> tuple[RoomWork, list[Finding]]:
    """Return the boards of a room with their risk, and the findings that come with them."""
    findings: list[Finding] = []
    faces: dict[str, Face] = {}
    for case in cases:
        if is_lined(case):
            face, bad = lining_face(case)
            findings += bad
            if face is not None:
                faces[face.wall] = face
    nothing = RoomWork(room=room, cases=cases, faces=faces, layout=None, risk=None)
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
    return RoomWork(room=room, cases=cases, faces=faces, layout=layout, risk=risk), [
        *findings,
        *_layout_findings(room, layout),
        *_length_in_doubt(room, lined, risk, layout, rules),
        *_asked_to_the_end(room, layout, calls),
        *_gap_to_fill(room, risk),
    ]


def _length_in_doubt(
    room: Room, cases: Sequence[WallCase], risk: CountRisk, layout: RoomLayout, rules: BoardRules
) -> list[Finding]:
    """Return a finding where no further reading can settle how long the boards must be."""
    left = []
    for case in cases:
        dim = (case.measured.id, "height_mm")
        chance, size = risk.length_flip.get(dim, 0.0), case.measured.height_mm
        if size is not None and chance > rules.tape_count_chance and not readings_wanted(case, dim[1], size):
            left.append((chance, dim))
    if not left:
        return []
    chance, dim = max(left)
    shorter, longer = sorted((layout.board.length_mm, risk.other_length_mm[dim]))
    return [
        Finding(
            code="B018",
            severity="warn",
            message=f"{room.id}: boards of {layout.board.length_mm} mm are planned, and no reading can settle whether "
            f"boards of {risk.other_length_mm[dim]} mm are needed instead ({at_stake(chance)}).",
            remedy=f"Boards of {longer} mm are safe: they can be cut. Those of {shorter} mm do where a lath of "
            f"{shorter + rules.foot_gap_most_mm} mm cannot be stood upright anywhere along {dim[0]} without force.",
            where={"room": room.id, "wall": dim[0], "key": "height_mm"},
        )
    ]


def _asked_to_the_end(room: Room, layout: RoomLayout, calls: Calls) -> list[Finding]:
    """Return a finding where the calls ran out before it was known how the count hangs on every size."""
    if calls.left > 0:
        return []
    return [
        Finding(
            code="B041",
            severity="note",
            message=f"{room.id}: how {layout.count} boards hang on each size was asked {calls.made} times and not to "
            "the end; a size not asked about counts as changing nothing, so the chance of one more may be higher.",
            remedy="Tape the widths and openings before you order, or take one board more.",
            where={"room": room.id},
        )
    ]


def _gap_to_fill(room: Room, risk: CountRisk) -> list[Finding]:
    """Return a finding where one more board is not ordered because what would be missing is a gap that is filled.

    Notes
    -----
    The foot of a board hides behind the skirting, an inner corner behind the next lining, its coving or its tape. A
    joint out on the wall is filled and taped just as well, but at a jamb the bead needs board behind it.
    """
    short = risk.chances()[0]
    if short <= ENOUGH or risk.to_order != risk.count:
        return []
    return [
        Finding(
            code="B042",
            severity="note",
            message=f"{room.id}: {at_stake(short)} that {risk.count} boards end a little short of the wall; up to "
            f"{FILLED_MM:g} mm is left as a gap and filled, and no board is ordered for it.",
            remedy="Let the gap fall into an inner corner or under the coving, not at a jamb, and fill and tape it; "
            "where none may be left, order one more.",
            where={"room": room.id},
        )
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


def to_order(done: RoomWork) -> RoomBoardsOrder:
    """Return what the room adds to the order; only for a room with boards."""
    assert done.layout is not None and done.risk is not None  # asked only for rooms with boards
    return RoomBoardsOrder(
        room=done.room.id,
        board=done.layout.board,
        count=done.layout.count,
        to_order=done.risk.to_order,
        offcuts=done.layout.offcuts,
    )


def boards_entry(done: RoomWork, design: Design) -> RoomBoards | None:
    """Return a room's boards as the estimate lists them, or None where none were laid."""
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
