"""Rendered surveys with exact truth: a random room photographed, its references found, its corners clicked.

What is wrong with a real room is drawn as wide as the joint solution's priors have it, so that its stated intervals can
be held against the truth: every edge of wall and opening has a direction and a bow of its own, the plaster bulges and
winds by 3 mm, references lean by 10 mrad and stand off, print and cut are not to size, side faces of the reveal are out
of square, and the phone is not quite what its tags say. In each picture every edge is drawn a little beside where the
surfaces meet, as shadow, paint and rounding do. Spreads as in ``tests/simulated_walls.py``, pixels for pixels although
the pictures are smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from tests.scenes import Camera, Opening, Room, Scene, render, true_pixels
from tests.scenes_random import look_at, random_room, random_style
from tests.simulated_walls import near_rectangle
from vision.edges import trace_edges
from vision.measure import WallProblem, WallSolution, measure_wall
from vision.pose import homography
from vision.references import find_references
from vision.walls import (
    DeclaredOpening,
    DeclaredReference,
    DeclaredWall,
    FloatArray,
    Mark,
    Measured,
    Photo,
    ReferenceKind,
    Sighting,
)

SIZE_PX = (2016, 1512)
LARGE_PX = (3024, 2268)  # a bank-size card in a photo of a whole wall
ENDS = {"bl": "bottom_left", "br": "bottom_right", "tr": "top_right", "tl": "top_left"}
KINDS: dict[str, ReferenceKind] = {"sheet": "survey_sheet", "card": "id1_card", "a4": "a4"}
SIZES_MM = {"sheet": (297.0, 210.0), "card": (85.60, 53.98), "a4": (297.0, 210.0)}
SIZE_SD = {"sheet": 0.0, "card": 0.0008, "a4": 0.0015}
PRINT_SD = 0.001
CLICK_PX = 2.0
BULGE_MM, WALL_BOW_MM, OPENING_BOW_MM = 3.0, 2.0, 0.7
SPLAY, WARP_MM, TILT_MRAD = 0.012, 2.0, 10.0
WALL_SHIFT_PX = np.full(4, 0.3)
OPENING_SHIFT_PX = np.array([0.8, 0.6, 0.6, 0.6])  # bottom, right, top, left
FRAME_SHIFT_PX = np.full(4, 0.8)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealRoom(Room):
    """A room whose plaster bulges across, up and in a twist, and whose edges are bowed in the wall's plane.

    ``bend_mm`` is bulge across, bulge up, twist; ``bows_mm`` the deflection at the middle of bottom, right, top and
    left edge, of the wall and of the opening; ``shifts_mm`` how far the whole edge is drawn beside its place.
    """

    bend_mm: tuple[float, float, float]
    bows_mm: tuple[FloatArray, FloatArray]
    shifts_mm: tuple[FloatArray, FloatArray] = (np.zeros(4), np.zeros(4))
    opening: Opening

    def surface(self, xy_mm: FloatArray) -> FloatArray:
        """Return points (n, 2) of the plaster, bowed where they lie on an edge, with their height, (n, 3) mm."""
        xy = np.asarray(xy_mm, float).reshape(-1, 2)
        u, v = 2 * xy[:, 0] / self.width_mm - 1, 2 * xy[:, 1] / self.height_mm - 1
        across, up, twist = self.bend_mm
        z = across * (1 - u * u) + up * (1 - v * v) + twist * u * v
        out = xy.copy()
        quads = (self.corners_mm, self.opening.front_mm)
        for corners, bows, shifts in zip(quads, self.bows_mm, self.shifts_mm, strict=True):
            for k, (bow, shift) in enumerate(zip(bows, shifts, strict=True)):
                a, b = corners[k], corners[(k + 1) % 4]
                along = b - a
                share = (xy - a) @ along / (along @ along)
                off = np.abs((xy - a) @ np.array([-along[1], along[0]])) / np.linalg.norm(along)
                on = (off < 1e-6) & (share > 0.0) & (share < 1.0)
                out[on, 1 if k in (0, 2) else 0] += shift + bow * 4 * share[on] * (1 - share[on])
        return np.column_stack([out, z])


@dataclass(slots=True, kw_only=True)
class Pictures:
    """One room photographed: what was pressed in each view, and the truth of each picture."""

    room: RealRoom
    declared: tuple[DeclaredReference, ...]
    scenes: dict[str, Scene] = field(default_factory=dict)
    photos: dict[str, Photo] = field(default_factory=dict)
    marks: dict[str, list[Mark]] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Survey:
    """One rendered survey: pictures, the problem a person and the detectors make of them, and the truth."""

    scenes: dict[str, Scene]
    problem: WallProblem
    truth: dict[str, float]
    lost: int  # references that were in view and not found

    def measured(self) -> WallSolution:
        """Return the wall as measured: first from marks, then with the edges traced in the pictures."""
        first = measure_wall(self.problem)
        traces = [
            trace
            for file, scene in self.scenes.items()
            for trace in trace_edges(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), first, file)
        ]
        return measure_wall(replace(self.problem, edges=tuple(traces)), start=first)


def _truth(room: RealRoom, seen_back: set[str]) -> dict[str, float]:
    """Return the true sizes; depth is that of the back corners which some picture shows."""
    points = room.points_mm()
    p = {name: xyz[:2] for name, xyz in points.items()}

    def side(a: str, b: str) -> float:
        return float(np.linalg.norm(p[a] - p[b]))

    out = {}
    for stem, key in (("wall", ""), ("open", "openings.w1.")):
        out[f"{key}width_mm"] = (side(f"{stem}_bl", f"{stem}_br") + side(f"{stem}_tl", f"{stem}_tr")) / 2
        out[f"{key}height_mm"] = (side(f"{stem}_bl", f"{stem}_tl") + side(f"{stem}_br", f"{stem}_tr")) / 2
    if seen_back:
        depths = [points[f"open_{end}"][2] - points[f"back_{end}"][2] for end in seen_back]
        out["openings.w1.reveal_depth_mm"] = float(np.mean(depths))
    return out


def _camera(
    rng: np.random.Generator, room: RealRoom, view: str, phone: dict[str, float], size_px: tuple[int, int]
) -> Camera:
    """Return the camera of one view: whole (square-on), left, right (obliquely), reveal (close to the window)."""
    w, h = room.width_mm, float(room.corners_mm[:, 1].max())
    half = np.array(size_px) / 2 / phone["focal_px"]
    away = max(w / 2 / half[0], h / 2 / half[1]) * rng.uniform(1.10, 1.18)
    aim = np.array([w / 2, h / 2, 0.0])
    yaw = np.radians(rng.uniform(-10, 10))
    if view in ("left", "right"):
        yaw = np.radians(rng.uniform(18, 26)) * (-1 if view == "left" else 1)
        away *= 1.12
    if view == "reveal":
        aim = np.array([*room.opening.front_mm.mean(axis=0), 0.0])
        yaw = np.radians(rng.uniform(20, 32)) * rng.choice([-1, 1])
        away = rng.uniform(2000, 2500)
    position = aim + away * np.array([np.sin(yaw), 0.0, np.cos(yaw)])
    position[1] = rng.uniform(1200, 1650)
    aim[:2] += rng.normal(0, 25, 2)
    return look_at(
        position,
        aim,
        size_px=size_px,
        focal_px=phone["focal_px"] * float(np.exp(rng.normal(0, 0.002))),
        centre_shift_px=np.array([phone["dx"], phone["dy"]]) + rng.normal(0, 3.0, 2),
        k1=phone["k1"],
        k2=phone["k2"],
        roll_deg=float(rng.normal(0, 1.0)),
    )


def _marks(rng: np.random.Generator, file: str, scene: Scene) -> list[Mark]:
    out = []
    skirting = scene.room.skirting_mm
    for name, px in scene.pixels.items():
        stem, end = name.rsplit("_", 1)
        if px is None or stem not in ("wall", "open", "back", "skirt"):
            continue
        if skirting and stem == "wall" and end in ("bl", "br"):
            continue  # hidden by the skirting: its face is marked instead
        if stem == "skirt" and not skirting:
            continue
        x, y = np.array(px) + rng.normal(0, CLICK_PX, 2)
        out.append(
            Mark(
                photo=file,
                wall="north",
                point=ENDS[end],
                px=(float(x), float(y)),
                opening="w1" if stem in ("open", "back") else None,
                face={"open": "wall", "back": "frame"}.get(stem),  # type: ignore[arg-type]
                proud_mm=skirting if stem == "skirt" else 0.0,
            )
        )
    return out


def _declared(kinds: Sequence[str], room: Room) -> tuple[DeclaredReference, ...]:
    out = []
    for i, (kind, real) in enumerate(zip(kinds, room.references, strict=True)):
        w, h = SIZES_MM[kind]
        out.append(
            DeclaredReference(
                id=f"r{i}",
                kind=KINDS[kind],
                wall="north",
                number=real.number if kind == "sheet" else None,
                width_mm=Measured(value=w, sd=w * SIZE_SD[kind]),
                height_mm=Measured(value=h, sd=h * SIZE_SD[kind]),
                scale_rel_sd=PRINT_SD if kind == "sheet" else 0.0,
            )
        )
    return tuple(out)


def _errors_of_size(rng: np.random.Generator, kind: str) -> dict[str, object]:
    """Return what is wrong with a real reference: how it stands off, and print scale or cut."""
    standing: dict[str, object] = {"stand_off_mm": max(0.1, float(rng.normal(0.9 if kind == "card" else 0.5, 0.5)))}
    if kind == "sheet":
        return standing | {"print_scale": float(np.exp(rng.normal(0, PRINT_SD)))}
    w, h = (size * float(np.exp(rng.normal(0, SIZE_SD[kind]))) for size in SIZES_MM[kind])
    return standing | {"size_mm": (w, h)}


def real_room(rng: np.random.Generator, kinds: Sequence[str]) -> RealRoom:
    """Return a random room with all the named references on its wall, and everything a little wrong."""
    while True:
        plain = random_room(rng, references=kinds, tilt_mrad=TILT_MRAD)
        if plain.opening is not None and len(plain.references) == len(kinds):
            break
    corners = np.array(list(near_rectangle(rng, 0.0, 0.0, plain.width_mm, plain.height_mm, 3e-3).values()))
    box = plain.opening.front_mm
    (x, y), (w, h) = box.min(axis=0), np.ptp(box, axis=0)
    front = np.array(list(near_rectangle(rng, x, y, w, h, 5e-3).values()))
    left, right, bottom, top = plain.opening.reveal_mm * rng.normal(0.0, SPLAY, 4)
    lean = np.array([[left, bottom], [right, bottom], [right, top], [left, top]])
    back = front + lean + rng.normal(0.0, WARP_MM, (4, 2))
    bend = rng.normal(0.0, BULGE_MM, 3)
    return RealRoom(
        corners_mm=corners - corners[0],
        opening=replace(plain.opening, front_mm=front, back_mm=back),
        references=tuple(
            replace(r, **_errors_of_size(rng, k))  # type: ignore[arg-type]
            for r, k in zip(plain.references, kinds, strict=True)
        ),
        things=plain.things,
        bulge_mm=1.0,  # says that outlines are to be drawn as curves
        skirting_mm=plain.skirting_mm,
        colour=plain.colour,
        finish=plain.finish,
        bend_mm=(float(bend[0]), float(bend[1]), float(bend[2])),
        bows_mm=(rng.normal(0.0, WALL_BOW_MM, 4), rng.normal(0.0, OPENING_BOW_MM, 4)),
    )


def _as_drawn(rng: np.random.Generator, room: RealRoom, camera: Camera) -> RealRoom:
    """Return the room as one picture shows it: every edge a little beside where the surfaces meet."""
    per_px = float(camera.to_camera(np.array([[room.width_mm / 2, room.height_mm / 2, 0.0]]))[0, 2]) / camera.focal_px
    bottom, right, top, left = per_px * FRAME_SHIFT_PX * rng.normal(0.0, 1.0, 4)
    back = room.opening.back_mm + np.array([[left, bottom], [right, bottom], [right, top], [left, top]])
    return replace(
        room,
        opening=replace(room.opening, back_mm=back),
        shifts_mm=(
            per_px * WALL_SHIFT_PX * rng.normal(0.0, 1.0, 4),
            per_px * OPENING_SHIFT_PX * rng.normal(0.0, 1.0, 4),
        ),
    )


def take_pictures(
    rng: np.random.Generator, kinds: Sequence[str], views: Sequence[str], size_px: tuple[int, int] = SIZE_PX
) -> Pictures:
    """Return the views of one random room by one phone, with corners clicked to 2 px."""
    room = real_room(rng, kinds)
    nominal = size_px[0] * rng.uniform(0.66, 0.75)
    phone = {
        "focal_px": nominal * float(np.exp(rng.normal(0, 0.02))),
        "dx": float(rng.normal(0, 10)),
        "dy": float(rng.normal(0, 10)),
        "k1": float(rng.normal(0, 0.02)),
        "k2": float(rng.normal(0, 0.01)),
    }
    style = random_style(rng)
    taken = Pictures(room=room, declared=_declared(kinds, room))
    for i, view in enumerate(views):
        file = f"{i}_{view}.jpg"
        camera = _camera(rng, room, view, phone, size_px)
        drawn = render(_as_drawn(rng, room, camera), camera, style, seed=int(rng.integers(2**31)))
        scene = replace(drawn, room=room, pixels=true_pixels(room, camera), points_mm=room.points_mm())
        taken.scenes[view] = scene
        taken.photos[view] = Photo(
            file=file,
            width_px=size_px[0],
            height_px=size_px[1],
            phone="phone",
            focal_px=nominal,
            focal_rel_sd=0.02,
            centre_sd_px=10.0,
        )
        taken.marks[view] = _marks(rng, file, scene)
    return taken


def survey_of(taken: Pictures, references: Sequence[int], views: Sequence[str]) -> Survey:
    """Return the survey that some of the views make with some of the references declared."""
    declared = tuple(taken.declared[k] for k in references)
    sightings: list[Sighting] = []
    lost = 0
    for view in views:
        scene = taken.scenes[view]
        found = find_references(
            scene.picture, photo=taken.photos[view].file, declared=declared, marks=taken.marks[view]
        ).sightings
        seen = {s.reference for s in found}
        sightings += [s for s in found if any(s.reference == d.id for d in declared)]
        for k in references:
            whole = all(scene.pixels.get(f"ref{k}_{e}") is not None for e in ENDS)
            lost += whole and f"r{k}" not in seen
    problem = WallProblem(
        wall=DeclaredWall(id="north", openings=(DeclaredOpening(id="w1"),)),
        photos=tuple(taken.photos[view] for view in views),
        marks=tuple(mark for view in views for mark in taken.marks[view]),
        sightings=tuple(sightings),
        references=declared,
    )
    back = {end for end in ENDS for view in views if taken.scenes[view].pixels.get(f"back_{end}") is not None}
    return Survey(
        scenes={taken.photos[view].file: taken.scenes[view] for view in views},
        problem=problem,
        truth=_truth(taken.room, back),
        lost=lost,
    )


def rendered_survey(rng: np.random.Generator, kinds: Sequence[str], views: Sequence[str]) -> Survey:
    """Return one survey of a random room with every view and every reference in it."""
    return survey_of(take_pictures(rng, kinds, views), range(len(kinds)), views)


def four_point_width(survey: Survey, sighting: Sighting) -> float | None:
    """Return the wall's width by a bare four-point homography from one reference, or None without all corners."""
    marks = {m.point: m for m in survey.problem.marks if m.photo == sighting.photo and m.opening is None}
    if len(marks) < 4:
        return None
    w, h = next((r.width_mm.value, r.height_mm.value) for r in survey.problem.references if r.id == sighting.reference)
    along, up = (np.linalg.norm(sighting.corners_px[k] - sighting.corners_px[0]) for k in (1, 3))
    if along < up and sighting.kind != "survey_sheet":  # corners run as seen: a card or sheet of paper hung upright
        w, h = h, w
    model = np.array([[-w, h], [w, h], [w, -h], [-w, -h]]) / 2
    H = homography(sighting.corners_px, model)

    def on_wall(mark: Mark) -> FloatArray:
        p = H @ np.array([*mark.px, 1.0])
        return np.asarray(p[:2] / p[2])

    bottom = np.linalg.norm(on_wall(marks["bottom_right"]) - on_wall(marks["bottom_left"]))
    top = np.linalg.norm(on_wall(marks["top_right"]) - on_wall(marks["top_left"]))
    return float(bottom + top) / 2
