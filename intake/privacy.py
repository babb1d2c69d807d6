"""What must not show in pictures that leave the survey folder: what is printed on cards, and faces."""

from __future__ import annotations

import numpy as np

from intake.gather import Gathered
from intake.photos import Picture
from vision.walls import FloatArray

FACE_SEARCH_PX = 1200
"""Faces are looked for in the picture reduced to this longer side."""
CARD_INSET = 0.06
"""Share of a card's size that stays sharp at its rim, so that its edges can still be checked by eye."""


def blurred_cards(found: Gathered, file: str) -> Picture:
    """Return a photo's colour pixels with the inside of every card that was seen or declared made unreadable."""
    picture = found.colour(file)
    for sighting in found.sightings:
        if sighting.photo == file and sighting.kind == "id1_card":
            blur_inside(picture, np.asarray(sighting.corners_px, dtype=np.float64))
    return picture


def blur_inside(picture: Picture, corners_px: FloatArray) -> None:
    """Make the inside of a quadrilateral unreadable, in place: six patches of its mean colours, smoothly joined.

    Parameters
    ----------
    picture
        (h, w, 3) uint8.
    corners_px
        (4, 2) in order around it.
    """
    import cv2

    middle = corners_px.mean(axis=0)
    inner = middle + (corners_px - middle) * (1.0 - 2.0 * CARD_INSET)
    low = np.maximum(np.floor(inner.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(inner.max(axis=0)).astype(int) + 1, (picture.shape[1], picture.shape[0]))
    if (high - low).min() < 2:
        return
    part = picture[low[1] : high[1], low[0] : high[0]]
    mask = np.zeros(part.shape[:2], dtype=np.uint8)
    cv2.fillConvexPoly(mask, np.rint(inner - low).astype(np.int32), 255)
    coarse = cv2.resize(part, (3, 2), interpolation=cv2.INTER_AREA)
    smooth = cv2.resize(coarse, (part.shape[1], part.shape[0]), interpolation=cv2.INTER_LINEAR)
    part[mask > 0] = smooth[mask > 0]


def blur_faces(picture: Picture) -> Picture:
    """Return the picture with faces made unrecognisable, as far as they are found; look before you share.

    Parameters
    ----------
    picture
        (h, w, 3) blue, green, red; changed in place.
    """
    import cv2
    from skimage.data import lbp_frontal_face_cascade_filename
    from skimage.feature import Cascade

    h, w = picture.shape[:2]
    scale = min(1.0, FACE_SEARCH_PX / max(h, w))
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)[:, :, ::-1]
    found = Cascade(lbp_frontal_face_cascade_filename()).detect_multi_scale(
        img=np.ascontiguousarray(small), scale_factor=1.2, step_ratio=1.5, min_size=(24, 24), max_size=(400, 400)
    )
    for face in found:
        x0, y0 = int(face["c"] / scale), int(face["r"] / scale)
        x1, y1 = int((face["c"] + face["width"]) / scale), int((face["r"] + face["height"]) / scale)
        part = picture[max(y0, 0) : y1, max(x0, 0) : x1]
        coarse = cv2.resize(part, (6, 6), interpolation=cv2.INTER_AREA)
        picture[max(y0, 0) : y1, max(x0, 0) : x1] = cv2.resize(
            coarse, (part.shape[1], part.shape[0]), interpolation=cv2.INTER_LINEAR
        )
    return picture
