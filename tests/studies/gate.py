"""Is the gate right: rendered photos, good and spoiled in nine ways, judged unmarked, then marked and measured.

Each photo is a survey of its own, so that nothing else can make up for it: `perpend check` sees the photo, the declared
sheets and wall, and no mark; then a person's marks are added (with an error that grows with blur) and `perpend measure`
measures. The photo *serves* when measuring gives the wall's width and height, raises no stop against them, and both
errors lie within the stated give-or-take. The truth is the rendered wall's. A give-or-take that holds 19 times in 20
misses once in 20 by chance, which no gate can foresee and which counts against it here.

The gate is right when `usable` says whether the photo serves. A photo may be spoiled and still serve: a slight blur, a
glare beside the sheets, half a sheet hidden, a zoom that kept all corners. Nothing asks the gate to refuse those; the
result's own give-or-take says what they cost, and the gate is asked to foretell it: the width's standard uncertainty
that `check` expects, against the one that measuring states.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from intake.check import check_folder
from intake.pipeline import measure_folder
from intake.results import Geometry
from tests.spoiled_photos import KINDS, Spoiled, spoiled_photo
from tests.survey_folders import Rendered, survey_of

DEPENDS = (
    *("intake/check.py", "intake/expect.py", "intake/framing.py", "intake/quality.py", "intake/gather.py"),
    *("vision/proposals.py", "vision/proposed_outline.py", "vision/room_axes.py", "vision/square_on.py"),
    *("vision/forecast.py",),
    *("vision/quick_look.py", "vision/references.py", "vision/sheets.py", "vision/tag_reading.py"),
    *("vision/measure.py", "vision/checks.py"),
    *("tests/scenes.py", "tests/scenes_random.py", "tests/spoiled_photos.py", "tests/survey_folders.py"),
)
PHOTOS = 300
WITHIN = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One photo: what the gate said, whether the photo serves, and the width's sd as expected and as stated, mm."""

    kind: str
    usable: bool
    serves: bool
    expected_sd_mm: float | None
    stated_sd_mm: float | None


def run(seed: int, part: float) -> dict[str, Any]:
    """Return how often the gate was right either way, by kind, and how near its expectation came.

    Parameters
    ----------
    seed
        Of the first photo.
    part
        Share of the 300 photos.
    """
    cv2.setNumThreads(1)
    count = max(len(KINDS), round(part * PHOTOS))
    judged = [judge(spoiled_photo(seed + k, KINDS[k % len(KINDS)]), seed + k) for k in range(count)]
    both = [(j.expected_sd_mm, j.stated_sd_mm) for j in judged if j.usable and j.stated_sd_mm is not None]
    ratios = np.array([expected / stated for expected, stated in both if expected is not None and stated is not None])
    return {
        "photos": count,
        "serve": sum(j.serves for j in judged),
        "usable_said_of_those_that_serve": _share([j.usable for j in judged if j.serves]),
        "unusable_said_of_those_that_do_not": _share([not j.usable for j in judged if not j.serves]),
        "serve_of_those_said_usable": _share([j.serves for j in judged if j.usable]),
        "do_not_of_those_said_unusable": _share([not j.serves for j in judged if not j.usable]),
        "by_kind": {kind: _tally([j for j in judged if j.kind == kind]) for kind in KINDS},
        "expected": len(ratios),
        "expected_of_those_measured": len(ratios) / max(len(both), 1),
        "expected_over_stated_median": float(np.median(ratios)) if len(ratios) else None,
        "expected_within_35_percent": _share([bool(abs(r - 1) <= WITHIN) for r in ratios]),
    }


def _share(values: list[bool]) -> float | None:
    return sum(values) / len(values) if values else None


def _tally(judged: list[Judged]) -> dict[str, int]:
    return {
        f"{'' if usable else 'un'}usable_and_{'serves' if serves else 'fails'}": sum(
            (j.usable, j.serves) == (usable, serves) for j in judged
        )
        for usable in (True, False)
        for serves in (True, False)
    }


def judge(photo: Spoiled, seed: int) -> Judged:
    """Return what the gate says of one photo and what comes of it."""
    rng = np.random.default_rng([seed, 1])
    pixels = {
        name: px if px is None else tuple(np.array(px) + rng.normal(0, photo.click_sd_px, 2))
        for name, px in photo.scene.pixels.items()
    }
    home = Rendered(room=photo.scene.room, scenes=(replace(photo.scene, pixels=pixels),))
    survey = survey_of(home, seed=seed)
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "IMG_0001.jpg").write_bytes(photo.jpeg)
        said = Path(folder) / "survey.json"
        said.write_text(json.dumps({**survey, "photos": []}), encoding="utf-8")
        check = check_folder(Path(folder))
        said.write_text(json.dumps(survey), encoding="utf-8")
        geometry = measure_folder(Path(folder))
    width = geometry.walls[0].width_mm
    return Judged(
        kind=photo.kind,
        usable=check.photos[0].usable,
        serves=serves(geometry, {"width_mm": home.room.width_mm, "height_mm": home.room.height_mm}),
        expected_sd_mm=check.walls[0].predicted_sd_mm,
        stated_sd_mm=None if width is None else width.sd,
    )


def serves(geometry: Geometry, truth_mm: Mapping[str, float]) -> bool:
    """Return whether the wall got every size, no stop was raised, and each error is within the stated give-or-take."""
    if any(finding.severity == "stop" for finding in geometry.findings):
        return False
    sizes = {key: getattr(geometry.walls[0], key) for key in truth_mm}
    return all(size is not None and abs(size.value - truth_mm[key]) <= 2 * size.sd for key, size in sizes.items())
