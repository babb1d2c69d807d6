"""EXIF is read by one library and, where that fails, by another; places and serial numbers are never read."""

from __future__ import annotations

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from intake.exif import CameraFacts, read_camera_facts


def picture(kind: str = "JPEG", **extra: object) -> bytes:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Handset", "H-12", 6
    place = exif.get_ifd(0x8825)
    place |= {1: "N", 2: (52.0, 10.0, 3.0), 3: "E", 4: (1.0, 2.0, 3.0)}
    inner = exif.get_ifd(0x8769)
    inner |= {
        0xA405: 26,
        0x920A: 4.25,
        0xA002: 4032,
        0xA003: 3024,
        0xA404: 1.0,
        0x9003: "2026:03:11 10:01:00",
        0xA431: "SN123456",
    }
    inner |= {int(key, 16): value for key, value in extra.items()}
    buffer = io.BytesIO()
    Image.new("RGB", (40, 30)).save(buffer, kind, exif=exif)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_the_camera_is_read_from_every_kind_of_file(kind: str) -> None:
    facts = read_camera_facts(picture(kind))
    assert (facts.make, facts.model) == ("Handset", "H-12")
    if kind != "TIFF":  # Pillow writes no inner block into TIFF files
        assert facts.focal_35mm == 26.0
        assert facts.focal_mm == pytest.approx(4.25, abs=0.01)
        assert facts.orientation == 6
        assert facts.taken_at == "2026:03:11 10:01:00"


def test_where_the_first_library_fails_the_second_reads(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise AssertionError("as on some phone files")

    monkeypatch.setattr("exifread.process_file", broken)
    assert read_camera_facts(picture()).focal_35mm == 26.0


def test_no_place_and_no_serial_number_has_a_field_to_go_to() -> None:
    facts = read_camera_facts(picture())
    assert "SN123456" not in repr(facts)
    assert "52" not in repr(facts)
    assert not {"gps", "serial", "latitude", "owner"} & {
        name.split("_")[0] for name in CameraFacts.__dataclass_fields__
    }


def test_a_silent_or_broken_file_gives_an_empty_record() -> None:
    assert read_camera_facts(b"") == CameraFacts()
    assert read_camera_facts(b"hello") == CameraFacts()
    assert read_camera_facts(picture()[:150]) is not None


@settings(max_examples=120, deadline=None)
@given(st.integers(2, 400), st.binary(min_size=1, max_size=24))
def test_damaged_headers_never_raise(place: int, damage: bytes) -> None:
    data = bytearray(BASE)
    data[place : place + len(damage)] = damage
    facts = read_camera_facts(bytes(data))
    assert facts.focal_35mm is None or 0 < facts.focal_35mm < 1e6


BASE = picture()
