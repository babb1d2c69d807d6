"""Rendered surveys with exact truth: a random room photographed, its references found, its corners clicked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tests.scenes import Camera, Room, Scene, render
from tests.scenes_random import look_at, random_room, random_style
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
ENDS = {"bl": "bottom_left", "br": "bottom_right", "tr": "top_right", "tl": "top_left"}
KINDS: dict[str, ReferenceKind] = {"sheet": "survey_sheet", "card": "id1_card", "a4": "a4"}
SIZES_MM = {"sheet": (297.0, 210.0), "card": (85.60, 53.98), "a4": (297.0, 210.0)}
SIZE_SD = {"sheet": 0.0, "card": 0.0008, "a4": 0.0015}
PRINT_SD = 0.001
CLICK_PX = 2.0


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


def _truth(room: Room) -> dict[str, float]:
    p = {name: xyz[:2] for name, xyz in room.points_mm().items()}

    def side(a: str, b: str) -> float:
        return float(np.linalg.norm(p[a] - p[b]))

    out = {}
    for stem, key in (("wall", ""), ("open", "openings.w1.")):
        out[f"{key}width_mm"] = (side(f"{stem}_bl", f"{stem}_br") + side(f"{stem}_tl", f"{stem}_tr")) / 2
        out[f"{key}height_mm"] = (side(f"{stem}_bl", f"{stem}_tl") + side(f"{stem}_br", f"{stem}_tr")) / 2
    if room.opening is not None:
        out["openings.w1.reveal_depth_mm"] = room.opening.reveal_mm
    return out


def _camera(rng: np.random.Generator, room: Room, view: str, phone: dict[str, float]) -> Camera:
    """Return the camera of one view: whole (square-on), left, right (obliquely), reveal (close to the window)."""
    w, h = room.width_mm, float(room.corners_mm[:, 1].max())
    half = np.array([SIZE_PX[0], SIZE_PX[1]]) / 2 / phone["focal_px"]
    away = max(w / 2 / half[0], h / 2 / half[1]) * rng.uniform(1.10, 1.18)
    aim = np.array([w / 2, h / 2, 0.0])
    yaw = np.radians(rng.uniform(-10, 10))
    if view in ("left", "right"):
        yaw = np.radians(rng.uniform(18, 26)) * (-1 if view == "left" else 1)
        away *= 1.12
    if view == "reveal":
        assert room.opening is not None
        aim = np.array([*room.opening.front_mm.mean(axis=0), 0.0])
        yaw = np.radians(rng.uniform(20, 32)) * rng.choice([-1, 1])
        away = rng.uniform(2000, 2500)
    position = aim + away * np.array([np.sin(yaw), 0.0, np.cos(yaw)])
    position[1] = rng.uniform(1200, 1650)
    aim[:2] += rng.normal(0, 25, 2)
    return look_at(
        position,
        aim,
        size_px=SIZE_PX,
        focal_px=phone["focal_px"] * float(np.exp(rng.normal(0, 0.0015))),
        centre_shift_px=np.array([phone["dx"], phone["dy"]]) + rng.normal(0, 1.5, 2),
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
    """Return what is wrong with the size of a real reference: print scale, or the cut."""
    if kind == "sheet":
        return {"print_scale": float(np.exp(rng.normal(0, PRINT_SD)))}
    w, h = SIZES_MM[kind]
    return {
        "size_mm": (w * float(np.exp(rng.normal(0, SIZE_SD[kind]))), h * float(np.exp(rng.normal(0, SIZE_SD[kind]))))
    }


def rendered_survey(rng: np.random.Generator, kinds: Sequence[str], views: Sequence[str]) -> Survey:
    """Return one survey of a random room: bulged wall, leaning references, wrong print scale, lens, clicks of 2 px."""
    while True:
        room = random_room(rng, references=kinds, flat=False, tilt_mrad=7.0)
        if room.opening is not None and len(room.references) == len(kinds):
            break
    room = replace(
        room,
        references=tuple(
            replace(r, **_errors_of_size(rng, k))  # type: ignore[arg-type]
            for r, k in zip(room.references, kinds, strict=True)
        ),
    )
    nominal = SIZE_PX[0] * rng.uniform(0.66, 0.75)
    phone = {
        "focal_px": nominal * float(np.exp(rng.normal(0, 0.015))),
        "dx": float(rng.normal(0, 8)),
        "dy": float(rng.normal(0, 8)),
        "k1": float(rng.normal(0, 0.015)),
        "k2": float(rng.normal(0, 0.006)),
    }
    declared = _declared(kinds, room)
    style = random_style(rng)
    scenes: dict[str, Scene] = {}
    photos: list[Photo] = []
    marks: list[Mark] = []
    sightings: list[Sighting] = []
    lost = 0
    for i, view in enumerate(views):
        file = f"{i}_{view}.jpg"
        scene = render(room, _camera(rng, room, view, phone), style, seed=int(rng.integers(2**31)))
        scenes[file] = scene
        photos.append(
            Photo(
                file=file,
                width_px=SIZE_PX[0],
                height_px=SIZE_PX[1],
                phone="phone",
                focal_px=nominal,
                focal_rel_sd=0.02,
                centre_sd_px=10.0,
            )
        )
        clicked = _marks(rng, file, scene)
        marks += clicked
        found = find_references(scene.picture, photo=file, declared=declared, marks=clicked).sightings
        sightings += found
        seen = {s.reference for s in found}
        for k, reference in enumerate(declared):
            whole = all(scene.pixels.get(f"ref{k}_{e}") is not None for e in ENDS)
            lost += whole and reference.id not in seen
    problem = WallProblem(
        wall=DeclaredWall(id="north", openings=(DeclaredOpening(id="w1"),)),
        photos=tuple(photos),
        marks=tuple(marks),
        sightings=tuple(sightings),
        references=declared,
    )
    return Survey(scenes=scenes, problem=problem, truth=_truth(room), lost=lost)


def four_point_width(survey: Survey, sighting: Sighting) -> float | None:
    """Return the wall's width by a bare four-point homography from one reference, or None without all corners."""
    marks = {m.point: m for m in survey.problem.marks if m.photo == sighting.photo and m.opening is None}
    if len(marks) < 4:
        return None
    w, h = next((r.width_mm.value, r.height_mm.value) for r in survey.problem.references if r.id == sighting.reference)
    model = np.array([[-w, h], [w, h], [w, -h], [-w, -h]]) / 2
    long_side = np.linalg.norm(sighting.corners_px[1] - sighting.corners_px[0])
    if long_side < np.linalg.norm(sighting.corners_px[3] - sighting.corners_px[0]) and sighting.kind != "survey_sheet":
        model = model[:, ::-1] * np.sign(np.array([[-1.0, 1], [1, 1], [1, -1], [-1, -1]])) * np.sign(model[:, ::-1])
    H = homography(sighting.corners_px, model)

    def on_wall(mark: Mark) -> FloatArray:
        p = H @ np.array([*mark.px, 1.0])
        return np.asarray(p[:2] / p[2])

    bottom = np.linalg.norm(on_wall(marks["bottom_right"]) - on_wall(marks["bottom_left"]))
    top = np.linalg.norm(on_wall(marks["top_right"]) - on_wall(marks["top_left"]))
    return float(bottom + top) / 2
