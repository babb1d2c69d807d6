"""A hand-made survey folder with results for the report's tests: one room of Lock cottage. Demo values invented."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw


def v(value: float, sd: float) -> dict[str, float]:
    """Return a measured value as geometry.json writes it."""
    return {"value": value, "sd": sd}


def wall_north() -> dict[str, Any]:
    """Return the north wall: 3 871 by 2 630, a window with a 130 mm reveal, radiator, two sockets."""
    return {
        "id": "north",
        "status": "measured",
        "width_mm": v(3871.2, 5.1),
        "width_bottom_mm": v(3869.7, 5.3),
        "width_top_mm": v(3872.7, 5.4),
        "height_mm": v(2629.8, 4.2),
        "height_left_mm": v(2627.9, 4.4),
        "height_right_mm": v(2631.7, 4.5),
        "outline_mm": [[0.0, 0.0], [3869.7, 0.0], [3871.3, 2631.7], [-1.4, 2627.9]],
        "openings": [
            {
                "id": "w1",
                "kind": "window",
                "width_mm": v(1204.3, 2.4),
                "height_mm": v(1107.9, 2.3),
                "left_mm": v(1342.6, 3.0),
                "sill_mm": v(912.4, 2.9),
                "reveal_depth_mm": v(131.8, 3.6),
                "outer_reveal_mm": v(29.4, 4.1),
                "thickness_mm": v(231.2, 5.5),
                "frame_mm": 70.0,
                "visible_frame_mm": 44.0,
                "front_mm": [[1342.1, 912.2], [2546.6, 912.6], [2547.2, 2020.9], [1343.1, 2019.7]],
                "back_mm": [[1345.1, 914.0], [2543.6, 914.0], [2543.9, 2018.0], [1345.6, 2018.0]],
            }
        ],
        "features": [
            {
                "id": "rad",
                "kind": "radiator",
                "left_mm": v(1543.8, 4.0),
                "bottom_mm": v(148.2, 3.5),
                "width_mm": v(802.3, 4.2),
                "height_mm": v(601.4, 4.0),
            },
            {
                "id": "s1",
                "kind": "socket",
                "left_mm": v(462.5, 3.9),
                "bottom_mm": v(452.7, 3.8),
                "width_mm": v(147.1, 2.1),
                "height_mm": v(87.2, 2.0),
            },
            {
                "id": "s2",
                "kind": "socket",
                "left_mm": v(3203.4, 4.4),
                "bottom_mm": v(451.1, 3.8),
                "width_mm": v(146.2, 2.1),
                "height_mm": v(86.4, 2.0),
            },
        ],
        "construction": {
            "verdict": "solid_brick",
            "probability": {"solid_brick": 0.94, "cavity_empty": 0.03, "other": 0.03},
            "cues": [
                {"kind": "thickness", "value_mm": v(231.2, 5.5)},
                {
                    "kind": "bond",
                    "photo": "IMG_0105.jpg",
                    "bond": "flemish",
                    "probability": {"flemish": 0.97, "english_garden": 0.03},
                    "course_height_mm": v(74.8, 0.4),
                    "header_share": v(0.49, 0.02),
                },
                {"kind": "age", "built": 1908},
            ],
        },
        "gross_area_m2": v(10.18, 0.021),
        "net_area_m2": v(8.846, 0.022),
        "limits": [
            {"source": "print scale of the sheets", "share": 0.46},
            {"source": "flatness of the wall", "share": 0.27},
            {"source": "lens", "share": 0.15},
            {"source": "marks", "share": 0.12},
        ],
        "advice": [
            {"action": "tape the width at half height", "key": "width_mm", "sd_before_mm": 5.1, "sd_after_mm": 1.9}
        ],
        "views": [
            {"photo": "IMG_0101.jpg", "outline_px": [[120, 780], [1480, 800], [1495, 150], [105, 140]]},
        ],
    }


def wall_east() -> dict[str, Any]:
    """Return the east wall: plain, its height not measured at one side."""
    return {
        "id": "east",
        "status": "measured",
        "width_mm": v(3598.3, 6.1),
        "width_bottom_mm": v(3597.1, 6.4),
        "width_top_mm": v(3599.5, 6.4),
        "height_mm": v(2631.0, 4.9),
        "height_left_mm": v(2631.7, 5.2),
        "height_right_mm": v(2630.3, 5.4),
        "openings": [],
        "features": [],
        "gross_area_m2": v(9.467, 0.026),
        "net_area_m2": v(9.467, 0.026),
        "construction": {"verdict": "unknown", "probability": {"solid_brick": 0.62, "cavity_empty": 0.38}, "cues": []},
        "limits": [{"source": "print scale of the sheets", "share": 0.7}, {"source": "marks", "share": 0.3}],
    }


def brickwork() -> dict[str, Any]:
    """Return the brickwork of the bond photo: three courses of Flemish bond, 60 px high, stretchers 180 px long."""
    shapes: list[dict[str, Any]] = []
    for k in range(4):
        shapes.append({"kind": "bed", "points_px": [[400.0 + 100 * m, 300.0 + 60 * k] for m in range(9)]})
    for k in range(3):
        left = 400.0 - 90 * (k % 2)
        for number in range(6):
            kind, width = ("header", 90.0) if number % 2 else ("stretcher", 180.0)
            low, high = 300.0 + 60 * k, 360.0 + 60 * k
            outline = [[left, low], [left + width, low], [left + width, high], [left, high]]
            shapes.append({"kind": kind, "points_px": outline})
            left += width
    return {
        "walls": ["north"],
        "bond": "flemish",
        "probability": 0.97,
        "courses": 3,
        "bricks": 18,
        "course_height_mm": v(74.8, 0.4),
        "header_share": v(0.5, 0.02),
        "shapes": shapes,
    }


def geometry() -> dict[str, Any]:
    """Return results/geometry.json."""
    return {
        "schema_version": 1,
        "inputs_sha256": "a1" * 32,
        "perpend_version": "0.1.0",
        "walls": [wall_north(), wall_east()],
        "references": [
            {
                "id": "s17",
                "kind": "survey_sheet",
                "number": 17,
                "wall": "north",
                "photo": "IMG_0101.jpg",
                "found": True,
                "corners_px": [[300, 600], [390, 602], [389, 664], [299, 662]],
            },
            {
                "id": "c1",
                "kind": "id1_card",
                "number": None,
                "wall": "north",
                "photo": "IMG_0101.jpg",
                "found": True,
                "corners_px": [[1200, 300], [1226, 300], [1226, 317], [1200, 317]],
            },
        ],
        "photos": [
            {"file": "IMG_0101.jpg", "usable": True, "purpose": "whole", "width_px": 1600, "height_px": 900},
            {
                "file": "IMG_0105.jpg",
                "usable": True,
                "purpose": "bond",
                "width_px": 1600,
                "height_px": 900,
                "brickwork": brickwork(),
            },
            {"file": "IMG_0107.jpg", "usable": False, "width_px": 1600, "height_px": 900},
        ],
        "findings": [
            {
                "code": "M014",
                "severity": "warn",
                "where": {"wall": "east", "key": "width_mm"},
                "message": "The width of east rests on one sheet only.",
                "remedy": "Tape it at half height.",
            }
        ],
    }


def survey() -> dict[str, Any]:
    """Return survey.json."""
    return {
        "schema_version": 1,
        "title": "Lock cottage, back room",
        "site": {"region": "east_anglia", "heating": "gas_boiler", "listed": False, "exposure_zone": 2},
        "rooms": [{"id": "back", "floor_area_m2": 11.8, "walls": ["north", "east"]}],
        "references": [
            {"id": "s17", "kind": "survey_sheet", "number": 17, "bar_mm": 250.0, "on": "north"},
            {"id": "c1", "kind": "id1_card", "on": "north"},
        ],
        "walls": [
            {
                "id": "north",
                "room": "back",
                "side": "inside",
                "built": 1908,
                "taped": {"width_mm": 3870},
                "openings": [
                    {"id": "w1", "kind": "window", "frame_mm": 70, "outer_reveal_mm": 30, "visible_frame_mm": 44}
                ],
                "features": [
                    {"id": "rad", "kind": "radiator"},
                    {"id": "s1", "kind": "socket"},
                    {"id": "s2", "kind": "socket"},
                ],
            },
            {"id": "east", "room": "back", "side": "inside", "built": 1908},
        ],
        "photos": [
            {
                "file": "IMG_0101.jpg",
                "purpose": "whole",
                "marks": [
                    {"wall": "north", "point": "bottom_left", "px": [120.0, 780.0]},
                    {"wall": "north", "point": "bottom_right", "px": [1480.0, 800.0]},
                    {"wall": "north", "point": "top_right", "px": [1495.0, 150.0]},
                    {"wall": "north", "point": "top_left", "px": [105.0, 140.0]},
                    {"wall": "north", "opening": "w1", "face": "wall", "point": "top_left", "px": [590.0, 300.0]},
                ],
            },
            {"file": "IMG_0105.jpg", "purpose": "bond"},
            {"file": "IMG_0107.jpg"},
        ],
        "design": {
            "insulation": "phenolic",
            "insulation_mm": 60,
            "board_mm": 12.5,
            "fixing": "adhesive_dabs",
            "target_u": 0.30,
        },
    }


def photo(path: Path, *, seed: int) -> None:
    """Write a small JPEG with a place, a serial number and a maker in its EXIF, for the tests to look for."""
    noise = np.random.default_rng(seed).integers(150, 220, (900, 1600, 3), dtype=np.uint8)
    picture = Image.fromarray(noise).convert("RGB").resize((1600, 900))
    draw = ImageDraw.Draw(picture)
    draw.polygon([(120, 780), (1480, 800), (1495, 150), (105, 140)], fill=(222, 214, 200))
    draw.rectangle((590, 300, 1010, 610), fill=(120, 150, 190))
    draw.rectangle((1200, 300, 1226, 317), fill=(200, 30, 30))
    draw.rectangle((20, 860, 60, 890), fill=(255, 0, 255))
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Marker works", "Handset 1"
    camera = exif.get_ifd(0x8769)
    camera[0xA431] = "SERIAL-90210"
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (52.0, 12.0, 34.5)
    picture.save(path, quality=90, exif=exif)


def write_example(
    folder: Path,
    *,
    estimate: dict[str, Any] | None = None,
    changes: dict[str, Any] | None = None,
) -> Path:
    """Write the example folder and return it; ``changes`` replaces whole documents by name."""
    documents: dict[str, Any] = {"survey": survey(), "geometry": geometry(), "estimate": estimate}
    documents |= copy.deepcopy(changes or {})
    results = folder / "results"
    results.mkdir(parents=True, exist_ok=True)
    (folder / "survey.json").write_text(json.dumps(documents["survey"]), encoding="utf-8")
    for name in ("geometry", "estimate"):
        if documents[name] is not None:
            (results / f"{name}.json").write_text(json.dumps(documents[name]), encoding="utf-8")
    for index, entry in enumerate(documents["survey"].get("photos", [])):
        if not (folder / entry["file"]).exists():
            photo(folder / entry["file"], seed=index)
    return folder


def estimate_of(folder: Path) -> dict[str, Any]:
    """Return the estimate of the example folder as the estimator makes it."""
    from estimator.estimate import estimate_survey
    from intake.pipeline import wall_cases
    from intake.plain import plain
    from intake.records import design_of, room_of
    from intake.store import read_geometry, read_survey

    survey_said, measured = read_survey(folder), read_geometry(folder)
    assert measured is not None, "the example's geometry.json no longer fits the schema"
    cases = wall_cases(folder, survey_said, measured)
    rooms = tuple(room_of(room) for room in survey_said.rooms)
    body: dict[str, Any] = plain(estimate_survey(cases, rooms=rooms, design=design_of(survey_said.design)))
    return {"schema_version": 1, "inputs_sha256": "b2" * 32, **body}


def write_whole_example(folder: Path, *, changes: dict[str, Any] | None = None) -> Path:
    """Write the example folder with an estimate made from it, and return it."""
    write_example(folder, changes=changes)
    made = estimate_of(folder)
    (folder / "results" / "estimate.json").write_text(json.dumps(made), encoding="utf-8")
    return folder


def renamed(data: Any, old: str, new: str) -> Any:
    """Return JSON data with every text that is exactly the old name, keys too, replaced by the new one."""
    if isinstance(data, dict):
        return {new if key == old else key: renamed(value, old, new) for key, value in data.items()}
    if isinstance(data, list):
        return [renamed(value, old, new) for value in data]
    return new if data == old else data
