"""The photos as evidence: re-encoded without metadata, covered beyond the wall and in cards and panes, marks drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from intake.results import Geometry, PhotoResult, WallResult
from intake.survey import MarkEntry, PhotoEntry, Survey

Picture = NDArray[np.uint8]
Outline = list[tuple[float, float]]

LONGEST_SIDE_PX = 1280
FACE_SEARCH_PX = 512
JPEG_QUALITY = 80
COVER = (226, 226, 226)
PRIVATE_KINDS = ("id1_card",)
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

    outlines = wall_outlines(entry, geometry)
    if not outlines:
        note = "Not shown: the wall's outline is not known in it, so what is beyond the wall could not be covered."
        return Shown(jpeg=None, width_px=0, height_px=0, note=note)
    try:
        name = find_photo(folder, entry.file, list_photos(folder).photos)
        if name is None:
            return Shown(jpeg=None, width_px=0, height_px=0, note="Not shown: the file is not in the folder.")
        small, scale = read_small(folder / name)
    except PerpendError as error:
        return Shown(jpeg=None, width_px=0, height_px=0, note=f"Not shown: {error}")
    small = cover_beyond(small, [scaled(outline, scale) for outline in outlines])
    panes = _panes(entry, geometry)
    for pane in panes:
        small = cover_inside(small, scaled(pane, scale))
    cards = private_references(entry.file, geometry)
    for card in cards:
        blur_inside(small, np.asarray(scaled(card, scale), dtype=np.float64))
    for face in _faces(small):
        small = cover_inside(small, face)
    draw_marks(small, entry, geometry, scale)
    covered = ["what is beyond the wall"] + ["window panes"] * bool(panes) + ["cards"] * bool(cards)
    return Shown(
        jpeg=jpeg_bytes(small),
        width_px=small.shape[1],
        height_px=small.shape[0],
        note=f"Covered: {', '.join(covered)}.",
    )


def read_small(path: Path) -> tuple[Picture, float]:
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
    if picture_kind(data) == "jpeg" and max(facts.width_px, facts.height_px) >= 2 * LONGEST_SIDE_PX:
        decoded = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_REDUCED_COLOR_2)
    if decoded is None:
        decoded = decode_picture(data, file=path.name)
    small, _ = shrink(np.asarray(decoded, dtype=np.uint8))
    return small, small.shape[1] / facts.width_px


def wall_outlines(entry: PhotoEntry, geometry: Geometry) -> list[Outline]:
    """Return the outlines of the walls in one photo, pixels: as solved, else from four marked corners."""
    solved = [list(view.outline_px) for wall in geometry.walls for view in wall.views if view.photo == entry.file]
    if solved:
        return [outline for outline in solved if len(outline) >= 3]
    corners: dict[str, dict[str, tuple[float, float]]] = {}
    for mark in entry.marks:
        if mark.wall and not (mark.opening or mark.feature or mark.reference):
            corners.setdefault(mark.wall, {})[mark.point] = mark.px
    order = ("bottom_left", "bottom_right", "top_right", "top_left")
    return [[found[name] for name in order] for found in corners.values() if all(name in found for name in order)]


def _panes(entry: PhotoEntry, geometry: Geometry) -> list[Outline]:
    """Return the outlines of window panes and doorways in the photo: back edges as marked, else front edges."""
    panes: list[Outline] = []
    order = ("bottom_left", "bottom_right", "top_right", "top_left")
    seen: dict[tuple[str, str], dict[str, dict[str, tuple[float, float]]]] = {}
    for mark in entry.marks:
        if mark.opening:
            faces = seen.setdefault((mark.wall or "", mark.opening), {})
            faces.setdefault(mark.face or "wall", {})[mark.point] = mark.px
    for faces in seen.values():
        for face in ("frame", "wall"):
            points = faces.get(face, {})
            if all(name in points for name in order):
                panes.append([points[name] for name in order])
                break
    known = set(seen)
    for wall in geometry.walls:
        panes += _projected_panes(entry.file, wall, known if panes else set())
    return panes


def _projected_panes(photo: str, wall: WallResult, known: set[tuple[str, str]]) -> list[Outline]:
    import cv2

    view = next((view for view in wall.views if view.photo == photo), None)
    if view is None or not wall.outline_mm or len(view.outline_px) % 4:
        return []
    step = len(view.outline_px) // 4
    corners = np.array([view.outline_px[index * step] for index in range(4)], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(np.array(wall.outline_mm, dtype=np.float32), corners)
    panes: list[Outline] = []
    for opening in wall.openings:
        if opening.front_mm and (wall.id, opening.id) not in known:
            points = np.array(opening.front_mm, dtype=np.float32).reshape(-1, 1, 2)
            placed = cv2.perspectiveTransform(points, matrix).reshape(-1, 2)
            panes.append([(float(x), float(y)) for x, y in placed])
    return panes


def private_references(photo: str, geometry: Geometry) -> list[Outline]:
    """Return the outlines of cards in one photo, which may carry a name or a number."""
    return [
        list(reference.corners_px)
        for reference in geometry.references
        if reference.photo == photo and reference.kind in PRIVATE_KINDS and reference.corners_px
    ]


def _faces(picture: Picture) -> list[Outline]:
    """Return boxes around what looks like a face, found in the picture at half size for speed."""
    import cv2

    from intake.privacy import blur_faces

    small, scale = shrink(picture, FACE_SEARCH_PX)
    changed = np.asarray((blur_faces(small.copy()) != small).any(axis=2), dtype=np.uint8)
    count, _, boxes, _ = cv2.connectedComponentsWithStats(changed)
    faces: list[Outline] = []
    for left, top, width, height, _ in np.asarray(boxes).reshape(-1, 5)[1:count]:
        right, bottom = left + width, top + height
        faces.append([(x / scale, y / scale) for x, y in ((left, bottom), (right, bottom), (right, top), (left, top))])
    return faces


def shrink(picture: Picture, longest_px: int = LONGEST_SIDE_PX) -> tuple[Picture, float]:
    """Return the picture with its longer side at most so long, and the factor."""
    import cv2

    scale = min(1.0, longest_px / max(picture.shape[:2]))
    if scale == 1.0:
        return picture.copy(), 1.0
    size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale


def scaled(outline: Sequence[tuple[float, float]], scale: float) -> Outline:
    """Return the outline in the shrunk picture's pixels (an integer is the centre of a pixel in both)."""
    return [((x + 0.5) * scale - 0.5, (y + 0.5) * scale - 0.5) for x, y in outline]


def _mask(shape: tuple[int, ...], outlines: Sequence[Outline]) -> Picture:
    import cv2

    mask = np.zeros(shape[:2], dtype=np.uint8)
    limit = 30_000  # far-off corners of close-ups stay within what the fill can count
    for outline in outlines:
        points = np.clip(np.array(outline) * 16, -limit * 16, limit * 16).round().astype(np.int32)
        cv2.fillPoly(mask, [points], 255, lineType=cv2.LINE_8, shift=4)
    return mask


def cover_beyond(picture: Picture, outlines: Sequence[Outline]) -> Picture:
    """Return the picture with everything outside the outlines painted over."""
    mask = _mask(picture.shape, outlines)
    covered = np.empty_like(picture)
    covered[:] = COVER
    covered[::6, :] = (206, 206, 206)
    return np.where(mask[:, :, None] > 0, picture, covered)


def cover_inside(picture: Picture, outline: Outline) -> Picture:
    """Return the picture with the inside of an outline blurred until nothing can be read."""
    import cv2

    mask = _mask(picture.shape, [outline])
    if not mask.any():
        return picture
    height, width = picture.shape[:2]
    tiny = cv2.resize(picture, (max(2, width // 60), max(2, height // 60)), interpolation=cv2.INTER_AREA)
    blurred = cv2.resize(tiny, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.where(mask[:, :, None] > 0, blurred, picture).astype(np.uint8)


def draw_marks(picture: Picture, entry: PhotoEntry, geometry: Geometry, scale: float) -> None:
    """Draw outlines, marks and references: shape says what a mark is, so that grey print still tells.

    Circle: wall corner; square: opening (hollow at the frame); triangle: thing on the wall; cross: reference.
    """
    import cv2

    for outline in wall_outlines(entry, geometry):
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
    return Shown(jpeg=jpeg_bytes(small), width_px=small.shape[1], height_px=small.shape[0], note="")


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
