"""Everything that moves when a wall comes forward, by trade, with positions and what has to be bought for it."""

from __future__ import annotations

from collections.abc import Sequence

from estimator.boards import BoardRules
from estimator.faces import is_lined
from estimator.inputs import Room, WallCase
from estimator.knock_on_features import Move, Setting, feature_moves, wet_finding
from estimator.layout_records import RoomLayout
from estimator.reveals import OpeningLining
from estimator.rules import said_no, said_yes
from vision.findings import Finding

WET_ROOMS = ("bath", "shower", "wet", "wc", "toilet", "ensuite")
WAYS = ("stair", "hall", "landing", "corridor", "passage")


def what_moves(
    case: WallCase,
    *,
    room: Room,
    build_up_mm: float,
    lining_mm: float,
    layout: RoomLayout | None,
    openings: Sequence[OpeningLining],
    rules: BoardRules,
    neighbours: Sequence[WallCase] = (),
) -> tuple[list[Move], list[Finding]]:
    """Return what moves on one lined wall, and the findings that come with it.

    Parameters
    ----------
    case, room
        The wall and its room.
    build_up_mm, lining_mm
        How far the new face stands in front of the old one, and insulation + board alone [mm].
    layout
        The room's boards, for hole positions on the boards; None where none were laid.
    openings
        The reveals' linings.
    rules
        Overhang, returns and more.
    neighbours
        All walls of the room.
    """
    s = Setting(
        case=case,
        room=room,
        build_up_mm=build_up_mm,
        lining_mm=lining_mm,
        layout=layout,
        rules=rules,
        neighbours=tuple(neighbours),
    )
    moves: list[Move] = []
    findings: list[Finding] = []
    for feature in case.measured.features:
        more, bad = feature_moves(s, feature)
        moves += more
        findings += bad
    for opening in openings:
        moves += _opening_moves(s, opening)
    for part in (_skirting, _coving, _ends, _floor, _furniture):
        more, bad = part(s)
        moves += more
        findings += bad
    findings += _room_findings(s)
    return sorted(moves, key=lambda m: (TRADES.index(m.trade), m.thing, m.action)), findings


TRADES = (
    "gas engineer",
    "electrician",
    "plumber",
    "asbestos surveyor",
    "building professional",
    "joiner",
    "plasterer",
    "yourself",
)


def _opening_moves(s: Setting, opening: OpeningLining) -> list[Move]:
    wall = opening.wall
    moves = []
    if opening.window_board_mm is not None:
        depth, length = opening.window_board_mm
        moves.append(
            Move(
                trade="joiner",
                wall=wall,
                thing=opening.opening,
                action=f"new window board {depth} deep x {length} long: reveal {opening.reveal_mm:g} + build-up "
                f"{s.build_up_mm:g} + overhang {s.rules.overhang_mm}",
                where_mm={"depth_mm": float(depth), "length_mm": float(length)},
                buy={"window_board": length / 1000},
            )
        )
        moves.append(
            Move(
                trade="joiner",
                wall=wall,
                thing=opening.opening,
                action="curtain pole or blind: set a timber behind the board over the opening",
                buy={"pattress_timber": opening.soffit_length_mm / 1000 + 0.3},
            )
        )
        moves.append(
            Move(
                trade="yourself",
                wall=wall,
                thing=opening.opening,
                action="open the casement and check that its handle and hinges clear the reveal lining",
                ask="Does the handle clear by more than a finger? A trickle vent stays open.",
            )
        )
    else:
        moves.append(
            Move(
                trade="joiner",
                wall=wall,
                thing=opening.opening,
                action=f"widen the door lining by {s.build_up_mm:g} mm and refix the architrave; check that the door "
                "still opens far enough",
                where_mm={"extra_mm": s.build_up_mm},
            )
        )
    return moves


def _skirting(s: Setting) -> tuple[list[Move], list[Finding]]:
    wall = s.case.measured
    if wall.width_mm is None:
        return [], []
    doors = sum(o.width_mm.value for o in wall.openings if o.kind == "door" and o.width_mm is not None)
    length = (wall.width_mm.value - doors) / 1000
    return [
        Move(
            trade="joiner",
            wall=wall.id,
            thing="skirting",
            action=f"take off the skirting and refix or replace it on the new face ({length:.1f} m); cut the "
            f"skirtings of the side walls back by {s.build_up_mm:g} mm, "
            "so that no timber bridges the lining at the corners",
            where_mm={"cut_back_mm": s.build_up_mm},
            buy={"skirting": length},
        ),
    ], []


def _coving(s: Setting) -> tuple[list[Move], list[Finding]]:
    kinds = {f.kind.strip().lower() for f in s.case.measured.features}
    if (
        not kinds & {"coving", "coving line", "cornice", "picture rail", "picture_rail"}
        or s.case.measured.width_mm is None
    ):
        return [], []
    length = s.case.measured.width_mm.value / 1000
    return [
        Move(
            trade="plasterer",
            wall=s.case.measured.id,
            thing="coving",
            action=f"cut off or rerun the coving over {length:.1f} m: boards go tight to the ceiling",
            buy={"coving": length},
            caution="Old coving and ceilings may hold asbestos or lead paint: have them looked at before cutting.",
        )
    ], []


def _ends(s: Setting) -> tuple[list[Move], list[Finding]]:
    """Say what happens where the lining meets walls that are not lined: returns, and what is behind party walls."""
    wall = s.case.measured.id
    ring = list(s.room.walls)
    if wall not in ring or s.case.measured.height_mm is None or s.rules.return_mm <= 0:
        return [], []
    by_id = {c.measured.id: c for c in s.neighbours}
    at = ring.index(wall)
    beside = [
        ("left", ring[at - 1] if at or len(ring) > 2 else None),
        ("right", ring[(at + 1) % len(ring)] if at + 1 < len(ring) or len(ring) > 2 else None),
    ]
    moves = []
    for side, name in beside:
        other = by_id.get(name) if name is not None else None
        if name == wall or (other is not None and is_lined(other)):
            continue
        faces = other.declared.faces if other is not None else "unknown"
        area = s.rules.return_mm / 1000 * s.case.measured.height_mm.value / 1000
        what = {"party": "the party wall", "partition": "the partition"}.get(faces, "the wall")
        moves.append(
            Move(
                trade="yourself",
                wall=wall,
                thing=f"return at the {side} end",
                action=f"return the insulation {s.rules.return_mm} mm along {what} at the {side} end ({area:.1f} m2, "
                "thinner board, tapered or straight), not in the board order; the heat part tells the gain",
                where_mm={"length_mm": float(s.rules.return_mm)},
                ask="A masonry wall that runs into the cold one needs the return; a stud partition does not."
                if faces != "party"
                else "Tell the neighbour; the party wall is shared.",
            )
        )
    return moves, []


def _floor(s: Setting) -> tuple[list[Move], list[Finding]]:
    wall, joists = s.case.measured.id, s.case.site.joists
    moves = [
        Move(
            trade="yourself",
            wall=wall,
            thing="floor edge",
            action="boards end above the floor and above the damp-proof course; seal the foot, take up carpet and the "
            "boards along the wall",
            where_mm={
                "foot_gap_mm": float(
                    s.layout.foot_gaps_mm.get(wall, s.rules.foot_gap_mm) if s.layout else s.rules.foot_gap_mm
                )
            },
        )
    ]
    if not said_no(joists):
        runs = str(joists) if isinstance(joists, str) else "not known"
        moves.append(
            Move(
                trade="building professional",
                wall=wall,
                thing="floor void",
                action=f"lift a board at the wall and look at the joists (said: {runs}); carry insulation down "
                "between them only where it is dry and ventilated",
                ask="Are joist ends built into this wall? Lining makes them colder and wetter: decay is the risk.",
            )
        )
    return moves, []


def _furniture(s: Setting) -> tuple[list[Move], list[Finding]]:
    return [
        Move(
            trade="yourself",
            wall=s.case.measured.id,
            thing="fitted furniture",
            action="take out what is fitted against the wall, or line behind it as an item of its own: a gap left "
            "bare is the coldest place in the room",
            ask="Wardrobe, kitchen units, bath, stair string, pipes in boxing: anything that no photo shows?",
        )
    ], []


def _room_findings(s: Setting) -> list[Finding]:
    name, wall = s.room.id.lower(), s.case.measured.id
    found = []
    if any(word in name for word in WET_ROOMS):
        found.append(wet_finding(wall, f"the room is called {s.room.id}"))
    clear = s.case.site.extra.get("clear_width_mm")
    if any(word in name for word in WAYS) or clear is not None:
        width = float(clear) - s.build_up_mm if isinstance(clear, int | float) and not isinstance(clear, bool) else None
        said = (
            f"{width:.0f} mm of clear width are left after lining"
            if width is not None
            else f"the way gets {s.build_up_mm:g} mm narrower"
        )
        found.append(
            Finding(
                code="B036",
                severity="warn",
                message=f"{wall}: on a stair or passage {said}.",
                remedy="Measure the clear width (extra.clear_width_mm) and ask building control: a way out must stay "
                "wide enough and its lining must not feed a fire.",
                where={"wall": wall, "room": s.room.id},
            )
        )
    if said_yes(s.case.site.extra.get("flue")):
        found.append(
            Finding(
                code="B037",
                severity="warn",
                message=f"{wall}: a flue, fire or boiler is said to be on or near it.",
                remedy="Mark it in a photo and ask a registered gas or solid-fuel engineer before ordering.",
                where={"wall": wall},
            )
        )
    return found
