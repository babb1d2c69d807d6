"""Copies of photos that may be shown to others: no location, no serial number, faces and cards blurred."""

from __future__ import annotations

from pathlib import Path

from intake.gather import gather, look_for_references
from intake.privacy import blur_faces, blurred_cards
from intake.store import RESULTS, write_bytes
from intake.straighten import safe_name

JPEG_QUALITY = 85


def share_photos(folder: Path) -> Path:
    """Write a blurred copy of each readable photo to results/share and return the folder; originals stay."""
    import cv2

    found = gather(folder)
    look_for_references(found)
    target = found.folder / RESULTS / "share"
    for name in found.photos:
        picture = blur_faces(blurred_cards(found, name))
        done, encoded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
        if done:
            write_bytes(target / f"{safe_name(name.rsplit('.', 1)[0].replace('/', '-'))}.jpg", encoded.tobytes())
    return target
