"""The work in order."""

from __future__ import annotations

from estimator.sequence import labour_hours, work_sequence

AMOUNTS = {"m2": 16.0, "board": 6.0, "socket": 2.0, "radiator": 1.0, "opening": 1.0, "m": 7.6, "pipe": 1.0}
EVERYTHING = dict.fromkeys(
    ("asbestos", "damp", "gas", "sockets", "tape", "joists", "radiators", "pipes", "openings", "services"), True
)


def test_what_must_be_settled_comes_before_the_boards() -> None:
    tasks = work_sequence(AMOUNTS, EVERYTHING)
    keys = [t.key for t in tasks]
    boards = keys.index("boards")
    for stop in (
        "building_control",
        "asbestos",
        "damp",
        "gas",
        "tape",
        "isolate",
        "check_plaster",
        "lift",
        "drain",
        "pipes",
    ):
        assert tasks[keys.index(stop)].stop and keys.index(stop) < boards
    assert keys.index("boards") < keys.index("pin") < keys.index("seal") < keys.index("joint") < keys.index("paint")
    assert tasks[keys.index("seal")].stop


def test_days_never_run_back_and_drying_takes_days() -> None:
    tasks = work_sequence(AMOUNTS, EVERYTHING)
    days = [t.day for t in tasks]
    assert days == sorted(days)
    by_key = {t.key: t for t in tasks}
    assert by_key["paint"].day - by_key["joint"].day >= 3
    assert all(t.day == 0 for t in tasks if t.key in ("building_control", "asbestos", "damp", "gas", "tape"))


def test_only_what_applies_is_on_the_list() -> None:
    keys = {t.key for t in work_sequence(AMOUNTS | {"socket": 0.0}, {"sockets": True})}
    assert not keys & {"asbestos", "damp", "gas", "isolate", "cables", "drain", "pipes"}
    assert {"strip", "boards", "seal", "make_good"} <= keys


def test_twice_the_wall_is_about_twice_the_hours_and_a_range() -> None:
    low, high = labour_hours(work_sequence(AMOUNTS, {}))
    low2, high2 = labour_hours(work_sequence({k: 2 * v for k, v in AMOUNTS.items()}, {}))
    assert 0 < low < high
    assert 1.5 * low < low2 < 2 * low and 1.5 * high < high2 < 2 * high
