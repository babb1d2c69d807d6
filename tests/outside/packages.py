"""Photographs from Debian packages, fetched when a test needs them and never kept in the repository."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import NoReturn

import pytest

CACHE = Path(tempfile.gettempdir()) / "perpend-test-packages"


def debian_package(name: str) -> Path:
    """Return the folder that a Debian package's files were unpacked to; skip the test, loudly, where it cannot be had.

    Parameters
    ----------
    name
        A package name that the machine's own package sources carry.
    """
    folder = CACHE / name
    if (folder / "done").exists():
        return folder / "files"
    if shutil.which("apt-get") is None or shutil.which("dpkg") is None:
        _skip(name, "apt-get or dpkg is not on this machine")
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "files").mkdir(parents=True)
    error = ""
    for attempt in range(2):
        if attempt:
            subprocess.run(["apt-get", "update", "-q"], capture_output=True, check=False, timeout=300)
        got = subprocess.run(
            ["apt-get", "download", "-q", name], cwd=folder, capture_output=True, text=True, check=False, timeout=300
        )
        error = got.stderr.strip().splitlines()[-1] if got.stderr.strip() else ""
        archives = sorted(folder.glob("*.deb"))
        if got.returncode == 0 and archives:
            subprocess.run(["dpkg", "-x", str(archives[0]), str(folder / "files")], check=True, timeout=120)
            archives[0].unlink()
            (folder / "done").touch()
            return folder / "files"
    _skip(name, error or "apt-get download failed")


def _skip(name: str, why: str) -> NoReturn:
    message = f"NOT CHECKED against the photographs of Debian's {name}: {why}"
    print(f"\n*** {message} ***")
    pytest.skip(message)
