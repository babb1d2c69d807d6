"""How sure the number of boards is: the sizes at which it changes, and the chance of that under joint uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from estimator.boards import BoardRules, BoardSize
from estimator.break_points import Calls, Dim, Look, Side, find_side, normal_tail
from estimator.faces import whole_mm
from estimator.inputs import WallCase
from estimator.layout_records import RoomLayout
from estimator.more_readings import TAPE_SD_MM
from estimator.setting_out import Corner
from vision.walls import FloatArray, Measured, MeasuredWall

FILLED_MM = 2.0  # a gap beside a board that jointing fills (common practice, no source: up to 3 mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountRisk:
    """The count of one room under uncertainty.

    ``dims`` and ``covariance`` (n, n) [mm²] are the sizes that matter; ``up`` and ``down`` how the count can change;
    ``length_flip`` the chance, for each wall's height, that boards of another length are needed. ``to_order`` is the
    least number that is enough with 95 % probability, gaps of up to ``FILLED_MM`` being filled.
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
        """The least number of boards that is enough with 95 % probability; none is bought to close ``FILLED_MM``."""
        more = self.up.chance(self.dims, self.covariance, beyond_mm=FILLED_MM) if self.up else 0.0
        return self.count + (1 if more > 0.05 else 0) - (1 if self.chances()[1] >= 0.95 else 0)


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
    boards. Only where that changes the count are break-points found, by bisection: first that of all widths together,
    which trade one for one; then, shortly before it, of each other size that tips the balance there.
    """
    dims: list[Dim] = []
    blocks: list[FloatArray] = []
    for case in cases:
        keys, block = size_covariance(case.measured)
        dims += [(case.measured.id, k) for k in keys]
        blocks.append(block)
    covariance = _blocks(blocks)
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    look = Look(
        cases=tuple(cases),
        layout=layout,
        corners=tuple(corners),
        rules=rules,
        calls=calls,
        shapes={layout.count: [layout.solution]},
        known_heights=tuple(whole_mm(t.value) for c in cases if (t := _tallest(c.measured)) is not None) or (0,),
    )
    sides = [find_side(look, dims, sd, covariance, way) for way in (1, -1)]
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
        over = {w: _over(h, limit + rules.foot_gap_most_mm + 0.5) for w, h in heights.items()}
        within = math.prod(1 - p for p in over.values())
        chance = 1 - within if other[0] > now else within
        for wall, p in over.items():
            dim = (wall, "height_mm")
            if min(p, 1 - p) > CERTAIN and chance > flips.get(dim, 0.0):  # this wall's height is one of those in doubt
                flips[dim], others[dim] = chance, other[0]
    return flips, others


CERTAIN = 0.0005  # a height that is on one side of the limit to this chance is not in doubt


def _over(height: Measured, limit: float) -> float:
    """Return the chance that a height is above ``limit`` [mm]; up to half a millimetre counts as nothing."""
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
