"""What the marking page's server does between a person and an answer, against floors measured in the same run.

A moved mark: the processor time from the changed survey to the answer's JSON, against a full solution of the same wall.
The first photo: all processor time until it can be sent, against a bare decode to its size. On the sample survey's
three 12-megapixel photos, with other work on the machine: 0.32 of a full solution, 1.2 times a bare decode.
"""

from __future__ import annotations

import io
import json
import random
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from intake.page import keeping
from intake.page.bench import Bench
from intake.page.live import Live, gathered, problem_of
from intake.page.pictures import Pictures
from intake.page.searching import Searching
from intake.survey import Survey
from tests.page_person import sample_copy
from vision.measure import measure_wall

MOVED, FIRST_PHOTO = 0.6, 2.0
PHOTOS = ["IMG_0101.jpg", "IMG_0102.jpg", "IMG_0103.jpg"]


def cpu_s(work: Callable[[], object]) -> float:
    """Return the processor time of a piece of work, seconds."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


@pytest.fixture(scope="module", autouse=True)
def one_thread() -> None:
    cv2.setNumThreads(1)


def settled(folder: Path) -> tuple[Live, dict[str, Any]]:
    """Return the live solution of a marked survey with its edges traced, and the survey."""
    pictures = Pictures(folder)
    pictures.served.set()
    searching = Searching(pictures, lambda: None)
    document = keeping.parse((folder / "survey.json").read_bytes())
    survey = keeping.check(document)
    searching.start(survey)
    assert searching.wait(120)
    searching.stop()
    live = Live(pictures, searching)
    live.solve(survey)
    live.settle(survey, overtaken=lambda: False, turn=threading.Lock())
    return live, document


def test_a_moved_mark_costs_at_most_six_tenths_of_a_full_solution(lock_cottage: Path, tmp_path: Path) -> None:
    live, document = settled(sample_copy(lock_cottage, tmp_path / "survey", photos=[*PHOTOS, "survey.json"]))
    chance = random.Random(1)
    entries = [entry for entry in document["photos"] if entry["file"] in PHOTOS]
    marks = [mark for entry in entries for mark in entry["marks"] if "reference" not in mark]

    def moved() -> Survey:
        mark = chance.choice(marks)
        mark["px"] = [v + chance.uniform(-0.5, 0.5) for v in mark["px"]]
        return keeping.check(document)

    def answered(survey: Survey) -> float:
        return cpu_s(lambda: json.dumps(live.solve(survey)))

    def full(survey: Survey) -> float:
        found = gathered(survey, pictures=live.pictures, searching=live.searching)
        before = live.kept("north")
        (wall,) = (w for w in found.declared_walls() if w.id == "north")
        problem = problem_of(found, wall, before.problem.edges)
        return cpu_s(lambda: measure_wall(problem, start=before.solution))

    ratios = []
    for _ in range(9):
        survey = moved()
        floor = full(survey)
        ratios.append(answered(survey) / floor)
    print(f"a moved mark costs {sorted(ratios)[4]:.2f} of a full solution")
    assert sorted(ratios)[4] <= MOVED


def test_the_first_photo_costs_little_more_than_a_bare_decode_to_its_size(lock_cottage: Path, tmp_path: Path) -> None:
    folder = tmp_path / "ten"
    folder.mkdir()
    data = (lock_cottage / PHOTOS[0]).read_bytes()
    for number in range(10):
        (folder / f"IMG_{number:04}.jpg").write_bytes(data)

    def bare() -> None:
        reduced = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_COLOR_2)
        cv2.imencode(".jpg", reduced, [cv2.IMWRITE_JPEG_QUALITY, 88])

    def first() -> None:
        bench = Bench(folder)
        bench.state()
        photo = bench.first_photo()
        assert photo == "IMG_0000.jpg"
        picture = Image.open(io.BytesIO(bench.pictures.scaled(photo, "base")))
        assert max(picture.size) > 1900

    first()
    floor = min(cpu_s(bare) for _ in range(5))
    ratio = min(cpu_s(first) for _ in range(7)) / floor
    print(f"the first photo costs {ratio:.2f} times a bare decode of {1e3 * floor:.0f} ms")
    assert ratio <= FIRST_PHOTO
