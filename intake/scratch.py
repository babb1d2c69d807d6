"""A folder to make something whole in, before it takes its place."""

from __future__ import annotations

import contextlib
import glob
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def scratch_beside(target: Path) -> Iterator[Path]:
    """Give an empty hidden folder beside the target that vanishes at the end; first clear what killed commands left.

    The body makes one thing in it, of the target's name, and moves it to the target when it is whole. A running command
    holds the lock of its folder; the lock of one that was killed is gone. Where the system has no such locks, what a
    killed one left stays.
    """
    for left in target.parent.glob(f".{glob.escape(target.name)}.*.part"):
        with _locked(left) as dead:
            if dead and {path.name for path in left.iterdir()} <= {target.name}:
                shutil.rmtree(left, ignore_errors=True)
    while True:
        scratch = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent))
        with _locked(scratch, wait=True) as mine:
            if not mine and not scratch.exists():
                continue  # another command took it for a dead one's, before it was locked
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
