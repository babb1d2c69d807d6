"""Rendered brick faces with known truth: random bond, gauge, joints, weathering, paint, hidden parts and camera.

These pictures are rendered, not photographed. Brick sizes come from histories of brick sizes and BS EN 771 / the
published module; colours, wear and camera places are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.walls import Sighting

Picture = NDArray[np.uint8]
Rng = np.random.Generator

BONDS = ("stretcher", "flemish", "english", "english_garden", "flemish_garden", "header", "monk", "rat_trap")
NO_BOND = ("rendered", "pebble_dash", "tile_hung", "painted_smooth", "boarded", "rubble")

# Course heights, mm: metric 75; imperial 2 1/2 to 3 inch bricks with 3/8 inch joints (histories of brick sizes).
GAUGES_MM = (75.0, 73.0, 76.2, 82.6, 85.7)


@dataclass(frozen=True, kw_only=True)
class BrickScene:
    """One rendered outside photo and its truth. ``header_share`` is by count of bricks; None where no bond shows."""

    picture: Picture
    bond: str
    course_height_mm: float | None
    header_share: float | None
    stretcher_mm: float | None
    focal_px: float
    sightings: tuple[Sighting, ...]
    pose: NDArray[np.float64]
    traits: dict[str, object] = field(default_factory=dict)


def header_share(bond: str, *, stretcher_courses: int = 3) -> float:
    """Return headers as a share of all bricks by count, from the arithmetic of the pattern."""
    if bond == "english_garden":
        return 2.0 / (2.0 + stretcher_courses)
    return {
        "stretcher": 0.0,
        "flemish": 1 / 2,
        "english": 2 / 3,
        "flemish_garden": 1 / 4,
        "header": 1.0,
        "monk": 1 / 3,
        "rat_trap": 1 / 2,
    }[bond]


def course_units(bond: str, course: int, *, stretcher_courses: int = 3) -> tuple[str, float]:
    """Return the repeating unit of a course and its shift as a share of the unit's length."""
    odd = course % 2
    if bond == "stretcher":
        return "S", 0.5 * odd
    if bond == "header":
        return "H", 0.5 * odd
    if bond == "english":
        return ("S", 0.0) if odd else ("H", 0.5)
    if bond == "english_garden":
        place = course % (stretcher_courses + 1)
        return ("H", 0.5) if place == 0 else ("S", 0.5 * (place % 2))
    unit = {"flemish": "SH", "flemish_garden": "SSSH", "monk": "SSH", "rat_trap": "SH"}[bond]
    return unit, 0.5 * odd


def _noise(rng: Rng, shape: tuple[int, int], cell: float) -> NDArray[np.float32]:
    """Return smooth noise of unit spread with cells of about ``cell`` pixels."""
    small = (max(2, int(shape[0] / cell) + 2), max(2, int(shape[1] / cell) + 2))
    grid = rng.standard_normal(small).astype(np.float32)
    out: NDArray[np.float32] = cv2.resize(grid, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return out / max(float(out.std()), 1e-6)


_BRICKS = ((150, 72, 52), (168, 92, 62), (128, 62, 50), (190, 160, 110), (105, 85, 78), (175, 120, 85), (120, 98, 74))
_MORTARS = ((188, 180, 165), (205, 200, 190), (150, 142, 130), (95, 90, 86), (60, 57, 55), (200, 178, 140))


@dataclass(kw_only=True)
class _Wall:
    """A wall's face as a texture: colour (h, w, 3) 0..1 RGB, relief in mm, pixels a millimetre."""

    colour: NDArray[np.float32]
    relief: NDArray[np.float32]
    px_mm: float


def _lay_bricks(rng: Rng, bond: str, shape: tuple[int, int], px_mm: float, traits: dict[str, object]) -> _Wall:
    joint = float(rng.uniform(7.0, 13.0))
    if bond == "rat_trap":
        gauge, stretcher, header = 102.5 + joint, 215.0 + joint, 65.0 + joint
    else:
        gauge = float(rng.choice(GAUGES_MM)) * float(rng.uniform(0.99, 1.01))
        metric = abs(gauge - 75.0) < 1.0
        length = float(rng.uniform(213.0, 217.0) if metric else rng.uniform(216.0, 232.0))
        stretcher, header = length + joint, (length - joint) / 2.0 + joint
    courses_between = int(rng.choice([3, 5]))
    traits |= {"gauge_mm": gauge, "stretcher_mm": stretcher, "header_mm": header, "stretcher_courses": courses_between}
    base = np.array(_BRICKS[rng.integers(len(_BRICKS))], dtype=np.float32) / 255.0
    mortar = np.array(_MORTARS[rng.integers(len(_MORTARS))], dtype=np.float32) / 255.0
    if np.abs(base - mortar).sum() < 0.25:
        mortar = np.clip(mortar * (1.35 if mortar.mean() < 0.6 else 0.7), 0, 1)
    spread, burnt = float(rng.uniform(0.03, 0.12)), float(rng.choice([1.0, 1.0, 1.0, 0.72]))
    colour = np.empty((*shape, 3), np.float32)
    colour[:] = mortar * (1.0 + 0.05 * _noise(rng, shape, 3.0 * px_mm * 4)[..., None])
    face = np.zeros(shape, np.float32)
    n = int(shape[0] / (gauge * px_mm)) + 2
    origin, wander = float(rng.uniform(-1, 0)) * gauge, float(rng.uniform(0.3, 1.2))
    start = int(rng.integers(0, 12))
    for k in range(n):
        unit, shift = course_units(bond, k + start, stretcher_courses=courses_between)
        lengths = [stretcher if u == "S" else header for u in unit]
        x = -float(sum(lengths)) * (1.0 + shift) + float(rng.normal(0, 3.0))
        bottom = origin + k * gauge + float(rng.normal(0, wander))
        i = 0
        while x < shape[1] / px_mm:
            kind, nominal = unit[i % len(unit)], lengths[i % len(unit)]
            left, right = x + joint / 2 + rng.normal(0, 1.2), x + nominal - joint / 2 + rng.normal(0, 1.2)
            low, high = bottom + joint / 2 + rng.normal(0, 0.8), bottom + gauge - joint / 2 + rng.normal(0, 0.8)
            x0, x1, y0, y1 = (round(v * px_mm) for v in (left, right, low, high))
            x += nominal
            i += 1
            if x1 <= 0 or x0 >= shape[1] or y1 <= 0 or y0 >= shape[0]:
                continue
            tint = base * (1.0 + spread * rng.standard_normal() + 0.3 * spread * rng.standard_normal(3))
            box = (slice(max(y0, 0), y1), slice(max(x0, 0), x1))
            colour[box] = np.clip(tint * (burnt if kind == "H" else 1.0), 0.02, 1.0)
            face[box] = 1.0
    traits["joint_mm"] = joint
    grain = 0.05 * _noise(rng, shape, 2.0 + px_mm) + 0.06 * _noise(rng, shape, 25.0 * px_mm)
    colour *= 1.0 + (grain * (0.4 + 0.6 * face))[..., None]
    depth = {"flush": 0.4, "bucket": 2.5, "raked": 7.0}[str(traits["joints"])]
    relief = depth * cv2.GaussianBlur(face, (0, 0), 0.8 + 0.8 * px_mm) + 0.35 * _noise(rng, shape, 3.0 * px_mm + 1.0)
    return _Wall(colour=colour, relief=relief.astype(np.float32), px_mm=px_mm)


def _no_bond(rng: Rng, face: str, shape: tuple[int, int], px_mm: float) -> _Wall:
    tone = np.array(rng.choice([[0.85, 0.82, 0.75], [0.75, 0.73, 0.7], [0.62, 0.58, 0.5]]), np.float32)
    colour = np.empty((*shape, 3), np.float32)
    colour[:] = tone
    relief = np.zeros(shape, np.float32)
    if face in ("rendered", "painted_smooth"):
        colour *= 1.0 + 0.03 * _noise(rng, shape, 40 * px_mm)[..., None]
        relief = 0.5 * _noise(rng, shape, 3 * px_mm + 1)
    elif face == "pebble_dash":
        relief = 2.0 * _noise(rng, shape, 6 * px_mm + 1)
        colour *= 1.0 + 0.18 * _noise(rng, shape, 6 * px_mm + 1)[..., None]
    elif face == "boarded":
        board = float(rng.uniform(110, 180)) * px_mm
        y = np.arange(shape[0], dtype=np.float32)
        relief += (8.0 * (1.0 - (y % board) / board))[:, None]
        colour *= (
            1.0
            + 0.04 * cv2.resize(rng.standard_normal((shape[0] // 3 + 1, 4)).astype(np.float32), shape[::-1])[..., None]
        )
    elif face == "tile_hung":
        gauge, width = float(rng.uniform(95, 115)) * px_mm, 168.0 * px_mm
        colour[:] = np.array([0.55, 0.3, 0.22], np.float32)
        for k in range(int(shape[0] / gauge) + 1):
            band = slice(int(k * gauge), int((k + 1) * gauge))
            x = -width * (0.5 * (k % 2)) + rng.normal(0, 2)
            while x < shape[1]:
                box = (band, slice(max(int(x + 1), 0), max(int(x + width), 0)))
                colour[box] *= 1.0 + 0.08 * rng.standard_normal()
                colour[band, max(int(x), 0) : max(int(x + 1 + px_mm), 0)] *= 0.55
                x += width
            rows = np.arange(colour[band].shape[0], dtype=np.float32)
            relief[band] += (12.0 * (1.0 - rows / gauge))[:, None]
    else:
        stones = rng.uniform(0, 1, (int(shape[0] * shape[1] / (180 * px_mm) ** 2) + 4, 2)) * np.array(shape[::-1])
        sub = cv2.Subdiv2D((0, 0, shape[1] + 1, shape[0] + 1))
        for p in stones:
            sub.insert((float(p[0]), float(p[1])))
        facets, _ = sub.getVoronoiFacetList([])
        mask = np.zeros(shape, np.float32)
        for facet in facets:
            shade = float(1.0 + 0.15 * rng.standard_normal())
            poly = np.asarray(facet, np.float32).reshape(-1, 2)
            centre = poly.mean(axis=0)
            inner = (centre + (poly - centre) * 0.9).astype(np.int32)
            cv2.fillPoly(colour, [inner], tuple(float(v) for v in tone * shade * 0.8))
            cv2.fillPoly(mask, [inner], 1.0)
        relief = 6.0 * cv2.GaussianBlur(mask, (0, 0), 3.0)
    return _Wall(colour=np.clip(colour, 0, 1), relief=relief.astype(np.float32), px_mm=px_mm)


def _weather(rng: Rng, wall: _Wall, amount: float) -> None:
    shape = (wall.colour.shape[0], wall.colour.shape[1])
    stain = np.clip(1.0 + amount * 0.12 * _noise(rng, shape, 150 * wall.px_mm), 0.5, 1.4)
    wall.colour *= stain[..., None]
    salt = np.clip(_noise(rng, shape, 90 * wall.px_mm) - 1.6, 0, 1) * amount * 0.5
    wall.colour += salt[..., None] * (0.85 - wall.colour)


def _light(rng: Rng, wall: _Wall) -> NDArray[np.float32]:
    """Return the lit colour: relief shaded by a light from above and one side, and sky."""
    gx = cv2.Sobel(wall.relief, cv2.CV_32F, 1, 0, scale=1 / 8) * wall.px_mm
    gy = cv2.Sobel(wall.relief, cv2.CV_32F, 0, 1, scale=1 / 8) * wall.px_mm
    sun = np.array([rng.uniform(-0.7, 0.7), rng.uniform(0.3, 0.9), rng.uniform(0.5, 1.0)])
    sun /= np.linalg.norm(sun)
    share = float(rng.uniform(0.25, 0.8))
    norm = np.sqrt(1.0 + gx**2 + gy**2)
    direct = np.clip((-gx * sun[0] - gy * sun[1] + sun[2]) / norm, 0, None)
    lit = (1.0 - share) * (0.75 + 0.25 / norm) + share * direct / sun[2]
    shaded: NDArray[np.float32] = np.clip(wall.colour * lit[..., None], 0, 1).astype(np.float32)
    return shaded


def _pose(rng: Rng, oblique: float, focal: float, size: tuple[int, int], height_mm: float) -> NDArray[np.float64]:
    """Return the homography from wall millimetres (X right, Y up, origin at the middle of the view) to pixels."""
    away = rng.uniform(0, 2 * np.pi)
    yaw, pitch = oblique * np.cos(away), oblique * np.sin(away) * 0.7
    roll = np.radians(rng.normal(0, 1.5))
    cy, sy, cp, sp, cr, sr = (f(a) for a in (yaw, pitch, roll) for f in (np.cos, np.sin))
    turn = np.array([[cr, -sr, 0], [sr, cr, 0], [0, 0, 1]])
    turn = turn @ np.array([[1, 0, 0], [0, cp, -sp], [0, sp, cp]]) @ np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    flip = np.diag([1.0, -1.0, -1.0])
    rotation = turn @ flip
    distance = focal * height_mm / size[1]
    k = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    h = k @ np.column_stack([rotation[:, 0], rotation[:, 1], [0.0, 0.0, distance]])
    return np.asarray(h / h[2, 2])


def _hide(rng: Rng, picture: NDArray[np.float32], what: str) -> None:
    h, w = picture.shape[:2]
    if what == "pipe":
        x, wide = int(rng.uniform(0.15, 0.85) * w), int(rng.uniform(0.03, 0.06) * w)
        tone = float(rng.choice([0.05, 0.3, 0.8]))
        ramp = tone * (0.6 + 0.4 * np.sin(np.linspace(0.3, 2.8, wide))).astype(np.float32)
        picture[:, x : x + wide] = ramp[None, : picture[:, x : x + wide].shape[1], None]
    elif what == "plant":
        x, y = rng.uniform(0.1, 0.9) * w, h * rng.uniform(0.75, 1.0)
        for _ in range(int(rng.integers(250, 700))):
            centre = (int(x + rng.normal(0, 0.12 * w)), int(y - abs(rng.normal(0, 0.28 * h))))
            axes = (int(rng.uniform(4, 22)), int(rng.uniform(3, 12)))
            green = np.array([0.1, 0.22, 0.08]) * rng.uniform(0.6, 2.2)
            cv2.ellipse(picture, centre, axes, float(rng.uniform(0, 180)), 0, 360, [float(v) for v in green], -1)


def _sheet(rng: Rng, pose: NDArray[np.float64], shape: tuple[int, ...], at: tuple[float, float]) -> Sighting:
    """Return a survey sheet's sixteen tag corners as the finder would hand them over, seen to 0.15 px."""
    centres = np.array([[-100, 56], [100, 56], [100, -56], [-100, -56]], dtype=float)
    square = np.array([[-36, 36], [36, 36], [36, -36], [-36, -36]], dtype=float)
    model = (centres[:, None, :] + square[None, :, :]).reshape(-1, 2)
    points = project(pose, model + np.array(at)) + rng.normal(0, 0.15, model.shape)
    rim = np.array([[-148.5, 105], [148.5, 105], [148.5, -105], [-148.5, -105]])
    return Sighting(
        reference="sheet-1",
        kind="survey_sheet",
        photo="brick.jpg",
        model_mm=model,
        points_px=points,
        sd_px=np.full(len(model), 0.15),
        bloom_px=np.zeros_like(model),
        corners_px=project(pose, rim + np.array(at)),
        number=1,
    )


def project(pose: NDArray[np.float64], points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return pixels (n, 2) of wall points (n, 2) in mm."""
    q = np.column_stack([points_mm, np.ones(len(points_mm))]) @ pose.T
    return np.asarray(q[:, :2] / q[:, 2:])


def _draw_sheet(picture: NDArray[np.float32], pose: NDArray[np.float64], at: tuple[float, float]) -> None:
    def fill(points: NDArray[np.float64], tone: float) -> None:
        px = project(pose, points + np.array(at))
        cv2.fillConvexPoly(picture, np.round(px * 16).astype(np.int32), [tone] * 3, lineType=cv2.LINE_AA, shift=4)

    fill(np.array([[-148.5, 105], [148.5, 105], [148.5, -105], [-148.5, -105]]), 0.92)
    for cx in (-100, 100):
        for cy in (-56, 56):
            fill(np.array([[-36, 36], [36, 36], [36, -36], [-36, -36]]) + np.array([cx, cy]), 0.06)
            fill(np.array([[-15, 20], [10, 20], [10, -8], [-15, -8]]) + np.array([cx, cy]), 0.9)


def render_brick(
    rng: Rng,
    bond: str,
    *,
    width_px: int = 1600,
    oblique_deg: float | None = None,
    joints: str | None = None,
    painted: bool = False,
    hidden: str = "nothing",
    weathered: float | None = None,
    courses: float | None = None,
    blur_px: float | None = None,
    sheet: bool = True,
) -> BrickScene:
    """Return one rendered outside photo of a bond of ``BONDS`` or a face of ``NO_BOND`` with its truth."""
    size = (width_px, width_px * 3 // 4)
    traits: dict[str, object] = {
        "joints": joints or str(rng.choice(["flush", "bucket", "raked"])),
        "painted": painted,
        "hidden": hidden,
        "oblique_deg": float(rng.uniform(0, 35)) if oblique_deg is None else oblique_deg,
        "weathered": float(rng.uniform(0, 1)) if weathered is None else weathered,
    }
    focal = float(rng.uniform(0.72, 0.95)) * width_px
    height_mm = (float(rng.uniform(11, 30)) if courses is None else courses) * 76.0
    pose = _pose(rng, np.radians(float(str(traits["oblique_deg"]))), focal, size, height_mm)
    rim = np.array([[0, 0], [size[0] - 1, 0], [size[0] - 1, size[1] - 1], [0, size[1] - 1]], dtype=float)
    seen = project(np.asarray(np.linalg.inv(pose), dtype=float), rim)
    low, high = seen.min(axis=0) - 20, seen.max(axis=0) + 20
    px_mm = min(1.15 * size[1] / height_mm, float(np.sqrt(7.5e6 / np.prod(high - low))))
    shape = (int((high[1] - low[1]) * px_mm), int((high[0] - low[0]) * px_mm))
    plain = bond in NO_BOND
    wall = _no_bond(rng, bond, shape, px_mm) if plain else _lay_bricks(rng, bond, shape, px_mm, traits)
    _weather(rng, wall, float(str(traits["weathered"])))
    if painted:
        paint = np.array(rng.choice([[0.9, 0.9, 0.87], [0.85, 0.8, 0.7], [0.5, 0.55, 0.6]]), np.float32)
        wall.colour = paint * (1.0 + 0.02 * _noise(rng, shape, 60 * px_mm))[..., None]
        wall.relief = cv2.GaussianBlur(wall.relief, (0, 0), 1.2 * px_mm)
    lit = _light(rng, wall)
    to_texture = np.array([[px_mm, 0, -low[0] * px_mm], [0, -px_mm, high[1] * px_mm], [0, 0, 1.0]])
    picture: NDArray[np.float32] = cv2.warpPerspective(
        lit, pose @ np.linalg.inv(to_texture), size, flags=cv2.INTER_LINEAR
    )
    at = (float(rng.uniform(-0.25, 0.25) * height_mm), float(rng.uniform(-0.25, 0.25) * height_mm))
    if sheet:
        _draw_sheet(picture, pose, at)
    if hidden != "nothing":
        _hide(rng, picture, hidden)
    shadow = 1.0 + float(rng.uniform(-0.25, 0.25)) * np.linspace(-1, 1, size[0], dtype=np.float32)
    picture = picture * shadow[None, :, None]
    picture = cv2.GaussianBlur(picture, (0, 0), float(rng.uniform(0.5, 1.1)) if blur_px is None else blur_px)
    encoded = np.clip(picture, 0, 1) ** (1 / 1.6) * 255 + rng.normal(0, rng.uniform(1, 4), picture.shape)
    bgr = np.clip(encoded[..., ::-1], 0, 255).astype(np.uint8)
    _, packed = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 95))])
    photo = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)
    between = int(str(traits.get("stretcher_courses", 3)))
    return BrickScene(
        picture=photo,
        bond="none_to_read" if plain else bond,
        course_height_mm=None if plain else float(str(traits["gauge_mm"])),
        header_share=None if plain else header_share(bond, stretcher_courses=between),
        stretcher_mm=None if plain else float(str(traits["stretcher_mm"])),
        focal_px=focal,
        sightings=(_sheet(rng, pose, picture.shape, at),) if sheet else (),
        pose=pose,
        traits=traits | ({"face": bond} if plain else {}),
    )
