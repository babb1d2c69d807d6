"""The boards of a room as records: pieces on the wall and on the board, offcuts, joints, and the layout as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from estimator.boards import BoardSize
from estimator.outlines import Outline
from estimator.setting_out import Keep


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A piece of board: where it stands (wall frame, mm) and what it is cut from (board frame, mm, face up).

    ``turned_deg`` is the turn anticlockwise from wall to board.
    """

    id: str
    wall: str
    role: str
    on_wall: Outline
    board: int
    on_board: Outline
    turned_deg: int = 0
    opening: str | None = None

    def to_board(self, x: float, y: float) -> tuple[float, float]:
        """Return where a point of the wall lies on the board that this piece is cut from, mm."""
        left, bottom, _, _ = self.on_wall.box
        b_left, b_bottom, b_right, b_top = self.on_board.box
        dx, dy = x - left, y - bottom
        return {
            0: (b_left + dx, b_bottom + dy),
            90: (b_right - dy, b_bottom + dx),
            180: (b_right - dx, b_top - dy),
            270: (b_left + dy, b_top - dx),
        }[self.turned_deg]


@dataclass(frozen=True, slots=True, kw_only=True)
class Offcut:
    """What is left of a board: a rectangle left, bottom, right, top in the board frame, mm."""

    board: int
    box: tuple[float, float, float, float]
    reusable: bool

    @property
    def area_m2(self) -> float:
        """Face, m²."""
        left, bottom, right, top = self.box
        return (right - left) * (top - bottom) / 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A line where two pieces meet, in the wall frame, mm; ``risk`` says why it may crack, or is empty."""

    wall: str
    start: tuple[float, float]
    end: tuple[float, float]
    risk: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLayout:
    """The boards of one room.

    ``lower_bound`` holds for every layout of the kind described in :mod:`estimator.columns`; ``proved`` when ``count``
    meets it. ``solution`` is the programme's own, to start a like search from. ``column_count`` is the trade's rule of
    full columns, ``area_count`` area and a tenth. ``kept`` says which joint rules hold throughout: ``all``, ``jambs``
    (not sockets) or ``none``. ``run_through`` names, for each corner of two linings, the wall whose lining runs into
    the corner.
    """

    board: BoardSize
    count: int
    lower_bound: int
    proved: bool
    column_count: int
    area_count: int
    pieces: tuple[Piece, ...]
    offcuts: tuple[Offcut, ...]
    joints: tuple[Joint, ...]
    kept: Keep
    foot_gaps_mm: Mapping[str, int]
    run_through: tuple[str, ...] = ()
    solution: Mapping[str, int] = field(default_factory=dict, repr=False)

    @property
    def joints_at_risk(self) -> int:
        """How many joints may crack."""
        return sum(1 for joint in self.joints if joint.risk)

    @property
    def used_m2(self) -> float:
        """Area of the pieces, m²."""
        return sum(p.on_wall.area for p in self.pieces) / 1e6

    @property
    def waste_m2(self) -> float:
        """Area bought less area used, m²; saw cuts and offcuts."""
        return self.count * self.board.area_m2 - self.used_m2


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """Limits on the solver's work, in its deterministic unit (about a second each)."""

    bound: float = 0.8
    place: float = 6.0
    prove: float = 5.0
    tidy: float = 1.0
