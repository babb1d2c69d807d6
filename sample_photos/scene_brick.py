"""The brick face: bonds set out from the opening as a bricklayer would, each brick a bevelled block, one flat picture.

The outside frame: X to the viewer's right, Y up as inside, Z = 0 the mean brick face, metres.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import textures as tx
from houses import House, frame_rectangle_outside
from meshes import FloatArray, Model
from scene_room import Material, window

X_SPAN, Y_SPAN = (-0.9, 5.1), (-0.35, 3.65)
MORTAR_BACK = 0.0045


@dataclass(frozen=True, slots=True)
class Brick:
    """One brick's face: x0, x1 at the bottom, y0, y1, and its kind."""

    x0: float
    x1: float
    y0: float
    y1: float
    kind: str  # stretcher, header, closer, soldier


def sizes(house: House) -> tuple[float, float, float, float]:
    """Stretcher, header, brick height and joint, metres."""
    joint = 0.0095 if house.bond == "flemish" else 0.010
    stretcher, header = (0.2255, 0.1085) if house.bond == "flemish" else (0.215, 0.1025)
    return stretcher, header, house.course - joint, joint


def sill_horn(house: House) -> float:
    """How far the sill runs into the brickwork on either side, metres."""
    return 0.10 if house.bond == "flemish" else 0.06


def run(house: House, odd: bool, length: float) -> list[tuple[float, float, str]]:
    """Bricks of one course from a stop end outwards: (start, end, kind) up to ``length``."""
    stretcher, header, _, joint = sizes(house)
    out: list[tuple[float, float, str]] = []
    if house.bond == "flemish":
        pieces = [(header, "header"), (stretcher / 2 - header / 2 - joint, "closer")] if odd else []
        cycle = [(stretcher, "stretcher"), (header, "header")]
    else:
        pieces = [(header, "header")] if odd else []
        cycle = [(stretcher, "stretcher")]
    at, k = 0.0, 0
    while at < length:
        size, kind = pieces[k] if k < len(pieces) else cycle[(k - len(pieces)) % len(cycle)]
        out.append((at, at + size, kind))
        at += size + joint
        k += 1
    return out


def across(house: House, odd: bool, left: float, right: float, origin: float) -> list[tuple[float, float, str]]:
    """Bricks of a full course between ``left`` and ``right``, in phase with the run that ends at ``origin``."""
    stretcher, header, _, joint = sizes(house)
    cycle = [(stretcher, "stretcher"), (header, "header")] if house.bond == "flemish" else [(stretcher, "stretcher")]
    period = sum(size + joint for size, _ in cycle)
    # left of origin, an even course has a stretcher ending there; an odd one is moved by half a unit
    shift = (period / 2 if odd else 0.0) - stretcher
    at = origin + shift - period * np.ceil((origin + shift - left) / period + 1)
    out: list[tuple[float, float, str]] = []
    k = 0
    while at < right:
        size, kind = cycle[k % len(cycle)]
        if at + size > left:
            out.append((max(at, left), min(at + size, right), kind))
        at += size + joint
        k += 1
    return [piece for piece in out if piece[1] - piece[0] > 0.03]


def lay(house: House) -> list[Brick]:
    """Every brick of the face."""
    _, _, height, joint = sizes(house)
    quad = np.array(house.opening_outside)
    sill = quad[:2, 1].mean()
    head = quad[2:, 1].mean()
    first = int(np.floor((Y_SPAN[0] - sill) / house.course)) - 1
    bricks: list[Brick] = []
    arch = _soldiers(house)
    bearing = (arch[0].x0 - joint, arch[-1].x1 + joint)
    horn = sill_horn(house)
    stone = (quad[0, 0] - horn - joint, quad[1, 0] + horn + joint)
    for n in range(first, int((Y_SPAN[1] - sill) / house.course)):
        y0 = sill + n * house.course + joint
        y1 = y0 + height
        odd = n % 2 == 1
        middle = (y0 + y1) / 2
        along = (middle - quad[0, 1]) / (quad[3, 1] - quad[0, 1])
        jamb = (quad[0, 0] + along * (quad[3, 0] - quad[0, 0]), quad[1, 0] + along * (quad[2, 0] - quad[1, 0]))
        beside = sill - 0.002 < middle < head
        full = across(house, odd, X_SPAN[0], X_SPAN[1], float(quad[[0, 3], 0].mean()))
        if beside:
            spans = [(jamb[0] - b, jamb[0] - a, kind) for a, b, kind in run(house, odd, jamb[0] - X_SPAN[0])]
            spans += [(jamb[1] + a, jamb[1] + b, kind) for a, b, kind in run(house, odd, X_SPAN[1] - jamb[1])]
        elif head <= middle < arch[0].y1:
            spans = _cut(full, *bearing)
        elif sill - house.course < middle < sill:
            spans = _cut(full, *stone)
        else:
            spans = full
        bricks += [Brick(a, b, y0, y1, kind) for a, b, kind in spans]
    return bricks + arch


def _cut(spans: list[tuple[float, float, str]], low: float, high: float) -> list[tuple[float, float, str]]:
    out = []
    for a, b, kind in spans:
        for c, d in ((a, min(b, low)), (max(a, high), b)):
            if d - c > 0.03:
                out.append((c, d, kind))
    return out


def _soldiers(house: House) -> list[Brick]:
    """A flat arch of bricks on end over the opening, three courses high."""
    _, _, height, joint = sizes(house)
    quad = np.array(house.opening_outside)
    low, high = quad[2:, 1].mean(), quad[2:, 1].mean() + 3 * house.course - joint
    left, right = quad[3, 0] - 0.115, quad[2, 0] + 0.115
    count = round((right - left + joint) / (height + joint))
    pitch = (right - left + joint) / count
    return [
        Brick(left + k * pitch, left + (k + 1) * pitch - joint, float(low), float(high), "soldier")
        for k in range(count)
    ]


def paint(house: House, bricks: list[Brick], px_per_m: float) -> tuple[tx.Picture, tx.Array]:
    """One picture of the whole face, colour and height: clay, kiln marks, mortar, weather."""
    rng = np.random.default_rng(house.seed + 77)
    w, h = (round((b - a) * px_per_m) for a, b in (X_SPAN, Y_SPAN))
    fine = tx.noise(rng, (h, w), 2, 0.010 * px_per_m + 3, 0.4)
    blotch = tx.noise(rng, (h, w), 0.02 * px_per_m, 0.25 * px_per_m, 1.0)
    streak = tx.noise(rng, (h, w), 0.15 * px_per_m, 2.5 * px_per_m, 1.2, (0.35, 1.0))
    flemish = house.bond == "flemish"
    mortar = tx.linear(176, 166, 146) if flemish else tx.linear(150, 147, 140)
    colour = mortar * (1 + 0.07 * fine + 0.08 * blotch)[..., None]
    height = -0.0008 + 0.0005 * fine + 0.0004 * blotch
    base = (
        [(146, 88, 70), (154, 98, 76), (136, 80, 66), (162, 112, 88), (124, 76, 66)]
        if flemish
        else [(156, 118, 96), (164, 126, 102), (148, 110, 92), (158, 122, 104)]
    )
    headers = [(112, 72, 64), (98, 70, 66), (128, 80, 66), (144, 88, 70), (104, 78, 74)] if flemish else base
    for brick in bricks:
        x0, x1 = (round((v - X_SPAN[0]) * px_per_m) for v in (brick.x0 - 0.001, brick.x1 + 0.001))
        y0, y1 = (round((Y_SPAN[1] - v) * px_per_m) for v in (brick.y1 + 0.001, brick.y0 - 0.001))
        x0, x1, y0, y1 = max(x0, 0), min(x1, w), max(y0, 0), min(y1, h)
        if x1 <= x0 or y1 <= y0:
            continue
        choice = headers if brick.kind in {"header", "closer"} else base
        tone = tx.linear(*choice[rng.integers(len(choice))]) * rng.uniform(0.86, 1.14)
        at = (slice(y0, y1), slice(x0, x1))
        mark = 1 + 0.075 * fine[at] + 0.10 * blotch[at]
        if (
            flemish and brick.kind == "stretcher" and rng.random() < 0.4
        ):  # darker bands where bricks lay crossed in the kiln
            x = np.linspace(0, 1, x1 - x0)[None]
            mark = mark * (1 - 0.22 * np.exp(-(((x - rng.uniform(0.2, 0.8)) / 0.16) ** 2)))
        colour[at] = tone * mark[..., None]
        height[at] = 0.00035 * fine[at] + 0.0003 * blotch[at]
        for _ in range(int(rng.integers(0, 7))):  # pits, grits and chips
            cx, cy = rng.integers(x0, x1), rng.integers(y0, y1)
            radius = int(rng.integers(1, max(2, round(0.004 * px_per_m))))
            dark = (tone * rng.uniform(0.35, 1.5)).tolist()
            cv2.circle(colour, (int(cx), int(cy)), radius, dark, -1, cv2.LINE_AA)
    below = np.clip(1 - (np.linspace(Y_SPAN[1], Y_SPAN[0], h) - Y_SPAN[0]) / 0.75, 0, 1)[:, None]
    weather = 1 + 0.07 * streak - 0.16 * below * (0.7 + 0.3 * blotch)
    return np.clip(colour * weather[..., None], 0.006, 0.9).astype(np.float32), height.astype(np.float32)


def _uv(points: FloatArray) -> FloatArray:
    """Planar texture coordinates; a point behind the face borrows the picture just beside its edge."""
    return np.column_stack(
        [(points[:, 0] - X_SPAN[0]) / (X_SPAN[1] - X_SPAN[0]), (Y_SPAN[1] - points[:, 1]) / (Y_SPAN[1] - Y_SPAN[0])]
    )


def _under_reference(house: House, brick: Brick) -> bool:
    """Is there a sheet over this brick? It lies flat, so those bricks do."""
    return any(
        brick.x0 < r.centre[0] + 0.17
        and brick.x1 > r.centre[0] - 0.17
        and brick.y0 < r.centre[1] + 0.13
        and brick.y1 > r.centre[1] - 0.13
        for r in house.references
        if r.side == "outside"
    )


def face(model: Model, house: House, bricks: list[Brick]) -> None:
    """Bricks as bevelled blocks in front of a bed of mortar with the opening left out."""
    rng = np.random.default_rng(house.seed + 78)
    jambs = {round(x, 3) for x in np.array(house.opening_outside)[:, 0]}
    for brick in bricks:
        near_opening = any(abs(v - j) < 0.012 for v in (brick.x0, brick.x1) for j in jambs)
        flat = near_opening or _under_reference(house, brick)
        z = 0.0 if flat or brick.kind == "soldier" else rng.normal(0, 0.0010)
        worn = rng.uniform(0.0020, 0.0038) if house.bond == "flemish" else rng.uniform(0.0012, 0.0024)
        tilt = rng.normal(0, 0.0007, 4) * (0 if flat else 1)
        wobble = rng.normal(0, 0.0007, (4, 2)) * (0 if flat else 1)
        outline = (
            np.array([(brick.x0, brick.y0), (brick.x1, brick.y0), (brick.x1, brick.y1), (brick.x0, brick.y1)]) + wobble
        )
        inner = outline + np.array([(worn, worn), (-worn, worn), (-worn, -worn), (worn, -worn)])
        front = np.column_stack([inner, z + tilt])
        edge = np.column_stack([outline, z + tilt - 0.6 * worn])
        back = np.column_stack([outline, np.full(4, -0.016)])
        model.quad("brick", front, _uv(front))
        for a in range(4):
            b = (a + 1) % 4
            for near, far in ((front, edge), (edge, back)):
                points = np.array([near[a], near[b], far[b], far[a]])
                model.quad("brick", points, _uv(points))
    bed = np.array([(X_SPAN[0], Y_SPAN[0]), (X_SPAN[1], Y_SPAN[0]), (X_SPAN[1], Y_SPAN[1]), (X_SPAN[0], Y_SPAN[1])])
    hole = np.array(house.opening_outside)
    for a in range(4):
        b = (a + 1) % 4
        points = np.column_stack([np.array([bed[a], bed[b], hole[b], hole[a]]), np.full(4, -MORTAR_BACK)])
        model.quad("brick", points, _uv(points))
    _opening(model, house)


def _opening(model: Model, house: House) -> None:
    hole = np.column_stack([np.array(house.opening_outside), np.zeros(4)])
    x0, y0, x1, y1 = frame_rectangle_outside(house)
    rear = np.array([(x0, y0, -house.outer), (x1, y0, -house.outer), (x1, y1, -house.outer), (x0, y1, -house.outer)])
    for a, b, sign in ((1, 2, 1), (2, 3, 0), (3, 0, -1)):
        points = np.array([hole[a], hole[b], rear[b], rear[a]])
        points[:2, 2] = -0.0012
        borrowed = points.copy()
        borrowed[:, 0] += sign * -points[:, 2]  # the brick's own picture, folded round its corner
        borrowed[:, 1] += (sign == 0) * -points[:, 2]
        model.quad("brick", points, _uv(borrowed))
    window(model, (x0, y0, x1, y1), -house.outer, house, inside=False)
    depth = -house.outer - house.frame
    z = -house.outer - 0.040
    model.decal("glass", [(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)])
    model.box("dark", (x0 - 0.1, y0 - 0.1, depth - 0.02), (x1 + 0.1, y1 + 0.1, depth - 0.01))
    sl, sr = hole[0], hole[1]
    out, thick = 0.045, house.course - 0.0095
    along = np.array([sill_horn(house), 0, 0])
    if house.bond == "flemish":  # a stone sill, built in 100 mm each side, its top the opening's lower edge
        profile = [
            (-house.outer - 0.01, 0.0),
            (0.0, 0.0),
            (out - 0.004, -0.004),
            (out, -0.009),
            (out, -thick),
            (out - 0.012, -thick),
            (out - 0.016, -thick + 0.008),
            (out - 0.022, -thick),
            (-house.outer - 0.01, -thick),
        ]
        model.extrude("stone", profile, sl - along, sr + along, ((0, 0, 1), (0, 1, 0)))
    else:  # clay tiles in three stepped rows
        model.extrude(
            "stone",
            [
                (-house.outer - 0.01, 0.0),
                (0.0, 0.0),
                (out, -0.005),
                (out, -0.020),
                (out - 0.015, -0.022),
                (out - 0.015, -0.042),
                (0.012, -0.044),
                (0.012, -thick),
                (-house.outer - 0.01, -thick),
            ],
            sl - along,
            sr + along,
            ((0, 0, 1), (0, 1, 0)),
        )


def surroundings(model: Model, house: House) -> None:
    """Ground and a downpipe."""
    model.quad(
        "ground",
        [
            (-8, Y_SPAN[0] + 0.07, 0.0),
            (12, Y_SPAN[0] + 0.07, 0.0),
            (12, Y_SPAN[0] - 0.05, 9),
            (-8, Y_SPAN[0] - 0.05, 9),
        ],
    )
    x = 3.55 if house.bond == "flemish" else 3.72
    model.pipe("pipe", (x, Y_SPAN[0], 0.075), (x, Y_SPAN[1], 0.075), 0.036, 28)
    for y in (0.05, 1.75):
        model.pipe("pipe", (x, y, 0.075), (x, y + 0.075, 0.075), 0.047, 28)
        model.box("pipe", (x - 0.075, y + 0.02, 0.0), (x + 0.075, y + 0.055, 0.03), 0.006)


def materials(house: House, bricks: list[Brick], detail: float) -> dict[str, Material]:
    """What the outside is made of; ``detail`` 1 paints the face at 0.8 mm a pixel."""
    colour, height = paint(house, bricks, 1250 * detail)
    rng = np.random.default_rng(house.seed + 79)
    made: dict[str, Material] = {
        "brick": {"picture": colour, "height": height, "tile": 1.0, "roughness": None},
        "stone": {
            "picture": tx.shade(
                tx.linear(176, 170, 156) if house.bond == "flemish" else tx.linear(128, 66, 52),
                1 + 0.08 * tx.noise(rng, (1024, 1024), 2, 60, 0.7),
            ),
            "tile": 0.7,
            "height": None,
            "roughness": None,
        },
        "ground": {
            "picture": tx.shade(tx.linear(96, 104, 62), 1 + 0.35 * tx.noise(rng, (1024, 1024), 3, 40, 0.5)),
            "tile": 1.1,
            "height": None,
            "roughness": None,
        },
    }
    return made
