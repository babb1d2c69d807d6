"""One call finds all references of a photo, says what it rejected and why, and uses nothing that nobody declared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from intake.privacy import blur_inside
from tests.scenes import Reference, Room, Scene, Style, Thing, render
from tests.scenes_random import look_at
from tests.studies import references as study
from vision.references import find_references, never_found, opening_heights
from vision.walls import CORNERS, SHEET_CORNERS, DeclaredReference, Mark, Measured, ReferenceKind

WALL = np.array([[0, 0], [2400, 0], [2400, 2100], [0, 2100]], float)
CARD = Reference(kind="card", centre_mm=(1500, 1300), stand_off_mm=1.0, colour=(0.5, 0.06, 0.05), turn_deg=1.0)
A4 = Reference(kind="a4", centre_mm=(700, 1400), turn_deg=-1.0)
SHEET = Reference(kind="sheet", number=17, centre_mm=(1500, 700))
SOCKET = Thing(kind="double_socket", left_mm=1200, bottom_mm=400, width_mm=146, height_mm=86, depth_mm=9, radius_mm=4)
PRINT = Thing(kind="framed_print", left_mm=300, bottom_mm=500, width_mm=300, height_mm=212, depth_mm=18)
STYLE = Style(noise=0.01, tone=0.15, sharpen=0.4)


def scene_of(
    *references: Reference, things: tuple[Thing, ...] = (), x: float = 1300.0, focal_px: float = 1400
) -> Scene:
    room = Room(corners_mm=WALL, references=references, things=things, colour=(0.42, 0.42, 0.4))
    at, aim = np.array([x, 1200.0, 2250.0]), np.array([1200.0, 1050.0, 0])
    view = look_at(at, aim, size_px=(2016, 1512), focal_px=focal_px)
    return render(room, view, STYLE, seed=4)


def declared(name: str, kind: ReferenceKind, *, wall: str | None = "north") -> DeclaredReference:
    w, h = {"id1_card": (85.6, 53.98), "a4": (297.0, 210.0)}.get(kind, (297.0, 210.0))
    number = 17 if kind == "survey_sheet" else None
    width, height = Measured(value=w, sd=0.1), Measured(value=h, sd=0.1)
    return DeclaredReference(id=name, kind=kind, wall=wall, number=number, width_mm=width, height_mm=height)


def wall_marks(scene: Scene) -> tuple[Mark, ...]:
    ends = zip(CORNERS, ("bl", "br", "tr", "tl"), strict=True)
    return tuple(Mark(photo="p", wall="north", point=c, px=scene.pixels[f"wall_{e}"] or (0, 0)) for c, e in ends)


def true_corners(scene: Scene, k: int) -> np.ndarray:
    return np.array([scene.pixels[f"ref{k}_{e}"] for e in ("tl", "tr", "br", "bl")], float)


@pytest.fixture(scope="module")
def everything() -> Scene:
    return scene_of(CARD, A4, SHEET, things=(SOCKET, PRINT))


def test_sheet_card_and_a4_are_found_where_they_are(everything: Scene) -> None:
    wanted = (declared("c1", "id1_card"), declared("p1", "a4"), declared("s17", "survey_sheet"))
    search = find_references(everything.picture, photo="p", declared=wanted, marks=wall_marks(everything))
    found = {s.reference: s for s in search.sightings}
    assert set(found) == {"c1", "p1", "s17"}
    for name, k, bound in (("c1", 0, 0.4), ("p1", 1, 0.3), ("s17", 2, 0.05)):
        assert found[name].confirmed
        assert np.sqrt(np.mean((found[name].corners_px - true_corners(everything, k)) ** 2)) < bound
    assert found["c1"].model_mm[0] == pytest.approx([-42.8, 26.99])
    assert never_found([search], wanted) == []


def test_a_sheet_needs_no_entry_and_other_things_are_proposals_only(everything: Scene) -> None:
    quiet = find_references(everything.picture, photo="p")
    assert [(s.reference, s.confirmed) for s in quiet.sightings] == [("sheet-17", True)]
    asked = find_references(everything.picture, photo="p", marks=wall_marks(everything), propose=True)
    proposed = [s for s in asked.sightings if s.kind != "survey_sheet"]
    assert {s.kind for s in proposed} == {"id1_card", "a4"}
    assert not any(s.confirmed for s in proposed)
    assert {f.code for f in asked.findings} == {"R010"}


def test_a_socket_and_a_print_are_rejected_with_reasons_and_what_is_missing_has_a_remedy() -> None:
    scene = scene_of(things=(SOCKET, PRINT))
    wanted = (declared("c1", "id1_card"), declared("p1", "a4"))
    search = find_references(scene.picture, photo="p", declared=wanted, marks=wall_marks(scene))
    assert search.sightings == ()
    assert all(r.reasons for r in search.rejected)
    missing = {f.where["reference"]: f for f in search.findings if f.code == "R004"}
    assert set(missing) == {"c1", "p1"}
    assert "mark its four corners" in missing["c1"].remedy
    assert "darker place" in missing["p1"].remedy
    assert {f.where["reference"] for f in never_found([search], wanted)} == {"c1", "p1"}


def test_without_evidence_of_its_size_a_declared_card_is_not_used() -> None:
    scene = scene_of(CARD)
    search = find_references(scene.picture, photo="p", declared=(declared("c1", "id1_card"),))
    assert not any(s.confirmed for s in search.sightings)
    assert {"R008", "R011"} & {f.code for f in search.findings} or not search.sightings


def test_a_card_seen_too_small_is_found_and_waits_for_the_person() -> None:
    scene = scene_of(CARD, focal_px=1100)
    search = find_references(scene.picture, photo="p", declared=(declared("c1", "id1_card"),), marks=wall_marks(scene))
    (card,) = search.sightings
    assert not card.confirmed
    (finding,) = [f for f in search.findings if f.code == "R011"]
    assert "px long here, too small to be told from other things" in finding.message
    assert finding.remedy == "Mark its four corners if it is; a survey sheet is surer."


def test_white_paper_on_a_white_wall_is_reported_with_the_remedy() -> None:
    scene = scene_of(replace(A4, colour=(0.425, 0.425, 0.405), stand_off_mm=0.0))
    search = find_references(scene.picture, photo="p", declared=(declared("p1", "a4"),), marks=wall_marks(scene))
    assert search.sightings == ()
    (missing,) = [f for f in search.findings if f.code == "R004"]
    assert missing.remedy == (
        "If it is in this photo, mark its four corners; on a white wall use the survey sheet or a darker place."
    )


def test_hand_marked_corners_start_the_same_refinement(everything: Scene) -> None:
    true = true_corners(everything, 0)
    rough = true + np.random.default_rng(3).normal(0, 1.5, (4, 2))
    marks = tuple(
        Mark(photo="p", reference="c1", point=c, px=(float(x), float(y)))
        for c, (x, y) in zip(SHEET_CORNERS, rough, strict=True)
    )
    search = find_references(everything.picture, photo="p", declared=(declared("c1", "id1_card"),), marks=marks)
    (card,) = [s for s in search.sightings if s.reference == "c1"]
    assert card.confirmed
    assert np.sqrt(np.mean((card.corners_px - true) ** 2)) < 0.4 < np.sqrt(np.mean((rough - true) ** 2))


def test_hand_marks_on_nothing_stand_as_they_were_pressed(everything: Scene) -> None:
    corners = [(40.0, 700.0), (90.0, 700.0), (90.0, 730.0), (40.0, 730.0)]
    marks = tuple(Mark(photo="p", reference="c1", point=c, px=p) for c, p in zip(SHEET_CORNERS, corners, strict=True))
    search = find_references(everything.picture, photo="p", declared=(declared("c1", "id1_card"),), marks=marks)
    (card,) = [s for s in search.sightings if s.reference == "c1"]
    assert card.corners_px == pytest.approx(np.array(corners))
    assert (card.sd_px >= 2.0).all()


def test_two_cards_on_one_wall_of_which_one_shows_are_told_apart_by_the_person() -> None:
    scene = scene_of(CARD)
    wanted = (declared("c1", "id1_card"), declared("c2", "id1_card"))
    search = find_references(scene.picture, photo="p", declared=wanted, marks=wall_marks(scene))
    assert search.sightings == ()
    assert {f.code for f in search.findings} == {"R009"}


def test_two_cards_on_one_wall_are_named_from_the_left() -> None:
    scene = scene_of(CARD, replace(CARD, centre_mm=(900, 1300)))
    wanted = (declared("c1", "id1_card"), declared("c2", "id1_card"))
    search = find_references(scene.picture, photo="p", declared=wanted, marks=wall_marks(scene))
    places = {s.reference: s.corners_px[:, 0].mean() for s in search.sightings}
    assert places["c1"] < places["c2"]


def test_a_sheet_printed_at_97_per_cent_says_so() -> None:
    scene = scene_of(replace(SHEET, print_scale=0.97))
    search = find_references(scene.picture, photo="p")
    (finding,) = [f for f in search.findings if f.code == "R005"]
    assert "printed at 97." in finding.message
    assert "250 mm bar" in finding.remedy


def test_the_same_number_twice_in_a_photo_is_a_finding() -> None:
    scene = scene_of(SHEET, replace(SHEET, centre_mm=(700, 1500)))
    search = find_references(scene.picture, photo="p")
    assert [s.number for s in search.sightings] == [17, 17]
    assert "R003" in {f.code for f in search.findings}


def test_the_inside_of_a_card_cannot_be_read_in_what_is_written(everything: Scene) -> None:
    wanted = (declared("c1", "id1_card"), declared("s17", "survey_sheet"))
    search = find_references(everything.picture, photo="p", declared=wanted, marks=wall_marks(everything))
    (card,) = [s for s in search.sightings if s.kind == "id1_card"]
    safe = everything.picture.copy()
    blur_inside(safe, card.corners_px)
    low, high = true_corners(everything, 0).min(axis=0).astype(int), true_corners(everything, 0).max(axis=0).astype(int)
    inner = np.s_[low[1] + 8 : high[1] - 8, low[0] + 8 : high[0] - 8]
    detail = [np.abs(np.diff(p[inner].astype(float), axis=1)).mean() for p in (everything.picture, safe)]
    assert detail[1] < 0.5 * detail[0]
    outside = np.ones(safe.shape[:2], bool)
    outside[low[1] - 2 : high[1] + 3, low[0] - 2 : high[0] + 3] = False
    assert np.array_equal(safe[outside], everything.picture[outside])
    blur_inside(safe, card.corners_px + 1e5)  # a card that is not in this picture changes nothing
    assert np.array_equal(safe[outside], everything.picture[outside])


def test_a_share_of_the_study_keeps_its_bounds() -> None:
    told = study.run(5, 0.02)
    sheets, looks = told["sheets"], told["lookalikes"]
    assert isinstance(sheets, dict) and isinstance(looks, dict)
    assert sheets["tags_over_30_px"]["share"] == 1.0
    assert sheets["at_200_px"]["random_px"] < 0.06
    assert abs(sheets["at_200_px"]["inward_bias_px"]) < 0.05
    assert looks["used"] == 0
    for kind in ("cards", "a4"):
        rectangles = told[kind]
        assert isinstance(rectangles, dict)
        assert rectangles["wrong_used"] == 0
        assert rectangles["from_70_px"] >= 3
        assert rectangles["corner_rms_px_from_70_px"] < 0.22


def test_an_opening_s_height_is_told_by_a_reference_on_its_wall_and_by_no_other(everything: Scene) -> None:
    opening = np.array([[300, 900], [1100, 900], [1100, 1900], [300, 1900]], float)
    places = everything.camera.project(np.column_stack([opening, np.zeros(4)]))
    marks = wall_marks(everything) + tuple(
        Mark(photo="p", wall="north", opening="w1", face="wall", point=c, px=(float(x), float(y)))
        for c, (x, y) in zip(CORNERS, places, strict=True)
    )
    search = find_references(everything.picture, photo="p", marks=marks)
    (sheet,) = search.sightings
    size = (everything.camera.width_px, everything.camera.height_px)
    walls: dict[str, str | None] = {sheet.reference: None}
    heights = opening_heights(search, marks, walls, photo="p", size_px=size)
    assert heights[("north", "w1")] == pytest.approx(1000.0, rel=0.03)
    assert opening_heights(search, marks, {sheet.reference: "south"}, photo="p", size_px=size) == {}


def test_a_sheet_of_another_number_takes_the_name_of_the_one_declared_without_a_number(everything: Scene) -> None:
    unnumbered = replace(declared("mine", "survey_sheet"), number=None)
    search = find_references(everything.picture, photo="p", declared=(unnumbered,))
    assert [s.reference for s in search.sightings] == ["mine"]
    other = replace(declared("other", "survey_sheet"), number=40)
    search = find_references(everything.picture, photo="p", declared=(other,))
    assert [s.reference for s in search.sightings] == ["sheet-17"]
    (missing,) = [f for f in search.findings if f.code == "R004"]
    assert missing.where["reference"] == "other"


def test_a_curled_sheet_and_one_with_a_single_tag_in_view_are_findings() -> None:
    room = Room(corners_mm=WALL, references=(replace(SHEET, centre_mm=(1500, 1200), curl_mm=3.2),))
    at, aim = np.array([1900.0, 1400.0, 1400.0]), np.array([1500.0, 1200.0, 0])
    scene = render(room, look_at(at, aim, size_px=(1344, 1008), focal_px=941), STYLE, seed=1)
    search = find_references(scene.picture, photo="p")
    assert [s.number for s in search.sightings] == [17]
    (bent,) = search.findings
    assert bent.code == "R006" and "Sheet 17 does not lie flat" in bent.message
    hidden = replace(SHEET, covered=((-60.0, -110.0, 150.0, 110.0), (-150.0, -110.0, -50.0, 0.0)))
    search = find_references(scene_of(hidden).picture, photo="p")
    assert search.sightings == ()
    (part,) = [f for f in search.findings if f.code == "R001"]
    assert "only one tag of sheet 17 is in plain view" in part.message
    assert "Uncover the whole sheet" in part.remedy
