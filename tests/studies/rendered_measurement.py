"""Study: measuring rendered pictures, from pixels and clicks to sizes: error over bound, coverage, homography.

Two walls are photographed at a time, one with sheets of paper and one with a card; every configuration takes the views
and references that are its own.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context

import numpy as np

from tests.rendered_walls import LARGE_PX, SIZE_PX, Pictures, four_point_width, survey_of, take_pictures
from tests.studies.measurement import stated, summarise

DEPENDS = (
    *(
        f"vision/{name}.py"
        for name in (
            "lens", "pose", "priors", "model", "problem", "unknowns", "observe", "start", "solve", "lengths", "measure",
            "results", "board_nose", "corners", "swapped_corners", "edges", "edge_strip", "hollow_corner",
            "linear_light", "references",
            "reference_search", "sheets", "tag_reading", "tag_fit", "sheet_map", "paper", "cards", "card_looks",
            "quads", "side_fit",
            "side_step", "side_light", "side_shade", "part_quads", "card_face", "card_pose",
            "plane_view",
        )
    ),
    "tests/scenes.py", "tests/scenes_draw.py", "tests/scenes_things.py", "tests/scenes_random.py",
    "tests/rendered_walls.py", "tests/simulated_walls.py", "tests/studies/rendered_measurement.py",
)  # fmt: skip
ROOMS = 272  # in full, of each of the two walls: 1632 pictures; a coverage of 95 % is then known to 1.3 %
CHUNK = 4
PAPER = (("sheet", "sheet", "a4"), ("whole", "left", "right", "reveal"), SIZE_PX)
CARD = (("card",), ("whole", "reveal"), LARGE_PX)  # on the smaller pictures a card would be refused as too small
CONFIGURATIONS: dict[str, tuple[str, tuple[int, ...], tuple[str, ...]]] = {
    "sheet_one_photo": ("paper", (0,), ("whole",)),
    "sheet_close_up": ("paper", (0,), ("whole", "reveal")),
    "two_sheets_three_photos": ("paper", (0, 1), ("whole", "left", "right")),
    "a4_one_photo": ("paper", (2,), ("whole",)),
    "card_one_photo": ("card", (0,), ("whole",)),
    "card_close_up": ("card", (0,), ("whole", "reveal")),
}


@dataclass(slots=True)
class _Tally:
    """What a number of rooms gave in one configuration."""

    pairs: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)
    ours: list[float] = field(default_factory=list)
    bare: list[float] = field(default_factory=list)
    rooms: int = 0
    pictures: int = 0
    lost: int = 0
    alarms: int = 0

    def add(self, other: _Tally) -> None:
        """Add what further rooms gave."""
        for key, triples in other.pairs.items():
            self.pairs.setdefault(key, []).extend(triples)
        self.ours += other.ours
        self.bare += other.bare
        self.rooms += other.rooms
        self.pictures += other.pictures
        self.lost += other.lost
        self.alarms += other.alarms


def _measure(tally: _Tally, taken: Pictures, references: tuple[int, ...], views: tuple[str, ...]) -> None:
    """Add one room measured in one configuration."""
    survey = survey_of(taken, references, views)
    tally.rooms += 1
    tally.pictures += len(views)
    tally.lost += survey.lost
    if not survey.problem.sightings:
        return
    solution = survey.measured()
    tally.alarms += bool(solution.solution and solution.solution.outliers)
    found = stated(solution)
    for key, (value, sd) in found.items():
        if key in survey.truth:
            tally.pairs.setdefault(key, []).append((survey.truth[key], value, sd))
    width = four_point_width(survey, survey.problem.sightings[0])
    if width is not None and "width_mm" in found:
        truth = survey.truth["width_mm"]
        tally.ours.append(abs(found["width_mm"][0] - truth))
        tally.bare.append(abs(width - truth))


def _chunk(task: tuple[int, int, int]) -> dict[str, _Tally]:
    """Return the tallies of a chunk of rooms: seed, its first room, how many."""
    import cv2

    cv2.setNumThreads(1)
    seed, first, rooms = task
    tallies = {name: _Tally() for name in CONFIGURATIONS}
    for room in range(first, first + rooms):
        rng = np.random.default_rng([seed, room])
        walls = {"paper": take_pictures(rng, *PAPER), "card": take_pictures(rng, *CARD)}
        for name, (wall, references, views) in CONFIGURATIONS.items():
            _measure(tallies[name], walls[wall], references, views)
    return tallies


def _figures(tally: _Tally) -> dict[str, object]:
    return {
        "rooms": tally.rooms,
        "pictures": tally.pictures,
        "references_in_view_not_found": tally.lost,
        "rooms_not_measured": tally.rooms - max((len(p) for p in tally.pairs.values()), default=0),
        "rooms_with_a_mark_left_out": tally.alarms,
        "median_error_of_a_bare_homography_mm": float(np.median(tally.bare)) if tally.bare else None,
        "median_error_of_a_bare_homography_over_ours": (
            float(np.median(tally.bare) / np.median(tally.ours)) if tally.ours else None
        ),
        "quantities": {key: summarise(values) for key, values in tally.pairs.items()},
    }


def run(seed: int, part: float) -> dict[str, object]:
    """Return the study's figures; ``part`` is the share of the full number of rooms.

    Each room has a seed of its own, so the figures do not depend on the number of processes.
    """
    rooms = max(2, round(ROOMS * part))
    tasks = [(seed, first, min(CHUNK, rooms - first)) for first in range(0, rooms, CHUNK)]
    if rooms <= CHUNK:
        chunks = [_chunk(task) for task in tasks]
    else:
        with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
            chunks = list(pool.map(_chunk, tasks))
    totals = {name: _Tally() for name in CONFIGURATIONS}
    for chunk in chunks:
        for name, tally in chunk.items():
            totals[name].add(tally)
    out: dict[str, object] = {name: _figures(tally) for name, tally in totals.items()}
    held = [
        abs(value - truth) <= 1.96 * sd
        for tally in totals.values() for triples in tally.pairs.values() for truth, value, sd in triples
    ]  # fmt: skip
    out["pictures"] = rooms * (len(PAPER[1]) + len(CARD[1]))
    out["pooled_coverage"] = float(np.mean(held))
    return out


if __name__ == "__main__":
    for name, row in run(int(sys.argv[2]) if len(sys.argv) > 2 else 0, float(sys.argv[1])).items():
        if not isinstance(row, dict):
            print(name, row)
            continue
        print(name, {k: v for k, v in row.items() if k != "quantities"})
        for quantity, values in row["quantities"].items():
            print("  ", quantity, " ".join(f"{k}={v:.3g}" for k, v in values.items()))
