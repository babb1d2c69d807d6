"""What the last estimate asks to be taped, for the page to ask for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from intake.store import RESULTS, read_json
from vision.findings import PerpendError

Json = Any


def tape_list(folder: Path) -> list[dict[str, Json]]:
    """Return the tape list of results/estimate.json, each with wall, key and why; empty where there is none to read.

    Parameters
    ----------
    folder
        The survey folder.

    Notes
    -----
    The list is as old as the estimate: readings made since are in the survey, and the next estimate takes them in.
    """
    try:
        estimate = read_json(folder / RESULTS / "estimate.json")
    except PerpendError:
        return []
    listed = estimate.get("tape_list") if isinstance(estimate, dict) else None
    told = [item for item in listed if isinstance(item, dict)] if isinstance(listed, list) else []
    asked = [{name: item.get(name) for name in ("wall", "key", "why")} for item in told]
    return [item for item in asked if all(isinstance(words, str) and words for words in item.values())]
