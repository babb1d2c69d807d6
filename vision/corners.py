"""Corners of quadrilaterals among the unknowns: their columns, places, and the edges between them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision import priors
from vision.model import EDGES, Layout
from vision.walls import CORNERS, FloatArray


def corner_columns(layout: Layout, quad: str) -> dict[str, int]:
    """Return the first column of each corner of a quadrilateral that has one; the wall's origin is -1."""
    columns = {c: layout[f"corner:{quad}/{c}"].start for c in CORNERS if f"corner:{quad}/{c}" in layout}
    if quad == "wall":
        columns["bottom_left"] = -1
    return columns


def corner_xy(layout: Layout, vector: FloatArray, name: str) -> FloatArray:
    """Return (2,) the place of a corner ``quad/corner`` [mm]."""
    if name == "wall/bottom_left":
        return np.zeros(2)
    return np.asarray(vector[layout[f"corner:{name}"]])


def edge_length_prior(quad: str) -> float:
    """Return the standard deviation of an edge's direction [rad] for the wall or an opening."""
    return priors.WALL_SQUARENESS if quad == "wall" else priors.OPENING_SQUARENESS


def known_edges(columns: Mapping[str, int]) -> list[str]:
    """Return the edges of a quadrilateral both of whose corners are unknowns or the origin."""
    return [name for name, (a, b) in EDGES.items() if a in columns and b in columns]
