"""Rooms for the board studies: random ones, and twenty hard ones made by hand."""

from __future__ import annotations

import random
from dataclasses import dataclass

from estimator.faces import Box, Face, Gap
from estimator.setting_out import Corner

CEILINGS = (2280, 2320, 2380, 2400, 2410, 2424, 2440, 2490, 2550, 2630, 2700, 2720, 2750, 2900)
DEPTH_MM = 73


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomFaces:
    """A room for the layout: faces and corners."""

    name: str
    faces: tuple[Face, ...]
    corners: tuple[Corner, ...] = ()


def window(name: str, left: int, width: int, sill: int = 900, height: int = 1200) -> Gap:
    """Return a window."""
    return Gap(id=name, kind="window", left=left, right=left + width, bottom=sill, top=sill + height)


def door(name: str, left: int, width: int = 838, height: int = 2040) -> Gap:
    """Return a door."""
    return Gap(id=name, kind="door", left=left, right=left + width, bottom=0, top=height)


def face(name: str, width: int, height: int, *gaps: Gap, right: int | None = None, boxes: tuple[Box, ...] = ()) -> Face:
    """Return a wall face; ``right`` is its height at the right where the ceiling slopes."""
    return Face(wall=name, width=width, height_left=height, height_right=right or height, gaps=gaps, boxes=boxes)


def random_room(rng: random.Random, name: str, *, most_walls: int = 4) -> RoomFaces:
    """Return a room of one to four walls, with windows, doors and sockets as houses have them."""
    count = rng.choice([n for n in (1, 2, 2, 3, 3, 4) if n <= most_walls])
    height = rng.choice(CEILINGS)
    faces = tuple(_random_face(rng, f"{name}{k}", height) for k in range(count))
    around = rng.random() < 0.6
    corners = tuple(Corner(left_face=k, right_face=k + 1, depth=DEPTH_MM) for k in range(count - 1)) if around else ()
    return RoomFaces(name=name, faces=faces, corners=corners)


def _random_face(rng: random.Random, name: str, height: int) -> Face:
    width = rng.randint(1500, 6000)
    gaps: list[Gap] = []
    at = rng.randint(150, 1200)
    for n in range(rng.choice((0, 1, 1, 1, 2))):
        if rng.random() < 0.75:
            sill, top = rng.randint(500, 1050), min(rng.randint(1950, 2250), height - rng.choice((40, 120, 250)))
            gap = window(f"w{n}", at, rng.randint(500, 2400), sill, top - sill)
        else:
            gap = door(f"d{n}", at, rng.choice((686, 762, 838, 900, 1500)), rng.randint(1981, 2060))
        if gap.right > width - 100:
            break
        gaps.append(gap)
        at = gap.right + rng.randint(250, 1500)
    slope = rng.choice((0, 0, 0, 0, 35, 180))
    boxes = tuple(
        Box(id=f"s{n}", left=x, right=x + 146)
        for n in range(rng.choice((0, 1, 2)))
        for x in (rng.randint(100, width - 250),)
    )
    top = max((g.top for g in gaps), default=0)
    return face(name, width, height, *gaps, right=max(height - slope, top + 20), boxes=boxes)


def hard_rooms() -> list[RoomFaces]:
    """Return twenty rooms that are hard to board."""

    def room(name: str, *faces: Face, corners: bool = False) -> RoomFaces:
        joined = (
            tuple(Corner(left_face=k, right_face=k + 1, depth=DEPTH_MM) for k in range(len(faces) - 1))
            if corners
            else ()
        )
        return RoomFaces(name=name, faces=faces, corners=joined)

    return [
        room("tall", face("a", 4200, 3300, window("w", 1500, 1200, 900, 1800))),
        room("very tall", face("a", 3600, 4600)),
        room("narrow pier", face("a", 3900, 2400, window("w1", 600, 1100), window("w2", 2150, 1100))),
        room("two windows 300 apart", face("a", 4100, 2400, window("w1", 700, 1200), window("w2", 2200, 1200))),
        room(
            "bay with short returns",
            face("a", 620, 2550, window("w1", 120, 380)),
            face("b", 2100, 2550, window("w2", 200, 1700)),
            face("c", 620, 2550, window("w3", 120, 380)),
            corners=True,
        ),
        room("door hard against a corner", face("a", 3100, 2400, door("d", 40))),
        room("door in the corner", face("a", 2900, 2400, door("d", 0))),
        room("sloping ceiling", face("a", 4000, 2400, right=2250)),
        room("attic gable", face("a", 3600, 1100, right=2600)),
        room("knee wall", face("a", 5200, 1050)),
        room("picture window", face("a", 5200, 2400, window("w", 700, 3600, 300, 1900))),
        room("patio door", face("a", 4800, 2440, door("d", 1200, 2400, 2100))),
        room("window to the ceiling", face("a", 3300, 2400, window("w", 900, 1400, 900, 1500))),
        room("window at the end", face("a", 2700, 2400, window("w", 1500, 1200))),
        room("exactly two boards", face("a", 2400, 2400)),
        room("a hair over two boards", face("a", 2401, 2400)),
        room("fanlight over a door", face("a", 2600, 2900, door("d", 800), window("f", 850, 700, 2150, 500))),
        room(
            "sockets everywhere",
            face("a", 3600, 2400, boxes=tuple(Box(id=f"s{x}", left=x, right=x + 146) for x in range(300, 3300, 350))),
        ),
        room(
            "four walls, nine openings",
            face("a", 4200, 2550, window("w1", 500, 900), window("w2", 2600, 900)),
            face("b", 3600, 2550, window("w3", 900, 1500), door("d1", 2650, 762)),
            face("c", 4200, 2550, door("d2", 300, 1500), window("w4", 2500, 1200)),
            face("d", 3600, 2550, window("w5", 350, 600), window("w6", 1400, 600), window("w7", 2500, 600)),
            corners=True,
        ),
        room(
            "ceiling just out of reach",
            face("a", 3000, 2426, window("w", 900, 1000)),
            face("b", 2500, 2426),
            corners=True,
        ),
    ]
