"""Real phone files: test pictures in the source distributions of pillow-heif 1.8.1 (BSD) and Pillow 11.3.0 (MIT-CMU).

Focal lengths were read with an independent tool's listing in those projects' own tests or from the files by hand; sizes
are those that the decoder libraries' tests state.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from intake.photos import decode_picture, describe_photo, lens_prior, read_bytes
from tests.outside.packages import source_distribution
from vision.findings import PerpendError

pytestmark = pytest.mark.package

ROOT = Path(__file__).resolve().parent.parent.parent
READ_ALL = """
import sys
from pathlib import Path
from intake.photos import EXTENSIONS, decode_picture, describe_photo, read_bytes
from vision.findings import PerpendError
for path in sorted(Path(sys.argv[1]).rglob("*")):
    if path.is_file() and path.suffix.lower() in EXTENSIONS:
        try:
            data = read_bytes(path)
            described = describe_photo(data, file=path.name)
            shape = decode_picture(data, file=path.name).shape
            assert shape == (described.height_px, described.width_px, 3), path.name
            print("read", path.name)
        except PerpendError as error:
            assert path.name in str(error) and "\\n" not in str(error)
            print("refused", path.name)
"""


def phone_files() -> Path:
    return next(source_distribution("pillow-heif", "1.8.1").glob("*/tests/images"))


@pytest.mark.parametrize(
    ("name", "size_px", "focal_35mm", "turn"),
    [
        ("heif_other/arrow.heic", (3024, 4032), 28.0, 1),
        ("heif_other/pug.heic", (4032, 3024), 26.0, 0),
        ("heif_special/aux_YCbCr.heic", (4000, 1848), 115.0, 0),
    ],
)
def test_phone_files_come_upright_with_the_right_focal_data(
    name: str, size_px: tuple[int, int], focal_35mm: float, turn: int
) -> None:
    path = phone_files() / name
    described = describe_photo(read_bytes(path), file=path.name)
    assert (described.width_px, described.height_px) == size_px
    assert described.facts.focal_35mm == focal_35mm
    assert lens_prior(described)[0].turn == turn
    assert decode_picture(read_bytes(path), file=path.name, grey=True).shape == size_px[::-1]


@pytest.mark.parametrize(
    ("project", "version", "least_read"), [("pillow-heif", "1.8.1", 30), ("pillow", "11.3.0", 500)]
)
def test_every_picture_is_read_upright_or_refused_in_words_and_none_crashes(
    project: str, version: str, least_read: int
) -> None:
    folder = source_distribution(project, version)
    told = subprocess.run(
        [sys.executable, "-c", READ_ALL, str(folder)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stderr[-2000:]
    outcomes = told.stdout.splitlines()
    assert sum(line.startswith("read") for line in outcomes) >= least_read
    assert any(line.startswith("refused") for line in outcomes)


def test_a_file_whose_table_of_contents_would_crash_the_decoder_is_refused() -> None:
    path = phone_files() / "heif_special" / "invalid_metadata_type.heic"
    with pytest.raises(PerpendError, match=r"its table of contents is no text. Copy it from the phone again."):
        describe_photo(read_bytes(path), file=path.name)
    with pytest.raises(PerpendError, match=r"its table of contents is no text. Copy it from the phone again."):
        decode_picture(read_bytes(path), file=path.name)
