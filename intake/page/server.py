"""Starting the page: a port of its own on the loopback address, a fresh token, and the browser."""

from __future__ import annotations

import hashlib
import secrets
import socket
import sys
import webbrowser
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import uvicorn

from intake.page.app import make_app
from vision.findings import PerpendError

_FIRST, _SPAN = 49_152, 16_000
"""Dynamic ports by RFC 6335, section 6."""


SWITCH_S = 0.001
"""Longest turn of a thread that others wait for: answers to the page do not queue behind the background work."""


class _Server(uvicorn.Server):
    """A server that ends the pages' news streams first, so that it can stop at once."""

    def __init__(self, config: uvicorn.Config, end_news: Callable[[], None]) -> None:
        super().__init__(config)
        self._end_news = end_news

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._end_news()
        super().handle_exit(sig, frame)


def usual_port(folder: Path) -> int:
    """Return the port that a folder's page asks for first.

    The same one each time, so that a browser finds again, after a crash, the marks it kept for the server.

    Parameters
    ----------
    folder
        The survey folder.
    """
    digest = hashlib.sha256(str(folder.resolve()).encode()).digest()
    return _FIRST + int.from_bytes(digest[:4], "big") % _SPAN


def run(folder: Path, *, port: int, open_browser: bool) -> None:
    """Serve until interrupted; see :func:`intake.page.serve`."""
    token = secrets.token_urlsafe(24)
    app = make_app(folder, token)
    listener = _listen(folder, port)
    address = f"http://127.0.0.1:{listener.getsockname()[1]}/?token={token}"
    sys.setswitchinterval(SWITCH_S)
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, timeout_graceful_shutdown=2, server_header=False, ws="none"
    )
    sys.stderr.write(f"Marking page: {address}\nEvery mark is saved as you make it. Stop with Ctrl+C.\n")
    sys.stderr.flush()
    if open_browser:
        webbrowser.open(address)
    with listener:
        server = _Server(config, app.state.bench.events.close)
        server.run(sockets=[listener])


def _listen(folder: Path, port: int) -> socket.socket:
    for choice in (port,) if port else (usual_port(folder), 0):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", choice))
        except OSError as error:
            listener.close()
            if port:
                raise PerpendError(f"port {port} is taken ({error}); leave --port out to take a free one") from error
            continue
        listener.listen(128)
        return listener
    raise PerpendError("no free port on 127.0.0.1; close other programs and try again")
