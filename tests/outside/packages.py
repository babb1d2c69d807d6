"""Photographs from packages, Debian's and the index's, fetched when a test needs them, never kept in the repository."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tarfile
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
    message = f"NOT CHECKED against the photographs of {name}: {why}"
    print(f"\n*** {message} ***")
    pytest.skip(message)


def source_distribution(name: str, version: str) -> Path:
    """Return the folder that a source distribution from the package index was unpacked to; skip, loudly, without one.

    Parameters
    ----------
    name
        The project's name on the index.
    version
        The version whose files the test knows.
    """
    folder = CACHE / f"{name}-{version}"
    if (folder / "done").exists():
        return folder
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "-q",
        "--no-deps",
        "--no-binary",
        ":all:",
    ]
    got = subprocess.run(
        [*command, f"{name}=={version}"], cwd=folder, capture_output=True, text=True, check=False, timeout=600
    )
    archives = sorted(folder.glob("*.tar.gz"))
    if got.returncode != 0 or not archives:
        _skip(f"{name} {version}", got.stderr.strip().splitlines()[-1] if got.stderr.strip() else "pip download failed")
    with tarfile.open(archives[0]) as opened:
        opened.extractall(folder, filter="data")
    archives[0].unlink()
    (folder / "done").touch()
    return folder
