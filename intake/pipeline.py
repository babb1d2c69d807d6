"""From a folder to its results: geometry, estimate, report; each made again only when what it came from has changed."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.gather import Progress, gather, look_for_references
from intake.geometry import make_geometry
from intake.outcomes import finding_entry, finding_of, measured_wall
from intake.photos import list_photos
from intake.records import declared_wall, design_of, room_of, site_of, with_implied
from intake.results import Geometry
from intake.store import (
    RESULTS,
    file_sha256,
    inputs_sha256,
    read_geometry,
    read_json,
    read_survey,
    survey_folder,
    write_json,
)
from intake.survey import Survey
from intake.version import perpend_version
from vision.findings import Finding, PerpendError, worst_first

if TYPE_CHECKING:
    from estimator.inputs import WallCase
    from estimator.prices import Prices

MEASURE_PARTS = ("references", "walls", "photos", "site")
ESTIMATE_PARTS = ("references", "walls", "photos", "site", "rooms", "design")
PRICES = "prices.toml"


def measure_hash(folder: Path, survey: Survey) -> str:
    """Return the hash of all that geometry.json depends on."""
    photos = list_photos(folder).photos
    return inputs_sha256(folder, survey=survey, photos=photos, parts=MEASURE_PARTS, version=perpend_version())


def whole_hash(folder: Path, survey: Survey) -> str:
    """Return the hash of all that any result of the folder depends on."""
    photos = [*list_photos(folder).photos, *([PRICES] if (folder / PRICES).exists() else [])]
    version = f"{perpend_version()} {_rules_today()}"
    return inputs_sha256(folder, survey=survey, photos=photos, parts=ESTIMATE_PARTS, version=version)


def _rules_today() -> str:
    """Return which dated rules have run out by today: the day itself changes no result, a rule that runs out does."""
    from estimator.rules import out_of_date

    return " ".join(out_of_date(datetime.date.today()))


def measure_folder(folder: Path | str, *, again: bool = False, progress: Progress | None = None) -> Geometry:
    """Measure the walls of a folder, write geometry.json and the straightened pictures, and return the geometry.

    Parameters
    ----------
    folder
        The survey folder.
    again
        Measure even if nothing has changed since geometry.json was written.
    progress
        Called with photos done and photos in all.

    Raises
    ------
    PerpendError
        No folder, nothing in it, or a survey that does not fit the schema; nothing is written then.
    """
    path = survey_folder(folder)
    survey = read_survey(path)
    wanted = measure_hash(path, survey)
    kept = None if again else read_geometry(path)
    if kept is not None and kept.inputs_sha256 == wanted and _pictures_are_its_own(path, kept):
        return kept
    found = gather(path, survey=survey)
    look_for_references(found, progress=progress)
    geometry = make_geometry(found, wanted)
    write_json(path / RESULTS / "geometry.json", geometry)
    return geometry


def _pictures_are_its_own(folder: Path, geometry: Geometry) -> bool:
    """Return whether the straightened pictures are those of this geometry, and not of one that was cut off."""
    pictures = [wall.rectified for wall in geometry.walls if wall.rectified is not None]
    return all(file_sha256(folder / RESULTS / picture.file) == picture.sha256 for picture in pictures)


def wall_cases(folder: Path, survey: Survey, geometry: Geometry) -> list[WallCase]:
    """Return the inside walls of a measured folder as the estimator takes them, from geometry.json and the survey."""
    from estimator.inputs import BondReading, WallCase

    entries = {entry.id: entry for entry in with_implied(survey)[0]}
    findings = [finding_of(entry) for entry in geometry.findings]
    cases = []
    for result in geometry.walls:
        entry = entries.get(result.id)
        if entry is None or entry.side == "outside" or result.status == "proposed":
            continue
        own = tuple(finding for finding in findings if finding.where.get("wall") == result.id)
        cues = result.construction.cues if result.construction is not None else []
        bonds = tuple(
            BondReading(
                photo=str(cue.get("photo", "")),
                bond=str(cue["bond"]),
                probability={str(name): float(value) for name, value in dict(cue.get("probability", {})).items()},
                course_height_mm=_measured(cue.get("course_height_mm")),
                header_share=_measured(cue.get("header_share")),
            )
            for cue in cues
            if cue.get("kind") == "bond"
        )
        site = site_of(survey.site, entry.site)
        cases.append(
            WallCase(
                measured=measured_wall(result, own),
                declared=declared_wall(entry),
                site=site,
                bonds=bonds,
                more_readings={key: tuple(values) for key, values in entry.more_readings.items()},
            )
        )
    return cases


def _measured(value: Any) -> Any:
    from vision.walls import Measured

    return Measured(value=float(value["value"]), sd=float(value["sd"])) if value else None


def estimate_folder(folder: Path | str, *, progress: Progress | None = None) -> dict[str, Any]:
    """Estimate a folder, write results/estimate.json, and return what was written; measures first where that is stale.

    Raises
    ------
    PerpendError
        As ``measure_folder``.
    """
    path = survey_folder(folder)
    geometry = measure_folder(path, progress=progress)
    survey = read_survey(path)
    wanted = _estimate_hash(path, survey, geometry)
    kept = _kept_estimate(path)
    if kept is not None and kept.get("inputs_sha256") == wanted:
        return kept
    result = _estimate(path, survey, geometry, wanted)
    write_json(path / RESULTS / "estimate.json", result)
    return result


def _estimate_hash(folder: Path, survey: Survey, geometry: Geometry) -> str:
    extra = [PRICES] if (folder / PRICES).exists() else []
    version = f"{perpend_version()} {geometry.inputs_sha256} {_rules_today()}"
    return inputs_sha256(folder, survey=survey, photos=extra, parts=ESTIMATE_PARTS, version=version)


def _kept_estimate(folder: Path) -> dict[str, Any] | None:
    path = folder / RESULTS / "estimate.json"
    if not path.exists():
        return None
    try:
        data = read_json(path)
    except PerpendError:
        return None
    return data if isinstance(data, dict) and "findings" in data else None


def _estimate(folder: Path, survey: Survey, geometry: Geometry, inputs: str) -> dict[str, Any]:
    from estimator.estimate import estimate_survey
    from intake.plain import plain

    cases = wall_cases(folder, survey, geometry)
    rooms = tuple(room_of(room) for room in survey.rooms)
    outcome = estimate_survey(
        cases, rooms=rooms, design=design_of(survey.design), prices=read_prices(folder), on=datetime.date.today()
    )
    body = plain(outcome)
    carried = [entry.model_dump(mode="json") for entry in geometry.findings]
    findings = [finding_of_dict(entry) for entry in [*body.pop("findings", []), *carried]]
    body["findings"] = [finding_entry(finding).model_dump(mode="json") for finding in worst_first(findings)]
    return {"schema_version": 1, "inputs_sha256": inputs, "perpend_version": perpend_version(), **body}


def finding_of_dict(data: dict[str, Any]) -> Finding:
    """Return a finding from its JSON form."""
    return Finding(**{key: data[key] for key in ("code", "severity", "message", "remedy", "where")})


def read_prices(folder: Path) -> Prices | None:
    """Return the price list of a folder (prices.toml), or None for the invented default prices.

    Raises
    ------
    PerpendError
        The list cannot be read or does not fit.
    """
    from estimator.prices import load_prices

    path = folder / PRICES
    if not path.exists():
        return None
    try:
        return load_prices(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError) as error:
        raise PerpendError(f"{PRICES}: could not be read ({error}). Save it as UTF-8 text.") from error


def report_folder(
    folder: Path | str, *, progress: Progress | None = None
) -> tuple[list[Path], dict[str, Any], list[Finding]]:
    """Write the report of a folder and return its files, the estimate and the findings; makes what is stale again.

    Raises
    ------
    PerpendError
        As ``measure_folder``.
    """
    from intake.report import write_report

    path = survey_folder(folder)
    result = estimate_folder(path, progress=progress)
    written = _paths(write_report(path))
    return written, result, [finding_of_dict(entry) for entry in result["findings"]]


def _paths(written: Any) -> list[Path]:
    if isinstance(written, Path):
        return [written]
    return [Path(item) for item in (written.values() if isinstance(written, dict) else written)]
