"""The paper's edges against its print: what they say of the print scale."""

from __future__ import annotations

import numpy as np

from vision.linear_light import Picture, linear_light, sample_light, step_edges
from vision.tag_fit import TagFit
from vision.walls import FloatArray, Measured

PAPER_MM = (297.0, 210.0)  # ISO 216 A4
# ISO 216 allows 2 mm either way at 150 to 600 mm; paper as sold keeps within about 1 mm (from memory), and a corner
# that stands off the wall adds to it. This is the sd of the scale read from paper against print.
PAPER_SCALE_SD = 0.005
_REACH_MM, _INSIDE_MM = 12.0, 8.0  # how far out and in of its place an edge is looked for; tags begin 12.5 mm in
_TALLEST_SPREAD_MM = 1.2
_GROUPS = 4


def print_scale_from_paper(picture: Picture, fit: TagFit) -> Measured | None:
    """Return the print scale as the paper's own size tells it, or None where the paper's edges do not show.

    Parameters
    ----------
    picture
        The upright photo.
    fit
        The sheet's fitted place, in millimetres of the nominal print.

    Returns
    -------
    Measured or None
        1.0 for a sheet printed at its full size, 0.97 for one printed at 97 %. Opposite edges are measured in print
        millimetres; paper of known size over that is the scale.
    """
    light, origin = _light_around(picture, fit)
    if light is None:
        return None
    readings: list[tuple[float, float]] = []
    for axis, paper in enumerate(PAPER_MM):
        edges = [_edge_mm(light, origin, fit, axis=axis, sign=sign) for sign in (-1.0, 1.0)]
        if edges[0] is None or edges[1] is None:
            continue
        span = edges[0][0] + edges[1][0]
        spread = float(np.hypot(edges[0][1], edges[1][1]))
        readings.append((paper / span, np.hypot(PAPER_SCALE_SD * 297.0 / paper, spread / span)))
    if not readings:
        return None
    values, sds = np.array(readings).T
    weights = sds**-2.0
    scale = float(np.sum(weights * values) / weights.sum())
    if np.ptp(values) > 4 * PAPER_SCALE_SD:  # width and height disagree: one of them is no edge of paper
        return None
    return Measured(value=scale, sd=float(max(PAPER_SCALE_SD, weights.sum() ** -0.5)))


def _light_around(picture: Picture, fit: TagFit) -> tuple[FloatArray | None, FloatArray]:
    x, y = PAPER_MM[0] / 2 + _REACH_MM, PAPER_MM[1] / 2 + _REACH_MM
    rim = fit.map.to_pixels(np.array([[-x, -y], [x, -y], [x, y], [-x, y]]))
    low = np.maximum(np.floor(rim.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(rim.max(axis=0)).astype(int) + 3, picture.shape[1::-1])
    if (high - low < 20).any():
        return None, low
    return linear_light(picture[low[1] : high[1], low[0] : high[0]]), low


def _edge_mm(
    light: FloatArray, origin: FloatArray, fit: TagFit, *, axis: int, sign: float
) -> tuple[float, float] | None:
    """Return how far one edge of the paper lies from the print's middle, mm, and its sd; None where none is clear."""
    half_mm, other = PAPER_MM[axis] / 2, PAPER_MM[1 - axis] / 2 - 6
    along = np.linspace(-other, other, 48)
    out = np.linspace(half_mm - _INSIDE_MM, half_mm + _REACH_MM, 61)
    # Strips of profiles are averaged along the edge in groups: noise falls, a slightly turned edge stays sharp.
    grid = np.empty((len(along), len(out), 2))
    grid[..., axis] = sign * out
    grid[..., 1 - axis] = along[:, None]
    pixels = fit.map.to_pixels(grid.reshape(-1, 2)) - origin
    inside = ((pixels >= 0) & (pixels <= np.array(light.shape[1::-1]) - 1)).all(axis=1)
    if inside.mean() < 0.9:
        return None
    profiles = sample_light(light, pixels).reshape(_GROUPS, -1, len(out)).mean(axis=1)
    pixel_mm = (_REACH_MM + _INSIDE_MM) / float(np.linalg.norm(pixels[60] - pixels[0]))
    places = []
    for profile in profiles:
        found = step_edges(out / pixel_mm, profile, min_step=0.06 * float(profile.max()))
        if found and found[0].after < found[0].before:
            places.append(found[0].position * pixel_mm)
    if len(places) < _GROUPS - 1 or np.std(places) > _TALLEST_SPREAD_MM:
        return None
    return float(np.median(places)), float(np.std(places) / np.sqrt(len(places)))
