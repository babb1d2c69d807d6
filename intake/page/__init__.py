"""The marking page: a server on the loopback address and the page it serves."""

from __future__ import annotations

from pathlib import Path

__all__ = ["serve"]


def serve(folder: Path, *, port: int = 0, open_browser: bool = True) -> None:
    """Serve the marking page for a survey folder until interrupted.

    Parameters
    ----------
    folder
        The survey folder.
    port
        Port on 127.0.0.1; 0 takes the folder's usual port if it is free, else any.
    open_browser
        Whether to open the page in the person's browser.

    Raises
    ------
    PerpendError
        If the folder is not one or the port is taken.
    """
    from intake.page.server import run

    run(folder, port=port, open_browser=open_browser)
