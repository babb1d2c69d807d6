"""The construction network: wall type, render and lining, and what each cue says of them.

A state is (wall type, render, lining). Cues are independent given the state, so that the whole network is summed
exactly: prior over states times the likelihood (n_states,) of each cue. The prior is the whole stock, all ages;
the age is a cue like any other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from estimator.construction_tables import VERDICTS, Tables, WindowType, read_tables
from vision.walls import BONDS, FloatArray, Measured

FAMILY = {
    "solid_brick": "solid",
    "solid_brick_thick": "solid",
    "cavity_empty": "cavity",
    "cavity_filled": "cavity",
    "half_brick": "half_brick",
    "stone": "stone",
    "timber_frame": "timber_frame",
    "other": "other",
}
PROOF = "looked_inside"
CONTEXT = ("render", "tap")
_QUADRATURE = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class States:
    """The joint states of type, render and lining (n_states,), their prior, and the thickness in each, mm."""

    type_index: NDArray[np.intp]
    rendered: FloatArray
    hollow: FloatArray
    prior: FloatArray
    thickness_mm: FloatArray
    thickness_sd_mm: FloatArray
    verdict_of: NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """One cue: its kind, what it is (as written to the results), and its likelihood over the states (n_states,)."""

    kind: str
    record: Mapping[str, object]
    likelihood: FloatArray


def stock_types(tables: Tables) -> FloatArray:
    """Return the probability of each wall type (n_types,) over the whole stock."""
    total: FloatArray = np.sum([band.stock_share * band.types for band in tables.ages], axis=0)
    return total


@cache
def states() -> States:
    """Return all joint states with their prior over the whole stock."""
    tables = read_tables()
    stock = stock_types(tables)
    rows = []
    for index, kind in enumerate(tables.types):
        for render in tables.render:
            p_render = kind.rendered if render.state == "rendered" else 1.0 - kind.rendered
            for lining in tables.lining:
                mean = kind.thickness_mm + render.adds_mm + lining.adds_mm
                sd = sqrt(kind.thickness_sd_mm**2 + render.adds_sd_mm**2 + lining.adds_sd_mm**2)
                rows.append(
                    (
                        index,
                        float(render.state == "rendered"),
                        lining.hollow,
                        stock[index] * p_render * lining.probability,
                        mean,
                        sd,
                        VERDICTS.index(kind.verdict),
                    )
                )
    columns = np.array(rows, dtype=float).T
    return States(
        type_index=columns[0].astype(np.intp),
        rendered=columns[1],
        hollow=columns[2],
        prior=columns[3] / columns[3].sum(),
        thickness_mm=columns[4],
        thickness_sd_mm=columns[5],
        verdict_of=columns[6].astype(np.intp),
    )


def _normal(x: FloatArray, sd: FloatArray) -> FloatArray:
    density: FloatArray = np.exp(-0.5 * (x / sd) ** 2) / (sd * sqrt(2 * pi))
    return density


def _with_slip(density: FloatArray) -> FloatArray:
    rules = read_tables().rules
    slip = rules["thickness_slip"]
    flat = 1.0 / (rules["thickness_slip_high_mm"] - rules["thickness_slip_low_mm"])
    return (1.0 - slip) * density + slip * flat


def thickness_likelihood(thickness_mm: Measured) -> FloatArray:
    """Return the density of a whole thickness given each state (n_states,), per mm."""
    s = states()
    model_sd = read_tables().rules["thickness_model_sd_mm"]
    sd = np.sqrt(s.thickness_sd_mm**2 + thickness_mm.sd**2 + model_sd**2)
    return _with_slip(_normal(thickness_mm.value - s.thickness_mm, sd))


def reveal_likelihood(
    reveal_mm: Measured,
    *,
    frame_mm: Measured | None = None,
    outer_reveal_mm: Measured | None = None,
    windows: Sequence[WindowType] | None = None,
) -> FloatArray:
    """Return the density of an inner reveal given each state (n_states,), per mm.

    What is not known of frame depth and outer reveal is summed over the stated range of each window type. The
    outer reveal that shows the sash box behind half a brick is one of the ranges.
    """
    tables = read_tables()
    s = states()
    windows = tables.windows if windows is None else windows
    extra = tables.rules["thickness_model_sd_mm"] ** 2 + tables.rules["frame_overlap_sd_mm"] ** 2 + reveal_mm.sd**2
    total = np.zeros_like(s.prior)
    weight = 0.0
    for window in windows:
        frames, p_frame, frame_var = _known_or_range(frame_mm, window.frame_mm)
        outers, p_outer, outer_var = _known_or_range(outer_reveal_mm, window.outer_mm)
        share = window.share * p_frame * p_outer
        depth = (frames[:, None] + outers[None, :]).ravel()
        sd = np.sqrt(s.thickness_sd_mm**2 + extra + frame_var + outer_var)
        offsets = reveal_mm.value + depth[:, None] - s.thickness_mm[None, :]
        total += share * _normal(offsets, np.broadcast_to(sd, offsets.shape)).mean(axis=0)
        weight += share
    return _with_slip(total / weight)


def _known_or_range(known: Measured | None, span: tuple[float, float]) -> tuple[FloatArray, float, float]:
    """Return nodes, how well a known value suits the range (its weight), and the variance to add."""
    if known is None:
        low, high = span
        steps = (np.arange(_QUADRATURE) + 0.5) / _QUADRATURE
        return low + (high - low) * steps, 1.0, ((high - low) / _QUADRATURE) ** 2 / 12.0
    outside = max(span[0] - known.value, known.value - span[1], 0.0)
    suits = float(np.exp(-0.5 * (outside / (10.0 + known.sd)) ** 2)) / (span[1] - span[0] + 10.0)
    return np.array([known.value]), suits + 1e-6, known.sd**2


def bond_likelihood(probability: Mapping[str, float], course_height_mm: Measured | None = None) -> FloatArray:
    """Return how well a bond reading, a probability over the bonds, suits each state (n_states,).

    The reading's own prior is taken as even over the bonds, so that its probability is its likelihood.
    A rendered wall shows no bond. The course height, where known, tells bricks on edge from bricks laid flat.
    """
    tables = read_tables()
    s = states()
    read = np.array([max(float(probability.get(bond, 0.0)), 0.0) for bond in BONDS])
    if read.sum() <= 0:
        return np.ones_like(s.prior)
    misread = tables.rules["bond_misread"]
    read = (1.0 - misread) * read / read.sum() + misread / len(BONDS)
    if course_height_mm is not None:
        read = read * _gauge_suits(course_height_mm)
    plain = tables.bonds @ read
    none = np.zeros(len(BONDS))
    none[BONDS.index("none_to_read")] = 1.0
    rendered = float(none @ read)
    return np.where(s.rendered > 0.5, rendered, plain[s.type_index])


def _gauge_suits(course_height_mm: Measured) -> FloatArray:
    """Return how well a course height suits each bond (n_bonds,), at most 1."""
    suits = {}
    for laid, (mean, sd) in read_tables().gauges.items():
        z = (course_height_mm.value - mean) / sqrt(sd**2 + course_height_mm.sd**2)
        suits[laid] = max(float(np.exp(-0.5 * z**2)), 0.02)
    laid_as = ["on_edge" if bond == "rat_trap" else "flat" for bond in BONDS]
    ratio = np.array([1.0 if b == "none_to_read" else suits[laid] for b, laid in zip(BONDS, laid_as, strict=True)])
    total: FloatArray = ratio / max(suits.values())
    return total


def age_likelihood(first_year: int, last_year: int) -> FloatArray:
    """Return how well a span of years suits each state (n_states,), with doubt about the neighbouring bands."""
    tables = read_tables()
    s = states()
    inside = np.array(
        [
            max(0, min(last_year, band.last_year, 2100) - max(first_year, band.first_year, 1700) + 1)
            for band in tables.ages
        ],
        dtype=float,
    )
    if inside.sum() == 0:
        return np.ones_like(s.prior)
    inside /= inside.sum()
    beside = np.convolve(inside, [0.5, 0.0, 0.5], mode="same")
    stock = np.array([band.stock_share for band in tables.ages])
    share, slip = tables.rules["age_neighbour"], tables.rules["age_slip"]
    weights = (1.0 - share - slip) * inside + share * beside / beside.sum() + slip * stock
    types = np.sum([w * band.types for w, band in zip(weights, tables.ages, strict=True)], axis=0)
    ratio: FloatArray = types / stock_types(tables)
    return ratio[s.type_index]


def answer_likelihood(question: str, yes: bool) -> FloatArray:
    """Return the probability of a yes or no to a question of ``answers.csv`` given each state (n_states,)."""
    s = states()
    p_yes = read_tables().answers[question][s.type_index]
    return p_yes if yes else 1.0 - p_yes


def rendered_likelihood(rendered: bool) -> FloatArray:
    """Return the likelihood of "the outside is rendered" (n_states,): certain, one in a hundred mistaken."""
    s = states()
    return np.where((s.rendered > 0.5) == rendered, 0.99, 0.01)


def tap_likelihood(hollow: bool) -> FloatArray:
    """Return the probability of a hollow, or solid, sound inside given each state (n_states,)."""
    s = states()
    return s.hollow if hollow else 1.0 - s.hollow


def looked_likelihood(verdict: str) -> FloatArray:
    """Return how well what was seen through a drilled hole or borescope suits each state (n_states,).

    ``verdict`` may also be a family, ``solid`` or ``cavity``.
    """
    tables = read_tables()
    s = states()
    match = np.array([verdict in (v, FAMILY[v]) for v in VERDICTS])
    right = tables.looked_right
    return np.where(match[s.verdict_of], right, (1.0 - right) / 4.0)


def posterior(cues: Sequence[Cue]) -> FloatArray:
    """Return the probability of each state (n_states,) given the cues."""
    log = np.log(states().prior)
    for cue in cues:
        log = log + np.log(np.maximum(cue.likelihood, 1e-300))
    weight = np.exp(log - log.max())
    total: FloatArray = weight / weight.sum()
    return total


def by_verdict(state_probability: FloatArray) -> dict[str, float]:
    """Return the probability of each verdict from that of the states (n_states,)."""
    sums = np.bincount(states().verdict_of, weights=state_probability, minlength=len(VERDICTS))
    return {name: float(p) for name, p in zip(VERDICTS, sums, strict=True)}


def by_family(probability: Mapping[str, float]) -> dict[str, float]:
    """Return the probability of each family (solid, cavity, ...) from that of the verdicts."""
    families: dict[str, float] = {}
    for verdict, p in probability.items():
        families[FAMILY[verdict]] = families.get(FAMILY[verdict], 0.0) + p
    return families


def support(cue: Cue, verdict: str, *, given: Sequence[Cue] = ()) -> float:
    """Return by how much a cue raises the odds of a verdict or of its family, whichever is more.

    ``given`` are cues that are not evidence for a type by themselves but change what this one means (render, tap).
    """
    s = states()
    before = posterior(given)
    after = before * cue.likelihood
    after = after / after.sum()
    names = np.array(VERDICTS)[s.verdict_of]
    family = np.array([FAMILY[name] for name in VERDICTS])[s.verdict_of]
    return max(_odds_ratio(before, after, names == verdict), _odds_ratio(before, after, family == FAMILY[verdict]))


def _odds_ratio(before: FloatArray, after: FloatArray, chosen: FloatArray) -> float:
    p, q = float(before[chosen].sum()), float(after[chosen].sum())
    return (q / max(1.0 - q, 1e-12)) / (p / max(1.0 - p, 1e-12))


def decide(cues: Sequence[Cue]) -> tuple[str, dict[str, float], list[Cue]]:
    """Return the verdict, the probability of each verdict, and the cues that speak for the likeliest one.

    A verdict needs the stated probability and two independent cues that speak for it; sight of the inside of the
    wall (a drilled hole or borescope) is proof and needs no second cue. Otherwise the verdict is ``unknown``. An inner
    reveal that solid and cavity walls share speaks for neither.
    """
    rules = read_tables().rules
    probability = by_verdict(posterior(cues))
    likeliest = max(probability, key=lambda name: probability[name])
    context = [cue for cue in cues if cue.kind in CONTEXT]
    speaking = [
        cue
        for cue in cues
        if cue.kind not in CONTEXT
        and not cue.record.get("in_overlap")
        and support(cue, likeliest, given=context) >= rules["speaks_factor"]
    ]
    proof = any(cue.kind == PROOF for cue in speaking)
    kinds = {cue.kind for cue in speaking}
    enough = proof or len(kinds) >= int(rules["independent_cues"])
    sure = probability[likeliest] >= rules["verdict_probability"]
    return (likeliest if sure and enough else "unknown"), probability, speaking
