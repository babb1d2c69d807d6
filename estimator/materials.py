"""Materials and thin sheets: conductivity and vapour resistance, each from a row that names its source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from estimator.tables import read_table


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material with its conductivity [W/mK] and vapour resistance factor mu [-]."""

    key: str
    name: str
    conductivity_w_mk: float
    vapour_factor: float
    source: str


@cache
def material(key: str) -> Material:
    """Return the material of one row of the table of materials.

    Parameters
    ----------
    key
        The row.

    Raises
    ------
    PerpendError
        When there is no such row.
    """
    row = read_table("materials").row(key)
    return Material(
        key=key,
        name=row["name"],
        conductivity_w_mk=float(row["lambda"]),
        vapour_factor=float(row["mu"]),
        source=row["source"],
    )


@cache
def sheet_sd_m(key: str) -> float:
    """Return the vapour-diffusion-equivalent air layer thickness [m] of a thin sheet, paint or facing.

    Parameters
    ----------
    key
        A row of the table of vapour sheets.

    Raises
    ------
    PerpendError
        When there is no such row.
    """
    return float(read_table("vapour_sheets").row(key)["sd_m"])


@cache
def surface_resistance(key: str) -> float:
    """Return a surface resistance [m2K/W] of the table of surfaces.

    Parameters
    ----------
    key
        The row.

    Raises
    ------
    PerpendError
        When there is no such row.
    """
    return float(read_table("surfaces").row(key)["resistance"])
