"""Study: over simulated surveys, is the order right without a tape, and once the tape list has been followed?"""

from __future__ import annotations

import random
import statistics
from collections.abc import Sequence
from dataclasses import replace

from estimator.boards import board_rules, sizes_on_sale
from estimator.break_points import Calls
from estimator.count_risk import CountRisk, count_risk
from estimator.faces import lining_face
from estimator.inputs import Design, Room, WallCase
from estimator.layout import board_for, lay_boards
from estimator.layout_records import Effort, RoomLayout
from estimator.more_readings import taped_before, with_more_readings
from estimator.prices import default_prices
from estimator.reveals import reveal_linings
from estimator.room_boards import corners_of
from estimator.setting_out import Corner
from estimator.tape_list import tape_list
from estimator.tape_reasons import TapeItem
from tests.simulated_surveys import after_taping, as_measured, case_of, read_by, survey
from vision.walls import MeasuredWall

DEPENDS = (
    "estimator/columns.py", "estimator/setting_out.py", "estimator/sharing.py", "estimator/layout.py",
    "estimator/fewest.py", "estimator/solving.py", "estimator/break_points.py", "estimator/count_risk.py",
    "estimator/tape_list.py", "estimator/tape_reasons.py", "estimator/more_readings.py", "estimator/faces.py",
    "estimator/data/board_rules.toml",
    "tests/simulated_surveys.py", "tests/random_rooms.py",
)  # fmt: skip
SURVEYS = 500
DESIGN = Design(insulation="phenolic", insulation_mm=50.0)
DEPTH_MM = 73
EFFORT = Effort(bound=0.4, place=3.0, prove=2.5, tidy=0.0)  # half of what an estimate allows; nothing is drawn
MOST_WALLS = 2  # a bigger room takes longer to prove and says the same
ROUNDS = 8  # the list is made anew from what was taped, and followed again, at most so often


def run(seed: int, part: float) -> dict[str, object]:
    """Return how often the order is right with and without the tape, and how many lengths are asked for.

    Parameters
    ----------
    seed
        Seed of the surveys.
    part
        Share of the 500 surveys, 0 to 1.

    Notes
    -----
    What the true sizes need is the number and the length of boards that the solver finds for them, with the same limits
    on its work. An order is *right* when number and length are exactly those (``right``; ``number_right`` and
    ``length_right`` tell them apart). It is *enough* when its boards are at least as long and at least as many
    (``enough``), and ``short`` is the rest. Following the list means: every length on it is read with a tape or,
    where it says so, with laths, the estimate is made anew, and what the new list asks for is read too, until it asks
    for nothing or ``ROUNDS`` is reached. A tape reading is good to 2 mm; in that is the error of the tape itself, drawn
    once for a survey and the same in all its readings, by laths too. ``lengths_asked`` counts all readings.
    """
    told = [one(seed, n) for n in range(max(1, round(SURVEYS * part)))]
    asked = [t["asked"] for t in told]

    def share(key: str) -> float:
        return sum(t[key] for t in told) / len(told)

    return {
        "surveys": len(told),
        **{f"{key}_{when}_tape": share(f"{key}_{when}") for key in JUDGED for when in ("without", "with")},
        "lengths_asked_median": statistics.median(asked),
        "lengths_asked_mean": round(statistics.mean(asked), 2),
        "lengths_asked_most": max(asked),
        "none_asked": sum(a == 0 for a in asked) / len(told),
        "rounds_mean": round(statistics.mean(t["rounds"] for t in told), 2),
        "solver_calls_median": statistics.median(t["calls"] for t in told),
        "solver_calls_most": max(t["calls"] for t in told),
        "wrong_after_tape": [t["said"] for t in told if not t["right_with"]],
    }


JUDGED = ("right", "number_right", "length_right", "enough", "short")


def one(seed: int, n: int) -> dict[str, int]:
    """Return how survey ``n`` went; each survey has a stream of chance of its own."""
    rng = random.Random(f"{seed} {n}")
    room, truth = survey(rng, f"s{n}", most_walls=MOST_WALLS)
    need, _ = _lay(room, [case_of(w) for w in truth])
    cases = told = [case_of(as_measured(w, rng), taped={"somewhere": 1.0}) for w in truth]
    calls = Calls()
    risk = _risk(room, cases, calls)
    without = _judged(need, risk, cases)
    readings: list[str] = []
    rounds, tape = 0, rng.uniform(-1.0, 1.0)
    while rounds < ROUNDS and (items := _to_read(cases, risk)):
        rounds += 1
        readings += [f"{i.wall} {i.key}" for i in items for _ in range(i.readings)]
        told = [_taped(c, t, [i for i in items if i.wall == t.id], tape, rng) for c, t in zip(told, truth, strict=True)]
        cases = [with_more_readings(c) for c in told]
        risk = _risk(room, cases, Calls())
    followed = _judged(need, risk, cases)
    more, fewer = risk.chances()
    return {
        "asked": len(readings), "calls": calls.made, "rounds": rounds,
        **{f"{k}_without": v for k, v in without.items()}, **{f"{k}_with": v for k, v in followed.items()},
        "said": f"{room.id}: needs {need.count} of {need.board.length_mm}, ordered {risk.to_order} of {_length(cases)} "
                f"(found {risk.count}, more {more:.2f}, fewer {fewer:.2f}), read {readings}",  # type: ignore[dict-item]
    }  # fmt: skip


def _judged(need: RoomLayout, risk: CountRisk, cases: Sequence[WallCase]) -> dict[str, int]:
    number, length = risk.to_order == need.count, _length(cases) == need.board.length_mm
    enough = risk.to_order >= need.count and _length(cases) >= need.board.length_mm
    return {
        "right": int(number and length), "number_right": int(number), "length_right": int(length),
        "enough": int(enough), "short": int(not enough),
    }  # fmt: skip


def _taped(case: WallCase, true: MeasuredWall, items: Sequence[TapeItem], tape: float, rng: random.Random) -> WallCase:
    """Return a wall as its survey says once the list has been followed: tape readings first, then lath readings."""
    first = {i.key: read_by(true, i.key, tape, rng, laths=False) for i in items if not taped_before(case, i.key)}
    more = dict(case.more_readings)
    for i in items:
        if i.key not in first:
            more[i.key] = (
                *more.get(i.key, ()), *(read_by(true, i.key, tape, rng, laths=True) for _ in range(i.readings))
            )  # fmt: skip
    taped = case_of(after_taping(case.measured, first), taped={**case.declared.taped, **first})
    return replace(taped, more_readings=more)


def _to_read(cases: Sequence[WallCase], risk: CountRisk) -> list[TapeItem]:
    """Return what the list asks for; plaster and frames have no truth in these surveys."""
    sizes = {c.measured.id: c.measured.keys for c in cases}
    return [i for i in _list(cases, risk) if i.key in sizes[i.wall]]


def _lay(room: Room, cases: Sequence[WallCase]) -> tuple[RoomLayout, list[Corner]]:
    faces = [f for c in cases if (f := lining_face(c)[0]) is not None]
    corners = corners_of(room, faces, DEPTH_MM)
    layout = lay_boards(faces, sizes=sizes_on_sale(50.0), rules=board_rules(), corners=corners, effort=EFFORT)
    return layout, corners


def _risk(room: Room, cases: Sequence[WallCase], calls: Calls) -> CountRisk:
    layout, corners = _lay(room, cases)
    return count_risk(
        room.id, cases, layout, sizes=sizes_on_sale(50.0), corners=corners, rules=board_rules(), calls=calls
    )


def _list(cases: Sequence[WallCase], risk: CountRisk) -> list[TapeItem]:
    rules = board_rules()
    openings = [o for c in cases for o in reveal_linings(c, build_up_mm=DEPTH_MM, rules=rules)[0]]
    return tape_list(
        cases,
        risks=[risk],
        openings=openings,
        heats={},
        constructions={},
        design=DESIGN,
        prices=default_prices(),
        rules=rules,
    )


def _length(cases: Sequence[WallCase]) -> int:
    tallest = max(max(f.height_left, f.height_right) for c in cases if (f := lining_face(c)[0]) is not None)
    return board_for(tallest, sizes_on_sale(50.0), board_rules())[0].length_mm
