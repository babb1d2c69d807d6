"""scikit-image's own photograph of a brick wall, ``skimage.data.brick()``, read without any help.

Its bond was assigned by eye, by us: counting along the courses (which run up the picture) gives three stretchers to one
header in every course, headers over the middle of the three: Flemish garden wall bond. scikit-image does not state it.
"""

from __future__ import annotations

import numpy as np
import pytest
from skimage import data

from vision.brickwork import read_brickwork


@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("turned", [False, True], ids=["as_published", "courses_level"])
def test_the_photograph_of_a_real_brick_wall_is_flemish_garden_wall_bond(turned: bool) -> None:
    picture = np.asarray(data.brick(), dtype=np.uint8)
    shown = np.ascontiguousarray(np.rot90(picture)) if turned else picture
    reading = read_brickwork(shown, photo="brick.png")
    assert reading.bond == "flemish_garden"
    assert reading.probability["flemish_garden"] > 0.9
    assert reading.turned is not turned
    assert reading.header_share is not None
    assert reading.header_share.value == pytest.approx(0.25, abs=0.04)
    assert reading.course_height_mm is None
