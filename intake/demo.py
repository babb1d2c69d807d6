"""The sample survey that the wheel carries, copied for the demo."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from intake.scratch import scratch_beside
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
        with scratch_beside(target) as scratch:
            shutil.copytree(sample_survey(), scratch / target.name, ignore=_LEFT_OUT)
            os.replace(scratch / target.name, target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise PerpendError(f"{target}: could not be written ({reason}). Run the demo in a folder of yours.") from error
    return target


def _free_name() -> Path:
    name = Path("perpend_demo")
    number = 2
    while name.exists():
        name = Path(f"perpend_demo_{number}")
        number += 1
    return name
