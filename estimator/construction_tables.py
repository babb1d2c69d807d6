"""The conditional tables of the construction network, read from ``estimator/data/construction``.

Every row of every table carries its source, or "from memory", or "invented default"; a row without one is refused.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from vision.findings import PerpendError
from vision.walls import BONDS, FloatArray

VERDICTS = (
    "solid_brick",
    "solid_brick_thick",
    "cavity_empty",
    "cavity_filled",
    "half_brick",
    "stone",
    "timber_frame",
    "other",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WallType:
    """One kind of wall that the network knows, with its thickness face to face, plaster in, render left out."""

    name: str
    verdict: str
    thickness_mm: float
    thickness_sd_mm: float
    rendered: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeBand:
    """A span of years, its share of the stock and the probability of each wall type (n_types,) in it."""

    name: str
    first_year: int
    last_year: int
    stock_share: float
    types: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A state of the render or lining node: what it adds to the thickness and how it sounds when tapped."""

    state: str
    probability: float
    adds_mm: float
    adds_sd_mm: float
    hollow: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowType:
    """A kind of window: its share, the range of its frame's depth and of its outer reveal, mm."""

    name: str
    share: float
    frame_mm: tuple[float, float]
    outer_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """All tables of the network. ``bonds`` is (n_types, n_bonds); ``answers`` is question -> P(yes | type) (n_types,).

    ``gauges`` is the course height, mean and sd in mm, of bricks laid flat and on edge.
    """

    types: tuple[WallType, ...]
    ages: tuple[AgeBand, ...]
    bonds: FloatArray
    render: tuple[Layer, ...]
    lining: tuple[Layer, ...]
    windows: tuple[WindowType, ...]
    answers: Mapping[str, FloatArray]
    looked_right: float
    gauges: Mapping[str, tuple[float, float]]
    rules: Mapping[str, float]


def read_rows(name: str) -> list[dict[str, str]]:
    """Return the rows of one table under ``estimator/data`` as text.

    Parameters
    ----------
    name
        Path of the CSV file below ``estimator/data``, such as ``construction/bonds.csv``.

    Raises
    ------
    PerpendError
        When a row has no source.
    """
    text = files("estimator").joinpath("data", *name.split("/")).read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    for number, row in enumerate(rows, start=2):
        if not (row.get("source") or "").strip():
            raise PerpendError(
                f'{name}, line {number}: no source. Name it, or write "from memory" or "invented default".'
            )
    return rows


def _number(text: str) -> float:
    return float(text) if text.strip() else 0.0


def _layers(rows: list[dict[str, str]], node: str) -> tuple[Layer, ...]:
    return tuple(
        Layer(
            state=row["state"],
            probability=_number(row["probability"]),
            adds_mm=float(row["adds_mm"]),
            adds_sd_mm=float(row["adds_sd_mm"]),
            hollow=_number(row["hollow_when_tapped"]),
        )
        for row in rows
        if row["node"] == node
    )


def _answers(names: list[str]) -> dict[str, FloatArray]:
    found: dict[str, FloatArray] = {}
    rows = read_rows("construction/answers.csv")
    for row in [row for row in rows if row["type"] == "any"]:
        found[row["question"]] = np.full(len(names), float(row["probability"]))
    for row in [row for row in rows if row["type"] != "any"]:
        found[row["question"]][names.index(row["type"])] = float(row["probability"])
    return found


@cache
def read_tables() -> Tables:
    """Return the network's tables, read once.

    Raises
    ------
    PerpendError
        When a row has no source, or the probabilities of a row do not add to one.
    """
    types = tuple(
        WallType(
            name=row["type"],
            verdict=row["verdict"],
            thickness_mm=float(row["thickness_mm"]),
            thickness_sd_mm=float(row["thickness_sd_mm"]),
            rendered=float(row["rendered"]),
            words=row["words"],
        )
        for row in read_rows("construction/types.csv")
    )
    names = [kind.name for kind in types]
    ages = tuple(
        AgeBand(
            name=row["band"],
            first_year=int(row["first_year"]),
            last_year=int(row["last_year"]),
            stock_share=float(row["stock_share"]),
            types=np.array([float(row[name]) for name in names]),
        )
        for row in read_rows("construction/ages.csv")
    )
    bond_rows = {row["type"]: row for row in read_rows("construction/bonds.csv")}
    bonds = np.array([[float(bond_rows[name][bond]) for bond in BONDS] for name in names])
    layers = read_rows("construction/layers.csv")
    windows = tuple(
        WindowType(
            name=row["window"],
            share=float(row["share"]),
            frame_mm=(float(row["frame_low_mm"]), float(row["frame_high_mm"])),
            outer_mm=(float(row["outer_low_mm"]), float(row["outer_high_mm"])),
        )
        for row in read_rows("construction/windows.csv")
    )
    tables = Tables(
        types=types,
        ages=ages,
        bonds=bonds,
        render=_layers(layers, "render"),
        lining=_layers(layers, "lining"),
        windows=windows,
        answers=_answers(names),
        looked_right=float(read_rows("construction/looked_inside.csv")[0]["probability"]),
        gauges={
            row["laid"]: (float(row["course_mm"]), float(row["course_sd_mm"]))
            for row in read_rows("construction/gauges.csv")
        },
        rules={row["rule"]: float(row["value"]) for row in read_rows("construction/rules.csv")},
    )
    _refuse_sums(tables)
    return tables


def _refuse_sums(tables: Tables) -> None:
    sums = {f"ages.csv, {band.name}": float(band.types.sum()) for band in tables.ages}
    sums |= {f"bonds.csv, {kind.name}": float(tables.bonds[i].sum()) for i, kind in enumerate(tables.types)}
    sums["ages.csv, stock_share"] = sum(band.stock_share for band in tables.ages)
    sums["windows.csv, share"] = sum(window.share for window in tables.windows)
    sums["layers.csv, lining"] = sum(layer.probability for layer in tables.lining)
    for place, total in sums.items():
        if abs(total - 1.0) > 1e-6:
            raise PerpendError(f"construction/{place}: the probabilities add to {total:.4f}; they must add to 1.")
