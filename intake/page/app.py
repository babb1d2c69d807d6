"""The marking page as an ASGI application over one survey folder."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware

from intake.page.bench import Bench
from intake.page.guard import Guard
from intake.page.routes import failed, refused, routes
from vision.findings import PerpendError


def make_app(folder: Path, token: str) -> Starlette:
    """Return the marking page's application.

    Parameters
    ----------
    folder
        The survey folder: photos, and survey.json if there is one yet.
    token
        The secret of this run, at least 16 characters; ``/?token=...`` lets a browser in.

    Raises
    ------
    PerpendError
        If the folder is not one, or the token is too short.
    """
    if not folder.is_dir():
        raise PerpendError(f"{folder}: no such folder; give the folder that holds the photos")
    if len(token) < 16:
        raise PerpendError("the page's token is too short; give at least 16 characters")
    bench = Bench(folder)

    @asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        bench.start()
        try:
            yield
        finally:
            bench.stop()

    app = Starlette(
        routes=routes(bench),
        middleware=[Middleware(Guard, token=token)],
        exception_handlers={PerpendError: refused, Exception: failed},
        lifespan=life,
    )
    app.state.bench = bench
    return app
