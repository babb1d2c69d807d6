"""Copies of photos that may be shown to others: no location, no serial number, faces and cards blurred."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from intake.gather import gather, look_for_references
from intake.photos import Picture
from intake.store import RESULTS, write_bytes
from intake.straighten import blurred_cards, safe_name

JPEG_QUALITY = 85
FACE_SEARCH_PX = 1200


def share_photos(folder: Path) -> Path:
    """Write a blurred copy of every readable photo to results/share and return the folder; originals stay as they are."""
    import cv2

    found = gather(folder)
    look_for_references(found)
    target = found.folder / RESULTS / "share"
    for name in found.photos:
        picture = blur_faces(np.array(blurred_cards(found, name)))
        done, encoded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
        if done:
            write_bytes(target / f"{safe_name(name.rsplit('.', 1)[0].replace('/', '-'))}.jpg", encoded.tobytes())
    return target


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
