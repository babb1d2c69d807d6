"""A wall with two windows, rendered: the survey folder that the page's tests mark from nothing."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from PIL import Image

from tests.page_person import Knowledge
from tests.scenes import Opening, Room, Scene, render
from tests.scenes_random import look_at
from tests.scenes_things import Reference, Thing

SIZE_PX = (2016, 1512)
SHEETS = (7, 8)


def two_window_room() -> Room:
    """Return a wall of 4.6 x 2.5 m with two windows, a radiator and a socket, and two sheets (invented)."""

    def window(left: float, width: float) -> Opening:
        x, y = np.array([left, left + width, left + width, left]), np.array([900.0, 903.0, 2101.0, 2098.0])
        front = np.column_stack([x, y])
        back = front + np.array([[2.0, 0.0], [-2.0, -2.0], [-2.0, -4.0], [2.0, -1.0]])
        return Opening(front_mm=front, back_mm=back, reveal_mm=165.0, faces=1.5)  # painted lighter than the wall

    return Room(
        corners_mm=np.array([[0.0, 0.0], [4603.0, 2.0], [4600.0, 2512.0], [-3.0, 2508.0]]),
        opening=window(700.0, 1100.0),
        more_openings=(window(2900.0, 1000.0),),
        references=(
            Reference(kind="sheet", centre_mm=(340.0, 600.0), number=SHEETS[0]),
            Reference(kind="sheet", centre_mm=(4200.0, 1900.0), number=SHEETS[1]),
        ),
        things=(Thing(kind="socket", left_mm=2200.0, bottom_mm=450.0, width_mm=147.0, height_mm=87.0, depth_mm=9.0),),
        skirting_mm=18.0,
        colour=(0.42, 0.47, 0.44),
    )


def two_window_scenes(size_px: tuple[int, int] = SIZE_PX) -> dict[str, Scene]:
    """Return three photos of the two-window wall: square on, from the left, from the right."""
    room = two_window_room()
    focal = 0.70 * size_px[0]
    places = {
        "IMG_0001.jpg": (2250.0, 1500.0, 3700.0),
        "IMG_0002.jpg": (900.0, 1550.0, 3900.0),
        "IMG_0003.jpg": (3700.0, 1450.0, 3900.0),
    }
    scenes = {}
    for number, (name, place) in enumerate(places.items()):
        aim = np.array([2290.0, 1250.0, 0.0])
        camera = look_at(np.array(place), aim, size_px=size_px, focal_px=focal, k1=-0.01, k2=0.004, roll_deg=0.6)
        scenes[name] = render(room, camera, seed=number)
    return scenes


def write_scenes(scenes: dict[str, Scene], folder: Path) -> Knowledge:
    """Write the photos with the camera details of a phone, and return what a person knows of them."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, scene in scenes.items():
        picture = Image.fromarray(scene.picture[:, :, ::-1])
        exif = Image.Exif()
        exif[0x010F], exif[0x0110], exif[0x0112] = "Wayside", "Pocket Two", 1
        details = exif.get_ifd(0x8769)
        details[0xA405] = round(scene.camera.focal_px * 43.27 / math.hypot(*picture.size))
        details[0xA002], details[0xA003] = picture.size
        picture.save(folder / name, quality=92, exif=exif)
    room = next(iter(scenes.values())).room
    thing = room.things[0]
    pixels = {name: dict(scene.pixels) | _thing_pixels(scene, thing) for name, scene in scenes.items()}
    return Knowledge(
        pixels=pixels,
        skirting_mm=room.skirting_mm,
        bars_mm=dict.fromkeys(SHEETS, 250.0),
        openings={"w1": "", "w2": "2"},
        features={"socket1": "socket"},
    )


def _thing_pixels(scene: Scene, thing: Thing) -> dict[str, tuple[float, float] | None]:
    x0, y0, z = thing.left_mm, thing.bottom_mm, thing.depth_mm
    x1, y1 = x0 + thing.width_mm, y0 + thing.height_mm
    corners = {"bl": (x0, y0, z), "br": (x1, y0, z), "tr": (x1, y1, z), "tl": (x0, y1, z)}
    found = {}
    for end, place in corners.items():
        x, y = scene.camera.project(np.array([place]))[0]
        found[f"socket_{end}"] = (float(x), float(y))
    return dict(found)
