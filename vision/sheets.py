"""Survey sheets in a picture: tags gathered into sheets, each sheet fitted to its pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.linear_light import Picture
from vision.paper import print_scale_from_paper
from vision.quads import inward, is_convex
from vision.sheet_map import SHEET_RECTANGLE_MM, TAG_CENTRES_MM, TAG_CORNERS_MM, TAG_MM, TAG_SQUARE_MM, project
from vision.tag_fit import TagFit, fit_tags
from vision.tag_reading import HIGHEST_NUMBER, Tag, find_tags, read_tags, side_px
from vision.walls import FloatArray, Measured

__all__ = [
    "HIGHEST_NUMBER", "NotASheet", "Sheet", "find_sheets", "find_tags", "first_map", "gather_sheets", "place_sheet",
]  # fmt: skip

# What no fit to one picture can know: optics beyond the model, and paper and print that are not quite flat and square.
# Invented defaults; on pictures from another renderer the fit's own sd was too small by about this much.
OPTICS_SD_PX = 0.03
PAPER_SD_MM = 0.05
LEAST_LIKENESS = 0.8  # correlation of a tag's pixels with its print, below which it is not that tag
MOST_UNLIKE = 0.08  # how much less alike than the best of the sheet a tag may be
# Lens curvature, bend (mm) and each tag's own shift (px, mm) that lenses and taped paper show, as sd; and the most of
# their squares' sum, for two tags and for more, before these are tags of different papers. Invented defaults: rendered
# sheets curled by up to 4 mm reach 15 and flat ones seen by two tags 1; two tags of papers 8 mm apart begin at 6.
KAPPA_SD, BEND_SD_MM, SHIFT_SD_PX, SHIFT_SD_MM = 0.05, 0.7, 0.02, 0.03
MOST_STRAIN_OF_TWO, MOST_STRAIN = 4.0, 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A survey sheet seen in a picture.

    ``corners_mm`` and ``corners_px`` (4 n, 2) are the corners of the tags that were seen whole, ``sd_px`` (4 n,) an sd
    for each as if they were independent (they share one map, so this is wider than each corner's own); ``own_sd_px`` is
    a corner's own. ``inward_px`` (4 n, 2) is how each corner moves when light spreads by one pixel into the black.
    """

    number: int
    tags: tuple[int, ...]
    corners_mm: FloatArray
    corners_px: FloatArray
    sd_px: FloatArray
    own_sd_px: FloatArray
    inward_px: FloatArray
    rectangle_px: FloatArray
    print_scale: Measured | None
    fit: TagFit
    misfit_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NotASheet:
    """What looked like a sheet or part of one and was not used: its number, its place and why."""

    number: int
    corners_px: FloatArray
    reason: str


def find_sheets(
    picture: Picture, *, thorough: bool = True, full_size: bool = True
) -> tuple[list[Sheet], list[NotASheet]]:
    """Return the survey sheets in a picture, and what was read as part of one but not used.

    Parameters
    ----------
    picture
        (h, w) or (h, w, 3) BGR, upright, at full resolution.
    thorough, full_size
        Whether a sheet is expected, and whether a large picture may be searched for it at full size (`find_tags`).

    Returns
    -------
    list[Sheet]
        By number, then from the left. A sheet with two tags or more is placed.
    list[NotASheet]
        Tags that do not make a sheet, with the reason.
    """
    sheets: list[Sheet] = []
    others: list[NotASheet] = []
    for number, tags in gather_sheets(find_tags(picture, thorough=thorough, full_size=full_size)):
        result = place_sheet(picture, number, tags)
        if isinstance(result, Sheet):
            sheets.append(result)
        else:
            others.append(NotASheet(number=number, corners_px=next(iter(tags.values())), reason=result))
    return sorted(sheets, key=lambda s: (s.number, s.corners_px[0, 0])), others


def gather_sheets(tags: Sequence[Tag]) -> list[tuple[int, dict[int, FloatArray]]]:
    """Return sheets as number and corners by tag 0..3; a number seen twice in one photo makes two sheets."""
    out: list[tuple[int, dict[int, FloatArray]]] = []
    for tag in sorted(tags, key=lambda t: -side_px(t.corners_px)):
        number, k = divmod(tag.id, 4)
        home = next((s for n, s in out if n == number and k not in s and _belongs(s, k, tag.corners_px)), None)
        if home is None:
            out.append((number, {k: tag.corners_px}))
        else:
            home[k] = tag.corners_px
    return out


def _belongs(seen: dict[int, FloatArray], k: int, corners: FloatArray) -> bool:
    """Return whether a tag lies about where the tags already seen predict it: within its own side."""
    predicted = project(first_map(seen), TAG_CENTRES_MM[k : k + 1])[0]
    slack = 1.0 if len(seen) > 1 else 1.6
    return bool(np.linalg.norm(predicted - corners.mean(axis=0)) < slack * side_px(corners))


def first_map(seen: dict[int, FloatArray]) -> FloatArray:
    """Return the map (3, 3) from sheet millimetres to pixels by least squares over the corners of the tags seen."""
    import cv2

    model = np.concatenate([TAG_CENTRES_MM[k] + TAG_SQUARE_MM for k in seen])
    h, _ = cv2.findHomography(model, np.concatenate(list(seen.values())), 0)
    return np.eye(3) if h is None else np.asarray(h, float)


def place_sheet(picture: Picture, number: int, seen: dict[int, FloatArray]) -> Sheet | str:
    """Return a sheet fitted to its pixels from the tags first read, or why it cannot be placed.

    Tags that were not read are looked for where the others predict them: first read again in an enlarged crop, then
    by likeness of their pixels to the known print.
    """
    seen = _completed(picture, number, seen)
    if not _plausible(first_map(seen)):
        return f"tags of number {number} do not lie on one flat sheet"
    tags = sorted(seen)
    fit = fit_tags(picture, number, tags, first_map(seen))
    if isinstance(fit, str):
        return fit
    good = _agreeing(fit, seen)
    missing = [k for k in range(4) if k not in fit.tags and _inside(picture, fit, k)]
    if missing and good:
        wider = fit_tags(picture, number, sorted(good + missing), _forward_map(fit), steps=4)
        if not isinstance(wider, str):
            good = _agreeing(wider, seen)
    # A tag that only just agreed among all four may disagree with the rest alone: what is left must agree by itself.
    while good != list(fit.tags):
        if len(good) < 2:
            return _why_not_placed(number, len(good), fit)
        again = fit_tags(picture, number, good, _forward_map(fit))
        if isinstance(again, str):
            return again
        fit, good = again, [k for k in _agreeing(again, seen) if k in good]
    return _sheet(picture, number, fit) if len(good) > 1 else _why_not_placed(number, len(good), fit)


def _agreeing(fit: TagFit, seen: dict[int, FloatArray]) -> list[int]:
    """Return the tags whose pixels look like their print, where the fit puts them and where they were first read."""
    corners = fit.map.to_pixels(TAG_CORNERS_MM).reshape(4, 4, 2)
    # Tags of one sheet are seen about equally well; one that is far less like its print lies elsewhere or is covered.
    least = max(LEAST_LIKENESS, float(fit.likeness.max()) - MOST_UNLIKE)
    out, strain = [], (fit.map.kappa / KAPPA_SD) ** 2 + float(np.sum((fit.map.bend_mm / BEND_SD_MM) ** 2))
    shifts = np.linalg.norm(fit.shift_px, axis=1)
    most = 0.0
    for k, likeness, shift in zip(fit.tags, fit.likeness, shifts, strict=True):
        side = side_px(corners[k])
        near = k not in seen or np.linalg.norm(corners[k].mean(axis=0) - seen[k].mean(axis=0)) < 0.12 * side
        strained = float(shift / np.hypot(SHIFT_SD_PX, SHIFT_SD_MM * side / TAG_MM)) ** 2
        if likeness >= least and near and strained < MOST_STRAIN:
            out.append(k)
            most = max(most, strained)
    return out if strain + most < (MOST_STRAIN if len(out) > 2 else MOST_STRAIN_OF_TWO) else []


def _why_not_placed(number: int, good: int, fit: TagFit) -> str:
    if good == 1:
        return f"only one tag of sheet {number} is in plain view; two are needed to place it"
    if fit.likeness.min() >= LEAST_LIKENESS:
        return f"tags of sheet {number} do not lie on one flat sheet"
    return f"pixels do not look like the print of sheet {number}"


def _forward_map(fit: TagFit) -> FloatArray:
    """Return the fitted map from sheet millimetres to pixels as a homography through its own predictions."""
    import cv2

    h, _ = cv2.findHomography(TAG_CORNERS_MM, fit.map.to_pixels(TAG_CORNERS_MM), 0)
    return np.asarray(h, float)


def _inside(picture: Picture, fit: TagFit, k: int) -> bool:
    rim = fit.map.to_pixels(TAG_CENTRES_MM[k] + 1.2 * TAG_SQUARE_MM)
    return bool((rim > 1).all() and (rim < np.array(picture.shape[1::-1]) - 2).all())


def _plausible(h: FloatArray) -> bool:
    """Return whether a map shows the sheet from its front, unfolded, and not more slanting than a lens can see it."""
    corners = project(h, SHEET_RECTANGLE_MM)
    if not is_convex(corners):
        return False
    depth = np.column_stack([SHEET_RECTANGLE_MM, np.ones(4)]) @ h[2]
    if abs(np.sign(depth).sum()) < 4:
        return False
    turn = np.cross(np.append(corners[1] - corners[0], 0), np.append(corners[2] - corners[1], 0))[2]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
    return bool(turn > 0 and sides.max() < 8 * sides.min())


def _completed(picture: Picture, number: int, seen: dict[int, FloatArray]) -> dict[int, FloatArray]:
    """Return the tags seen, with more of them read from an enlarged crop where some are missing."""
    import cv2

    if len(seen) == 4:
        return seen
    side = max(side_px(c) for c in seen.values())
    middle = project(first_map(seen), np.zeros((1, 2)))[0]
    reach = (4.2 if len(seen) == 1 else 3.2) * side
    low = np.maximum(np.floor(middle - reach).astype(int), 0)
    high = np.minimum(np.ceil(middle + reach).astype(int), picture.shape[1::-1])
    if (high - low < 16).any():
        return seen
    crop = picture[low[1] : high[1], low[0] : high[0]]
    grey = crop if crop.ndim == 2 else cv2.cvtColor(crop, cv2.COLOR_BGR2GRAY)
    scale = float(np.clip(110 / side, 0.25, 4.0))
    how = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    larger = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=how)
    out = dict(seen)
    for tag in read_tags(np.asarray(larger, np.uint8), 1 / scale, 30.0)[0]:
        n, k = divmod(tag.id, 4)
        if n == number and k not in out and _belongs(out, k, tag.corners_px + low):
            out[k] = tag.corners_px + low
    return out


def _sheet(picture: Picture, number: int, fit: TagFit) -> Sheet:
    corners_mm = np.concatenate([TAG_CENTRES_MM[k] + TAG_SQUARE_MM for k in fit.tags])
    corners_px = fit.map.to_pixels(corners_mm)
    own = fit.map.pixel_sd(corners_mm, fit.covariance)
    # Tags that would each go another way, or a sheet that bends, say how far one flat map is from the truth.
    px_per_mm = float(np.linalg.norm(corners_px[1] - corners_px[0]) / TAG_MM)
    misfit = float(np.hypot(np.sqrt(np.mean(fit.shift_px**2)), np.linalg.norm(fit.map.bend_mm) * px_per_mm))
    own_sd = np.sqrt(np.mean(own**2, axis=1) + (0.5 * misfit) ** 2)
    floor = np.hypot(OPTICS_SD_PX, PAPER_SD_MM * px_per_mm)
    # 2 n numbers carry only 8 (the map's): so much wider is each corner's sd when taken as independent.
    spread = float(np.sqrt(len(corners_mm) * 2 / 8))
    return Sheet(
        number=number,
        tags=fit.tags,
        corners_mm=corners_mm,
        corners_px=corners_px,
        sd_px=spread * np.hypot(own_sd, floor),
        own_sd_px=own_sd,
        inward_px=np.concatenate([inward(corners_px[4 * i : 4 * i + 4]) for i in range(len(fit.tags))]),
        rectangle_px=fit.map.to_pixels(SHEET_RECTANGLE_MM),
        print_scale=print_scale_from_paper(picture, fit),
        fit=fit,
        misfit_px=misfit,
    )
