"""One wall with one lining: transmittance, added resistance, surface temperature, least thickness."""

from __future__ import annotations

from estimator.climate import INSIDE_C
from estimator.existing_walls import ExistingWall
from estimator.linings import Lining, make_lining
from estimator.materials import surface_resistance
from estimator.transmittance import Transmittance, thermal_transmittance, upgraded_u


def lined_transmittance(wall: ExistingWall, lining: Lining | None, *, gap_counts: bool = True) -> Transmittance:
    """Return the transmittance of a wall with a lining, or as it is where ``lining`` is None.

    Parameters
    ----------
    wall, lining
        The wall and what is put on it.
    gap_counts
        Whether the gap behind the board has its resistance.
    """
    layers = wall.layers if lining is None else lining.onto(wall.layers, gap_counts=gap_counts)
    return thermal_transmittance(
        layers, outside_m2k_w=wall.outside_m2k_w, insulation=None if lining is None else lining.insulation
    )


def added_m2k_w(wall: ExistingWall, lining: Lining, *, gap_counts: bool = True) -> float:
    """Return the resistance [m2K/W] that a lining adds to a wall, the loss through its fixings taken off.

    Parameters
    ----------
    wall, lining, gap_counts
        As for :func:`lined_transmittance`.
    """
    lined = lined_transmittance(wall, lining, gap_counts=gap_counts).u_w_m2k
    return 1 / lined - 1 / lined_transmittance(wall, None).u_w_m2k


def inside_surface_c(u_w_m2k: float, outside_c: float, *, inside_c: float = INSIDE_C) -> float:
    """Return the temperature [deg C] of a plane wall's inside face, with 0.13 m2K/W at the face.

    Parameters
    ----------
    u_w_m2k
        The wall's transmittance [W/m2K].
    outside_c, inside_c
        Air temperatures [deg C].
    """
    return inside_c - u_w_m2k * surface_resistance("inside_horizontal") * (inside_c - outside_c)


def least_thickness_mm(
    key: str, target_u: float, *, wall: ExistingWall, board_mm: float = 12.5, fixing: str = "adhesive_dabs"
) -> float | None:
    """Return the least insulation thickness [mm], to 0.1 mm upwards, that meets a target without the gap's credit.

    Parameters
    ----------
    key, board_mm, fixing
        The lining; any thickness of it, on sale or not.
    target_u
        Transmittance to meet [W/m2K].
    wall
        The wall as it is; its calculated transmittance counts.

    Returns
    -------
    float or None
        None where 500 mm do not meet the target.
    """

    def meets(tenths: int) -> bool:
        lining = make_lining(key, tenths / 10, board_mm=board_mm, fixing=fixing)
        return lined_transmittance(wall, lining, gap_counts=False).u_w_m2k <= target_u

    low, high = 0, 5000
    if not meets(high):
        return None
    while low < high:
        middle = (low + high) // 2
        if meets(middle):
            high = middle
        else:
            low = middle + 1
    return low / 10


def lined_u_range(lining: Lining, wall: ExistingWall) -> tuple[float, float]:
    """Return the lowest and highest lined transmittance [W/m2K] over the wall's starting values and the gap's credit.

    Parameters
    ----------
    lining, wall
        The lining and what it is put on.
    """
    added, added_no_gap = added_m2k_w(wall, lining), added_m2k_w(wall, lining, gap_counts=False)
    low = min(wall.calculated.low, wall.measured.low)
    high = max(wall.calculated.high, wall.measured.high)
    return upgraded_u(low, added), upgraded_u(high, added_no_gap)
