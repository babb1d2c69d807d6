"""What strangers' bytes are thrown at, and the throwing: ``python -m tests.fuzzing TARGET --seconds 10 --seed 1``.

Where atheris is installed it steers by the branches that each input reaches; else seeds are damaged at random. A target
returns when an input is read or refused in words; anything else is a failure, and its input is printed. The process has
1 GB of memory over what its imports take and 5 s of the processor for one input.
"""

from __future__ import annotations

import argparse
import io
import json
import random
import struct
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LONGEST_S = 5.0
MOST_BYTES = 1 << 30
Target = Callable[[bytes], None]


def refused_in_words(error: Exception, *, file: str) -> None:
    """Check that a refusal is one line of words that names the file and what to do."""
    text = str(error)
    assert file in text, f"does not name {file}: {text}"
    assert "\n" not in text.strip(), f"more than one line: {text}"
    assert 15 < len(text) < 2000, f"no words: {text}"
    assert "Traceback" not in text, text
    assert "object at 0x" not in text, text


def survey(data: bytes) -> None:
    """Read a survey."""
    from intake.survey import parse_survey
    from vision.findings import PerpendError

    try:
        parse_survey(data)
    except PerpendError as error:
        refused_in_words(error, file="survey.json")


def prices(data: bytes) -> None:
    """Read a price list."""
    from estimator.prices import load_prices
    from vision.findings import PerpendError

    try:
        load_prices(data.decode("utf-8", "replace"))
    except PerpendError as error:
        refused_in_words(error, file="prices")


def picture(data: bytes) -> None:
    """Decode a photo."""
    from intake.decode import decode_picture
    from vision.findings import PerpendError

    try:
        decode_picture(data, file="a.jpg")
    except PerpendError as error:
        refused_in_words(error, file="a.jpg")


def exif(data: bytes) -> None:
    """Read a photo's details."""
    from intake.photos import describe_photo, lens_prior
    from vision.findings import PerpendError

    try:
        lens_prior(describe_photo(data, file="a.jpg"))
    except PerpendError as error:
        refused_in_words(error, file="a.jpg")


def archive(data: bytes) -> None:
    """Unpack a ZIP file; nothing may land outside its folder."""
    from intake.unzip import unpack_zip
    from vision.findings import PerpendError

    with tempfile.TemporaryDirectory() as scratch:
        top = Path(scratch) / "in"
        top.mkdir()
        (top / "home.zip").write_bytes(data)
        try:
            unpack_zip(top / "home.zip")
        except PerpendError as error:
            refused_in_words(error, file="home.zip")
            assert not (top / "home").exists(), "half unpacked"
        assert sorted(path.name for path in Path(scratch).iterdir()) == ["in"], "written outside"
        assert {path.name for path in top.iterdir()} <= {"home.zip", "home"}, "left behind"


def post(data: bytes) -> None:
    """Make the edits of a post to the page."""
    from intake.page import keeping
    from intake.page.document import apply_edits, read_edits
    from vision.findings import PerpendError

    try:
        posted = json.loads(data)
    except (ValueError, RecursionError):
        return
    try:
        edits = read_edits(posted.get("edits") if isinstance(posted, dict) else posted)
        keeping.check(apply_edits({"schema_version": 1, "walls": [{"id": "north"}]}, edits, force=True)[0])
    except PerpendError as error:
        assert len(str(error)) > 15
        assert "Traceback" not in str(error)


def marks(data: bytes) -> None:
    """Measure a wall from marks anywhere: not a number, beyond the picture, all on one line, all on one spot."""
    from dataclasses import replace

    import numpy as np

    from tests.simulated_walls import Placed, Setting, View, simulate
    from vision.measure import measure_wall
    from vision.walls import CORNERS, Mark

    sheet = (Placed(kind="survey_sheet", at=(0.2, 0.5)),)
    case = simulate(Setting(references=sheet, photos=(View(yaw=(-10, 10), distance_m=3.8),)), np.random.default_rng(2))
    pressed = []
    for k in range(len(data) // 9):
        point, x, y = struct.unpack_from("<Bff", data, 9 * k)
        opening = None if point & 4 else "w1"
        face = None if opening is None else ("wall" if point & 8 else "frame")
        pressed.append(
            Mark(photo="photo0.jpg", wall="north", point=CORNERS[point & 3], px=(x, y), opening=opening, face=face)  # type: ignore[arg-type]
        )
    solution = measure_wall(replace(case.problem, marks=tuple(pressed[:24]), edges=()))
    for size in (solution.measured.width_mm, solution.measured.height_mm, solution.measured.gross_area_m2):
        assert size is None or (np.isfinite(size.value) and np.isfinite(size.sd) and size.sd >= 0.0)


TARGETS: dict[str, Target] = {
    "survey": survey, "prices": prices, "picture": picture, "exif": exif, "archive": archive, "post": post,
    "marks": marks,
}  # fmt: skip


def seeds(name: str) -> list[bytes]:
    """Return whole inputs of a target, to be damaged."""
    if name == "survey":
        return [(ROOT / "sample_photos" / "lock_cottage" / "survey.json").read_bytes(), b'{"schema_version": 1}']
    if name == "prices":
        from estimator.prices import default_price_list

        return [default_price_list().encode(), b"[adhesive]\nlow = 9\nhigh = 11\n"]
    if name in ("picture", "exif"):
        return list(_pictures())
    if name == "archive":
        return list(_archives())
    if name == "post":
        mark = {"wall": "north", "point": "top_left", "px": [1.5, 2]}
        edit = {"path": ["photos", "a.jpg", "marks", "wall=north;point=top_left"], "value": mark, "was": None}
        return [json.dumps({"edits": [edit], "force": True}).encode(), b'{"edits": [{"path": ["title"], "value": ""}]}']
    corners = [(0, 900.0, 2300.0), (1, 3100.0, 2280.0), (2, 3080.0, 600.0), (3, 880.0, 640.0)]
    return [
        b"".join(struct.pack("<Bff", 4 + p, x, y) for p, x, y in corners),
        b"".join(struct.pack("<Bff", 12 + p, float("nan"), float("inf")) for p, _, _ in corners),
    ]


def _pictures() -> Iterator[bytes]:
    import numpy as np
    from PIL import Image

    pixels = np.tile(np.arange(64, dtype=np.uint8)[:, None, None] * 3, (1, 80, 3))
    details = Image.Exif()
    details[0x010F], details[0x0112] = "Handset", 6
    details.get_ifd(0x8769)[0xA405] = 26
    kinds = ["JPEG", "PNG", "WEBP", "TIFF"]
    try:
        import pillow_heif

        pillow_heif.register_heif_opener()
        kinds.append("HEIF")
    except ImportError:
        pass
    for kind in kinds:
        buffer = io.BytesIO()
        Image.fromarray(pixels).save(buffer, kind, exif=details)
        yield buffer.getvalue()


def _archives() -> Iterator[bytes]:
    for names in (["IMG_0001.jpg", "survey.json"], ["../out.jpg"], ["home/IMG_0001.jpg", "home/IMG_0001.jpg"]):
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as opened:
            for name in names:
                if name not in opened.namelist():
                    opened.writestr(name, b"\xff\xd8\xff" + b"0" * 400)
        yield buffer.getvalue()


def damaged(rng: random.Random, whole: list[bytes]) -> bytes:
    """Return one of the seeds with some bytes changed, cut, doubled or taken from another."""
    data = bytearray(rng.choice(whole))
    for _ in range(rng.randint(1, 8)):
        at = rng.randrange(len(data)) if data else 0
        match rng.randrange(7):
            case 0:
                data[at : at + 1] = bytes([rng.randrange(256)])
            case 1:
                data[at : at + 1] = bytes([data[at] ^ (1 << rng.randrange(8))]) if data else b""
            case 2:
                del data[at : at + rng.choice([1, 2, 16, 256])]
            case 3:
                data[at:at] = data[at : at + rng.choice([1, 4, 64])]
            case 4:
                data[at:at] = rng.choice([b"\x00", b"\xff" * 4, b"[" * 50, b"-1", b"1e999", b"\x7f\xff\xff", b"../"])
            case 5:
                other = rng.choice(whole)
                data[at : at + 32] = other[rng.randrange(len(other)) :][:32]
            case _:
                data[at : at + 4] = struct.pack(rng.choice("<>") + "I", rng.choice([0, 1, 2**16, 2**31, 2**32 - 1]))
    return bytes(data)


def throw(name: str, *, seconds: float, seed: int, most: int | None = None) -> dict[str, object]:
    """Throw damaged seeds at a target for some seconds of the processor; return how many, and the longest."""
    rng, whole, target = random.Random(f"{name} {seed}"), seeds(name), TARGETS[name]
    begun, longest, thrown = time.process_time(), 0.0, 0
    while time.process_time() - begun < seconds and (most is None or thrown < most):
        data = damaged(rng, whole) if thrown >= len(whole) else whole[thrown]
        at = time.process_time()
        try:
            target(data)
        except Exception as error:
            raise AssertionError(f"{name}: {type(error).__name__}: {error}; the input was {data[:400]!r}") from error
        longest = max(longest, time.process_time() - at)
        assert longest < LONGEST_S, f"{name}: {longest:.1f} s for {data[:400]!r}"
        thrown += 1
    return {"target": name, "inputs": thrown, "longest_s": round(longest, 3), "steered": False}


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:
        return
    have = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (have + MOST_BYTES, have + MOST_BYTES))


def _steered(name: str, seconds: float, seed: int) -> None:
    """Fuzz under atheris; the process ends by itself, with 0 if nothing was found."""
    import atheris  # type: ignore[import-untyped, unused-ignore]

    with atheris.instrument_imports(include=["intake", "estimator", "vision"]):
        TARGETS[name](seeds(name)[0])
    with tempfile.TemporaryDirectory() as corpus:
        for k, whole in enumerate(seeds(name)):
            (Path(corpus) / f"{k}").write_bytes(whole)
        options = [f"-max_total_time={seconds:.0f}", f"-seed={seed}", f"-timeout={LONGEST_S:.0f}", "-rss_limit_mb=2048"]
        atheris.Setup([sys.argv[0], *options, "-print_final_stats=1", "-max_len=20000", corpus], TARGETS[name])
        atheris.Fuzz()


def main() -> int:
    """Throw at one target and print what came of it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--steered", action="store_true")
    chosen = parser.parse_args()
    if chosen.steered:
        _steered(chosen.target, chosen.seconds, chosen.seed)
        return 0
    TARGETS[chosen.target](seeds(chosen.target)[0])
    _limit_memory()
    print(json.dumps(throw(chosen.target, seconds=chosen.seconds, seed=chosen.seed)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
