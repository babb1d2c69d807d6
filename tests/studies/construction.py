"""Study: simulated houses, judged from what their survey would hold: how often a verdict is right or withheld.

Houses are drawn from the network's own tables (a documented invention in large part), then measured with the stated
errors of the measurement engine: reveals and whole thickness to 3 to 12 mm, typed frame depths to 3 mm, bonds read
right in 96 of 100. The second part draws houses of which the tables are wrong: built two age bands away from what the
prior says, 15 mm thicker or thinner, window ranges half as wide again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from estimator.construction import judge_construction
from estimator.construction_network import FAMILY
from estimator.construction_tables import AgeBand, Tables, WallType, WindowType, read_tables
from estimator.inputs import BondReading, Site, WallCase
from vision.walls import BONDS, DeclaredWall, Measured, MeasuredOpening, MeasuredWall

DEPENDS = ("estimator/construction*.py", "estimator/data/construction/*.csv", "estimator/inputs.py")
HOUSES = 2000
_YEARS = (1850, 2024)
_READ_RIGHT = 0.96
Rng = np.random.Generator


def _pick(rng: Rng, weights: NDArray[np.float64]) -> int:
    return int(rng.choice(len(weights), p=weights / weights.sum()))


def _year(rng: Rng, band: AgeBand) -> int:
    return int(rng.integers(max(band.first_year, _YEARS[0]), min(band.last_year, _YEARS[1]) + 1))


def simulate(rng: Rng, *, bands_off: int = 0, thicker_mm: float = 0.0, wider: float = 1.0) -> tuple[WallCase, str]:
    """Return one wall as surveyed and its true verdict.

    Parameters
    ----------
    rng
        Source of chance.
    bands_off
        The wall types of a house follow the band so many away from the one that it was built in.
    thicker_mm
        All thicknesses are off by this [mm].
    wider
        Ranges of frame depth and outer reveal are so many times as wide.
    """
    tables = read_tables()
    shares = np.array([band.stock_share for band in tables.ages])
    built_in = _pick(rng, shares)
    follows = int(np.clip(built_in + bands_off, 0, len(tables.ages) - 1))
    index = _pick(rng, tables.ages[follows].types)
    kind = tables.types[index]
    rendered = bool(rng.random() < kind.rendered)
    lining = tables.lining[_pick(rng, np.array([layer.probability for layer in tables.lining]))]
    thickness = _thickness(rng, tables, kind, rendered) + rng.normal(lining.adds_mm, lining.adds_sd_mm) + thicker_mm
    thickness = max(thickness, 70.0)
    window = tables.windows[_pick(rng, np.array([w.share for w in tables.windows]))]
    opening = _opening(rng, thickness, window, wider)
    extra: dict[str, object] = {}
    if rng.random() < 0.5:
        extra["render"] = "yes" if rendered else "no"
    if rng.random() < 0.4:
        extra["drilling_found"] = "yes" if rng.random() < tables.answers["drilling_found"][index] else "no"
    if rng.random() < 0.3:
        extra["tap"] = "hollow" if rng.random() < lining.hollow else "solid"
    case = WallCase(
        measured=_wall(opening),
        declared=DeclaredWall(id="w", built=_year(rng, tables.ages[built_in]) if rng.random() < 0.85 else None),
        site=Site(extra=extra),
        bonds=_bonds(rng, tables, index, rendered) if rng.random() < 0.65 else (),
    )
    return case, kind.verdict


def _thickness(rng: Rng, tables: Tables, kind: WallType, rendered: bool) -> float:
    render = next(layer for layer in tables.render if layer.state == ("rendered" if rendered else "plain"))
    bare = float(rng.normal(kind.thickness_mm, kind.thickness_sd_mm))
    return bare + float(rng.normal(render.adds_mm, render.adds_sd_mm))


def _opening(rng: Rng, thickness: float, window: WindowType, wider: float) -> MeasuredOpening:
    """Return an opening measured one of the ways that surveys have, from the whole thickness to the reveal only."""

    def drawn(low: float, high: float) -> float:
        middle, half = (low + high) / 2, (high - low) / 2 * wider
        return max(float(rng.uniform(middle - half, middle + half)), 0.0)

    frame, outer = drawn(*window.frame_mm), drawn(*window.outer_mm)
    reveal = thickness - frame - outer
    sd = float(rng.uniform(3.0, 12.0))
    way = rng.random()
    whole = Measured(value=thickness + rng.normal(0, sd), sd=sd) if way < 0.35 else None
    seen = Measured(value=max(reveal + rng.normal(0, sd), 0.0), sd=sd) if reveal > 0 and way < 0.95 else None
    outside = Measured(value=outer + rng.normal(0, 4.0), sd=4.0) if 0.35 <= way < 0.65 else None
    return MeasuredOpening(
        id="o1",
        kind="window",
        width_mm=None,
        height_mm=None,
        left_mm=None,
        sill_mm=None,
        reveal_depth_mm=seen,
        outer_reveal_mm=outside,
        thickness_mm=whole,
        frame_mm=float(frame + rng.normal(0, 3.0)) if way < 0.8 else None,
    )


def _wall(opening: MeasuredOpening) -> MeasuredWall:
    return MeasuredWall(
        id="w",
        width_mm=None,
        width_bottom_mm=None,
        width_top_mm=None,
        height_mm=None,
        height_left_mm=None,
        height_right_mm=None,
        gross_area_m2=None,
        net_area_m2=None,
        openings=(opening,),
    )


def _bonds(rng: Rng, tables: Tables, index: int, rendered: bool) -> tuple[BondReading, ...]:
    true = "none_to_read" if rendered else BONDS[_pick(rng, tables.bonds[index])]
    read = true if rng.random() < _READ_RIGHT else str(rng.choice(BONDS))
    sure = float(rng.uniform(0.8, 0.99))
    rest = (1.0 - sure) / (len(BONDS) - 1)
    return (BondReading(photo="outside.jpg", bond=read, probability=dict.fromkeys(BONDS, rest) | {read: sure}),)


def _judge(seed: int, houses: int, *, bands_off: int, thicker_mm: float, wider: float) -> dict[str, object]:
    right = given = sure = sure_right = 0
    wrong: dict[str, int] = {}
    for i in range(houses):
        rng = np.random.default_rng([seed, i])
        case, truth = simulate(rng, bands_off=bands_off, thicker_mm=thicker_mm, wider=wider)
        judged = judge_construction(case)
        verdict = judged.verdict
        family = max(judged.family, key=lambda name: judged.family[name])
        if judged.family[family] >= 0.9:
            sure += 1
            sure_right += FAMILY[truth] == family
        if verdict == "unknown":
            continue
        given += 1
        right += verdict == truth
        if verdict != truth:
            wrong[f"{truth} read as {verdict}"] = wrong.get(f"{truth} read as {verdict}", 0) + 1
    return {
        "houses": houses,
        "given": given,
        "right": right,
        "right_of_given": right / given if given else None,
        "unknown_share": 1.0 - given / houses,
        "family_sure_share": sure / houses,
        "family_right_of_sure": sure_right / sure if sure else None,
        "wrong": dict(sorted(wrong.items(), key=lambda item: -item[1])),
    }


def run(seed: int, part: float) -> dict[str, object]:
    """Return how often verdicts are right for houses as the tables say, and for others."""
    houses = max(round(HOUSES * part), 50)
    result: dict[str, object] = {"as_stated": _judge(seed, houses, bands_off=0, thicker_mm=0.0, wider=1.0)}
    for name, bands, thicker in (
        ("two_bands_newer_15_thicker", 2, 15.0),
        ("two_bands_newer_15_thinner", 2, -15.0),
        ("two_bands_older_15_thicker", -2, 15.0),
        ("two_bands_older_15_thinner", -2, -15.0),
    ):
        result[name] = _judge(seed + 1, houses, bands_off=bands, thicker_mm=thicker, wider=1.5)
    return result
