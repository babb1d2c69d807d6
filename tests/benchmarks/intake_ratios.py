"""Ratios of CPU time, decodes and memory of the intake to the floor on the same files, in one run."""

from __future__ import annotations

import io
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parent.parent.parent
SAMPLE = ROOT / "sample_photos" / "lock_cottage"


def copies(folder: Path, count: int) -> list[Path]:
    """Return that many 12-megapixel photos of the sample in a new folder; each file differs in its last bytes."""
    folder.mkdir(parents=True)
    originals = sorted(SAMPLE.glob("*.jpg"))
    made = []
    for k in range(count):
        path = folder / f"IMG_{k:04d}.jpg"
        path.write_bytes(originals[k % len(originals)].read_bytes() + k.to_bytes(4, "big"))
        made.append(path)
    return made


def cpu_seconds(work: Callable[[], object]) -> float:
    """Return the CPU time that a piece of work takes, seconds."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def floor_seconds(photos: list[Path]) -> float:
    """Return the CPU time of decoding each photo in full-size grey and looking for tags plainly."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    detector = cv2.aruco.ArucoDetector(dictionary, cv2.aruco.DetectorParameters())

    def work() -> None:
        for path in photos:
            grey = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_GRAYSCALE)
            detector.detectMarkers(np.asarray(grey))

    return cpu_seconds(work)


def check_ratio(folder: Path, count: int) -> float:
    """Return the CPU time of ``perpend check`` over the floor, both on the same photos in this process."""
    from intake.check import check_folder

    cv2.setNumThreads(1)
    photos = copies(folder, count)
    check_folder(copies(folder.with_name(folder.name + "_warm"), 5)[0].parent)  # so that no import is counted
    return cpu_seconds(lambda: check_folder(folder)) / floor_seconds(photos)


def decodes_per_photo(folder: Path) -> float:
    """Return how many full decodes of a photo ``perpend measure`` makes on a copy of the sample, over its photos."""
    from intake import gather
    from intake.pipeline import measure_folder

    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("results"))
    calls: list[str] = []
    original = vars(gather)["decode_picture"]

    def counted(data: bytes, **options: object) -> object:
        calls.append(str(options["file"]))
        return original(data, **options)

    vars(gather)["decode_picture"] = counted
    try:
        measure_folder(folder)
    finally:
        vars(gather)["decode_picture"] = original
    return len(calls) / len(list(folder.glob("*.jpg")))


def heic_ratio() -> float:
    """Return the CPU time of reading a 12-megapixel HEIC photo over that of its bare decode."""
    import pi_heif
    import pillow_heif

    from intake.decode import decode_picture

    picture = Image.open(next(iter(sorted(SAMPLE.glob("*.jpg")))))
    buffer = io.BytesIO()
    pillow_heif.from_pillow(picture).save(buffer, quality=80)
    data = buffer.getvalue()

    def bare() -> None:
        np.asarray(pi_heif.open_heif(data, convert_hdr_to_8bit=True))

    ours = min(cpu_seconds(lambda: decode_picture(data, file="a.heic")) for _ in range(3))
    return ours / min(cpu_seconds(bare) for _ in range(3))


def peak_megabytes(folder: Path, count: int) -> float:
    """Return the largest memory of a process that checks that many photos, megabytes."""
    copies(folder, count)
    code = (
        "import sys; from pathlib import Path; from intake.check import check_folder; check_folder(Path(sys.argv[1]))"
    )
    subprocess.run([sys.executable, "-c", code, str(folder)], cwd=ROOT, check=True)
    kilobytes = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return kilobytes / (1e3 if sys.platform != "darwin" else 1e6)


def worker_speed_up(folder: Path, surveys: int) -> float:
    """Return how much sooner two workers finish a batch than one, by the clock."""
    from intake.batch import run_batch

    times = []
    for workers in (1, 2):
        root = folder / f"with_{workers}"
        for k in range(surveys):
            shutil.copytree(SAMPLE, root / f"home_{k}", ignore=shutil.ignore_patterns("results", "truth.json"))
        begun = time.monotonic()
        run_batch(root, workers=workers)
        times.append(time.monotonic() - begun)
    return times[0] / times[1]
