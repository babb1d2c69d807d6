"""Steady heat flow in a two-dimensional section by EN ISO 10211: bilinear finite elements on a graded grid.

A section is rectangles of material (later ones cover earlier ones) among rectangles of air, each air with its own
temperature and surface resistance. What neither covers, and the section's outer edge, lets no heat through.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.findings import PerpendError
from vision.walls import FloatArray

IntArray = NDArray[np.int64]
_Rectangle = tuple[float, float, float, float]  # left, right, bottom, top


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A rectangle of material [mm, W/mK]; ``name`` groups blocks whose surfaces are watched together."""

    name: str
    left: float
    right: float
    bottom: float
    top: float
    conductivity_w_mk: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """A rectangle of air [mm] with its temperature [deg C] and the resistance [m2K/W] of surfaces that face it.

    ``surface_of`` has the resistance of those blocks, by name, whose surfaces are not like the others.
    """

    name: str
    left: float
    right: float
    bottom: float
    top: float
    temperature_c: float
    surface_m2k_w: float
    surface_of: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How fine the grid is [mm]: cells beside an edge, growth from cell to cell, the largest cell."""

    finest_mm: float = 5.0
    growth: float = 1.8
    coarsest_mm: float = 150.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionSolution:
    """The temperatures and heat flows of a section.

    ``x_mm`` (nx,) and ``y_mm`` (ny,) are the grid lines, ``temperature_c`` (ny, nx) the temperature at their
    crossings, not a number outside the material. ``heat_w_m`` is the heat that each air gives to the section
    [W per m of junction], ``lowest_c`` the lowest surface temperature by (air, block name) and ``lowest_at_mm``
    where it is.
    """

    x_mm: FloatArray
    y_mm: FloatArray
    temperature_c: FloatArray
    heat_w_m: Mapping[str, float]
    lowest_c: Mapping[tuple[str, str], float]
    lowest_at_mm: Mapping[tuple[str, str], tuple[float, float]]
    unknowns: int

    def at(self, x_mm: float, y_mm: float) -> float:
        """Return the temperature [deg C] at a point of the material, bilinear between grid lines.

        Parameters
        ----------
        x_mm, y_mm
            The point [mm].
        """
        i = int(np.clip(np.searchsorted(self.x_mm, x_mm) - 1, 0, len(self.x_mm) - 2))
        j = int(np.clip(np.searchsorted(self.y_mm, y_mm) - 1, 0, len(self.y_mm) - 2))
        u = (x_mm - self.x_mm[i]) / (self.x_mm[i + 1] - self.x_mm[i])
        v = (y_mm - self.y_mm[j]) / (self.y_mm[j + 1] - self.y_mm[j])
        weights = np.array([[(1 - v) * (1 - u), (1 - v) * u], [v * (1 - u), v * u]])
        corner = self.temperature_c[j : j + 2, i : i + 2]
        used = weights > 1e-12
        return float(np.sum(weights[used] * corner[used]))


def solve_section(blocks: Sequence[Block], airs: Sequence[Air], *, grid: Grid | None = None) -> SectionSolution:
    """Return temperatures and heat flows of a section at rest.

    Parameters
    ----------
    blocks
        Rectangles of material; a later one covers an earlier one.
    airs
        Rectangles of air; material covers air.
    grid
        Fineness; the default keeps the heat flow of a lined junction within 1 % of a grid twice as fine.

    Raises
    ------
    PerpendError
        When there is no material, no air touches it, or a conductivity or resistance is not above 0.

    References
    ----------
    EN ISO 10211:2017 clauses 5 to 8; annex A cases 1 and 2 are the check. The elements are the usual bilinear ones,
    with surface resistances gathered at the nodes.
    """
    _check(blocks, airs)
    mesh = _mesh(blocks, airs, grid or Grid())
    temperature = _solve(mesh, airs)
    return _solution(mesh, blocks, airs, temperature)


@dataclass(frozen=True, slots=True)
class _Mesh:
    x: FloatArray  # (nx,) grid lines, m
    y: FloatArray  # (ny,)
    owner: IntArray  # (ny-1, nx-1) block of each cell, -1 for none
    conductivity: FloatArray  # (ny-1, nx-1)
    edges: IntArray  # (m, 4) surface edges: node a, node b, air, block
    length: FloatArray  # (m,) m
    film: FloatArray  # (m,) surface conductance, W/m2K


def _check(blocks: Sequence[Block], airs: Sequence[Air]) -> None:
    if not blocks:
        raise PerpendError("section: no material. Give at least one block.")
    if not airs:
        raise PerpendError("section: no air touches it, so no temperature is fixed. Give at least one air.")
    for block in blocks:
        if not block.conductivity_w_mk > 0:
            raise PerpendError(f"block {block.name!r}: conductivity {block.conductivity_w_mk}. It must be above 0.")
    for air in airs:
        for resistance in (air.surface_m2k_w, *air.surface_of.values()):
            if not resistance > 0:
                raise PerpendError(f"air {air.name!r}: surface resistance {resistance}. It must be above 0.")


def graded_lines(edges: Sequence[float], grid: Grid) -> FloatArray:
    """Return grid lines [mm] through all ``edges``: fine beside each, coarser between, the same from either end."""
    marks = np.unique(np.round(np.asarray(edges, dtype=float), 6))
    lines = [marks[:1]]
    for start, stop in pairwise(marks.tolist()):
        half = (stop - start) / 2
        steps, size = [0.0], grid.finest_mm
        while steps[-1] < half:
            steps.append(steps[-1] + min(size, grid.coarsest_mm))
            size *= grid.growth
        inner = np.asarray(steps) * (half / steps[-1])
        lines.append(start + inner[1:])
        lines.append(stop - inner[-2::-1])
    return np.concatenate(lines)


def _mesh(blocks: Sequence[Block], airs: Sequence[Air], grid: Grid) -> _Mesh:
    rectangles = [(b.left, b.right, b.bottom, b.top) for b in blocks]
    rectangles += [(a.left, a.right, a.bottom, a.top) for a in airs]
    x_mm = graded_lines([v for r in rectangles for v in (r[0], r[1])], grid)
    y_mm = graded_lines([v for r in rectangles for v in (r[2], r[3])], grid)
    cell_x, cell_y = (x_mm[:-1] + x_mm[1:]) / 2, (y_mm[:-1] + y_mm[1:]) / 2
    owner = _paint(rectangles[: len(blocks)], cell_x, cell_y)
    around = np.where(owner >= 0, -1, _paint(rectangles[len(blocks) :], cell_x, cell_y))
    conductivity = np.asarray([b.conductivity_w_mk for b in blocks])[np.maximum(owner, 0)]
    x, y = x_mm / 1000, y_mm / 1000
    edges, length = _surface_edges(owner, around, x, y)
    if not len(edges):
        raise PerpendError("section: no air touches the material, so no temperature is fixed. Move the airs.")
    films = np.asarray([[1 / a.surface_of.get(b.name, a.surface_m2k_w) for b in blocks] for a in airs])
    return _Mesh(x, y, owner, conductivity, edges, length, films[edges[:, 2], edges[:, 3]])


def _paint(rectangles: Sequence[_Rectangle], cell_x: FloatArray, cell_y: FloatArray) -> IntArray:
    """Return which rectangle covers each cell (ny, nx), the last one where several do, -1 for none."""
    cells = np.full((len(cell_y), len(cell_x)), -1, dtype=np.int64)
    for number, (left, right, bottom, top) in enumerate(rectangles):
        inside_x = (cell_x > left) & (cell_x < right)
        inside_y = (cell_y > bottom) & (cell_y < top)
        cells[np.ix_(inside_y, inside_x)] = number
    return cells


def _surface_edges(owner: IntArray, around: IntArray, x: FloatArray, y: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the edges between material and air: nodes a and b, air and block (m, 4), and lengths (m,)."""
    width = len(x)
    found: list[IntArray] = []
    lengths: list[FloatArray] = []
    for dj, di in ((0, 1), (1, 0)):
        near, far = (
            (slice(None, -1 if dj else None), slice(None, -1 if di else None)),
            (slice(dj, None), slice(di, None)),
        )
        for solid, air in ((near, far), (far, near)):
            rows, columns = np.nonzero((owner[solid] >= 0) & (around[air] >= 0))
            # The edge between cells (j, i) and (j + dj, i + di) runs between these two grid nodes.
            first = (rows + dj) * width + columns + di
            second = (rows + 1) * width + columns + 1
            found.append(np.stack([first, second, around[air][rows, columns], owner[solid][rows, columns]], axis=1))
            lengths.append(np.diff(y)[rows] if di else np.diff(x)[columns])
    return np.concatenate(found), np.concatenate(lengths)


def _solve(mesh: _Mesh, airs: Sequence[Air]) -> FloatArray:
    """Return the temperature at every grid node (ny * nx,), not a number off the material."""
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import splu

    width, count = len(mesh.x), len(mesh.x) * len(mesh.y)
    rows, columns = np.nonzero(mesh.owner >= 0)
    dx, dy = np.diff(mesh.x)[columns], np.diff(mesh.y)[rows]
    conductivity = mesh.conductivity[rows, columns]
    base = rows * width + columns
    nodes = np.stack([base, base + 1, base + width, base + width + 1], axis=1)
    across = np.array([[2, -2, 1, -1], [-2, 2, -1, 1], [1, -1, 2, -2], [-1, 1, -2, 2]]) / 6
    along = np.array([[2, 1, -2, -1], [1, 2, -1, -2], [-2, -1, 2, 1], [-1, -2, 1, 2]]) / 6
    element = (conductivity * dy / dx)[:, None, None] * across + (conductivity * dx / dy)[:, None, None] * along
    film = mesh.film * mesh.length / 2
    outside = np.asarray([a.temperature_c for a in airs])[mesh.edges[:, 2]]
    ends = mesh.edges[:, :2].T.ravel()
    films = np.bincount(ends, weights=np.tile(film, 2), minlength=count)
    load = np.bincount(ends, weights=np.tile(film * outside, 2), minlength=count)
    used = np.unique(nodes)
    renumber = np.full(count, -1, dtype=np.int64)
    renumber[used] = np.arange(len(used))
    i = np.concatenate([renumber[np.repeat(nodes, 4, axis=1)].ravel(), np.arange(len(used))])
    j = np.concatenate([renumber[np.tile(nodes, (1, 4))].ravel(), np.arange(len(used))])
    values = np.concatenate([element.ravel(), films[used]])
    matrix = coo_array((values, (i, j)), shape=(len(used), len(used))).tocsc()
    factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    temperature = np.full(count, np.nan)
    temperature[used] = factor.solve(load[used])
    return temperature


def _solution(mesh: _Mesh, blocks: Sequence[Block], airs: Sequence[Air], temperature: FloatArray) -> SectionSolution:
    width = len(mesh.x)
    first, second, air_index, block_index = mesh.edges.T
    means = (temperature[first] + temperature[second]) / 2
    heat: dict[str, float] = {air.name: 0.0 for air in airs}
    for number, air in enumerate(airs):
        mine = air_index == number
        heat[air.name] += float(np.sum((air.temperature_c - means[mine]) * mesh.film[mine] * mesh.length[mine]))
    names = np.asarray([block.name for block in blocks])[block_index]
    air_names = np.asarray([air.name for air in airs])[air_index]
    lowest: dict[tuple[str, str], float] = {}
    lowest_at: dict[tuple[str, str], tuple[float, float]] = {}
    for pair in sorted({(str(a), str(n)) for a, n in zip(air_names, names, strict=True)}):
        mine = (air_names == pair[0]) & (names == pair[1])
        ends = np.concatenate([first[mine], second[mine]])
        coldest = int(ends[np.argmin(temperature[ends])])
        lowest[pair] = float(temperature[coldest])
        lowest_at[pair] = (float(mesh.x[coldest % width] * 1000), float(mesh.y[coldest // width] * 1000))
    return SectionSolution(
        x_mm=mesh.x * 1000,
        y_mm=mesh.y * 1000,
        temperature_c=temperature.reshape(len(mesh.y), width),
        heat_w_m=heat,
        lowest_c=lowest,
        lowest_at_mm=lowest_at,
        unknowns=int(np.count_nonzero(~np.isnan(temperature))),
    )
