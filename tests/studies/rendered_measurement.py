"""Study: measuring rendered pictures, from pixels and clicks to sizes: error over bound, coverage, homography."""

from __future__ import annotations

import sys

import numpy as np

from tests.rendered_walls import four_point_width, rendered_survey
from tests.studies.measurement import stated, summarise

DEPENDS = (
    "vision/*.py",
    "tests/scenes*.py",
    "tests/rendered_walls.py",
    "tests/studies/measurement.py",
    "tests/studies/rendered_measurement.py",
)
ROOMS = 50  # of each configuration, in full: 500 pictures
CONFIGURATIONS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "sheet_one_photo": (("sheet",), ("whole",)),
    "sheet_close_up": (("sheet",), ("whole", "reveal")),
    "two_sheets_three_photos": (("sheet", "sheet"), ("whole", "left", "right")),
    "card_close_up": (("card",), ("whole", "reveal")),
    "a4_one_photo": (("a4",), ("whole",)),
    "card_one_photo": (("card",), ("whole",)),
}


def run_configuration(name: str, rng: np.random.Generator, rooms: int) -> dict[str, object]:
    """Return the figures of one configuration."""
    kinds, views = CONFIGURATIONS[name]
    pairs: dict[str, list[tuple[float, float, float]]] = {}
    ours: list[float] = []
    bare: list[float] = []
    lost = unmeasured = pictures = 0
    for _ in range(rooms):
        survey = rendered_survey(rng, kinds, views)
        pictures += len(views)
        lost += survey.lost
        if not survey.problem.sightings:
            unmeasured += 1
            continue
        found = stated(survey.measured())
        for key, (value, sd) in found.items():
            if key in survey.truth:
                pairs.setdefault(key, []).append((survey.truth[key], value, sd))
        width = four_point_width(survey, survey.problem.sightings[0])
        if width is not None and "width_mm" in found:
            truth = survey.truth["width_mm"]
            ours.append(abs(found["width_mm"][0] - truth))
            bare.append(abs(width - truth))
    return {
        "rooms": rooms,
        "pictures": pictures,
        "references_in_view_not_found": lost,
        "rooms_without_a_reference": unmeasured,
        "median_error_of_a_bare_homography_over_ours": float(np.median(bare) / np.median(ours)) if ours else None,
        "quantities": {key: summarise(values) for key, values in pairs.items()},
    }


def run(seed: int, part: float) -> dict[str, object]:
    """Return the study's figures; ``part`` is the share of the full number of rooms."""
    rooms = max(2, round(ROOMS * part))
    out: dict[str, object] = {
        name: run_configuration(name, np.random.default_rng([seed, i]), rooms) for i, name in enumerate(CONFIGURATIONS)
    }
    rows = [row for figures in out.values() for row in figures["quantities"].values()]  # type: ignore[index]
    weights = [row["n"] for row in rows]
    out["pooled_coverage"] = float(np.average([row["coverage"] for row in rows], weights=weights))
    return out


if __name__ == "__main__":
    for chosen in sys.argv[2:] or list(CONFIGURATIONS):
        figures = run_configuration(chosen, np.random.default_rng(0), int(sys.argv[1]))
        print(chosen, {k: v for k, v in figures.items() if k != "quantities"})
        for quantity, values in figures["quantities"].items():  # type: ignore[attr-defined]
            print("  ", quantity, " ".join(f"{k}={v:.3g}" for k, v in values.items()))
