"""The page's requests in the terms of OpenAPI 3.1, for whoever tests or drives them; kept beside the routes.

``tests/test_page_description.py`` holds that every route under /api/ is described here and answers as described.
"""

from __future__ import annotations

from typing import Any

from intake.page.guard import MAX_BODY_BYTES
from vision.walls import ReferenceKind

Json = Any
MOST_POINTS = 500
LONGEST_REACH_PX = 100.0
FURTHEST_PX = 1e6
KINDS: dict[str, ReferenceKind] = {"id1_card": "id1_card", "a4": "a4", "rectangle": "rectangle"}


def description(port: int) -> dict[str, Json]:
    """Return the description of every request under /api/, as an OpenAPI 3.1 document.

    Parameters
    ----------
    port
        The page's port, after which its cookie is named.
    """
    return {
        "openapi": "3.1.0",
        "info": {"title": "perpend marking page", "version": "1"},
        "paths": {
            "/api/state": {"get": _get("Everything that a page needs at its start.", _json_ok("State"))},
            "/api/photo": {"get": _get("A photo, or a piece of it.", _jpeg(), _PHOTO, gone=True)},
            "/api/straight": {"get": _get("The wall straightened.", _jpeg(), _STRAIGHT, gone=True)},
            "/api/news": {"get": _get("What changes, as server-sent events.", _stream())},
            "/api/openapi.json": {"get": _get("This description.", _json_ok(None))},
            "/api/change": {"post": _post("Make edits, all or none, and save them.", "Change", "Changed")},
            "/api/preview": {"post": _post("The live sizes as they would be.", "Change", None)},
            "/api/refine": {"post": _refine()},
            "/api/cross": {"post": _of_a_photo("Where two drawn edges would meet.", "Cross", "Crossed")},
            "/api/seek": {"post": _of_a_photo("The outline of a thing about a place.", "Seek", "Sought")},
            "/api/restore": {"post": _post("Write the last good survey over a broken one.", None, "Changed")},
        },
        "components": {
            "schemas": _SCHEMAS,
            "securitySchemes": {"cookie": {"type": "apiKey", "in": "cookie", "name": f"perpend_{port}"}},
        },
        "security": [{"cookie": []}],
    }


def _query(name: str, schema: dict[str, Json], *, required: bool = True) -> dict[str, Json]:
    return {"name": name, "in": "query", "required": required, "schema": schema}


_TEXT = {"type": "string"}
_SERIAL = {"type": "integer", "minimum": 0, "description": "Of two versions of the survey the higher is the later."}
_PHOTO = [
    _query("file", _TEXT),
    _query("size", {"enum": ["thumb", "base", "tile"]}),
    _query("x", {"type": "integer", "minimum": 0}, required=False),
    _query("y", {"type": "integer", "minimum": 0}, required=False),
]
_STRAIGHT = [_query("wall", _TEXT), _query("file", _TEXT)]

_EDIT = {
    "type": "object",
    "required": ["path", "value"],
    "additionalProperties": False,
    "properties": {
        "path": {"type": "array", "minItems": 1, "maxItems": 32, "items": {"type": "string", "minLength": 1}},
        "value": {"description": "What is wanted there; null removes it."},
        "was": {"description": "What its author saw there; null or left out: nothing."},
    },
}
_PLACE = {"type": "array", "prefixItems": [{"type": "number"}] * 2, "minItems": 2, "maxItems": 2}
_BOUNDED = {"type": "number", "minimum": -FURTHEST_PX, "maximum": FURTHEST_PX}
_PRESS = _PLACE | {"prefixItems": [_BOUNDED] * 2}
_SIDE = {"type": "number", "exclusiveMinimum": 0, "maximum": 10_000}
_PAIR = {"type": "array", "minItems": 2, "maxItems": 2}
_SURE = {"type": "number", "exclusiveMinimum": 0, "maximum": LONGEST_REACH_PX}
_POINT = {
    "type": "object",
    "required": ["px", "reach_px"],
    "properties": {
        "px": _PLACE,
        "reach_px": {"type": "number", "exclusiveMinimum": 0, "maximum": LONGEST_REACH_PX},
    },
}
_SCHEMAS: dict[str, Json] = {
    "Problem": {"type": "object", "required": ["problem"], "properties": {"problem": {**_TEXT, "minLength": 1}}},
    "Change": {
        "type": "object",
        "required": ["edits"],
        "properties": {
            "edits": {"type": "array", "minItems": 1, "items": _EDIT},
            "force": {"type": "boolean", "description": "Overrule what others changed meanwhile."},
        },
    },
    "Changed": {
        "type": "object",
        "required": ["revision", "serial"],
        "properties": {
            "revision": _TEXT,
            "serial": _SERIAL,
            "survey": {"type": "object"},
            "conflicts": {"type": "array", "items": {"type": "object", "required": ["path", "mine", "theirs"]}},
        },
    },
    "Refine": {
        "type": "object",
        "required": ["file", "points"],
        "properties": {"file": _TEXT, "points": {"type": "array", "maxItems": MOST_POINTS, "items": _POINT}},
    },
    "Refined": {
        "type": "object",
        "required": ["points"],
        "properties": {
            "points": {
                "type": "array",
                "items": {
                    "type": "object",
                    "required": ["px"],
                    "properties": {
                        "px": {"anyOf": [_PLACE, {"type": "null"}]},
                        "why": _TEXT,
                        "sd_px": {"type": "number"},
                        "doubtful": {"type": "boolean", "description": "It may not be the corner that was meant."},
                    },
                },
            }
        },
    },
    "Cross": {
        "type": "object",
        "required": ["file", "lines", "sd_px"],
        "properties": {"file": _TEXT, "lines": {**_PAIR, "items": {**_PAIR, "items": _PRESS}}, "sd_px": _SURE},
    },
    "Crossed": {
        "type": "object",
        "required": ["px"],
        "properties": {"px": {"anyOf": [_PLACE, {"type": "null"}]}, "why": _TEXT, "sd_px": {"type": "number"}},
    },
    "Seek": {
        "type": "object",
        "required": ["file", "px", "kind"],
        "properties": {
            "file": _TEXT,
            "px": _PRESS,
            "kind": {"enum": list(KINDS)},
            "size_mm": _PLACE | {"prefixItems": [_SIDE] * 2, "description": "Width and height; a rectangle's only."},
        },
    },
    "Sought": {
        "type": "object",
        "required": ["corners_px"],
        "properties": {
            "corners_px": {
                "anyOf": [{"type": "array", "minItems": 4, "maxItems": 4, "items": _PLACE}, {"type": "null"}]
            },
            "why": _TEXT,
        },
    },
    "State": {
        "type": "object",
        "required": [
            "folder",
            "folder_id",
            "survey",
            "revision",
            "serial",
            "problem",
            "photos",
            "found",
            "live",
            "tape_list",
        ],
        "properties": {
            "survey": {"type": "object", "required": ["schema_version"]},
            "revision": _TEXT,
            "serial": _SERIAL,
            "problem": {"type": ["string", "null"]},
            "photos": {"type": "array", "items": {"type": "object", "required": ["file", "width_px", "height_px"]}},
            "tape_list": {
                "type": "array",
                "description": "What the last estimate asks to be taped; empty where there is none.",
                "items": {"type": "object", "required": ["wall", "key", "why"]},
            },
        },
    },
}


def _ref(name: str) -> dict[str, Json]:
    return {"$ref": f"#/components/schemas/{name}"}


def _json_ok(schema: str | None) -> dict[str, Json]:
    shape = {"type": "object"} if schema is None else _ref(schema)
    return {"description": "Done.", "content": {"application/json": {"schema": shape}}}


def _jpeg() -> dict[str, Json]:
    return {"description": "A picture.", "content": {"image/jpeg": {}}}


def _stream() -> dict[str, Json]:
    return {"description": "News until the page closes.", "content": {"text/event-stream": {}}}


def _words(text: str) -> dict[str, Json]:
    return {"description": text, "content": {"text/plain": {"schema": _TEXT}}}


_PROBLEM = {
    "description": "Cannot be done; the words say why and what would help.",
    "content": {"application/json": {"schema": _ref("Problem")}, "text/plain": {"schema": _TEXT}},
}
_DOOR = {
    "403": _words("Not from this page, or without this run's token."),
    "421": _words("Another host's name."),
}
_TOO_LARGE = {"413": _words(f"A post may have {MAX_BODY_BYTES // 1024} kB.")}


def _get(
    summary: str, answer: dict[str, Json], parameters: list[dict[str, Json]] | None = None, *, gone: bool = False
) -> dict[str, Json]:
    missing = {"404": _words("There is no such thing in this survey."), "422": _PROBLEM} if gone else {}
    return {"summary": summary, "parameters": parameters or [], "responses": {"200": answer, **missing, **_DOOR}}


def _post(summary: str, body: str | None, answer: str | None) -> dict[str, Json]:
    sent = {"required": True, "content": {"application/json": {"schema": _ref(body)}}} if body else None
    told = {"200": _json_ok(answer), "422": _PROBLEM, **_TOO_LARGE, **_DOOR}
    return {"summary": summary, "responses": told} | ({"requestBody": sent} if sent else {})


def _of_a_photo(summary: str, body: str, answer: str) -> dict[str, Json]:
    told = _post(summary, body, answer)
    return told | {"responses": told["responses"] | {"404": _words("No such picture in this survey.")}}


def _refine() -> dict[str, Json]:
    told = _post("The edge crossing near each click.", "Refine", "Refined")
    refused = {"400": _words("Not file and points."), "404": _words("No such picture, or too much asked.")}
    return told | {"responses": told["responses"] | refused}
