"""Rendered truth: an invented room with a wall, its opening and references, seen by an invented phone.

A fast compositor, not a path tracer: light is a smooth field, and things do not reflect in one another. Geometry is
exact to about 0.01 px (`tests/scenes_draw.py`). Names of points follow one rule: ``wall_bl``, ``open_tl``, ``back_tr``,
``ref0_bl``, ``skirt_br``; ``bl br tr tl`` as the viewer sees them. Lengths in mm, wall frame as in `vision.walls`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import cv2
import numpy as np

from tests.scenes_draw import Camera, Canvas, FloatArray, Picture, Rgb, Style, develop, light_field, smooth_field
from tests.scenes_things import (
    A4_MM,
    CARD_MM,
    SHEET_MM,
    Face,
    Layer,
    Reference,
    Thing,
    corners_local_mm,
    on_wall,
    reference_layers,
    thing_layers,
)

__all__ = [
    "A4_MM", "CARD_MM", "SHEET_MM", "Camera", "Opening", "Reference", "Room", "Scene", "Style", "Thing",
    "render", "render_reference_patch",
]  # fmt: skip

ENDS = ("bl", "br", "tr", "tl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A window: outline on the plaster and at the frame (4, 2) each, bl br tr tl, mm; ``reveal_mm`` deep.

    The side faces, ``faces`` times as light as they would be, darken towards the frame, as hollow corners do: by the
    share ``shade`` at the frame, falling off over ``shade_mm``.
    """

    front_mm: FloatArray
    back_mm: FloatArray
    reveal_mm: float
    frame_mm: float = 70.0
    outer_mm: float = 40.0
    glass: float = 1.4
    frame_width_mm: float = 55.0
    mullion: bool = True
    faces: float = 1.0
    shade: float = 0.0
    shade_mm: float = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A wall (corners (4, 2) bl br tr tl, mm), what is on it, and the room's other faces.

    The plaster stands ``bulge_mm`` proud in the middle and is wound by ``twist_mm`` at the corners.
    """

    corners_mm: FloatArray
    opening: Opening | None = None
    more_openings: tuple[Opening, ...] = ()
    references: tuple[Reference, ...] = ()
    things: tuple[Thing, ...] = ()
    bulge_mm: float = 0.0
    twist_mm: float = 0.0
    skirting_mm: float = 0.0
    skirting_height_mm: float = 110.0
    depth_mm: float = 4500.0
    colour: Rgb = (0.5, 0.48, 0.44)
    finish: str = "paint"

    def openings(self) -> dict[str, Opening]:
        """Return the openings by the number that their points' names carry: none for the first, then 2, 3 ..."""
        further = {str(n): opening for n, opening in enumerate(self.more_openings, start=2)}
        return ({"": self.opening} if self.opening else {}) | further

    @property
    def width_mm(self) -> float:
        """Mean width of the wall."""
        return float(np.mean(np.linalg.norm(self.corners_mm[[1, 2]] - self.corners_mm[[0, 3]], axis=1)))

    @property
    def height_mm(self) -> float:
        """Mean height of the wall."""
        return float(np.mean(np.linalg.norm(self.corners_mm[[3, 2]] - self.corners_mm[[0, 1]], axis=1)))

    def surface(self, xy_mm: FloatArray) -> FloatArray:
        """Return points (n, 2) of the plaster with their height Z over the ideal plane, (n, 3) mm."""
        xy = np.asarray(xy_mm, float).reshape(-1, 2)
        u, v = 2 * xy[:, 0] / self.width_mm - 1, 2 * xy[:, 1] / self.height_mm - 1
        return np.column_stack([xy, self.bulge_mm * (1 - u * u) * (1 - v * v) + self.twist_mm * u * v])

    def wall_z_mm(self, xy_mm: tuple[float, float]) -> float:
        """Return the plaster's height over the ideal plane at one place, mm."""
        return float(self.surface(np.array([xy_mm]))[0, 2])

    def points_mm(self) -> dict[str, FloatArray]:
        """Return every named point in the wall frame, (3,) mm."""
        named: dict[str, FloatArray] = {}
        named |= _named("wall", self.surface(self.corners_mm))
        for n, opening in self.openings().items():
            named |= _named(f"open{n}", self.surface(opening.front_mm))
            named |= _named(f"back{n}", np.column_stack([opening.back_mm, np.full(4, -opening.reveal_mm)]))
        for k, reference in enumerate(self.references):
            named |= _named(f"ref{k}", self.reference_points(k, corners_local_mm(reference)))
        if self.skirting_mm:
            named["skirt_bl"], named["skirt_br"] = named["wall_bl"].copy(), named["wall_br"].copy()
            named["skirt_bl"][2] += self.skirting_mm
            named["skirt_br"][2] += self.skirting_mm
        return named

    def reference_points(self, k: int, local_mm: FloatArray) -> FloatArray:
        """Return points of reference k (x right, y up from its middle) in the wall frame, (n, 3) mm."""
        reference = self.references[k]
        return on_wall(reference, local_mm, self.wall_z_mm(reference.centre_mm))


def _named(stem: str, points: FloatArray) -> dict[str, FloatArray]:
    return {f"{stem}_{end}": p for end, p in zip(ENDS, points, strict=True)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A rendered picture (BGR) with its truth; a point is None where it is outside the picture or hidden."""

    picture: Picture
    room: Room
    camera: Camera
    pixels: Mapping[str, tuple[float, float] | None]
    points_mm: Mapping[str, FloatArray] = field(default_factory=dict)


def true_pixels(room: Room, camera: Camera) -> dict[str, tuple[float, float] | None]:
    """Return where each named point is in the picture, or None where it is outside or hidden in the opening."""
    fronts = {
        f"back{n}": camera.project(room.surface(opening.front_mm)).astype(np.float32)
        for n, opening in room.openings().items()
    }
    out: dict[str, tuple[float, float] | None] = {}
    for name, point in room.points_mm().items():
        out[name] = None
        right, down, ahead = camera.to_camera(point[None])[0]
        if ahead <= 0 or np.hypot(right, down) > 1.5 * ahead * np.hypot(*camera.centre_px) / camera.focal_px:
            continue  # behind the phone, or so far aside that the lens's polynomial folds it back into the picture
        x, y = camera.project(point[None])[0]
        seen = -0.5 <= x <= camera.width_px - 0.5 and -0.5 <= y <= camera.height_px - 0.5
        front = fronts.get(name.split("_")[0])
        if front is not None:
            seen = seen and cv2.pointPolygonTest(front, (float(x), float(y)), False) > 0
        if seen:
            out[name] = (float(x), float(y))
    return out


def render(room: Room, camera: Camera, style: Style | None = None, *, seed: int = 0) -> Scene:
    """Return the room as the phone sees it, with the truth of its named points."""
    style = style or Style()
    rng = np.random.default_rng(seed)
    canvas = Canvas(camera)
    _draw(canvas, room, rng)
    canvas.linear *= light_field(style, camera, (0, 0), (camera.width_px, camera.height_px))[..., None]
    picture = develop(canvas.linear, style, rng)
    return Scene(
        picture=picture, room=room, camera=camera, pixels=true_pixels(room, camera), points_mm=room.points_mm()
    )


def render_reference_patch(
    room: Room, camera: Camera, style: Style | None = None, *, k: int = 0, margin: float = 0.35, seed: int = 0
) -> tuple[Picture, FloatArray, tuple[int, int]]:
    """Return a small picture around reference k, its corners (4, 2) bl br tr tl in it, and its place in the photo.

    Only the wall, the things on it and the references are drawn, so thousands take minutes; lens and light are those
    of the whole photo. ``margin`` is the share of the reference's size kept around it.
    """
    style = style or Style()
    rng = np.random.default_rng(seed)
    corners = camera.project(room.reference_points(k, corners_local_mm(room.references[k])))
    size = corners.max(axis=0) - corners.min(axis=0)
    pad = np.maximum(margin * size, 12)
    low = np.floor(corners.min(axis=0) - pad).astype(int)
    high = np.ceil(corners.max(axis=0) + pad).astype(int)
    origin, extent = (int(low[0]), int(low[1])), (int(high[0] - low[0]), int(high[1] - low[1]))
    canvas = Canvas(camera, origin, extent)
    _draw_wall(canvas, room, rng)
    _lay(canvas, _wall_things(room, camera))
    canvas.linear *= light_field(style, camera, origin, extent)[..., None]
    return develop(canvas.linear, style, rng), corners - low, origin


def _draw(canvas: Canvas, room: Room, rng: np.random.Generator) -> None:
    bl, br, tr, tl = room.corners_mm
    near, far = room.depth_mm + 3000, -400.0
    wide = 6000.0
    canvas.fill((0.6, 0.6, 0.58))  # the ceiling
    floor = [
        [bl[0] - wide, bl[1], far],
        [br[0] + wide, br[1], far],
        [br[0] + wide, br[1], near],
        [bl[0] - wide, bl[1], near],
    ]
    canvas.lay([np.array(floor)], (0.24, 0.17, 0.11))
    shade = tuple(0.8 * c for c in room.colour)
    for low, high in ((bl, tl), (br, tr)):
        side = [[*low, far], [*low, near], [*high, near], [*high, far]]
        canvas.lay([np.array(side)], (shade[0], shade[1], shade[2]))
    _draw_wall(canvas, room, rng)
    for opening in room.openings().values():
        _lay_through(canvas, _outline(room, opening.front_mm), _opening_layers(room, opening, canvas.camera))
    _lay(canvas, _wall_things(room, canvas.camera))
    if room.skirting_mm:
        _lay(canvas, _skirting_layers(room))


def _draw_wall(canvas: Canvas, room: Room, rng: np.random.Generator) -> None:
    box, cover = canvas.cover([_outline(room, room.corners_mm)])
    if box is None:
        return
    height, width = cover.shape
    colour = np.array(room.colour, np.float32)
    per_mm = canvas.camera.focal_px / max(
        canvas.camera.to_camera(np.array([[room.width_mm / 2, room.height_mm / 2, 0]]))[0, 2], 1
    )
    rough, cell = {"paint": (0.01, 120.0), "plaster": (0.06, 90.0), "woodchip": (0.05, 7.0)}.get(
        room.finish, (0.01, 120.0)
    )
    mottle = rough * smooth_field(rng, (width, height), max(cell * per_mm, 1.5))
    layer = colour * (1 + mottle + 0.005 * smooth_field(rng, (width, height), max(4 * per_mm, 1.5)))[..., None]
    region = canvas.linear[box]
    region += cover[..., None] * (layer - region)
    if room.finish == "wallpaper":
        w, h = room.width_mm, room.height_mm
        stripes = [np.array([[x, 0], [x + 45, 0], [x + 45, h], [x, h]]) for x in np.arange(30, w - 60, 130)]
        canvas.lay(
            [room.surface(s) for s in stripes],
            (float(0.85 * colour[0]), float(0.82 * colour[1]), float(0.8 * colour[2])),
        )


def _outline(room: Room, corners_mm: FloatArray) -> FloatArray:
    """Return the quadrilateral on the plaster with edges that follow its bulge, (n, 3) mm."""
    if not (room.bulge_mm or room.twist_mm):
        return room.surface(corners_mm)
    step = np.linspace(0, 1, 40, endpoint=False)[:, None]
    ahead = np.roll(corners_mm, -1, axis=0)
    return room.surface(np.concatenate([a + step * (b - a) for a, b in zip(corners_mm, ahead, strict=True)]))


def _opening_layers(room: Room, opening: Opening, camera: Camera) -> list[Layer]:
    front = room.surface(opening.front_mm)
    back = np.column_stack([opening.back_mm, np.full(4, -opening.reveal_mm)])
    tones = [opening.faces * tone for tone in (0.75, 0.5, 0.42, 0.62)]  # sill, right jamb, head, left jamb
    layers: list[Layer] = []
    for i, tone in enumerate(tones):
        j = (i + 1) % 4
        face = np.array([front[i], front[j], back[j], back[i]])
        normal = np.cross(face[1] - face[0], face[3] - face[0])
        if normal @ (camera.position_mm - face[0]) > 0:
            layers.append(([face], (tone, tone, 0.97 * tone), 1.0))
            layers += _shade_layers(face, tone, opening)
    layers.append(([back], (0.68, 0.68, 0.66), 1.0))
    m = opening.frame_width_mm
    (x0, y0), (x1, y1) = opening.back_mm.min(axis=0), opening.back_mm.max(axis=0)
    middle = (x0 + x1) / 2
    panes = [(x0 + m, middle - m / 2), (middle + m / 2, x1 - m)] if opening.mullion else [(x0 + m, x1 - m)]
    glass = [np.array([[a, y0 + m], [b, y0 + m], [b, y1 - m], [a, y1 - m]]) for a, b in panes]
    z = -opening.reveal_mm
    layers.append(([np.column_stack([g, np.full(4, z)]) for g in glass], (opening.glass,) * 3, 1.0))
    return layers


def _shade_layers(face: FloatArray, tone: float, opening: Opening) -> list[Layer]:
    """Return ever narrower bands of a side face, front front back back, that end at the frame and are ever darker."""
    layers: list[Layer] = []
    edges = opening.shade_mm * np.geomspace(3.5, 0.02, 28)
    for wide, narrow in pairwise(edges):
        if opening.shade and wide < opening.reveal_mm:
            at = 1 - wide / opening.reveal_mm
            band = np.array([face[0] + at * (face[3] - face[0]), face[1] + at * (face[2] - face[1]), face[2], face[3]])
            dark = tone * (1 - opening.shade * np.exp(-0.5 * (wide + narrow) / opening.shade_mm))
            layers.append(([band], (dark, dark, 0.97 * dark), 1.0))
    return layers


def _lay(canvas: Canvas, layers: Sequence[Layer]) -> None:
    for layer in layers:
        if isinstance(layer, Face):
            _lay_through(canvas, layer.outline, layer.printed, fill=layer.colour, beside=layer.beside)
        else:
            canvas.lay(*layer)


def _lay_through(
    canvas: Canvas, hole_mm: FloatArray, layers: Sequence[Layer], *, fill: Rgb = (0.55, 0.55, 0.53),
    beside: tuple[list[FloatArray], Rgb] | None = None,
) -> None:  # fmt: skip
    """Lay layers that are seen only through a hole in the wall, or within the outline of a face and ``beside`` it."""
    box, share = canvas.cover([hole_mm])
    if box is None:
        return
    origin = (canvas.origin[0] + box[1].start, canvas.origin[1] + box[0].start)
    behind = Canvas(canvas.camera, origin, (share.shape[1], share.shape[0]))
    behind.fill(fill)
    _lay(behind, layers)
    region = canvas.linear[box]
    covered = region.copy()
    if beside:
        canvas.lay(*beside)
    region += share[..., None] * (behind.linear - covered)


def _wall_things(room: Room, camera: Camera) -> list[Layer]:
    layers: list[Layer] = []
    for thing in room.things:
        middle = (thing.left_mm + thing.width_mm / 2, thing.bottom_mm + thing.height_mm / 2)
        layers += thing_layers(thing, room.wall_z_mm(middle), camera.position_mm)
    for reference in room.references:
        layers += reference_layers(reference, room.wall_z_mm(reference.centre_mm), camera.position_mm)
    return layers


def _skirting_layers(room: Room) -> list[Layer]:
    bl, br = room.corners_mm[0], room.corners_mm[1]
    z, h = room.skirting_mm, room.skirting_height_mm
    (x0, y0), (x1, y1) = bl, br
    front = np.array([[x0, y0, z], [x1, y1, z], [x1, y1 + h, z], [x0, y0 + h, z]])
    top = np.array([[x0, y0 + h, z], [x1, y1 + h, z], [x1, y1 + h, 0], [x0, y0 + h, 0]])
    return [([top], (0.8, 0.8, 0.78), 1.0), ([front], (0.72, 0.72, 0.7), 1.0)]


def at_size(camera: Camera, scale: float) -> Camera:
    """Return the same camera with its picture scaled (0.5 halves it), integer pixels staying pixel centres."""
    cx, cy = ((c + 0.5) * scale - 0.5 for c in camera.centre_px)
    return replace(
        camera,
        width_px=round(camera.width_px * scale),
        height_px=round(camera.height_px * scale),
        focal_px=camera.focal_px * scale,
        centre_px=(cx, cy),
    )
