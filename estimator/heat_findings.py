"""Findings on heat and moisture: what was missing, and what the chosen lining runs into."""

from __future__ import annotations

from collections.abc import Sequence

from estimator.climate import Climate
from estimator.existing_walls import ExistingWall
from estimator.heat_records import LiningOption
from estimator.inputs import Site
from estimator.junction_models import LEAST_FACTOR
from estimator.junction_study import JunctionStudy
from estimator.linings import thicknesses_mm
from estimator.saving import Heating
from estimator.tables import read_table
from vision.findings import Finding


def input_findings(
    wall: str,
    *,
    site: Site,
    climate: Climate,
    plant: Heating,
    area_known: bool,
    faces: str,
    candidates: Sequence[ExistingWall],
) -> list[Finding]:
    """Return what was missing or not understood among the inputs of one wall.

    Parameters
    ----------
    wall
        The wall's id.
    site
        The answers as given.
    climate, plant
        What they were read as.
    area_known
        Whether the wall's net area is known.
    faces
        What the wall faces, as declared.
    candidates
        The constructions that it may have.
    """
    where, found = {"wall": wall}, []
    if not climate.known:
        found.append(_unknown("H101", "region", site.region, "the mean climate of the United Kingdom is used", wall))
    if not plant.known:
        effect = "the saving spans every kind from an old gas boiler to electric heaters"
        found.append(_unknown("H102", "heating", site.heating, effect, wall))
    if not area_known:
        found.append(
            Finding(
                code="H103",
                severity="warn",
                message="The wall's area without its openings is not known, so there is no saving, cost or payback.",
                remedy="Measure the wall, or tape width_mm and height_mm.",
                where=where,
            )
        )
    if faces != "outside":
        found.append(_not_outside(wall, faces))
    if len(candidates) > 1:
        names = " or ".join(c.name for c in candidates)
        found.append(
            Finding(
                code="H104",
                severity="warn",
                message=f"The construction is not decided ({names}): values are for the first, ranges for all.",
                remedy="Measure the wall's whole thickness at an open window or door, and photograph the bricks.",
                where=where,
            )
        )
    return found


def _not_outside(wall: str, faces: str) -> Finding:
    where = {"wall": wall, "key": "faces"}
    if faces == "unheated":
        return Finding(
            code="H106",
            severity="note",
            message="The wall faces an unheated space: its outer face counts as sheltered, the saving as an upper end.",
            remedy="Say faces: outside if the space behind is open to the weather.",
            where=where,
        )
    if faces == "ground":
        return Finding(
            code="H107",
            severity="stop",
            message="The wall faces the ground: neither heat loss nor moisture can be had from this calculation.",
            remedy="Ask a professional; a wall in the ground needs keeping dry first (BS 8102, from memory).",
            where=where,
        )
    return Finding(
        code="H108",
        severity="warn",
        message=f"The wall is a {faces} wall: behind it is a warm room, so the saving and the cold side do not hold.",
        remedy="Line outer walls; set line to false here, or correct faces.",
        where=where,
    )


def _unknown(code: str, what: str, given: str | None, effect: str, wall: str) -> Finding:
    table = {"region": "regions", "heating": "heating"}[what]
    start = f"No {what} is given" if given is None else f"The {what} {given!r} is not known"
    return Finding(
        code=code,
        severity="note",
        message=f"{start}: {effect}.",
        remedy=f"Set site.{what} to one of: {', '.join(sorted(k for k in read_table(table).rows if k != 'unknown'))}.",
        where={"wall": wall, "key": f"site.{what}"},
    )


def lining_findings(
    wall: str, chosen: LiningOption, *, target_u: float, least_mm: float | None, needed_f_rsi: float
) -> list[Finding]:
    """Return what the chosen lining runs into: thickness not on sale, target, moisture, surface temperature.

    Parameters
    ----------
    wall
        The wall's id.
    chosen
        The lining.
    target_u
        Target [W/m2K].
    least_mm
        The least thickness on sale that meets it, None where none does.
    needed_f_rsi
        The surface temperature factor that the climate and humidity ask for.
    """
    name = f"{chosen.insulation_mm:g} mm {chosen.name}"
    place = {"wall": wall, "key": "design.insulation_mm"}
    found = []
    if not chosen.on_sale:
        sizes = ", ".join(f"{mm:g}" for mm in thicknesses_mm(chosen.insulation))
        found.append(
            Finding(
                code="H105",
                severity="warn",
                message=f"{name} is not a usual thickness; it is computed all the same.",
                remedy=f"Choose one of {sizes} mm, or ask the supplier.",
                where=place,
            )
        )
    if not chosen.meets_target:
        remedy = (
            f"No thickness on sale of this lining meets {target_u:.2f}; choose another lining."
            if least_mm is None
            else f"{least_mm:g} mm meets it without counting the gap; or ask building control what is reasonable here."
        )
        message = (
            f"{name} gives {chosen.u_from_calculated:.2f} W/m²K ({chosen.u_without_gap:.2f} without the gap behind): "
            f"it {chosen.target_words}."
        )
        found.append(Finding(code="H110", severity="warn", message=message, remedy=remedy, where=place))
    if chosen.moisture in {"builds_up", "too_wet"}:
        found.append(
            Finding(
                code="H120",
                severity="stop",
                message=f"{name}: {chosen.moisture_words}.",
                remedy="Do not fit this lining; ask a professional for a calculation to EN 15026.",
                where={"wall": wall},
            )
        )
    elif chosen.moisture == "not_judged":
        found.append(
            Finding(
                code="H123",
                severity="warn",
                message=f"{name}: {chosen.moisture_words}.",
                remedy="Have a professional calculate this wall to EN 15026 before ordering.",
                where={"wall": wall},
            )
        )
    elif chosen.moisture == "dries":
        found.append(
            Finding(
                code="H121",
                severity="warn",
                message=f"{name}: {chosen.moisture_words}.",
                remedy="Take a board with a vapour-tight face, tape and seal every edge, and ask a professional.",
                where={"wall": wall},
            )
        )
    least = max(LEAST_FACTOR, needed_f_rsi)
    if chosen.f_rsi < least:
        found.append(
            Finding(
                code="H122",
                severity="warn",
                message=f"{name}: surface temperature factor {chosen.f_rsi:.2f}, below {least:.2f}: mould can grow.",
                remedy="Take a thicker lining, and settle the ventilation.",
                where=place,
            )
        )
    return found


def junction_findings(wall: str, junctions: JunctionStudy | None, *, outer: Sequence[bool] = ()) -> list[Finding]:
    """Return what the junctions say must be done: the return, the reveals.

    Parameters
    ----------
    wall
        The wall's id.
    junctions
        The study, or None where there is none.
    outer
        For each outer wall beside this one: whether it is lined. Two of them leave no partition to return along.
    """
    if junctions is None:
        return []
    found = []
    if False in outer:
        bare = junctions.corner_bare.f_rsi
        found.append(
            Finding(
                code="H133",
                severity="warn",
                message=f"An outer wall beside this one stays bare: the corner between them has a surface temperature "
                f"factor of {bare:.2f}, below {LEAST_FACTOR:.2f}.",
                remedy="Line that wall too, or keep the corner open to the room's air and watch it for mould.",
                where={"wall": wall},
            )
        )
    if len(outer) < 2 and (junctions.advised_return_mm is None or junctions.advised_return_mm > 0):
        found.append(
            Finding(
                code="H131",
                severity="note" if junctions.advised_return_mm is not None else "warn",
                message=junctions.words[0],
                remedy="Order boards for the return, and look for sockets and skirting there.",
                where={"wall": wall},
            )
        )
    for window, words in zip(junctions.windows, junctions.words[-len(junctions.windows) :], strict=False):
        fits = window.advised is not None and window.advised.fits
        for opening in window.openings:
            found.append(
                Finding(
                    code="H132",
                    severity="note" if fits else "warn",
                    message=words,
                    remedy="Tape the frame in sight, and look where hinges and handle turn.",
                    where={"wall": wall, "opening": opening},
                )
            )
    return found
