"""Floor area under a lining: what a wall takes from its room, a lined corner counted once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from estimator.inputs import Room, WallCase


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorLoss:
    """What the floor area lost depends on: lengths [m], corners between lined walls, the room's floor area [m2]."""

    length_m: float | None
    corners: int
    room_length_m: float | None
    room_corners: int
    room_area_m2: float | None

    def own_m2(self, build_up_m: float) -> float | None:
        """Return this wall's loss [m2] at ``build_up_m`` [m], each lined corner shared between its two walls."""
        if self.length_m is None:
            return None
        return max(0.0, self.length_m * build_up_m - self.corners * build_up_m**2 / 2)

    def room_m2(self, build_up_m: float) -> float | None:
        """Return the loss [m2] of all lined walls of the room at ``build_up_m`` [m], each lined corner counted once."""
        if self.room_length_m is None:
            return None
        return floor_area_lost_m2(self.room_length_m, build_up_m, corners=self.room_corners)

    def share(self, area_m2: float | None) -> float | None:
        """Return the share (0 to 1) of ``area_m2`` in the room's floor, or None where either is missing."""
        return None if area_m2 is None or not self.room_area_m2 else area_m2 / self.room_area_m2


def floor_area_lost_m2(length_m: float, build_up_m: float, *, corners: int) -> float:
    """Return the floor area [m2] under linings of one depth, each lined corner counted once.

    Parameters
    ----------
    length_m
        Length of all lined walls [m], measured on the old face.
    build_up_m
        Depth of the lining [m].
    corners
        Number of corners between two lined walls.
    """
    return max(0.0, length_m * build_up_m - corners * build_up_m**2)


def neighbours_of(wall_id: str, room: Room | None) -> tuple[str, ...]:
    """Return the walls of ``room`` that share a corner with ``wall_id``."""
    return tuple(b if a == wall_id else a for a, b in wall_corners(room) if wall_id in (a, b))


def wall_corners(room: Room | None) -> tuple[tuple[str, str], ...]:
    """Return the pairs of walls that meet at a corner of the room.

    Notes
    -----
    Walls run clockwise and None marks a gap. The last wall meets the first only in a room of four entries or more:
    with fewer, the list cannot be the whole way round.
    """
    order = room.walls if room is not None else ()
    pairs = list(pairwise(order)) + ([(order[-1], order[0])] if len(order) > 3 else [])
    return tuple((a, b) for a, b in pairs if a is not None and b is not None)


def floor_loss(case: WallCase, room: Room | None, neighbours: Sequence[WallCase]) -> FloorLoss:
    """Return what the floor area lost depends on.

    Parameters
    ----------
    case
        The wall; it counts as lined.
    room
        Its room.
    neighbours
        The room's walls as far as they are known.
    """
    own = case.measured.id
    cases = {c.measured.id: c for c in (*neighbours, case)}
    in_room = {own, *(w for w in room.walls if w is not None)} if room is not None else {own}
    lined = {own} | {i for i, c in cases.items() if i in in_room and c.declared.line and c.declared.side == "inside"}
    corners = [pair for pair in wall_corners(room) if set(pair) <= lined]
    widths = {i: cases[i].measured.width_mm for i in sorted(lined)}
    known = [w.value / 1000 for w in widths.values() if w is not None]
    width = widths[own]
    return FloorLoss(
        length_m=None if width is None else width.value / 1000,
        corners=sum(own in pair for pair in corners),
        room_length_m=sum(known) if len(known) == len(widths) else None,
        room_corners=len(corners),
        room_area_m2=None if room is None else room.floor_area_m2,
    )
