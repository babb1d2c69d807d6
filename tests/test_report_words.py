"""Figures as people read them: rounding by JCGM 100, give-or-take, text that every format can carry."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.report.words import (
    NBSP,
    give_or_take,
    in_hundred,
    key_words,
    listing,
    name_of,
    plain,
    rounded_uncertainty,
    sentence,
    span,
    wall_length,
)
from intake.results import ValueSd


def show(value: float, sd: float, **kwargs: float) -> str:
    return give_or_take(ValueSd(value=value, sd=sd), **kwargs).replace(NBSP, " ")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "sd", "words"),
    [
        (3871.2, 5.1, "3 871 mm, give or take 10"),
        (2629.8, 4.2, "2 630 mm, give or take 8"),
        (3870.0, 0.2, "3 870 mm, give or take 1"),  # never finer than a millimetre, rounded up rather than away
        (268.4, 4.5, "268 mm, give or take 9"),
        (12347.0, 68.0, "12 350 mm, give or take 140"),  # two significant figures, the value rounded to agree
        (900.0, 0.0, "900 mm"),
    ],
)
def test_a_length_and_its_give_or_take_are_rounded_to_agree(value: float, sd: float, words: str) -> None:
    assert show(value, sd) == words


def test_the_worked_rounding_of_the_guide_is_kept_within_its_own_freedom() -> None:
    """JCGM 100:2008, 7.2.6 (from memory): 10.47 mΩ might be rounded up to 11, but 28.05 kHz down to 28."""
    assert rounded_uncertainty(10.47, 1e-9)[0] in (10.0, 11.0)
    assert rounded_uncertainty(28.05, 1e-9)[0] == 28.0


@given(st.floats(min_value=1e-3, max_value=1e5), st.sampled_from([0.01, 0.1, 1.0]))
def test_a_rounded_uncertainty_never_understates_by_over_a_twentieth(uncertainty: float, finest: float) -> None:
    shown, decimals = rounded_uncertainty(uncertainty, finest)
    assert shown >= 0.9499 * uncertainty
    assert shown <= uncertainty + max(finest, 0.1 * uncertainty) * 1.0001  # by less than its last figure
    assert decimals >= 0


def test_a_wall_known_too_loosely_is_for_a_price_only() -> None:
    loose = ValueSd(value=3871.2, sd=12.0)  # 24 mm is more than half a hundredth of the length
    assert wall_length(loose).replace(NBSP, " ") == "about 3.9 m, price only"
    assert wall_length(ValueSd(value=3871.2, sd=5.1)).replace(NBSP, " ") == "3 871 mm, give or take 10"


def test_nothing_measured_is_said_and_not_nought() -> None:
    assert give_or_take(None) == "Not measured"


@pytest.mark.parametrize(
    ("raw", "clean"),
    [
        ("a\x00b\x1fc", "a b c"),
        ("lone \ud800 half", "lone \ufffd half"),
        ("  tidy\n", "tidy"),
        ("<b>&amp;", "<b>&amp;"),  # markup stays: escaping is the format's work
    ],
)
def test_text_loses_only_what_no_format_can_carry(raw: str, clean: str) -> None:
    assert plain(raw) == clean


@given(st.text(max_size=60))
def test_any_text_can_be_written_as_utf_8_after_cleaning(raw: str) -> None:
    plain(raw).encode("utf-8")


def test_long_text_is_cut_with_an_ellipsis() -> None:
    assert plain("x" * 300, limit=40) == "x" * 39 + "…"


def test_small_words() -> None:
    assert listing(["a", "b", "c"]) == "a, b and c"
    assert listing([]) == ""
    assert name_of("north_outside") == "north outside"
    assert key_words("openings.w1.reveal_depth_mm") == "reveal, plaster to frame"
    assert key_words("walls.something_new_mm") == "something new"
    assert sentence("tape it") == "Tape it."
    assert sentence("9.4 m2 of 2700 x 1200 mm, W/m2K") == "9.4 m² of 2700 × 1200 mm, W/m2K."
    assert span(310.2, 480.9, unit="kWh") == f"310 to 481{NBSP}kWh"
    assert in_hundred(0.9989) == "over 99 in 100"
    assert in_hundred(0.004) == "under 1 in 100"
    assert in_hundred(0.94) == "94 in 100"
