"""Bricks per square metre: the coordinating size 225 x 112.5 x 75 mm (work size 215 x 102.5 x 65 mm, 10 mm joints).

Sources: BS EN 771-1 with its UK national practice (coordinating size 225 x 112.5 x 75 mm: from memory) and the handbook
figure of 60 bricks a square metre of half-brick wall in stretcher bond (common practice, no source).
"""

from __future__ import annotations

import pytest

from tests.scenes_brick import course_units, header_share
from vision.bond_types import pattern_share

LENGTH_M, HEADER_M, COURSE_M = 0.225, 0.1125, 0.075


def per_m2(bond: str, courses: int = 3) -> tuple[float, float]:
    """Return stretchers and headers in a square metre, counted from the bond's own courses."""
    cycle = courses + 1 if bond == "english_garden" else 2
    stretchers = headers = 0.0
    for k in range(cycle):
        unit, _ = course_units(bond, k, stretcher_courses=courses)
        length = sum(LENGTH_M if u == "S" else HEADER_M for u in unit)
        stretchers += unit.count("S") / length / COURSE_M / cycle
        headers += unit.count("H") / length / COURSE_M / cycle
    return stretchers, headers


def test_stretcher_bond_takes_sixty_bricks_a_square_metre() -> None:
    """59.26 by the module; the handbook rounds to 60."""
    stretchers, headers = per_m2("stretcher")
    assert stretchers == pytest.approx(60, rel=0.015)
    assert headers == 0


@pytest.mark.parametrize(
    ("bond", "courses", "stretchers", "headers"),
    [
        ("stretcher", 3, 59.3, 0.0),
        ("flemish", 3, 39.5, 39.5),
        ("english", 3, 29.6, 59.3),
        ("header", 3, 0.0, 118.5),
        ("english_garden", 3, 44.4, 29.6),
        ("english_garden", 5, 49.4, 19.8),
        ("monk", 3, 47.4, 23.7),
        ("flemish_garden", 3, 50.8, 16.9),
    ],
)
def test_stretchers_and_headers_a_square_metre_follow_from_the_module(
    bond: str, courses: int, stretchers: float, headers: float
) -> None:
    """Regression: computed from the module by hand, one decimal."""
    found = per_m2(bond, courses)
    assert found == pytest.approx((stretchers, headers), abs=0.06)
    by_count = headers / (stretchers + headers)
    assert header_share(bond, stretcher_courses=courses) == pytest.approx(by_count, abs=0.002)
    assert pattern_share(bond, courses) == pytest.approx(by_count, abs=0.002)


def test_ten_metric_courses_are_three_quarters_of_a_metre_and_four_imperial_ones_a_foot() -> None:
    """2 5/8 in bricks with 3/8 in joints: 3 in, 76.2 mm (histories of brick sizes)."""
    assert pytest.approx(0.75) == 10 * COURSE_M
    assert pytest.approx(304.8) == 4 * (2 + 5 / 8 + 3 / 8) * 25.4
