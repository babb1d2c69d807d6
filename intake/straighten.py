"""The straightened picture of a wall, and where the wall lies in each photo."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from typing import TYPE_CHECKING

import numpy as np

from intake.gather import Gathered
from intake.privacy import blurred_cards
from intake.results import Rectified, ViewResult
from intake.store import RESULTS, write_bytes
from vision.walls import FloatArray, Photo

if TYPE_CHECKING:
    from vision.measure import WallSolution

MM_PER_PX = 2.0
JPEG_QUALITY = 88
LONGEST_STEM = 40
"""Longest part of an id in a file name, characters: at most 160 bytes, whatever the script."""
RESERVED = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))})
"""Names that one widespread system gives to devices."""
_SAMPLES = 9


def safe_name(identity: str) -> str:
    """Return an id as a file name that every system takes: letters, figures, dash and underscore.

    A name that had to be changed ends with a mark of the whole of it, so that two walls never share a file.
    """
    plain = unicodedata.normalize("NFKC", identity)
    name = re.sub(r"[^\w-]", "_", plain).strip("._")[:LONGEST_STEM]
    if name == identity and name.lower() not in RESERVED:
        return name
    mark = hashlib.sha256(identity.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{name or 'wall'}_{mark}"


def straighten(found: Gathered, solution: WallSolution) -> Rectified | None:
    """Write results/rectified/WALL.jpg from the photo that shows the wall best, and return its record.

    Cards are blurred inside, and the file carries no metadata.
    """
    import cv2

    from vision.rectify import rectify_wall, wall_box_mm

    file = best_view(found, solution)
    if file is None:
        return None
    box = wall_box_mm(solution)
    picture = rectify_wall(blurred_cards(found, file), solution, file, MM_PER_PX)
    done, encoded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        return None
    name = f"rectified/{safe_name(solution.problem.wall.id)}.jpg"
    data = encoded.tobytes()
    write_bytes(found.folder / RESULTS / name, data)
    return Rectified(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        mm_per_px=MM_PER_PX,
        left_mm=round(box[0], 3),
        top_mm=round(box[3], 3),
    )


def best_view(found: Gathered, solution: WallSolution) -> str | None:
    """Return the photo that shows most of the wall, and shows it largest and most squarely; None without an outline."""
    outline = solution.measured.outline_mm
    if outline is None or not solution.files:
        return None
    scores = {file: _shown(found.photos[file], solution, np.array(outline)) for file in solution.files}
    best = max(sorted(scores), key=lambda file: scores[file])
    return best if scores[best] > 0 else None


def _shown(photo: Photo, solution: WallSolution, outline_mm: FloatArray) -> float:
    """Return the share of a grid over the wall that the photo shows, weighted a little by the local scale."""
    u, v = np.meshgrid(np.linspace(0.02, 0.98, _SAMPLES), np.linspace(0.02, 0.98, _SAMPLES))
    low = outline_mm[0] + u[..., None] * (outline_mm[1] - outline_mm[0])
    high = outline_mm[3] + u[..., None] * (outline_mm[2] - outline_mm[3])
    points = (low + v[..., None] * (high - low)).reshape(-1, 2)
    world = np.column_stack([points, np.zeros(len(points))])
    pixels = solution.project(photo.file, world)
    step = solution.project(photo.file, world + np.array([10.0, 0.0, 0.0])) - pixels
    rise = solution.project(photo.file, world + np.array([0.0, 10.0, 0.0])) - pixels
    area = np.abs(step[:, 0] * rise[:, 1] - step[:, 1] * rise[:, 0])
    inside = (
        (pixels[:, 0] >= 0)
        & (pixels[:, 0] <= photo.width_px - 1)
        & (pixels[:, 1] >= 0)
        & (pixels[:, 1] <= photo.height_px - 1)
    )
    if not inside.any():
        return 0.0
    evenness = float(np.sqrt(np.percentile(area[inside], 10) / max(float(area[inside].max()), 1e-9)))
    return float(inside.mean()) + 0.2 * evenness


def views_of(solution: WallSolution) -> list[ViewResult]:
    """Return where the wall's outline lies in every photo that was placed, its edges sampled so that the lens shows."""
    outline = solution.measured.outline_mm
    if outline is None:
        return []
    corners = np.array(outline)
    edges = [
        corners[i] + t * (corners[(i + 1) % 4] - corners[i])
        for i in range(4)
        for t in np.linspace(0, 1, 8, endpoint=False)
    ]
    world = np.column_stack([np.array(edges), np.zeros(len(edges))])
    views = []
    for file in sorted(solution.files):
        pixels = solution.project(file, world)
        if np.isfinite(pixels).all():
            views.append(
                ViewResult(photo=file, outline_px=[(round(float(x), 2), round(float(y), 2)) for x, y in pixels])
            )
    return views
