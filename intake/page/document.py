"""Small edits to a survey's JSON, addressed by identity, so that two pages and a text editor can all add to one survey.

An edit is a path, the value wanted and the value that its author saw. A path names keys of objects, and members of
lists by what identifies them: a wall, room, opening, feature or reference by its ``id``, a photo by its ``file``, a
mark by :func:`mark_identity`. An edit whose target holds neither the seen nor the wanted value is a conflict.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from vision.findings import PerpendError

Json = Any
MARK_KEYS = ("wall", "opening", "face", "feature", "reference", "point")
_LISTS = {"walls": "id", "rooms": "id", "references": "id", "openings": "id", "features": "id", "photos": "file"}
_MARK_LISTS = ("marks", "not_seen")
_DEEPEST = 32
"""Names in a path and levels of a posted value; a survey has six."""


class EditError(PerpendError):
    """An edit that cannot be read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One edit: where, what to, and what its author saw there (None: nothing)."""

    path: tuple[str, ...]
    value: Json
    was: Json


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """An edit whose target was changed by someone else meanwhile."""

    path: tuple[str, ...]
    mine: Json
    theirs: Json


def mark_identity(mark: dict[str, Json]) -> str:
    """Return what names a mark within its photo, e.g. ``wall=north;opening=w1;face=wall;point=top_left``.

    Parameters
    ----------
    mark
        A mark as in survey.json; keys that do not name it (px, proud_mm) are left out.
    """
    return ";".join(f"{key}={mark[key]}" for key in MARK_KEYS if mark.get(key) is not None)


def read_edits(posted: Json) -> list[Edit]:
    """Return the edits of a posted list.

    Parameters
    ----------
    posted
        Decoded JSON: a list of objects with ``path``, ``value`` and ``was``.

    Raises
    ------
    EditError
        If it is anything else.
    """
    if not isinstance(posted, list) or not posted:
        raise EditError("edits: expected a list of at least one edit")
    edits = []
    for number, item in enumerate(posted):
        if not isinstance(item, dict) or not {"path", "value"} <= set(item) <= {"path", "value", "was"}:
            raise EditError(f"edits[{number}]: expected an object with path, value and was")
        path = item["path"]
        if not isinstance(path, list) or not path or not all(isinstance(p, str) and p for p in path):
            raise EditError(f"edits[{number}].path: expected a list of names, got {path!r}")
        if len(path) > _DEEPEST or _is_deep(item["value"]) or _is_deep(item.get("was")):
            raise EditError(f"edits[{number}]: nested too deeply to be part of a survey")
        edits.append(Edit(path=tuple(path), value=item["value"], was=item.get("was")))
    return edits


def apply_edits(
    document: dict[str, Json], edits: Sequence[Edit], *, force: bool = False
) -> tuple[dict[str, Json], list[Conflict]]:
    """Return the document with all edits made, and the conflicts; with a conflict the document comes back unchanged.

    Parameters
    ----------
    document
        A survey as decoded JSON; it is not altered.
    edits
        Made in order, all or none.
    force
        Make the edits whatever is there (the person chose "keep mine").
    """
    edited = copy.deepcopy(document)
    conflicts = []
    for edit in edits:
        found = _get(edited, edit.path)
        if not force and found not in (edit.was, edit.value):
            conflicts.append(Conflict(path=edit.path, mine=edit.value, theirs=found))
        else:
            _set(edited, edit.path, copy.deepcopy(edit.value))
    return (document, conflicts) if conflicts else (edited, [])


def _is_deep(value: Json) -> bool:
    level = [value]
    for _ in range(_DEEPEST):
        nodes = [node.values() if isinstance(node, dict) else node for node in level if isinstance(node, dict | list)]
        level = [member for members in nodes for member in members]
    return bool(level)


def _identity(list_name: str, member: Json) -> str | None:
    if not isinstance(member, dict):
        return None
    if list_name in _MARK_LISTS:
        return mark_identity(member)
    return member.get(_LISTS[list_name])


def _member(items: Json, list_name: str, identity: str) -> int | None:
    return next((i for i, item in enumerate(items) if _identity(list_name, item) == identity), None)


def _is_list(name: str) -> bool:
    return name in _LISTS or name in _MARK_LISTS


def _get(document: Json, path: tuple[str, ...]) -> Json:
    node, rest = document, list(path)
    while rest:
        if not isinstance(node, dict):
            return None
        name = rest.pop(0)
        node = node.get(name)
        if rest and _is_list(name):
            items = node if isinstance(node, list) else []
            index = _member(items, name, rest.pop(0))
            node = None if index is None else items[index]
    return node


def _set(document: Json, path: tuple[str, ...], value: Json) -> None:
    node, rest = document, list(path)
    while True:
        name = rest.pop(0)
        if rest and _is_list(name):
            items = node.setdefault(name, [])
            if not isinstance(items, list):
                raise EditError(f"{'/'.join(path)}: {name} is not a list")
            identity = rest.pop(0)
            index = _member(items, name, identity)
            if not rest:
                _put_member(items, index, value, name, identity)
                return
            if index is None:
                if name in _MARK_LISTS:
                    raise EditError(f"{'/'.join(path)}: there is no such mark to edit")
                items.append({_LISTS[name]: identity})
                index = len(items) - 1
            node = items[index]
        elif not rest:
            if value is None:
                node.pop(name, None)
            else:
                node[name] = value
            return
        else:
            node = node.setdefault(name, {})
        if not isinstance(node, dict):
            raise EditError(f"{'/'.join(path)}: {name} is not an object")


def _put_member(items: list[Json], index: int | None, value: Json, name: str, identity: str) -> None:
    if value is not None and _identity(name, value) != identity:
        raise EditError(f"{name}/{identity}: the value calls itself {_identity(name, value)!r}")
    if value is None:
        if index is not None:
            del items[index]
    elif index is None:
        items.append(value)
    else:
        items[index] = value
