"""The sample survey that the wheel carries, copied for the demo."""

from __future__ import annotations

import contextlib
import glob
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from vision.findings import PerpendError

_LEFT_OUT = shutil.ignore_patterns("results", "truth.json", ".*", "__pycache__", "*.backup")


def sample_survey() -> Path:
    """Return the sample survey: the wheel's, or the checkout's.

    Raises
    ------
    PerpendError
        Neither is there.
    """
    here = Path(__file__).resolve().parent
    for folder in (here / "demo_survey", here.parent / "sample_photos" / "lock_cottage"):
        if (folder / "survey.json").exists():
            return folder
    raise PerpendError(f"{here / 'demo_survey'}: the sample survey is missing. Install perpend again.")


def copy_demo(out: Path | None = None) -> Path:
    """Return a new folder with a copy of the sample survey, whole; never one that was there before.

    Raises
    ------
    PerpendError
        The named folder is there already, or nothing can be written here.
    """
    target = _free_name() if out is None else out
    if target.exists():
        raise PerpendError(f"{target}: is there already; nothing was overwritten. Name another folder with --out.")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with _scratch_beside(target) as scratch:
            shutil.copytree(sample_survey(), scratch / target.name, ignore=_LEFT_OUT)
            os.replace(scratch / target.name, target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise PerpendError(f"{target}: could not be written ({reason}). Run the demo in a folder of yours.") from error
    return target


@contextlib.contextmanager
def _scratch_beside(target: Path) -> Iterator[Path]:
    """Give an empty hidden folder beside the target that vanishes when the body ends; first clear dead demos' ones.

    A running demo holds the lock of its folder; the lock of one that was killed is gone. Where the system has no such
    locks, what a killed demo left stays.
    """
    for left in target.parent.glob(f".{glob.escape(target.name)}.*.part"):
        with _locked(left) as dead:
            if dead and {path.name for path in left.iterdir()} <= {target.name}:
                shutil.rmtree(left, ignore_errors=True)
    while True:
        scratch = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent))
        with _locked(scratch, wait=True) as mine:
            if not mine and not scratch.exists():
                continue  # another demo took it for a dead one's, before it was locked
            try:
                yield scratch
            finally:
                shutil.rmtree(scratch, ignore_errors=True)
            return


@contextlib.contextmanager
def _locked(folder: Path, *, wait: bool = False) -> Iterator[bool]:
    """Hold a folder's lock while the body runs; give whether it could be had, and the folder is still there."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC)
    except (ImportError, OSError):
        yield False
        return
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
            free = folder.exists()
        except OSError:
            free = False
        yield free
    finally:
        os.close(handle)


def _free_name() -> Path:
    name = Path("perpend_demo")
    number = 2
    while name.exists():
        name = Path(f"perpend_demo_{number}")
        number += 1
    return name
