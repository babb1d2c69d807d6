"""The page's requests: the page itself, pictures, changes, refinement of a click, live sizes and news."""

from __future__ import annotations

from dataclasses import asdict
from importlib import resources
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from intake.page.description import description
from intake.page.document import read_edits
from intake.page.guard import HEADERS
from intake.page.hand_routes import hand_routes, read_json
from vision.findings import PerpendError

if TYPE_CHECKING:
    from intake.page.bench import Bench

_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml; charset=utf-8", ".html": "text/html"}
_FOREVER = {"cache-control": "private, max-age=31536000, immutable"}


def routes(bench: Bench) -> list[Route]:
    """Return the page's routes over one bench.

    Parameters
    ----------
    bench
        The open survey with its pictures, solver and news.
    """
    files = _static_files()
    early = [f'<link rel="modulepreload" href="/static/{name}">' for name in sorted(files) if name.endswith(".js")]
    page_html = files["page.html"].replace(b"<!-- modules -->", "\n".join(early).encode())

    async def page(_: Request) -> Response:
        return Response(page_html, media_type="text/html")

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in files or name.endswith(".html"):
            return PlainTextResponse("There is no such file.\n", 404)
        return Response(files[name], media_type=_TYPES["." + name.rsplit(".", 1)[1]])

    async def state(_: Request) -> Response:
        return JSONResponse(await run_in_threadpool(bench.state))

    async def photo(request: Request) -> Response:
        query = request.query_params
        try:
            if query.get("size") == "tile":
                column, row = int(query["x"]), int(query["y"])
                data = await run_in_threadpool(bench.pictures.tile, query["file"], column, row)
            else:
                size = {"thumb": "thumb", "base": "base"}[query["size"]]
                data = await run_in_threadpool(bench.pictures.scaled, query["file"], size)
        except (KeyError, ValueError):
            return PlainTextResponse("There is no such picture in this survey.\n", 404)
        except PerpendError as error:
            return PlainTextResponse(f"{error}\n", 422)
        return Response(data, media_type="image/jpeg", headers=_FOREVER)

    async def straight(request: Request) -> Response:
        query = request.query_params
        try:
            data = await run_in_threadpool(bench.live.straight, query["wall"], query["file"], 2.5)
        except KeyError:
            return PlainTextResponse("That wall is not measured from that photo yet.\n", 404)
        return Response(data, media_type="image/jpeg")

    async def change(request: Request) -> Response:
        posted = await read_json(request)
        edits = read_edits(posted.get("edits"))
        saved = await run_in_threadpool(bench.change, edits, force=posted.get("force") is True)
        answer: dict[str, Any] = {"revision": saved.revision, "serial": saved.serial}
        if saved.conflicts:
            answer |= {"survey": saved.document, "conflicts": [asdict(c) for c in saved.conflicts]}
        return JSONResponse(answer)

    async def preview(request: Request) -> Response:
        posted = await read_json(request)
        return JSONResponse(await run_in_threadpool(bench.preview, read_edits(posted.get("edits"))))

    async def restore(_: Request) -> Response:
        saved = await run_in_threadpool(bench.session.restore)
        return JSONResponse({"revision": saved.revision, "serial": saved.serial, "survey": saved.document})

    async def described(request: Request) -> Response:
        return JSONResponse(description(request.scope["server"][1]))

    async def news(_: Request) -> Response:
        return StreamingResponse(bench.events.listen(bench.greeting), media_type="text/event-stream")

    return [
        Route("/", page),
        Route("/static/{name}", static),
        Route("/api/state", state),
        Route("/api/photo", photo),
        Route("/api/straight", straight),
        Route("/api/news", news),
        Route("/api/openapi.json", described),
        Route("/api/change", change, methods=["POST"]),
        Route("/api/preview", preview, methods=["POST"]),
        *hand_routes(bench),
        Route("/api/restore", restore, methods=["POST"]),
    ]


async def refused(_: Request, error: Exception) -> Response:
    """Return the words of a failure that the person can mend."""
    return JSONResponse({"problem": str(error)}, 422)


async def failed(_: Request, error: Exception) -> Response:
    """Return the last words when the server itself is at fault; what happened is in the console, not here."""
    words = "The page's server failed on this; nothing was changed. What happened is shown where it was started."
    return JSONResponse({"problem": words}, 500, headers=HEADERS)


def _static_files() -> dict[str, bytes]:
    here = resources.files("intake.page") / "static"
    return {item.name: item.read_bytes() for item in here.iterdir() if "." + item.name.rsplit(".", 1)[-1] in _TYPES}
