"""From a folder to its results: geometry, estimate, report; each made again only when what it came from has changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.gather import Gathered, Progress, gather, look_for_references
from intake.photos import list_photos
from intake.records import (
    design_of,
    finding_entry,
    finding_of,
    measured_wall,
    room_of,
    site_of,
    wall_result,
    with_taped_shape,
)
from intake.results import ConstructionResult, Geometry, PhotoResult, ReferenceResult, WallResult
from intake.store import RESULTS, inputs_sha256, read_geometry, read_json, read_survey, survey_folder, write_json
from intake.survey import Survey, WallEntry
from intake.thickness import with_outside
from intake.version import perpend_version
from vision.findings import Finding, PerpendError, worst_first
from vision.walls import DeclaredWall, MeasuredWall

if TYPE_CHECKING:
    from estimator.inputs import BondReading, WallCase
    from estimator.prices import Prices
    from vision.measure import WallSolution

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
    return inputs_sha256(folder, survey=survey, photos=photos, parts=ESTIMATE_PARTS, version=perpend_version())


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
    if kept is not None and kept.inputs_sha256 == wanted and _pictures_are_there(path, kept):
        return kept
    found = gather(path, survey=survey)
    look_for_references(found, progress=progress)
    geometry = _geometry(found, wanted)
    write_json(path / RESULTS / "geometry.json", geometry)
    return geometry


def _pictures_are_there(folder: Path, geometry: Geometry) -> bool:
    files = [wall.rectified.file for wall in geometry.walls if wall.rectified is not None]
    return all((folder / RESULTS / file).exists() for file in files)


def _geometry(found: Gathered, inputs: str) -> Geometry:
    from intake.propose import propose_walls

    proposed = propose_walls(found)
    solutions = {wall.id: solve_wall(found, wall) for wall in found.declared_walls()}
    found.findings += missing_basics(found)
    bonds = read_bonds(found)
    results = []
    for declared in found.declared_walls():
        measured = _joined_wall(found, declared, solutions)
        case = _case(found.survey, found.walls[declared.id], declared, measured, bonds)
        results.append(_wall_result(found, case, solutions[declared.id], proposed))
        found.findings += measured.findings
    used = {file for solution in solutions.values() for file in solution.files}
    return Geometry(
        inputs_sha256=inputs,
        perpend_version=perpend_version(),
        walls=results,
        references=_references(found),
        photos=[_photo_result(found, name, used) for name in found.listing.photos],
        findings=[finding_entry(finding) for finding in worst_first(found.findings)],
    )


def solve_wall(found: Gathered, wall: DeclaredWall) -> WallSolution:
    """Return the solution of one wall from everything gathered: first from the marks, then with the edges traced."""
    from vision.edges import trace_edges
    from vision.measure import WallProblem, measure_wall

    problem = WallProblem(
        wall=wall,
        photos=tuple(found.photos.values()),
        marks=tuple(mark for mark in found.marks if mark.wall == wall.id),
        sightings=tuple(found.sightings),
        references=tuple(reference for reference in found.references.values() if reference.wall == wall.id),
    )
    solution = measure_wall(problem)
    if solution.solution is None:
        return solution
    edges = [edge for file in solution.files for edge in trace_edges(found.grey(file), solution, file)]
    return measure_wall(replace(problem, edges=tuple(edges)), start=solution) if edges else solution


def missing_basics(found: Gathered) -> list[Finding]:
    """Return findings for what a survey needs and lacks: marks, and photos that show a wall."""
    if not found.walls:
        remedy = f"Mark the corners: perpend mark {found.folder.name}."
        return [Finding(code="S002", severity="stop", message="No wall is declared or marked.", remedy=remedy)]
    findings = []
    marked = {mark.wall for mark in found.marks}
    for wall in found.walls.values():
        taped = wall.taped.model_dump(exclude_none=True)
        if wall.id not in marked and not taped and wall.side == "inside":
            message = f"{wall.id}: not marked in any photo and not taped, so it has no size."
            remedy = f"Mark its corners: perpend mark {found.folder.name}; or tape its width and height."
            findings.append(
                Finding(code="S003", severity="stop", message=message, remedy=remedy, where={"wall": wall.id})
            )
    return findings


def read_bonds(found: Gathered) -> dict[str, list[BondReading]]:
    """Return the bond readings by inside wall, from the photos of its outside face."""
    from estimator.inputs import BondReading
    from vision.brickwork import read_brickwork

    readings: dict[str, list[BondReading]] = {}
    for name, wall in _brick_photos(found):
        sightings = tuple(sighting for sighting in found.sightings if sighting.photo == name)
        reading = read_brickwork(
            found.colour(name), photo=name, sightings=sightings, focal_px=found.photos[name].focal_px
        )
        found.findings += reading.findings
        readings.setdefault(wall, []).append(
            BondReading(
                photo=name,
                bond=reading.bond,
                probability=dict(reading.probability),
                course_height_mm=reading.course_height_mm,
                header_share=reading.header_share,
            )
        )
    return readings


def _brick_photos(found: Gathered) -> list[tuple[str, str]]:
    """Return photo and inside wall for every photo of a brick face: by purpose, or marked on an outside wall."""
    other_side = {wall.id: wall.other_side_of for wall in found.walls.values() if wall.side == "outside"}
    lined = [wall.id for wall in found.walls.values() if wall.side == "inside" and wall.faces == "outside"]
    pairs = []
    for name in found.photos:
        entry = found.entries.get(name)
        outside = [other_side[wall] for wall in sorted(found.marked_in(name)) if other_side.get(wall)]
        if outside:
            pairs += [(name, wall) for wall in outside if wall is not None]
        elif entry is not None and entry.purpose in ("outside", "bond"):
            pairs += [(name, wall) for wall in (set(other_side.values()) - {None} or lined) if wall is not None]
    return sorted(set(pairs))


def _joined_wall(found: Gathered, declared: DeclaredWall, solutions: dict[str, WallSolution]) -> MeasuredWall:
    faces = [wall.id for wall in found.walls.values() if wall.other_side_of == declared.id]
    outside = next((solutions[face].measured for face in faces if face in solutions), None)
    measured = solutions[declared.id].measured
    if solutions[declared.id].solution is None:
        measured = with_taped_shape(measured, declared)
    return measured if declared.side == "outside" else with_outside(measured, declared, outside)


def _case(
    survey: Survey,
    entry: WallEntry,
    declared: DeclaredWall,
    measured: MeasuredWall,
    bonds: dict[str, list[BondReading]],
) -> WallCase:
    from estimator.inputs import WallCase

    site = site_of(survey.site, entry.site)
    return WallCase(measured=measured, declared=declared, site=site, bonds=tuple(bonds.get(declared.id, ())))


def _wall_result(found: Gathered, case: WallCase, solution: WallSolution, proposed: set[str]) -> WallResult:
    from intake.straighten import straighten, views_of

    result = wall_result(case.measured)
    update: dict[str, Any] = {"status": _status(case, solution, proposed)}
    if case.declared.side == "inside" and case.declared.faces == "outside":
        update["construction"] = construction_result(case)
    if solution.solution is not None:
        update["rectified"] = straighten(found, solution)
        update["views"] = views_of(solution)
    return result.model_copy(update=update)


def _status(case: WallCase, solution: WallSolution, proposed: set[str]) -> str:
    if solution.solution is not None and case.declared.id in proposed:
        return "proposed"
    if solution.solution is not None:
        return "measured"
    return "taped" if case.declared.taped else "not_measured"


def construction_result(case: WallCase) -> ConstructionResult:
    """Return the construction of a wall as written to geometry.json."""
    from estimator.construction import judge_construction
    from intake.plain import plain

    judged = judge_construction(case)
    return ConstructionResult.model_validate(plain(judged, leave_out=("findings",)))


def _references(found: Gathered) -> list[ReferenceResult]:
    """Return every reference that was seen, once for each photo, and those that were declared but not found."""
    results = []
    for sighting in found.sightings:
        reference = found.references.get(sighting.reference)
        results.append(
            ReferenceResult(
                id=sighting.reference,
                kind=sighting.kind,
                number=sighting.number,
                wall=reference.wall if reference is not None else None,
                photo=sighting.photo,
                found=True,
                confirmed=sighting.confirmed,
                corners_px=[(round(float(x), 3), round(float(y), 3)) for x, y in sighting.corners_px],
            )
        )
    seen = {result.id for result in results}
    for reference in found.references.values():
        if reference.id not in seen:
            results.append(
                ReferenceResult(
                    id=reference.id, kind=reference.kind, number=reference.number, wall=reference.wall, found=False
                )
            )
    return sorted(results, key=lambda result: (result.id, result.photo or ""))


def _photo_result(found: Gathered, name: str, used: set[str]) -> PhotoResult:
    photo = found.photos.get(name)
    entry = found.entries.get(name)
    return PhotoResult(
        file=name,
        usable=photo is not None and (name in used or any(seen.photo == name for seen in found.sightings)),
        purpose=entry.purpose if entry is not None else None,
        width_px=photo.width_px if photo is not None else None,
        height_px=photo.height_px if photo is not None else None,
    )


def wall_cases(folder: Path, survey: Survey, geometry: Geometry) -> list[WallCase]:
    """Return the inside walls of a measured folder as the estimator takes them, from geometry.json and the survey."""
    from estimator.inputs import BondReading, WallCase
    from intake.records import declared_wall, with_implied

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
            WallCase(measured=measured_wall(result, own), declared=declared_wall(entry), site=site, bonds=bonds)
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
    version = f"{perpend_version()} {geometry.inputs_sha256}"
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
    outcome = estimate_survey(cases, rooms=rooms, design=design_of(survey.design), prices=read_prices(folder))
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
