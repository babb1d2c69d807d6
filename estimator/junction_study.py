"""How far to return a lining and how thick a reveal board must be: the junctions of one lined wall together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from estimator.boards import board_rules
from estimator.junction_models import (
    LEAST_FACTOR,
    JunctionResult,
    corner_section,
    floor_section,
    half_of,
    partition_section,
    reveal_section,
    solve_junction,
)
from estimator.layers import Layer, solid_layer, thickness_mm
from estimator.linings import Lining, make_lining
from estimator.reveals import REVEAL_BOARD_MM, reveal_insulation_mm, reveal_thicknesses_mm
from vision.walls import DeclaredOpening, MeasuredOpening

RETURNS_MM = (0.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 800.0, 1000.0)
REVEAL_FRAME_MM = 70.0  # invented default: a modern frame's depth
REVEAL_RESISTANCE_M2K_W = 0.34  # from memory (low confidence): common target for linings of reveals
NEAR_FINAL = 0.10  # invented default: a longer return is not worth it when it saves under a tenth of the heat


@dataclass(frozen=True, slots=True, kw_only=True)
class RevealBoard:
    """A board for the reveal: its insulation and whole thickness [mm], and whether it leaves the frame enough sight."""

    insulation_mm: float
    thickness_mm: float
    resistance_m2k_w: float
    fits: bool | None
    result: JunctionResult


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowJunction:
    """One window's jamb: as it is, lined with the reveal left plain, and with reveal boards.

    ``advised`` is the thinnest board that reaches the factor away from the frame, None where none does; ``chosen`` the
    one that is ordered, None where the frame leaves room for none.
    """

    openings: tuple[str, ...]
    outer_reveal_mm: float
    frame_mm: float
    visible_frame_mm: float
    assumed: tuple[str, ...]
    before: JunctionResult
    plain: JunctionResult
    boards: tuple[RevealBoard, ...]
    advised: RevealBoard | None
    chosen: RevealBoard | None


@dataclass(frozen=True, slots=True, kw_only=True)
class JunctionStudy:
    """The junctions of a lined wall.

    ``returns`` are for lining on both sides of the partition, the colder case for this room, by its length;
    ``one_sided`` is lining on this side alone without a return: ``f_rsi_next_room`` there says what the neighbour gets.
    ``advised_return_mm`` is the shortest return that reaches the factor with little left to gain. ``corner_bare`` is
    an outer corner whose other wall stays bare, ``corner_lined`` one where both are lined.
    """

    partition: str
    before: JunctionResult
    returns: tuple[JunctionResult, ...]
    one_sided: JunctionResult
    advised_return_mm: float | None
    floor_open: JunctionResult
    floor_closed: JunctionResult
    corner_before: JunctionResult
    corner_bare: JunctionResult
    corner_lined: JunctionResult
    windows: tuple[WindowJunction, ...]
    words: tuple[str, ...]


def study_junctions(
    wall: Sequence[Layer],
    lining: Lining,
    *,
    party: bool | None,
    outer: tuple[bool, ...] = (),
    openings: Sequence[tuple[MeasuredOpening, DeclaredOpening | None]] = (),
) -> JunctionStudy:
    """Return the junctions of a wall with one lining.

    Parameters
    ----------
    wall
        The wall before lining, from outside to inside.
    lining
        The lining on its inside.
    party
        Whether the wall meets a party wall (one brick) or a partition (half a brick); None, not known, takes the
        party wall, the colder of the two.
    outer
        For each outer wall of the room that shares a corner with this one: whether it is lined.
    openings
        The windows and doors, as measured and as declared.
    """
    partition = _partition(party is not False)
    name = {True: "party wall", False: "partition", None: "party wall or partition"}[party]
    before = solve_junction(half_of(partition_section(wall, None, partition=partition)), name=name, variant_mm=0.0)
    returns = tuple(
        solve_junction(
            half_of(partition_section(wall, lining, partition=partition, return_mm=mm, both_sides=True)),
            name=name,
            variant_mm=mm,
        )
        for mm in RETURNS_MM
    )
    one_sided = solve_junction(partition_section(wall, lining, partition=partition), name=name, variant_mm=0.0)
    floors = [
        solve_junction(floor_section(wall, lining, through=through), name="timber floor", variant_mm=float(through))
        for through in (False, True)
    ]
    corners = [
        solve_junction(corner_section(wall, on, other_lined=both), name="outer corner", variant_mm=0.0)
        for on, both in ((None, False), (lining, False), (lining, True))
    ]
    windows = _windows(wall, lining, openings)
    advised = advised_return_mm(returns)
    return JunctionStudy(
        partition=name,
        before=before,
        returns=returns,
        one_sided=one_sided,
        advised_return_mm=advised,
        floor_open=floors[0],
        floor_closed=floors[1],
        corner_before=corners[0],
        corner_bare=corners[1],
        corner_lined=corners[2],
        windows=windows,
        words=(
            _return_words(name, returns, advised),
            *_neighbour_words(name, before, one_sided),
            _floor_words(floors),
            *_corner_words(corners, outer),
            *(_window_words(window) for window in windows),
        ),
    )


def advised_return_mm(returns: Sequence[JunctionResult]) -> float | None:
    """Return the shortest return [mm] that reaches 0.75 and leaves under a tenth of the heat to be saved, or None.

    Parameters
    ----------
    returns
        The junction by length of the return, the longest last.
    """
    longest = returns[-1]
    gain = returns[0].psi_w_mk - longest.psi_w_mk
    for result in returns:
        left = result.psi_w_mk - longest.psi_w_mk
        if result.f_rsi >= LEAST_FACTOR and left <= NEAR_FINAL * gain + 1e-9:
            return result.variant_mm
    return None


def _partition(party: bool) -> tuple[Layer, ...]:
    plaster = solid_layer("gypsum_plaster_dense", 13.0)
    return plaster, solid_layer("brick_inner", 215.0 if party else 102.5), plaster


def _windows(
    wall: Sequence[Layer], lining: Lining, openings: Sequence[tuple[MeasuredOpening, DeclaredOpening | None]]
) -> tuple[WindowJunction, ...]:
    """Return the windows' junctions, openings of one geometry together."""
    groups: dict[tuple[float, float, float, tuple[str, ...]], list[str]] = {}
    for measured, declared in openings:
        groups.setdefault(_jamb(wall, measured, declared), []).append(measured.id)
    found = []
    for (outer, frame, visible, assumed), ids in groups.items():
        found.append(_window(wall, lining, ids=ids, outer=outer, frame=frame, visible=visible, assumed=assumed))
    return tuple(found)


def _jamb(
    wall: Sequence[Layer], measured: MeasuredOpening, declared: DeclaredOpening | None
) -> tuple[float, float, float, tuple[str, ...]]:
    """Return outer reveal, frame depth and frame in sight [mm], and which of them had to be assumed."""
    assumed = []
    frame = measured.frame_mm or (declared.frame_mm if declared else None)
    if frame is None:
        frame = REVEAL_FRAME_MM
        assumed.append(f"frame {frame:g} mm deep")
    visible = measured.visible_frame_mm or (declared.visible_frame_mm if declared else None)
    if visible is None:
        visible = board_rules().visible_frame_mm
        assumed.append(f"{visible:g} mm of frame in sight")
    face = thickness_mm(wall)
    if measured.outer_reveal_mm is not None:
        outer = measured.outer_reveal_mm.value
    elif measured.reveal_depth_mm is not None:
        outer = face - frame - measured.reveal_depth_mm.value
    else:
        outer = 30.0
        assumed.append("outer reveal 30 mm")
    # The whole wall is the layers' thickness: a frame that would stand proud of it is set back to the nearest face.
    outer = min(max(outer, 0.0), max(0.0, face - frame - 10.0))
    return round(outer), round(frame), visible, tuple(assumed)


def _window(
    wall: Sequence[Layer],
    lining: Lining,
    *,
    ids: Sequence[str],
    outer: float,
    frame: float,
    visible: float,
    assumed: tuple[str, ...],
) -> WindowJunction:
    rules = board_rules()
    clearance = rules.bead_clear_mm

    def solve(with_lining: Lining | None, reveal: Lining | None, variant_mm: float) -> JunctionResult:
        section = reveal_section(
            wall,
            with_lining,
            outer_reveal_mm=outer,
            frame_mm=frame,
            # The board covers part of the frame; beyond it some frame is always in the section.
            visible_frame_mm=round(max(visible, (reveal.build_up_mm if reveal else 0.0) + clearance)),
            reveal=None if reveal is None else reveal.inside,
        )
        return solve_junction(section, name="window jamb", variant_mm=variant_mm)

    boards = []
    for mm in (0.0, *reveal_thicknesses_mm()):
        board = make_lining(_reveal_insulation(lining), mm, board_mm=REVEAL_BOARD_MM, fixing="full_bed")
        boards.append(
            RevealBoard(
                insulation_mm=mm,
                thickness_mm=board.build_up_mm,
                resistance_m2k_w=sum(layer.resistance_m2k_w for layer in board.inside),
                fits=board.build_up_mm + clearance <= visible,
                result=solve(lining, board, mm),
            )
        )
    advised = next(
        (
            b
            for b in boards
            if b.result.f_rsi_away is not None
            and b.result.f_rsi_away >= LEAST_FACTOR
            and b.resistance_m2k_w >= REVEAL_RESISTANCE_M2K_W
        ),
        None,
    )
    taken = reveal_insulation_mm(visible, wanted_mm=advised.insulation_mm if advised else None, rules=rules)
    return WindowJunction(
        openings=tuple(ids),
        outer_reveal_mm=outer,
        frame_mm=frame,
        visible_frame_mm=visible,
        assumed=assumed,
        before=solve(None, None, 0.0),
        plain=solve(lining, None, 0.0),
        boards=tuple(boards),
        advised=advised,
        chosen=next((b for b in boards if b.insulation_mm == taken), None),
    )


def _reveal_insulation(lining: Lining) -> str:
    return lining.key if lining.family == "laminate" and lining.key != "mineral_wool" else "pir"


def _return_words(name: str, returns: Sequence[JunctionResult], advised: float | None) -> str:
    if advised is None:
        return (
            f"No return up to {returns[-1].variant_mm:g} mm along the {name} reaches the surface temperature factor "
            f"{LEAST_FACTOR:.2f}: ask a professional."
        )
    at = next(r for r in returns if r.variant_mm == advised)
    if advised == 0:
        return f"The corner with the {name} reaches {at.f_rsi:.2f} without a return ({LEAST_FACTOR:.2f} is the least)."
    return (
        f"Return the lining {advised:g} mm along the {name}: the coldest corner goes from {returns[0].f_rsi:.2f} "
        f"without a return to {at.f_rsi:.2f} ({LEAST_FACTOR:.2f} is the least)."
    )


def _neighbour_words(name: str, before: JunctionResult, one_sided: JunctionResult) -> tuple[str, ...]:
    beyond = one_sided.f_rsi_next_room
    if beyond is None:
        return ()
    return (
        f"Beyond the {name}, a corner that stays bare gets colder: from {before.f_rsi:.2f} to {beyond:.2f}. "
        "Tell whoever lives there.",
    )


def _floor_words(floors: Sequence[JunctionResult]) -> str:
    spared = floors[0].psi_w_mk - floors[1].psi_w_mk
    return (
        f"Where a timber floor meets the wall, carry the insulation through the joist void: {floors[0].f_rsi:.2f} "
        f"without, {floors[1].f_rsi:.2f} with, and {spared:.2f} W/mK less lost; have the joist ends looked at first."
    )


def _corner_words(corners: Sequence[JunctionResult], outer: tuple[bool, ...]) -> tuple[str, ...]:
    before, bare, lined = (corner.f_rsi for corner in corners)
    words = []
    if False in outer:
        words.append(
            f"In the corner with an outer wall left bare, the coldest place goes from {before:.2f} to {bare:.2f}: "
            "line that wall too, or watch it for mould."
        )
    if True in outer:
        words.append(
            f"In the corner of two lined outer walls, the coldest place goes from {before:.2f} to {lined:.2f}."
        )
    return tuple(words)


def _window_words(window: WindowJunction) -> str:
    where = ", ".join(window.openings)
    start = (
        f"{where}: with the wall lined and the reveal left plain, the line along the frame falls from "
        f"{window.before.f_rsi:.2f} to {window.plain.f_rsi:.2f}"
    )
    board, wanted = window.chosen, window.advised
    if board is None:
        return f"{start}; {window.visible_frame_mm:g} mm of frame in sight leave no room: strip the old plaster."
    words = (
        f"{start}; a reveal board with {board.insulation_mm:g} mm of insulation ({board.thickness_mm:g} mm with its "
        f"bed) brings the reveal to {board.result.f_rsi_away:.2f} and the line along the frame to "
        f"{board.result.f_rsi:.2f}"
    )
    if wanted is not None and wanted.fits:
        return f"{words}."
    limit = f"{words}; {window.visible_frame_mm:g} mm of frame in sight leave room for no more"
    if wanted is None:
        return f"{limit}, and no reveal board on sale reaches {LEAST_FACTOR:.2f}: ask a professional."
    return (
        f"{limit}. With the old plaster stripped, {wanted.insulation_mm:g} mm would bring "
        f"{wanted.result.f_rsi_away:.2f}."
    )
