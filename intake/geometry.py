"""The geometry of a folder: every wall solved, its two faces joined, its construction judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from intake.brick_faces import bonds_by_wall, brickwork_result, read_brick_faces
from intake.gather import Gathered
from intake.outcomes import finding_entry, wall_result, with_taped_shape
from intake.outer_faces import courses_as_scale, missing_outer_reveals
from intake.printing import typed
from intake.records import site_of
from intake.results import ConstructionResult, Geometry, PhotoResult, ReferenceResult, WallResult
from intake.survey import Survey, WallEntry
from intake.thickness import with_outside
from intake.version import perpend_version
from vision.findings import Finding, worst_first
from vision.walls import DeclaredWall, MeasuredWall

if TYPE_CHECKING:
    from estimator.inputs import BondReading, WallCase
    from vision.brickwork import BrickworkReading
    from vision.measure import WallSolution


def make_geometry(found: Gathered, inputs: str) -> Geometry:
    """Return the geometry of everything gathered, writing the straightened pictures on the way.

    Parameters
    ----------
    found
        The folder, its references looked for.
    inputs
        The hash of all that went in.
    """
    from intake.propose import propose_walls

    proposed = propose_walls(found)
    faces = read_brick_faces(found)
    solutions = {wall.id: solve_wall(found, wall, faces) for wall in found.declared_walls()}
    found.findings += missing_basics(found)
    bonds = bonds_by_wall(found, faces)
    results = []
    for declared in found.declared_walls():
        measured = _joined_wall(found, declared, solutions)
        case = _case(found.survey, found.walls[declared.id], declared, measured, bonds)
        results.append(_wall_result(found, case, solutions[declared.id], proposed))
        found.findings += _told(declared, measured)
        found.findings += missing_outer_reveals(found, declared, measured)
    used = {file for solution in solutions.values() for file in solution.files}
    return Geometry(
        inputs_sha256=inputs,
        perpend_version=perpend_version(),
        walls=results,
        references=_references(found),
        photos=[_photo_result(found, name, used, faces.get(name)) for name in found.listing.photos],
        findings=[finding_entry(finding) for finding in worst_first(found.findings)],
    )


EXPECTED_OUTSIDE = frozenset({"M006", "M025"})
"""What a wall's outside face need not have: all its corners, and a second scale."""


def _told(declared: DeclaredWall, measured: MeasuredWall) -> list[Finding]:
    """Return a wall's findings; an outside face gives outer reveal and bond only, so what it lacks is a note."""
    if declared.side == "inside":
        return list(measured.findings)
    kept = [finding for finding in measured.findings if finding.code not in EXPECTED_OUTSIDE]
    return [replace(finding, severity="note") if finding.severity == "stop" else finding for finding in kept]


def solve_wall(found: Gathered, wall: DeclaredWall, faces: Mapping[str, BrickworkReading]) -> WallSolution:
    """Return the solution of one wall from everything gathered: first from the marks, then with the edges traced."""
    from vision.edges import trace_edges
    from vision.measure import WallProblem, measure_wall

    courses = courses_as_scale(found, wall, faces)
    own = [reference for reference in found.references.values() if reference.wall == wall.id]
    problem = WallProblem(
        wall=wall,
        photos=tuple(found.photos.values()),
        marks=tuple(mark for mark in found.marks if mark.wall == wall.id),
        sightings=(*found.sightings, *(seen for _, seen in courses)),
        references=(*own, *(reference for reference, _ in courses)),
    )
    solution = measure_wall(problem)
    if solution.solution is None:
        return solution
    edges = [edge for file in solution.files for edge in trace_edges(found.grey(file), solution, file)]
    return measure_wall(replace(problem, edges=tuple(edges)), start=solution) if edges else solution


def missing_basics(found: Gathered) -> list[Finding]:
    """Return findings for what a survey needs and lacks: marks, and photos that show a wall."""
    if not found.walls:
        remedy = f"Mark the corners: perpend mark {typed(found.folder.name)}."
        return [Finding(code="S002", severity="stop", message="No wall is declared or marked.", remedy=remedy)]
    findings = []
    marked = {mark.wall for mark in found.marks}
    for wall in found.walls.values():
        taped = wall.taped.model_dump(exclude_none=True)
        if wall.id not in marked and not taped and wall.side == "inside":
            message = f"{wall.id}: not marked in any photo and not taped, so it has no size."
            remedy = f"Mark its corners: perpend mark {typed(found.folder.name)}; or tape its width and height."
            findings.append(
                Finding(code="S003", severity="stop", message=message, remedy=remedy, where={"wall": wall.id})
            )
    return findings


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


def _bond_read(face: BrickworkReading | None) -> bool:
    return face is not None and face.bond != "none_to_read"


def _photo_result(found: Gathered, name: str, used: set[str], face: BrickworkReading | None) -> PhotoResult:
    photo = found.photos.get(name)
    entry = found.entries.get(name)
    return PhotoResult(
        file=name,
        usable=photo is not None
        and (name in used or any(seen.photo == name for seen in found.sightings) or _bond_read(face)),
        purpose=entry.purpose if entry is not None else None,
        width_px=photo.width_px if photo is not None else None,
        height_px=photo.height_px if photo is not None else None,
        brickwork=brickwork_result(found, face) if face is not None else None,
    )
