"""Where a picture shows too little, or marks fix too little, the answer is none, nothing or words; never a guess."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.simulated_walls import Case, Placed, Setting, View, simulate
from vision import (
    bond_lattice,
    brick_pattern,
    brick_pitch,
    brick_plane,
    card_face,
    edges,
    linear_light,
    reference_pulls,
    references,
    results,
    start,
)
from vision.checks import _slip
from vision.crossings import find_crossing
from vision.edge_strip import cut_strip
from vision.forecast import forecast
from vision.measure import WallSolution, measure_wall
from vision.pose import Pose
from vision.problem import WallProblem
from vision.quick_look import glance
from vision.rectify import rectify_wall
from vision.room_axes import plane_from, room_axes, starts_from
from vision.sheets import find_sheets, place_sheet
from vision.wall_edge import edge_thickness
from vision.walls import (
    CORNERS,
    DeclaredOpening,
    DeclaredReference,
    DeclaredWall,
    EdgeTrace,
    FloatArray,
    Mark,
    Measured,
    Photo,
    Sighting,
)

BLANK = np.full((120, 160), 128, np.uint8)
PHOTO = Photo(file="a.jpg", width_px=4000, height_px=3000, phone="p", focal_px=3000.0)
SHEETS = Setting(
    references=(Placed(kind="survey_sheet", at=(0.2, 0.3)),),
    photos=(View(yaw=(-10, 10), distance_m=3.8), View(yaw=(15, 25), distance_m=3.8)),
)


@pytest.fixture(scope="module")
def case() -> Case:
    return simulate(SHEETS, np.random.default_rng(5))


@pytest.fixture(scope="module")
def solved(case: Case) -> WallSolution:
    solution = measure_wall(case.problem)
    assert solution.solution is not None
    return solution


def codes(problem: WallProblem) -> set[str]:
    return {finding.code for finding in measure_wall(problem).findings}


def card(corners: FloatArray) -> Sighting:
    model = np.array([[0.0, 0], [85.6, 0], [85.6, 54], [0, 54]])
    return Sighting(
        reference="c", kind="id1_card", photo="a.jpg", model_mm=model, points_px=corners, sd_px=np.full(4, 0.2),
        bloom_px=np.zeros((4, 2)), corners_px=corners,
    )  # fmt: skip


# Bricks


def test_a_blank_picture_has_no_brick_plane_and_thirty_lines_on_end_have_no_courses() -> None:
    assert brick_plane.find_plane(BLANK.astype(float), 100.0) is None
    upright = np.array([[x, 0.0, x, 1.0] for x in np.linspace(-1, 1, 30)])
    assert brick_plane.bed_direction(upright) is None


def test_lines_across_the_picture_that_agree_on_no_vanishing_point_have_no_courses() -> None:
    rng = np.random.default_rng(1)
    starts = rng.uniform(-0.3, 0.3, (24, 2))
    angle = np.linspace(-0.7, 0.7, 24)
    scattered = np.hstack([starts, starts + 0.05 * np.column_stack([np.cos(angle), np.sin(angle)])])
    found = brick_plane.bed_direction(scattered)
    assert found is None or found[1] < 0.6


@pytest.mark.parametrize(
    "profile", [np.zeros(200), np.linspace(0.0, 1.0, 200), np.zeros(8)], ids=["flat", "ramp", "too short"]
)
def test_a_profile_without_a_period_has_no_strength(profile: FloatArray) -> None:
    assert brick_pitch.fundamental_pitch(profile, low=7.0, high=40.0)[1] == pytest.approx(0.0, abs=0.35)


def test_a_strip_with_hardly_a_pixel_seen_is_no_evidence_of_joints() -> None:
    signal, seen = np.ones((4, 60)), np.zeros((4, 60))
    assert not bond_lattice.joint_evidence(signal, seen).any()


def test_without_enough_joints_there_is_neither_module_nor_joint_width() -> None:
    nothing = np.zeros((5, 300))
    assert bond_lattice.module_candidates(nothing, 20.0) == []
    one = nothing.copy()
    one[:, 100] = 4.0
    assert bond_lattice.module_candidates(one, 20.0) == []
    assert bond_lattice.joint_width(nothing, [], 20.0) == 0.0


def test_a_side_that_never_falls_is_as_long_as_it_is() -> None:
    assert bond_lattice._fall(np.ones(9), 0.5) == 9.0
    assert bond_lattice._fall(np.array([1.0, 0.0]), 0.5) == pytest.approx(0.5)


def test_few_bricks_or_courses_are_hardly_readable_however_clear() -> None:
    clear = {"bricks": 40.0, "courses": 8.0, "covered": 1.0, "joints": 6.0, "gain": 1.0, "aligned": 0.0}
    assert brick_pattern.readable(clear) > 0.9
    assert brick_pattern.readable(clear | {"bricks": 8.0}) == 0.02
    assert brick_pattern.readable(clear | {"courses": 3.0}) == 0.02


def test_a_short_profile_has_no_roughness_and_a_rough_one_has() -> None:
    assert brick_plane._roughness(np.ones(20)) == 0.0
    assert brick_plane._roughness(np.tile([1.0, 2.0], 60)) > 1.0


# Edges, steps, crossings


@pytest.mark.parametrize(
    ("grey", "reason"),
    [
        (BLANK, "no edges here"),
        (np.tile(np.repeat([60, 200], 80), (120, 1)).astype(np.uint8), "no crossing within reach"),
    ],
    ids=["blank", "one edge"],
)
def test_a_click_where_no_two_edges_meet_says_so(grey: np.ndarray, reason: str) -> None:
    assert find_crossing(grey, (80.0, 60.0), reach_px=20.0) == reason


def test_two_corners_as_near_as_each_other_are_not_chosen_between() -> None:
    grey = np.full((160, 160), 60, np.uint8)
    grey[:80, :72] = 210
    grey[:80, 88:] = 210
    found = find_crossing(grey, (79.5, 79.5), reach_px=20.0)
    assert found == "two crossings as likely"


def test_a_step_is_found_only_where_something_changes_and_no_more_than_there_are() -> None:
    offsets = np.linspace(-10.0, 10.0, 41)
    assert linear_light.step_edges(offsets, np.full(41, 0.3)) == []
    one = linear_light.step_edges(offsets, np.where(offsets > 1.2, 0.8, 0.2), count=9)
    assert len(one) == 1
    assert one[0].position == pytest.approx(1.25, abs=0.3)
    assert linear_light.step_edges(offsets[:5], np.array([0.0, 0, 1, 1, 1])) == []


def test_an_edge_outside_the_picture_or_shorter_than_can_be_traced_gives_no_strip() -> None:
    far = np.column_stack([np.linspace(-500, -400, 40), np.full(40, 60.0)])
    short = np.column_stack([np.linspace(70, 74, 40), np.full(40, 60.0)])
    assert cut_strip(BLANK, far, 8.0) is None
    assert cut_strip(BLANK, short, 8.0) is None


def test_a_wall_in_a_blank_picture_has_no_traced_edges(solved: WallSolution) -> None:
    blank = np.full((3000, 4000), 128, np.uint8)
    assert edges.trace_edges(blank, solved, solved.files[0]) == []


def test_a_wall_that_was_not_solved_has_no_edges_to_trace_and_no_camera() -> None:
    unsolved = measure_wall(WallProblem(wall=DeclaredWall(id="north"), photos=(PHOTO,)))
    assert unsolved.solution is None
    assert edges._quads(unsolved) == ()
    with pytest.raises(ValueError, match="north was not solved from photos"):
        unsolved.depth_mm("w1")


# Sheets, cards, references


def test_a_blank_picture_has_no_sheets_at_a_glance_or_after_a_search() -> None:
    assert glance(BLANK, photo="a.jpg") == ()
    assert find_sheets(BLANK) == ([], [])


def test_tags_at_random_places_are_said_not_to_lie_on_one_sheet() -> None:
    square = np.array([[0.0, 0], [20, 0], [20, 20], [0, 20]])
    seen = {0: square + 30, 1: square[::-1] + np.array([90, 20]), 2: square + 10, 3: square + np.array([15, 85])}
    assert place_sheet(BLANK, 3, seen) == "tags of number 3 do not lie on one flat sheet"


def test_a_card_at_the_rim_of_the_picture_tells_nothing_of_its_corners_or_its_print() -> None:
    colour = np.dstack([BLANK] * 3)
    rim = np.array([[0.0, 0], [60, 0], [60, 40], [0, 40]])
    assert card_face.plainness(colour, rim - 30) == 0.0
    model = np.array([[0.0, 0], [85.6, 0], [85.6, 54], [0, 54]]) - [42.8, 27]
    assert card_face._missing_share(colour, np.diag([0.7, 0.7, 1.0]), np.array([-42.8, -27.0]), 1.4) is None
    assert model.shape == (4, 2)


def test_a_reference_of_fewer_than_four_points_starts_no_room() -> None:
    whole = card(np.array([[30.0, 30], [90, 30], [90, 68], [30, 68]]))
    part = replace(whole, points_px=whole.points_px[:2], model_mm=whole.model_mm[:2], sd_px=whole.sd_px[:2])
    assert starts_from(part, PHOTO) == []
    assert starts_from(whole, PHOTO)


def test_without_lines_the_rooms_axes_stay_where_they_began_and_without_references_the_plane_has_no_scale() -> None:
    begun = np.eye(3)
    assert np.allclose(room_axes(np.zeros((0, 4)), PHOTO, begun).rotation, begun)
    assert plane_from([], PHOTO, begun) is None


# The wall itself


def test_what_is_wrong_at_the_start_is_named_by_code(case: Case) -> None:
    problem = case.problem
    nothing = DeclaredWall(id="north")
    assert "M002" in codes(WallProblem(wall=nothing))
    assert "M001" in codes(replace(problem, marks=(), edges=()))
    alone = replace(problem, marks=problem.marks[:1], sightings=(), references=(), edges=())
    assert "M003" in codes(alone)
    no_scale = replace(problem, sightings=(), references=(), edges=(), wall=replace(problem.wall, taped={}))
    assert "M004" in codes(no_scale)


def test_a_photo_with_too_little_in_common_is_named_and_left_out(case: Case) -> None:
    first, second = (p.file for p in case.problem.photos)
    few = tuple(m for m in case.problem.marks if m.photo == first or m.point == "top_left")
    seen = tuple(s for s in case.problem.sightings if s.photo == first)
    solution = measure_wall(replace(case.problem, marks=few, sightings=seen, edges=()))
    found = [f for f in solution.findings if f.code == "M005"]
    assert [f.where["photo"] for f in found] == [second]
    assert solution.measured.width_mm is not None


def test_marks_and_edges_of_photos_that_are_not_there_change_nothing(case: Case) -> None:
    problem = replace(case.problem, edges=())
    stray = replace(problem.marks[0], photo="gone.jpg")
    trace = EdgeTrace(photo="gone.jpg", edge=("wall", "top"), points_px=np.zeros((6, 2)), sd_px=np.ones(6))
    frame = replace(trace, photo=problem.photos[0].file, edge=("nothing/frame", "top"))
    unknown = replace(trace, photo=problem.photos[0].file, edge=("nothing", "top"))
    with_them = replace(problem, marks=(*problem.marks, stray), edges=(trace, frame))
    plain, other = measure_wall(problem), measure_wall(with_them)
    assert plain.measured.width_mm == other.measured.width_mm
    assert unknown.photo in plain.files


def test_all_marks_on_one_spot_are_said_to_fit_no_wall(case: Case) -> None:
    one = tuple(replace(m, px=(2000.0, 1500.0)) for m in case.problem.marks)
    solution = measure_wall(replace(case.problem, marks=one, edges=()))
    assert solution.findings
    for size in (solution.measured.width_mm, solution.measured.height_mm):
        assert size is None or np.isfinite(size.value)


def test_places_that_the_solution_does_not_know_are_left_out_of_its_predictions(solved: WallSolution) -> None:
    file = solved.files[0]
    asked = [("nothing/top_left", "wall", 0.0), ("wall/top_left", "frame", 0.0), ("wall/top_right", "wall", 0.0)]
    assert set(solved.predict_many([file], asked)) == {(file, "wall/top_right", "wall")}
    assert solved.predict_many(["gone.jpg"], asked) == {}
    assert solved.predict_many([file], asked[:2]) == {}
    assert solved.depth_mm("nothing") is None


def test_a_forecast_without_an_outline_is_none_and_with_one_is_no_worse(case: Case, solved: WallSolution) -> None:
    assert forecast(replace(case.problem, marks=(), sightings=(), edges=())) is None
    expected = forecast(replace(case.problem, edges=()))
    assert expected is not None
    assert expected.measured.width_mm is not None
    assert solved.measured.width_mm is not None
    assert expected.measured.width_mm.sd < 3.0 * solved.measured.width_mm.sd


def test_a_wall_too_large_to_sample_twice_as_fine_is_straightened_all_the_same(
    solved: WallSolution, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture = np.full((3000, 4000, 3), 90, np.uint8)
    fine = rectify_wall(picture, solved, solved.files[0], mm_per_px=20.0)
    monkeypatch.setattr("vision.rectify.MAX_PIXELS", 100)
    coarse = rectify_wall(picture, solved, solved.files[0], mm_per_px=20.0)
    assert coarse.shape == fine.shape
    assert abs(int(coarse[coarse.shape[0] // 2, coarse.shape[1] // 2, 0]) - 90) <= 1


@pytest.mark.parametrize(
    ("read", "photos", "words"),
    [
        (4871.0, 3871.0, "A 1000 mm slip?"),
        (3771.0, 3871.0, "A 100 mm slip?"),
        (3817.0, 3871.0, "Two digits swapped?"),
        (152.4, 3871.0, "Read in inches?"),
        (387.1, 3871.0, "Read in centimetres?"),
        (12.7, 3871.0, "Read in feet?"),
        (2222.0, 3871.0, ""),
    ],
)
def test_a_likely_slip_of_the_tape_is_named(read: float, photos: float, words: str) -> None:
    assert _slip(read, photos, 3.0).strip() == words


def test_a_taped_length_that_the_photos_contradict_is_a_stop_with_both_lengths(case: Case) -> None:
    truth = case.truth["width_mm"]
    wrong = replace(case.problem, wall=replace(case.problem.wall, taped={"width_mm": truth + 1000.0}))
    found = [f for f in measure_wall(wrong).findings if f.code == "M040"]
    assert found
    assert f"{truth + 1000.0:.0f}" in found[0].message
    assert "1000 mm slip?" in found[0].message


# First guesses


def test_marks_of_no_corner_have_no_place_on_the_wall() -> None:
    mark = Mark(photo="a.jpg", wall="north", point="edge_inner", px=(1.0, 2.0))
    assert start.mark_place(mark) is None
    socket = Mark(photo="a.jpg", wall="north", point="top_left", px=(1.0, 2.0), feature="s1")
    assert start.mark_place(socket) == "s1/top_left"


def test_the_scale_comes_from_the_tape_where_both_ends_are_marked_and_not_else(case: Case) -> None:
    corners = tuple(m for m in case.problem.marks if m.opening is None)
    bare = replace(case.problem, marks=corners, sightings=(), references=(), edges=())
    truth = case.truth["width_mm"]
    taped = replace(bare, wall=replace(bare.wall, taped={"width_mm": truth}))
    width = measure_wall(taped).measured.width_mm
    assert width is not None
    assert abs(width.value - truth) < 5.0
    odd = replace(bare, wall=replace(bare.wall, taped={"thickness_mm": 230.0}))
    assert "M004" in codes(odd)


@pytest.mark.parametrize("key", ["width_mm", "height_mm"])
@pytest.mark.parametrize("seed", range(4))
def test_the_tape_alone_gives_the_scale_where_a_reveal_is_marked_too(seed: int, key: str) -> None:
    drawn = simulate(SHEETS, np.random.default_rng(seed))
    taped = replace(drawn.problem.wall, taped={key: drawn.truth[key]})
    measured = measure_wall(replace(drawn.problem, sightings=(), references=(), edges=(), wall=taped)).measured
    for name in ("width_mm", "height_mm"):
        size = getattr(measured, name)
        assert size.sd < 10.0
        assert abs(size.value - drawn.truth[name]) < 3.5 * size.sd
    assert "M004" not in {finding.code for finding in measured.findings}


def test_a_photo_behind_the_wall_fits_nothing() -> None:
    behind = Pose(rotation=np.eye(3), translation_mm=np.array([0.0, 0.0, -100.0]))
    assert start._misfit(behind, np.zeros((4, 2)), np.zeros((4, 2))) == np.inf


@pytest.mark.parametrize("known", [(), ("bottom_left",), ("bottom_right",), ("top_left",), ("top_right",)])
def test_a_wall_is_completed_from_any_one_corner_as_a_rectangle(known: tuple[str, ...]) -> None:
    given = {f"wall/{corner}": np.array([100.0, 200.0]) for corner in known}
    whole = start.complete_wall(given)
    left, right = (whole[f"wall/bottom_{side}"][0] for side in ("left", "right"))
    bottom, top = (whole[f"wall/{end}_left"][1] for end in ("bottom", "top"))
    assert {f"wall/{c}" for c in CORNERS} <= set(whole)
    assert right - left >= 500.0
    assert top - bottom >= 300.0
    for corner in known:
        assert whole[f"wall/{corner}"] == pytest.approx([100.0, 200.0])


def test_a_completed_wall_takes_its_openings_in() -> None:
    whole = start.complete_wall(
        {"w1/top_right": np.array([5000.0, 2600.0]), "w1/bottom_left": np.array([900.0, 900.0])}
    )
    assert whole["wall/top_right"][0] > 5000.0
    assert whole["wall/top_right"][1] > 2600.0


# The wall's edge


def edge_problem(points: FloatArray, *, sighted: bool = True) -> WallProblem:
    marks = tuple(
        Mark(photo="a.jpg", wall="north", point=point, px=px, sd_px=1.0)
        for point, px in (("edge_inner", (1900.0, 1500.0)), ("edge_outer", (2100.0, 1500.0)))
    )
    sheet = DeclaredReference(
        id="c", kind="id1_card", wall="north",
        width_mm=Measured(value=85.6, sd=0.1), height_mm=Measured(value=54.0, sd=0.1),
    )  # fmt: skip
    return WallProblem(
        wall=DeclaredWall(id="north", openings=(DeclaredOpening(id="w1"),)), photos=(PHOTO,), marks=marks,
        references=(sheet,), sightings=(replace(card(points), confirmed=True),) if sighted else (),
    )  # fmt: skip


def test_the_edge_of_a_wall_needs_both_sides_and_a_reference_across_it() -> None:
    square = np.array([[1950.0, 1480], [2050, 1480], [2050, 1543], [1950, 1543]])
    thickness, findings = edge_thickness(edge_problem(square))
    assert findings == []
    assert thickness is not None
    assert thickness.value == pytest.approx(85.6 * 2.0, rel=0.02)  # 200 px where the card's 85.6 mm are 100 px
    whole = edge_problem(square)
    assert [f.code for f in edge_thickness(replace(whole, marks=whole.marks[:1]))[1]] == ["M050"]
    assert [f.code for f in edge_thickness(edge_problem(square, sighted=False))[1]] == ["M051"]


# What does not agree


def test_a_focal_length_that_the_photo_belies_is_said(case: Case) -> None:
    wrong = tuple(replace(p, focal_px=1.35 * p.focal_px) for p in case.problem.photos)
    found = [f for f in measure_wall(replace(case.problem, photos=wrong)).findings if f.code == "M030"]
    assert found
    assert "times as long as the photo's details say" in found[0].message


def test_a_photo_cut_down_at_one_side_is_said_to_look_cropped(case: Case) -> None:
    moved = np.array([420.0, 0.0])
    marks = tuple(replace(m, px=tuple(np.array(m.px) + moved)) for m in case.problem.marks)
    seen = tuple(
        replace(s, points_px=s.points_px + moved, corners_px=s.corners_px + moved) for s in case.problem.sightings
    )
    edges_ = tuple(replace(e, points_px=e.points_px + moved) for e in case.problem.edges)
    cropped = replace(case.problem, marks=marks, sightings=seen, edges=edges_)
    assert {f.code for f in measure_wall(cropped).findings} & {"M031", "M032", "M014"}


def test_the_strongest_pull_of_a_reference_names_what_is_wrong_with_it(case: Case) -> None:
    sheet = case.problem.references[0]
    told = []
    for pulls in ((9.0, 1.0, 2.0), (1.0, 9.0, 2.0), (1.0, 2.0, 9.0)):
        proportions, size, lean = (reference_pulls.Said(pull=pull, estimate=0.04) for pull in pulls)
        said = reference_pulls.ReferenceSaid(proportions=proportions, size=size, lean=lean)
        told.append(reference_pulls.wrong_reference(sheet, {}, said).code)
    assert told == ["M020", "M022", "M021"]


def test_a_declared_sheet_without_a_number_takes_the_one_stranger_and_never_one_of_two(case: Case) -> None:
    known = replace(case.problem.references[0], id="known", number=17)
    unnumbered = replace(known, id="mine", number=None)
    assert references._sheet_name(17, [known, unnumbered], [17, 20]) == "known"
    assert references._sheet_name(20, [known, unnumbered], [17, 20]) == "mine"
    assert references._sheet_name(20, [known, unnumbered], [17, 20, 21]) == "sheet-20"
    assert references._sheet_name(20, [known], [20]) == "sheet-20"


def test_a_reference_tells_how_high_an_opening_on_its_wall_is(case: Case) -> None:
    file = case.problem.photos[0].file
    rectangle = np.array([[500.0, 810, 0], [797, 810, 0], [797, 600, 0], [500, 600, 0]])
    corners = case.project(file, rectangle)
    seen = next(s for s in case.problem.sightings if s.photo == file)
    sightings = (replace(seen, confirmed=True, corners_px=corners),)
    search = references.ReferenceSearch(sightings=sightings, findings=())
    asked = {s.reference: "north" for s in sightings}
    marks = [replace(m, wall="north") for m in case.problem.marks]
    heights = references.opening_heights(search, marks, asked, photo=file, size_px=(4000, 3000))
    assert list(heights) == [("north", "w1")]
    assert heights["north", "w1"] == pytest.approx(case.truth["openings.w1.height_mm"], rel=0.1)
    unsure = references.ReferenceSearch(sightings=tuple(replace(s, confirmed=False) for s in sightings), findings=())
    assert references.opening_heights(unsure, marks, asked, photo=file, size_px=(4000, 3000)) == {}


def test_a_wall_has_no_thickness_unless_all_its_parts_are_known() -> None:
    reveal, outer = Measured(value=130.0, sd=2.0), Measured(value=30.0, sd=2.0)
    assert results.thickness(reveal, None, outer, None) is None
    assert results.thickness(None, 70.0, outer, None) is None
    whole = results.thickness(reveal, 70.0, outer, None)
    assert whole is not None
    assert whole.value == 230.0
    assert results.thickness(reveal, 70.0, outer, Measured(value=238.0, sd=1.0)) == Measured(value=238.0, sd=1.0)


def test_four_corners_in_no_order_are_left_out_and_a_swapped_pair_is_mended(case: Case) -> None:
    file = case.problem.photos[0].file
    own = {m.point: m for m in case.problem.marks if m.photo == file and m.opening is None}
    rest = tuple(m for m in case.problem.marks if m not in own.values())
    line = {p: replace(m, px=(1000.0 + 300.0 * k, 1500.0)) for k, (p, m) in enumerate(own.items())}
    assert "M012" in codes(replace(case.problem, marks=(*rest, *line.values())))
    a, b = own["bottom_left"], own["top_left"]
    swapped = {**own, "bottom_left": replace(a, px=b.px), "top_left": replace(b, px=a.px)}
    assert "M011" in codes(replace(case.problem, marks=(*rest, *swapped.values())))


def test_a_size_that_no_house_has_is_not_stated_however_sure_the_sum_is_of_it(
    solved: WallSolution, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert solved.solution is not None
    named, rows, covariance = results.solved_sizes(solved.solution, [])
    assert results.measured_from_solution(solved.problem, solved.solution, []).width_mm is not None
    monkeypatch.setattr(results, "solved_sizes", lambda *_: (named | {"width_mm": 8e22}, rows, covariance))
    assert results.measured_from_solution(solved.problem, solved.solution, []).width_mm is None
