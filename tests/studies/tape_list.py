"""Study: over simulated surveys, is the order right without a tape, and once the lengths on the tape list are taped?"""

from __future__ import annotations

import random
import statistics
from collections.abc import Sequence

from estimator.boards import board_rules, sizes_on_sale
from estimator.count_risk import Calls, CountRisk, count_risk
from estimator.faces import lining_face
from estimator.inputs import Design, Room, WallCase
from estimator.layout import lay_boards
from estimator.layout_records import Effort, RoomLayout
from estimator.prices import default_prices
from estimator.reveals import reveal_linings
from estimator.room_boards import corners_of
from estimator.setting_out import Corner
from estimator.tape_list import tape_list
from estimator.tape_reasons import TapeItem
from tests.simulated_surveys import after_taping, as_measured, case_of, survey

DEPENDS = (
    "estimator/columns.py", "estimator/setting_out.py", "estimator/sharing.py", "estimator/layout.py",
    "estimator/count_risk.py", "estimator/tape_list.py", "estimator/data/board_rules.toml",
    "tests/simulated_surveys.py", "tests/random_rooms.py", "estimator/tape_reasons.py",
)  # fmt: skip
SURVEYS = 500
DESIGN = Design(insulation="phenolic", insulation_mm=50.0)
DEPTH_MM = 73
EFFORT = Effort(bound=0.4, place=1.0, prove=0.8, tidy=0.0)
MOST_WALLS = 2  # a bigger room takes longer to prove and says the same


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
    An order is right when number and length of the boards are those that the true sizes need (``right``), or when it is
    enough without being more than one board over (``enough``).
    """
    rng = random.Random(seed)
    told = [_one(rng, n) for n in range(max(1, round(SURVEYS * part)))]
    asked = [t["asked"] for t in told]
    return {
        "surveys": len(told),
        "right_without_tape": sum(t["right_before"] for t in told) / len(told),
        "right_with_tape": sum(t["right_after"] for t in told) / len(told),
        "enough_without_tape": sum(t["enough_before"] for t in told) / len(told),
        "enough_with_tape": sum(t["enough_after"] for t in told) / len(told),
        "lengths_asked_median": statistics.median(asked),
        "lengths_asked_mean": round(statistics.mean(asked), 2),
        "lengths_asked_most": max(asked),
        "none_asked": sum(a == 0 for a in asked) / len(told),
        "solver_calls_median": statistics.median(t["calls"] for t in told),
        "solver_calls_most": max(t["calls"] for t in told),
        "wrong_after_tape": [t["said"] for t in told if not t["right_after"]],
    }


def _lay(room: Room, cases: Sequence[WallCase]) -> tuple[RoomLayout, list[Corner]]:
    faces = [f for c in cases if (f := lining_face(c)[0]) is not None]
    corners = corners_of(room, faces, DEPTH_MM)
    layout = lay_boards(faces, sizes=sizes_on_sale(50.0), rules=board_rules(), corners=corners, effort=EFFORT)
    return layout, corners


def _risk(room: Room, cases: Sequence[WallCase], calls: Calls) -> CountRisk:
    layout, corners = _lay(room, cases)
    return count_risk(
        room.id,
        cases,
        layout,
        sizes=sizes_on_sale(50.0),
        corners=corners,
        rules=board_rules(),
        calls=calls,
    )


def _asked(cases: Sequence[WallCase], risk: CountRisk) -> list[TapeItem]:
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


def _one(rng: random.Random, n: int) -> dict[str, int]:
    room, truth = survey(rng, f"s{n}", most_walls=MOST_WALLS)
    need, _ = _lay(room, [case_of(w) for w in truth])
    cases = [case_of(as_measured(w, rng), taped={"somewhere": 1.0}) for w in truth]
    calls = Calls()
    before = _risk(room, cases, calls)
    asked = [i for i in _asked(cases, before) if i.key != "plaster_mm"]
    boards = before
    length_before = _lay_length(cases)
    if asked:
        taped = []
        for case, true in zip(cases, truth, strict=True):
            keys = [i.key for i in asked if i.wall == case.measured.id and i.key in case.measured.keys]
            taped.append(case_of(after_taping(case.measured, true, keys, rng), taped={"somewhere": 1.0}))
        cases = taped
        boards = _risk(room, cases, Calls())
    length_after = _lay_length(cases)
    long = need.board.length_mm
    return {
        "asked": len(asked), "calls": calls.made,
        "right_before": int(before.to_order == need.count and length_before == long),
        "right_after": int(boards.to_order == need.count and length_after == long),
        "enough_before": int(need.count <= before.to_order <= need.count + 1 and length_before == long),
        "enough_after": int(need.count <= boards.to_order <= need.count + 1 and length_after == long),
        "said": f"{room.id}: needs {need.count} of {long}, ordered {boards.to_order} of {length_after}, asked "
                f"{[f'{i.wall} {i.key}' for i in asked]}",  # type: ignore[dict-item]
    }  # fmt: skip


def _lay_length(cases: Sequence[WallCase]) -> int:
    from estimator.layout import board_for

    tallest = max(max(f.height_left, f.height_right) for c in cases if (f := lining_face(c)[0]) is not None)
    return board_for(tallest, sizes_on_sale(50.0), board_rules())[0].length_mm
