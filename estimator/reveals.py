"""Reveal linings: how thick the frame allows, the pieces for jambs, soffit and sill, and their boards."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimator.boards import BoardRules, BoardSize, sizes_on_sale
from estimator.cutting import CutPlan, cut_rectangles
from estimator.inputs import WallCase
from estimator.layout_records import Offcut, Piece
from estimator.outlines import Outline
from estimator.tables import read_table
from vision.findings import Finding
from vision.walls import MeasuredOpening

REVEAL_BOARD_MM = 12.5


@dataclass(frozen=True, slots=True, kw_only=True)
class RevealPiece:
    """One wanted piece: ``length_mm`` along the opening's edge, ``depth_mm`` from the frame to the new face."""

    wall: str
    opening: str
    role: str
    length_mm: int
    depth_mm: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningLining:
    """What goes into one opening. ``lining_mm`` is insulation + board, None where the frame allows none.

    ``reveal_mm`` is the old depth, ``depth_mm`` the new one. ``room_mm`` is what the frame shows less the clearance for
    bead and casement; None where nobody has measured it.
    ``window_board_mm`` is depth and length of a new window board, None for a door.
    """

    wall: str
    opening: str
    insulation_mm: float | None
    lining_mm: float | None
    room_mm: float | None
    jamb_length_mm: int
    soffit_length_mm: int
    depth_mm: int
    reveal_mm: float
    window_board_mm: tuple[int, int] | None
    bead_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RevealBoards:
    """The thin boards for all reveals: like the wall boards, counted and cut out."""

    count: int
    lower_bound: int
    proved: bool
    board: BoardSize
    insulation_mm: float
    board_mm: float
    pieces: tuple[Piece, ...]
    offcuts: tuple[Offcut, ...]


def reveal_bed_mm() -> float:
    """Return the bed of adhesive behind a reveal board [mm], as the heat part takes it."""
    return float(read_table("fixings").row("full_bed")["gap_mm"])


def reveal_area_m2(width_mm: float, height_mm: float, depth_mm: float) -> float:
    """Return the area of two jambs and a soffit [m²]."""
    return (2 * height_mm + width_mm) * depth_mm / 1e6


def reveal_linings(
    case: WallCase, *, build_up_mm: float, rules: BoardRules, wanted_mm: Mapping[str, float | None] | None = None
) -> tuple[list[OpeningLining], list[RevealPiece], list[Finding]]:
    """Return what goes into each opening of a wall, the pieces wanted, and what is not known.

    Parameters
    ----------
    case
        The wall.
    build_up_mm
        How far the wall comes forward; reveal pieces run out to the new face.
    rules
        Setting-out rules: clearance at the frame, overhang of a window board.
    wanted_mm
        By opening, the insulation that the heat part asks for [mm].
    """
    linings, pieces, findings = [], [], []
    for opening in case.measured.openings:
        lining, wanted, bad = _opening(case.measured.id, opening, build_up_mm, rules, (wanted_mm or {}).get(opening.id))
        findings += bad
        if lining is not None:
            linings.append(lining)
            pieces += wanted
    return linings, pieces, findings


def allowed_insulation_mm(visible_frame_mm: float, rules: BoardRules) -> float | None:
    """Return the thickest reveal insulation on sale that leaves the frame its clearance, or None [mm]."""
    room = visible_frame_mm - rules.bead_clear_mm - reveal_bed_mm() - REVEAL_BOARD_MM
    return max((t for t in reveal_thicknesses_mm() if t <= room + 1e-9), default=None)


def reveal_insulation_mm(visible_frame_mm: float, *, wanted_mm: float | None, rules: BoardRules) -> float | None:
    """Return the insulation that a reveal gets [mm], or None where the frame bars any; nowhere else is it decided.

    Parameters
    ----------
    visible_frame_mm
        Frame in sight beside the reveal [mm].
    wanted_mm
        The thinnest insulation that keeps mould away, by the heat part [mm]; None where nothing does or nobody knows,
        and the reveal then gets all that the frame leaves room for.
    rules
        Clearance for bead and casement.
    """
    room = allowed_insulation_mm(visible_frame_mm, rules)
    return room if room is None or wanted_mm is None else min(room, wanted_mm)


def reveal_thicknesses_mm() -> list[float]:
    """Return the insulation thicknesses of reveal boards on sale, thin to thick [mm]."""
    rows = read_table("board_sizes").rows.values()
    return sorted({float(t) for row in rows if row.get("use") == "reveal" for t in row["insulation_mm"]})


def _opening(
    wall: str, opening: MeasuredOpening, build_up_mm: float, rules: BoardRules, wanted_mm: float | None
) -> tuple[OpeningLining | None, list[RevealPiece], list[Finding]]:
    where = {"wall": wall, "opening": opening.id}
    if opening.width_mm is None or opening.height_mm is None:
        return None, [], []
    if opening.reveal_depth_mm is None:
        return (
            None,
            [],
            [
                Finding(
                    code="B020",
                    severity="warn",
                    message=f"{wall}, opening {opening.id}: the reveal's depth is not known, so its lining is not in "
                    "the order.",
                    remedy="Measure from the plaster face to the frame and enter reveal_depth_mm.",
                    where={**where, "key": "reveal_depth_mm"},
                )
            ],
        )
    findings = []
    shown = opening.visible_frame_mm
    insulation = reveal_insulation_mm(
        rules.visible_frame_mm if shown is None else shown, wanted_mm=wanted_mm, rules=rules
    )
    if shown is None:
        findings.append(
            Finding(
                code="B021",
                severity="warn",
                message=f"{wall}, opening {opening.id}: nobody has measured how much frame shows; "
                f"{insulation or 0:g} mm of insulation are taken for its reveal.",
                remedy="Measure from the plaster to the glass side of the frame: "
                f"{(insulation or 0) + REVEAL_BOARD_MM + reveal_bed_mm() + rules.bead_clear_mm:g} mm are needed, or "
                "hinges "
                "and handles foul the lining.",
                where={**where, "key": "visible_frame_mm"},
            )
        )
    elif insulation is None:
        least = reveal_thicknesses_mm()[0] + REVEAL_BOARD_MM + reveal_bed_mm() + rules.bead_clear_mm
        findings.append(
            Finding(
                code="B022",
                severity="warn",
                message=f"{wall}, opening {opening.id}: {shown:g} mm of frame show, and the thinnest reveal board "
                f"needs {least:g}.",
                remedy="Strip the reveal's plaster (it gains 15 to 20 mm) and measure again; a bare reveal grows "
                "mould beside a lined wall.",
                where={**where, "key": "visible_frame_mm"},
            )
        )
    depth = math.ceil(opening.reveal_depth_mm.value + build_up_mm)
    tall, wide = math.ceil(opening.height_mm.value), math.ceil(opening.width_mm.value)
    door = opening.kind == "door"
    board = (
        None
        if door
        else (
            math.ceil(opening.reveal_depth_mm.value + build_up_mm + rules.overhang_mm),
            math.ceil(wide + 2 * build_up_mm),
        )
    )
    lining = OpeningLining(
        wall=wall,
        opening=opening.id,
        insulation_mm=insulation,
        lining_mm=None if insulation is None else insulation + REVEAL_BOARD_MM,
        room_mm=None if shown is None else shown - rules.bead_clear_mm,
        jamb_length_mm=tall,
        soffit_length_mm=wide,
        depth_mm=depth,
        reveal_mm=round(opening.reveal_depth_mm.value, 1),
        window_board_mm=board,
        bead_m=(2 * tall + wide) / 1000,
    )
    if insulation is None:
        return lining, [], findings
    edges = [("reveal_jamb", tall), ("reveal_jamb", tall), ("reveal_soffit", wide)] + (
        [] if door else [("reveal_sill", wide)]
    )
    return (
        lining,
        [
            RevealPiece(wall=wall, opening=opening.id, role=role, length_mm=length, depth_mm=depth)
            for role, length in edges
        ],
        findings,
    )


def cut_reveals(
    pieces: Sequence[RevealPiece], linings: Sequence[OpeningLining], *, rules: BoardRules
) -> tuple[list[RevealBoards], list[Finding]]:
    """Return the reveal boards, one lot for each thickness of insulation, cut with the fewest boards found.

    A piece longer than a board is cut in equal parts; one deeper than a board is a finding.
    """
    thickness = {(li.wall, li.opening): li.insulation_mm for li in linings}
    lots, findings = [], []
    for insulation in sorted({t for t in thickness.values() if t is not None}):
        sizes = sizes_on_sale(insulation, use="reveal")
        mine = [p for p in pieces if thickness[p.wall, p.opening] == insulation]
        if not sizes or not mine:
            continue
        size = sizes[0]
        parts, too_deep = _parts(mine, size)
        findings += too_deep
        if parts:
            plan = cut_rectangles(
                [(p.depth_mm, p.length_mm) for p in parts], board=(size.width_mm, size.length_mm), kerf=rules.kerf_mm
            )
            lots.append(_lot(parts, plan, size, insulation, rules))
    return lots, findings


def _parts(pieces: Sequence[RevealPiece], size: BoardSize) -> tuple[list[RevealPiece], list[Finding]]:
    parts, findings = [], []
    for p in pieces:
        if p.depth_mm > size.width_mm:
            findings.append(
                Finding(
                    code="B023",
                    severity="warn",
                    message=f"{p.wall}, opening {p.opening}: a reveal {p.depth_mm} mm deep is deeper than a board is "
                    "wide.",
                    remedy="Line it as a wall of its own.",
                    where={"wall": p.wall, "opening": p.opening},
                )
            )
            continue
        count = math.ceil(p.length_mm / size.length_mm)
        length = math.ceil(p.length_mm / count)
        parts += [
            RevealPiece(wall=p.wall, opening=p.opening, role=p.role, length_mm=length, depth_mm=p.depth_mm)
        ] * count
    return parts, findings


def _lot(
    parts: Sequence[RevealPiece], plan: CutPlan, size: BoardSize, insulation: float, rules: BoardRules
) -> RevealBoards:
    pieces = []
    for cut in plan.cuts:
        p = parts[cut.piece]
        flat = _rectangle(0, 0, p.depth_mm, p.length_mm)
        pieces.append(
            Piece(
                id=f"{p.wall} {p.opening} {p.role.removeprefix('reveal_')} {cut.piece + 1}",
                wall=p.wall,
                role=p.role,
                on_wall=flat,
                board=cut.board + 1,
                on_board=_rectangle(cut.left, cut.bottom, cut.width, cut.height),
                turned_deg=90 if cut.turned else 0,
                opening=p.opening,
            )
        )
    offcuts = tuple(
        Offcut(board=b + 1, box=(x, y, x + w, y + h), reusable=min(w, h) >= rules.reusable_mm)
        for b, (x, y, w, h) in plan.offcuts
    )
    return RevealBoards(
        count=plan.boards,
        lower_bound=plan.lower_bound,
        proved=plan.proved,
        board=size,
        insulation_mm=insulation,
        board_mm=REVEAL_BOARD_MM,
        pieces=tuple(pieces),
        offcuts=offcuts,
    )


def _rectangle(x: float, y: float, w: float, h: float) -> Outline:
    return Outline(outer=((x, y), (x + w, y), (x + w, y + h), (x, y + h)))
