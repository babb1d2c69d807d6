"""The photos as evidence: re-encoded without metadata, covered beyond the wall and in cards and panes, marks drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from intake.report.covering import (
    LONGEST_SIDE_PX,
    Outline,
    Picture,
    brick_outlines,
    coarse,
    cover_beyond,
    cover_inside,
    crop_to,
    faces,
    panes,
    private_references,
    scaled,
    shrink,
    solved_outlines,
    wall_outlines,
)
from intake.results import Geometry, PhotoResult, WallResult
from intake.survey import MarkEntry, PhotoEntry, Survey

JPEG_QUALITY = 80
COARSE = "Shown in coarse squares: nothing marked or found in it says what is wall and what is not."
BLUE, ORANGE, WHITE, INK = (150, 82, 20), (20, 110, 220), (255, 255, 255), (30, 30, 30)  # blue, green, red


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A picture ready to embed, and what was done to it."""

    jpeg: bytes | None
    width_px: int
    height_px: int
    note: str


def photo_picture(folder: Path, entry: PhotoEntry, *, geometry: Geometry, survey: Survey) -> Shown:
    """Return a photo for the report: only the wall shows, cards and panes are covered, marks are drawn.

    Parameters
    ----------
    folder
        The survey folder.
    entry
        The photo and its marks.
    geometry, survey
        Where the walls and references lie in the photos.
    """
    from intake.photos import find_photo, list_photos
    from intake.privacy import blur_inside
    from vision.findings import PerpendError

    outlines = wall_outlines(entry, geometry) + brick_outlines(entry.file, geometry)
    try:
        name = find_photo(folder, entry.file, list_photos(folder).photos)
        if name is None:
            return Shown(jpeg=None, width_px=0, height_px=0, note="Not shown: the file is not in the folder.")
        small, scale = read_small(folder / name)
    except PerpendError as error:
        return Shown(jpeg=None, width_px=0, height_px=0, note=f"Not shown: {error}")
    if not outlines:
        return _shown(coarse(small), note=COARSE)
    small = cover_beyond(small, [scaled(outline, scale) for outline in outlines])
    glass = panes(entry, geometry)
    for pane in glass:
        small = cover_inside(small, scaled(pane, scale))
    cards = private_references(entry.file, geometry)
    for card in cards:
        blur_inside(small, np.asarray(scaled(card, scale), dtype=np.float64))
    for face in faces(small):
        small = cover_inside(small, face)
    draw_marks(small, entry, geometry, scale)
    small, _ = crop_to([scaled(outline, scale) for outline in outlines], small)
    covered = ["what is beyond the wall"] + ["window panes"] * bool(glass) + ["cards"] * bool(cards)
    return _shown(small, note=f"Covered: {', '.join(covered)}.")


def _shown(picture: Picture, *, note: str) -> Shown:
    return Shown(jpeg=jpeg_bytes(picture), width_px=picture.shape[1], height_px=picture.shape[0], note=note)


def brickwork_picture(folder: Path, photo: str, geometry: Geometry) -> Shown | None:
    """Return the bricks of an outside photo with what was found drawn over them, or None where nothing was.

    A line for each bed joint, a line round each brick: stretchers alone, headers with a spot in their middle, so that
    grey print still tells them apart. All that is not brick is covered.
    """
    from intake.photos import find_photo, list_photos
    from vision.findings import PerpendError

    read = next((result.brickwork for result in geometry.photos if result.file == photo), None)
    outlines = brick_outlines(photo, geometry)
    try:
        name = find_photo(folder, photo, list_photos(folder).photos)
        if read is None or not outlines or name is None:
            return None
        large, scale = read_small(folder / name, longest_px=2 * LONGEST_SIDE_PX)
    except PerpendError:
        return None
    placed = [scaled(outline, scale) for outline in outlines]
    for shape in read.shapes:
        _draw_brick(large, np.array(scaled(shape.points_px, scale)), shape.kind)
    large, _ = crop_to(placed, cover_beyond(large, placed), share=1.0)
    return _shown(shrink(large)[0], note="")


def _draw_brick(picture: Picture, outline: NDArray[np.float64], kind: str) -> None:
    import cv2

    points = np.round(outline).astype(np.int32)
    colour = ORANGE if kind == "header" else BLUE
    for pen, width in ((WHITE, 4), (colour, 2)):
        cv2.polylines(picture, [points], kind != "bed", pen, width, cv2.LINE_AA)
    if kind == "header":
        middle = (int(points[:, 0].mean()), int(points[:, 1].mean()))
        for pen, radius in ((WHITE, 7), (ORANGE, 5)):
            cv2.circle(picture, middle, radius, pen, -1, cv2.LINE_AA)


def read_small(path: Path, *, longest_px: int = LONGEST_SIDE_PX) -> tuple[Picture, float]:
    """Return a photo upright and small enough to embed, and its size over the original's.

    A large JPEG is decoded at half size, which costs a third.

    Raises
    ------
    PerpendError
        The file is not a picture that can be read.
    """
    import cv2

    from intake.decode import decode_picture, picture_kind, read_bytes
    from intake.photos import describe_photo

    data = read_bytes(path)
    facts = describe_photo(data, file=path.name)
    decoded = None
    if picture_kind(data) == "jpeg" and max(facts.width_px, facts.height_px) >= 2 * longest_px:
        decoded = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_REDUCED_COLOR_2)
    if decoded is None:
        decoded = decode_picture(data, file=path.name)
    small, _ = shrink(np.asarray(decoded, dtype=np.uint8), longest_px)
    return small, small.shape[1] / facts.width_px


def draw_marks(picture: Picture, entry: PhotoEntry, geometry: Geometry, scale: float) -> None:
    """Draw outlines, marks and references: shape says what a mark is, so that grey print still tells.

    Circle: wall corner; square: opening (hollow at the frame); triangle: thing on the wall; cross: reference.
    """
    import cv2

    for outline in solved_outlines(entry, geometry):
        points = np.array(scaled(outline, scale)).clip(-30_000, 30_000).round().astype(np.int32)
        for colour, width in ((WHITE, 4), (BLUE, 2)):
            cv2.polylines(picture, [points], True, colour, width, cv2.LINE_AA)
    for reference in geometry.references:
        if reference.photo == entry.file and reference.corners_px:
            points = np.array(scaled(reference.corners_px, scale)).clip(-30_000, 30_000).round().astype(np.int32)
            for colour, width in ((WHITE, 4), (ORANGE, 2)):
                cv2.polylines(picture, [points], True, colour, width, cv2.LINE_AA)
    for mark in entry.marks:
        x, y = scaled([mark.px], scale)[0]
        if -50 < x < picture.shape[1] + 50 and -50 < y < picture.shape[0] + 50:
            for colour, width in ((WHITE, 4), (_mark_colour(mark), 2)):
                _draw_mark(picture, mark, (round(x), round(y)), colour, width)


def _mark_colour(mark: MarkEntry) -> tuple[int, int, int]:
    return ORANGE if mark.reference else BLUE if not (mark.opening or mark.feature) else INK


def _draw_mark(picture: Picture, mark: MarkEntry, at: tuple[int, int], colour: Any, width: int) -> None:
    import cv2

    (x, y), r = at, 7
    if mark.reference:
        cv2.line(picture, (x - r, y - r), (x + r, y + r), colour, width, cv2.LINE_AA)
        cv2.line(picture, (x - r, y + r), (x + r, y - r), colour, width, cv2.LINE_AA)
    elif mark.feature:
        points = np.array([[x, y - r], [x + r, y + r], [x - r, y + r]], dtype=np.int32)
        cv2.polylines(picture, [points], True, colour, width, cv2.LINE_AA)
    elif mark.opening:
        half = r if mark.face != "frame" else r - 3
        cv2.rectangle(picture, (x - half, y - half), (x + half, y + half), colour, width, cv2.LINE_AA)
    else:
        cv2.circle(picture, at, r, colour, width, cv2.LINE_AA)


def rectified_picture(path: Path, wall: WallResult, *, grid_mm: float = 500.0) -> Shown | None:
    """Return a straightened wall with a grid, covered beyond the wall and over the openings, or None if unreadable."""
    import cv2

    data = np.frombuffer(path.read_bytes(), dtype=np.uint8) if path.is_file() else np.zeros(0, dtype=np.uint8)
    decoded = cv2.imdecode(data, cv2.IMREAD_COLOR) if data.size else None
    if decoded is None or wall.rectified is None or not wall.outline_mm:
        return None
    small, scale = shrink(np.asarray(decoded, dtype=np.uint8))
    mm_per_px = wall.rectified.mm_per_px / scale
    left = wall.rectified.left_mm
    top = wall.rectified.top_mm if wall.rectified.top_mm is not None else max(y for _, y in wall.outline_mm)

    def px(points: Sequence[tuple[float, float]]) -> Outline:
        return [((x - left) / mm_per_px - 0.5, (top - y) / mm_per_px - 0.5) for x, y in points]

    small = cover_beyond(small, [px(wall.outline_mm)])
    for opening in wall.openings:
        if opening.front_mm:
            small = cover_inside(small, px(opening.back_mm or opening.front_mm))
    _draw_grid(small, wall, px, grid_mm)
    return _shown(small, note="")


def _draw_grid(picture: Picture, wall: WallResult, px: Any, grid_mm: float) -> None:
    import cv2

    assert wall.outline_mm
    right, top = max(x for x, _ in wall.outline_mm), max(y for _, y in wall.outline_mm)
    lines = [[(x, 0.0), (x, top)] for x in np.arange(grid_mm, right, grid_mm)]
    lines += [[(0.0, y), (right, y)] for y in np.arange(grid_mm, top, grid_mm)]
    for start, end in (px(line) for line in lines):
        ends = [(round(x), round(y)) for x, y in (start, end)]
        cv2.line(picture, ends[0], ends[1], WHITE, 1, cv2.LINE_AA)
    for outline in [wall.outline_mm, *(o.front_mm for o in wall.openings if o.front_mm)]:
        points = np.array(px(outline)).round().astype(np.int32)
        for colour, width in ((WHITE, 3), (BLUE, 1)):
            cv2.polylines(picture, [points], True, colour, width, cv2.LINE_AA)


def jpeg_bytes(picture: Picture, quality: int = JPEG_QUALITY) -> bytes:
    """Return the picture as JPEG bytes that carry pixels and nothing else.

    Raises
    ------
    ValueError
        The picture cannot be encoded.
    """
    import cv2

    done, encoded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError(f"a picture of {picture.shape} could not be encoded as JPEG")
    return bytes(encoded.tobytes())


def photo_entries(survey: Survey, geometry: Geometry) -> list[PhotoEntry]:
    """Return every photo with its marks, those of the survey first, then those only found in the folder."""
    entries = list(survey.photos)
    known = {entry.file for entry in entries}
    extra: list[PhotoResult] = [photo for photo in geometry.photos if photo.file not in known]
    return entries + [PhotoEntry(file=photo.file, purpose=None) for photo in extra]
