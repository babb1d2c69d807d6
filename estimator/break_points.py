"""The sizes at which the number of boards changes, found by asking whether nearly the same walls still fit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from estimator.boards import BoardRules
from estimator.faces import Face, lining_face, shifted
from estimator.inputs import WallCase
from estimator.layout import fits_on
from estimator.layout_records import RoomLayout
from estimator.setting_out import Corner
from vision.walls import FloatArray

CALLS = 40  # solver calls for one survey
REACH_SD = 2.75  # how far each size is looked at, in standard uncertainties (invented default)
TELLING_SD = 2.5  # a size that changes nothing when it moves this far, the widths being near the break, is left out
FAR_SD = 4.0  # where a break out of reach is taken to be
TOLERANCE_SD = 0.15  # how finely a break is found
BEFORE = 0.9  # where the other sizes are looked at: this part of the way to the break of the widths
WORK, WORK_FEWER = 1.0, 0.4  # for one question; fewer boards that take longer to find are not counted on
SHAPES = 6  # solutions of nearly the same walls kept in mind
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

    def chance(self, dims: Sequence[Dim], covariance: FloatArray, *, beyond_mm: float = 0.0) -> float:
        """Return the chance that the sizes lie beyond the break, by ``beyond_mm`` or more in the one that tells most.

        Notes
        -----
        The break-points are taken as the intercepts of a plane, sum of x_d / b_d = 1; under a normal x its chance is
        that of one normal variable.
        """
        slope = np.array([1 / self.breaks[d] if d in self.breaks else 0.0 for d in dims])
        spread = math.sqrt(max(0.0, float(slope @ covariance @ slope)))
        return normal_tail((1 + beyond_mm * float(np.abs(slope).max())) / spread) if spread > 0 else 0.0


def normal_tail(z: float) -> float:
    """Return the chance that a standard normal variable exceeds ``z``."""
    return 0.5 * math.erfc(z / math.sqrt(2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Where break-points are looked for: walls, layout and rules, calls left, and the solutions kept in mind."""

    cases: tuple[WallCase, ...]
    layout: RoomLayout
    corners: tuple[Corner, ...]
    rules: BoardRules
    calls: Calls
    known_heights: tuple[int, ...]
    shapes: dict[int, list[Mapping[str, int]]]

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

    def moved(self, dims: Sequence[Dim], moves: FloatArray, way: int) -> bool:
        """Whether the count changes once the sizes have moved by ``moves`` (n,) [mm]."""
        return self.changed({d: float(m) for d, m in zip(dims, moves, strict=True) if m}, way)

    def changed(self, moves: Mapping[Dim, float], way: int) -> bool:
        """Whether the count is more (way 1) or fewer (way -1) once the sizes have moved."""
        faces = self.faces(moves)
        if faces is None or not self.calls.take():
            return False
        count = self.layout.count if way > 0 else self.layout.count - 1
        if count < 1:
            return False
        shapes = self.shapes.setdefault(count, [])
        fit = fits_on(
            faces,
            count,
            like=self.layout,
            rules=self.rules,
            corners=self.corners,
            shapes=shapes,
            work=WORK if way > 0 else WORK_FEWER,
        )
        if fit.solution is not None and fit.solution not in shapes:
            shapes.insert(0, fit.solution)
            del shapes[SHAPES:]
        return fit.fits is not True if way > 0 else fit.fits is True


def _direction(key: str) -> int:
    """Return which way a size asks for more boards: a larger wall, a smaller opening; its place may go either way."""
    if key in ("width_mm", "height_mm"):
        return 1
    if key.endswith(("width_mm", "height_mm")) and key.startswith("openings."):
        return -1
    return 0


def find_side(look: Look, dims: Sequence[Dim], sd: FloatArray, covariance: FloatArray, way: int) -> Side | None:
    """Return how the count can change upwards (way 1) or downwards (way -1), or None where it cannot within reach.

    Parameters
    ----------
    look
        The walls and what is known of them.
    dims, sd, covariance
        The sizes, their standard uncertainties (n,) [mm] and covariance (n, n) [mm²].
    way
        1 or -1.
    """
    pull = np.array([_direction(key) * way for _, key in dims], dtype=float)
    if not look.layout.count or not (pull * sd).any():
        return None
    aside = np.array([0.0 if p or s == 0 else 1.0 for p, s in zip(pull, sd, strict=True)])
    corners = [(pull + n * aside) * sd * REACH_SD for n in ((1, -1) if aside.any() else (0,))]
    if not any(look.moved(dims, corner, way) for corner in corners):
        return None
    widths = np.array([p if key == "width_mm" else 0.0 for p, (_, key) in zip(pull, dims, strict=True)])
    slope, base = _together(look, dims, widths, covariance, way)
    rest = [n for n in range(len(dims)) if sd[n] > 0 and widths[n] == 0]
    left = 1.0 - float(slope @ base)  # the part of the way to the break that the base leaves
    one_way = [(n, float(pull[n] or 1.0)) for n in rest]
    other_way = [(n, -1.0) for n in rest if not pull[n]]
    telling = [t for part in (one_way, other_way) for t in _telling(look, dims, base, part, sd, way)]
    for group in telling:
        step = np.zeros(len(dims))
        for n, sign in group:
            step[n] = sign * sd[n]
        at = _break(look, dims, base, step, way) * float(np.abs(step).sum())
        for n, sign in group:  # within a group a millimetre of one size is worth one of another
            if abs(left / at) > abs(slope[n]):
                slope[n] = left / (sign * at)
    breaks = {d: float(1 / g) for d, g in zip(dims, slope, strict=True) if g}
    return Side(count=look.layout.count + way, breaks=breaks) if breaks else None


def _together(
    look: Look, dims: Sequence[Dim], widths: FloatArray, covariance: FloatArray, way: int
) -> tuple[FloatArray, FloatArray]:
    """Return slope and a place shortly before the break where all widths move together as they most probably do.

    The widths of a room's walls trade one for one. Where they alone do not change the count, they are
    taken to do so at ``FAR_SD``, and the place is half way to the reach.
    """
    spread = math.sqrt(max(0.0, float(widths @ covariance @ widths)))
    if spread == 0:
        return np.zeros(len(dims)), np.zeros(len(dims))
    unit = (covariance @ widths) / spread
    unit = np.where(widths != 0, unit, 0.0)  # one standard uncertainty of the sum of the widths
    if not look.moved(dims, REACH_SD * unit, way):
        return widths / float(widths @ unit * FAR_SD), REACH_SD / 2 * unit
    low, high = 0.0, REACH_SD
    while high - low > TOLERANCE_SD and look.calls.left > 0:
        middle = (low + high) / 2
        if look.moved(dims, middle * unit, way):
            high = middle
        else:
            low = middle
    at = (low + high) / 2
    return widths / float(widths @ unit * at), low * BEFORE * unit


def _telling(
    look: Look, dims: Sequence[Dim], base: FloatArray, signs: Sequence[tuple[int, float]], sd: FloatArray, way: int
) -> list[list[tuple[int, float]]]:
    """Return which of the other sizes, moved from ``base``, change the count: alone, or only as a group together.

    A group that does is halved; a half that does not is left out, unless neither does: then some do it together.
    """
    if not signs:
        return []
    moves = base.copy()
    for n, sign in signs:
        moves[n] = base[n] + sign * TELLING_SD * sd[n]
    if not look.moved(dims, moves, way):
        return []
    if len(signs) == 1:
        return [list(signs)]
    half = (len(signs) + 1) // 2
    parts = [t for part in (signs[:half], signs[half:]) for t in _telling(look, dims, base, part, sd, way)]
    return parts or [_together_only(look, dims, base, signs, sd, way)]


def _together_only(
    look: Look, dims: Sequence[Dim], base: FloatArray, signs: Sequence[tuple[int, float]], sd: FloatArray, way: int
) -> list[tuple[int, float]]:
    """Return the sizes of a group that changes the count, less each without which the others still do."""
    kept = list(signs)
    for one in signs:
        moves = base.copy()
        for n, sign in kept:
            if (n, sign) != one:
                moves[n] = base[n] + sign * TELLING_SD * sd[n]
        if look.moved(dims, moves, way):
            kept.remove(one)
    return kept


def _break(look: Look, dims: Sequence[Dim], base: FloatArray, step: FloatArray, way: int) -> float:
    """Return how many ``step`` (n,) the sizes move from ``base`` before the count changes; within ``TELLING_SD``."""
    low, high = 0.0, TELLING_SD
    while high - low > 3 * TOLERANCE_SD and look.calls.left > 0:
        middle = (low + high) / 2
        if look.moved(dims, base + middle * step, way):
            high = middle
        else:
            low = middle
    return (low + high) / 2
