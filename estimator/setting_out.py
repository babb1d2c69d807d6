"""What is to be set out, and the records of the programme that does it: faces, corners, items, places and pieces."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from estimator.boards import BoardRules, BoardSize
from estimator.faces import Face, Gap

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel

Var = Any  # ortools has no types: an IntVar or a linear expression
Keep = Literal["all", "jambs", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """The right end of face ``left_face`` meets the left end of ``right_face``; one lining runs through, the other
    stops ``depth`` mm short of it."""

    left_face: int
    right_face: int
    depth: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be set out: faces, corners, one board size, rules, and the foot gap under each face."""

    faces: tuple[Face, ...]
    corners: tuple[Corner, ...]
    board: BoardSize
    rules: BoardRules
    foot_gaps: tuple[int, ...]
    tiers: tuple[tuple[int, ...], ...]
    keep: Keep = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """One or more openings above each other: the stretch of wall between their outer jambs."""

    left: int
    right: int
    gaps: tuple[Gap, ...]
    head: int
    sill: int

    @property
    def simple(self) -> bool:
        """Whether pieces may fill in over and under it."""
        return len(self.gaps) == 1


@dataclass(slots=True, kw_only=True)
class Item:
    """Something that takes width off a board over its whole length: a column or a strip for small pieces."""

    name: str
    width: Var
    present: Var
    full: Var = 0


@dataclass(slots=True, kw_only=True)
class Small:
    """A piece that can share a strip: width variable, height fixed."""

    name: str
    width: Var
    height: int
    present: Var
    turn: bool


@dataclass(slots=True, kw_only=True)
class Place:
    """Where small pieces are stacked: a strip of a board, or what is cut out of a column."""

    name: str
    width: Var
    height: int


@dataclass(slots=True, kw_only=True)
class ColumnVars:
    """A column's variables: its ends and whether it is there."""

    name: str
    start: Var
    end: Var
    used: Var
    glued: Var  # its right end is not a joint: the next column goes on with the same board
    item: Var
    interior: bool


@dataclass(slots=True, kw_only=True)
class Programme:
    """The programme and the handles that a solution is read from."""

    model: CpModel
    by_name: dict[str, Var] = field(default_factory=dict)
    shape: set[str] = field(default_factory=set)  # the choices that fix which piece goes where, whatever its width
    columns: dict[int, list[ColumnVars]] = field(default_factory=dict)
    fills: dict[int, list[Var]] = field(default_factory=dict)
    bands: list[tuple[int, Zone, str, Var, list[Var], Var, Var]] = field(default_factory=list)
    items: list[Item] = field(default_factory=list)
    smalls: list[Small] = field(default_factory=list)
    places: list[Place] = field(default_factory=list)
    stack: dict[tuple[int, int, bool], Var] = field(default_factory=dict)
    board_of: dict[tuple[int, int], Var] = field(default_factory=dict)
    risk: list[Var] = field(default_factory=list)
    cuts: list[Var] = field(default_factory=list)
    starts: dict[int, tuple[Var, Var]] = field(default_factory=dict)

    def integer(self, low: int, high: int, name: str) -> Var:
        """Return a new variable that can be found by its name."""
        self.by_name[name] = var = self.model.new_int_var(low, max(low, high), name)
        return var

    def choice(self, name: str, *, follows: bool = False) -> Var:
        """Return a new yes-or-no variable that can be found by its name; one that ``follows`` hangs on widths alone."""
        self.by_name[name] = var = self.model.new_bool_var(name)
        if not follows:
            self.shape.add(name)
        return var


def zones(face: Face, foot_gap: int) -> list[Zone]:
    """Return the openings of ``face`` as stretches of wall, those above each other taken together."""
    groups: list[list[Gap]] = []
    for gap in sorted(face.gaps, key=lambda g: g.left):
        if groups and gap.left < max(g.right for g in groups[-1]):
            groups[-1].append(gap)
        else:
            groups.append([gap])
    found = []
    for group in groups:
        left, right = min(g.left for g in group), max(g.right for g in group)
        ceiling = max(face.ceiling(left), face.ceiling(right))
        found.append(
            Zone(
                left=left,
                right=right,
                gaps=tuple(group),
                head=max(0, -int(-(ceiling - max(g.top for g in group)) // 1)),
                sill=max(0, min(g.bottom for g in group) - foot_gap),
            )
        )
    return found


def cut_out_heights(zone: Zone, foot_gap: int, kerf: int) -> tuple[int, int]:
    """Return bottom and top of what is cut out of a column at an opening, saw cuts taken off [mm]."""
    bottom = zone.gaps[0].bottom + kerf if zone.sill > 0 else foot_gap
    return bottom, zone.gaps[0].top - (kerf if zone.head > 0 else 0)
