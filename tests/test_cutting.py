"""Rectangles from boards by guillotine cuts."""

from __future__ import annotations

from functools import cache
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.cutting import Cut, cut_rectangles

SIDES = st.tuples(st.integers(1, 9), st.integers(1, 9))


def can_be_cut(pieces: tuple[tuple[int, int], ...], width: int, height: int) -> bool:
    """Whether all pieces come out of one board by cuts from edge to edge: every cut and every way to share is tried."""

    @cache
    def fits(rest: tuple[tuple[int, int], ...], w: int, h: int) -> bool:
        if len(rest) == 1:
            a, b = rest[0]
            return (a <= w and b <= h) or (b <= w and a <= h)
        if sum(a * b for a, b in rest) > w * h:
            return False
        for size in range(1, len(rest)):
            for chosen in combinations(range(len(rest)), size):
                one = tuple(rest[i] for i in chosen)
                other = tuple(rest[i] for i in range(len(rest)) if i not in chosen)
                if any(fits(one, x, h) and fits(other, w - x, h) for x in range(1, w)):
                    return True
                if any(fits(one, w, y) and fits(other, w, h - y) for y in range(1, h)):
                    return True
        return False

    return fits(pieces, width, height)


def fewest_boards(pieces: tuple[tuple[int, int], ...], width: int, height: int) -> int:
    """Return the least number of boards by trying every way to share the pieces out."""

    def best(rest: tuple[tuple[int, int], ...]) -> int:
        if not rest:
            return 0
        found = len(rest)
        first, others = rest[0], rest[1:]
        for size in range(len(others), -1, -1):
            for chosen in combinations(range(len(others)), size):
                lot = (first, *(others[i] for i in chosen))
                if can_be_cut(tuple(sorted(lot)), width, height):
                    found = min(found, 1 + best(tuple(o for i, o in enumerate(others) if i not in chosen)))
        return found

    return best(pieces)


@given(st.lists(SIDES, min_size=1, max_size=5))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_small_cases_equal_exhaustive_search(wanted: list[tuple[int, int]]) -> None:
    plan = cut_rectangles(wanted, board=(9, 9), kerf=0)
    assert plan.boards == fewest_boards(tuple(wanted), 9, 9)


@given(st.lists(st.tuples(st.integers(60, 1200), st.integers(60, 2400)), min_size=1, max_size=9), st.integers(0, 5))
@settings(max_examples=15, deadline=None, derandomize=True)
def test_pieces_and_offcuts_lie_apart_by_the_saw_cut_and_within_the_board(
    wanted: list[tuple[int, int]], kerf: int
) -> None:
    plan = cut_rectangles(wanted, board=(1200, 2400), kerf=kerf, tries=20)
    assert plan.lower_bound <= plan.boards <= len(wanted)
    for cut in plan.cuts:
        assert cut.left >= 0 and cut.left + cut.width <= 1200 and cut.bottom >= 0 and cut.bottom + cut.height <= 2400
        assert (cut.height, cut.width)[:: 1 if cut.turned else -1] == wanted[cut.piece]
    for a, b in combinations(plan.cuts, 2):
        assert a.board != b.board or _apart(a, b, kerf)
    used = sum(c.width * c.height for c in plan.cuts) + sum(w * h for _, (_, _, w, h) in plan.offcuts)
    assert used <= plan.boards * 1200 * 2400


def _apart(a: Cut, b: Cut, kerf: int) -> bool:
    return (
        a.left + a.width + kerf <= b.left
        or b.left + b.width + kerf <= a.left
        or a.bottom + a.height + kerf <= b.bottom
        or b.bottom + b.height + kerf <= a.bottom
    )


def test_without_saw_cuts_pieces_and_offcuts_make_up_the_boards() -> None:
    plan = cut_rectangles([(300, 700), (450, 1100), (1200, 250), (80, 80)], board=(1200, 2400), kerf=0)
    used = sum(c.width * c.height for c in plan.cuts) + sum(w * h for _, (_, _, w, h) in plan.offcuts)
    assert used == plan.boards * 1200 * 2400


def test_a_saw_cut_can_cost_a_board() -> None:
    strips = [(400, 2400)] * 3
    assert cut_rectangles(strips, board=(1200, 2400), kerf=0).boards == 1
    assert cut_rectangles(strips, board=(1200, 2400), kerf=3).boards == 2


def test_a_piece_that_fits_only_turned_is_turned_or_refused() -> None:
    assert cut_rectangles([(2000, 300)], board=(1200, 2400), kerf=3).cuts[0].turned
    with pytest.raises(ValueError, match="piece 0 of 2000 x 300 mm cannot be cut from a board of 1200 x 2400 mm"):
        cut_rectangles([(2000, 300)], board=(1200, 2400), kerf=3, turn=False)


def test_the_same_input_gives_the_same_plan() -> None:
    wanted = [(321, 1234), (456, 789), (900, 333), (250, 1500), (600, 600), (700, 410)]
    assert cut_rectangles(wanted, board=(1200, 2400), kerf=3) == cut_rectangles(wanted, board=(1200, 2400), kerf=3)
