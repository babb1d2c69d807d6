"""Boards on walls: counts, bounds, rules, and pieces that fit."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from estimator.boards import BoardRules, BoardSize, board_rules, sizes_on_sale
from estimator.columns import _joint_domain
from estimator.faces import Box, Face
from estimator.layout import board_for, fits_on, lay_boards, make_job
from estimator.layout_records import Effort, Piece, RoomLayout
from estimator.setting_out import Corner
from estimator.tables import Table, parse_table
from tests.board_checker import faults
from tests.random_rooms import RoomFaces, door, face, hard_rooms, random_room, window
from tests.studies import layout as study

DATA = Path(__file__).resolve().parent.parent / "estimator" / "data"
RULES = board_rules()
SIZES = study.SIZES


def lay(*faces: Face, rules: BoardRules = RULES, corners: Sequence[Corner] = ()) -> RoomLayout:
    layout = lay_boards(faces, sizes=SIZES, rules=rules, corners=corners)
    assert faults(faces, layout, rules=rules, corners=corners) == []
    return layout


def test_the_worked_take_off_of_a_wall_with_a_window() -> None:
    """Common practice, by arithmetic: 4.0 x 2.4 m less 1.2 x 1.2 m is 8.16 m2, 2.83 boards, 4 full columns."""
    wall = face("a", 4000, 2400, window("w", 1400, 1200))
    assert wall.net_area_m2 == pytest.approx(8.16)
    assert wall.net_area_m2 / 2.88 == pytest.approx(2.83, abs=0.005)
    layout = lay(wall)
    assert layout.column_count == 4
    # 3 boards: what is cut out of the columns at the window gives the pieces over and under it
    assert (layout.count, layout.lower_bound) == (3, 3)
    assert layout.board.length_mm == 2400


def test_a_blank_wall_of_four_metres_has_three_joints_the_height_of_the_room() -> None:
    layout = lay(face("a", 4000, 2400))
    assert layout.count == 4
    assert len(layout.joints) == 3
    assert sum(j.end[1] - j.start[1] for j in layout.joints) == pytest.approx(3 * 2390)


def test_a_room_of_ten_by_four_metres_counted_by_hand() -> None:
    """By hand: 10 m is 8 boards and 400 mm, 4 m is 3 boards and 400 mm, so 22 whole boards and four strips of 400.

    Three strips and two saw cuts are 1206 mm, more than a board, so the four strips take two boards: 24. Column by
    column it would be 9 + 4 + 9 + 4 = 26. Fewer than 24 is impossible: 28 000 mm of wall are 23.3 boards wide.
    """
    layout = lay(face("a", 10_000, 2400), face("b", 4000, 2400), face("c", 10_000, 2400), face("d", 4000, 2400))
    assert (layout.count, layout.lower_bound, layout.column_count) == (24, 24, 26)


def compositions(width: int, least: int, most: int) -> Iterator[tuple[int, ...]]:
    if least <= width <= most:
        yield (width,)
    for first in range(least, min(most, width - least) + 1):
        for rest in compositions(width - first, least, most):
            yield (first, *rest)


@cache
def fewest_bins(widths: tuple[int, ...], board: int, kerf: int) -> int:
    """Return the fewest boards for strips of the given widths, by trying every way to share them out."""
    best = len(widths)

    def place(n: int, free: tuple[int, ...]) -> None:
        nonlocal best
        if len(free) >= best:
            return
        if n == len(widths):
            best = len(free)
            return
        for b in range(len(free)):
            if free[b] >= widths[n] + kerf:
                place(n + 1, (*free[:b], free[b] - widths[n] - kerf, *free[b + 1 :]))
        place(n + 1, (*free, board - widths[n]))

    place(0, ())
    return best


@pytest.mark.parametrize(
    ("walls", "kerf"),
    [((25,), 0), ((25,), 1), ((24,), 1), ((17, 19), 1), ((18, 18), 0), ((18, 18), 1), ((13, 13), 1), ((7, 16, 13), 1)],
)
def test_small_rooms_equal_exhaustive_search(walls: tuple[int, ...], kerf: int) -> None:
    """All ways to divide each wall into columns of 3 to 12, and all ways to share those out over boards 12 wide."""

    def every(rest: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        if not rest:
            yield ()
            return
        for here in compositions(rest[0], 3, 12):
            for others in every(rest[1:]):
                yield (*here, *others)

    wanted = min(fewest_bins(tuple(sorted(widths, reverse=True)), 12, kerf) for widths in every(walls))
    rules = replace(RULES, kerf_mm=kerf, least_strip_mm=3, foot_gap_mm=0, foot_gap_most_mm=0)
    board = BoardSize(key="toy", width_mm=12, length_mm=24)
    faces = [Face(wall=f"{n}", width=w, height_left=24, height_right=24) for n, w in enumerate(walls)]
    layout = lay_boards(faces, sizes=[board], rules=rules)
    assert (layout.count, layout.lower_bound) == (wanted, wanted)


@pytest.mark.parametrize("room", [r for r in hard_rooms() if "nine" not in r.name], ids=lambda r: r.name)
def test_hard_rooms_pass_the_independent_checker(room: RoomFaces) -> None:
    layout = lay(*room.faces, corners=room.corners)
    assert layout.proved


def test_a_seeded_part_of_the_study_meets_its_bounds() -> None:
    result = study.run(seed=7, part=0.025)
    for kind in ("random", "hard"):
        told = result[kind]
        assert isinstance(told, dict)
        assert told["faults"] == []
        assert told["worst_gap"] <= 1
        assert told["more_than_columns"] == 0
    random_part = result["random"]
    assert isinstance(random_part, dict)
    assert random_part["saved_against_columns_mean"] >= 0.08


def test_no_joint_stands_near_a_jamb_or_a_socket() -> None:
    wall = face("a", 3700, 2400, window("w", 1150, 1250), boxes=(Box(id="s1", left=2480, right=2626),))
    layout = lay(wall)
    assert layout.kept == "all"
    for joint in layout.joints:
        assert min(abs(joint.start[0] - 1150), abs(joint.start[0] - 2400)) >= 150
        assert not 2455 <= joint.start[0] <= 2651


def test_the_tallest_wall_decides_the_board_and_the_skirting_hides_the_last_millimetres() -> None:
    assert board_for(2400, SIZES, RULES)[0].length_mm == 2400
    assert board_for(2425, SIZES, RULES) == (SIZES[0], 25)
    assert board_for(2426, SIZES, RULES)[0].length_mm == 2700
    assert lay(face("a", 2000, 2630)).board.length_mm == 2700


def test_a_ceiling_beyond_every_board_is_made_up_with_strips_that_do_not_line_up() -> None:
    layout = lay(face("a", 3600, 3300))
    assert layout.board.length_mm == 3000
    level = [j for j in layout.joints if j.start[1] == j.end[1]]
    assert len(level) == 3
    assert all("higher than a board" in j.risk for j in level)
    assert len({j.start[1] for j in level}) == 2


def test_a_sloping_ceiling_cuts_the_boards_to_a_taper() -> None:
    wall = face("a", 3600, 2400, right=2250)
    layout = lay(wall)
    tops = [max(y for _, y in p.on_wall.outer) for p in layout.pieces]
    assert tops == sorted(tops, reverse=True)
    assert all(
        max(y for x, y in p.on_wall.outer) <= wall.ceiling(min(x for x, _ in p.on_wall.outer)) for p in layout.pieces
    )


def test_the_wall_that_runs_through_a_corner_is_the_better_of_both_orders() -> None:
    """1200 + 73 and 2400: where the wide wall runs through, each wall is whole boards; the other way needs one more."""
    faces = (face("a", 1273, 2400), face("b", 2400, 2400))
    layout = lay(*faces, corners=(Corner(left_face=0, right_face=1, depth=73),))
    orders = [
        lay(face("a", 1273, 2400), face("b", 2400 - 73, 2400)).count,
        lay(face("a", 1200, 2400), face("b", 2400, 2400)).count,
    ]  # fmt: skip
    assert layout.count == min(orders) == 3
    assert layout.run_through == ("b",)


def test_a_longer_board_a_wider_saw_or_a_stricter_rule_changes_the_result() -> None:
    wall = face("a", 4000, 2400, window("w", 1400, 1200))
    layout = lay(wall)
    no_turning_no_small = replace(RULES, least_piece_mm=1100)
    assert lay(wall, rules=no_turning_no_small).count == 4
    joints = {j.start[0] for j in layout.joints}
    assert joints != {j.start[0] for j in lay(wall, rules=replace(RULES, jamb_clear_mm=350)).joints}
    two = (face("a", 1800, 2400), face("b", 1800, 2400))
    assert lay(*two, rules=replace(RULES, kerf_mm=0)).count == 3
    assert lay(*two).count == 4
    wide = (BoardSize(key="wide", width_mm=1250, length_mm=2400),)
    assert lay_boards([face("a", 3700, 2400)], sizes=wide, rules=RULES).count == 3
    assert lay(face("a", 3700, 2400)).count == 4


def changed(name: str, was: str, now: str) -> Table:
    """Return a data table as it would be with one line of its file changed."""
    text = (DATA / f"{name}.toml").read_text(encoding="utf-8")
    assert text.count(was) == 1
    return parse_table(name, text.replace(was, now))


def test_a_rule_changed_in_its_data_file_changes_the_count() -> None:
    two = (face("a", 1800, 2400), face("b", 1800, 2400))
    clean_saw = board_rules(changed("board_rules", 'key = "kerf_mm"\nvalue = 3', 'key = "kerf_mm"\nvalue = 0'))
    assert (lay(*two).count, lay(*two, rules=clean_saw).count) == (4, 3)


def test_a_board_size_changed_in_its_data_file_changes_what_is_bought() -> None:
    wall = face("a", 2450, 2400)
    wide = changed("board_sizes", 'key = "2400x1200"\nwidth_mm = 1200', 'key = "2400x1200"\nwidth_mm = 1250')
    found = [lay_boards([wall], sizes=sizes_on_sale(50, table=t), rules=RULES) for t in (None, wide)]
    assert [(x.board.width_mm, x.count) for x in found] == [(1200, 3), (1250, 2)]


def test_the_same_room_gives_the_same_layout() -> None:
    room = hard_rooms()[3]
    assert lay(*room.faces) == lay(*room.faces)


def test_a_wider_wall_or_a_smaller_window_never_needs_fewer_boards() -> None:
    counts = [
        lay(face("a", w, 2400, window("w", 600, 1000)), face("b", 2900, 2400)).count for w in (2400, 2900, 3400, 3900)
    ]
    assert counts == sorted(counts)
    counts = [lay(face("a", 4400, 2400, window("w", 600, w))).count for w in (2400, 1800, 1200, 600)]
    assert counts == sorted(counts)


def test_whether_a_room_fits_on_fewer_boards_is_answered_by_proof() -> None:
    faces = (face("a", 3700, 2400, window("w", 1150, 1250)), face("b", 3000, 2400))
    layout = lay(*faces)
    assert fits_on(faces, layout.count, like=layout, rules=RULES).fits is True
    assert fits_on(faces, layout.count - 1, like=layout, rules=RULES).fits is False


def test_a_door_in_the_corner_leaves_only_its_head() -> None:
    layout = lay(face("a", 2900, 2400, door("d", 0)))
    over = [p for p in layout.pieces if p.on_wall.box[2] <= 838]
    assert all(p.on_wall.box[1] >= 2040 for p in over)


def test_no_face_and_a_face_of_two_boards_height_are_refused() -> None:
    with pytest.raises(ValueError, match="no face to lay boards on"):
        lay_boards([], sizes=SIZES, rules=RULES)
    with pytest.raises(ValueError, match="more than two boards of 3000 mm"):
        lay_boards([face("a", 2000, 6100)], sizes=SIZES, rules=RULES)


def test_each_thickness_has_its_own_sizes_on_sale() -> None:
    assert [s.length_mm for s in sizes_on_sale(50)] == [2400, 2700, 3000]
    assert [s.length_mm for s in sizes_on_sale(100)] == [2400]
    assert sizes_on_sale(33) == ()


def test_a_point_of_the_wall_is_found_on_its_board() -> None:
    room = random_room(random.Random(2), "r")
    layout = lay(*room.faces, corners=room.corners)
    for piece in layout.pieces:
        for on_wall, on_board in zip(piece.on_wall.outer, piece.on_board.outer, strict=True):
            assert piece.to_board(*on_wall) == pytest.approx(on_board, abs=1e-6)


SEVERAL_KINDS = [
    RoomFaces(name="a window", faces=(face("a", 4000, 2400, window("w", 1400, 1200)),)),
    RoomFaces(name="three strips", faces=(face("a", 2450, 2400), face("b", 2900, 2400), face("c", 1500, 2400))),
    RoomFaces(name="a knee wall", faces=(face("a", 5200, 1050),)),
    RoomFaces(name="a door and a slope", faces=(face("a", 3300, 2400, door("d", 400), right=2300),)),
    RoomFaces(
        name="a light over a door", faces=(face("a", 3700, 2630, door("d", 900), window("l", 900, 838, 2100, 400)),)
    ),
    RoomFaces(name="a window up to the ceiling", faces=(face("a", 3500, 2400, window("w", 900, 1500, 800, 1600)),)),
]


def laid(name: str) -> tuple[RoomFaces, RoomLayout]:
    room = next(r for r in SEVERAL_KINDS if r.name == name)
    return room, lay(*room.faces, corners=room.corners)


@pytest.mark.parametrize("name", [r.name for r in SEVERAL_KINDS])
def test_a_joint_is_called_sound_only_where_two_edges_from_the_factory_meet(name: str) -> None:
    """Where an edge comes from is read off the boards: the factory made a board's two long sides."""
    room, layout = laid(name)
    columns = [p for p in layout.pieces if p.role == "column"]

    def from_factory(piece: Piece, x: float) -> bool:
        on_board = piece.to_board(x, piece.on_wall.box[1])[0]
        upright = piece.turned_deg in (0, 180)
        return upright and min(abs(on_board), abs(on_board - layout.board.width_mm)) < 1e-6

    met = 0
    for joint in layout.joints:
        x = joint.start[0]
        if joint.start[0] != joint.end[0] or (joint.risk and not joint.risk.startswith("a cut edge")):
            continue
        lefts = [p for p in columns if p.wall == joint.wall and p.on_wall.box[2] == x]
        rights = [p for p in columns if p.wall == joint.wall and p.on_wall.box[0] == x]
        if len(lefts) == 1 and len(rights) == 1:
            met += 1
            sound = from_factory(lefts[0], x) and from_factory(rights[0], x)
            assert (joint.risk == "") is sound, (joint, lefts[0].on_board.box, rights[0].on_board.box)
    assert met or len(columns) < 2 or room.faces[0].gaps


@pytest.mark.parametrize("name", ["a window", "three strips", "a knee wall", "a window up to the ceiling"])
def test_pieces_offcuts_and_saw_cuts_make_up_the_boards(name: str) -> None:
    """What is left over once pieces and offcuts are taken off is no more than a saw takes along every side of them."""
    _, layout = laid(name)
    kerf = RULES.kerf_mm
    for offcut in layout.offcuts:
        sides = offcut.box[2] - offcut.box[0], offcut.box[3] - offcut.box[1]
        assert min(sides) > 0
        assert offcut.reusable is (min(sides) >= RULES.reusable_mm)
    for board in range(1, layout.count + 1):
        pieces = [p.on_board for p in layout.pieces if p.board == board]
        offcuts = [o for o in layout.offcuts if o.board == board]
        lost = float(layout.board.width_mm * layout.board.length_mm)
        lost -= sum(p.area for p in pieces) + sum((o.box[2] - o.box[0]) * (o.box[3] - o.box[1]) for o in offcuts)
        rings = [ring for p in pieces for ring in (p.outer, *p.holes)]
        round_about = sum(
            abs(a[0] - b[0]) + abs(a[1] - b[1]) for r in rings for a, b in zip(r, (*r[1:], r[0]), strict=True)
        )
        assert -1 <= lost <= kerf * round_about


def test_a_joint_may_stand_where_no_jamb_and_no_box_is_near_and_nowhere_else() -> None:
    wall = face("a", 4000, 2400, window("w", 900, 700), door("d", 2400), boxes=(Box(id="s", left=1900, right=2046),))
    jobs = {
        keep: replace(make_job([wall], corners=(), sizes=SIZES, rules=RULES), keep=keep)
        for keep in ("all", "jambs", "none")
    }
    for keep, job in jobs.items():
        allowed = _joint_domain(job, wall, 0, wall.width)
        for x in range(wall.width + 1):
            jamb = any(min(abs(x - g.left), abs(x - g.right)) < RULES.jamb_clear_mm for g in wall.gaps)
            box = any(b.left - RULES.socket_clear_mm <= x <= b.right + RULES.socket_clear_mm for b in wall.boxes)
            open_here = not ((jamb and keep != "none") or (box and keep == "all"))
            assert allowed.contains(x) is open_here, (keep, x)


@pytest.mark.parametrize(("width", "count"), [(1150, 1), (1200, 1), (1210, 2), (1500, 2)])
def test_one_board_passes_a_narrow_window_as_far_as_its_own_width(width: int, count: int) -> None:
    """The wall beside the window is too narrow for a joint: up to a board's width one board goes round the window."""
    layout = lay(face("a", width, 2400, window("w", width // 2 - 200, 400)))
    assert layout.count == count
    assert (layout.kept == "all" and len(layout.pieces) == 1) is (count == 1)


@pytest.mark.parametrize("number", [2, 5, 8])
@pytest.mark.parametrize(
    "effort",
    [
        Effort(bound=1e-6, place=1.0, prove=0.1, tidy=0.0),
        Effort(bound=0.01, place=0.3, prove=0.05, tidy=0.01),
        Effort(bound=0.05, place=0.3, prove=0.3, tidy=0.0),
    ],
    ids=["no bound", "hardly any work", "a little work"],
)
def test_with_little_work_a_layout_is_still_right_and_its_bound_true(number: int, effort: Effort) -> None:
    """A bound that holds is never above what a longer search finds; little work costs boards, never a rule."""
    room = random_room(random.Random(number), f"r{number}", most_walls=3)
    long = lay(*room.faces, corners=room.corners)
    short = lay_boards(room.faces, sizes=SIZES, rules=RULES, corners=room.corners, effort=effort)
    assert [f for f in faults(room.faces, short, rules=RULES, corners=room.corners) if "full columns" not in f] == []
    assert short.lower_bound <= long.count <= short.count


def test_a_socket_gives_way_before_a_jamb_and_the_joint_says_so() -> None:
    """1300 mm need a joint; wherever it may stand there is a box, so that the rule for boxes is let go, no other."""
    layout = lay(face("a", 1300, 2400, boxes=(Box(id="s", left=100, right=1200),)))
    assert (layout.count, layout.kept) == (2, "jambs")
    assert [j.risk for j in layout.joints] == ["in line with s"]


def test_too_many_boards_for_the_area_is_told_without_a_search() -> None:
    faces = (face("a", 3700, 2400),)
    layout = lay(*faces)
    assert fits_on(faces, 2, like=layout, rules=RULES).fits is False
    tall = (face("a", 3700, 5200),)
    assert fits_on(tall, 9, like=layout, rules=RULES).fits is False
