"""The small picture that goes with the message: how a good photo of a wall looks, without a word."""

from __future__ import annotations

import numpy as np

SIZE_PX = (640, 480)
_PAPER, _INK, _WALL, _FLOOR, _GLASS, _GOOD = (
    (255, 255, 255),
    (60, 50, 40),
    (232, 238, 240),
    (150, 175, 195),
    (250, 240, 225),
    (60, 140, 40),
)
_CORNERS = ((86, 400), (554, 400), (554, 84), (86, 84))


def good_photo_png() -> bytes:
    """Return a PNG file: a phone's frame, in it the whole wall with its four corners ringed, and two flat sheets."""
    import cv2

    picture = np.full((SIZE_PX[1], SIZE_PX[0], 3), _PAPER, np.uint8)
    frame = ((20, 20), (SIZE_PX[0] - 20, SIZE_PX[1] - 20))
    cv2.rectangle(picture, *frame, (242, 242, 242), -1)
    floor = np.array([_CORNERS[0], _CORNERS[1], (620, 460), (20, 460)])
    cv2.fillPoly(picture, [floor], _FLOOR)
    cv2.rectangle(picture, _CORNERS[3], _CORNERS[1], _WALL, -1)
    for corner, end in zip(_CORNERS, ((20, 460), (620, 460), (620, 20), (20, 20)), strict=True):
        cv2.line(picture, corner, end, _INK, 2, cv2.LINE_AA)
    cv2.rectangle(picture, _CORNERS[3], _CORNERS[1], _INK, 2)
    cv2.rectangle(picture, (290, 150), (410, 270), _GLASS, -1)
    cv2.rectangle(picture, (290, 150), (410, 270), _INK, 2)
    cv2.line(picture, (350, 150), (350, 270), _INK, 2)
    for left, top in ((140, 310), (450, 120)):
        _sheet(picture, left, top)
    for corner in _CORNERS:
        cv2.circle(picture, corner, 20, _GOOD, 4, cv2.LINE_AA)
    cv2.rectangle(picture, *frame, _INK, 6)
    done, encoded = cv2.imencode(".png", picture)
    if not done:
        raise ValueError("the sketch could not be encoded")
    return encoded.tobytes()


def _sheet(picture: np.ndarray, left: int, top: int) -> None:
    """Draw a sheet with its four dark squares."""
    import cv2

    cv2.rectangle(picture, (left, top), (left + 66, top + 46), _PAPER, -1)
    cv2.rectangle(picture, (left, top), (left + 66, top + 46), _INK, 1)
    for x in (left + 5, left + 45):
        for y in (top + 4, top + 26):
            cv2.rectangle(picture, (x, y), (x + 16, y + 16), _INK, -1)
