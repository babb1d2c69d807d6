"""The table of checks against published figures that the program prints of itself."""

from __future__ import annotations

import dataclasses

import pytest

from intake.self_check import OutsideCheck, run_checks, table_lines

CHECKS = run_checks()


@pytest.mark.parametrize("check", CHECKS, ids=[c.what for c in CHECKS])
def test_every_published_figure_is_met_within_its_tolerance(check: OutsideCheck) -> None:
    assert check.computed == pytest.approx(check.published, abs=check.tolerance)
    assert check.source
    assert check.reason


def test_a_figure_that_is_off_is_shown_as_off() -> None:
    wrong = dataclasses.replace(CHECKS[0], computed=CHECKS[0].published + 2 * CHECKS[0].tolerance)
    assert "■ off" in table_lines([wrong])[-1]
    assert "✓" in table_lines([CHECKS[0]])[-1]
