"""RdSAP look-ups: every value comes with its edition and source, and differs by edition."""

from __future__ import annotations

import pytest

from estimator.rdsap import age_band, band_years, default_u_values, typical_thickness
from vision.findings import PerpendError


@pytest.mark.parametrize(
    ("built", "nation", "band"),
    [
        (1899, "england", "A"),
        (1900, "england", "B"),
        (1961, "wales", "D"),
        (1975, "england", "E"),
        (1976, "england", "F"),
        (2024, "england", "M"),
        (1908, "scotland", "A"),
        (1961, "scotland", "D"),
        (1965, "scotland", "E"),
    ],
)
def test_bands_are_those_of_rdsap_2012_table_s1(built: int, nation: str, band: str) -> None:
    assert age_band(built, nation=nation) == band


def test_a_nation_without_tables_is_refused_by_name() -> None:
    with pytest.raises(PerpendError, match="atlantis"):
        age_band(1908, nation="atlantis")


@pytest.mark.parametrize(
    ("words", "years"),
    [("C", (1930, 1949)), ("1930-1949", (1930, 1949)), ("before 1900", (0, 1899)), ("1967 to 1975", (1967, 1975))],
)
def test_a_band_is_understood_as_letter_or_years(words: str, years: tuple[int, int]) -> None:
    assert band_years(words) == years
    assert band_years("old") is None


@pytest.mark.parametrize(
    ("wall", "band", "thickness"),
    [("solid_brick", "A", 220), ("cavity", "E", 250), ("cavity", "F", 260), ("stone", "E", 450), ("cob", "B", 540)],
)
def test_typical_thickness_is_that_of_rdsap_2012_table_s3(wall: str, band: str, thickness: float) -> None:
    found = typical_thickness(wall, band)
    assert found is not None
    assert (found.value, found.unit) == (thickness, "mm")
    assert "RdSAP 2012" in found.edition and "S3" in found.source


def test_what_the_table_lacks_is_none_not_a_guess() -> None:
    assert typical_thickness("solid_brick", "M") is None
    assert default_u_values("stone", "A") == ()


def test_default_u_values_differ_by_edition_and_say_which() -> None:
    """RdSAP 2012 table S6 (older): 2.1 for solid brick A to D; RdSAP 10 table 13: 1.7 from 200 to 280 mm."""
    found = {value.edition: value.value for value in default_u_values("solid_brick", "B", thickness_mm=230)}
    assert found == {"RdSAP 2012": 2.1, "RdSAP 10 (June 2025)": 1.7}
    assert [v.edition for v in default_u_values("solid_brick", "B")] == ["RdSAP 2012"]


@pytest.mark.parametrize(("thickness", "u"), [(200, 2.5), (201, 1.7), (280, 1.7), (281, 1.4), (420, 1.4), (500, 1.1)])
def test_rdsap_10_table_13_steps_at_200_280_and_420_mm(thickness: float, u: float) -> None:
    newest = default_u_values("solid_brick", "C", thickness_mm=thickness)[-1]
    assert newest.value == u
