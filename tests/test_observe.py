"""The residuals of one wall: the plain model's word for word, their derivatives, and what belongs to which row."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from tests.plain_wall import (
    CORNER,
    DEPTH_MM,
    PLACED,
    SHARES,
    TRACED,
    Plain,
    moved,
    plain_guess,
    plain_problem,
    pose_of,
    trace_of,
)
from vision import priors
from vision.lengths import tape_sd_mm
from vision.model import State
from vision.observe import Observations
from vision.unknowns import Unknowns, _parallax
from vision.walls import Mark


@pytest.fixture(scope="module")
def obs() -> Observations:
    return Observations(plain_problem(), plain_guess())


@pytest.fixture(scope="module", params=[3, 4], ids=["one state", "another state"])
def plain(obs: Observations, request: pytest.FixtureRequest) -> Plain:
    return Plain(obs=obs, state=moved(obs, np.random.default_rng(request.param)))


def rows(obs: Observations, state: State) -> dict[str, list[float]]:
    """Return the whitened residuals at a state in their five parts."""
    residuals, _ = obs.evaluate(state)
    after = obs.rows_edges.stop
    priors_end = after + len(obs.prior_column)
    square_end = obs.rows_tape.start - 2 * len(obs.pairs)
    bounds = {
        "points": obs.rows_points, "edges": obs.rows_edges, "priors": slice(after, priors_end),
        "square": slice(priors_end, square_end), "print": slice(square_end, obs.rows_tape.start), "tape": obs.rows_tape,
    }  # fmt: skip
    assert bounds["tape"].stop == len(residuals) == len(obs.source)
    return {name: list(residuals[where]) for name, where in bounds.items()}


def test_marks_references_edges_sizes_and_squareness_miss_by_what_the_plain_model_says(plain: Plain) -> None:
    found = rows(plain.obs, plain.state)
    assert found["points"] == pytest.approx([*plain.marks(), *plain.sightings()], abs=1e-6)
    assert found["edges"] == pytest.approx(plain.edges(), abs=1e-6)
    assert found["square"] == pytest.approx(plain.squareness(), abs=1e-9)
    assert found["print"] == pytest.approx(plain.print_scale(), abs=1e-9)
    assert found["tape"] == pytest.approx(plain.tape(), abs=1e-9)


def test_a_prior_pulls_each_unknown_back_to_its_mean_by_its_own_spread(plain: Plain) -> None:
    obs, vector = plain.obs, plain.state.vector
    pulls = rows(obs, plain.state)["priors"]
    told = zip(obs.prior_column, obs.prior_mean, obs.prior_sd, strict=True)
    assert pulls == pytest.approx([(vector[c] - mean) / sd for c, mean, sd in told], abs=1e-9)
    assert len(set(obs.prior_column)) == len(obs.prior_column) - 1  # the taped depth has its own besides the wide one


def test_every_derivative_is_the_slope_of_its_residual(plain: Plain) -> None:
    obs, state = plain.obs, plain.state
    _, J = obs.evaluate(state)
    for column in range(obs.layout.size):
        nudge = np.zeros(obs.layout.size)
        nudge[column] = 1e-3 / max(float(np.linalg.norm(J[:, column])), 1e-9)
        plus, _ = obs.evaluate(obs.cameras.retract(state, nudge))
        minus, _ = obs.evaluate(obs.cameras.retract(state, -nudge))
        block = next(name for name, where in obs.layout.blocks.items() if where.start <= column < where.stop)
        np.testing.assert_allclose(
            J[:, column] * nudge[column], (plus - minus) / 2.0, atol=2e-7, err_msg=f"{block} column {column}"
        )


def test_rows_are_named_by_what_they_come_from(obs: Observations) -> None:
    names = Counter(obs.source)
    assert names["clicks"] == 2 * int(obs.click.sum()) == 2 * 27
    assert names["corners of the reference"] == 2 * 4 * 4
    assert names["edges"] == len(TRACED) * (len(SHARES) + 1)  # each with the prior of its shift
    assert names["straightness of edges"] == 4  # wall left, wall bottom proud, w1 top and bottom; frames do not bow
    assert names["tape"] == 3 + 1  # three sizes of the corners and a depth
    assert names["size of the reference"] == 2 + 2 * 2
    assert names["squareness of the wall"] == 4
    assert names["squareness of openings"] == 4 + 1
    assert names["edge spread"] == 4
    assert names["flatness of the wall"] == 3
    assert names["squareness of the reveal"] == 14
    assert names["reference not flush"] == 3 * 3
    assert names["lens"] == 2 * 5 + 3 * 3
    assert names["nothing"] == 2 * (len(CORNER) - 1) + 1 + 3 * 2
    assert sum(names.values()) == len(obs.source)
    assert list(obs.click) == [isinstance(label, Mark) for label in obs.point_label]
    assert [obs.source[i] for i in (0, 2 * 27, obs.rows_edges.start, -1)] == [
        "clicks", "corners of the reference", "edges", "tape",
    ]  # fmt: skip


def test_every_unknown_has_the_spread_of_its_kind(obs: Observations) -> None:
    told: dict[str, list[tuple[int, float, float, str]]] = {name: [] for name in obs.layout.blocks}
    said = zip(obs.prior_column, obs.prior_mean, obs.prior_sd, obs._prior_source, strict=True)
    for column, mean, sd, source in said:
        name, where = next((n, w) for n, w in obs.layout.blocks.items() if w.start <= column < w.stop)
        told[name].append((int(column - where.start), float(mean), float(sd), source))
    loose, centre = priors.LOOSE_SD_MM, priors.PHOTO_CENTRE_SD_PX
    for name, (x, y) in CORNER.items():
        if name != "wall/bottom_left":
            assert told[f"corner:{name}"] == [(0, x, loose, "nothing"), (1, y, loose, "nothing")]
    assert told["surface"] == [(k, 0.0, sd, "flatness of the wall") for k, sd in enumerate(priors.SURFACE_SD_MM)]
    # a phone's lens: the tightest focal length and middle of its photos, the widest distortion
    assert [sd for _, _, sd, _ in told["lens:p"]] == [0.02, 18.0, 18.0, 0.021, 0.013]
    assert [sd for _, _, sd, _ in told["lens:q"]] == [0.03, 7.0, 7.0, 0.02, 0.01]
    of_lens = [*told["lens:p"], *told["photo:b.jpg"]]
    assert {(mean, source) for _, mean, _, source in of_lens} == {(0.0, "lens")}
    focal = priors.PHOTO_FOCAL_REL_SD
    wider = float(np.hypot(centre, np.sqrt(30.0**2 - 18.0**2)))  # b.jpg may be cut down further than a.jpg
    for file, own in (("a.jpg", centre), ("b.jpg", wider), ("c.jpg", priors.UNKNOWN_TURN_CENTRE_SD_PX)):
        assert told[f"photo:{file}"] == [(0, 0.0, focal, "lens"), (1, 0.0, own, "lens"), (2, 0.0, own, "lens")]
    wide, tilt, warp = priors.REVEAL_SPLAY_WIDE_SD, priors.FRAME_TILT_SD, priors.REVEAL_WARP_SD_MM
    reveal = told["reveal:w1"]
    assert reveal[0] == (0, priors.REVEAL_DEPTH_MEAN_MM, priors.REVEAL_DEPTH_SD_MM, "nothing")
    assert [row[:3] for row in reveal[1:15]] == [
        *((k, 0.0, priors.REVEAL_SPLAY_SD) for k in range(1, 5)), *((k, 0.0, tilt) for k in (5, 6)),
        *((k, 0.0, warp) for k in range(7, 15)),
    ]  # fmt: skip
    assert wide > priors.REVEAL_SPLAY_SD
    assert reveal[15:] == [(0, 182.0, tape_sd_mm(182.0), "tape")]
    sheet, card = told["reference:r0"], told["reference:r1"]
    assert [row[:3] for row in card] == [
        (0, 0.0, loose), (1, 0.0, loose), (3, 0.0, priors.REFERENCE_TILT_SD), (4, 0.0, priors.REFERENCE_TILT_SD),
        (5, 0.0, priors.REFERENCE_STANDOFF_SD_MM), (6, 0.0, 0.07 / 85.6), (7, 0.0, 0.09 / 53.98),
    ]  # fmt: skip
    assert sheet == card[:5]
    first, second = (obs.layout[f"reference:{name}"].start for name in ("r0", "r2"))
    assert obs.pairs == [(at + 6, at + 7, sd, priors.PRINT_ASPECT_SD) for at, sd in ((first, 0.002), (second, 0.001))]
    assert told["bloom:r0@b.jpg"] == [(0, 0.0, 0.15, "edge spread")]
    shifts = {
        "a.jpg:wall:left:0": priors.WALL_EDGE_SHIFT_SD_PX, "a.jpg:wall:bottom:18": priors.PROUD_EDGE_SHIFT_SD_PX,
        "b.jpg:w1/wall:top:0": priors.OPENING_EDGE_SHIFT_SD_PX, "c.jpg:w1/wall:bottom:0": priors.FRAME_EDGE_SHIFT_SD_PX,
        "c.jpg:w1/frame:left:0": priors.FRAME_EDGE_SHIFT_SD_PX,
    }  # fmt: skip
    for name, sd in shifts.items():
        assert told[f"shift:{name}"] == [(0, 0.0, sd, "edges")]
        assert obs.shifts[obs.layout[f"shift:{name}"].start] == sd
    assert len(obs.shifts) == len(TRACED)
    for name, sd in (("wall:left:0", priors.WALL_BOW_SD_MM), ("w1:top:0", priors.OPENING_BOW_SD_MM)):
        assert told[f"bow:{name}"] == [(0, 0.0, sd, "straightness of edges")]
    assert {name for name, priors_ in told.items() if not priors_} == set()


def test_it_starts_where_the_guess_is_and_everything_unsaid_at_nought(obs: Observations) -> None:
    start = obs.start.vector
    assert len(start) == obs.layout.size
    said: dict[str, tuple[float, ...]] = {
        f"corner:{name}": xy for name, xy in CORNER.items() if name != "wall/bottom_left"
    }
    said |= {f"reference:{name}": (*place, 0.0, 0.0, 0.0, 0.0, 0.0) for name, place in PLACED.items()}
    said |= {f"photo:{f}": (*[0.0] * 6, *pose_of(f).translation_mm) for f in ("a.jpg", "b.jpg", "c.jpg")}
    said["reveal:w1"] = (DEPTH_MM, *[0.0] * 14)
    for name, block in obs.layout.blocks.items():
        assert start[block] == pytest.approx(said.get(name, np.zeros(block.stop - block.start))), name
    for i, file in enumerate(("a.jpg", "b.jpg", "c.jpg")):
        assert (obs.start.rotations[i] == pose_of(file).rotation).all()
    stray = replace(plain_guess(), references=PLACED | {"r9": (1.0, 2.0, 3.0)})  # nobody has seen it
    assert (Observations(plain_problem(), stray).start.vector == start).all()
    unsaid = Observations(plain_problem(), replace(plain_guess(), depths={}))
    assert unsaid.start.vector[unsaid.layout["reveal:w1"].start] == priors.REVEAL_DEPTH_MEAN_MM


def test_an_earlier_solution_is_taken_over_by_name_but_for_the_turns_of_the_photos(obs: Observations) -> None:
    earlier = moved(obs, np.random.default_rng(1))
    earlier.vector[:] = np.arange(1.0, len(earlier.vector) + 1.0)
    problem = replace(plain_problem(), edges=(trace_of("b.jpg", "wall", "right", 0.0), *plain_problem().edges))
    later = Observations(problem, plain_guess(), earlier=(obs.layout, earlier))
    new = {"bow:wall:right:0", "shift:b.jpg:wall:right:0"}
    assert set(later.layout.blocks) - set(obs.layout.blocks) == new
    for name, block in later.layout.blocks.items():
        expected = np.zeros(block.stop - block.start) if name in new else earlier.vector[obs.layout[name]].copy()
        if name.startswith("photo:"):
            expected[3:6] = 0.0
        assert list(later.start.vector[block]) == list(expected), name
    assert (later.start.rotations == obs.start.rotations).all()


def shares_of(obs: Observations) -> tuple[list[float], list[float]]:
    """Return where along their edges the samples of fronts and of frames are held to lie."""
    of_edges = set(obs.edge_place.tolist())
    count = len(obs.places.quad_a)
    fronts = [float(s) for i, s in enumerate(obs.places.quad_share) if i in of_edges]
    return fronts, [float(s) for i, s in enumerate(obs.places.back_share) if i + count in of_edges]


def test_a_sample_lies_along_its_edge_where_the_photo_shows_it_and_moves_along_with_a_better_camera() -> None:
    obs = Observations(plain_problem(), plain_guess())
    fronts, frames = shares_of(obs)
    assert fronts == pytest.approx([*SHARES] * 5, abs=1e-6)
    assert frames == pytest.approx([*SHARES] * 2, abs=1e-6)
    clicks = [s for i, s in enumerate(obs.places.quad_share) if i not in set(obs.edge_place.tolist())]
    assert clicks == [0.0] * len(clicks)
    state = State(vector=obs.start.vector.copy(), rotations=obs.start.rotations.copy())
    state.vector[obs.layout["corner:wall/top_left"]] = -12.0, 2 * 2398.0  # the left edge twice as long
    state.vector[obs.layout["reveal:w1"].start] = DEPTH_MM + 40.0
    obs.place_samples(state)
    fronts, frames = shares_of(obs)
    left, foot, again, *openings = np.reshape(fronts, (5, 5))
    assert left == pytest.approx(np.array(SHARES) / 2, abs=1e-4)
    assert again == pytest.approx(left, abs=1e-6)
    assert foot == pytest.approx(np.array(SHARES), abs=1e-6)
    assert np.array(openings) == pytest.approx(np.array([SHARES] * 2), abs=1e-6)
    w1 = np.array(CORNER["w1/bottom_left"]), np.array(CORNER["w1/top_left"])
    eye = np.array([3300.0, 1400.0, 4000.0])
    for share, was in zip(frames[:5], SHARES, strict=True):  # the ray goes on to a frame further back
        at = np.array([*(w1[0] + was * (w1[1] - w1[0])), -DEPTH_MM])
        further = eye + (at - eye) * (4000.0 + DEPTH_MM + 40.0) / (4000.0 + DEPTH_MM)
        along = w1[1] - w1[0]
        assert share == pytest.approx((further[:2] - w1[0]) @ along / (along @ along), abs=1e-6)


def test_a_sample_beyond_the_end_of_its_edge_is_held_just_beyond_it() -> None:
    beyond = trace_of("a.jpg", "wall", "left", 0.0, shares=(-0.2, 0.5, 1.2))
    obs = Observations(replace(plain_problem(), edges=(beyond,)), plain_guess())
    assert shares_of(obs)[0] == pytest.approx([-0.02, 0.5, 1.02])


@pytest.mark.parametrize(
    ("points", "normals"),
    [
        ([[0.0, 0], [3, 4], [6, 8]], [[-0.8, 0.6]] * 3),
        ([[10.0, 0], [6, 0], [5, 0], [0, 0]], [[0.0, -1.0]] * 4),
        ([[t, t * t] for t in (-1.0, 0.0, 1.0)], np.array([[2.0, 1], [0, 1], [-2, 1]]) / np.sqrt([[5], [1], [5]])),
        (
            [[0.1 * t, 0.1 * t * t] for t in (-1.0, 0.0, 1.0)],
            np.array([[2.0, 1], [0, 1], [-2, 1]]) / np.sqrt([[5], [1], [5]]),
        ),
        # it begins without a direction of its own: then square to the line from its first point to its last
        (
            [[0.0, -0.5], [4 / 9, 8 / 9 + 1.5], [16 / 9, 32 / 9 - 1.5], [4, 8.5]],
            [np.array([-9.0, 4.0]) / np.sqrt(97), *[np.array([-2.0, 1.0]) / np.sqrt(5)] * 3],
        ),
        ([[4.0, 4], [4, 4], [4, 4]], [[0.0, 0.0]] * 3),
    ],
    ids=["line", "level line backwards", "parabola", "small parabola", "standing start", "one spot"],
)
def test_a_traced_line_or_bend_is_observed_square_across_it(points: list[list[float]], normals: object) -> None:
    traced = replace(trace_of("a.jpg", "wall", "left", 0.0), points_px=np.array(points), sd_px=np.ones(len(points)))
    obs = Observations(replace(plain_problem(), edges=(traced,)), plain_guess())
    assert obs.edge_normal == pytest.approx(np.array(normals), abs=1e-9)


def test_a_slope_stays_finite_where_both_ends_of_an_edge_are_at_one_place(obs: Observations) -> None:
    state = State(vector=obs.start.vector.copy(), rotations=obs.start.rotations)
    state.vector[obs.layout["corner:wall/bottom_right"]] = 0.5, 3.0
    found = rows(obs, state)["square"][0]
    assert found == pytest.approx(3.0 / priors.WALL_SQUARENESS)  # as if they were a millimetre apart
    state.vector[obs.layout["corner:wall/bottom_right"]] = -1.0, 3.0
    assert rows(obs, state)["square"][0] == pytest.approx(3.0 / priors.WALL_SQUARENESS)


def test_the_order_of_marks_edges_and_references_changes_no_residual(obs: Observations) -> None:
    problem = plain_problem()
    turned = replace(
        problem, marks=problem.marks[::-1], edges=problem.edges[::-1], sightings=problem.sightings[::-1],
        references=problem.references[::-1],
    )  # fmt: skip
    other = Observations(turned, plain_guess())
    state = moved(obs, np.random.default_rng(9))
    same = State(vector=np.zeros(other.layout.size), rotations=state.rotations)
    for name, block in other.layout.blocks.items():
        same.vector[block] = state.vector[obs.layout[name]]
    for part, values in rows(obs, state).items():
        assert sorted(rows(other, same)[part]) == pytest.approx(sorted(values), abs=1e-9), part


def test_a_reference_of_known_print_scale_is_as_large_as_it_was_printed(obs: Observations) -> None:
    larger = replace(plain_problem(), references=tuple(replace(r, scale=1.02) for r in plain_problem().references))
    grown = Observations(larger, plain_guess())
    sheet = np.array([model for model in grown.places.ref_model[:4]])
    assert sheet == pytest.approx(np.array(obs.places.ref_model[:4]) * 1.02 / 1.01)


@pytest.mark.parametrize(
    ("apart", "wide"), [(249.0, False), (251.0, True), (-251.0, True)], ids=["near", "apart", "apart the other way"]
)
@pytest.mark.parametrize("corners", [("bottom_left", "top_right"), ("top_left", "bottom_right")])
def test_the_splay_of_a_reveal_shows_from_places_a_quarter_of_a_metre_apart_on_each_side(
    apart: float, wide: bool, corners: tuple[str, str]
) -> None:
    eyes = [np.array([100.0, 0.0, 3000.0]), np.array([100.0 + apart, 900.0, 1000.0])]
    seen = {corner: eyes for corner in corners}
    assert _parallax(seen) is wide
    assert not _parallax({corners[0]: eyes})
    assert not _parallax({corners[0]: eyes, corners[1]: eyes[:1]})
    assert not _parallax({})


def test_a_reveal_seen_from_two_sides_may_splay_wider() -> None:
    problem = plain_problem()
    again = tuple(replace(m, photo="c.jpg") for m in problem.marks if m.face == "frame" and m.photo == "b.jpg")
    more = tuple(replace(m, photo="b.jpg") for m in problem.marks if m.face == "frame" and m.photo == "c.jpg")
    wide = Unknowns(replace(problem, marks=(*problem.marks, *again, *more)), plain_guess())
    columns = [wide.layout["reveal:w1"].start + k for k in range(1, 5)]
    sd = dict(zip(wide._prior_column, wide._prior_sd, strict=True))
    assert [sd[c] for c in columns] == [priors.REVEAL_SPLAY_WIDE_SD] * 4


def test_what_the_marks_show_is_said_by_corner_opening_and_photo(obs: Observations) -> None:
    assert obs.seen == set(CORNER)
    assert obs.quads == ["wall", "w1", "d1"]
    assert obs.back_corners == {"w1": ("bottom_left", "bottom_right", "top_left", "top_right")}
    assert obs.files == {"a.jpg": 0, "b.jpg": 1, "c.jpg": 2}
    assert {file: obs.cameras.index(file) for file in obs.files} == obs.files
    assert [s.reference for s in obs.sightings] == ["r0", "r0", "r1", "r2"]
    places = obs.corner_points(obs.start.vector)
    assert {name: tuple(xy) for name, xy in places.items()} == CORNER
    vector = obs.by_vector({"wall/bottom_left": np.ones((2, 2)), "s1/top_right": np.array([[3.0, 4], [5, 6]])}, 2)
    assert vector[:, obs.layout["corner:s1/top_right"]] == pytest.approx(np.array([[3.0, 4], [5, 6]]))
    assert np.count_nonzero(vector) == 4


def test_a_wall_hardly_wider_than_a_hand_bulges_over_no_less_than_sixty_centimetres() -> None:
    tiny = {name: np.array([0.1 * x, 0.1 * y]) for name, (x, y) in CORNER.items()}
    obs = Observations(replace(plain_problem(), edges=()), replace(plain_guess(), corners=tiny))
    assert obs.surface.half_mm == (300.0, 300.0)
    assert obs.surface.middle_mm == pytest.approx((200.2, 120.25))


def test_without_edges_or_tape_the_rest_is_as_it_was(obs: Observations) -> None:
    problem = plain_problem()
    bare = Observations(replace(problem, edges=(), wall=replace(problem.wall, taped={}, openings=())), plain_guess())
    residuals, J = bare.evaluate(bare.start)
    assert bare.tape == {}
    assert bare.rows_edges == slice(bare.rows_points.stop, bare.rows_points.stop)
    assert J.shape == (len(residuals), bare.layout.size) == (len(bare.source), bare.layout.size)
    assert residuals[bare.rows_points] == pytest.approx(obs.evaluate(obs.start)[0][obs.rows_points])
