"""Linings as layers: laminates, studs, foil between battens, and insulation outside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from estimator.layers import Layer, Part, air_layer, resistive_layer, sheet_layer, solid_layer, thickness_mm
from estimator.materials import material
from estimator.tables import Row, read_table
from estimator.transmittance import Fixings, Insulation, can_matter
from vision.findings import PerpendError

BOARD_M2 = 2.88  # 1200 x 2400 mm, the board that fixings are counted on
RENDER_MM = 8.0  # invented default: the render over outside insulation


@dataclass(frozen=True, slots=True, kw_only=True)
class Lining:
    """One lining: what is added to the wall, seen from the wall towards the room.

    ``inside`` are its layers on the room side, ``inside_no_gap`` the same without the credit of the gap behind;
    ``outside`` its layers on the outer side. ``faced`` has the vapour-tight sheet too, None where there is none to
    have. ``build_up_mm`` is the depth taken from the room, ``insulation`` what the
    corrections for fixings are about.
    """

    key: str
    name: str
    family: str
    fixing: str
    insulation_mm: float
    board_mm: float
    gap_mm: float
    build_up_mm: float
    inside: tuple[Layer, ...]
    inside_no_gap: tuple[Layer, ...]
    faced: tuple[Layer, ...] | None
    outside: tuple[Layer, ...]
    on_sale: bool
    capillary: bool
    insulation: Insulation | None
    notes: tuple[str, ...]

    def onto(self, wall: Sequence[Layer], *, gap_counts: bool = True, faced: bool = False) -> tuple[Layer, ...]:
        """Return the lined wall's layers from outside to inside.

        Parameters
        ----------
        wall
            The wall's own layers from outside to inside.
        gap_counts
            Whether the gap behind the board has its resistance.
        faced
            Whether the vapour-tight sheet is there, where there is one to have.
        """
        if faced and self.faced is not None:
            return (*self.outside, *wall, *self.faced)
        return (*self.outside, *wall, *(self.inside if gap_counts else self.inside_no_gap))


_Parts = tuple[tuple[Layer, ...], tuple[Layer, ...], tuple[Layer, ...] | None, tuple[Layer, ...]]


def lining_keys() -> tuple[str, ...]:
    """Return the keys of all linings in the order of their table."""
    return tuple(read_table("linings").rows)


def thicknesses_mm(key: str) -> tuple[float, ...]:
    """Return the insulation thicknesses [mm] on sale for the lining ``key``, thin to thick."""
    return tuple(sorted(float(mm) for mm in read_table("linings").row(key)["thicknesses_mm"]))


@cache
def make_lining(key: str, insulation_mm: float, *, board_mm: float = 12.5, fixing: str = "adhesive_dabs") -> Lining:
    """Return a lining of any insulation thickness.

    Parameters
    ----------
    key
        A row of the table of linings.
    insulation_mm, board_mm
        Thickness of insulation and of plasterboard [mm].
    fixing
        A row of the table of fixings; a lining that needs its own bed takes that.

    Raises
    ------
    PerpendError
        When the lining or the fixing is not known, or a thickness is below 0.
    """
    row = read_table("linings").row(key)
    if insulation_mm < 0 or board_mm < 0:
        raise PerpendError(f"lining {key}: {insulation_mm} mm + {board_mm} mm. Thicknesses cannot be below 0.")
    bed = row["fixing"] or fixing
    family = str(row["family"])
    parts: _Parts
    if family == "external":
        parts = (), (), None, (solid_layer("cement_render", RENDER_MM), solid_layer(row["material"], insulation_mm))
        gap = 0.0
    elif family == "foil":
        parts, gap = _foil(row, insulation_mm, board_mm)
    else:
        parts, gap = _board(row, insulation_mm, board_mm, bed)
    inside, no_gap, faced, outside = parts
    return Lining(
        key=key,
        name=str(row["name"]),
        family=family,
        fixing=bed,
        insulation_mm=insulation_mm,
        board_mm=0.0 if family == "external" else board_mm,
        gap_mm=gap,
        build_up_mm=thickness_mm(inside),
        inside=inside,
        inside_no_gap=no_gap,
        faced=faced,
        outside=outside,
        on_sale=insulation_mm in thicknesses_mm(key),
        capillary=bool(row["capillary"]),
        insulation=_pierced(row, insulation_mm, bed) if family == "laminate" and insulation_mm > 0 else None,
        notes=tuple(row.get("notes", ())),
    )


def _board(row: Row, insulation_mm: float, board_mm: float, bed: str) -> tuple[_Parts, float]:
    """Return laminate or studs: gap, insulation, board."""
    gap = _gap_layer(bed)
    stud_share = float(row.get("stud_share", 0.0))
    insulation = solid_layer(
        row["material"], insulation_mm, bridge="softwood" if stud_share else None, bridge_share=stud_share
    )
    board = solid_layer("plasterboard", board_mm)
    no_gap = without_credit(gap)
    if not row["facing"]:
        return ((gap, insulation, board), (no_gap, insulation, board), None, ()), gap.thickness_mm
    sheet = sheet_layer(row["facing"])
    faced = (gap, insulation, sheet, board)
    if row.get("facing_always", False):
        return (faced, (no_gap, insulation, sheet, board), faced, ()), gap.thickness_mm
    return ((gap, insulation, board), (no_gap, insulation, board), faced, ()), gap.thickness_mm


def _pierced(row: Row, insulation_mm: float, bed: str) -> Insulation | None:
    """Return the insulation with the fixings that go through it, or None where there are none."""
    fixing, steel, main = read_table("fixings").row(bed), material("steel"), material(str(row["material"]))
    if not fixing["pins_per_board"]:
        return None
    pins = Fixings(
        conductivity_w_mk=steel.conductivity_w_mk,
        area_mm2=float(fixing["pin_area_mm2"]),
        per_m2=fixing["pins_per_board"] / BOARD_M2,
    )
    return Insulation(
        thickness_mm=insulation_mm,
        resistance_m2k_w=insulation_mm / 1000 / main.conductivity_w_mk,
        fixings=pins,
        always=can_matter(pins, main.conductivity_w_mk),
    )


def _foil(row: Row, core_mm: float, board_mm: float) -> tuple[_Parts, float]:
    """Return battens, foil, counter battens, board; without credit the gap behind the foil counts as nothing."""
    gap = air_layer(
        float(row["batten_gap_mm"]),
        emissivity_2=float(row["emissivity"]),
        bridge="softwood",
        bridge_share=float(row["batten_share"]),
    )
    core = resistive_layer("multi-layer foil", core_mm, float(row["core_resistance"]))
    foil = sheet_layer("foil_facing")
    board = solid_layer("plasterboard", board_mm)
    return ((gap, core, foil, gap, board), (without_credit(gap), core, foil, gap, board), None, ()), gap.thickness_mm


def _gap_layer(fixing: str) -> Layer:
    row = read_table("fixings").row(fixing)
    if row["bridge_share"] == 1.0:
        return solid_layer(row["bridge"], float(row["gap_mm"]))
    return air_layer(float(row["gap_mm"]), bridge=row["bridge"] or None, bridge_share=float(row["bridge_share"]))


def without_credit(gap: Layer) -> Layer:
    """Return the gap with its thickness and no resistance, as when outside air gets behind the board."""
    return Layer(
        name=f"{gap.name}, not counted",
        thickness_mm=gap.thickness_mm,
        parts=(Part(name="not counted", share=1.0, resistance_m2k_w=0.0),),
        sd_m=gap.sd_m,
    )
