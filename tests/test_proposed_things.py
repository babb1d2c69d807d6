"""Windows, sockets and switches are proposed where they are, on the face of the wall; radiators and pictures not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely

from tests.scenes import Scene
from tests.survey_folders import render_home
from tests.test_proposals import photo_of
from vision.proposals import Proposal, propose_marks
from vision.proposed_plates import MM_PER_PX, PLATES_MM, Plate, find_plates
from vision.references import find_references
from vision.square_on import Box, SquareOn
from vision.walls import FloatArray

WALL: Box = (0.0, 0.0, 3000.0, 2400.0)
PLATES = ("double_socket", "switch", "blank_plate")
LOOKALIKES = ("note", "phone", "thermostat", "calendar", "framed_print", "airbrick", "radiator")


def shared(one: FloatArray, other: FloatArray) -> float:
    """Return the area that two outlines share over the area of both together."""
    a, b = shapely.Polygon(one), shapely.Polygon(other)
    return float(a.intersection(b).area / a.union(b).area)


def proposed(scene: Scene) -> Proposal | None:
    grey = np.asarray(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), np.uint8)
    return propose_marks(grey, photo=photo_of(scene), sightings=find_references(grey, photo="a.jpg").sightings)


def true_outlines(scene: Scene) -> tuple[list[FloatArray], list[tuple[str, FloatArray]]]:
    """Return the windows on the face of the wall, and the things on it by kind, in the picture."""

    def seen(corners: FloatArray, out_mm: float) -> FloatArray:
        return scene.camera.project(np.column_stack([corners, np.full(len(corners), out_mm)]))

    windows = [seen(opening.front_mm, 0.0) for opening in scene.room.openings().values()]
    things = []
    for thing in scene.room.things:
        x0, y0 = thing.left_mm, thing.bottom_mm
        x1, y1 = x0 + thing.width_mm, y0 + thing.height_mm
        things.append((thing.kind, seen(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), thing.depth_mm)))
    return windows, things


def test_windows_are_proposed_on_the_face_of_the_wall_and_radiators_and_pictures_are_not() -> None:
    found, plates = 0, 0
    for seed in (20261125 + 17 * k for k in (0, 5, 15)):  # rooms with radiators, pictures, sockets and switches
        scene = render_home(seed, photos=1).scenes[0]
        proposal = proposed(scene)
        assert proposal is not None
        windows, things = true_outlines(scene)
        for outline in proposal.openings_px:
            assert max(shared(outline, window) for window in windows) > 0.85  # nothing else is taken for a window
            found += max(shared(outline, window) for window in windows) > 0.9
        for _, corners in proposal.features_px:
            best, kind = max((shared(corners, outline), kind) for kind, outline in things)
            assert best > 0.6 and kind not in LOOKALIKES
            plates += kind in PLATES
    assert found >= 2
    assert plates >= 3


def view(*boxes: tuple[Box, float], noise: float = 0.02) -> SquareOn:
    """Return a wall with rectangles on it, each so many doublings lighter."""
    x, y = np.arange(WALL[0], WALL[2], MM_PER_PX), np.arange(WALL[1], WALL[3], MM_PER_PX)
    fine = 4
    light = np.zeros((len(y) * fine, len(x) * fine), np.float32)
    for (x0, y0, x1, y1), lighter in boxes:
        rows = slice(round(y0 / MM_PER_PX * fine), round(y1 / MM_PER_PX * fine))
        light[rows, round(x0 / MM_PER_PX * fine) : round(x1 / MM_PER_PX * fine)] = lighter
    small = np.asarray(cv2.resize(light, (len(x), len(y)), interpolation=cv2.INTER_AREA), np.float32)
    small += np.random.default_rng(1).normal(0, noise, small.shape).astype(np.float32)
    return SquareOn(
        light=small, seen=np.ones(small.shape, bool), x_mm=x, y_mm=y, mm_per_px=MM_PER_PX, about_mm=np.zeros((0, 2))
    )


def at(left: float, bottom: float, size: tuple[float, float]) -> Box:
    return (left, bottom, left + size[0], bottom + size[1])


def only(plates: list[Plate]) -> Plate:
    (plate,) = plates
    return plate


@pytest.mark.parametrize("lighter", [0.6, 0.25, -0.4])
@pytest.mark.parametrize("size", PLATES_MM)
def test_a_plate_lighter_or_darker_than_its_wall_is_found_to_a_millimetre_or_two(
    size: tuple[float, float], lighter: float
) -> None:
    box = at(801.3, 449.2, size)
    found = only(find_plates(view((box, lighter)), WALL, []))
    assert found.kind == "socket"
    assert np.abs(np.array(found.box) - box).max() < 2.0


def test_a_single_plate_at_the_height_of_a_hand_is_a_switch() -> None:
    assert only(find_plates(view((at(1200, 1150, PLATES_MM[1]), 0.5)), WALL, [])).kind == "switch"


@pytest.mark.parametrize(
    "box",
    [
        at(800, 450, (76.0, 76.0)),
        at(800, 450, (147.0, 71.0)),
        at(800, 450, (225.0, 75.0)),
        at(800, 450, (120.0, 86.0)),
        at(800, 1900, PLATES_MM[0]),
        at(800, 10, PLATES_MM[0]),
    ],
    ids=["note", "phone", "airbrick", "between the sizes", "out of reach", "on the skirting"],
)
def test_what_has_another_size_or_place_is_not_proposed(box: Box) -> None:
    assert find_plates(view((box, 0.5)), WALL, []) == []


def test_tiles_and_stripes_are_no_plates() -> None:
    tiles = [(at(100 + 172 * i, 300 + 172 * j, (86.0, 172.0)), 0.4) for i in range(10) for j in range(6)]
    assert find_plates(view(*tiles), WALL, []) == []


def test_what_lies_in_a_window_or_on_a_sheet_is_left_alone() -> None:
    box = at(800, 450, PLATES_MM[0])
    assert find_plates(view((box, 0.5)), WALL, [(700.0, 400.0, 1000.0, 600.0)]) == []


def test_a_bare_wall_has_none() -> None:
    assert find_plates(view(noise=0.05), WALL, []) == []
