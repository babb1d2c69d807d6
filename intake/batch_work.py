"""The work on one survey of a batch: one task, alike wherever it runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.store import RESULTS, read_json, write_bytes, write_json
from vision.findings import PerpendError

if TYPE_CHECKING:
    from intake.results import Check, WallResult

OUTCOME = "batch.json"
THUMB_PX = 320
COLUMNS = (
    *("folder", "state", "photos", "usable", "walls", "sizes", "boards", "verdict", "stops", "warnings"),
    *("to_mark", "next", "message", "error"),
)

Row = dict[str, Any]


def work_survey(top: str, name: str) -> Row:
    """Return the row of one survey, working on it only if something changed; a bad survey is a row, not a failure.

    Parameters
    ----------
    top
        The batch's folder.
    name
        The survey folder below it.
    """
    folder = Path(top) / name
    try:
        return _worked(folder, name)
    except PerpendError as error:
        return failed_row(name, error)
    except (KeyboardInterrupt, SystemExit):
        raise
    except Exception as error:  # one bad survey never stops the others
        return failed_row(name, PerpendError(f"Unexpected: {type(error).__name__}: {error}"))


def _worked(folder: Path, name: str) -> Row:
    from intake.pipeline import estimate_folder, measure_folder, whole_hash
    from intake.store import read_survey

    survey = read_survey(folder)
    wanted = whole_hash(folder, survey)
    kept = _kept_row(folder, wanted)
    if kept is not None:
        return {**kept, "folder": name}
    geometry = measure_folder(folder)
    estimate = estimate_folder(folder)
    checked = None if any(photo.marks for photo in survey.photos) else _checked(folder)
    row = _row(name, geometry.model_dump(mode="json"), estimate, checked)
    thumbnail(folder)
    write_json(folder / RESULTS / OUTCOME, {"inputs_sha256": wanted, "row": row})
    return row


def _checked(folder: Path) -> Check | None:
    """Return the check of a folder whose photos nobody has marked, with the message for the client written; or None."""
    from intake.check import check_folder, write_for_client
    from intake.photos import list_photos

    if not list_photos(folder).photos:
        return None
    checked = check_folder(folder)
    write_for_client(folder, checked)
    return checked


def _kept_row(folder: Path, wanted: str) -> Row | None:
    """Return the row written last time, if nothing that it came from has changed and its results are there."""
    path = folder / RESULTS / OUTCOME
    if not path.exists() or not (folder / RESULTS / "estimate.json").exists():
        return None
    try:
        kept = read_json(path)
        row = dict(kept["row"])
        return row if kept["inputs_sha256"] == wanted and set(row) == set(COLUMNS) else None
    except (PerpendError, KeyError, TypeError, ValueError):
        return None


def _row(name: str, geometry: dict[str, Any], estimate: dict[str, Any], checked: Check | None) -> Row:
    from intake.printing import wall_line
    from intake.results import WallResult

    findings = estimate["findings"]
    walls = [WallResult.model_validate(wall) for wall in geometry["walls"]]
    stops = sum(finding["severity"] == "stop" for finding in findings)
    proposed = any(wall.status == "proposed" for wall in walls)
    verdicts = sorted({str(wall.get("verdict")) for wall in estimate.get("walls", []) if wall.get("verdict")})
    message = checked is not None and bool(checked.message)
    counts = [(room.get("boards") or {}).get("count") for room in estimate.get("rooms", [])]
    photos = len(geometry["photos"])
    return {
        "folder": name,
        "state": "proposed" if proposed else "stop" if stops else "done",
        "photos": photos,
        "usable": "" if checked is None else sum(photo.usable for photo in checked.photos),
        "walls": len(walls),
        "sizes": "; ".join(wall_line(wall) for wall in walls),
        "boards": sum(count for count in counts if count is not None) or "",
        "verdict": ", ".join(verdicts),
        "stops": stops,
        "warnings": sum(finding["severity"] == "warn" for finding in findings),
        "to_mark": _all_to_mark(walls, checked) if photos else 0,
        "next": _next_step(walls, checked, photos=photos),
        "message": f"{RESULTS}/message.txt" if message else "",
        "error": "",
    }


def _points_to_mark(wall: WallResult) -> int:
    """Return how many points somebody has to confirm or press before a wall counts: four for it and each opening."""
    if wall.status not in ("proposed", "not_measured"):
        return 0
    return 4 * (1 + len(wall.openings))


def _all_to_mark(walls: list[WallResult], checked: Check | None) -> int:
    """Return how many points somebody has to confirm or press in a survey; none where no photo is good for it."""
    if checked is not None and not any(photo.usable for photo in checked.photos):
        return 0
    return sum(_points_to_mark(wall) for wall in walls) or (4 if checked is not None and not walls else 0)


def _next_step(walls: list[WallResult], checked: Check | None, *, photos: int) -> str:
    """Return what somebody has to do for a survey next, in words; nothing where nothing is left to do."""
    steps = []
    hopeless = not photos or (checked is not None and not any(photo.usable for photo in checked.photos))
    if not photos:
        steps += [f"photograph {wall.id}, or tape it" for wall in walls if wall.status == "not_measured"]
    elif not hopeless:
        for status, verb in (("proposed", "confirm"), ("not_measured", "mark")):
            names = [f"{wall.id} ({_points_to_mark(wall)} points)" for wall in walls if wall.status == status]
            if names:
                steps.append(f"{verb} {', '.join(names)}")
        if not walls and checked is not None:
            steps.append("mark a wall")
    if checked is not None and checked.message:
        steps.append("send the message")
    return "; ".join(steps)


def outcome_words(row: Row) -> list[str]:
    """Return the boards and the verdicts of a finished survey in words; nothing while a wall is not measured."""
    from intake.printing import VERDICTS

    if row["state"] != "done":
        return []
    boards = [f"{row['boards']} board{'s' if row['boards'] != 1 else ''}"] if row["boards"] else []
    verdicts = [VERDICTS.get(key, key) for key in str(row["verdict"]).split(", ") if key]
    return [*boards, *(verdict[0].lower() + verdict[1:] for verdict in verdicts)]


def failed_row(name: str, error: Exception) -> Row:
    """Return the row of a survey that could not be worked on."""
    return {**dict.fromkeys(COLUMNS, ""), "folder": name, "state": "failed", "error": " ".join(str(error).split())}


def thumbnail(folder: Path) -> None:
    """Write results/thumb.jpg: the first straightened wall, or the first readable photo, small and without metadata."""
    import cv2

    from intake.photos import decode_picture, describe_photo, list_photos, read_bytes

    candidates = sorted((folder / RESULTS / "rectified").glob("*.jpg")) + [
        folder / name for name in list_photos(folder).photos
    ]
    for path in candidates:
        try:
            data = read_bytes(path)
            describe_photo(data, file=path.name)
            picture = decode_picture(data, file=path.name)
        except PerpendError:
            continue
        scale = THUMB_PX / max(picture.shape[:2])
        small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        done, encoded = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 80])
        if done:
            write_bytes(folder / RESULTS / "thumb.jpg", encoded.tobytes())
            return
