"""survey.json and truth.json of a sample house: true points, true pixels, true sizes, and a person's clicks.

``truth.json``: ``points_mm`` by wall (X right, Y up, Z towards the viewer, the face Z = 0), ``photos`` with the
camera and the true ``pixels`` (null where the point is out of the picture or hidden), ``walls`` with true sizes
under the keys of the results. Marks are the true pixels plus a click error of 2 px (standard deviation, seeded), an
invented default.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from camera_pipeline import Array, Camera, camera_of
from houses import CORNER_KEYS, CORNER_NAMES, House, Shot, frame_rectangle_outside

Hidden = dict[str, set[str]]
CLICK_SD_PX = 2.0
OPENING = "w1"


def points_of(house: House, side: str) -> dict[str, Array]:
    """Named points of one face, metres."""
    points: dict[str, Array] = {}

    def name(stem: str, corners: Array) -> None:
        points.update(
            {f"{stem}_{key}": np.asarray(corner, float) for key, corner in zip(CORNER_KEYS, corners, strict=True)}
        )

    inside = side == "inside"
    if inside:
        name("wall", np.column_stack([np.array(house.corners), np.zeros(4)]))
        for key, corner in zip(("bl", "br"), house.corners, strict=False):
            points[f"skirt_{key}"] = np.array([*corner, house.skirting])
        for item in house.features:
            name(item.id, item.corners())
    name("open", np.column_stack([np.array(house.opening if inside else house.opening_outside), np.zeros(4)]))
    x0, y0, x1, y1 = house.opening_back if inside else frame_rectangle_outside(house)
    z = -(house.reveal if inside else house.outer)
    name("back", np.array([(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)]))
    for reference in house.references:
        if reference.side == side:
            name(reference.id, reference.corners())
    return points


def hidden_points(mi: Any, scene: Any, house: House, shot: Shot) -> set[str]:
    """Names of the points that something stands in front of, by a ray from the camera to just short of each."""
    camera = camera_of(house, shot)
    hidden = {"wall_bl", "wall_br"} if shot.side == "inside" else set()  # behind the skirting
    for name, point in points_of(house, shot.side).items():
        away = point - camera.at
        far = float(np.linalg.norm(away))
        ray = mi.Ray3f(mi.Point3f(*camera.at.tolist()), mi.Vector3f(*(away / far).tolist()))
        ray.maxt = far - 0.006
        if bool(np.all(np.array(scene.ray_test(ray)))):
            hidden.add(name)
    return hidden


def pixels_of(house: House, shot: Shot, camera: Camera, hidden: set[str]) -> dict[str, list[float] | None]:
    """True pixels by point name."""
    out: dict[str, list[float] | None] = {}
    for name, point in points_of(house, shot.side).items():
        u, v = camera.project(point)[0]
        seen = name not in hidden and 0 <= u <= camera.width - 1 and 0 <= v <= camera.height - 1
        out[name] = [float(u), float(v)] if seen else None
    return out


def mark_of(house: House, name: str, side: str) -> dict[str, Any] | None:
    """How the contract names a point; None for what nobody marks."""
    stem, key = name.rsplit("_", 1)
    wall = house.wall if side == "inside" else f"{house.wall}_outside"
    point = CORNER_NAMES[key]
    if stem in {"open", "back"}:
        return {"wall": wall, "opening": OPENING, "face": "wall" if stem == "open" else "frame", "point": point}
    if stem == "wall":
        return {"wall": wall, "point": point}
    if stem == "skirt":
        return {"wall": wall, "point": point, "proud_mm": round(house.skirting * 1000, 1)}
    for item in house.features:
        if item.id == stem:
            return {"wall": wall, "feature": stem, "point": point, "proud_mm": round(item.proud * 1000, 1)}
    if any(item.id == stem and item.kind != "survey_sheet" for item in house.references):
        return {"reference": stem, "point": point}
    return None  # survey sheets are found, nobody marks them


def survey_of(house: House, pixels: dict[str, dict[str, list[float] | None]]) -> dict[str, Any]:
    """The survey as a person would have left it."""
    rng = np.random.default_rng(house.seed + 11)
    photos = []
    for shot in house.shots:
        marks = []
        for name, px in pixels[shot.file].items():
            mark = mark_of(house, name, shot.side)
            click = rng.normal(0, CLICK_SD_PX, 2)  # drawn for every point, so that one mark more changes no other
            if mark is not None and px is not None:
                mark["px"] = [round(float(v), 1) for v in np.array(px) + click]
                marks.append(mark)
        photos.append({"file": shot.file, "purpose": shot.purpose, "marks": marks})
    outside = f"{house.wall}_outside"
    references: list[dict[str, Any]] = []
    for reference in house.references:
        entry: dict[str, Any] = {
            "id": reference.id,
            "kind": reference.kind,
            "on": house.wall if reference.side == "inside" else outside,
        }
        if reference.kind == "survey_sheet":
            entry |= {"number": reference.number, "bar_mm": 250.0}
        references.append(entry)
    return {
        "schema_version": 1,
        "title": house.title,
        "site": house.site,
        "rooms": [{"id": house.room, "floor_area_m2": round(house.width * house.depth, 1), "walls": [house.wall]}],
        "references": references,
        "walls": [
            {
                "id": house.wall,
                "room": house.room,
                "side": "inside",
                "faces": "outside",
                "line": True,
                "built": house.built,
                "openings": [
                    {
                        "id": OPENING,
                        "kind": "window",
                        "frame_mm": round(house.frame * 1000, 1),
                        "outer_reveal_mm": round(house.outer * 1000, 1),
                        "visible_frame_mm": round(house.visible_frame * 1000, 1),
                    }
                ],
                "features": [{"id": item.id, "kind": item.kind} for item in house.features],
            },
            {"id": outside, "side": "outside", "other_side_of": house.wall},
        ],
        "photos": photos,
        "design": house.design,
    }


def _length(a: Array, b: Array) -> float:
    return float(np.linalg.norm(a - b)) * 1000


def _off_line(points: list[Array], a: Array, b: Array) -> float:
    """Mean distance of points from the line a-b, mm."""
    d = (b - a)[:2] / np.linalg.norm((b - a)[:2])
    return float(np.mean([abs(d[0] * (p - a)[1] - d[1] * (p - a)[0]) for p in points])) * 1000


def sizes_of(house: House, side: str) -> dict[str, Any]:
    """True sizes of one face under the keys of the results, mm."""
    p = points_of(house, side)

    def box(stem: str) -> dict[str, float]:
        c = [p[f"{stem}_{key}"] for key in CORNER_KEYS]
        return {
            "width_mm": (_length(c[0], c[1]) + _length(c[3], c[2])) / 2,
            "height_mm": (_length(c[0], c[3]) + _length(c[1], c[2])) / 2,
        }

    opening: dict[str, Any] = {"id": OPENING, **box("open")}
    if side == "outside":
        opening |= {"outer_reveal_mm": house.outer * 1000}
        return {
            "id": f"{house.wall}_outside",
            "openings": [opening],
            "brickwork": {"bond": house.bond, "course_height_mm": house.course * 1000},
        }
    bl, br, tr, tl = (p[f"wall_{key}"] for key in CORNER_KEYS)
    opening |= {
        "left_mm": _off_line([p["open_bl"], p["open_tl"]], bl, tl),
        "sill_mm": _off_line([p["open_bl"], p["open_br"]], bl, br),
        "reveal_depth_mm": house.reveal * 1000,
        "outer_reveal_mm": house.outer * 1000,
        "thickness_mm": house.total * 1000,
    }
    features = [
        {
            "id": item.id,
            "left_mm": _off_line([p[f"{item.id}_bl"], p[f"{item.id}_tl"]], bl, tl),
            "bottom_mm": _off_line([p[f"{item.id}_bl"], p[f"{item.id}_br"]], bl, br),
            **box(item.id),
        }
        for item in house.features
    ]
    gross, hole = (_area([p[f"{stem}_{key}"] for key in CORNER_KEYS]) for stem in ("wall", "open"))
    return {
        "id": house.wall,
        **box("wall"),
        "width_bottom_mm": _length(bl, br),
        "width_top_mm": _length(tl, tr),
        "height_left_mm": _length(bl, tl),
        "height_right_mm": _length(br, tr),
        "openings": [opening],
        "features": features,
        "construction": {"verdict": house.construction},
        "gross_area_m2": gross,
        "net_area_m2": gross - hole,
    }


def _area(corners: list[Array]) -> float:
    x, y = np.array(corners)[:, 0], np.array(corners)[:, 1]
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def write(folder: Path, house: House, hidden: Hidden) -> None:
    """Write survey.json and truth.json into ``folder``."""
    cameras = {shot.file: camera_of(house, shot) for shot in house.shots}
    pixels = {shot.file: pixels_of(house, shot, cameras[shot.file], hidden[shot.file]) for shot in house.shots}
    photos = []
    for shot in house.shots:
        c = cameras[shot.file]
        photos.append(
            {
                "file": shot.file,
                "wall": house.wall if shot.side == "inside" else f"{house.wall}_outside",
                "camera": {
                    "w": c.width,
                    "h": c.height,
                    "portrait": shot.portrait,
                    "f": c.f,
                    "cx": c.cx,
                    "cy": c.cy,
                    "k1": c.k1,
                    "k2": c.k2,
                    "R": c.R.tolist(),
                    "t": c.t.tolist(),
                    "pos": c.at.tolist(),
                    "f35": house.equivalent_mm,
                    "mode": shot.purpose,
                },
                "pixels": pixels[shot.file],
            }
        )
    truth = {
        "note": "Rendered, not photographed. Points in mm, cameras in metres, pixels of the upright picture.",
        "seed": house.seed,
        "handset": " ".join(house.handset),
        "click_sd_px": CLICK_SD_PX,
        "references": [
            {
                "id": r.id,
                "kind": r.kind,
                "number": r.number,
                "width_mm": r.size[0] * 1000,
                "height_mm": r.size[1] * 1000,
                "centre_mm": [v * 1000 for v in r.centre],
                "turn_deg": r.turn_deg,
                "side": r.side,
            }
            for r in house.references
        ],
        "walls": [sizes_of(house, "inside"), sizes_of(house, "outside")],
        "points_mm": {
            wall: {name: (point * 1000).tolist() for name, point in points_of(house, side).items()}
            for wall, side in ((house.wall, "inside"), (f"{house.wall}_outside", "outside"))
        },
        "photos": photos,
    }
    for name, content in (("survey.json", survey_of(house, pixels)), ("truth.json", _rounded(truth))):
        (folder / name).write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 9)
    if isinstance(value, dict):
        return {key: _rounded(v) for key, v in value.items()}
    return [_rounded(v) for v in value] if isinstance(value, list) else value
