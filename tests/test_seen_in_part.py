"""Pictures and marks that show only part of what is sought: each function says so, or takes the part that is there."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import cv2
import numpy as np
import pytest

from tests.simulated_walls import Case, View, simulate, two_sheets_three_photos
from vision import bond_lattice, brick_courses, brick_pattern, brick_plane, crossings, edges, start
from vision.bond_types import bond_probability, fit_bonds
from vision.brick_pattern import Face, Pattern
from vision.brick_pitch import _refined
from vision.brick_scale import find_scale
from vision.crossed_edges import _straightest, cross_edges
from vision.crossings import find_crossing
from vision.follow import follow
from vision.forecast import forecast
from vision.measure import WallSolution, measure_wall
from vision.model import Places, Surface, world_points
from vision.plane_view import views_of_marks
from vision.pose import Pose, planar_poses
from vision.problem import WallProblem
from vision.proposed_openings import _change, _joined, find_openings
from vision.proposed_outline import _middle, _ray_support, best_outline
from vision.proposed_plates import _peak, find_plates
from vision.results import measured_from_tape
from vision.square_on import EdgeMaps, SquareOn
from vision.start import views
from vision.swapped_corners import untangle
from vision.wall_edge import edge_thickness
from vision.walls import CORNERS, DeclaredReference, DeclaredWall, Mark, Measured, Photo, Sighting

WALL_BOX = (0.0, 0.0, 3000.0, 2400.0)
PHOTO = Photo(file="a.jpg", width_px=4000, height_px=3000, phone="p", focal_px=3000.0)


@pytest.fixture(scope="module")
def case() -> Case:
    return simulate(two_sheets_three_photos(), np.random.default_rng(21))


@pytest.fixture(scope="module")
def solved(case: Case) -> WallSolution:
    return measure_wall(case.problem)


# Bricks


def test_no_courses_are_no_evidence_of_any_bond() -> None:
    fit = fit_bonds([], on_edge=False)
    assert fit.bricks == 0
    assert fit.log_likelihood["english"] == fit.log_likelihood["english_garden"] == -np.inf
    assert fit.log_likelihood["stretcher"] == fit.log_likelihood["flemish"] == 0.0
    assert bond_probability(fit, readable=0.0)["none_to_read"] == 1.0


def test_a_face_of_three_courses_is_too_low_to_find_courses_on() -> None:
    rng = np.random.default_rng(0)
    lab = rng.normal(50.0, 5.0, (60, 500, 3))
    assert brick_courses.find_courses(lab, np.ones((60, 500), dtype=bool), 30.0) is None


def test_beds_are_numbered_as_far_as_the_face_goes_and_never_beyond_four_hundred() -> None:
    even = np.array([50.0, 10.0, 0.0, 0.0, 0.0, 0.0])
    assert brick_courses._numbers_inside(even, 100) == (-5, 5)
    assert brick_courses._numbers_inside(even, 1000) == (-5, 95)
    fine = np.array([5000.0, 1.0, 0.0, 0.0, 0.0, 0.0])
    assert brick_courses._numbers_inside(fine, 10_000) == (-400, 400)


def test_a_hidden_face_has_no_pitch() -> None:
    face = Face(
        lab=np.zeros((200, 300, 3), dtype=np.float32), seen=np.zeros((200, 300), dtype=bool), photo_from_face=np.eye(3)
    )
    assert brick_pattern._first_pitch(face) == (20.0, 0.0)


def test_a_period_of_half_a_short_profile_cannot_be_refined() -> None:
    assert _refined(np.array([1.0, 0.5, 0.8, 0.2]), 2.0, 4) == 2.0
    waves = np.cos(2 * np.pi * np.arange(200) / 12.5)
    assert _refined(waves, 12.0, 200) == pytest.approx(12.5, abs=0.05)


def test_a_paling_of_upright_lines_is_no_brickwork() -> None:
    paling = np.tile(np.repeat([60, 190], 6), 50)[None, :] * np.ones((300, 1))
    gaps = np.arange(300) % 40 < 4
    paling[gaps] = 125  # broken, so that there are many pieces
    assert len(brick_plane.line_segments(paling)) > 40
    assert brick_plane.find_plane(paling, 500.0) is None


def test_a_reference_of_two_points_gives_bricks_no_scale() -> None:
    pattern = SimpleNamespace(face=SimpleNamespace(photo_from_face=np.eye(3)))
    two = np.array([[0.0, 0.0], [85.6, 54.0]])
    sighting = Sighting(
        reference="c", kind="id1_card", photo="a.jpg", model_mm=two, points_px=two, sd_px=np.ones(2),
        bloom_px=np.zeros((2, 2)), corners_px=two,
    )  # fmt: skip
    assert find_scale(cast("Pattern", pattern), [sighting], turned=False, width=100) is None


def test_more_modules_than_there_is_room_for_are_those_that_differ() -> None:
    evidence = np.zeros((6, 700))
    evidence[:, 30::60] = 4.0
    few, many = (bond_lattice.module_candidates(evidence, 20.0, count=n) for n in (3, 30))
    assert len(few) == 4
    assert few[0].stretcher_px == pytest.approx(60.0, abs=1.0)
    *flat, on_edge = many
    lengths = np.sort([m.stretcher_px for m in flat])
    assert 4 < len(flat) < 10
    assert np.diff(lengths).min() > 4.0
    assert on_edge.stretcher_px < lengths[0]


# Edges and crossings


def smooth(grey: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.7))


def wedge(corners: list[tuple[int, int]]) -> np.ndarray:
    """Return a dark picture with one light shape."""
    grey = np.full((160, 240), 70, np.uint8)
    cv2.fillPoly(grey, [np.array(corners, np.int32)], 200)
    return smooth(grey)


@pytest.mark.parametrize(
    ("grey", "click"),
    [
        (wedge([(20, 60), (240, 60), (240, 141)]), (110.0, 75.0)),  # they meet 90 pixels away
        (wedge([(0, 60), (60, 60), (60, 64), (0, 64)]) // 2 + wedge([(90, 0), (240, 0), (240, 160), (90, 160)]) // 2,
         (85.0, 60.0)),  # the level one stops thirty pixels short
    ],
    ids=["they meet far off", "one stops short"],
)  # fmt: skip
def test_two_edges_that_do_not_meet_beneath_a_click_make_no_corner(
    grey: np.ndarray, click: tuple[float, float]
) -> None:
    assert find_crossing(grey, click, reach_px=24.0) == "no crossing within reach"


@pytest.mark.parametrize(
    ("tile", "reason"), [(15, "no crossing within reach"), (22, "two crossings as likely")], ids=["short arms", "long"]
)
def test_among_many_corners_none_is_preferred(tile: int, reason: str) -> None:
    tiles = np.kron(np.indices((20, 20)).sum(axis=0) % 2, np.ones((tile, tile)))
    grey = smooth((60 + 140 * tiles).astype(np.uint8))
    middle = 5.5 * tile - 0.5
    assert find_crossing(grey, (middle, middle), reach_px=24.0) == reason


def edgels(points: list[tuple[float, float]], gradient: tuple[float, float]) -> crossings._Edgels:
    """Return edge points of one direction."""
    at = np.array(points)
    return crossings._Edgels(at=at, gradient=np.tile(np.array(gradient), (len(at), 1)), strength=np.full(len(at), 5.0))


def test_a_line_needs_nine_points_and_a_corner_six_beyond_the_blur() -> None:
    near = np.ones(8, dtype=bool)
    eight = edgels([(float(x), 10.0) for x in range(8)], (0.0, 1.0))
    assert crossings._fitted(eight, np.array([0.0, 1.0]), 10.0, near) is None
    level = [(float(x), 10.0) for x in range(4, 30)]
    both = edgels([*level, *((4.0, float(y)) for y in range(10, 16))], (0.0, 1.0))
    lines = (
        crossings._Line(normal=np.array([0.0, 1.0]), offset=10.0, members=np.arange(26)),
        crossings._Line(normal=np.array([1.0, 0.0]), offset=4.0, members=np.arange(26, 32)),
    )
    search = crossings._Search(edgels=both, centre=np.array([4.0, 10.0]), reach_px=20.0, smooth_px=1.2, arm_px=26.0)
    assert crossings._refined(lines, np.array([4.0, 10.0]), search) == "no crossing within reach"


def test_a_corner_that_moves_out_of_reach_when_its_edges_are_fitted_anew_is_none() -> None:
    level = [(float(x), 10.0) for x in range(4, 30)]
    upright = [(4.0, float(y)) for y in range(10, 36)]
    points = edgels([*level, *upright], (0.0, 1.0))
    lines = (
        crossings._Line(normal=np.array([0.0, 1.0]), offset=10.0, members=np.arange(26)),
        crossings._Line(normal=np.array([1.0, 0.0]), offset=4.0, members=np.arange(26, 52)),
    )
    for off, found in ((19.0, True), (23.0, False)):
        centre = np.array([4.0 + off, 10.0])
        search = crossings._Search(edgels=points, centre=centre, reach_px=20.0, smooth_px=1.2, arm_px=26.0)
        corner = crossings._refined(lines, np.array([4.0, 10.0]), search)
        assert isinstance(corner, crossings.Crossing) is found
        if isinstance(corner, crossings.Crossing):
            assert corner.px == pytest.approx((4.0, 10.0), abs=1e-6)
        else:
            assert corner == "no crossing within reach"


def test_pieces_drawn_outside_the_picture_or_over_scattered_specks_count_as_drawn() -> None:
    blank = np.full((120, 160), 128, np.uint8)
    drawn = np.array([[[-300.0, 50], [-240, 50]], [[-320, 90], [-320, 160]]])
    found = cross_edges(blank, drawn, hand_sd_px=2.0)
    assert not isinstance(found, str)
    assert found.fitted == (False, False)
    assert found.px == pytest.approx((-320.0, 50.0))
    rng = np.random.default_rng(7)
    specks = np.column_stack([np.linspace(-40, 40, 48), rng.uniform(-12, 12, 48), np.full(48, 0.2)])
    assert _straightest(specks, 2.0) is None
    specks[:, 1] = 3.0 + 0.02 * specks[:, 0]
    straight = _straightest(specks, 2.0)
    assert straight is not None
    assert len(straight[0]) == 48


def test_an_edge_that_is_unknown_hardly_there_or_outside_the_picture_is_not_traced(
    solved: WallSolution, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = solved.files[0]
    assert edges._edge_curve(solved, file, "nothing", "top", False, 0.0) is None
    blank = np.full((120, 160), 128, np.uint8)
    assert edges._trace(blank, solved, file, ("nothing", "top"), frame=False, proud_mm=0.0) is None
    assert edges.trace_edges(blank, solved, file) == []
    curve = edges._edge_curve(solved, file, "w1", "left", False, 0.0)
    assert curve is not None
    assert np.linalg.norm(curve[0][-1] - curve[0][0]) > 300.0
    monkeypatch.setattr(edges, "SHORTEST_PX", 1e5)
    assert edges._edge_curve(solved, file, "w1", "left", False, 0.0) is None
    assert not edges._thin_face(solved, file, "w1", "left")
    assert edges.trace_edges(np.full((3000, 4000), 128, np.uint8), solved, file) == []


# Marks that move, photos that show a part


def nudged(problem: WallProblem, number: int, px: tuple[float, float]) -> WallProblem:
    """Return the problem with one mark elsewhere."""
    marks = list(problem.marks)
    marks[number] = replace(marks[number], px=px)
    return replace(problem, marks=tuple(marks))


def test_a_mark_that_did_not_count_or_moved_too_far_is_not_followed(case: Case, solved: WallSolution) -> None:
    stray = replace(case.problem.marks[0], photo="gone.jpg")
    was = replace(case.problem, marks=(*case.problem.marks, stray))
    before = measure_wall(was)
    last = len(was.marks) - 1
    assert follow(before, was, nudged(was, last, (10.0, 10.0))) is None
    x, y = case.problem.marks[0].px
    assert follow(solved, case.problem, nudged(case.problem, 0, (x + 1.0, y))) is not None
    for far in ((x + 1500.0, y), (float("nan"), y), (float("inf"), y)):
        assert follow(solved, case.problem, nudged(case.problem, 0, far)) is None


def test_sides_of_the_wall_that_a_photo_does_not_show_are_not_foretold(case: Case) -> None:
    near = replace(
        two_sheets_three_photos(), photos=(View(yaw=(-6, 6), distance_m=3.7), View(yaw=(0, 4), distance_m=1.3, of="w1"))
    )
    drawn = simulate(near, np.random.default_rng(3))
    expected = forecast(replace(drawn.problem, edges=()))
    assert expected is not None
    traced = {(trace.photo, trace.edge[1]) for trace in expected.problem.edges}
    assert {edge for file, edge in traced if file == "photo0.jpg"} == {"bottom", "right", "top", "left"}
    assert len([1 for file, _ in traced if file == "photo1.jpg"]) < 4


def test_nothing_observed_has_no_points_in_space() -> None:
    places = Places()
    places.freeze()
    surface = Surface(block=slice(0, 3), middle_mm=(2000.0, 1200.0), half_mm=(2000.0, 1200.0))
    points, slopes = world_points(places, np.zeros(7), surface)
    assert (points.shape, slopes.shape) == ((0, 3), (0, 3, 7))


def test_a_photo_that_shows_only_the_walls_edge_shows_nothing_of_its_face() -> None:
    edge = Mark(photo="a.jpg", wall="north", point="edge_inner", px=(5.0, 6.0))
    corner = Mark(photo="b.jpg", wall="north", point="top_left", px=(5.0, 6.0))
    back = replace(corner, opening="w1", face="frame")
    seen = views([PHOTO, replace(PHOTO, file="b.jpg")], [edge, corner, back], [], {})
    assert [view.photo.file for view in seen] == ["b.jpg"]
    assert (set(seen[0].points), set(seen[0].backs)) == ({"wall/top_left"}, {"w1/top_left"})


def test_the_tape_scales_by_the_first_size_whose_two_ends_a_photo_shows() -> None:
    pose = Pose(rotation=np.diag([1.0, -1.0, -1.0]), translation_mm=np.array([0.0, 0.0, 3.0]))
    plane = {"bottom_left": (0.0, 0.0), "bottom_right": (2.0, 0.0), "top_left": (0.0, 1.5)}
    points = {f"wall/{c}": np.array([x / 3.0, -y / 3.0]) for c, (x, y) in plane.items()}
    view = start.View(photo=PHOTO, points=points)
    assert start._scale_from_tape(view, pose, {"height_mm": 3000.0}) == pytest.approx(2000.0)
    of_others = {"thickness_mm": 240.0, "openings.w9.width_mm": 1200.0}
    assert start._scale_from_tape(view, pose, {**of_others, "width_mm": 5000.0}) == pytest.approx(2500.0)
    assert start._scale_from_tape(view, pose, of_others) is None


def test_a_reference_that_nobody_has_placed_yet_places_no_photo() -> None:
    view = start.View(photo=PHOTO, references={"r0": (np.zeros((4, 2)), np.zeros((4, 2)))})
    plane, ideal = start._known(start.Guess(), view)
    assert (plane.shape, ideal.shape) == ((0, 2), (0, 2))
    assert start.place_photo(start.Guess(), view) == []


@pytest.mark.parametrize("at", [0.1, np.nan], ids=["one spot", "not a number"])
def test_a_rectangle_seen_as_a_spot_tells_no_pose(at: float) -> None:
    card = np.array([[0.0, 0], [85.6, 0], [85.6, 54], [0, 54]])
    assert planar_poses(card, np.full((4, 2), at)) == []


def test_a_card_seen_as_a_spot_across_the_walls_edge_tells_no_thickness() -> None:
    marks = tuple(
        Mark(photo="a.jpg", wall="north", point=point, px=(x, 1500.0))
        for point, x in (("edge_inner", 1900.0), ("edge_outer", 2100.0))
    )
    card = DeclaredReference(
        id="c", kind="id1_card", wall="north", width_mm=Measured(value=85.6, sd=0.1),
        height_mm=Measured(value=54.0, sd=0.1),
    )  # fmt: skip
    spot = np.full((4, 2), 2000.0)
    seen = Sighting(
        reference="c", kind="id1_card", photo="a.jpg", points_px=spot, sd_px=np.ones(4), bloom_px=np.zeros((4, 2)),
        model_mm=np.array([[0.0, 0], [85.6, 0], [85.6, 54], [0, 54]]), corners_px=spot,
    )  # fmt: skip
    problem = WallProblem(
        wall=DeclaredWall(id="north"), photos=(PHOTO,), marks=marks, references=(card,), sightings=(seen,)
    )
    assert edge_thickness(problem) == (None, [])


def test_marks_of_the_walls_edge_take_no_part_in_sorting_corners() -> None:
    corners = dict(zip(CORNERS, [(100.0, 900.0), (900.0, 900.0), (900.0, 100.0), (100.0, 100.0)], strict=True))
    marks = tuple(Mark(photo="a.jpg", wall="north", point=c, px=px) for c, px in corners.items())
    with_edge = (*marks, replace(marks[0], point="edge_inner", px=(500.0, 500.0)))
    kept, findings = untangle(WallProblem(wall=DeclaredWall(id="north"), photos=(PHOTO,), marks=with_edge))
    assert (kept, findings) == (with_edge, [])


def test_two_sides_that_were_taped_give_their_mean_and_one_alone_does_not() -> None:
    both = {"width_bottom_mm": 4000.0, "width_top_mm": 4010.0, "height_left_mm": 2400.0}
    wall = measured_from_tape(WallProblem(wall=DeclaredWall(id="north", taped=both)), [])
    assert wall.width_mm is not None
    assert wall.width_bottom_mm is not None
    assert wall.width_top_mm is not None
    assert wall.width_mm.value == 4005.0
    assert wall.width_mm.sd == pytest.approx(np.hypot(wall.width_bottom_mm.sd, wall.width_top_mm.sd) / 2.0)
    assert wall.height_mm is None
    said = measured_from_tape(WallProblem(wall=DeclaredWall(id="north", taped=both | {"width_mm": 4003.0})), [])
    assert said.width_mm is not None
    assert said.width_mm.value == 4003.0


# Proposals


def test_panes_beside_or_above_each_other_are_one_window_and_those_apart_are_two() -> None:
    left, right, above, far = (
        (1000.0, 900.0, 1500.0, 2000.0), (1540.0, 905.0, 2040.0, 1995.0), (1000.0, 2030.0, 1500.0, 2300.0),
        (3000.0, 900.0, 3500.0, 2000.0),
    )  # fmt: skip
    assert _joined([left, right]) == [(1000.0, 900.0, 2040.0, 2000.0)]
    assert _joined([left, above]) == [(1000.0, 900.0, 1500.0, 2300.0)]
    assert _joined([left, far, right]) == [far, (1000.0, 900.0, 2040.0, 2000.0)]
    assert _joined([left, far]) == [left, far]


def lines(*, upright: tuple[int, ...] = (), level: tuple[int, ...] = ()) -> EdgeMaps:
    """Return the maps of a wall that shows these lines (columns and rows of 10 mm) from end to end and nothing else."""
    across = np.zeros((240, 300), dtype=np.float32)
    up = np.zeros((240, 300), dtype=np.float32)
    across[:, list(upright)] = 1.0
    up[list(level)] = 1.0
    return EdgeMaps(upright=across, level=up, seen=np.ones((240, 300), dtype=bool))


BARE = SquareOn(
    light=np.zeros((240, 300), np.float32), seen=np.ones((240, 300), bool), x_mm=np.arange(0.0, 3000.0, 10.0),
    y_mm=np.arange(0.0, 2400.0, 10.0), mm_per_px=10.0, about_mm=np.zeros((0, 2)),
)  # fmt: skip
INNER = (1400.0, 1100.0, 1600.0, 1200.0)


@pytest.mark.parametrize(
    ("upright", "level"),
    [((), ()), ((50, 150), ()), ((), (90, 180)), ((50, 65), (90, 180)), ((50, 150), (90, 105))],
    ids=["no lines", "no level ones", "no upright ones", "too narrow", "too low"],
)
def test_lines_that_bound_nothing_of_a_windows_size_are_no_opening(
    upright: tuple[int, ...], level: tuple[int, ...]
) -> None:
    assert find_openings(BARE, lines(upright=upright, level=level), WALL_BOX, INNER) == []


def test_a_wall_is_proposed_of_lines_as_far_apart_as_walls_are_and_of_none_nearer() -> None:
    rays = np.zeros((0, 4))
    box = best_outline(BARE, lines(upright=(20, 280), level=(3, 232)), INNER, rays)
    assert box is not None
    assert box[1] == pytest.approx((200.0, 30.0, 2800.0, 2320.0))
    assert best_outline(BARE, lines(upright=(110, 190), level=(3, 232)), INNER, rays) is None
    assert best_outline(BARE, lines(upright=(20, 280), level=(80, 150)), INNER, rays) is None
    assert best_outline(BARE, lines(level=(3, 232)), INNER, rays) is None


def test_a_wall_of_which_one_end_hardly_shows_is_none_unless_edges_run_from_that_end_to_the_viewer() -> None:
    maps = lines(upright=(20, 280), level=(3, 232))
    maps.upright[:, 280] = 0.0
    maps.upright[60:84, 280] = 1.0  # a tenth of the end
    off_centre = replace(BARE, x_mm=BARE.x_mm - 1500.0, y_mm=BARE.y_mm - 1200.0)
    inner = (-100.0, -100.0, 100.0, 0.0)
    assert best_outline(off_centre, maps, inner, np.zeros((0, 4))) is None
    rays = np.array([[1310.0, 1128.0, 2100.0, 1808.0]])
    found = best_outline(off_centre, maps, inner, rays)
    assert found is not None
    assert found[1] == pytest.approx((-1300.0, -1170.0, 1300.0, 1120.0))


def test_an_edge_lies_in_the_middle_of_its_hits_whichever_of_its_lines_was_chosen() -> None:
    places = np.arange(0.0, 300.0, 10.0)
    edges = np.zeros((40, 30), dtype=np.float32)
    edges[:30, 11:14] = 1.0
    edges[30:, 12:15] = 1.0  # a quarter of it lies one line further along
    assert [_middle(edges, places, np.int64(line)) for line in (12, 13)] == pytest.approx([122.5, 122.5])
    assert _middle(np.zeros((40, 30), np.float32), places, np.int64(7)) == 70.0


def test_a_strip_of_wall_lower_than_a_plate_has_none() -> None:
    strip = replace(BARE, light=np.zeros((12, 300), np.float32), mm_per_px=3.0)
    assert find_plates(strip, WALL_BOX, []) == []


def test_where_there_are_no_rows_no_light_changes_and_at_the_rim_no_step_has_a_top() -> None:
    light = np.tile(np.repeat([0.0, 1.0], 10), (6, 1)).astype(np.float32)
    columns = np.arange(4, 16)
    assert _change(light, np.zeros(0, dtype=np.int64), columns).tolist() == [[0.0] * 12]
    change = _change(light, np.arange(6), columns)
    assert change.max() == 1.0
    assert columns[change[0].argmax()] in (9, 10)
    slope = np.zeros(30, dtype=np.float32)
    slope[9:12] = 0.5, 1.0, 0.5
    assert _peak(slope, 11, 1.0) == pytest.approx((10.0, 1.0))
    assert _peak(slope, 11, -1.0) is None
    assert _peak(slope, -10, 1.0) is None
    assert _peak(slope[:2], 1, 1.0) is None


def test_an_edge_towards_the_viewer_speaks_for_the_corner_it_ends_in_and_a_point_for_none() -> None:
    corner = np.array([2000.0]), np.array([0.0])
    ray = np.array([[2050.0, 0.0, 3000.0, 0.0]])
    assert _ray_support(ray, *corner)[0] > 0.8
    assert _ray_support(ray, corner[0], np.array([900.0]))[0] < 1e-6
    speck = np.array([[2050.0, 0.0, 2050.5, 0.0]])
    assert _ray_support(speck, *corner)[0] == 0.0


def test_what_is_marked_on_things_and_references_tells_nothing_of_a_walls_plane() -> None:
    corners = dict(zip(CORNERS, [(500.0, 2500.0), (3500.0, 2500.0), (3500.0, 500.0), (500.0, 500.0)], strict=True))
    marks = [Mark(photo="a.jpg", wall="north", point=c, px=px) for c, px in corners.items()]
    size = (PHOTO.width_px, PHOTO.height_px)
    assert set(views_of_marks(marks, size)) == {"north"}
    assert views_of_marks([replace(m, feature="s1") for m in marks], size) == {}
    assert views_of_marks([replace(m, wall=None, reference="r0") for m in marks], size) == {}
    assert views_of_marks(marks[:3], size) == {}
    tiny = [replace(m, px=(m.px[0] / 300.0, m.px[1] / 300.0)) for m in marks]
    assert views_of_marks(tiny, size) == {}
