"""Rendered rooms without a mark: how often the proposed wall is within 1.5 % of the truth, in width and height."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from intake.pipeline import measure_folder
from tests.survey_folders import render_home, write_home

DEPENDS = ("vision/*.py", "intake/propose.py", "intake/geometry.py", "tests/scenes*.py", "tests/survey_folders.py")
ROOMS = 220
WITHIN = 0.015


def run(seed: int, part: float) -> dict[str, Any]:
    """Return the share of rooms proposed within 1.5 %, and how many were called measured (none may be).

    Parameters
    ----------
    seed
        Of the first room.
    part
        Share of the 220 rooms.
    """
    cv2.setNumThreads(1)
    count = max(5, round(part * ROOMS))
    good, offered, called, errors = 0, 0, 0, []
    for k in range(count):
        home = render_home(seed + 17 * k, photos=1 + k % 2)
        with tempfile.TemporaryDirectory() as folder:
            geometry = measure_folder(write_home(Path(folder) / "home", home, marked=False))
        called += sum(wall.status == "measured" for wall in geometry.walls)
        wall = next((wall for wall in geometry.walls if wall.status == "proposed"), None)
        if wall is None or wall.width_mm is None or wall.height_mm is None:
            continue
        offered += 1
        off = (wall.width_mm.value / home.room.width_mm - 1, wall.height_mm.value / home.room.height_mm - 1)
        errors.append(max(abs(off[0]), abs(off[1])))
        good += max(abs(off[0]), abs(off[1])) <= WITHIN
    return {
        "rooms": count,
        "offered": offered / count,
        "within_1_5_percent": good / count,
        "median_error": float(np.median(errors)) if errors else None,
        "called_measured": called,
    }
