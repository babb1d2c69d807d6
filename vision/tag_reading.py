"""Tags of survey sheets read in a picture: OpenCV finds dark squares, and what is printed in each is read here.

OpenCV's own reading costs one to two milliseconds a square; reading all of a picture's squares at once costs as much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision.linear_light import Picture
from vision.walls import FloatArray

HIGHEST_NUMBER = 145
LEAST_SIDE_PX = 14.0  # smaller squares are not read as tags in the first pass
_LARGE_PX, _LEAST_SURPRISE_PX = 3000, 20.0
_WINDOWS, _SMALL_WINDOW = (3, 23), (13, 13)  # of adaptive thresholds, px: least and most, ten apart
# Squares not read at their own size: how many are enlarged, to which side, and how much darker (of 255) they are.
MOST_ENLARGED, ENLARGED_SIDE_PX, LEAST_DARKER = 12, 90.0, 30.0
# Which cells a tag may show wrong: of its 36, as OpenCV allows for this family, and of the 28 of its black border.
_MOST_WRONG, _MOST_WRONG_BORDER = 3, 8
_LEAST_SPREAD = 5.0  # sd of a tag's cells, of 255, below which nothing is printed there
_WITHIN_CELL = (0.25, 0.5, 0.75)  # where each cell's light is read, as shares of its side


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag:
    """A tag as first read: its id and its print's corners (4, 2) px from top_left by way of top_right."""

    id: int
    corners_px: FloatArray


def find_tags(picture: Picture, *, thorough: bool = True, full_size: bool = True) -> list[Tag]:
    """Return the AprilTag 36h11 tags in a picture.

    A large picture is searched at half size for squares, which are read at both sizes. Where that shows no tag and a
    sheet is expected, it is searched at full size: that shows tags of less than some 20 px, at twice the cost.

    Parameters
    ----------
    picture
        (h, w) or (h, w, 3) BGR, upright.
    thorough
        Whether a sheet is expected.
    full_size
        Whether a large picture may be searched at full size.
    """
    import cv2

    grey = picture if picture.ndim == 2 else np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    large = max(grey.shape) >= _LARGE_PX
    found: list[Tag] = []
    if large:
        found, unread = _read_by_half(grey, LEAST_SIDE_PX if thorough else _LEAST_SURPRISE_PX)
        if not found and thorough and full_size:
            found, unread = read_tags(grey, 1.0, windows=_SMALL_WINDOW)
    else:
        found, unread = read_tags(grey, 1.0)
    if thorough:
        found += _read_larger(grey, unread, found)
    if thorough and not found and not large and max(grey.shape) >= 1600:  # noise or shake that half averages out
        found, _ = read_tags(_halved(grey), 2.0)
    return found


def _halved(grey: Picture) -> Picture:
    import cv2

    return np.asarray(cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)


def _read_by_half(grey: Picture, least_side_px: float) -> tuple[list[Tag], list[FloatArray]]:
    """Return the tags among the squares that a picture shows at half its size, and the squares that are none."""
    half = _halved(grey)
    squares = _squares(half, 0.5 * least_side_px, _WINDOWS)
    tags, unread = _read(half, squares)
    full = [Tag(id=t.id, corners_px=_to_full(t.corners_px)) for t in tags]
    more, unread = _read(grey, [_to_full(c) for c in unread])
    return _refined(grey, full + more, least_reach_px=2), unread  # corners at half size are a pixel off


def _to_full(corners: FloatArray, scale: float = 2.0) -> FloatArray:
    """Return places in a picture from those in it made smaller by ``scale``; integer = centre of a pixel."""
    return np.asarray((corners + 0.5) * scale - 0.5)


def read_tags(
    grey: Picture, scale: float, least_side_px: float = LEAST_SIDE_PX, *, windows: tuple[int, int] = _WINDOWS
) -> tuple[list[Tag], list[FloatArray]]:
    """Return the tags read, and the corners (4, 2) of squares that could not be read; in pixels times ``scale``.

    Parameters
    ----------
    grey
        (h, w).
    scale
        How much larger the picture is in which places are given.
    least_side_px
        Side of the smallest square looked at, px of ``grey``.
    windows
        The least and the most width over which light and dark are told apart, px, odd.
    """
    tags, unread = _read(grey, _squares(grey, least_side_px, windows))
    tags = _refined(grey, tags)
    placed = [Tag(id=t.id, corners_px=_to_full(t.corners_px, scale)) for t in tags]
    return placed, [_to_full(c, scale) for c in unread]


def _squares(grey: Picture, least_side_px: float, windows: tuple[int, int]) -> list[FloatArray]:
    """Return the corners (4, 2) of four-sided dark patches, clockwise."""
    import cv2

    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * least_side_px / max(grey.shape)
    parameters.minMarkerDistanceRate = 0.0  # every outline: that of the white about a tag is near that of the tag
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = windows
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    one = cv2.aruco.Dictionary(np.ascontiguousarray(family.bytesList[-1:]), 6, 0)  # to be quickly done with reading
    read, _, squares = cv2.aruco.ArucoDetector(one, parameters).detectMarkers(grey)
    return [np.reshape(c, (4, 2)).astype(float) for c in [*read, *squares]]


def _read(grey: Picture, squares: Sequence[FloatArray]) -> tuple[list[Tag], list[FloatArray]]:
    """Return the tags among squares, their corners turned as printed, and the squares that are none."""
    if not squares:
        return [], []
    cells = _cells(grey, np.array(squares))
    white = cells > _best_threshold(cells.reshape(len(cells), -1))[:, None, None]
    border = white.sum(axis=(1, 2)) - white[:, 1:7, 1:7].sum(axis=(1, 2))
    wrong = (36 - np.where(white[:, 1:7, 1:7], 1.0, -1.0).reshape(-1, 36) @ _codes().T) / 2
    best = np.argmin(wrong, axis=1)
    wrong = wrong[np.arange(len(best)), best]
    printed = cells.reshape(len(cells), -1).std(axis=1) > _LEAST_SPREAD
    is_tag = printed & (wrong <= _MOST_WRONG) & (border <= _MOST_WRONG_BORDER)
    tags: list[Tag] = []
    other = np.ones(len(cells), bool)
    for i in np.argsort(wrong + border, kind="stable"):
        if is_tag[i] and other[i]:
            number, turns = divmod(int(best[i]), 4)
            tags.append(Tag(id=number, corners_px=np.roll(squares[i], turns, axis=0)))
            other &= ~_near(np.array(squares), squares[i])
    return tags, [c for c, left in zip(squares, other, strict=True) if left]


def _near(squares: FloatArray, square: FloatArray) -> NDArray[np.bool_]:
    """Return which squares (n, 4, 2) have their middle in about that of another (4, 2): one tag has many outlines."""
    apart = np.abs(squares.mean(axis=1) - square.mean(axis=0)).max(axis=1)
    return np.asarray(apart < 0.5 * side_px(square))


@lru_cache(maxsize=1)
def _codes() -> FloatArray:
    """Return the cells of all tags as rows (4 n, 36), 1 white and -1 black: each tag and its three quarter turns."""
    import cv2

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    rows = []
    for number in range(4 * HIGHEST_NUMBER + 4):
        bits = cv2.aruco.Dictionary.getBitsFromByteList(family.bytesList[number : number + 1], 6)
        rows += [np.rot90(bits, turns).ravel() for turns in range(4)]
    return np.asarray(2.0 * np.array(rows) - 1.0, float)


def _cells(grey: Picture, squares: FloatArray) -> FloatArray:
    """Return the light (n, 8, 8) of the cells that tags would have in squares (n, 4, 2)."""
    import cv2

    n = len(_WITHIN_CELL)
    share = ((np.arange(8)[:, None] + np.array(_WITHIN_CELL)) / 8).ravel()
    u, v = np.meshgrid(share, share)
    terms = np.stack([u.ravel(), v.ravel(), np.ones(u.size)])
    at = _from_unit_square(squares) @ terms
    places = (at[:, :2] / at[:, 2:]).astype(np.float32).reshape(len(squares), 2, -1)
    light = cv2.remap(grey, places[:, 0], places[:, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(np.reshape(light, (-1, 8, n, 8, n)).mean(axis=(2, 4)), float)


def _from_unit_square(squares: FloatArray) -> FloatArray:
    """Return the maps (n, 3, 3) that take (0, 0), (1, 0), (1, 1), (0, 1) to the corners of squares (n, 4, 2)."""
    a, b, c, d = np.moveaxis(squares, 1, 0)
    # A parallelogram closes: what is left over (``left``) is taken up by the two numbers of perspective.
    across, down, left = b - c, d - c, a - b + c - d
    size = across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0]
    size = np.where(np.abs(size) < 1e-9, 1e-9, size)
    g = (left[:, 0] * down[:, 1] - left[:, 1] * down[:, 0]) / size
    h = (across[:, 0] * left[:, 1] - across[:, 1] * left[:, 0]) / size
    out = np.empty((len(squares), 3, 3))
    out[:, :2, 0], out[:, :2, 1], out[:, :2, 2] = b - a + g[:, None] * b, d - a + h[:, None] * d, a
    out[:, 2] = np.column_stack([g, h, np.ones(len(squares))])
    return out


def _best_threshold(values: FloatArray) -> FloatArray:
    """Return for each row (n, m) the threshold that parts it into two groups least spread in themselves (Otsu's)."""
    ordered = np.sort(values, axis=1)
    count = np.arange(1, values.shape[1])
    low = np.cumsum(ordered, axis=1)[:, :-1]
    high = ordered.sum(axis=1, keepdims=True) - low
    between = low**2 / count + high**2 / (values.shape[1] - count)
    at = np.argmax(between, axis=1)
    rows = np.arange(len(values))
    return np.asarray(0.5 * (ordered[rows, at] + ordered[rows, at + 1]), float)


def _refined(grey: Picture, tags: Sequence[Tag], least_reach_px: int = 1) -> list[Tag]:
    """Return the tags with their corners where light turns into dark, within a third of a cell or so."""
    import cv2

    stop = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 30, 0.1)
    out = []
    for tag in tags:
        reach = int(np.clip(round(0.3 * side_px(tag.corners_px) / 8), least_reach_px, 5))
        places = np.ascontiguousarray(tag.corners_px, np.float32).reshape(-1, 1, 2)
        refined = cv2.cornerSubPix(grey, places, (reach, reach), (-1, -1), stop)
        out.append(Tag(id=tag.id, corners_px=np.reshape(refined, (4, 2)).astype(float)))
    return out


def side_px(corners: FloatArray) -> float:
    """Return the mean side of a quadrilateral (4, 2), px."""
    return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())


def _read_larger(grey: Picture, unread: Sequence[FloatArray], read: Sequence[Tag]) -> list[Tag]:
    """Return more tags: those among small dark squares on light that could not be read at their own size, enlarged."""
    import cv2

    more: list[Tag] = []
    for corners in _dark_squares(grey, unread):
        side = side_px(corners)
        low = np.maximum(np.floor(corners.mean(axis=0) - 1.3 * side).astype(int), 0)
        high = np.ceil(corners.mean(axis=0) + 1.3 * side).astype(int) + 1
        scale = ENLARGED_SIDE_PX / side
        crop = grey[low[1] : high[1], low[0] : high[0]]
        larger = np.asarray(cv2.resize(crop, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC), np.uint8)
        for tag in read_tags(larger, 1 / scale, 30.0)[0]:
            place = tag.corners_px + low
            if not any(t.id == tag.id and np.abs(t.corners_px - place).max() < side / 2 for t in [*read, *more]):
                more.append(Tag(id=tag.id, corners_px=place))
    return more


def _dark_squares(grey: Picture, squares: Sequence[FloatArray]) -> list[FloatArray]:
    """Return the small squares that are darkest against what lies just around them, each place once."""
    if not squares:
        return []
    all_of_them = np.array(squares)
    sides = np.linalg.norm(all_of_them - np.roll(all_of_them, 1, axis=1), axis=2)
    least, most = sides.min(axis=1), sides.max(axis=1)
    small = all_of_them[(least > LEAST_SIDE_PX) & (most < np.minimum(2.2 * least, 0.8 * ENLARGED_SIDE_PX))]
    contrast = _darker_by(grey, small)
    left = contrast >= LEAST_DARKER
    chosen: list[FloatArray] = []
    for i in np.argsort(-contrast, kind="stable"):
        if left[i] and len(chosen) < MOST_ENLARGED:
            chosen.append(small[i])
            left &= ~_near(small, small[i])
    return chosen


def _darker_by(grey: Picture, squares: FloatArray) -> FloatArray:
    """Return by how much the rims of squares (n, 4, 2) are darker than what lies just around them (n,), of 255."""
    middle = squares.mean(axis=1, keepdims=True)
    share = np.arange(0, 1, 0.25)[:, None, None, None]
    rim = np.concatenate(squares + share * (np.roll(squares, -1, axis=1) - squares), axis=1) - middle
    top = np.array(grey.shape[1::-1]) - 1
    inner, outer = (np.clip(np.round(middle + k * rim).astype(int), 0, top) for k in (0.86, 1.25))
    return np.asarray(grey[outer[..., 1], outer[..., 0]].mean(axis=1) - grey[inner[..., 1], inner[..., 0]].mean(axis=1))
