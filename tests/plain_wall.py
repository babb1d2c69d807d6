"""One small wall with a thing of every kind, and the model of it written a second time: plainly, one point at a time.

The engine gathers points in arrays and carries derivatives along; here a point is looked up by name, placed by school
geometry and photographed by the lens that OpenCV bears out. What both say must agree at any state of the unknowns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.simulated_walls import look_at
from vision import priors
from vision.lengths import tape_sd_mm
from vision.lens import Lens, project
from vision.model import State
from vision.observe import Observations
from vision.pose import Pose
from vision.problem import WallProblem
from vision.start import Guess, prior_lens
from vision.walls import (
    DeclaredOpening,
    DeclaredReference,
    DeclaredWall,
    EdgeTrace,
    FloatArray,
    Mark,
    Measured,
    Photo,
    Sighting,
)

PHOTOS = (
    Photo(file="a.jpg", width_px=4000, height_px=3000, phone="p", focal_px=3000.0, centre_sd_px=18.0, k1_sd=0.021),
    Photo(
        file="b.jpg", width_px=3000, height_px=4000, phone="p", focal_px=3010.0, focal_rel_sd=0.02, turn=1,
        centre_sd_px=30.0, k1_sd=0.015, k2_sd=0.013,
    ),
    Photo(file="c.jpg", width_px=4032, height_px=3024, phone="q", focal_px=2790.0, turn=None, centre_sd_px=7.0),
)  # fmt: skip
EYES = {"a.jpg": (1900.0, 1500.0, 4300.0), "b.jpg": (500.0, 1300.0, 4900.0), "c.jpg": (3300.0, 1400.0, 4000.0)}
CORNER = {
    "wall/bottom_left": (0.0, 0.0), "wall/bottom_right": (4010.0, 8.0), "wall/top_right": (4004.0, 2405.0),
    "wall/top_left": (-6.0, 2398.0),
    "w1/bottom_left": (1300.0, 900.0), "w1/bottom_right": (2500.0, 905.0), "w1/top_right": (2496.0, 2100.0),
    "w1/top_left": (1302.0, 2095.0),
    "d1/bottom_left": (2900.0, 10.0), "d1/bottom_right": (3700.0, 14.0),
    "s1/bottom_left": (400.0, 300.0), "s1/top_right": (486.0, 386.0),
}  # fmt: skip
DEPTH_MM = 180.0
SHEET = DeclaredReference(
    id="r0", kind="survey_sheet", wall="north", number=3, width_mm=Measured(value=297.0, sd=0.0),
    height_mm=Measured(value=210.0, sd=0.0), scale=1.01, scale_rel_sd=0.002,
)  # fmt: skip
SECOND = replace(SHEET, id="r2", number=4, scale=1.0, scale_rel_sd=0.001)
CARD = DeclaredReference(
    id="r1", kind="id1_card", wall="north", width_mm=Measured(value=85.6, sd=0.07),
    height_mm=Measured(value=53.98, sd=0.09),
)  # fmt: skip
PLACED = {"r0": (700.0, 1500.0, 0.03), "r1": (3200.0, 1400.0, -0.05), "r2": (3000.0, 1900.0, 0.01)}
TAPED = {"width_mm": 4011.0, "height_left_mm": 2400.0, "thickness_mm": 240.0}
SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)
ENDS = {
    "bottom": ("bottom_left", "bottom_right"), "right": ("bottom_right", "top_right"),
    "top": ("top_left", "top_right"), "left": ("bottom_left", "top_left"),
}  # fmt: skip
TRACED = (
    ("a.jpg", "wall", "left", 0.0), ("a.jpg", "wall", "bottom", 18.0), ("b.jpg", "wall", "left", 0.0),
    ("b.jpg", "w1/wall", "top", 0.0), ("c.jpg", "w1/wall", "bottom", 0.0), ("c.jpg", "w1/frame", "left", 0.0),
    ("a.jpg", "w1/frame", "top", 0.0),
)  # fmt: skip


def pose_of(file: str) -> Pose:
    """Return where a photo was taken from."""
    eye = np.array(EYES[file])
    return look_at(eye, np.array([2000.0, 1200.0, 0.0]), 0.02)


def seen_from(file: str, xyz: tuple[float, float, float] | FloatArray) -> FloatArray:
    """Return the pixel of a point of the wall in a photo taken with the lens that its prior names."""
    photo = next(p for p in PHOTOS if p.file == file)
    return np.asarray(project(pose_of(file).camera(np.array([xyz], dtype=float)), prior_lens(photo))[0])


def _mark(file: str, name: str, *, frame: bool = False, proud: float = 0.0) -> Mark:
    quad, point = name.split("/")
    x, y = CORNER.get(name, (0.0, 0.0))
    px = seen_from(file, (x, y, -DEPTH_MM if frame else proud)) + np.array([1.5, -0.75])
    return Mark(
        photo=file, wall="north", point=point, px=(float(px[0]), float(px[1])), proud_mm=proud, sd_px=2.0 + proud / 9.0,
        opening=quad if quad[0] in "wd" and quad != "wall" else None, feature=quad if quad[0] == "s" else None,
        face=("frame" if frame else "wall") if quad[0] in "wd" and quad != "wall" else None,
    )  # fmt: skip


def trace_of(file: str, quad: str, edge: str, proud: float, shares: tuple[float, ...] = SHARES) -> EdgeTrace:
    """Return an edge as traced in a photo, at known shares of its length."""
    base, _, face = quad.partition("/")
    p, q = (np.array(CORNER[f"{base}/{end}"]) for end in ENDS[edge])
    height = -DEPTH_MM if face == "frame" else proud
    points = np.array([seen_from(file, (*(p + s * (q - p)), height)) for s in shares])
    return EdgeTrace(photo=file, edge=(quad, edge), points_px=points, sd_px=np.full(len(shares), 0.4), proud_mm=proud)


def _sighting(file: str, reference: DeclaredReference, half: tuple[float, float]) -> Sighting:
    model = np.array([[-1.0, 1], [1, 1], [1, -1], [-1, -1]]) * np.array(half)
    x, y, _ = PLACED[reference.id]
    points = np.array([seen_from(file, (x + dx, y + dy, 0.0)) for dx, dy in model])
    bloom = np.array([[-1.0, -0.9], [0.8, -1.1], [1.2, 0.7], [-0.6, 1.3]])
    return Sighting(
        reference=reference.id, kind=reference.kind, photo=file, model_mm=model, points_px=points,
        sd_px=np.array([0.1, 0.2, 0.3, 0.4]), bloom_px=bloom, corners_px=points, spread_sd_px=0.15,
    )  # fmt: skip


def plain_problem() -> WallProblem:
    """Return the wall's problem; some of what is said of it is of photos, corners and references not there."""
    w1 = [f"w1/{c}" for c in ("bottom_left", "bottom_right", "top_right", "top_left")]
    marks = [
        *(_mark("a.jpg", name) for name in ("wall/top_left", "wall/top_right", *w1, "s1/bottom_left", "s1/top_right")),
        _mark("a.jpg", "wall/bottom_left", proud=18.0),
        _mark("a.jpg", "wall/bottom_right", proud=18.0),
        *(_mark("b.jpg", name) for name in ("wall/bottom_left", "wall/top_left", *w1, "d1/bottom_left")),
        *(_mark("c.jpg", name) for name in ("wall/top_right", *w1, "d1/bottom_right")),
        *(_mark("b.jpg", name, frame=True) for name in ("w1/bottom_right", "w1/top_right")),
        *(_mark("c.jpg", name, frame=True) for name in ("w1/bottom_left", "w1/top_left")),
    ]
    of_nothing = [
        replace(marks[0], photo="gone.jpg"),
        replace(marks[0], point="edge_inner"),
        _mark("a.jpg", "d1/top_left", frame=True),  # nobody marked the corner in front of it
        replace(marks[0], reference="r0", wall=None),
    ]
    sightings = [
        _sighting("a.jpg", SHEET, (136.0, 92.0)), _sighting("b.jpg", SHEET, (136.0, 92.0)),
        _sighting("c.jpg", CARD, (42.8, 26.99)), _sighting("c.jpg", SECOND, (136.0, 92.0)),
    ]  # fmt: skip
    nobodys = [replace(sightings[0], reference="r9"), replace(sightings[0], photo="gone.jpg")]
    traces = [trace_of(*traced) for traced in TRACED]
    untraceable = [
        trace_of("a.jpg", "wall", "top", 0.0, shares=(0.2, 0.8)),  # two points
        replace(traces[0], photo="gone.jpg"),
        replace(traces[0], edge=("d1/wall", "left")),  # only its foot is marked
        replace(traces[0], edge=("d1/wall", "right")),
        replace(traces[0], edge=("d1/frame", "bottom")),  # no back corner of it is marked
    ]
    wall = DeclaredWall(
        id="north", taped=TAPED,
        openings=(
            DeclaredOpening(id="w1", taped={"width_mm": 1199.0, "reveal_depth_mm": 182.0, "outer_reveal_mm": 30.0}),
            DeclaredOpening(id="d1", taped={"reveal_depth_mm": 70.0}), DeclaredOpening(id="w2"),
        ),
    )  # fmt: skip
    return WallProblem(
        wall=wall, photos=(*PHOTOS, replace(PHOTOS[0], file="unplaced.jpg")), marks=(*of_nothing, *marks),
        sightings=(*nobodys, *sightings), references=(SHEET, CARD, SECOND), edges=(*untraceable, *traces),
    )  # fmt: skip


def plain_guess() -> Guess:
    """Return the first guess that the wall was photographed with."""
    return Guess(
        poses={photo.file: pose_of(photo.file) for photo in PHOTOS},
        corners={name: np.array(xy) for name, xy in CORNER.items()},
        references=dict(PLACED), depths={"w1": DEPTH_MM},
    )  # fmt: skip


def moved(obs: Observations, rng: np.random.Generator) -> State:
    """Return a state with every unknown off its start by something like its prior's spread."""
    step = np.zeros(obs.layout.size)
    for column, sd in zip(obs.prior_column, obs.prior_sd, strict=True):
        step[int(column)] = rng.choice([-1.0, 1.0]) * min(float(sd), 30.0) * rng.uniform(0.5, 1.5)
    for name, block in obs.layout.blocks.items():
        if name.startswith("reference:"):
            step[block.start + 6 : block.stop] = rng.normal(0.0, 3e-3, 2)
        if name.startswith("photo:"):
            step[block.start + 3 : block.start + 6] = rng.normal(0.0, 0.01, 3)
            step[block.start + 6 : block.stop] = rng.normal(0.0, 20.0, 3)
    state = obs.cameras.retract(obs.start, step)
    state.vector[obs.surface.block] = 60.0, -45.0, 50.0
    return state


@dataclass(frozen=True, kw_only=True)
class Plain:
    """The wall at a state, each value looked up by the name of its block."""

    obs: Observations
    state: State

    def of(self, block: str) -> FloatArray:
        """Return the values of a block."""
        return self.state.vector[self.obs.layout[block]]

    def corner(self, name: str) -> tuple[float, float]:
        """Return where a corner is on the wall's plane; the wall's own bottom left corner is the origin."""
        x, y = (0.0, 0.0) if name == "wall/bottom_left" else self.of(f"corner:{name}")
        return float(x), float(y)

    def bulge(self, x: float, y: float) -> tuple[float, float, float]:
        """Return the height of the wall's surface over its plane, and its slopes across and up."""
        ring = [CORNER[f"wall/{c}"] for c in ("bottom_left", "bottom_right", "top_right", "top_left")]
        wide = max(x for x, _ in ring) - min(x for x, _ in ring)
        high = max(y for _, y in ring) - min(y for _, y in ring)
        u = (x - wide / 2 - min(x for x, _ in ring)) / (wide / 2)
        v = (y - high / 2 - min(y for _, y in ring)) / (high / 2)
        across, up, twist = self.of("surface")
        return (
            across * u * u + up * v * v + twist * u * v,
            (2 * across * u + twist * v) / (wide / 2),
            (2 * up * v + twist * u) / (high / 2),
        )

    def on_edge(self, quad: str, edge: str, share: float, proud: float) -> FloatArray:
        """Return the point at a share of an edge, which bows by the most at its middle and not at its ends."""
        (ax, ay), (bx, by) = (self.corner(f"{quad}/{end}") for end in ENDS[edge])
        bow = float(self.of(f"bow:{quad}:{edge}:{proud:g}")[0]) * (1.0 - (2.0 * share - 1.0) ** 2)
        x, y = ax + share * (bx - ax), ay + share * (by - ay)
        x, y = (x, y + bow) if edge in ("bottom", "top") else (x + bow, y)
        return np.array([x, y, self.bulge(x, y)[0] + proud])

    def back(self, opening: str, corner: str) -> FloatArray:
        """Return the corner of the frame at the back of a reveal."""
        depth, left, right, bottom, top, tilt_x, tilt_y, *warp = self.of(f"reveal:{opening}")
        x, y = self.corner(f"{opening}/{corner}")
        number = ("bottom_left", "bottom_right", "top_right", "top_left").index(corner)
        fronts = np.array([xy for name, xy in CORNER.items() if name.startswith(f"{opening}/")])
        middle_x, middle_y = fronts.mean(axis=0)
        return np.array([
            x + depth * (left if "left" in corner else right) + warp[2 * number],
            y + depth * (bottom if "bottom" in corner else top) + warp[2 * number + 1],
            self.bulge(x, y)[0] - depth - tilt_x * (x - middle_x) - tilt_y * (y - middle_y),
        ])  # fmt: skip

    def on_reference(self, reference: DeclaredReference, model: FloatArray) -> FloatArray:
        """Return a printed point of a reference: turned, stretched, leaning, and off the plaster by its thickness."""
        x, y, turn, lean_x, lean_y, off, log_width, log_height = self.of(f"reference:{reference.id}")
        mx, my = model * reference.scale * np.exp([log_width, log_height])
        dx, dy = mx * np.cos(turn) - my * np.sin(turn), mx * np.sin(turn) + my * np.cos(turn)
        z, slope_x, slope_y = self.bulge(x, y)
        z += (slope_x + lean_x) * dx + (slope_y + lean_y) * dy + off + priors.REFERENCE_STANDOFF_MM[reference.kind]
        return np.array([x + dx, y + dy, z])

    def pixel(self, file: str, xyz: FloatArray) -> FloatArray:
        """Return where a point of the wall falls in a photo."""
        number = next(i for i, p in enumerate(PHOTOS) if p.file == file)
        photo = PHOTOS[number]
        log_focal, cx, cy, k1, k2 = self.of(f"lens:{photo.phone}")
        own_focal, own_x, own_y, _, _, _, *translation = self.of(f"photo:{file}")
        for _ in range(photo.turn or 0):  # a quarter turn clockwise takes what is at the right to the foot
            cx, cy = -cy, cx
        lens = Lens(
            focal_px=photo.focal_px * float(np.exp(log_focal + own_focal)), k1=float(k1), k2=float(k2),
            cx_px=float((photo.width_px - 1) / 2 + cx + own_x), cy_px=float((photo.height_px - 1) / 2 + cy + own_y),
        )  # fmt: skip
        camera = self.state.rotations[number] @ xyz + np.array(translation)
        return np.asarray(project(camera[None], lens)[0])

    def marks(self) -> list[float]:
        """Return the misses of the marks that are of this wall, in their own spreads."""
        out: list[float] = []
        for mark in self.obs.problem.marks:
            quad = mark.opening or mark.feature or "wall"
            if mark.photo == "gone.jpg" or mark.point == "edge_inner" or mark.reference:
                continue
            if f"{quad}/{mark.point}" not in CORNER:
                continue
            x, y = self.corner(f"{quad}/{mark.point}")
            front = np.array([x, y, self.bulge(x, y)[0] + mark.proud_mm])
            xyz = self.back(quad, mark.point) if mark.face == "frame" else front
            out += list((self.pixel(mark.photo, xyz) - np.array(mark.px)) / mark.sd_px)
        return out

    def sightings(self) -> list[float]:
        """Return the misses of the references' points; all move out together where edges spread."""
        out: list[float] = []
        for seen in self.obs.problem.sightings:
            reference = {"r0": SHEET, "r1": CARD, "r2": SECOND}.get(seen.reference)
            if reference is None or seen.photo == "gone.jpg":
                continue
            spread = float(self.of(f"bloom:{seen.reference}@{seen.photo}")[0])
            for model, px, sd, bloom in zip(seen.model_mm, seen.points_px, seen.sd_px, seen.bloom_px, strict=True):
                where = self.pixel(seen.photo, self.on_reference(reference, model)) + spread * bloom
                out += list((where - px) / sd)
        return out

    def edges(self) -> list[float]:
        """Return the misses of the traced edges, across each of them."""
        out: list[float] = []
        for file, quad, edge, proud in TRACED:
            trace = trace_of(file, quad, edge, proud)
            base, _, face = quad.partition("/")
            along = trace.points_px[-1] - trace.points_px[0]
            across = np.array([-along[1], along[0]]) / np.hypot(*along)
            shift = float(self.of(f"shift:{file}:{quad}:{edge}:{proud:g}")[0])
            a, b = ENDS[edge]
            for share, px, sd in zip(SHARES, trace.points_px, trace.sd_px, strict=True):
                if face == "frame":
                    xyz = (1 - share) * self.back(base, a) + share * self.back(base, b)
                else:
                    xyz = self.on_edge(base, edge, share, proud)
                out.append(float((across @ (self.pixel(file, xyz) - px) + shift) / sd))
        return out

    def squareness(self) -> list[float]:
        """Return how far each edge is from level or plumb, in its own spread."""
        out = []
        for quad, sd in (("wall", priors.WALL_SQUARENESS), ("w1", priors.OPENING_SQUARENESS), ("d1", None)):
            for edge in ENDS if sd else ("bottom",):
                (ax, ay), (bx, by) = (self.corner(f"{quad}/{end}") for end in ENDS[edge])
                slope = (by - ay) / (bx - ax) if edge in ("bottom", "top") else (bx - ax) / (by - ay)
                out.append(slope / (sd or priors.OPENING_SQUARENESS))
        return out

    def print_scale(self) -> list[float]:
        """Return how far each sheet's print is from the scale read, and its width from its height."""
        out = []
        for sheet in (SHEET, SECOND):
            log_width, log_height = self.of(f"reference:{sheet.id}")[6:]
            out.append(float((log_width + log_height) / 2 / sheet.scale_rel_sd))
            out.append(float((log_width - log_height) / priors.PRINT_ASPECT_SD))
        return out

    def tape(self) -> list[float]:
        """Return the misses of the taped sizes that the corners give: the wall's width and left height, w1's width."""

        def length(*names: str) -> float:
            (ax, ay), (bx, by) = (self.corner(name) for name in names)
            return float(np.hypot(bx - ax, by - ay))

        def width(quad: str) -> float:
            low = length(f"{quad}/bottom_left", f"{quad}/bottom_right")
            return (low + length(f"{quad}/top_left", f"{quad}/top_right")) / 2

        read = {4011.0: width("wall"), 2400.0: length("wall/bottom_left", "wall/top_left"), 1199.0: width("w1")}
        return [(value - taped) / tape_sd_mm(taped) for taped, value in read.items()]
