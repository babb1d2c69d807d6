"""Study: boards for random and hard rooms against an independent checker and two rules of the trade."""

from __future__ import annotations

import random
import statistics
import time

from estimator.boards import BoardSize, board_rules
from estimator.layout import lay_boards
from estimator.layout_records import RoomLayout
from tests.board_checker import faults
from tests.random_rooms import RoomFaces, hard_rooms, random_room

DEPENDS = (
    "estimator/columns.py", "estimator/setting_out.py", "estimator/sharing.py", "estimator/layout.py",
    "estimator/fewest.py", "estimator/layout_records.py", "estimator/solving.py", "estimator/cut_plan.py",
    "estimator/outlines.py",
    "estimator/data/board_rules.toml",
    "tests/board_checker.py", "tests/random_rooms.py",
)  # fmt: skip
ROOMS = 200
LIMIT_S = 10.0
SIZES = tuple(BoardSize(key=f"{n}", width_mm=1200, length_mm=n, on_order=n > 2400) for n in (2400, 2700, 3000))


def run(seed: int, part: float) -> dict[str, object]:
    """Return counts, proofs, faults and comparisons.

    Parameters
    ----------
    seed
        Seed of the random rooms.
    part
        Share of the 200 random and 20 hard rooms, 0 to 1.
    """
    rng = random.Random(seed)
    rooms = [random_room(rng, f"r{n}") for n in range(max(1, round(ROOMS * part)))]
    hard = hard_rooms()
    hard = hard[:: max(1, round(1 / part))] if part < 1 else hard
    return {"random": _told([_one(r) for r in rooms]), "hard": _told([_one(r) for r in hard])}


def _one(room: RoomFaces) -> tuple[RoomFaces, RoomLayout, float, list[str]]:
    rules = board_rules()
    start = time.process_time()
    layout = lay_boards(room.faces, sizes=SIZES, rules=rules, corners=room.corners)
    spent = time.process_time() - start
    return room, layout, spent, faults(room.faces, layout, rules=rules, corners=room.corners)


def _told(results: list[tuple[RoomFaces, RoomLayout, float, list[str]]]) -> dict[str, object]:
    layouts = [layout for _, layout, _, _ in results]
    several = [layout for room, layout, _, _ in results if len(room.faces) > 1]
    saved = [1 - x.count / x.column_count for x in several]
    return {
        "rooms": len(results),
        "faults": [f"{room.name}: {fault}" for room, _, _, found in results for fault in found],
        "proved_in_time": sum(x.proved and spent <= LIMIT_S for _, x, spent, _ in results) / len(results),
        "proved": sum(x.proved for x in layouts) / len(results),
        "worst_gap": max(x.count - x.lower_bound for x in layouts),
        "cpu_s_median": round(statistics.median(spent for _, _, spent, _ in results), 2),
        "cpu_s_worst": round(max(spent for _, _, spent, _ in results), 2),
        "saved_against_columns_mean": round(statistics.mean(saved), 4) if saved else None,
        "more_than_columns": sum(x.count > x.column_count for x in layouts),
        "area_and_a_tenth_short": sum(x.area_count < x.lower_bound for x in layouts) / len(results),
        "area_and_a_tenth_over": sum(x.area_count > x.count for x in layouts) / len(results),
        "jamb_rule_given_up": sum(x.kept == "none" for x in layouts) / len(results),
        "socket_rule_given_up": sum(x.kept == "jambs" for x in layouts) / len(results),
        "counts": [
            {
                "room": room.name,
                "walls": len(room.faces),
                "boards": x.count,
                "bound": x.lower_bound,
                "columns": x.column_count,
                "area": x.area_count,
                "board_mm": x.board.length_mm,
                "kept": x.kept,
                "at_risk": x.joints_at_risk,
                "cpu_s": round(spent, 1),
            }
            for room, x, spent, _ in results
        ],
    }  # fmt: skip
