"""What must not be seen in a photo of the report: where it is, and how it is covered."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from intake.results import Geometry, WallResult
from intake.survey import PhotoEntry

Picture = NDArray[np.uint8]
Outline = list[tuple[float, float]]

LONGEST_SIDE_PX = 1280
"""Of a photo in the report, pixels."""
FACE_SEARCH_PX = 512
COVER = (226, 226, 226)
PRIVATE_KINDS = ("id1_card",)


def solved_outlines(entry: PhotoEntry, geometry: Geometry) -> list[Outline]:
    """Return the outlines of the walls in one photo, pixels: as solved, else by four marked corners."""
    solved = [list(view.outline_px) for wall in geometry.walls for view in wall.views if view.photo == entry.file]
    if solved:
        return [outline for outline in solved if len(outline) >= 3]
    corners: dict[str, dict[str, tuple[float, float]]] = {}
    for mark in entry.marks:
        if mark.wall and not (mark.opening or mark.feature or mark.reference):
            corners.setdefault(mark.wall, {})[mark.point] = mark.px
    order = ("bottom_left", "bottom_right", "top_right", "top_left")
    return [[found[name] for name in order] for found in corners.values() if all(name in found for name in order)]


def wall_outlines(entry: PhotoEntry, geometry: Geometry) -> list[Outline]:
    """Return the outlines of what may be seen of the walls in one photo, pixels.

    The wall as solved or marked; else no more than what lies between the marks and references on a wall.
    """
    whole = solved_outlines(entry, geometry)
    if whole:
        return whole
    points: dict[str, Outline] = {}
    for mark in entry.marks:
        if mark.wall:
            points.setdefault(mark.wall, []).append(mark.px)
    for reference in geometry.references:
        if reference.photo == entry.file and reference.corners_px:
            points.setdefault(reference.wall or reference.id, []).extend(reference.corners_px)
    return [hull for outline in points.values() if len(hull := _hull(outline)) >= 3]


def _hull(points: Outline) -> Outline:
    """Return the smallest convex outline about points; on a flat wall it never leaves the wall."""
    import cv2

    hull = cv2.convexHull(np.array(points, dtype=np.float32)).reshape(-1, 2)
    return [(float(x), float(y)) for x, y in hull]


def brick_outlines(photo: str, geometry: Geometry) -> list[Outline]:
    """Return the outlines of the bricks found in one photo, each a little larger so that the joints show too."""
    read = next((result.brickwork for result in geometry.photos if result.file == photo), None)
    bricks = [shape.points_px for shape in read.shapes if shape.kind != "bed"] if read is not None else []
    return [_grown(brick) for brick in bricks]


def _grown(outline: Sequence[tuple[float, float]], share: float = 1.3) -> Outline:
    middle_x, middle_y = (sum(point[axis] for point in outline) / len(outline) for axis in (0, 1))
    return [(middle_x + share * (x - middle_x), middle_y + share * (y - middle_y)) for x, y in outline]


def panes(entry: PhotoEntry, geometry: Geometry) -> list[Outline]:
    """Return the outlines of window panes and doorways in the photo: back edges as marked, else front edges."""
    found: list[Outline] = []
    order = ("bottom_left", "bottom_right", "top_right", "top_left")
    seen: dict[tuple[str, str], dict[str, dict[str, tuple[float, float]]]] = {}
    for mark in entry.marks:
        if mark.opening:
            sides = seen.setdefault((mark.wall or "", mark.opening), {})
            sides.setdefault(mark.face or "wall", {})[mark.point] = mark.px
    covered: set[tuple[str, str]] = set()
    for opening, sides in seen.items():
        for face in ("frame", "wall"):
            points = sides.get(face, {})
            if opening not in covered and all(name in points for name in order):
                found.append([points[name] for name in order])
                covered.add(opening)
    for wall in geometry.walls:
        found += _projected_panes(entry.file, wall, covered)
    return found


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


def faces(picture: Picture) -> list[Outline]:
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


def coarse(picture: Picture, *, squares: int = 24, square_px: int = 16) -> Picture:
    """Return the picture as a few large squares: enough to tell which photo it is, too few to tell what is in it."""
    import cv2

    height, width = picture.shape[:2]
    across = max(1, round(squares * width / max(width, height)))
    down = max(1, round(squares * height / max(width, height)))
    tiny = cv2.resize(picture, (across, down), interpolation=cv2.INTER_AREA)
    large = cv2.resize(tiny, (across * square_px, down * square_px), interpolation=cv2.INTER_NEAREST)
    return np.asarray(large, dtype=np.uint8)


def crop_to(
    outlines: Sequence[Outline], picture: Picture, *, margin_px: int = 12, share: float = 0.5
) -> tuple[Picture, tuple[int, int]]:
    """Return the part of the picture about the outlines, where it is less than a share of all, and its corner."""
    points = np.concatenate([np.array(outline) for outline in outlines])
    height, width = picture.shape[:2]
    left, top = (int(v) for v in np.maximum(np.floor(points.min(axis=0)) - margin_px, 0))
    right, bottom = (int(v) for v in np.minimum(np.ceil(points.max(axis=0)) + margin_px, (width, height)))
    if right - left < 2 or bottom - top < 2 or (right - left) * (bottom - top) > share * width * height:
        return picture, (0, 0)
    return np.ascontiguousarray(picture[top:bottom, left:right]), (left, top)
