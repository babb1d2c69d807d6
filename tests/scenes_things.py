"""The things of a rendered wall as coloured polygons: references with their print, openings, fittings, lookalikes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from tests.scenes_draw import FloatArray, Rgb

SHEET_MM, CARD_MM, A4_MM = (297.0, 210.0), (85.60, 53.98), (297.0, 210.0)
CARD_RADIUS_MM, CARD_THICK_MM = 3.18, 0.76
TAG_CENTRES_MM = ((-100.0, 56.0), (100.0, 56.0), (100.0, -56.0), (-100.0, -56.0))
TAG_MM = 72.0
_UNDER_MM = 4.0
_RINGS = np.array([3.0, 1.8, 1.1, 0.7, 0.4, 0.2, 0.08])  # of dimmed wall about a thing, in heights that it stands off

_PAPER: Rgb = (0.82, 0.82, 0.80)
_INK: Rgb = (0.035, 0.035, 0.037)


Paint = tuple[list[FloatArray], Rgb, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """A face (n, 3) of one colour with what is printed on it: print may run over its edges and is cut off there.

    ``beside`` are faces that meet it at its edges, in one colour: in a pixel that both share, neither covers the other.
    """

    outline: FloatArray
    colour: Rgb
    printed: tuple[Paint, ...]
    beside: tuple[list[FloatArray], Rgb] | None = None


Layer = Paint | Face


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A reference on the wall. ``turn_deg`` is anticlockwise; ``tilt_mrad`` leans it about its own x and y axes.

    ``curl_mm`` is how far the left and right edges stand off more than the middle. ``print_scale`` scales the print
    about the paper's middle, never the paper. ``covered`` lists local rectangles (x0, y0, x1, y1) that something hides.
    ``shadow`` is where its shadow falls, right and up, per mm that it stands off, and ``shadow_share`` how much of the
    wall's light it takes. ``dim`` is the share of the wall's light that comes from all round and is lost where a thing
    hides half of all that is about. A card's ``side`` is the colour of its side face, ``stripe`` that of a stripe
    over its whole width.
    """

    kind: str
    centre_mm: tuple[float, float]
    number: int = 0
    turn_deg: float = 0.0
    tilt_mrad: tuple[float, float] = (0.0, 0.0)
    stand_off_mm: float = 0.6
    print_scale: float = 1.0
    curl_mm: float = 0.0
    colour: Rgb | None = None
    size_mm: tuple[float, float] | None = None
    covered: tuple[tuple[float, float, float, float], ...] = ()
    shadow: tuple[float, float] = (0.5, -0.7)
    shadow_share: float = 0.3
    dim: float = 0.0
    side: Rgb | None = None
    stripe: Rgb | None = None

    @property
    def extent_mm(self) -> tuple[float, float]:
        """Width and height of paper or card, mm."""
        return self.size_mm or {"sheet": SHEET_MM, "card": CARD_MM, "a4": A4_MM}[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """A fitting or lookalike: a box on the wall with rounded corners and details on its front."""

    kind: str
    left_mm: float
    bottom_mm: float
    width_mm: float
    height_mm: float
    depth_mm: float
    radius_mm: float = 0.0
    colour: Rgb = (0.75, 0.75, 0.74)
    turn_deg: float = 0.0


def on_wall(reference: Reference, local_mm: FloatArray, wall_z_mm: float) -> FloatArray:
    """Return points (n, 2) of a reference (x right, y up from its middle) in the wall frame (n, 3), mm."""
    local = np.asarray(local_mm, float)
    turn = np.radians(reference.turn_deg)
    lean_x, lean_y = np.array(reference.tilt_mrad) * 1e-3
    half = reference.extent_mm[0] / 2
    lift = reference.curl_mm * (local[:, 0] / half) ** 2 + local[:, 1] * np.sin(lean_x) + local[:, 0] * np.sin(lean_y)
    flat = np.column_stack([local[:, 0] * np.cos(lean_y), local[:, 1] * np.cos(lean_x)])
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    plane = flat @ spin.T + np.array(reference.centre_mm)
    return np.column_stack([plane, wall_z_mm + reference.stand_off_mm + lift])


def corners_local_mm(reference: Reference) -> FloatArray:
    """Return the paper's corners (4, 2): bottom left, bottom right, top right, top left, mm from its middle."""
    w, h = reference.extent_mm
    return np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2


def box(x0: float, y0: float, x1: float, y1: float) -> FloatArray:
    """Return the corners (4, 2) of an upright rectangle."""
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def rounded(x0: float, y0: float, x1: float, y1: float, radius: float) -> FloatArray:
    """Return the outline (n, 2) of a rectangle with rounded corners."""
    if radius <= 0:
        return box(x0, y0, x1, y1)
    quarter = np.linspace(0, np.pi / 2, 9)
    arc = radius * np.column_stack([np.cos(quarter), np.sin(quarter)])
    centres = [
        (x1 - radius, y1 - radius),
        (x0 + radius, y1 - radius),
        (x0 + radius, y0 + radius),
        (x1 - radius, y0 + radius),
    ]
    spins = [np.array([[c, -s], [s, c]]) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1))]
    return np.concatenate([arc @ spin.T + np.array(c) for spin, c in zip(spins, centres, strict=True)])


@lru_cache(maxsize=1024)
def _tag_cells(number: int) -> tuple[tuple[int, int], ...]:
    """Return row and column of the white cells (0..7) of an AprilTag 36h11, from OpenCV's own table."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    image = cv2.aruco.generateImageMarker(dictionary, number, 8, borderBits=1)
    return tuple((int(r), int(c)) for r, c in np.argwhere(image > 127))


def _dense(polygon: FloatArray, curl: float) -> FloatArray:
    """Return the polygon with enough points along its edges to follow a curled sheet."""
    if curl == 0:
        return polygon
    step = np.linspace(0, 1, 12, endpoint=False)[:, None]
    return np.concatenate([a + step * (b - a) for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True)])


def reference_layers(reference: Reference, wall_z_mm: float, camera_mm: FloatArray) -> list[Layer]:
    """Return what to draw for a reference, far layers first."""

    def place(shapes: Sequence[FloatArray]) -> list[FloatArray]:
        return [on_wall(reference, _dense(s, reference.curl_mm), wall_z_mm) for s in shapes]

    w, h = reference.extent_mm
    paper = reference.colour or _PAPER
    outline = rounded(-w / 2, -h / 2, w / 2, h / 2, CARD_RADIUS_MM if reference.kind == "card" else 0)
    drop = reference.stand_off_mm * np.array(reference.shadow)
    turn = np.radians(reference.turn_deg)
    away = np.sign([np.cos(turn) * drop[0] + np.sin(turn) * drop[1], np.cos(turn) * drop[1] - np.sin(turn) * drop[0]])
    # Where it is hidden the shadow stops well inside the outline: two borders in one pixel would leak into each other.
    hidden = np.where(away * outline < 0, away * np.maximum(away * outline, _UNDER_MM - np.array([w, h]) / 2), outline)
    shadow = on_wall(reference, _dense(hidden, reference.curl_mm), wall_z_mm)
    shadow[:, :2] += drop
    shadow[:, 2] = wall_z_mm
    layers: list[Layer] = _dimmed_wall(reference, wall_z_mm)
    if reference.stand_off_mm > 0:
        layers.append(([shadow], (0.02, 0.02, 0.02), reference.shadow_share))
    if reference.kind == "card":
        layers += _card_layers(reference, wall_z_mm, camera_mm, place)
    else:
        layers.append((place([box(-w / 2, -h / 2, w / 2, h / 2)]), paper, 1.0))
    if reference.kind == "sheet":
        s = reference.print_scale
        black = [s * (box(-36, -36, 36, 36) + np.array(c)) for c in TAG_CENTRES_MM]
        white = [
            s * (box(-36 + 9 * c, 27 - 9 * r, -27 + 9 * c, 36 - 9 * r) + np.array(centre))
            for k, centre in enumerate(TAG_CENTRES_MM)
            for r, c in _tag_cells(4 * reference.number + k)
        ]
        bar = [box(-125, -0.4, 125, 0.4), box(-125.2, -5, -124.8, 5), box(124.8, -5, 125.2, 5)]
        words = [box(-30 + 7 * i, 6, -25 + 7 * i, 12) for i in range(9) if i != 5]
        layers += [
            (place(black), _INK, 1.0),
            (place(white), paper, 1.0),
            (place([s * b for b in bar + words]), (0.2, 0.2, 0.2), 1.0),
        ]
    for x0, y0, x1, y1 in reference.covered:
        layers.append((place([box(x0, y0, x1, y1)]), (0.35, 0.25, 0.18), 1.0))
    return layers


def _card_layers(
    reference: Reference,
    wall_z_mm: float,
    camera_mm: FloatArray,
    place: Callable[[Sequence[FloatArray]], list[FloatArray]],
) -> list[Layer]:
    w, h = reference.extent_mm
    colour = reference.colour or (0.35, 0.03, 0.04)
    outline = rounded(-w / 2, -h / 2, w / 2, h / 2, CARD_RADIUS_MM)
    front = on_wall(reference, outline, wall_z_mm)
    # The side is the outline swept back by the card's thickness; the front face hides what lies behind it.
    back = front - np.array([0, 0, CARD_THICK_MM])
    shown = [i for i in range(len(front)) if _faces(front[i], front[i - 1], back[i - 1], camera_mm)]
    sides = [np.array([front[i], front[i - 1], back[i - 1], back[i]]) for i in shown]
    bar, over = (box(-w / 2 + 4, -h / 2 + 10, w / 2 - 4, -h / 2 + 19), box(-w, -h / 2 + 10, w, -h / 2 + 19))
    striped = reference.stripe is not None
    return [
        Face(
            outline=front,
            beside=(sides, reference.side or _mixed(colour, 0.5, 0.3)) if sides else None,
            colour=colour,
            printed=(
                (place([over if striped else bar]), reference.stripe or _mixed(colour, 0.55, 0.3), 1.0),
                (place([rounded(18, 6, 34, 22, 7.9)]), (0.45, 0.6, 0.5), 1.0),
            ),
        ),
    ]


def _mixed(colour: Rgb, share: float, white: float) -> Rgb:
    red, green, blue = colour
    return share * red + white, share * green + white, share * blue + white


def _dimmed_wall(reference: Reference, wall_z_mm: float) -> list[Layer]:
    """Return ever narrower dark rings about a thing: beside it the wall sees less of the room's light.

    At distance x from the foot of a straight edge of height h a Lambertian wall loses ``(1 - x / sqrt(x^2 + h^2)) / 2``
    of an even light from all round (form factor of a strip at right angles; from memory).
    """
    height, (w, h) = reference.stand_off_mm, reference.extent_mm
    layers: list[Layer] = []
    left = 1.0
    for out, inner in zip(_RINGS, [*_RINGS[1:], 0.0], strict=True):
        x = 0.5 * (out + inner)
        lost = reference.dim * 0.5 * (1 - x / np.hypot(x, 1))
        if lost > 0 and height > 0:
            grown = out * height
            radius = grown + (CARD_RADIUS_MM if reference.kind == "card" else 0.0)
            ring = rounded(-w / 2 - grown, -h / 2 - grown, w / 2 + grown, h / 2 + grown, radius)
            ring = on_wall(reference, _dense(ring, reference.curl_mm), wall_z_mm)
            ring[:, 2] = wall_z_mm
            layers.append(([ring], (0.0, 0.0, 0.0), float(1 - (1 - lost) / left)))
            left = 1 - lost
    return layers


def _faces(a: FloatArray, b: FloatArray, c: FloatArray, camera_mm: FloatArray) -> bool:
    return bool(np.cross(b - a, c - b) @ (camera_mm - a) > 0)


def thing_layers(thing: Thing, wall_z_mm: float, camera_mm: FloatArray) -> list[Layer]:
    """Return what to draw for a fitting or lookalike: its shadow, its sides, its front and the front's details."""
    w, h, d = thing.width_mm, thing.height_mm, thing.depth_mm
    turn = np.radians(thing.turn_deg)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    middle = np.array([thing.left_mm + w / 2, thing.bottom_mm + h / 2])

    def place(shape: FloatArray, z: float, shift: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
        return np.column_stack([shape @ spin.T + middle + np.array(shift), np.full(len(shape), wall_z_mm + z)])

    outline = rounded(-w / 2, -h / 2, w / 2, h / 2, thing.radius_mm)
    front, back = place(outline, d), place(outline, 0)
    r, g, b = thing.colour
    layers: list[Layer] = [([place(outline, 0.0, (0.35 * d, -0.5 * d))], (0.02, 0.02, 0.02), 0.25)]
    for i in range(len(front)):
        if _faces(front[i], front[i - 1], back[i - 1], camera_mm):
            layers.append(
                ([np.array([front[i], front[i - 1], back[i - 1], back[i]])], (0.6 * r, 0.6 * g, 0.6 * b), 1.0)
            )
    layers.append(([front], thing.colour, 1.0))
    layers += [([place(s, d) for s in shapes], colour, opacity) for shapes, colour, opacity in _details(thing)]
    return layers


_DARK: Rgb = (0.03, 0.03, 0.03)


def _print_details(w: float, h: float) -> list[Paint]:
    m = 0.09 * min(w, h)
    inner = box(-w / 2 + m, -h / 2 + m, w / 2 - m, h / 2 - m)
    mat = box(-w / 4, -h / 4, w / 4, h / 4)
    return [([inner], (0.62, 0.58, 0.48), 1.0), ([mat], (0.25, 0.22, 0.18), 1.0), ([mat * 0.5], (0.5, 0.45, 0.3), 1.0)]


def _socket_details(w: float, h: float) -> list[Paint]:
    slots = [(x, y) for cx in (-w / 4, w / 4) for x, y in ((cx, 8), (cx - 11, -14), (cx + 11, -14))]
    switches = [box(cx - 6, 22, cx + 6, 36) for cx in (-w / 4 + 16, w / 4 - 16)]
    return [([box(x - 3, y, x + 3, y + 7) for x, y in slots], _DARK, 1.0), (switches, (0.6, 0.6, 0.6), 1.0)]


def _airbrick_details(w: float, h: float) -> list[Paint]:
    across = np.arange(-w / 2 + 14, w / 2 - 10, 21)
    return [([box(x - 6, y - 6, x + 6, y + 6) for x in across for y in (-h / 4, h / 4)], _DARK, 1.0)]


def _radiator_details(w: float, h: float) -> list[Paint]:
    grooves = [box(x, -h / 2 + 12, x + 6, h / 2 - 12) for x in np.arange(-w / 2 + 20, w / 2 - 20, 42)]
    return [(grooves, (0.5, 0.5, 0.5), 1.0)]


def _calendar_details(w: float, h: float) -> list[Paint]:
    lines = [box(-w / 2 + 12, y, w / 2 - 12, y + 1.5) for y in np.arange(-h / 2 + 15, 0, 14)]
    return [([box(-w / 2 + 8, 4, w / 2 - 8, h / 2 - 8)], (0.2, 0.35, 0.5), 1.0), (lines, (0.3, 0.3, 0.3), 1.0)]


_DETAILS: dict[str, Callable[[float, float], list[Paint]]] = {
    "framed_print": _print_details,
    "double_socket": _socket_details,
    "switch": lambda w, h: [([box(-11, -18, 11, 18)], (0.6, 0.6, 0.58), 1.0)],
    "thermostat": lambda w, h: [([box(-w / 4, -h / 8, w / 4, h / 3)], (0.25, 0.3, 0.25), 1.0)],
    "airbrick": _airbrick_details,
    "phone": lambda w, h: [([rounded(3 - w / 2, 3 - h / 2, w / 2 - 3, h / 2 - 3, 6)], (0.01, 0.01, 0.012), 1.0)],
    "hook_plate": lambda w, h: [([box(-3, -h / 2 + 4, 3, 4)], (0.2, 0.18, 0.12), 1.0)],
    "radiator": _radiator_details,
    "calendar": _calendar_details,
}


def _details(thing: Thing) -> list[Paint]:
    draw = _DETAILS.get(thing.kind)
    return draw(thing.width_mm, thing.height_mm) if draw else []
