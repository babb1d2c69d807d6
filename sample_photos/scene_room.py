"""The room behind the measured wall: its shell, window, radiator, sockets and a few things that people own."""

from __future__ import annotations

from typing import Any

import numpy as np
import textures as tx
from houses import Feature, House, Reference, outside_point
from meshes import Model

Material = dict[str, Any]


def matt(colour: Any) -> Material:
    """A matt surface of one linear colour."""
    return {"colour": np.asarray(colour, np.float32), "tile": 1.0}


def gloss(colour: Any, roughness: float = 0.3) -> Material:
    """A painted or plastic surface with a sheen."""
    return {"colour": np.asarray(colour, np.float32), "roughness": roughness, "tile": 1.0}


def textured(picture: Any, tile: float, height: Any = None, roughness: float | None = None) -> Material:
    """A surface with a repeating picture and, it may be, a height map."""
    return {"picture": picture, "tile": tile, "height": height, "roughness": roughness}


def window(model: Model, rectangle: tuple[float, float, float, float], face: float, house: House, inside: bool) -> None:
    """A casement window whose frame fills ``rectangle`` (x0, y0, x1, y1), its near face at Z = ``face``."""
    x0, y0, x1, y1 = rectangle
    back = face - house.frame
    v = house.visible_frame
    model.ring(
        "frame",
        [(x0, y0, face), (x1, y0, face), (x1, y1, face), (x0, y1, face)],
        [(x0 + v, y0 + v, face), (x1 - v, y0 + v, face), (x1 - v, y1 - v, face), (x0 + v, y1 - v, face)],
    )
    for low, high in (
        ((x0, y0, back), (x0 + v, y1, face - 1e-4)),
        ((x1 - v, y0, back), (x1, y1, face - 1e-4)),
        ((x0, y0, back), (x1, y0 + v, face - 1e-4)),
        ((x0, y1 - v, back), (x1, y1, face - 1e-4)),
    ):
        model.box("frame", low, high)
    mullion = 0.058
    bays = np.linspace(x0 + v - mullion / 2, x1 - v + mullion / 2, house.lights + 1)
    for x in bays[1:-1]:
        model.box("frame", (x - mullion / 2, y0 + v, back), (x + mullion / 2, y1 - v, face), 0.003)
    for k in range(house.lights):
        a, b = bays[k] + mullion / 2, bays[k + 1] - mullion / 2
        c, d = y0 + v, y1 - v
        stile, near, far = 0.040, face - 0.014, face - 0.052
        for low, high in (
            ((a + 0.002, c + 0.002, far), (a + stile, d - 0.002, near)),
            ((b - stile, c + 0.002, far), (b - 0.002, d - 0.002, near)),
            ((a + stile, c + 0.002, far), (b - stile, c + stile + 0.012, near)),
            ((a + stile, d - stile, far), (b - stile, d - 0.002, near)),
        ):
            model.box("frame", low, high, 0.004)
        if house.built < 1930:  # one glazing bar across each light
            bar = c + 0.66 * (d - c)
            model.box("frame", (a + stile, bar - 0.010, far + 0.006), (b - stile, bar + 0.010, near - 0.004), 0.003)
        if inside:
            handle = b - stile / 2 if k % 2 == 0 else a + stile / 2
            middle = c + 0.45 * (d - c)
            model.box(
                "metal", (handle - 0.011, middle - 0.030, near), (handle + 0.011, middle + 0.030, near + 0.006), 0.002
            )
            model.box(
                "metal",
                (handle - 0.008, middle - 0.100, near + 0.014),
                (handle + 0.008, middle + 0.012, near + 0.026),
                0.004,
            )
            model.box(
                "metal",
                ((a + b) / 2 - 0.13, c + stile + 0.012, near - 0.004),
                ((a + b) / 2 + 0.13, c + stile + 0.022, near + 0.010),
                0.003,
            )


def radiator(model: Model, item: Feature) -> None:
    """A panel radiator with upright flutes, a top grille, brackets, valves and tails."""
    x0, y0, x1, y1, z = item.left, item.bottom, item.left + item.width, item.bottom + item.height, item.proud
    rail, skin = 0.032, z - 0.014
    model.box("enamel", (x0, y0, 0.034), (x1, y1, skin - 0.006))
    model.box("enamel", (x0, y0, skin - 0.006), (x1, y0 + rail, z), 0.005)
    model.box("enamel", (x0, y1 - rail, skin - 0.006), (x1, y1, z), 0.005)
    model.box("enamel", (x0, y0, skin - 0.006), (x0 + 0.022, y1, z), 0.005)
    model.box("enamel", (x1 - 0.022, y0, skin - 0.006), (x1, y1, z), 0.005)
    count = round((item.width - 0.044) / 0.0333)
    pitch = (item.width - 0.044) / count
    outline: list[tuple[float, float]] = []
    for k in range(count):
        a = x0 + 0.022 + k * pitch
        outline += [
            (a, 0.001),
            (a + 0.20 * pitch, 0.001),
            (a + 0.34 * pitch, 0.009),
            (a + 0.42 * pitch, 0.0115),
            (a + 0.76 * pitch, 0.0115),
            (a + 0.84 * pitch, 0.009),
        ]
    outline.append((x1 - 0.022, 0.001))
    model.extrude("enamel", outline, (0, y0 + rail, skin), (0, y1 - rail, skin), ((1, 0, 0), (0, 0, 1)), closed=False)
    for x in np.arange(x0 + 0.02, x1 - 0.02, 0.022):
        model.box("dark", (x, y1 + 0.0002, 0.042), (x + 0.012, y1 + 0.0006, z - 0.020))
    for x in (x0 + 0.16, x1 - 0.16):
        model.box("enamel", (x - 0.02, y0 + 0.10, 0.0), (x + 0.02, y1 - 0.10, 0.035))
    for x, sign in ((x0, -1), (x1, 1)):
        model.pipe("brass", (x, y0 + 0.035, 0.062), (x + sign * 0.045, y0 + 0.035, 0.062), 0.011)
        model.pipe("enamel", (x + sign * 0.045, -0.01, 0.062), (x + sign * 0.045, y0 + 0.060, 0.062), 0.0085)
    model.pipe("enamel", (x1 + 0.045, y0 + 0.045, 0.062), (x1 + 0.045, y0 + 0.125, 0.062), 0.021, 20)


def socket(model: Model, item: Feature) -> None:
    """A twin socket outlet: plate, switches and holes."""
    x0, y0, x1, y1, z = item.left, item.bottom, item.left + item.width, item.bottom + item.height, item.proud
    model.box("plastic", (x0, y0, 0.0), (x1, y1, z), 0.0016)
    for middle in (x0 + 0.25 * item.width, x0 + 0.75 * item.width):
        y = y0 + 0.40 * item.height
        model.box("hole", (middle - 0.0020, y + 0.0060, z), (middle + 0.0020, y + 0.0140, z + 0.0003))
        for dx in (-0.0110, 0.0110):
            model.box("hole", (middle + dx - 0.0032, y - 0.0145, z), (middle + dx + 0.0032, y - 0.0105, z + 0.0003))
        model.box("plastic", (middle - 0.006, y1 - 0.030, z), (middle + 0.006, y1 - 0.012, z + 0.0035), 0.0012)
        model.box("red", (middle - 0.003, y1 - 0.0145, z + 0.0035), (middle + 0.003, y1 - 0.0130, z + 0.0038))
    for dx in (0.0175, item.width - 0.0175):
        model.turned("metal", [(0.0, 0.0), (0.0035, 0.0)], (x0 + dx, y0 + item.height / 2, z + 0.0004), 16)


def references(model: Model, house: House, side: str, materials: dict[str, Material]) -> None:
    """Sheets and cards stuck to a face."""
    for item in house.references:
        if item.side != side:
            continue
        rng = np.random.default_rng([house.seed, sum(item.id.encode())])
        materials[f"ref_{item.id}"] = textured(tx.reference_face(item, rng), 1.0)
        corners = item.corners()
        if item.kind == "id1_card":
            _card(model, item)
            continue
        model.decal(f"ref_{item.id}", corners)
        right, up = (corners[1] - corners[0]) / item.size[0], (corners[3] - corners[0]) / item.size[1]
        if item.kind == "survey_sheet":
            for end in (-1, 1):  # a strip of masking tape over the middle of the long edges
                middle = corners.mean(0) + end * up * item.size[1] / 2 + (0, 0, 0.0003)
                lean = right * 0.012 + up * 0.022
                over = right * 0.012 - up * 0.022
                model.quad("tape", [middle - lean, middle + over, middle + lean, middle - over])


def _card(model: Model, item: Reference) -> None:
    w, h = item.size
    r = 0.00318
    arc = np.linspace(0, np.pi / 2, 9)
    outline = np.concatenate(
        [
            np.column_stack([cx + r * np.cos(a0 + arc), cy + r * np.sin(a0 + arc)])
            for cx, cy, a0 in (
                (w / 2 - r, h / 2 - r, 0),
                (-w / 2 + r, h / 2 - r, np.pi / 2),
                (-w / 2 + r, -h / 2 + r, np.pi),
                (w / 2 - r, -h / 2 + r, 1.5 * np.pi),
            )
        ]
    )
    corners = item.corners()
    right, up = (corners[1] - corners[0]) / w, (corners[3] - corners[0]) / h
    points = corners.mean(0) + outline[:, :1] * right + outline[:, 1:] * up
    uv = np.column_stack([outline[:, 0] / w + 0.5, 0.5 - outline[:, 1] / h])
    model.add(f"ref_{item.id}", points, [(0, i, i + 1) for i in range(1, len(points) - 1)], uv)
    low = points * (1, 1, 0)
    for i in range(len(points)):
        j = (i + 1) % len(points)
        model.quad("plastic", [points[i], points[j], low[j], low[i]])


def shell(model: Model, house: House) -> None:
    """Walls, floor, ceiling, skirting, reveals and window board."""
    wall = np.column_stack([np.array(house.corners), np.zeros(4)])
    front = np.column_stack([np.array(house.opening), np.zeros(4)])
    x0, y0, x1, y1 = house.opening_back
    rear = np.array(
        [(x0, y0, -house.reveal), (x1, y0, -house.reveal), (x1, y1, -house.reveal), (x0, y1, -house.reveal)]
    )
    deep = np.array([0, 0, house.depth])
    model.ring("wall", wall, front)
    bl, br, tr, tl = wall
    model.quad("side", [bl, bl + deep, tl + deep, tl])
    model.quad("side", [br, br + deep, tr + deep, tr])
    model.quad("floor", [bl, br, br + deep, bl + deep])
    model.quad("ceiling", [tl, tr, tr + deep, tl + deep])
    model.quad("side", [bl + deep, br + deep, tr + deep, tl + deep])
    for a, b in ((1, 2), (2, 3), (3, 0)):  # right jamb, head, left jamb
        model.quad("reveal", [front[a], front[b], rear[b], rear[a]])
    fbl, fbr = front[0], front[1]  # the board's top is the opening's lower edge; its nosing stands out in front
    model.quad("board", [fbl, fbr, rear[1], rear[0]])
    nose, thick = 0.028, 0.025
    along = np.array([0.045, 0, 0])
    outline = [
        (0.0, 0.0),
        (nose - 0.006, 0.0),
        (nose - 0.001, -0.004),
        (nose, -0.010),
        (nose - 0.001, -0.020),
        (nose - 0.007, -thick),
        (0.0, -thick),
    ]
    model.extrude("board", outline, fbl - along, fbr + along, ((0, 0, 1), (0, 1, 0)))
    s, h = house.skirting, house.skirting_height
    profile = [
        (0, 0),
        (s, 0),
        (s, h - 0.040),
        (s - 0.004, h - 0.036),
        (s - 0.005, h - 0.016),
        (s - 0.010, h - 0.004),
        (s - 0.013, h),
        (0, h),
    ]
    if h < 0.12:
        profile = [(0, 0), (s, 0), (s, h - 0.012), (s - 0.008, h), (0, h)]
    model.extrude("skirting", profile, bl, br, ((0, 0, 1), (0, 1, 0)), caps=False)
    window(model, house.opening_back, -house.reveal, house, inside=True)
    z = -house.reveal - house.frame
    for a, b in ((0, 1), (1, 2), (2, 3), (3, 0)):
        back = np.array(
            [
                outside_point(house, *p, 0.0)
                for p in (
                    house.opening_outside[1],
                    house.opening_outside[0],
                    house.opening_outside[3],
                    house.opening_outside[2],
                )
            ]
        )
        near = rear + np.array([0, 0, z - rear[0, 2]])
        model.quad("outer_reveal", [near[a], near[b], back[b], back[a]])


def belongings(model: Model, house: House) -> None:
    """A picture, a pendant lamp, a rug or curtains, a chair, something on the window board."""
    height = house.corners[2][1]
    px, py, pw, ph = (3.02, 1.28, 0.46, 0.36) if house.built < 1930 else (0.235, 1.82, 0.42, 0.32)
    model.ring(
        "wood",
        [(px, py, 0.022), (px + pw, py, 0.022), (px + pw, py + ph, 0.022), (px, py + ph, 0.022)],
        [
            (px + 0.03, py + 0.03, 0.016),
            (px + pw - 0.03, py + 0.03, 0.016),
            (px + pw - 0.03, py + ph - 0.03, 0.016),
            (px + 0.03, py + ph - 0.03, 0.016),
        ],
    )
    model.box("wood", (px, py, 0.002), (px + pw, py + ph, 0.0155))
    model.decal(
        "painting",
        [
            (px + 0.028, py + 0.028, 0.0161),
            (px + pw - 0.028, py + 0.028, 0.0161),
            (px + pw - 0.028, py + ph - 0.028, 0.0161),
            (px + 0.028, py + ph - 0.028, 0.0161),
        ],
    )
    lamp = (house.width / 2 + 0.12, 0.0, 1.35)
    flex = 0.42 if height > 2.5 else 0.17
    model.turned("plastic", [(0.0, height - 0.03), (0.03, height - 0.025), (0.045, height)], lamp)
    model.pipe("plastic", (lamp[0], height - flex, lamp[2]), (lamp[0], height - 0.02, lamp[2]), 0.004)
    drop = height - flex - 0.01
    model.turned(
        "shade", [(0.055, drop + 0.04), (0.095, drop - 0.01), (0.165, drop - 0.13), (0.168, drop - 0.14)], lamp
    )
    model.turned(
        "plastic",
        [
            (0.0, drop - 0.10),
            (0.026, drop - 0.085),
            (0.030, drop - 0.06),
            (0.018, drop - 0.02),
            (0.016, drop + 0.03),
            (0.0, drop + 0.03),
        ],
        lamp,
    )
    pot_x = (house.opening[0][0] + house.opening[1][0]) / 2 - 0.19
    pot = (pot_x, top := house.opening[0][1], -0.055)
    model.turned(
        "pot",
        [
            (0.0, 0.0),
            (0.038, 0.0),
            (0.052, 0.085),
            (0.057, 0.085),
            (0.057, 0.10),
            (0.050, 0.10),
            (0.048, 0.09),
            (0.0, 0.088),
        ],
        pot,
    )
    rng = np.random.default_rng(house.seed + 5)
    for _ in range(46):
        a, lean, long = rng.uniform(0, 2 * np.pi), rng.uniform(0.15, 0.9), rng.uniform(0.07, 0.16)
        out = np.array([np.cos(a) * np.sin(lean), np.cos(lean), np.sin(a) * np.sin(lean)])
        side = np.cross(out, (0, 1, 0)) * rng.uniform(0.10, 0.16)
        base = np.array(pot) + (0, 0.09, 0) + out * 0.015
        mid, tip = base + out * long * 0.55, base + out * long - np.array([0, long * 0.25 * lean, 0])
        tip[2] = min(max(tip[2], -house.reveal + 0.01), 0.06)
        model.add("leaf", [base, mid - side * long * 1.6, tip, mid + side * long * 1.6], [(0, 1, 2), (0, 2, 3)])
    if house.built < 1930:
        _chair(model, 0.98, 0.20)
        model.decal("rug", [(1.15, 0.010, 1.75), (2.95, 0.010, 1.75), (2.95, 0.010, 0.40), (1.15, 0.010, 0.40)])
        model.box("wood", (2.18, top, -0.10), (2.36, top + 0.030, 0.015), 0.003)
        model.box("red", (2.19, top + 0.031, -0.09), (2.35, top + 0.056, 0.01), 0.003)
    else:
        _curtains(model, house)


def _chair(model: Model, x: float, z: float) -> None:
    w, d = 0.36, 0.36
    for dx, dz, tall in ((0, 0, 0.84), (w, 0, 0.84), (0, d, 0.44), (w, d, 0.44)):
        model.box("wood", (x + dx - 0.016, 0.0, z + dz - 0.016), (x + dx + 0.016, tall, z + dz + 0.016), 0.004)
    model.box("seat", (x - 0.022, 0.44, z - 0.010), (x + w + 0.022, 0.462, z + d + 0.022), 0.006)
    for y in (0.58, 0.69, 0.79):
        model.box("wood", (x, y, z - 0.009), (x + w, y + 0.045, z + 0.009), 0.004)
    for y in (0.14, 0.24):
        model.box("wood", (x, y, z + d - 0.008), (x + w, y + 0.018, z + d + 0.008), 0.003)
        model.box("wood", (x - 0.008, y + 0.03, z), (x + 0.008, y + 0.048, z + d), 0.003)
        model.box("wood", (x + w - 0.008, y + 0.03, z), (x + w + 0.008, y + 0.048, z + d), 0.003)


def _curtains(model: Model, house: House) -> None:
    left, right, top = house.opening[0][0], house.opening[1][0], house.opening[2][1] + 0.085
    model.pipe("wood", (left - 0.42, top, 0.085), (right + 0.42, top, 0.085), 0.012)
    for start, end in ((left - 0.37, left - 0.17), (right + 0.17, right + 0.37)):
        model.box("wood", ((start + end) / 2 - 0.01, top - 0.02, 0.0), ((start + end) / 2 + 0.01, top + 0.02, 0.08))
        x = np.linspace(start, end, 90)
        fold = 0.085 + 0.022 * np.sin((x - start) / (end - start) * 11 * np.pi) + 0.006 * np.sin(97 * x)
        model.extrude(
            "curtain",
            np.column_stack([x, fold]),
            (0, 0.24, 0),
            (0, top - 0.014, 0),
            ((1, 0, 0), (0, 0, 1)),
            closed=False,
        )
