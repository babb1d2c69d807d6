"""Study: rendered brick faces: is the bond right, the course height, the share of headers, and is a bad one refused.

Bonds, gauges, joints, weather, paint, hidden parts, light and cameras are random (`tests/scenes_brick.py`); the
pictures are rendered, not photographed. A face painted over flush joints has no relief that a bond could be read from,
so it belongs with the bad ones: for these and for faces without bricks the right answer is ``none_to_read``, and
a wrong bond is the only mistake.
"""

from __future__ import annotations

import time

import numpy as np

from tests.scenes_brick import BONDS, NO_BOND, BrickScene, render_brick
from vision.brickwork import BrickworkReading, read_brickwork

DEPENDS = ("vision/brick*.py", "vision/bond*.py", "tests/scenes_brick.py", "tests/studies/brickwork.py")
BRICK_FACES, OTHER_FACES = 240, 60
_JOINTS = ("flush", "bucket", "raked")


def draw_scene(seed: int, number: int) -> tuple[BrickScene, float | None, bool]:
    """Return a brick face, the focal length that the reader is told (or None) and whether it is a bad one."""
    rng = np.random.default_rng([seed, number])
    painted = bool(rng.random() < 0.12)
    joints = str(rng.choice(_JOINTS))
    hidden = str(rng.choice(["nothing", "pipe", "plant"], p=[0.5, 0.25, 0.25]))
    scene = render_brick(rng, BONDS[number % len(BONDS)], joints=joints, painted=painted, hidden=hidden)
    told = scene.focal_px if rng.random() < 0.7 else None
    return scene, told, painted and joints == "flush"


def _read(scene: BrickScene, told: float | None) -> BrickworkReading:
    return read_brickwork(scene.picture, photo="brick.jpg", sightings=scene.sightings, focal_px=told)


def _other_face(seed: int, number: int) -> tuple[str, BrickworkReading]:
    rng = np.random.default_rng([seed, 1, number])
    face = NO_BOND[number % len(NO_BOND)]
    return face, _read(render_brick(rng, face), None)


def run(seed: int, part: float) -> dict[str, object]:
    """Return how often bonds are right, errors of course height and header share, and how bad faces are refused."""
    count = max(round(BRICK_FACES * part / 8) * 8, 8)
    good = right = refused = bad = bad_wrong = 0
    wrong: list[str] = []
    heights: list[float] = []
    ratios: list[float] = []
    shares: list[float] = []
    lengths: list[float] = []
    seconds: list[float] = []
    for number in range(count):
        scene, told, is_bad = draw_scene(seed, number)
        start = time.process_time()
        reading = _read(scene, told)
        seconds.append(time.process_time() - start)
        good += not is_bad
        bad += is_bad
        if reading.bond == "none_to_read":
            refused += not is_bad
            continue
        if reading.bond != scene.bond:
            wrong.append(f"{number}: {scene.bond} read as {reading.bond}")
            bad_wrong += is_bad
            continue
        right += not is_bad
        assert scene.course_height_mm and scene.header_share is not None and scene.stretcher_mm
        assert reading.course_height_mm and reading.header_share
        heights.append(abs(reading.course_height_mm.value / scene.course_height_mm - 1.0))
        ratios.append(abs(reading.course_height_mm.value - scene.course_height_mm) / reading.course_height_mm.sd)
        shares.append(abs(reading.header_share.value - scene.header_share))
        if reading.stretcher_mm is not None:
            lengths.append(abs(reading.stretcher_mm.value / scene.stretcher_mm - 1.0))
    others = [_other_face(seed, i) for i in range(max(round(OTHER_FACES * part / 6) * 6, 6))]
    return {
        "readable_faces": good,
        "right": right,
        "right_share": right / good,
        "refused_share": refused / good,
        "wrong": wrong,
        "unreadable_painted_faces": bad,
        "unreadable_painted_wrong": bad_wrong,
        "course_height_error_percent": _spread(heights),
        "course_height_within_0_7_percent": float(np.mean(np.array(heights) < 0.007)),
        "course_height_within_2_sd": float(np.mean(np.array(ratios) < 2.0)),
        "header_share_error_points": _spread(shares),
        "header_share_within_4_points": float(np.mean(np.array(shares) < 0.04)),
        "stretcher_error_percent": _spread(lengths),
        "other_faces": len(others),
        "other_faces_refused_share": float(np.mean([r.bond == "none_to_read" for _, r in others])),
        "other_faces_wrong": [f"{face} read as {r.bond}" for face, r in others if r.bond != "none_to_read"],
        "cpu_seconds_a_picture": {"mean": float(np.mean(seconds)), "max": max(seconds)},
    }


def _spread(errors: list[float]) -> dict[str, float]:
    percent = 100.0 * np.array(errors)
    return {"median": float(np.median(percent)), "p95": float(np.percentile(percent, 95)), "max": float(percent.max())}
