"""Random rooms, cameras and picture styles for studies. Every figure is invented; the same seed gives the same room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.scenes import Opening, Reference, Room, Style, Thing
from tests.scenes_draw import Camera, FloatArray, Rgb

FINISHES = ("paint", "plaster", "woodchip", "wallpaper")


def random_room(
    rng: np.random.Generator,
    *,
    references: Sequence[str] = ("sheet",),
    things: int = 3,
    flat: bool = True,
    opening: bool = True,
    tilt_mrad: float = 3.0,
) -> Room:
    """Return a wall 2.6 to 5 m wide with the named references ("sheet", "card", "a4") and a few fittings.

    Corners are out of square by a few millimetres; with ``flat`` False the plaster bulges and winds by millimetres.
    References lean by ``tilt_mrad`` (sd) and keep clear of the opening, the things and one another where they fit.
    """
    w, h = rng.uniform(2600, 5000), rng.uniform(2250, 2800)
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]]) + rng.normal(0, 3, (4, 2))
    corners -= corners[0]
    colour = _wall_colour(rng)
    taken: list[tuple[float, float, float, float]] = []
    window = _window(rng, w, h) if opening else None
    if window is not None:
        low, high = window.front_mm.min(axis=0) - 60, window.front_mm.max(axis=0) + 60
        taken.append((low[0], low[1], high[0], high[1]))
    seen = []
    numbers = rng.permutation(146)
    for k, kind in enumerate(references):
        reference = random_reference(rng, kind, number=int(numbers[k]), colour_of_wall=colour, tilt_mrad=tilt_mrad)
        rw, rh = reference.extent_mm
        half = 0.5 * float(np.hypot(rw, rh)) if abs(reference.turn_deg) > 8 else 0.5 * rw + 15
        place = _free_place(
            rng, (w, h), (half, half if abs(reference.turn_deg) > 8 else 0.5 * rh + 15), taken, (700, h - 500)
        )
        if place is None:
            continue
        taken.append((place[0] - half - 20, place[1] - half - 20, place[0] + half + 20, place[1] + half + 20))
        seen.append(_moved(reference, place))
    return Room(
        corners_mm=corners,
        opening=window,
        references=tuple(seen),
        things=tuple(_things(rng, (w, h), taken, things)),
        bulge_mm=0.0 if flat else float(rng.normal(0, 3)),
        twist_mm=0.0 if flat else float(rng.normal(0, 2)),
        skirting_mm=float(rng.choice([0.0, 18.0])),
        colour=colour,
        finish=str(rng.choice(FINISHES, p=[0.5, 0.25, 0.15, 0.1])),
    )


def random_reference(
    rng: np.random.Generator,
    kind: str,
    *,
    number: int = 0,
    colour_of_wall: Rgb = (0.5, 0.5, 0.5),
    tilt_mrad: float = 3.0,
) -> Reference:
    """Return a reference at the wall's origin, slightly crooked, now and then turned a quarter or upside down."""
    turn = float(rng.normal(0, 2)) + float(rng.choice([0, 90, 180, 270], p=[0.8, 0.08, 0.06, 0.06]))
    lean = rng.normal(0, tilt_mrad, 2)
    colour: Rgb | None = None
    if kind == "card":
        hue = rng.uniform(0.02, 0.75, 3)
        grey = float(np.mean(colour_of_wall))
        if abs(float(np.mean(hue)) - grey) < 0.12:  # a colour that nearly vanishes on this wall is drawn elsewhere
            hue = hue * (0.4 if grey > 0.35 else 1.0) + (0.0 if grey > 0.35 else 0.25)
        colour = (float(hue[0]), float(hue[1]), float(hue[2]))
    (of_light,) = rng.spawn(1)  # draws of its own, so that all else stays what it was
    turned, low = of_light.normal(0, np.radians(60)), of_light.uniform(0.3, 1.4)
    shadow_share = float(of_light.uniform(0.15, 0.45))
    side, stripe = _side_and_stripe(of_light, colour) if colour else (None, None)
    # What is lost of the light from all round comes back in part from the side face, or from the paper's underside.
    back = float(np.mean(side)) if side else 0.4
    return Reference(
        kind=kind,
        centre_mm=(0.0, 0.0),
        shadow=(float(low * np.sin(turned)), float(-low * np.cos(turned))),
        shadow_share=shadow_share,
        dim=float(of_light.uniform(0.3, 0.9) * (1 - back)),
        side=side,
        stripe=stripe,
        number=number,
        turn_deg=turn,
        tilt_mrad=(float(lean[0]), float(lean[1])),
        stand_off_mm=1.0 if kind == "card" else 0.6,
        colour=colour,
    )


def _side_and_stripe(rng: np.random.Generator, colour: Rgb) -> tuple[Rgb, Rgb | None]:
    """Return the colours of a card's side face (its own, or a white core's) and of a stripe over its whole width."""
    white, lit = rng.random() < 0.5, rng.uniform(0.6, 1.1)
    side = [lit * (0.75 if white else 0.85 * c + 0.03) for c in colour]
    dark, whole = rng.random() < 0.4, rng.random() < 0.5
    stripe: Rgb | None = (
        (0.03, 0.03, 0.035) if dark else (0.55 * colour[0] + 0.3, 0.55 * colour[1] + 0.3, 0.55 * colour[2] + 0.3)
    )
    return (side[0], side[1], side[2]), stripe if whole else None


def random_camera(
    rng: np.random.Generator,
    room: Room,
    *,
    size_px: tuple[int, int] = (2016, 1512),
    aim_mm: tuple[float, float] | None = None,
    distance_mm: tuple[float, float] | None = None,
    angle_deg: float = 35.0,
) -> Camera:
    """Return a phone held at 1.2 to 1.75 m, aimed at a place on the wall (its middle unless given).

    ``distance_mm`` is the range of distances from the wall (default 1.2 to 4.5 m), ``angle_deg`` the largest angle
    sideways. Focal length, centre and distortion vary as phones' main lenses do.
    """
    width, height = size_px
    aim = np.array([*(aim_mm or (room.width_mm / 2, room.height_mm / 2)), 0.0])
    aim[:2] += rng.normal(0, 60, 2)
    away = rng.uniform(*(distance_mm or (1200.0, 4500.0)))
    yaw = np.radians(rng.uniform(-angle_deg, angle_deg))
    position = np.array([aim[0] + away * np.tan(yaw), rng.uniform(1200, 1750), away])
    return look_at(
        position,
        aim,
        size_px=size_px,
        focal_px=max(width, height) * rng.uniform(0.66, 0.75),
        centre_shift_px=rng.normal(0, 0.004 * max(width, height), 2),
        k1=float(rng.normal(0, 0.015)),
        k2=float(rng.normal(0, 0.006)),
        roll_deg=float(rng.normal(0, 1.5)),
    )


def look_at(
    position_mm: FloatArray,
    aim_mm: FloatArray,
    *,
    size_px: tuple[int, int],
    focal_px: float,
    centre_shift_px: FloatArray | tuple[float, float] = (0.0, 0.0),
    k1: float = 0.0,
    k2: float = 0.0,
    roll_deg: float = 0.0,
) -> Camera:
    """Return the camera at a place, looking at a place, with the picture's upright axis vertical but for the roll."""
    ahead = np.asarray(aim_mm, float) - np.asarray(position_mm, float)
    ahead = ahead / np.linalg.norm(ahead)
    right = np.cross(ahead, [0.0, 1.0, 0.0])
    right = right / np.linalg.norm(right)
    down = np.cross(ahead, right)
    roll = np.radians(roll_deg)
    spin = np.array([[np.cos(roll), np.sin(roll), 0], [-np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    rotation = spin @ np.array([right, down, ahead])
    return Camera(
        width_px=size_px[0],
        height_px=size_px[1],
        focal_px=float(focal_px),
        centre_px=((size_px[0] - 1) / 2 + float(centre_shift_px[0]), (size_px[1] - 1) / 2 + float(centre_shift_px[1])),
        k1=k1,
        k2=k2,
        rotation=rotation,
        translation_mm=-rotation @ np.asarray(position_mm, float),
    )


def random_style(rng: np.random.Generator) -> Style:
    """Return light and processing as phones have them, from bright and clean to dim and noisy."""
    return Style(
        exposure=float(rng.uniform(0.45, 1.1)),
        gradient=(float(rng.uniform(-0.5, 0.5)), float(rng.uniform(-0.4, 0.4))),
        lamp=float(rng.choice([0.0, rng.uniform(0.1, 0.5)])),
        blur_px=float(rng.uniform(0.55, 1.2)),
        noise=float(rng.uniform(0.004, 0.025)),
        sharpen=float(rng.uniform(0.0, 0.7)),
        tone=float(rng.uniform(0.0, 0.3)),
        jpeg_quality=int(rng.integers(85, 97)),
    )


def _wall_colour(rng: np.random.Generator) -> Rgb:
    base = rng.uniform(0.25, 0.75)
    tint = rng.normal(1, 0.05, 3)
    return (
        float(np.clip(base * tint[0], 0.1, 0.85)),
        float(np.clip(base * tint[1], 0.1, 0.85)),
        float(np.clip(base * tint[2], 0.1, 0.85)),
    )


def _window(rng: np.random.Generator, w: float, h: float) -> Opening:
    ow, oh = rng.uniform(800, min(1900, 0.5 * w)), rng.uniform(900, 1300)
    x, y = rng.uniform(400, w - ow - 400), rng.uniform(750, min(950, h - oh - 150))
    box = np.array([[x, y], [x + ow, y], [x + ow, y + oh], [x, y + oh]])
    reveal = rng.uniform(90, 280)
    splay = reveal * rng.normal(0, 0.012, (4, 2))
    (of_shade,) = rng.spawn(1)  # draws of its own, so that all else stays what it was
    return Opening(
        front_mm=box + rng.normal(0, 2, (4, 2)),
        back_mm=box + splay,
        reveal_mm=float(reveal),
        outer_mm=float(rng.uniform(30, 110)),
        glass=float(rng.uniform(0.9, 1.8)),
        mullion=bool(rng.random() < 0.6),
        faces=float(of_shade.uniform(0.8, 1.7)),
        shade=float(of_shade.uniform(0.1, 0.6)),
        shade_mm=float(np.exp(of_shade.uniform(np.log(8.0), np.log(80.0)))),
    )


def _free_place(
    rng: np.random.Generator,
    size_mm: tuple[float, float],
    half_mm: tuple[float, float],
    taken: Sequence[tuple[float, float, float, float]],
    heights_mm: tuple[float, float],
) -> tuple[float, float] | None:
    for _ in range(200):
        x = rng.uniform(half_mm[0] + 60, size_mm[0] - half_mm[0] - 60)
        y = rng.uniform(max(half_mm[1] + 40, heights_mm[0]), min(size_mm[1] - half_mm[1] - 40, heights_mm[1]))
        clear = all(
            x + half_mm[0] < a or x - half_mm[0] > c or y + half_mm[1] < b or y - half_mm[1] > d for a, b, c, d in taken
        )
        if clear:
            return float(x), float(y)
    return None


def _moved(reference: Reference, centre_mm: tuple[float, float]) -> Reference:
    return replace(reference, centre_mm=centre_mm)


def random_thing(rng: np.random.Generator, kind: str | None = None) -> Thing:
    """Return a fitting or lookalike at the wall's origin: sizes as such things have them (from memory)."""
    kinds = {
        "framed_print": (rng.uniform(150, 600), rng.uniform(120, 500), 18, 0, tuple(rng.uniform(0.03, 0.5, 3))),
        "double_socket": (146, 86, 9, 4, (0.75, 0.75, 0.74)),
        "switch": (86, 86, 9, 4, (0.75, 0.75, 0.74)),
        "thermostat": (rng.uniform(80, 130), rng.uniform(75, 95), 26, 6, (0.7, 0.7, 0.7)),
        "airbrick": (225, 75, 6, 0, (0.4, 0.18, 0.12)),
        "phone": (147, 71, 8, 10, (0.05, 0.05, 0.06)),
        "hook_plate": (rng.uniform(18, 45), rng.uniform(30, 75), 2, 2, (0.4, 0.33, 0.15)),
        "calendar": (rng.choice([210, 297, 240]), rng.choice([210, 297, 340]), 2, 0, (0.78, 0.77, 0.75)),
        "radiator": (rng.uniform(600, 1500), rng.uniform(450, 600), 90, 8, (0.72, 0.72, 0.7)),
        "note": (76, 76, 0.3, 0, tuple(rng.uniform(0.3, 0.8, 3))),
        "blank_plate": (rng.choice([86, 146]), 86, 6, 3, (0.75, 0.75, 0.74)),
    }
    name = kind or str(rng.choice(list(kinds)))
    w, h, depth, radius, colour = kinds[name]
    return Thing(
        kind=name,
        left_mm=-float(w) / 2,
        bottom_mm=-float(h) / 2,
        width_mm=float(w),
        height_mm=float(h),
        depth_mm=float(depth),
        radius_mm=float(radius),
        colour=(float(colour[0]), float(colour[1]), float(colour[2])),
        turn_deg=float(rng.normal(0, 1.0)),
    )


def _things(
    rng: np.random.Generator, size_mm: tuple[float, float], taken: list[tuple[float, float, float, float]], count: int
) -> list[Thing]:
    out = []
    for _ in range(count):
        thing = random_thing(rng)
        half = (thing.width_mm / 2 + 15, thing.height_mm / 2 + 15)
        heights = (150.0, 700.0) if thing.kind in ("radiator", "double_socket") else (500.0, size_mm[1] - 100)
        place = _free_place(rng, size_mm, half, taken, heights)
        if place is None:
            continue
        taken.append((place[0] - half[0], place[1] - half[1], place[0] + half[0], place[1] + half[1]))
        out.append(replace(thing, left_mm=place[0] - thing.width_mm / 2, bottom_mm=place[1] - thing.height_mm / 2))
    return out
