"""A fixed part of the study of rendered pictures: from pixels and presses to sizes that hold what they state."""

from __future__ import annotations

import numpy as np

from tests.rendered_walls import real_room
from tests.studies import rendered_measurement as study


def test_sizes_from_rendered_pictures_hold_what_they_state_and_beat_a_bare_homography() -> None:
    result = study.run(seed=20261125, part=0.0)
    assert result["pictures"] == 12
    sizes = 0
    for name in study.CONFIGURATIONS:
        figures = result[name]
        assert isinstance(figures, dict)
        assert figures["rooms_not_measured"] <= 1  # a card may be refused as too small to be told from other things
        for row in figures["quantities"].values():
            sizes += row["n"]
            assert abs(row["bias_over_sd"]) < 3.0
        # two walls only: the study asks for 10 times with a card, 3 times with a sheet of A4
        assert figures["median_error_of_a_bare_homography_over_ours"] > 1.0
    assert sizes >= 50
    pooled = result["pooled_coverage"]
    assert isinstance(pooled, float)
    assert pooled > 0.85  # about 55 sizes that share two rooms and their lenses


def test_edges_of_a_drawn_room_are_bowed_and_end_in_its_corners() -> None:
    room = real_room(np.random.default_rng(1), ("sheet",))
    for corners, bows in zip((room.corners_mm, room.opening.front_mm), room.bows_mm, strict=True):
        np.testing.assert_allclose(room.surface(corners)[:, :2], corners, atol=1e-9)
        for k, bow in enumerate(bows):
            middle = (corners[k] + corners[(k + 1) % 4]) / 2
            off = room.surface(middle[None])[0, :2] - middle
            np.testing.assert_allclose(off[1 if k in (0, 2) else 0], bow, atol=1e-9)
    assert np.ptp(room.surface(room.corners_mm)[:, 2]) > 0.0  # wound
