"""The intake costs little more than the floor: plain decoding and plain tag detection of the same files in one run."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks import intake_ratios

CHECK = 2.2
DECODES = 2.5
HEIC = 1.3
MEGABYTES = 600.0
SPEED_UP = 1.8
SURVEYS = 12
"""Enough that starting two processes, a second or two, is a small part of the work."""


def test_measuring_decodes_a_photo_at_most_two_and_a_half_times(tmp_path: Path) -> None:
    assert intake_ratios.decodes_per_photo(tmp_path / "lock") <= DECODES


def test_reading_heic_costs_at_most_a_third_more_than_its_decode() -> None:
    assert min(intake_ratios.heic_ratio() for _ in range(2)) <= HEIC


def test_checking_thirty_photos_costs_at_most_the_floor_times_its_bound(tmp_path: Path) -> None:
    # the bound is meant for a hundred; what is done once a wall, proposing its outline, weighs more on fewer
    assert intake_ratios.check_ratio(tmp_path / "few", 30) <= CHECK


@pytest.mark.long
def test_checking_a_hundred_photos_costs_at_most_the_floor_times_its_bound(tmp_path: Path) -> None:
    assert intake_ratios.check_ratio(tmp_path / "many", 100) <= CHECK


@pytest.mark.long
def test_memory_stays_bounded_whatever_the_number_of_photos(tmp_path: Path) -> None:
    assert intake_ratios.peak_megabytes(tmp_path / "photos", 100) <= MEGABYTES


@pytest.mark.long
def test_two_workers_are_nearly_twice_as_quick_as_one(tmp_path: Path) -> None:
    assert intake_ratios.worker_speed_up(tmp_path, SURVEYS) >= SPEED_UP
