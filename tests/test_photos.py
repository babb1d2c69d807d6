"""Photos are read upright at full resolution, whatever their kind; what is not a whole picture is refused in words."""

from __future__ import annotations

import io
import math
import struct
import time
import tracemalloc
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from intake.exif import CameraFacts
from intake.photos import (
    PhotoFile,
    decode_picture,
    describe_photo,
    find_photo,
    jpeg_is_whole,
    lens_prior,
    list_photos,
    read_picture,
)
from vision.findings import PerpendError

ORIENTATIONS = range(1, 9)


def upright() -> Image.Image:
    """Return a small picture whose four corners tell which way up it is."""
    picture = Image.new("RGB", (64, 48), "white")
    for place, colour in (((0, 0), "red"), ((32, 0), "lime"), ((0, 24), "blue"), ((32, 24), "black")):
        picture.paste(colour, (*place, place[0] + 32, place[1] + 24))
    return picture


STORED = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
"""How the upright picture is stored under each EXIF orientation (CIPA DC-008-2019, tag 0x0112)."""


def stored(orientation: int, kind: str) -> bytes:
    turned = STORED[orientation]
    picture = upright() if turned is None else upright().transpose(turned)
    exif = Image.Exif()
    exif[0x0112] = orientation
    buffer = io.BytesIO()
    options = {"quality": 95, "subsampling": 0} if kind == "JPEG" else {"lossless": True} if kind == "WEBP" else {}
    picture.save(buffer, kind, exif=exif, **options)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("grey", [False, True], ids=["colour", "grey"])
def test_every_orientation_of_every_kind_comes_out_upright(orientation: int, kind: str, grey: bool) -> None:
    data = stored(orientation, kind)
    described = describe_photo(data, file=f"a.{kind.lower()}")
    assert (described.width_px, described.height_px) == (64, 48)
    decoded = decode_picture(data, file="a", grey=grey)
    assert decoded.shape[:2] == (48, 64)
    expected = np.asarray(upright().convert("L") if grey else upright())[..., :: 1 if grey else -1].astype(int)
    for y, x in ((12, 16), (12, 48), (36, 16), (36, 48)):
        assert np.abs(decoded[y, x].astype(int) - expected[y, x]).max() <= 12


@pytest.mark.parametrize("mode", ["L", "LA", "P", "RGBA", "I;16", "CMYK", "1"])
def test_unusual_pixel_modes_come_out_as_eight_bit_colour(mode: str) -> None:
    picture = Image.fromarray(np.full((32, 40), 30000, np.uint16)) if mode == "I;16" else upright().convert(mode)
    buffer = io.BytesIO()
    picture.save(buffer, "TIFF" if mode == "CMYK" else "PNG")
    decoded = decode_picture(buffer.getvalue(), file="a.png")
    assert decoded.dtype == np.uint8
    assert decoded.ndim == 3


def refusal(data: bytes, file: str = "IMG_1.jpg") -> str:
    with pytest.raises(PerpendError) as caught:
        describe_photo(data, file=file)
        decode_picture(data, file=file)
    assert file in str(caught.value)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def huge_png(side: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


def test_a_text_file_named_jpg_is_refused() -> None:
    assert "not a picture, whatever its name says. Ask for the original photo." in refusal(
        b"Dear all, here are the photos"
    )


def test_a_jpeg_cut_short_is_refused_wherever_it_is_cut() -> None:
    buffer = io.BytesIO()
    noise = np.random.default_rng(1).integers(0, 255, (200, 300, 3), dtype=np.uint8)
    Image.fromarray(noise).save(buffer, "JPEG")
    data = buffer.getvalue()
    assert jpeg_is_whole(data)
    for cut in (2, 30, 200, 700, len(data) // 2, len(data) - 2):
        refusal(data[:cut])
    assert "cut short. Copy it from the phone again." in refusal(data[: len(data) // 2])


def test_progressive_jpegs_and_bytes_after_the_end_are_whole() -> None:
    buffer = io.BytesIO()
    upright().resize((640, 480)).save(buffer, "JPEG", progressive=True)
    assert jpeg_is_whole(buffer.getvalue() + b"trailer of a motion photo")
    assert not jpeg_is_whole(buffer.getvalue()[:-40])


def with_huge_header(kind: str) -> bytes:
    """Return a small picture whose header claims 30,000 by 30,000 pixels."""
    if kind == "png":
        return huge_png(30_000)
    buffer = io.BytesIO()
    Image.new("RGB", (120, 90)).save(buffer, kind)
    data = bytearray(buffer.getvalue())
    if kind == "jpeg":
        frame = data.find(b"\xff\xc0")
        data[frame + 5 : frame + 9] = struct.pack(">HH", 30_000, 30_000)
        return bytes(data)
    first = struct.unpack_from("<I", data, 4)[0]
    for place in range(first + 2, first + 2 + 12 * struct.unpack_from("<H", data, first)[0], 12):
        if struct.unpack_from("<H", data, place)[0] in (256, 257):  # width and height
            struct.pack_into("<HII", data, place + 2, 4, 1, 30_000)
    return bytes(data)


@pytest.mark.parametrize("kind", ["png", "jpeg", "tiff"])
def test_a_header_of_30000_by_30000_is_refused_quickly_and_in_little_memory(kind: str) -> None:
    data = with_huge_header(kind)
    tracemalloc.start()
    begun = time.process_time()
    assert "far too large for a photo (900 megapixels)" in refusal(data)
    assert time.process_time() - begun < 2.0
    assert tracemalloc.get_traced_memory()[1] < 20e6
    tracemalloc.stop()


@pytest.mark.parametrize("cut", [9, 20, 60, 0.5, 0.9])
def test_other_kinds_cut_short_are_refused(cut: float) -> None:
    for kind in ("PNG", "TIFF", "WEBP"):
        buffer = io.BytesIO()
        noise = np.random.default_rng(2).integers(0, 255, (90, 120, 3), dtype=np.uint8)
        Image.fromarray(noise).save(buffer, kind)
        data = buffer.getvalue()
        refusal(data[: int(cut * len(data)) if cut < 1 else int(cut)])


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "IMG_1.jpg").touch()
    with pytest.raises(PerpendError, match=r"IMG_1.jpg: the file is empty. Copy it from the phone again."):
        read_picture(tmp_path / "IMG_1.jpg")


def test_folders_are_listed_without_results_links_sidecars_or_other_surveys(tmp_path: Path) -> None:
    for name in (
        "b.JPG",
        "a.heic",
        "sub/c.png",
        "results/rectified/x.jpg",
        ".hidden/d.jpg",
        "a.aae",
        "other/e.jpg",
        "読.jpg",
    ):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "other" / "survey.json").write_text("{}")
    (tmp_path / "link.jpg").symlink_to(tmp_path / "b.JPG")
    listing = list_photos(tmp_path)
    assert listing.photos == ("a.heic", "b.JPG", "sub/c.png", "読.jpg")
    assert dict(listing.ignored).keys() == {"a.aae", "link.jpg"}


def test_a_bare_name_is_found_in_a_sub_folder_unless_two_have_it() -> None:
    listed = ("one/IMG_1.jpg", "one/IMG_2.jpg", "two/IMG_1.jpg")
    assert find_photo(Path(), "IMG_2.jpg", listed) == "one/IMG_2.jpg"
    assert find_photo(Path(), "two\\IMG_1.jpg", listed) == "two/IMG_1.jpg"
    assert find_photo(Path(), "IMG_9.jpg", listed) is None
    with pytest.raises(PerpendError, match=r"two photos have this name, one/IMG_1.jpg and two/IMG_1.jpg"):
        find_photo(Path(), "IMG_1.jpg", listed)


def described(**changes: object) -> PhotoFile:
    facts = {"make": "Handset", "model": "H", "orientation": 1, "focal_35mm": 26.0}
    size = {"width_px": 4032, "height_px": 3024}
    for key, value in changes.items():
        (size if key in size else facts)[key] = value  # type: ignore[assignment]
    return PhotoFile(file="a.jpg", kind="jpeg", facts=CameraFacts(**facts), **size)  # type: ignore[arg-type]


def test_the_focal_length_is_the_35_mm_equivalent_over_the_frame_diagonal_times_the_picture_diagonal() -> None:
    photo, doubts = lens_prior(described())
    assert photo.focal_px == pytest.approx(26 / 43.27 * math.hypot(4032, 3024))
    assert photo.focal_rel_sd == 0.03
    assert photo.centre_sd_px == pytest.approx(20.0)
    assert not doubts


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"focal_35mm": None}, "camera details are gone"),
        ({"focal_35mm": 177.0}, "cannot be right"),
        ({"height_px": 2268}, "may be cropped"),
        ({"width_px": 3600, "height_px": 2700, "pixel_width": 4032, "pixel_height": 2268}, "was cropped"),
        ({"digital_zoom": 2.0}, "digital zoom 2.0"),
        ({"pixel_width": 2016, "pixel_height": 1512}, "enlarged"),
    ],
)
def test_doubtful_camera_details_give_a_wide_prior_and_say_why(changes: dict[str, object], words: str) -> None:
    photo, doubts = lens_prior(described(**changes))
    assert words in "; ".join(doubts)
    assert photo.focal_rel_sd == 0.30
    assert photo.centre_sd_px == pytest.approx(300 * max(photo.width_px, photo.height_px) / 4032)


def test_a_smaller_copy_of_the_whole_picture_keeps_its_good_prior() -> None:
    photo, doubts = lens_prior(described(width_px=2016, height_px=1512, pixel_width=4032, pixel_height=3024))
    assert doubts == ()
    assert photo.focal_px == pytest.approx(lens_prior(described())[0].focal_px / 2)


def test_portrait_and_landscape_of_one_phone_share_a_lens_and_say_how_they_were_held() -> None:
    landscape, _ = lens_prior(described())
    portrait, _ = lens_prior(described(width_px=3024, height_px=4032, orientation=6))
    other, _ = lens_prior(described(model="K"))
    assert landscape.phone == portrait.phone != other.phone
    assert (landscape.turn, portrait.turn) == (0, 1)
    assert lens_prior(described(model=None, orientation=None))[0].turn is None
