"""How sure the number of boards is: the sizes at which it changes, and the chance of that under joint uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from estimator.boards import BoardRules, BoardSize
from estimator.faces import Face, lining_face, shifted
from estimator.inputs import WallCase
from estimator.layout import fits_on
from estimator.layout_records import RoomLayout
from estimator.setting_out import Corner
from vision.walls import FloatArray, Measured, MeasuredWall

CALLS = 40  # solver calls for one survey
REACH_SD = 3.0  # how far each size is looked at, in standard uncertainties of the whole (invented default)
TAPE_SD_MM = 2.0  # what a careful tape reading is good to (invented default)
Dim = tuple[str, str]  # wall and key


@dataclass(slots=True, kw_only=True)
class Calls:
    """The solver calls that a survey has left."""

    left: int = CALLS
    made: int = 0

    def take(self) -> bool:
        """Return whether one more call may be made, and count it."""
        if self.left <= 0:
            return False
        self.left -= 1
        self.made += 1
        return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One way in which the count can change: ``breaks`` are the sizes' moves (mm) at which it does, others as measured.

    A size that does not change it within reach is missing. ``count`` is the number of boards beyond the break.
    """

    count: int
    breaks: Mapping[Dim, float]

    def chance(self, dims: Sequence[Dim], covariance: FloatArray) -> float:
        """Return the chance that the sizes lie beyond the break.

        Notes
        -----
        The break-points are taken as the intercepts of a plane, sum of x_d / b_d = 1; under a normal x its chance is
        that of one normal variable.
        """
        slope = np.array([1 / self.breaks[d] if d in self.breaks else 0.0 for d in dims])
        spread = math.sqrt(max(0.0, float(slope @ covariance @ slope)))
        return normal_tail(1 / spread) if spread > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CountRisk:
    """The count of one room under uncertainty.

    ``dims`` and ``covariance`` (n, n) [mm²] are the sizes that matter; ``up`` and ``down`` how the count can change;
    ``length_flip`` the chance, for each wall's height, that boards of another length are needed. ``to_order`` is the
    least number that is enough with 95 % probability.
    """

    room: str
    count: int
    dims: tuple[Dim, ...]
    covariance: FloatArray
    up: Side | None
    down: Side | None
    length_flip: Mapping[Dim, float] = field(default_factory=dict)
    other_length_mm: Mapping[Dim, int] = field(default_factory=dict)

    def chances(self, covariance: FloatArray | None = None) -> tuple[float, float]:
        """Return the chances of one more and of one fewer, under another covariance where given."""
        c = self.covariance if covariance is None else covariance
        return tuple(s.chance(self.dims, c) if s else 0.0 for s in (self.up, self.down))  # type: ignore[return-value]

    @property
    def to_order(self) -> int:
        """The least number of boards that is enough with 95 % probability."""
        more, fewer = self.chances()
        return self.count + (1 if more > 0.05 else 0) - (1 if fewer >= 0.95 else 0)


def normal_tail(z: float) -> float:
    """Return the chance that a standard normal variable exceeds ``z``."""
    return 0.5 * math.erfc(z / math.sqrt(2))


def size_covariance(measured: MeasuredWall) -> tuple[tuple[str, ...], FloatArray]:
    """Return the sizes of a wall that boards depend on and their covariance [mm²].

    ``width_mm`` is the mean of bottom and top, ``height_mm`` of left and right; openings keep their keys. Where there
    is no joint covariance, the sizes' own uncertainties are taken as independent.
    """
    wanted: list[tuple[str, list[str], Measured]] = []
    for key, parts in (
        ("width_mm", ("width_bottom_mm", "width_top_mm")),
        ("height_mm", ("height_left_mm", "height_right_mm")),
    ):
        size = getattr(measured, key)
        if size is not None:
            wanted.append((key, [p for p in parts if p in measured.keys] or [key], size))
    for o in measured.openings:
        for name in ("width_mm", "height_mm", "left_mm", "sill_mm"):
            size = getattr(o, name)
            if size is not None:
                wanted.append((f"openings.{o.id}.{name}", [f"openings.{o.id}.{name}"], size))
    keys = tuple(k for k, _, _ in wanted)
    own = np.diag([s.sd**2 for _, _, s in wanted]).astype(float)
    if measured.covariance_mm2 is None:
        return keys, own
    at = {k: n for n, k in enumerate(measured.keys)}
    mix = np.zeros((len(wanted), len(measured.keys)))
    for n, (_, names, _) in enumerate(wanted):
        for name in names:
            if name in at:
                mix[n, at[name]] = 1 / len(names)
    joint = mix @ np.asarray(measured.covariance_mm2, dtype=float) @ mix.T
    missing = [n for n in range(len(wanted)) if not mix[n].any()]
    for n in missing:
        joint[n, n] = own[n, n]
    return keys, joint


def count_risk(
    room: str,
    cases: Sequence[WallCase],
    layout: RoomLayout,
    *,
    sizes: Sequence[BoardSize],
    corners: Sequence[Corner],
    rules: BoardRules,
    calls: Calls,
) -> CountRisk:
    """Return how the number of boards hangs on the sizes.

    Parameters
    ----------
    room
        The room's name.
    cases
        The lined walls, in the order of the layout's faces.
    layout
        The layout at the measured sizes.
    sizes, corners, rules
        As for the layout.
    calls
        Solver calls left; they are counted down.

    Notes
    -----
    First all sizes move together by three standard uncertainties, each the way that asks for more (then for fewer)
    boards; only where that changes the count are the break-points of the single sizes found, by bisection.
    """
    dims: list[Dim] = []
    blocks: list[FloatArray] = []
    for case in cases:
        keys, block = size_covariance(case.measured)
        dims += [(case.measured.id, k) for k in keys]
        blocks.append(block)
    covariance = _blocks(blocks)
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    look = _Look(
        cases=tuple(cases),
        layout=layout,
        corners=tuple(corners),
        rules=rules,
        calls=calls,
        known_heights=tuple(math.ceil(t.value) for c in cases if (t := _tallest(c.measured)) is not None) or (0,),
    )
    sides = [_side(look, dims, sd, covariance, way) for way in (1, -1)]
    flips, others = _length_flips(cases, layout, sizes, rules)
    return CountRisk(
        room=room,
        count=layout.count,
        dims=tuple(dims),
        covariance=covariance,
        up=sides[0],
        down=sides[1],
        length_flip=flips,
        other_length_mm=others,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    cases: tuple[WallCase, ...]
    layout: RoomLayout
    corners: tuple[Corner, ...]
    rules: BoardRules
    calls: Calls
    known_heights: tuple[int, ...]

    def faces(self, moves: Mapping[Dim, float]) -> list[Face] | None:
        found = []
        for case in self.cases:
            mine = {k: d for (w, k), d in moves.items() if w == case.measured.id}
            face, _ = lining_face(
                WallCase(measured=shifted(case.measured, mine), declared=case.declared, site=case.site)
            )
            if face is None:
                return None
            # a ceiling out of the board's reach asks for other boards; that is reckoned apart, in length_flip
            reach = max(self.layout.board.length_mm + self.rules.foot_gap_most_mm, *(self.known_heights))
            found.append(
                replace(face, height_left=min(face.height_left, reach), height_right=min(face.height_right, reach))
            )
        return found

    def changed(self, moves: Mapping[Dim, float], way: int) -> bool:
        """Whether the count is more (way 1) or fewer (way -1) once the sizes have moved."""
        faces = self.faces(moves)
        if faces is None or not self.calls.take():
            return False
        count = self.layout.count if way > 0 else self.layout.count - 1
        if count < 1:
            return False
        fits = fits_on(faces, count, like=self.layout, rules=self.rules, corners=self.corners)
        return fits is False or fits is None if way > 0 else fits is True


def _direction(key: str) -> int:
    """Return which way a size asks for more boards: a larger wall, a smaller opening; its place may go either way."""
    if key in ("width_mm", "height_mm"):
        return 1
    if key.endswith(("width_mm", "height_mm")) and key.startswith("openings."):
        return -1
    return 0


def _side(look: _Look, dims: Sequence[Dim], sd: FloatArray, covariance: FloatArray, way: int) -> Side | None:
    pull = np.array([_direction(key) * way for _, key in dims], dtype=float)
    if not look.layout.count or not (pull * sd).any():
        return None
    together = {d: float(p * s * REACH_SD) for d, p, s in zip(dims, pull, sd, strict=True) if p * s}
    if not look.changed(together, way):
        return None
    breaks: dict[Dim, float] = {}
    reach = REACH_SD * math.sqrt(float(len(together)))
    known: list[float] = []
    for n in sorted(range(len(dims)), key=lambda n: -sd[n] * abs(pull[n])):
        if pull[n] == 0 or sd[n] == 0:
            continue
        at = _break(look, dims[n], float(pull[n]), float(sd[n]), reach * float(sd[n]), way, known)
        if at is not None:
            breaks[dims[n]] = at * float(pull[n])
            if dims[n][1] == "width_mm":
                known.append(at)
    return Side(count=look.layout.count + way, breaks=breaks) if breaks else None


def _break(
    look: _Look, dim: Dim, pull: float, sd: float, reach: float, way: int, known: Sequence[float]
) -> float | None:
    """Return how far one size has to move before the count changes, found to a quarter of its uncertainty or 1 mm."""
    tolerance = max(1.0, sd / 4)
    low, high = 0.0, reach
    for guess in known[:1]:  # the widths of a room's walls trade one for one, so another width's break is a good guess
        if dim[1] == "width_mm" and guess < reach:
            if look.changed({dim: pull * (guess + tolerance)}, way):
                high = guess + tolerance
                if guess - tolerance <= 0 or not look.changed({dim: pull * (guess - tolerance)}, way):
                    return guess
                high = guess - tolerance
            else:
                low = guess + tolerance
    if high == reach and not look.changed({dim: pull * reach}, way):
        return None
    while high - low > tolerance and look.calls.left > 0:
        middle = (low + high) / 2
        if look.changed({dim: pull * middle}, way):
            high = middle
        else:
            low = middle
    return (low + high) / 2


def _length_flips(
    cases: Sequence[WallCase], layout: RoomLayout, sizes: Sequence[BoardSize], rules: BoardRules
) -> tuple[dict[Dim, float], dict[Dim, int]]:
    """Return for each height the chance that the room needs boards of another length, and which."""
    heights = {c.measured.id: h for c in cases if (h := _tallest(c.measured)) is not None}
    flips: dict[Dim, float] = {}
    others: dict[Dim, int] = {}
    now = layout.board.length_mm
    longer = [s.length_mm for s in sizes if s.length_mm > now]
    shorter = [s.length_mm for s in sizes if s.length_mm < now]
    for limit, other in ((now, longer[:1]), (max(shorter, default=0), shorter[-1:])):
        if not other:
            continue
        over = {w: _over(h, limit + rules.foot_gap_most_mm) for w, h in heights.items()}
        within = math.prod(1 - p for p in over.values())
        chance = 1 - within if other[0] > now else within
        for wall, p in over.items():
            dim = (wall, "height_mm")
            if min(p, 1 - p) > CERTAIN and chance > flips.get(dim, 0.0):  # this wall's height is one of those in doubt
                flips[dim], others[dim] = chance, other[0]
    return flips, others


CERTAIN = 0.01  # a height that is on one side of the limit to this chance is not in doubt


def _over(height: Measured, limit: float) -> float:
    """Return the chance that a height is above ``limit`` [mm]."""
    if height.sd <= 0:
        return float(height.value > limit)
    return normal_tail((limit - height.value) / height.sd)


def _tallest(measured: MeasuredWall) -> Measured | None:
    both = [m for m in (measured.height_left_mm, measured.height_right_mm, measured.height_mm) if m is not None]
    return max(both, key=lambda m: m.value) if both else None


def _blocks(blocks: Sequence[FloatArray]) -> FloatArray:
    size = sum(len(b) for b in blocks)
    whole, at = np.zeros((size, size)), 0
    for b in blocks:
        whole[at : at + len(b), at : at + len(b)] = b
        at += len(b)
    return whole


def taped(covariance: FloatArray, n: int, sd: float = TAPE_SD_MM) -> FloatArray:
    """Return the covariance once size ``n`` has been taped with standard uncertainty ``sd`` [mm] (Kalman's update)."""
    column = covariance[:, n]
    updated: FloatArray = covariance - np.outer(column, column) / (covariance[n, n] + sd**2)
    return updated
