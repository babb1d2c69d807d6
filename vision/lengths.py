"""Sizes and areas of a wall from its corner points, with derivatives and correlations.

Every size is a function of the places of corners (and, for reveals, of the depth unknowns). Derivatives are taken by a
complex step (Squire & Trapp, SIAM Review 40(1), 1998), exact to rounding; so a size is written once, as it is defined.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from vision.walls import FloatArray

Points = Mapping[str, np.ndarray]  # name -> (..., 2), real or complex
Size = Callable[[Points], np.ndarray]

# Maximum permissible error of a class II tape, Directive 2014/32/EU annex X: a + b L, a = 0.3 mm, b = 0.2 mm/m,
# L rounded up to the next whole metre. Taken as a rectangular distribution (JCGM 100, 4.3.7).
TAPE_A_MM, TAPE_B_MM_PER_M = 0.3, 0.2
TAPE_READING_SD_MM = 1.0  # reading and holding a tape; common practice, no source
TAPE_PLASTER_SD_MM = 1.5  # unevenness where it touches; common practice, no source


def tape_sd_mm(length_mm: float) -> float:
    """Return the standard uncertainty of a length read with a class II tape [mm].

    Examples
    --------
    >>> round(tape_sd_mm(3870.0), 2)
    1.91
    """
    limit = TAPE_A_MM + TAPE_B_MM_PER_M * float(np.ceil(abs(length_mm) / 1000.0))
    return float(np.sqrt(limit**2 / 3.0 + TAPE_READING_SD_MM**2 + TAPE_PLASTER_SD_MM**2))


def _distance(p: np.ndarray, q: np.ndarray) -> np.ndarray:
    return np.asarray(np.sqrt(np.sum((q - p) ** 2, axis=-1)))


def _off_line(p: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return the signed distance of p from the line a to b, positive on its left."""
    along = b - a
    across = along[..., 0] * (p - a)[..., 1] - along[..., 1] * (p - a)[..., 0]
    return np.asarray(across / np.sqrt(np.sum(along**2, axis=-1)))


def _between(a: str, b: str) -> Size:
    return lambda p: _distance(p[a], p[b])


def _mean(*sizes: Size) -> Size:
    return lambda p: np.asarray(sum(size(p) for size in sizes) / len(sizes))


def _from_left_edge(*corners: str) -> Size:
    return lambda p: np.asarray(
        sum(-_off_line(p[c], p["wall/bottom_left"], p["wall/top_left"]) for c in corners) / len(corners)
    )


def _from_floor_line(*corners: str) -> Size:
    return lambda p: np.asarray(
        sum(_off_line(p[c], p["wall/bottom_left"], p["wall/bottom_right"]) for c in corners) / len(corners)
    )


def quad_area_mm2(p: Points, quad: str) -> np.ndarray:
    """Return the area of a quadrilateral by the shoelace formula [mm2]."""
    ring = [p[f"{quad}/{c}"] for c in ("bottom_left", "bottom_right", "top_right", "top_left")]
    return np.asarray(
        sum(a[..., 0] * b[..., 1] - b[..., 0] * a[..., 1] for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)) / 2
    )


def _sides(quad: str, there: set[str]) -> dict[str, Size]:
    bl, br, tr, tl = (f"{quad}/{c}" for c in ("bottom_left", "bottom_right", "top_right", "top_left"))
    pairs = {
        "width_bottom_mm": (bl, br),
        "width_top_mm": (tl, tr),
        "height_left_mm": (bl, tl),
        "height_right_mm": (br, tr),
    }
    return {key: _between(a, b) for key, (a, b) in pairs.items() if {a, b} <= there}


def _mean_of(sizes: dict[str, Size], first: str, second: str) -> Size | None:
    """Return the mean of two sides, or the one that is known (an opening or feature seen in part)."""
    known = [sizes[k] for k in (first, second) if k in sizes]
    return _mean(*known) if known else None


def wall_sizes(there: set[str], openings: Sequence[str], features: Sequence[str]) -> dict[str, Size]:
    """Return the sizes that can be formed from the corners that are there, by result key.

    Parameters
    ----------
    there
        Names of measured corners: ``wall/bottom_left``, ``w1/top_right``, ``s1/bottom_left``.
    openings, features
        Ids, for keys such as ``openings.w1.width_mm`` and ``features.s1.left_mm``.
    """
    sizes: dict[str, Size] = {}
    sides = _sides("wall", there)
    sizes.update(sides)
    for key, pair in (
        ("width_mm", ("width_bottom_mm", "width_top_mm")), ("height_mm", ("height_left_mm", "height_right_mm")),
    ):  # fmt: skip
        if set(pair) <= sides.keys():
            sizes[key] = _mean(*(sides[k] for k in pair))
    left_edge = {"wall/bottom_left", "wall/top_left"} <= there
    floor_line = {"wall/bottom_left", "wall/bottom_right"} <= there
    for group, ids in (("openings", openings), ("features", features)):
        for item in ids:
            own = {c for c in there if c.startswith(f"{item}/")}
            sides = _sides(item, own)
            for key, pair in (
                ("width_mm", ("width_bottom_mm", "width_top_mm")), ("height_mm", ("height_left_mm", "height_right_mm")),
            ):  # fmt: skip
                mean = _mean_of(sides, *pair)
                if mean is not None:
                    sizes[f"{group}.{item}.{key}"] = mean
            if group == "features" and {f"{item}/bottom_left", f"{item}/top_right"} == own:
                sizes.update(_box_from_diagonal(item))
            lefts = sorted(own & {f"{item}/bottom_left", f"{item}/top_left"})
            bottoms = sorted(own & {f"{item}/bottom_left", f"{item}/bottom_right"})
            if left_edge and lefts:
                sizes[f"{group}.{item}.left_mm"] = _from_left_edge(*lefts)
            if floor_line and bottoms:
                sizes[f"{group}.{item}.{'sill_mm' if group == 'openings' else 'bottom_mm'}"] = _from_floor_line(
                    *bottoms
                )
    return sizes


def _box_from_diagonal(item: str) -> dict[str, Size]:
    """Return width and height of a feature marked by two opposite corners only (upright box)."""
    low, high = f"{item}/bottom_left", f"{item}/top_right"
    return {
        f"features.{item}.width_mm": lambda p: np.asarray(p[high][..., 0] - p[low][..., 0]),
        f"features.{item}.height_mm": lambda p: np.asarray(p[high][..., 1] - p[low][..., 1]),
    }


def sizes_with_gradient(
    sizes: Mapping[str, Size], points: Mapping[str, FloatArray]
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Return the values of the sizes (k,) and their derivatives by each point: name -> (k, 2)."""
    names = list(points)
    step = 1e-20
    batch = {name: np.tile(points[name].astype(complex), (2 * len(names), 1)) for name in names}
    for i, name in enumerate(names):
        batch[name][2 * i, 0] += 1j * step
        batch[name][2 * i + 1, 1] += 1j * step
    rows = [size(batch) for size in sizes.values()]
    values = np.array([float(row[0].real) for row in rows])
    slopes = np.array([row.imag / step for row in rows]).reshape(len(rows), len(names), 2)
    return values, {name: slopes[:, i, :] for i, name in enumerate(names)}
