"""RdSAP look-ups: age bands, typical thickness and default U-values, each with its edition and source.

The tables in circulation differ by edition (solid brick 2.1 or 1.7 W/m²K), so no value is handed out without its
edition. A look-up that the tables do not hold is None, never a guess. Use only where nothing was measured.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from estimator.construction_tables import read_rows
from vision.findings import PerpendError

_NATION = {"england": "england_wales", "wales": "england_wales", "scotland": "scotland"}


@dataclass(frozen=True, slots=True, kw_only=True)
class DefaultValue:
    """A default from a published table: the value in ``unit``, with the edition and the place in it."""

    value: float
    unit: str
    edition: str
    source: str


def _table_nation(nation: str) -> str:
    name = _NATION.get(nation.lower().replace(" ", "_"))
    if name is None:
        raise PerpendError(f'RdSAP: no tables for "{nation}". Use england, wales or scotland.')
    return name


def age_band(built: int, *, nation: str = "england") -> str | None:
    """Return the RdSAP age band letter of a year, or None where the tables end.

    Parameters
    ----------
    built
        Year of building.
    nation
        ``england``, ``wales`` or ``scotland``: bands differ.

    References
    ----------
    RdSAP 2012 appendix S, table S1; band M from memory of RdSAP 10.
    """
    table = _table_nation(nation)
    for row in read_rows("rdsap_bands.csv"):
        if row["nation"] == table and int(row["first_year"]) <= built <= int(row["last_year"]):
            return row["band"]
    return None


def band_years(band: str, *, nation: str = "england") -> tuple[int, int] | None:
    """Return the first and last year of a band given as a letter or as years ("1930-1949", "before 1900").

    Returns None when the words are not understood, or the nation has no tables.
    """
    text = band.strip().lower()
    years = [int(y) for y in re.findall(r"\d{4}", text)]
    if len(years) == 2:
        return min(years), max(years)
    if len(years) == 1:
        if re.search(r"before|pre", text):
            return 0, years[0] - 1
        if re.search(r"after|since|on|post", text):
            return years[0], 9999
        return years[0], years[0]
    table = _NATION.get(nation.lower().replace(" ", "_"), "england_wales")
    for row in read_rows("rdsap_bands.csv"):
        if row["nation"] == table and row["band"].lower() == text:
            return int(row["first_year"]), int(row["last_year"])
    return None


def typical_thickness(wall: str, band: str, *, nation: str = "england") -> DefaultValue | None:
    """Return the typical whole thickness, mm, of a wall type in an age band, or None where the table has none.

    Parameters
    ----------
    wall
        ``stone``, ``solid_brick``, ``cavity``, ``timber_frame``, ``cob`` or ``system``.
    band
        RdSAP band letter.

    References
    ----------
    RdSAP 2012 appendix S, table S3. For use only when the thickness was not measured.
    """
    table = _table_nation(nation)
    for row in read_rows("rdsap_thickness.csv"):
        if row["nation"] == table and row["wall"] == wall and band.upper() in row["bands"]:
            return DefaultValue(
                value=float(row["thickness_mm"]), unit="mm", edition=row["edition"], source=row["source"]
            )
    return None


def default_u_values(
    wall: str, band: str, *, nation: str = "england", thickness_mm: float | None = None
) -> tuple[DefaultValue, ...]:
    """Return the default thermal transmittances, W/m²K, of every edition held, newest last, each with its edition.

    Parameters
    ----------
    wall
        ``solid_brick``, ``cavity_empty``, ``cavity_filled``, ``timber_frame``, ``cob`` or ``system``.
    band
        RdSAP band letter.
    thickness_mm
        Whole thickness [mm]; editions whose table goes by thickness are left out without it.

    References
    ----------
    RdSAP 2012 appendix S, table S6; RdSAP 10 (June 2025), section 5.7, table 13.
    """
    table = _table_nation(nation)
    values = []
    for row in read_rows("rdsap_u.csv"):
        if row["nation"] != table or row["wall"] != wall or band.upper() not in row["bands"]:
            continue
        if row["thickness_to_mm"]:
            low, high = float(row["thickness_from_mm"]), float(row["thickness_to_mm"])
            if thickness_mm is None or not low < thickness_mm <= high:
                continue
        values.append(
            DefaultValue(value=float(row["u_w_m2k"]), unit="W/m²K", edition=row["edition"], source=row["source"])
        )
    return tuple(values)
