"""Survey folders of rendered rooms: photos with EXIF of a made-up handset, marks with a person's click error, truth."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from tests.scenes import Room, Scene, render
from tests.scenes_random import random_camera, random_room, random_style

CLICK_SD_PX = 1.0
"""Of a person's click at 3 megapixels (invented default)."""
ENDS = {"bl": "bottom_left", "br": "bottom_right", "tr": "top_right", "tl": "top_left"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """A rendered room with its photos."""

    room: Room
    scenes: tuple[Scene, ...]


def render_home(
    seed: int,
    *,
    photos: int = 2,
    size_px: tuple[int, int] = (2016, 1512),
    references: tuple[str, ...] = ("sheet", "sheet"),
) -> Rendered:
    """Return a random room as one phone sees it from some places; the same seed gives the same pictures."""
    rng = np.random.default_rng(seed)
    room = random_room(rng, references=references)
    style = random_style(rng)
    first = random_camera(rng, room, size_px=size_px, distance_mm=(3400, 4200), angle_deg=12)
    cameras = [first]
    for _ in range(photos - 1):
        other = random_camera(rng, room, size_px=size_px, distance_mm=(3000, 4000), angle_deg=30)
        lens = {key: getattr(first, key) for key in ("focal_px", "centre_px", "k1", "k2")}
        cameras.append(type(first)(**{**{key: getattr(other, key) for key in first.__dataclass_fields__}, **lens}))
    return Rendered(
        room=room, scenes=tuple(render(room, camera, style, seed=seed + k) for k, camera in enumerate(cameras))
    )


def jpeg(scene: Scene, *, orientation: int = 1, f35: bool = True, quality: int = 93) -> bytes:
    """Return a scene as a phone would store it."""
    camera = scene.camera
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Handset", "H-12", orientation
    inner = exif.get_ifd(0x8769)
    if f35:
        diagonal = float(np.hypot(camera.width_px, camera.height_px))
        inner[0xA405] = round(camera.focal_px * 43.27 / diagonal)
        inner[0x920A] = 4.2
    inner[0x9003] = "2026:03:11 10:01:00"
    buffer = io.BytesIO()
    Image.fromarray(scene.picture[:, :, ::-1]).save(buffer, "JPEG", quality=quality, exif=exif)
    return buffer.getvalue()


def marks_of(scene: Scene, rng: np.random.Generator, wall: str) -> list[dict[str, Any]]:
    """Return the marks that a person would make in a scene."""
    marks = []
    skirting = scene.room.skirting_mm
    for name, px in scene.pixels.items():
        stem, end = name.rsplit("_", 1)
        click = rng.normal(0, CLICK_SD_PX, 2)
        hidden = stem == "wall" and skirting > 0 and end in ("bl", "br")
        if px is None or stem not in ("wall", "skirt", "open", "back") or hidden:
            continue
        mark: dict[str, Any] = {
            "wall": wall,
            "point": ENDS[end],
            "px": [round(float(v), 1) for v in np.array(px) + click],
        }
        if stem == "skirt":
            mark["proud_mm"] = skirting
        elif stem in ("open", "back"):
            mark |= {"opening": "w1", "face": "wall" if stem == "open" else "frame"}
        marks.append(mark)
    return marks


def survey_of(home: Rendered, *, seed: int, wall: str = "north") -> dict[str, Any]:
    """Return survey.json's content for a rendered room."""
    rng = np.random.default_rng(seed + 1000)
    references = [
        {"id": f"s{reference.number}", "kind": "survey_sheet", "number": reference.number, "bar_mm": 250.0, "on": wall}
        if reference.kind == "sheet"
        else {"id": f"r{k}", "kind": {"card": "id1_card", "a4": "a4"}[reference.kind], "on": wall}
        for k, reference in enumerate(home.room.references)
    ]
    entry: dict[str, Any] = {"id": wall, "room": "back", "built": 1908}
    if home.room.opening is not None:
        entry["openings"] = [
            {"id": "w1", "kind": "window", "frame_mm": 70, "outer_reveal_mm": 30, "visible_frame_mm": 44}
        ]
    return {
        "schema_version": 1,
        "title": "Lock cottage, back room",
        "site": {"region": "east_anglia", "heating": "gas_boiler", "listed": False, "exposure_zone": 2},
        "rooms": [{"id": "back", "floor_area_m2": 11.8, "walls": [wall]}],
        "references": references,
        "walls": [entry],
        "photos": [
            {"file": f"IMG_{k:04d}.jpg", "marks": marks_of(scene, rng, wall)}
            for k, scene in enumerate(home.scenes, start=1)
        ],
    }


def write_home(folder: Path, home: Rendered, *, seed: int = 0, marked: bool = True) -> Path:
    """Write a rendered room as a survey folder and return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for k, scene in enumerate(home.scenes, start=1):
        (folder / f"IMG_{k:04d}.jpg").write_bytes(jpeg(scene))
    if marked:
        text = json.dumps(survey_of(home, seed=seed), indent=1)
        (folder / "survey.json").write_text(text, encoding="utf-8")
    return folder
