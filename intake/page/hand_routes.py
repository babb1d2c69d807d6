"""Requests that help a hand in one photo: the crossing beneath a click, two drawn edges, the outline of a thing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from intake.page.description import FURTHEST_PX, KINDS, LONGEST_REACH_PX, MOST_POINTS
from vision.findings import PerpendError

if TYPE_CHECKING:
    from intake.page.bench import Bench


def hand_routes(bench: Bench) -> list[Route]:
    """Return these routes over one bench.

    Parameters
    ----------
    bench
        The open survey with its pictures.
    """

    async def refine(request: Request) -> Response:
        posted = await read_json(request)
        try:
            file = str(posted["file"])
            points = [(float(p["px"][0]), float(p["px"][1]), float(p["reach_px"])) for p in posted["points"]]
        except (KeyError, TypeError, ValueError, IndexError, OverflowError):
            return PlainTextResponse("refine: expected file and points with px and reach_px\n", 400)
        far = any(not 0 < reach <= LONGEST_REACH_PX for _, _, reach in points)
        if file not in bench.pictures.files or len(points) > MOST_POINTS or far:
            return PlainTextResponse("There is no such picture in this survey, or too much was asked.\n", 404)
        found = [await run_in_threadpool(bench.refine, file, (x, y), reach) for x, y, reach in points]
        return JSONResponse({"points": found})

    async def cross(request: Request) -> Response:
        posted = await read_json(request)
        try:
            lines = [[_place(end) for end in line] for line in posted["lines"]]
            sd_px = float(posted["sd_px"])
        except (KeyError, TypeError, ValueError, OverflowError):
            lines, sd_px = [], 0.0
        if [len(line) for line in lines] != [2, 2] or not 0 < sd_px <= LONGEST_REACH_PX:
            raise PerpendError("cross: expected file, two lines of two places each, and sd_px")
        if posted.get("file") not in bench.pictures.files:
            return PlainTextResponse("There is no such picture in this survey.\n", 404)
        return JSONResponse(await run_in_threadpool(bench.cross, posted["file"], lines, sd_px))

    async def seek(request: Request) -> Response:
        posted = await read_json(request)
        try:
            px, kind = _place(posted["px"]), KINDS[posted["kind"]]
            size_mm = _place(posted["size_mm"]) if posted.get("size_mm") is not None else None
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise PerpendError(f"seek: expected file, px, kind (one of {', '.join(KINDS)}) and size_mm") from error
        if (kind == "rectangle" and size_mm is None) or not all(0 < side <= 10_000 for side in size_mm or ()):
            raise PerpendError("seek: a rectangle needs size_mm, its width and height in mm")
        if posted.get("file") not in bench.pictures.files:
            return PlainTextResponse("There is no such picture in this survey.\n", 404)
        return JSONResponse(await run_in_threadpool(bench.seek, posted["file"], px, kind, size_mm))

    return [
        Route("/api/refine", refine, methods=["POST"]),
        Route("/api/cross", cross, methods=["POST"]),
        Route("/api/seek", seek, methods=["POST"]),
    ]


def _place(posted: Any) -> tuple[float, float]:
    x, y = (float(v) for v in posted)
    if not (abs(x) <= FURTHEST_PX and abs(y) <= FURTHEST_PX):
        raise ValueError(posted)
    return x, y


async def read_json(request: Request) -> dict[str, Any]:
    """Return a post's JSON object.

    Raises
    ------
    PerpendError
        If it is anything else.
    """
    try:
        posted = await request.json()
    except (ValueError, RecursionError) as error:
        raise PerpendError("the post is not JSON") from error
    if not isinstance(posted, dict):
        raise PerpendError("the post is not a JSON object")
    return posted
