"""The program's version, for results and messages."""

from __future__ import annotations

import functools


@functools.cache
def perpend_version() -> str:
    """Return the installed version; ``0+checkout`` where the package runs without being installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("perpend")
    except PackageNotFoundError:
        return "0+checkout"
