"""Break-points of the count, the chance of them, and the few lengths worth taping."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from estimator.boards import board_rules, sizes_on_sale
from estimator.break_points import CALLS, Calls, Side, normal_tail
from estimator.count_risk import CountRisk, count_risk, size_covariance, taped
from estimator.estimate import estimate_survey
from estimator.faces import lining_face
from estimator.inputs import Design, Room, WallCase
from estimator.layout import lay_boards
from estimator.tape_reasons import TapeItem, window_board_depth_mm
from tests.board_cases import SITE, case, known, wall, window
from tests.studies import tape_list as study

RULES = board_rules()
NO_PLASTER = replace(SITE, extra={"plaster_mm": 15.0})


def risk_of(*cases: WallCase) -> tuple[CountRisk, Calls]:
    faces = [f for c in cases if (f := lining_face(c)[0]) is not None]
    calls = Calls()
    layout = lay_boards(faces, sizes=sizes_on_sale(50), rules=RULES)
    found = count_risk("r", cases, layout, sizes=sizes_on_sale(50), corners=[], rules=RULES, calls=calls)
    return found, calls


def asked(*cases: WallCase, design: Design | None = None) -> list[TapeItem]:
    rooms = [Room(id="back", walls=tuple(w for c in cases for w in (c.measured.id, None)))]
    return list(estimate_survey(cases, rooms=rooms, design=design or Design()).tape_list)


def test_a_width_just_short_of_whole_boards_may_need_one_more() -> None:
    """3598 mm, give or take 12, on three boards of 1200: two more millimetres, by arithmetic a chance of 37 %."""
    found, calls = risk_of(case(wall(width=3598, sd=6.0)))
    more, fewer = found.chances()
    assert found.count == 3
    assert found.up is not None and found.up.breaks["north", "width_mm"] == pytest.approx(2.0, abs=1.0)
    # bottom and top are independent here, so their mean is good to 6 / sqrt(2)
    assert more == pytest.approx(normal_tail(2 / (6 / math.sqrt(2))), abs=0.12)
    assert fewer == 0 and found.to_order == 4
    assert calls.made <= CALLS


def test_a_width_far_from_any_break_costs_two_questions_and_asks_for_nothing() -> None:
    found, calls = risk_of(case(wall(width=3300, sd=6.0)))
    assert found.chances() == (0.0, 0.0) and found.to_order == found.count == 3
    assert calls.made == 2


def test_the_plane_of_break_points_integrates_as_sampling_does() -> None:
    dims = (("a", "width_mm"), ("b", "width_mm"), ("c", "width_mm"))
    covariance = np.array([[30.0, 12.0, 0.0], [12.0, 25.0, 5.0], [0.0, 5.0, 40.0]])
    side = Side(count=5, breaks={dims[0]: 14.0, dims[1]: 18.0})
    draws = np.random.default_rng(4).multivariate_normal(np.zeros(3), covariance, 200_000)
    sampled = float(np.mean(draws[:, 0] / 14 + draws[:, 1] / 18 > 1))
    assert side.chance(dims, covariance) == pytest.approx(sampled, abs=0.004)


def test_taping_one_length_tightens_those_that_share_its_scale() -> None:
    covariance = np.array([[36.0, 30.0], [30.0, 36.0]])
    after = taped(covariance, 0)
    assert after[0, 0] == pytest.approx(36 * 4 / 40)
    assert after[1, 1] == pytest.approx(36 - 30**2 / 40)


def test_the_joint_covariance_of_the_wall_is_used_where_there_is_one() -> None:
    plain = wall(sd=4.0)
    keys, covariance = size_covariance(plain)
    assert keys == ("width_mm", "height_mm")
    assert covariance[0, 0] == pytest.approx(8.0)
    _, alone = size_covariance(replace(plain, covariance_mm2=None))
    assert alone[0, 0] == pytest.approx(16.0)


@pytest.mark.parametrize(("sd", "more"), [(0.8, 0), (9.0, 1)])
def test_no_board_is_bought_to_close_a_gap_that_jointing_fills(sd: float, more: int) -> None:
    """3600 mm is three boards of 1200 and a millimetre over asks for a fourth; a known millimetre or two is filled."""
    risk, _ = risk_of(case(wall(width=3600, sd=sd)))
    assert risk.count == 3
    assert risk.chances()[0] > 0.05
    assert risk.to_order == 3 + more


def test_beyond_a_break_by_more_is_less_likely() -> None:
    side = Side(count=5, breaks={("a", "width_mm"): 3.0})
    chances = [side.chance([("a", "width_mm")], np.array([[4.0]]), beyond_mm=mm) for mm in (0.0, 1.0, 2.0)]
    assert chances == pytest.approx([normal_tail((3 + mm) / 2) for mm in (0, 1, 2)])


@pytest.mark.parametrize(
    ("width", "ordered", "said"),
    [(3590.0, 3, False), (3599.0, 3, True), (3601.0, 4, False)],
    ids=["well within", "a gap to fill", "beyond what is filled"],
)
def test_a_gap_left_to_be_filled_instead_of_a_board_is_said(width: float, ordered: int, said: bool) -> None:
    """Three boards of 1200 reach 3600; two millimetres more are a gap that is filled."""
    rooms = [Room(id="back", walls=("north", None))]
    estimate = estimate_survey([case(wall(width=width, sd=2.0))], rooms=rooms, design=Design())
    boards = estimate.rooms[0].boards
    assert boards is not None
    assert boards.to_order == ordered
    told = [f for f in estimate.findings if f.code == "B042"]
    assert bool(told) is said
    if said:
        assert boards.chance_more > 0.05
        assert told[0].where == {"room": "back"}
        assert "3 boards end a little short of the wall; up to 2 mm" in told[0].message


def test_a_size_that_is_not_known_has_no_row_and_one_outside_the_covariance_stands_alone() -> None:
    bare = replace(wall(openings=(window(sill_mm=None),)), width_mm=None)
    keys, covariance = size_covariance(bare)
    assert keys == ("height_mm", *(f"openings.w1.{k}" for k in ("width_mm", "height_mm", "left_mm")))
    assert np.diag(covariance) == pytest.approx([4.5, 9, 9, 9])
    joint = wall(sd=3.0, openings=(window(left_mm=known(1400, 7.0)),))
    kept = [k for k in range(len(joint.keys)) if joint.keys[k] not in ("openings.w1.left_mm", "width_top_mm")]
    assert joint.covariance_mm2 is not None
    part = replace(
        joint,
        keys=tuple(joint.keys[k] for k in kept),
        covariance_mm2=np.asarray(joint.covariance_mm2)[np.ix_(kept, kept)],
    )
    keys, covariance = size_covariance(part)
    assert covariance[keys.index("openings.w1.left_mm"), keys.index("openings.w1.left_mm")] == pytest.approx(49)
    assert covariance[0, 0] == pytest.approx(9)


def test_a_count_that_may_be_lower_says_so_and_leaves_out_what_is_not_likely() -> None:
    """3602 mm is four boards; two millimetres less and three would do."""
    items = asked(case(wall(width=3602, sd=6.0), site=NO_PLASTER))
    assert [(i.wall, i.key) for i in items] == [("north", "width_mm")]
    assert items[0].why.endswith("that 3 boards would do")
    assert "too few" not in items[0].why


def test_the_length_that_decides_leads_the_list_and_is_the_only_one() -> None:
    items = asked(case(wall(width=3596, sd=6.0), site=NO_PLASTER), case(wall("east", 2398, sd=0.5), site=NO_PLASTER))
    assert [(i.wall, i.key) for i in items] == [("north", "width_mm")]
    # 4.5 mm to the break (a half counts up), 6 / sqrt(2) mm give or take: 14 %
    assert items[0].why == "1 chance in 7 that 5 boards are one too few"
    assert items[0].at_risk > 0 and items[0].now_mm is not None


def test_nothing_is_asked_for_where_nothing_hangs_on_it() -> None:
    assert asked(case(wall(width=3300, height=2380), site=NO_PLASTER)) == []


def test_where_nothing_was_taped_a_width_leads() -> None:
    items = asked(case(wall(width=3300, height=2380), site=NO_PLASTER, taped=False))
    assert [(i.wall, i.key) for i in items] == [("north", "width_mm")]
    assert "scale of the photos cannot check itself" in items[0].why


def test_a_ceiling_near_the_reach_of_a_board_is_taped() -> None:
    items = asked(case(wall(width=3300, height=2423), site=NO_PLASTER))
    assert [(i.wall, i.key) for i in items] == [("north", "height_mm")]
    assert "that boards 2700 mm long are needed instead" in items[0].why
    assert asked(case(wall(width=3300, height=2405), site=NO_PLASTER)) == []


def test_a_frame_that_may_be_too_narrow_is_taped_unless_it_has_been() -> None:
    subject = case(wall(width=3300, height=2380, openings=(window(visible_frame_mm=44.0),)), site=NO_PLASTER)
    tight = case(wall(width=3300, height=2380, openings=(window(visible_frame_mm=41.0),)), site=NO_PLASTER)
    assert "openings.w1.visible_frame_mm" in {i.key for i in asked(tight)}
    openings = (replace(tight.declared.openings[0], taped={"visible_frame_mm": 41.0}),)
    done = replace(tight, declared=replace(tight.declared, openings=openings))
    assert "openings.w1.visible_frame_mm" not in {i.key for i in asked(done)}
    assert all(i.chance > RULES.tape_chance for i in asked(subject) if i.at_risk)


def test_a_reveal_between_two_depths_of_window_board_is_taped() -> None:
    assert window_board_depth_mm(232.5) == 250
    opening = window(reveal_depth_mm=known(147.0, 3.0))  # 147 + 72.5 + 30 = 249.5
    items = asked(case(wall(width=3300, height=2380, openings=(opening,)), site=NO_PLASTER))
    assert any(
        i.key == "openings.w1.reveal_depth_mm" and "the window board has to be 275 mm deep, not 250" in i.why
        for i in items
    )


def test_plaster_that_decides_between_two_fixings_is_looked_at() -> None:
    thin = Design(insulation_mm=40.0)  # 12.5 + 40 + 10 + 15 + 40 = 117.5, and 120 is on sale
    items = asked(case(wall(width=3300, height=2380)), design=thin)
    assert [(i.key, i.wall) for i in items] == [("plaster_mm", "north")]
    assert "the fixings have to be 140 mm long, not 120" in items[0].why


def test_a_seeded_part_of_the_study_asks_for_little_within_its_calls() -> None:
    result = study.run(seed=3, part=0.006)
    assert result["lengths_asked_median"] <= 3  # type: ignore[operator]
    assert result["solver_calls_most"] <= CALLS  # type: ignore[operator]
    assert result["right_with_tape"] == 1.0


@pytest.mark.long
def test_a_longer_part_of_the_study_has_orders_that_are_enough() -> None:
    result = study.run(seed=20261125, part=0.1)
    assert result["lengths_asked_median"] <= 3  # type: ignore[operator]
    assert result["right_with_tape"] >= result["right_without_tape"]  # type: ignore[operator]
    assert result["right_with_tape"] >= 0.95  # type: ignore[operator]
