"""Readings by laths: what they are worth, the wall with them joined, and those that disagree."""

from __future__ import annotations

import re
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest

from estimator.estimate import estimate_survey
from estimator.inputs import Design, Room, WallCase
from estimator.more_readings import (
    MOST,
    TAPE_SD_MM,
    news_sd_mm,
    readings_wanted,
    size_named,
    tape_error_sd_mm,
    with_more_readings,
)
from estimator.readings_apart import FAR_APART_MM, FAR_FROM_TAPE_MM, readings_apart
from estimator.tape_reasons import TapeItem
from tests.board_cases import NORTH, SITE, case, known, wall, window

PLASTER = replace(SITE, extra={"plaster_mm": 15.0})
TAPED = {"width_mm": 4000.0, "height_mm": 2400.0, "openings.w1.height_mm": 1200.0}


def read(subject: WallCase, **readings: tuple[float, ...]) -> WallCase:
    return replace(subject, more_readings=readings)


def asked(subject: WallCase) -> list[TapeItem]:
    rooms = [Room(id="back", walls=(subject.measured.id, None))]
    return list(estimate_survey([subject], rooms=rooms, design=Design()).tape_list)


def test_the_tapes_own_error_is_the_directives_limit_taken_as_a_rectangle() -> None:
    """Directive 2014/32/EU, annex X, class II: 0.3 mm + 0.2 mm for each metre begun; 1.1 mm at 4 m."""
    assert tape_error_sd_mm(4000) == pytest.approx(1.1 / np.sqrt(3))
    assert tape_error_sd_mm(4001) == pytest.approx(1.3 / np.sqrt(3))


@pytest.mark.parametrize("length_mm", [900.0, 2425.0, 5900.0])
def test_all_readings_together_are_never_better_than_the_tape_itself(length_mm: float) -> None:
    subject = case(NORTH, taped=True)
    subject = replace(subject, declared=replace(subject.declared, taped={"width_mm": length_mm}))
    last = TAPE_SD_MM
    for laths in range(1, 200):
        together = (TAPE_SD_MM**-2 + news_sd_mm(subject, "width_mm", length_mm, laths) ** -2) ** -0.5
        assert tape_error_sd_mm(length_mm) < together < last
        last = together
    assert last == pytest.approx(tape_error_sd_mm(length_mm), rel=0.05)


def test_readings_in_two_lots_are_worth_as_much_as_in_one() -> None:
    subject = case(wall(width=4000), taped=True)
    subject = replace(subject, declared=replace(subject.declared, taped=TAPED))
    later = read(subject, width_mm=(4000.0, 4000.0))
    one = news_sd_mm(subject, "width_mm", 4000, 5) ** -2
    assert news_sd_mm(subject, "width_mm", 4000, 2) ** -2 + news_sd_mm(later, "width_mm", 4000, 3) ** -2 == (
        pytest.approx(one)
    )


def test_a_reading_by_tape_comes_first_then_laths_until_they_tell_nothing_more() -> None:
    subject = replace(case(NORTH), declared=replace(case(NORTH).declared, taped={}))
    assert readings_wanted(subject, "width_mm", known(4000, 5)) == 1
    assert readings_wanted(subject, "width_mm", known(4000, 0.5)) == 0
    taped = replace(subject, declared=replace(subject.declared, taped=TAPED))
    lots = 0
    while wanted := readings_wanted(taped, "width_mm", known(4000, 5)):
        lots += 1
        taped = read(taped, width_mm=(*taped.more_readings.get("width_mm", ()), *(4000.0,) * wanted))
    assert (lots, len(taped.more_readings["width_mm"])) == (3, MOST)


def test_a_length_of_an_opening_counts_as_taped_where_its_opening_says_so() -> None:
    subject = case(NORTH)
    openings = (replace(subject.declared.openings[0], taped={"height_mm": 1200.0}),)
    taped = replace(subject, declared=replace(subject.declared, openings=openings))
    key = "openings.w1.height_mm"
    assert readings_wanted(subject, key, known(1200, 3)) == 1
    assert readings_wanted(taped, key, known(1200, 3)) > 1


@pytest.mark.parametrize(
    "key", ["width_mm", "height_mm", "width_top_mm", "openings.w1.height_mm", "openings.w1.left_mm"]
)
@pytest.mark.parametrize("joint", [True, False], ids=["joint", "alone"])
def test_readings_draw_a_size_towards_them_and_make_it_surer(key: str, joint: bool) -> None:
    plain = wall(openings=(window(),), sd=4.0)
    subject = case(plain if joint else replace(plain, covariance_mm2=None), taped=False)
    subject = replace(subject, declared=replace(subject.declared, taped={key: 1.0}))
    was = size_named(subject.measured, key)
    assert was is not None
    now = size_named(with_more_readings(replace(subject, more_readings={key: (was.value + 6,) * 3})).measured, key)
    assert now is not None
    assert was.value + 3 < now.value < was.value + 6
    assert now.sd < was.sd / 2


def test_sizes_that_hang_together_move_along_and_the_others_stay() -> None:
    plain = wall(openings=(window(),))
    spread = np.eye(len(plain.keys)) * 16.0
    top, bottom = (plain.keys.index(k) for k in ("width_top_mm", "width_bottom_mm"))
    spread[top, bottom] = spread[bottom, top] = 12.0
    subject = case(replace(plain, covariance_mm2=spread), taped=True)
    subject = replace(subject, declared=replace(subject.declared, taped={"width_top_mm": 4000.0}))
    after = with_more_readings(read(subject, width_top_mm=(4008.0, 4008.0))).measured
    assert after.width_top_mm is not None and after.width_bottom_mm is not None and after.width_mm is not None
    assert after.width_bottom_mm.value - 4000 == pytest.approx(0.75 * (after.width_top_mm.value - 4000))
    assert after.width_mm.value == pytest.approx((after.width_bottom_mm.value + after.width_top_mm.value) / 2)
    assert after.openings == plain.openings or all(
        a.width_mm is not None and b.width_mm is not None and a.width_mm.value == b.width_mm.value
        for a, b in zip(after.openings, plain.openings, strict=True)
    )
    assert after.covariance_mm2 is not None
    assert np.linalg.eigvalsh(after.covariance_mm2).min() > 0


def test_a_reading_of_what_the_wall_does_not_have_is_left_aside() -> None:
    subject = case(NORTH)
    for key in ("openings.w9.width_mm", "id", "no_such_mm", "openings.w1.id"):
        assert with_more_readings(replace(subject, more_readings={key: (1000.0,)})).measured == subject.measured
    assert with_more_readings(replace(subject, more_readings={"width_mm": ()})).measured == subject.measured


def test_a_height_that_a_tape_leaves_undecided_is_asked_for_by_laths_and_then_no_more() -> None:
    """2400 and a foot gap of 25: a tape reading of 2424 leaves it open, laths at 2420 settle it."""
    near = wall(width=3300, height=2424.0, sd=1.9)
    subject = case(near, site=PLASTER)
    subject = replace(subject, declared=replace(subject.declared, taped={"height_mm": 2424.0}))
    first = [i for i in asked(subject) if i.key == "height_mm"]
    assert [i.readings for i in first] == [3]
    assert "boards 2700 mm long" in first[0].why
    assert "slide two laths apart until both ends touch" in first[0].why and "at 3 places" in first[0].why
    assert [i.key for i in asked(read(subject, height_mm=(2420.0, 2420.5, 2420.0))) if i.key == "height_mm"] == []


def test_readings_go_into_the_number_of_boards() -> None:
    """3598 by photos and tape is three boards of 1200; laths that say 3606 make it four."""
    subject = case(wall(width=3598, sd=2.0), site=PLASTER)
    subject = replace(subject, declared=replace(subject.declared, taped={"width_mm": 3598.0}))
    rooms = [Room(id="back", walls=("north", None))]

    def count(one: WallCase) -> int:
        boards = estimate_survey([one], rooms=rooms, design=Design()).rooms[0].boards
        assert boards is not None
        return boards.count

    assert (count(subject), count(read(subject, width_mm=(3606.0,) * 3))) == (3, 4)


def test_a_board_length_that_no_reading_settles_is_said_with_what_is_safe() -> None:
    near = wall(width=3300, height=2425.0, sd=3.0)
    subject = case(near, site=PLASTER)
    subject = replace(subject, declared=replace(subject.declared, taped={"height_mm": 2425.0}))
    rooms = [Room(id="back", walls=("north", None))]
    for readings, said in ((MOST - 1, False), (MOST, True)):
        estimate = estimate_survey(
            [read(subject, height_mm=(2425.4,) * readings)], rooms=rooms, design=Design()
        )  # fmt: skip
        doubt = [f for f in estimate.findings if f.code == "B018"]
        assert bool(doubt) is said
        assert ("height_mm" in {i.key for i in estimate.tape_list}) is not said
    assert doubt[0].where == {"room": "back", "wall": "north", "key": "height_mm"}
    assert "boards of 2400 mm are planned" in doubt[0].message and "2700 mm" in doubt[0].message
    assert "Boards of 2700 mm are safe" in doubt[0].remedy and "a lath of 2425 mm" in doubt[0].remedy


@pytest.mark.parametrize(
    ("taped", "laths", "said"),
    [
        (2424.0, (2423.5, 2424.0, 2425.0), None),
        (2424.0, (2424.0, 2442.0), "readings by laths from 2424 to 2442 mm, 18 mm apart"),
        (2442.0, (2424.0, 2424.5), "2442 mm by tape, 2424.2 mm by laths"),
        (2424.0, (), None),
    ],
    ids=["all agree", "laths apart", "tape misread", "not read again"],
)
def test_readings_that_disagree_are_kept_and_named_in_the_estimate(
    taped: float, laths: tuple[float, ...], said: str | None
) -> None:
    subject = case(wall(width=3300, height=2424.0, sd=1.9), site=PLASTER)
    subject = read(replace(subject, declared=replace(subject.declared, taped={"height_mm": taped})), height_mm=laths)
    estimate = estimate_survey([subject], rooms=[Room(id="back", walls=("north", None))], design=Design())
    told = [f for f in estimate.findings if f.code == "B019"]
    assert [f.where for f in told] == ([] if said is None else [{"wall": "north", "key": "height_mm"}])
    assert said is None or said in told[0].message


def test_an_openings_laths_are_held_against_its_own_tape_reading() -> None:
    subject = case(NORTH)
    openings = (replace(subject.declared.openings[0], taped={"width_mm": 1200.0}),)
    subject = replace(subject, declared=replace(subject.declared, openings=openings))
    key = "openings.w1.width_mm"
    assert readings_apart(replace(subject, more_readings={key: (1201.0,)})) == []
    assert [f.where["key"] for f in readings_apart(replace(subject, more_readings={key: (1210.0,)}))] == [key]


def test_the_page_doubts_readings_at_the_same_distances_as_the_estimate() -> None:
    script = (resources.files("intake.page") / "static" / "lengths.js").read_text()
    limits = {name: float(value) for name, value in re.findall(r"const (FAR_\w+) = ([0-9.]+);", script)}
    assert limits == {"FAR_FROM_TAPE_MM": FAR_FROM_TAPE_MM, "FAR_APART_MM": FAR_APART_MM}
