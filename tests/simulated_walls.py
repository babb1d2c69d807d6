"""Feature-level truth: rooms and phones drawn at random, and what a person and the detectors would report of them.

Every nuisance of the measurement is drawn here with a spread at least as wide as the priors of the joint solution; the
table below is the whole of it. Nothing in this module is used by the product.

| nuisance | spread (standard deviation unless said) |
|---|---|
| focal length against its prior | 2 % (35 mm equivalent is a whole number), per photo 0.2 % |
| principal point | 20 px, per photo 3 px |
| k1, k2 | 0.02, 0.01 |
| direction of a wall's edge / an opening's edge | 3 mm/m / 5 mm/m |
| bulge across, bulge up, twist of the wall | 3 mm each |
| deflection of an edge at its middle, wall / opening | 2 mm / 0.7 mm |
| reference off the wall's plane | 10 mrad about each axis, 0.5 mm stand-off |
| size of an ID-1 card / A4 sheet | 0.08 % / 0.15 % (a case of its own: 0.39 %, cut within ISO 216's limits) |
| print scale of a sheet with its bar read | 0.10 % (0.25 mm on 250 mm), aspect 0.05 % |
| edge spread left in a reference's tags or outline | 0.1 px |
| corners of a reference, sheet / card / A4 | 0.1 / 0.15 / 0.15 px |
| clicks | 2 px |
| edge samples | 0.5 px, 15 along an edge; all of it shifted by 0.3 px (wall), 0.6 px (opening), 0.8 px (frame, foot) |
| side faces of a reveal | 12 mrad (splayed case: 50 mrad); back corner off its faces 2 mm; frame 3 mm/m |
| tape | class II tape with reading, as vision.lengths.tape_sd_mm |
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from vision.lengths import sizes_with_gradient, tape_sd_mm, wall_sizes
from vision.lens import Lens, project
from vision.measure import WallProblem
from vision.model import EDGES
from vision.pose import Pose
from vision.walls import (
    CORNERS,
    DeclaredOpening,
    DeclaredReference,
    DeclaredWall,
    EdgeTrace,
    FloatArray,
    Mark,
    Measured,
    Photo,
    ReferenceKind,
    Sighting,
)  # fmt: skip

WIDTH_PX, HEIGHT_PX = 4000, 3000
FOCAL_PX = 3000.0
SIZE = {"survey_sheet": (297.0, 210.0), "a4": (297.0, 210.0), "id1_card": (85.60, 53.98)}
SHARE = np.linspace(0.06, 0.94, 15)[:, None]
SPREAD_SD = 0.1
CORNER_SD = {"survey_sheet": 0.1, "a4": 0.15, "id1_card": 0.15}


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A reference on the wall: kind and the place of its middle as shares of the wall's width and height."""

    kind: ReferenceKind
    at: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A photo to be taken: yaw range [deg], distance [m], aimed at the wall's middle or the opening's."""

    yaw: tuple[float, float]
    distance_m: float
    of: str = "wall"


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One configuration of the study."""

    references: tuple[Placed, ...]
    photos: tuple[View, ...]
    edges: bool = True
    foot: bool = True  # the opening's foot is traced; a window board often hides it
    taped_width: bool = False
    splay: float = 0.012
    skirting_mm: float = 0.0
    a4_sd: float = 0.0015
    size_prior_a4: float = 0.0015
    click_px: float = 2.0


@dataclass(slots=True, kw_only=True)
class Case:
    """One drawn survey: the problem as the engine gets it, and the truth."""

    problem: WallProblem
    truth: dict[str, float]
    points: dict[str, FloatArray]
    cameras: dict[str, tuple[Pose, Lens]]
    edge_traces: tuple[EdgeTrace, ...] = field(default=())

    def project(self, photo: str, points_mm: FloatArray) -> FloatArray:
        """Return the true pixels of wall points (n, 3)."""
        pose, lens = self.cameras[photo]
        return project(pose.camera(points_mm), lens)


def two_sheets_three_photos() -> Setting:
    """Return the configuration that orders are made from."""
    return Setting(
        references=(Placed(kind="survey_sheet", at=(0.12, 0.25)), Placed(kind="survey_sheet", at=(0.88, 0.75))),
        photos=(
            View(yaw=(-6, 6), distance_m=3.7),
            View(yaw=(-30, -20), distance_m=3.7),
            View(yaw=(20, 30), distance_m=3.7),
        ),
    )


def look_at(eye_mm: FloatArray, target_mm: FloatArray, roll: float) -> Pose:
    """Return the pose of a camera at eye_mm that looks at target_mm, rolled by an angle [rad]."""
    forward = (target_mm - eye_mm) / np.linalg.norm(target_mm - eye_mm)
    right = np.cross(forward, np.array([0.0, 1.0, 0.0]))
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    c, s = np.cos(roll), np.sin(roll)
    rotation = np.stack([c * right + s * down, -s * right + c * down, forward])
    return Pose(rotation=rotation, translation_mm=-rotation @ eye_mm)


def near_rectangle(
    rng: np.random.Generator, x: float, y: float, w: float, h: float, slope_sd: float
) -> dict[str, FloatArray]:
    """Return four corners of a near-rectangle whose four edges have independent directions."""
    bottom, top, left, right = rng.normal(0.0, slope_sd, 4)

    def meet(p: FloatArray, slope_x: float, q: FloatArray, slope_y: float) -> FloatArray:
        # the point on the near-level line through p and on the near-plumb line through q
        A = np.array([[-slope_x, 1.0], [1.0, -slope_y]])
        return np.linalg.solve(A, np.array([p[1] - slope_x * p[0], q[0] - slope_y * q[1]]))

    low, high = np.array([x + w / 2, y]), np.array([x + w / 2, y + h])
    west, east = np.array([x, y + h / 2]), np.array([x + w, y + h / 2])
    return {
        "bottom_left": meet(low, bottom, west, left), "bottom_right": meet(low, bottom, east, right),
        "top_right": meet(high, top, east, right), "top_left": meet(high, top, west, left),
    }  # fmt: skip


def _surface(rng: np.random.Generator, w: float, h: float) -> tuple[FloatArray, FloatArray]:
    return rng.normal(0.0, 3.0, 3), np.array([w / 2, h / 2])


def _height(xy: FloatArray, bend: FloatArray, half: FloatArray) -> FloatArray:
    u, v = ((xy - half) / half).T
    return np.asarray(bend[0] * u**2 + bend[1] * v**2 + bend[2] * u * v)


def simulate(setting: Setting, rng: np.random.Generator) -> Case:
    """Return one survey drawn from the spreads of the table above."""
    w, h = 4000.0 + rng.uniform(-300, 300), 2400.0 + rng.uniform(-100, 150)
    wall = near_rectangle(rng, 0.0, 0.0, w, h, 3e-3)
    ow, oh = rng.uniform(1000, 1400), rng.uniform(1000, 1300)
    ox, oy = rng.uniform(0.25, 0.75) * (w - ow), rng.uniform(750, 950)
    front = near_rectangle(rng, ox, oy, ow, oh, 5e-3)
    origin = wall["bottom_left"]
    bend, half = _surface(rng, w, h)
    depth = rng.uniform(100.0, 300.0)
    faces = rng.normal(0.0, setting.splay, 4)
    tilt = rng.normal(0.0, 3e-3, 2)
    warp = rng.normal(0.0, 2.0, (4, 2))
    plane: dict[str, FloatArray] = {f"wall/{c}": p for c, p in wall.items()}
    plane.update({f"w1/{c}": p for c, p in front.items()})
    points = {name: np.array([*p, _height(p[None], bend, half)[0]]) for name, p in plane.items()}
    middle = np.mean(list(front.values()), axis=0)
    for i, c in enumerate(CORNERS):
        p = points[f"w1/{c}"]
        slope = np.array([faces[0] if "left" in c else faces[1], faces[2] if "bottom" in c else faces[3]])
        back = p[:2] + depth * slope + warp[i]
        points[f"w1/back/{c}"] = np.array([*back, p[2] - depth - tilt @ (p[:2] - middle)])
    cameras = _cameras(setting, rng, w, h, middle)
    photos = tuple(
        Photo(file=file, width_px=WIDTH_PX, height_px=HEIGHT_PX, phone="phone", focal_px=FOCAL_PX,
              focal_rel_sd=0.02, centre_sd_px=20.0) for file in cameras
    )  # fmt: skip
    sizes = wall_sizes(set(plane), ["w1"], [])
    values, _ = sizes_with_gradient(sizes, plane)
    truth = dict(zip(sizes, (float(v) for v in values), strict=True))
    seen_back = set()
    marks, proud = [], setting.skirting_mm
    for file, camera in cameras.items():
        for name, p in points.items():
            px = _seen(camera, p, proud if name.startswith("wall/bottom") else 0.0)
            quad, *face, corner = name.split("/")
            if px is None or (face and not _visible(camera[0], points[f"w1/{corner}"], p, points)):
                continue
            if face:
                seen_back.add(corner)
            click = px + rng.normal(0.0, setting.click_px, 2)
            marks.append(Mark(
                photo=file, wall="north", point=corner, px=(float(click[0]), float(click[1])),
                opening="w1" if quad == "w1" else None,
                face=("frame" if face else "wall") if quad == "w1" else None,
                proud_mm=proud if name.startswith("wall/bottom") else 0.0, sd_px=setting.click_px,
            ))  # fmt: skip
    if seen_back:
        truth["openings.w1.reveal_depth_mm"] = float(np.mean([
            points[f"w1/{c}"][2] - points[f"w1/back/{c}"][2] for c in seen_back
        ]))  # fmt: skip
    references, sightings = _references(setting, rng, cameras, w, h, bend, half)
    taped = (
        {"width_mm": truth["width_mm"] + rng.normal(0.0, tape_sd_mm(truth["width_mm"]))} if setting.taped_width else {}
    )
    traces = tuple(_edges(rng, cameras, points, bend, half, setting.foot)) if setting.edges else ()
    shift = np.array([*origin, 0.0])
    return Case(
        problem=WallProblem(
            wall=DeclaredWall(id="north", openings=(DeclaredOpening(id="w1"),), taped=taped), photos=photos,
            marks=tuple(marks), sightings=tuple(sightings), references=tuple(references), edges=traces,
        ),
        truth=truth, points={n: p - shift for n, p in points.items()},
        cameras={
            f: (Pose(rotation=p.rotation, translation_mm=p.translation_mm + p.rotation @ shift), lens)
            for f, (p, lens) in cameras.items()
        },
    )  # fmt: skip


def _cameras(
    setting: Setting, rng: np.random.Generator, w: float, h: float, opening: FloatArray
) -> dict[str, tuple[Pose, Lens]]:
    focal = FOCAL_PX * np.exp(rng.normal(0.0, 0.02))
    centre = np.array([(WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2]) + rng.normal(0.0, 20.0, 2)
    k1, k2 = rng.normal(0.0, 0.02), rng.normal(0.0, 0.01)
    cameras = {}
    for i, view in enumerate(setting.photos):
        yaw = np.radians(rng.uniform(*view.yaw))
        target = np.array([w / 2, h / 2, 0.0]) if view.of == "wall" else np.array([*opening, 0.0])
        distance = 1000.0 * view.distance_m * rng.uniform(0.97, 1.05)
        eye = target + distance * np.array([np.sin(yaw), 0.0, np.cos(yaw)])
        eye[1] += rng.uniform(50.0, 450.0)
        aim = target + np.array([*rng.normal(0.0, 40.0, 2), 0.0])
        own = np.exp(rng.normal(0.0, 0.002))
        middle = centre + rng.normal(0.0, 3.0, 2)
        lens = Lens(focal_px=focal * own, cx_px=middle[0], cy_px=middle[1], k1=k1, k2=k2)
        cameras[f"photo{i}.jpg"] = (look_at(eye, aim, float(rng.normal(0.0, 0.01))), lens)
    return cameras


def _seen(camera: tuple[Pose, Lens], p: FloatArray, proud: float = 0.0) -> FloatArray | None:
    inside_camera = camera[0].camera((p + np.array([0.0, 0.0, proud]))[None])
    if np.linalg.norm(inside_camera[0, :2]) > 1.0 * inside_camera[0, 2]:
        return None  # far outside the picture the distortion polynomial folds back
    px = project(inside_camera, camera[1])[0]
    inside = 4 < px[0] < WIDTH_PX - 5 and 4 < px[1] < HEIGHT_PX - 5
    return px if inside else None


def _visible(pose: Pose, front: FloatArray, back: FloatArray, points: Mapping[str, FloatArray]) -> bool:
    """Return whether the straight line from a back corner to the camera leaves through the opening."""
    eye = pose.centre_mm
    share = (front[2] - back[2]) / (eye[2] - back[2])
    through = back[:2] + share * (eye[:2] - back[:2])
    low = np.min([points[f"w1/{c}"][:2] for c in CORNERS], axis=0) - 3.0
    high = np.max([points[f"w1/{c}"][:2] for c in CORNERS], axis=0) + 3.0
    return bool(np.all(through > low) and np.all(through < high))


def _references(
    setting: Setting, rng: np.random.Generator, cameras: Mapping[str, tuple[Pose, Lens]], w: float, h: float,
    bend: FloatArray, half: FloatArray,
) -> tuple[list[DeclaredReference], list[Sighting]]:  # fmt: skip
    declared, sightings = [], []
    for n, placed in enumerate(setting.references):
        width, height = SIZE[placed.kind]
        name = f"r{n}"
        if placed.kind == "survey_sheet":
            scale_sd = 0.001
            common, aspect = rng.normal(0.0, scale_sd), rng.normal(0.0, 5e-4)
            sx, sy = np.exp(common + aspect / 2), np.exp(common - aspect / 2)
            declared.append(DeclaredReference(
                id=name, kind=placed.kind, wall="north", number=n, width_mm=Measured(value=width, sd=0.0),
                height_mm=Measured(value=height, sd=0.0), scale_rel_sd=scale_sd,
            ))  # fmt: skip
            dx, dy = np.meshgrid([-136.0, -64.0, 64.0, 136.0], [92.0, 20.0, -20.0, -92.0])
            model = np.column_stack([dx.ravel(), dy.ravel()])
            outward = np.sign(np.column_stack([
                np.where(np.abs(model[:, 0]) > 100, model[:, 0], -model[:, 0]),
                np.where(np.abs(model[:, 1]) > 56, model[:, 1], -model[:, 1]),
            ]))  # fmt: skip
        else:
            sd = 0.0008 if placed.kind == "id1_card" else setting.a4_sd
            stated = 0.0008 if placed.kind == "id1_card" else setting.size_prior_a4
            # ISO 216 allows +-2 mm on 297 and 210: draw again beyond it
            while True:
                sx, sy = np.exp(rng.normal(0.0, sd, 2))
                if placed.kind != "a4" or (abs(sx - 1) * width <= 2.0 and abs(sy - 1) * height <= 2.0):
                    break
            declared.append(DeclaredReference(
                id=name, kind=placed.kind, wall="north", width_mm=Measured(value=width, sd=width * stated),
                height_mm=Measured(value=height, sd=height * stated),
            ))  # fmt: skip
            model = np.array([[-width, height], [width, height], [width, -height], [-width, -height]]) / 2
            outward = np.sign(model)
        at = np.array([placed.at[0] * w, placed.at[1] * h]) + rng.uniform(-60, 60, 2)
        turn, tilt = rng.normal(0.0, 0.02), rng.normal(0.0, 0.010, 2)
        c, s = np.cos(turn), np.sin(turn)
        R = np.array([[c, -s], [s, c]])
        offset = (model * np.array([sx, sy])) @ R.T
        step = 1e-3
        slope = np.array([
            (_height((at + d)[None], bend, half)[0] - _height((at - d)[None], bend, half)[0]) / (2 * step)
            for d in (np.array([step, 0.0]), np.array([0.0, step]))
        ])  # fmt: skip
        stand = (0.9 if placed.kind == "id1_card" else 0.5) + rng.normal(0.0, 0.5)
        z = _height(at[None], bend, half)[0] + stand + offset @ (slope + tilt)
        world = np.column_stack([at + offset, z])
        out3 = np.column_stack([outward @ R.T, outward @ R.T @ (slope + tilt)])
        for file, camera in cameras.items():
            px = project(camera[0].camera(world), camera[1])
            if not np.all((px > 2) & (px < np.array([WIDTH_PX, HEIGHT_PX]) - 3)):
                continue
            ahead = project(camera[0].camera(world + out3 * 0.5), camera[1]) - px
            # each of the two edges that meet at the corner moves outwards by one pixel
            scale = np.linalg.norm(ahead, axis=1, keepdims=True) / np.sqrt(2.0)
            spread = ahead / np.maximum(scale, 1e-9)
            sd_px = CORNER_SD[placed.kind]
            seen = px + rng.normal(0.0, SPREAD_SD) * spread + rng.normal(0.0, sd_px, px.shape)
            sightings.append(Sighting(
                reference=name, kind=placed.kind, photo=file, model_mm=model, points_px=seen,
                sd_px=np.full(len(px), sd_px), bloom_px=spread, spread_sd_px=SPREAD_SD,
                corners_px=seen[[0, 3, 15, 12]] if len(px) == 16 else seen,
                number=n if placed.kind == "survey_sheet" else None,
            ))  # fmt: skip
    return declared, sightings


def _edges(
    rng: np.random.Generator, cameras: Mapping[str, tuple[Pose, Lens]], points: Mapping[str, FloatArray],
    bend: FloatArray, half: FloatArray, foot: bool,
) -> list[EdgeTrace]:  # fmt: skip
    traces = []
    bows = {(quad, edge): rng.normal(0.0, 2.0 if quad == "wall" else 0.7) for quad in ("wall", "w1") for edge in EDGES}
    for file, camera in cameras.items():
        for (quad, edge), bow in bows.items():
            a, b = (points[f"{quad}/{c}"][:2] for c in EDGES[edge])
            across = np.array([0.0, 1.0]) if edge in ("bottom", "top") else np.array([1.0, 0.0])
            xy = (1 - SHARE) * a + SHARE * b + (bow * 4 * SHARE * (1 - SHARE)) * across
            if not foot and (quad, edge) == ("w1", "bottom"):
                continue
            face, shift_sd = ("wall", 0.3) if quad == "wall" else ("w1/wall", 0.8 if edge == "bottom" else 0.6)
            world = np.column_stack([xy, _height(xy, bend, half)])
            traces += _trace(rng, file, camera, world, (face, edge), shift_sd)
        for edge, ends in EDGES.items():
            fronts, backs = [points[f"w1/{c}"] for c in ends], [points[f"w1/back/{c}"] for c in ends]
            if all(_visible(camera[0], f, b, points) for f, b in zip(fronts, backs, strict=True)):
                traces += _trace(rng, file, camera, (1 - SHARE) * backs[0] + SHARE * backs[1], ("w1/frame", edge), 0.8)
    return traces


def _trace(
    rng: np.random.Generator, file: str, camera: tuple[Pose, Lens], world: FloatArray, edge: tuple[str, str],
    shift_sd: float,
) -> list[EdgeTrace]:  # fmt: skip
    px = project(camera[0].camera(world), camera[1])
    inside = np.array([_seen(camera, p) is not None for p in world])
    if np.sum(inside) < 8:
        return []
    along = px[inside][-1] - px[inside][0]
    normal = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    seen = px[inside] + rng.normal(0.0, 0.5, (int(inside.sum()), 2)) + rng.normal(0.0, shift_sd) * normal
    return [EdgeTrace(photo=file, edge=edge, points_px=seen, sd_px=np.full(len(seen), 0.5))]


def with_marks(case: Case, marks: tuple[Mark, ...]) -> WallProblem:
    """Return the case's problem with other marks."""
    return replace(case.problem, marks=marks)
