"""The few lengths worth taping before ordering: what each would change, how likely, and what a mistake would cost."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from estimator.boards import BoardRules
from estimator.break_points import Dim
from estimator.construction import Construction
from estimator.count_risk import CountRisk, taped
from estimator.faces import is_lined
from estimator.heat_records import WallHeat
from estimator.inputs import Design, WallCase
from estimator.more_readings import TAPE_SD_MM, news_sd_mm, readings_wanted
from estimator.prices import Prices
from estimator.reveals import OpeningLining
from estimator.tape_reasons import (
    TapeItem,
    at_stake,
    board_price,
    height_reasons,
    how_often,
    middle_price,
    plaster_reasons,
    reveal_reasons,
    size_of,
    thickness_reasons,
)
from vision.walls import FloatArray, Measured


def tape_list(
    cases: Sequence[WallCase],
    *,
    risks: Sequence[CountRisk],
    openings: Sequence[OpeningLining],
    heats: Mapping[str, WallHeat],
    constructions: Mapping[str, Construction],
    design: Design,
    prices: Prices,
    rules: BoardRules,
) -> list[TapeItem]:
    """Return the lengths to tape, most money at risk first; none where nothing hangs on them.

    Parameters
    ----------
    cases
        The walls to be lined.
    risks
        The count risk of each room.
    openings
        What goes into the openings.
    heats, constructions
        Heat and construction by wall.
    design, prices, rules
        The lining, the price list and the limits (``tape_chance``, ``tape_most``).

    Notes
    -----
    After each choice the length is taken as taped and the chances are reckoned again, so that two lengths which decide
    the same thing are not both asked for without need. Where nothing at all has been taped, a width leads: the scale of
    the photos cannot check itself. Where one reading of a length has not settled what hangs on it, it is to be taken
    with laths, until it is settled or they could tell nothing more.
    """
    single = [
        *height_reasons(risks, cases, prices),
        *reveal_reasons(openings, cases, rules, prices),
        *thickness_reasons(cases, heats, constructions, design, risks, prices),
        *plaster_reasons(cases, design, rules, risks, prices),
    ]
    single = [i for i in single if i.chance > (rules.tape_count_chance if i.key == "height_mm" else rules.tape_chance)]
    covariances = [r.covariance for r in risks]
    chosen: list[TapeItem] = []
    lead = _lead(cases, risks)
    if lead is not None:
        chosen.append(lead)
        covariances = [_after(r, c, lead, cases) for r, c in zip(risks, covariances, strict=True)]
    while len(chosen) < rules.tape_most:
        best = max(
            [
                item
                for r, c in zip(risks, covariances, strict=True)
                if (item := _count_item(r, c, chosen, cases, prices, rules)) is not None
            ]
            + [i for i in single if (i.wall, i.key) not in {(c.wall, c.key) for c in chosen}],
            key=lambda i: (i.at_risk, i.chance, i.wall, i.key),
            default=None,
        )
        if best is None:
            break
        chosen.append(best)
        covariances = [_after(r, c, best, cases) for r, c in zip(risks, covariances, strict=True)]
    return chosen


TELLING = 0.02  # a length that takes less than this part of the doubt away is not asked for


def _count_item(
    risk: CountRisk,
    covariance: FloatArray,
    chosen: Sequence[TapeItem],
    cases: Sequence[WallCase],
    prices: Prices,
    rules: BoardRules,
) -> TapeItem | None:
    more, fewer = risk.chances(covariance)
    if max(more, fewer) <= rules.tape_count_chance:
        return None
    asked = {(i.wall, i.key) for i in chosen}
    wall = {c.measured.id: c for c in cases}
    options = []
    for n, dim in enumerate(risk.dims):
        size, case = size_of(cases, dim), wall[dim[0]]
        if dim in asked or size is None:
            continue
        wanted = readings_wanted(case, dim[1], Measured(value=size.value, sd=math.sqrt(max(0.0, covariance[n, n]))))
        if not wanted:
            continue
        after = taped(covariance, n, news_sd_mm(case, dim[1], size.value, wanted))
        spread = sum(_variance(risk, side, covariance) - _variance(risk, side, after) for side in ("up", "down"))
        now = sum(_variance(risk, side, covariance) for side in ("up", "down"))
        if spread > TELLING * now:
            options.append((spread, dim, wanted))
    if not options:
        return None
    _, dim, wanted = max(options, key=lambda o: (o[0], o[1]))
    cost = more * (middle_price(prices, "redelivery") + board_price(prices)) + fewer * board_price(prices)
    words = []
    if more > rules.tape_count_chance:
        words.append(f"{at_stake(more)} that {risk.count} boards are one too few")
    if fewer > rules.tape_count_chance:
        words.append(f"{at_stake(fewer)} that {risk.count - 1} boards would do")
    return TapeItem(
        wall=dim[0],
        key=dim[1],
        why="; ".join(words) + how_often(wanted),
        chance=max(more, fewer),
        at_risk=cost,
        now_mm=size_of(cases, dim),
        readings=wanted,
    )


def _variance(risk: CountRisk, side: str, covariance: FloatArray) -> float:
    """Return the variance of the move towards a break, in units of the way to it."""
    way = risk.up if side == "up" else risk.down
    if way is None:
        return 0.0
    slope = np.array([1 / way.breaks[d] if d in way.breaks else 0.0 for d in risk.dims])
    return float(slope @ covariance @ slope)


def _after(risk: CountRisk, covariance: FloatArray, item: TapeItem, cases: Sequence[WallCase]) -> FloatArray:
    dim: Dim = (item.wall, item.key)
    size = size_of(cases, dim)
    if dim not in risk.dims or size is None:
        return covariance
    case = next(c for c in cases if c.measured.id == item.wall)
    return taped(covariance, risk.dims.index(dim), news_sd_mm(case, item.key, size.value, item.readings))


def _lead(cases: Sequence[WallCase], risks: Sequence[CountRisk]) -> TapeItem | None:
    """Return the width that checks the scale where nothing has been taped: the most telling, else the widest."""
    lined = [c for c in cases if is_lined(c) and c.measured.width_mm is not None]
    if not lined or any(c.declared.taped or any(o.taped for o in c.declared.openings) for c in cases):
        return None
    if all(c.measured.width_mm is None or c.measured.width_mm.sd <= 1.25 * TAPE_SD_MM for c in lined):
        return None

    def worth(case: WallCase) -> tuple[float, float]:
        dim = (case.measured.id, "width_mm")
        hangs = 0.0
        for risk in risks:
            if dim in risk.dims:
                n = risk.dims.index(dim)
                hangs += sum(
                    _variance(risk, s, risk.covariance) - _variance(risk, s, taped(risk.covariance, n))
                    for s in ("up", "down")
                )
        width = case.measured.width_mm
        return hangs, width.value if width is not None else 0.0

    case = max(lined, key=worth)
    return TapeItem(
        wall=case.measured.id,
        key="width_mm",
        why="nothing has been taped yet, and the scale of the photos cannot check itself: read it at half height, "
        "wall to wall",
        chance=0.0,
        at_risk=0.0,
        now_mm=case.measured.width_mm,
    )
