"""A card of which a stripe in the wall's own tone leaves only a part is sought at its whole size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.scenes import Reference, Room, Style, render
from tests.scenes_draw import FloatArray
from tests.scenes_random import look_at
from tests.studies.references import _declared, _marks
from vision.part_quads import carried_on
from vision.plane_view import PlaneView
from vision.quads import Quad, find_quads
from vision.references import find_references

SIDES = (85.60, 53.98)
CARD = np.array([[-42.8, 26.99], [42.8, 26.99], [42.8, -26.99], [-42.8, -26.99]])


def view_of(matrix: FloatArray) -> PlaneView:
    return PlaneView(to_mm=np.asarray(np.linalg.inv(matrix), float), scale_ln_sd=0.05, source="the wall's corners")


def seen(matrix: FloatArray, mm: FloatArray) -> FloatArray:
    p = np.column_stack([mm, np.ones(len(mm))]) @ matrix.T
    return np.asarray(p[:, :2] / p[:, 2:], float)


SQUARE_ON = np.array([[1.5, 0.0, 400.0], [0.0, -1.5, 300.0], [0.0, 0.0, 1.0]])


@pytest.mark.parametrize("low", [-26.99, -5.0])
def test_a_part_from_the_top_down_or_from_the_foot_up_is_carried_on_to_the_whole(low: float) -> None:
    part = CARD.copy()
    part[:, 1] = np.where(CARD[:, 1] > 0, low + 31.99, low)
    wholes = carried_on([Quad(corners_px=seen(SQUARE_ON, part), fill=0.9)], view_of(SQUARE_ON), SIDES)
    assert len(wholes) == 2
    nearest = min(float(np.abs(q.corners_px - seen(SQUARE_ON, CARD)).max()) for q in wholes)
    assert nearest < 0.1


def test_a_part_of_one_end_is_carried_on_sideways() -> None:
    part = CARD.copy()
    part[[0, 3], 0] = -10.0
    wholes = carried_on([Quad(corners_px=seen(SQUARE_ON, part), fill=0.9)], view_of(SQUARE_ON), SIDES)
    assert min(float(np.abs(q.corners_px - seen(SQUARE_ON, CARD)).max()) for q in wholes) < 0.1


def test_a_scale_that_is_a_little_wrong_carries_a_part_on_as_far() -> None:
    part = CARD.copy()
    part[2:, 1] = -5.0
    wrong = np.diag([1.04, 1.04, 1.0]) @ SQUARE_ON
    wholes = carried_on([Quad(corners_px=seen(SQUARE_ON, part), fill=0.9)], view_of(wrong), SIDES)
    assert min(float(np.abs(q.corners_px - seen(SQUARE_ON, CARD)).max()) for q in wholes) < 0.1


def test_what_has_no_whole_side_is_carried_on_nowhere() -> None:
    for shape in ((68.0, 30.0), (120.0, 40.0), (85.6, 53.98), (85.6, 8.0)):
        quad = Quad(corners_px=seen(SQUARE_ON, CARD * np.array(shape) / np.array(SIDES)), fill=0.9)
        assert carried_on([quad], view_of(SQUARE_ON), SIDES) == []
    assert carried_on([], view_of(SQUARE_ON), SIDES) == []


def test_a_card_cut_in_two_by_a_stripe_of_the_wall_s_tone_is_found_and_used() -> None:
    grey = (0.5, 0.5, 0.48)
    card = Reference(
        kind="card", centre_mm=(700.0, 1300.0), colour=(0.1, 0.2, 0.35), stripe=grey, turn_deg=1.0, stand_off_mm=1.0
    )
    corners = np.array([[0, 0], [2400, 0], [2400, 2300], [0, 2300]], float)
    room = Room(corners_mm=corners, references=(card,), colour=grey)
    camera = look_at(
        np.array([1200.0, 1400.0, 2300.0]), np.array([1200.0, 1150.0, 0.0]), size_px=(2016, 1512), focal_px=1300
    )
    scene = render(room, camera, Style(noise=0.008), seed=3)
    marks = _marks(scene.pixels, np.random.default_rng(1))
    search = find_references(scene.picture, photo="p", declared=_declared(["card"]), marks=marks)
    (found,) = search.sightings
    true = np.array([scene.pixels[f"ref0_{e}"] for e in ("tl", "tr", "br", "bl")], float)
    assert found.confirmed
    assert np.abs(found.corners_px - true).max() < 0.6
    whole = replace(room, references=(replace(card, stripe=None),))
    usual = find_references(
        render(whole, camera, Style(noise=0.008), seed=3).picture, photo="p", declared=_declared(["card"]), marks=marks
    )
    assert np.abs(usual.sightings[0].corners_px - found.corners_px).max() < 0.5


@pytest.mark.parametrize(("card", "stripe"), [(0.75, 0.03), (0.06, 0.85)])
def test_a_thing_with_a_stripe_on_the_other_side_of_the_wall_s_tone_is_one_patch(card: float, stripe: float) -> None:
    grey = (0.35, 0.35, 0.34)
    thing = Reference(
        kind="card",
        centre_mm=(1200.0, 1200.0),
        colour=(card,) * 3,
        stripe=(stripe,) * 3,
        turn_deg=2.0,
        stand_off_mm=1.0,
    )
    corners = np.array([[0, 0], [2400, 0], [2400, 2300], [0, 2300]], float)
    room = Room(corners_mm=corners, references=(thing,), colour=grey)
    camera = look_at(
        np.array([1200.0, 1250.0, 1500.0]), np.array([1200.0, 1200.0, 0.0]), size_px=(1344, 1008), focal_px=950
    )
    scene = render(room, camera, Style(noise=0.006), seed=4)
    true = np.array([scene.pixels[f"ref0_{e}"] for e in ("tl", "tr", "br", "bl")], float)
    nearest = min(float(np.abs(q.corners_px - true).max()) for q in find_quads(scene.picture))
    assert nearest < 3.0
