"""Where a lined wall meets a partition, a party wall, a floor or a window: sections and what they come to.

In every section x runs along the wall's inside face and y from its outer face into the room, millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from estimator.climate import INSIDE_C
from estimator.junctions import Air, Block, Grid, SectionSolution, solve_section
from estimator.layers import Layer, solid_layer, thickness_mm
from estimator.linings import Lining
from estimator.materials import surface_resistance

FLANK_MM = 1000.0  # EN ISO 10211:2017 clause 5.2.2: cut planes a metre away, or three thicknesses if that is more
AIR_MM = 50.0
OUTSIDE_C = 0.0
LEAST_FACTOR = 0.75  # BRE IP 1/06, as quoted in reports; Approved Document C
FRAME_W_MK = 0.13  # EN ISO 10456 softwood, from memory; a plastic frame with chambers conducts about as much
AWAY_MM = 25.0  # invented default: beyond this the frame no longer rules the reveal's face
VOID_W_MK = 1.1  # a joist void about 200 mm deep as a solid of the air layer's 0.18 m2K/W


@dataclass(frozen=True, slots=True, kw_only=True)
class JunctionResult:
    """One junction: what it is, its linear thermal transmittance [W/mK] and lowest surface temperature factor [-].

    ``psi_w_mk`` is by inside dimensions, for both rooms together. ``f_rsi`` is the lowest on any surface of the room's
    walls (not of frames), with 0.25 m2K/W, and ``f_rsi_next_room`` the same beyond the partition. ``coldest`` names
    the coldest surface of all, ``coldest_at_mm`` the place. ``variant_mm`` is the length of the return or the
    insulation at the reveal. ``f_rsi_away`` is that of the reveal's face 25 mm from the frame, None elsewhere.
    """

    junction: str
    variant_mm: float
    psi_w_mk: float
    f_rsi: float
    f_rsi_next_room: float | None
    f_rsi_away: float | None
    coldest: str
    coldest_at_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A junction's geometry with the plane parts that are subtracted: (transmittance [W/m2K], length [m]) each.

    ``copies`` is 2 where only one half of a mirrored junction is drawn; ``away_mm`` is a point of the reveal's face.
    """

    blocks: tuple[Block, ...]
    airs: tuple[Air, ...]
    plane: tuple[tuple[float, float], ...]
    copies: int = 1
    away_mm: tuple[float, float] | None = None


def partition_section(
    wall: Sequence[Layer],
    lining: Lining | None,
    *,
    partition: Sequence[Layer],
    return_mm: float = 0.0,
    both_sides: bool = False,
) -> Section:
    """Return the section where a partition or party wall meets the outer wall.

    Parameters
    ----------
    wall
        The outer wall's layers from outside to inside.
    lining
        The lining right of the partition (and left of it where ``both_sides``); None for the wall as it is.
    partition
        The partition's layers from left to right.
    return_mm
        How far the lining runs back along the partition, from the lined face [mm].
    """
    half = thickness_mm(partition) / 2
    face = thickness_mm(wall)
    flank = max(FLANK_MM, 3 * face)
    depth = 0.0 if lining is None else lining.build_up_mm
    reach = face + depth + max(flank, return_mm + 500.0)
    blocks = _stack_y("wall", wall, left=-half - flank, right=half + flank, start=0.0)
    blocks += _stack_x("partition", partition, start=-half, bottom=face, top=reach)
    if lining is not None:
        if return_mm > 0:
            blocks += _stack_x("return", lining.inside, start=half, bottom=face, top=face + depth + return_mm)
        blocks += _stack_y("lining", lining.inside, left=half, right=half + flank, start=face)
        if both_sides:
            blocks += _mirrored([b for b in blocks if b.name in {"return", "lining"}])
    lined = plane_u(wall, lining)
    airs = (
        _outside(-half - flank, half + flank),
        _room("room", half, half + flank, face, reach),
        _room("next room", -half - flank, -half, face, reach),
    )
    plane = ((lined, flank / 1000), (lined if both_sides else plane_u(wall, None), flank / 1000))
    return Section(blocks=tuple(blocks), airs=airs, plane=plane)


def floor_section(wall: Sequence[Layer], lining: Lining, *, through: bool) -> Section:
    """Return the section where a timber floor meets the outer wall, lined above and below.

    Parameters
    ----------
    wall, lining
        As for a partition.
    through
        Whether the insulation is carried through the joist void.
    """
    boards = solid_layer("softwood", 22.0)
    void = Layer(
        name="joist void",
        thickness_mm=200.0,
        parts=(replace(boards.parts[0], name="air", resistance_m2k_w=0.2 / VOID_W_MK),),
    )
    ceiling = solid_layer("plasterboard", 12.5)
    section = partition_section(wall, lining, partition=(ceiling, void, boards), both_sides=True)
    if not through:
        return section
    half = thickness_mm((ceiling, void, boards)) / 2
    left, right = -half + ceiling.thickness_mm, half - boards.thickness_mm
    extra = _stack_y("lining", lining.inside[:-1], left=left, right=right, start=thickness_mm(wall))
    return replace(section, blocks=(*section.blocks, *extra))


def corner_section(wall: Sequence[Layer], lining: Lining | None, *, other_lined: bool) -> Section:
    """Return the section of an outer corner, where the lined wall meets another outer wall of its kind.

    Parameters
    ----------
    wall, lining
        As for a partition; the lined wall runs right from the corner, the other one up.
    other_lined
        Whether the other wall is lined too.
    """
    face = thickness_mm(wall)
    flank = max(FLANK_MM, 3 * face)
    depth = 0.0 if lining is None else lining.build_up_mm
    end = face + depth + flank
    blocks = _angle("wall", wall, start=0.0, end=end)
    if lining is not None and other_lined:
        blocks += _angle("lining", lining.inside, start=face, end=end)
    elif lining is not None:
        blocks += _stack_y("lining", lining.inside, left=face, right=end, start=face)
    below = _outside(-AIR_MM, end)
    airs = (below, replace(below, right=0.0, top=end), _room("room", face, end, face, end))
    other = lining if other_lined else None
    along, up = flank + depth - (depth if other_lined else 0.0), flank
    plane = ((plane_u(wall, lining), along / 1000), (plane_u(wall, other), up / 1000))
    return Section(blocks=tuple(blocks), airs=airs, plane=plane)


def reveal_section(
    wall: Sequence[Layer],
    lining: Lining | None,
    *,
    outer_reveal_mm: float,
    frame_mm: float,
    visible_frame_mm: float,
    reveal: Sequence[Layer] | None,
) -> Section:
    """Return the section through a window's jamb.

    Parameters
    ----------
    wall, lining
        As for a partition; the wall is left of x = 0, the opening right of it.
    outer_reveal_mm, frame_mm, visible_frame_mm
        Depth of the reveal outside, depth of the frame, width of frame in sight [mm].
    reveal
        The layers stuck to the jamb, from the jamb into the opening; None leaves the old plaster.

    Notes
    -----
    The glass is cut off where the frame ends: it belongs to the window's own transmittance.
    """
    face = thickness_mm(wall)
    flank = max(FLANK_MM, 3 * face)
    depth = 0.0 if lining is None else lining.build_up_mm
    plaster = wall[-1] if wall[-1].name.endswith("plaster") else None
    inner = min(outer_reveal_mm + frame_mm, face - 1.0)
    outer = max(0.0, inner - frame_mm)
    width = visible_frame_mm
    blocks = _stack_y("wall", wall, left=-flank, right=0.0, start=0.0)
    if lining is not None:
        blocks += _stack_y("lining", lining.inside, left=-flank, right=0.0, start=face)
    if plaster is not None:
        thick = plaster.thickness_mm
        blocks.append(
            Block(
                name="reveal",
                left=-thick,
                right=0.0,
                bottom=inner,
                top=face,
                conductivity_w_mk=_conductivity(plaster),
            )
        )
    blocks.append(Block(name="frame", left=0.0, right=width, bottom=outer, top=inner, conductivity_w_mk=FRAME_W_MK))
    if reveal:
        blocks += _stack_x("reveal", reveal, start=0.0, bottom=inner, top=face + depth)
    reach = face + depth + AIR_MM
    films = surface_resistance("inside_horizontal"), surface_resistance("outside")
    frame_u = 1 / (sum(films) + frame_mm / 1000 / FRAME_W_MK)
    airs = (_outside(-flank, width, top=outer), _room("room", -flank, width, inner, reach))
    plane = ((plane_u(wall, lining), flank / 1000), (frame_u, width / 1000))
    away = (thickness_mm(reveal) if reveal else 0.0, min(inner + AWAY_MM, face + depth))
    return Section(blocks=tuple(blocks), airs=airs, plane=plane, away_mm=away)


def half_of(section: Section) -> Section:
    """Return the right half of a section that is its own mirror image about x = 0."""
    blocks = tuple(replace(b, left=max(b.left, 0.0)) for b in section.blocks if b.right > 0)
    airs = tuple(replace(a, left=max(a.left, 0.0)) for a in section.airs if a.right > 0)
    return replace(section, blocks=blocks, airs=airs, plane=section.plane[:1], copies=2)


def solve_junction(section: Section, *, name: str, variant_mm: float, grid: Grid | None = None) -> JunctionResult:
    """Return a junction's linear thermal transmittance and lowest temperature factor.

    Parameters
    ----------
    section
        The geometry.
    name, variant_mm
        What to call it.
    grid
        Fineness of the grid.

    References
    ----------
    EN ISO 10211:2017 clauses 9 and 10: psi = L2D - sum U l; fRsi = (tsi - te) / (ti - te), surfaces at 0.25 m2K/W as
    EN ISO 13788 has it.
    """
    solution = solve_section(section.blocks, section.airs, grid=grid)
    psi = section.copies * (coupling_w_mk(solution) - sum(u * length for u, length in section.plane))
    mould = surface_resistance("mould_inside")
    glazing = {"frame": surface_resistance("mould_glazing")}
    airs = [a if a.name == "outside" else replace(a, surface_m2k_w=mould, surface_of=glazing) for a in section.airs]
    cold = solve_section(section.blocks, airs, grid=grid)
    inside = {k: t for k, t in cold.lowest_c.items() if k[0] != "outside" and k[1] != "frame"}
    where = min(inside, key=lambda k: inside[k])
    beyond = [t for k, t in inside.items() if k[0] == "next room"]
    own = [t for k, t in inside.items() if k[0] == "room"]
    return JunctionResult(
        junction=name,
        variant_mm=variant_mm,
        psi_w_mk=psi,
        f_rsi=_factor(min(own)),
        f_rsi_next_room=_factor(min(beyond)) if beyond else None,
        f_rsi_away=None if section.away_mm is None else _factor(cold.at(*section.away_mm)),
        coldest=where[1],
        coldest_at_mm=cold.lowest_at_mm[where],
    )


def _factor(surface_c: float) -> float:
    return (surface_c - OUTSIDE_C) / (INSIDE_C - OUTSIDE_C)


def coupling_w_mk(solution: SectionSolution) -> float:
    """Return the thermal coupling coefficient L2D [W/mK] between inside and outside of a ``solution``."""
    return -solution.heat_w_m["outside"] / (INSIDE_C - OUTSIDE_C)


def plane_u(wall: Sequence[Layer], lining: Lining | None) -> float:
    """Return the transmittance [W/m2K] of the plane part, bridged layers by their mean as in the section.

    Parameters
    ----------
    wall, lining
        As for :func:`partition_section`.
    """
    layers = tuple(wall) if lining is None else lining.onto(wall)
    surfaces = surface_resistance("inside_horizontal") + surface_resistance("outside")
    return 1 / (surfaces + sum(layer.resistance_m2k_w for layer in layers))


def _stack_y(name: str, layers: Sequence[Layer], *, left: float, right: float, start: float) -> list[Block]:
    blocks = []
    for layer in layers:
        if layer.thickness_mm <= 0:
            continue
        blocks.append(
            Block(
                name=name,
                left=left,
                right=right,
                bottom=start,
                top=start + layer.thickness_mm,
                conductivity_w_mk=_conductivity(layer),
            )
        )
        start += layer.thickness_mm
    return blocks


def _angle(name: str, layers: Sequence[Layer], *, start: float, end: float) -> list[Block]:
    """Return layers bent round an outer corner at (0, 0), each an L of two blocks."""
    blocks = []
    for layer in layers:
        if layer.thickness_mm <= 0:
            continue
        stop, conductivity = start + layer.thickness_mm, _conductivity(layer)
        blocks.append(Block(name=name, left=start, right=end, bottom=start, top=stop, conductivity_w_mk=conductivity))
        blocks.append(Block(name=name, left=start, right=stop, bottom=stop, top=end, conductivity_w_mk=conductivity))
        start = stop
    return blocks


def _stack_x(name: str, layers: Sequence[Layer], *, start: float, bottom: float, top: float) -> list[Block]:
    upright = _stack_y(name, layers, left=bottom, right=top, start=start)
    return [replace(b, left=b.bottom, right=b.top, bottom=b.left, top=b.right) for b in upright]


def _mirrored(blocks: Sequence[Block]) -> list[Block]:
    return [replace(b, left=-b.right, right=-b.left) for b in blocks]


def _conductivity(layer: Layer) -> float:
    return layer.thickness_mm / 1000 / layer.resistance_m2k_w


def _outside(left: float, right: float, *, top: float = 0.0) -> Air:
    return Air(
        name="outside",
        left=left,
        right=right,
        bottom=-AIR_MM,
        top=top,
        temperature_c=OUTSIDE_C,
        surface_m2k_w=surface_resistance("outside"),
    )


def _room(name: str, left: float, right: float, bottom: float, top: float) -> Air:
    return Air(
        name=name,
        left=left,
        right=right,
        bottom=bottom,
        top=top,
        temperature_c=INSIDE_C,
        surface_m2k_w=surface_resistance("inside_horizontal"),
    )
