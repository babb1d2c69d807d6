"""Rectangles from boards by straight cuts from edge to edge (guillotine cuts), and how few boards could do."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

Size = tuple[int, int]
Free = tuple[int, int, int, int]  # left, bottom, width, height of what is left of a board


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A rectangle on its board: which of the wanted ones, its lower left corner, and its size as it lies, mm."""

    piece: int
    board: int
    left: int
    bottom: int
    width: int
    height: int
    turned: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPlan:
    """Cuts from a number of equal boards; ``proved`` when no plan, guillotine or not, needs fewer boards.

    ``offcuts`` are what is left: board, then left, bottom, width, height, mm.
    """

    boards: int
    lower_bound: int
    cuts: tuple[Cut, ...]
    offcuts: tuple[tuple[int, Free], ...]

    @property
    def proved(self) -> bool:
        """Whether the count is proved to be the least."""
        return self.boards == self.lower_bound


TRIES = 300  # orders tried; more rarely helps (invented default)
EXACT_PIECES = 12  # up to this many pieces the bound is sharpened by search (invented default)


def cut_rectangles(wanted: Sequence[Size], *, board: Size, kerf: int, turn: bool = True, tries: int = TRIES) -> CutPlan:
    """Return a plan that cuts all the wanted rectangles by guillotine cuts, on the fewest boards found.

    Parameters
    ----------
    wanted
        Width and height of each rectangle [mm].
    board
        Width and height of a board [mm].
    kerf
        What a cut takes [mm].
    turn
        Whether pieces may be turned by a quarter.
    tries
        How many orders to try after the first few; seeded, so that the same input gives the same plan.

    Raises
    ------
    ValueError
        When a rectangle is larger than a board, or a size is not positive.
    """
    for n, (w, h) in enumerate(wanted):
        fits = (w <= board[0] and h <= board[1]) or (turn and h <= board[0] and w <= board[1])
        if w <= 0 or h <= 0 or not fits:
            raise ValueError(f"piece {n} of {w} x {h} mm cannot be cut from a board of {board[0]} x {board[1]} mm")
    if not wanted:
        return CutPlan(boards=0, lower_bound=0, cuts=(), offcuts=())
    bound = _bound(wanted, board, kerf, turn)
    best: tuple[int, list[Cut], list[list[Free]]] | None = None
    for order, fit, split in _attempts(wanted, tries):
        plan = _fill(wanted, order, board, kerf, turn, fit, split, None if best is None else best[0])
        if plan is not None and (best is None or plan[0] < best[0]):
            best = plan
            if best[0] <= bound:
                break
    assert best is not None  # the first attempt has no limit and so always ends with a plan
    count, cuts, free = best
    if count > bound and len(wanted) <= EXACT_PIECES:
        bound = _searched_bound(wanted, board, kerf, turn, bound, count)
    offcuts = [
        (b, (x, y, min(w, board[0] - x), min(h, board[1] - y)))
        for b, rectangles in enumerate(free)
        for x, y, w, h in rectangles
        if min(w, board[0] - x) > 0 and min(h, board[1] - y) > 0
    ]
    return CutPlan(
        boards=count, lower_bound=bound, cuts=tuple(sorted(cuts, key=lambda c: c.piece)), offcuts=tuple(offcuts)
    )


def _bound(wanted: Sequence[Size], board: Size, kerf: int, turn: bool) -> int:
    """Return a count that no plan can beat: by area with saw cuts, and by pieces of which no two share a board."""
    whole = (board[0] + kerf) * (board[1] + kerf)
    area = math.ceil(sum((w + kerf) * (h + kerf) for w, h in wanted) / whole - 1e-12)
    half_w, half_h = board[0] - kerf, board[1] - kerf
    if turn:
        large = sum(1 for w, h in wanted if 2 * min(w, h) > max(half_w, half_h))
    else:
        large = sum(1 for w, h in wanted if 2 * w > half_w and 2 * h > half_h)
    return max(area, large, 1)


def _attempts(wanted: Sequence[Size], tries: int) -> list[tuple[list[int], int, int]]:
    """Return orders with a rule for choosing a place and a rule for splitting what is left."""
    keys: list[Callable[[Size], tuple[int, ...]]] = [
        lambda s: (s[0] * s[1],),
        lambda s: (max(s), min(s)),
        lambda s: (min(s), max(s)),
        lambda s: (s[0], s[1]),
        lambda s: (s[1], s[0]),
        lambda s: (s[0] + s[1],),
    ]
    orders = [sorted(range(len(wanted)), key=lambda n, k=key: k(wanted[n]), reverse=True) for key in keys]  # type: ignore[misc]
    found = [(order, fit, split) for order in orders for fit in range(3) for split in range(4)]
    shuffle = random.Random(20261125)
    for n in range(tries):
        order = list(orders[n % len(orders)])
        for _ in range(1 + n % max(2, len(order) // 3)):
            i, j = shuffle.randrange(len(order)), shuffle.randrange(len(order))
            order[i], order[j] = order[j], order[i]
        found.append((order, shuffle.randrange(3), shuffle.randrange(4)))
    return found


def _fill(
    wanted: Sequence[Size],
    order: Sequence[int],
    board: Size,
    kerf: int,
    turn: bool,
    fit: int,
    split: int,
    limit: int | None,
) -> tuple[int, list[Cut], list[list[Free]]] | None:
    free: list[list[Free]] = []
    cuts: list[Cut] = []
    for n in order:
        w, h = wanted[n]
        ways = [(w, h, False)] + ([(h, w, True)] if turn and w != h else [])
        best: tuple[tuple[int, ...], int, int, int, int, bool] | None = None
        for b, rectangles in enumerate(free):
            for r, (_, _, fw, fh) in enumerate(rectangles):
                for pw, ph, turned in ways:
                    if pw <= fw - kerf and ph <= fh - kerf:
                        score = (*_score(fit, fw - pw, fh - ph, fw * fh - pw * ph), b, r)
                        if best is None or score < best[0]:
                            best = (score, b, r, pw, ph, turned)
        if best is None:
            if limit is not None and len(free) + 1 >= limit:
                return None
            free.append([(0, 0, board[0] + kerf, board[1] + kerf)])
            pw, ph, turned = next(way for way in ways if way[0] <= board[0] and way[1] <= board[1])
            best = ((), len(free) - 1, 0, pw, ph, turned)
        _, b, r, pw, ph, turned = best
        x, y, fw, fh = free[b].pop(r)
        cuts.append(Cut(piece=n, board=b, left=x, bottom=y, width=pw, height=ph, turned=turned))
        free[b] += _split(split, x, y, fw, fh, pw + kerf, ph + kerf)
    return len(free), cuts, free


def _score(fit: int, over_w: int, over_h: int, over_area: int) -> tuple[int, int]:
    if fit == 0:
        return over_area, min(over_w, over_h)
    if fit == 1:
        return min(over_w, over_h), max(over_w, over_h)
    return max(over_w, over_h), min(over_w, over_h)


def _split(rule: int, x: int, y: int, fw: int, fh: int, w: int, h: int) -> list[Free]:
    """Return what is left of a free rectangle once a corner is taken: one cut runs through, the other stops at it."""
    across = {0: fw - w <= fh - h, 1: fw - w > fh - h, 2: w * (fh - h) > h * (fw - w), 3: w * (fh - h) <= h * (fw - w)}[
        rule
    ]
    if across:
        parts = [(x + w, y, fw - w, h), (x, y + h, fw, fh - h)]
    else:
        parts = [(x + w, y, fw - w, fh), (x, y + h, w, fh - h)]
    return [p for p in parts if p[2] > 0 and p[3] > 0]


def _searched_bound(wanted: Sequence[Size], board: Size, kerf: int, turn: bool, bound: int, count: int) -> int:
    """Return the bound raised as far as a search over all packings, guillotine or not, rules counts out."""
    while bound < count and not _may_fit(wanted, board, kerf, turn, bound):
        bound += 1
    return bound


def _may_fit(wanted: Sequence[Size], board: Size, kerf: int, turn: bool, boards: int) -> bool:
    """Return False only where no packing on ``boards`` boards exists."""
    from ortools.sat.python import cp_model

    m = cp_model.CpModel()
    pitch, tall = board[0] + kerf, board[1] + kerf
    along, up = [], []
    for n, (w, h) in enumerate(wanted):
        turned = m.new_bool_var(f"turned{n}")
        if not turn or w == h:
            m.add(turned == 0)
        wide, high = w + kerf + (h - w) * turned, h + kerf + (w - h) * turned
        x, y = m.new_int_var(0, boards * pitch, f"x{n}"), m.new_int_var(0, tall, f"y{n}")
        on = m.new_int_var(0, boards - 1, f"board{n}")
        m.add(x >= on * pitch)
        m.add(x + wide <= (on + 1) * pitch)
        m.add(y + high <= tall)
        ends = m.new_int_var(0, boards * pitch, f"right{n}"), m.new_int_var(0, tall, f"top{n}")
        along.append(m.new_interval_var(x, wide, ends[0], f"along{n}"))
        up.append(m.new_interval_var(y, high, ends[1], f"up{n}"))
        if n == 0:
            m.add(on == 0)
    m.add_no_overlap_2d(along, up)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 17
    solver.parameters.max_deterministic_time = 2.0
    return bool(solver.solve(m) != cp_model.INFEASIBLE)
