"""The live solution: from the survey as it stands to sizes, where every point must be, and what looks doubtful."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from threading import Lock
from typing import TYPE_CHECKING, Any

import numpy as np

from intake.gather import Gathered, give_walls
from intake.page.document import mark_identity
from intake.page.pictures import Pictures
from intake.page.searching import Searching
from intake.page.suspects import suspect_of
from intake.photos import Listing, lens_prior
from intake.records import declared_reference, marks_of, wall_result, with_implied
from intake.survey import Survey
from vision.findings import Finding, worst_first
from vision.walls import CORNERS, DeclaredWall, EdgeTrace, FloatArray, MeasuredWall

if TYPE_CHECKING:
    from vision.measure import WallProblem, WallSolution

Json = Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """One wall solved, and the edges that went into it."""

    problem: WallProblem
    solution: WallSolution
    traced: bool = False
    """Whether the edges were traced around this very problem's solution."""


def gathered(survey: Survey, *, pictures: Pictures, searching: Searching) -> Gathered:
    """Return what a folder holds as far as the page knows it, without touching the disk.

    Parameters
    ----------
    survey
        The survey as it stands on the page.
    pictures, searching
        The photos, and the references seen in them so far.
    """
    walls, findings = with_implied(survey)
    found = Gathered(
        folder=pictures.folder,
        survey=survey,
        listing=Listing(photos=pictures.files),
        entries={entry.file: entry for entry in survey.photos},
        walls={wall.id: wall for wall in walls},
        references={entry.id: declared_reference(entry) for entry in survey.references},
        findings=findings,
    )
    for file in pictures.files:
        described = pictures.described(file)
        if described is None:
            continue
        entry = found.entries.get(file)
        found.files[file] = described
        found.photos[file], _ = lens_prior(described, purpose=entry.purpose if entry else None)
        found.marks += marks_of(entry, file=file) if entry else []
        looked = searching.looked.get(file)
        if looked is not None:
            found.sightings += looked.sightings
            found.findings += looked.findings
    give_walls(found)
    return found


def problem_of(found: Gathered, wall: DeclaredWall, edges: tuple[EdgeTrace, ...] = ()) -> WallProblem:
    """Return the measurement problem of one wall."""
    from vision.measure import WallProblem

    return WallProblem(
        wall=wall,
        photos=tuple(found.photos.values()),
        marks=tuple(mark for mark in found.marks if mark.wall == wall.id),
        sightings=tuple(found.sightings),
        references=tuple(reference for reference in found.references.values() if reference.wall == wall.id),
        edges=edges,
    )


class Live:
    """Solutions of all walls, kept from one change to the next so that only what changed is solved again."""

    def __init__(self, pictures: Pictures, searching: Searching) -> None:
        self.pictures = pictures
        self.searching = searching
        self._solved: dict[str, Solved] = {}

    def straight(self, wall: str, file: str, mm_per_px: float) -> bytes:
        """Return a wall's straightened picture from one photo, as a JPEG.

        Raises
        ------
        KeyError
            If the wall is not solved or the photo is not placed in its solution.
        """
        import cv2

        from vision.rectify import rectify_wall

        solution = self._solved[wall].solution
        if solution.solution is None or file not in solution.files:
            raise KeyError(file)
        picture = rectify_wall(self.pictures.colour(file), solution, file, mm_per_px)
        _, coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 88])
        return bytes(coded)

    def kept(self, wall: str) -> Solved:
        """Return what a wall's next solution starts from."""
        return self._solved[wall]

    def forget(self) -> None:
        """Start the next solution afresh."""
        self._solved = {}

    def solve(self, survey: Survey, *, keep: bool = True, only: str | None = None) -> dict[str, Json]:
        """Return the live sizes of a survey.

        Parameters
        ----------
        survey
            The survey as it stands.
        keep
            Whether the next solution may start from this one; not for a mark still being dragged.
        only
            Solve only this wall anew; the others are left out of the answer.
        """
        from vision.follow import follow
        from vision.measure import measure_wall

        found = gathered(survey, pictures=self.pictures, searching=self.searching)
        solved: dict[str, Solved] = {}
        for wall in found.declared_walls():
            if only is not None and wall.id != only:
                continue
            before = self._solved.get(wall.id)
            edges = before.problem.edges if before else ()
            problem = problem_of(found, wall, tuple(e for e in edges if _still_there(e, found, wall)))
            if before is not None and _same(problem, before.problem):
                solved[wall.id] = before
                continue
            solution = follow(before.solution, before.problem, problem) if before else None
            if solution is None:
                with np.errstate(all="ignore"):  # a few marks alone may lead the solver far off; its answer says so
                    solution = measure_wall(problem, start=before.solution if before else None)
            solved[wall.id] = Solved(problem=problem, solution=solution)
        if keep and only is None:
            self._solved = solved
        return _answer(found, solved)

    def settle(self, survey: Survey, *, overtaken: Callable[[], bool], turn: Lock) -> dict[str, Json] | None:
        """Return the live sizes after a full solution with the edges traced anew; None if it was overtaken.

        Parameters
        ----------
        survey
            The survey as last solved.
        overtaken
            Asked between photos and at the end; if it says so, nothing is changed.
        turn
            Held while the new solutions take the place of the old ones, so that no other solution is under way.
        """
        from vision.edges import trace_edges
        from vision.measure import measure_wall

        found = gathered(survey, pictures=self.pictures, searching=self.searching)
        fresh: dict[str, Solved] = {}
        for wall, solved in dict(self._solved).items():
            solution = solved.solution
            if solution.solution is None or solved.traced:
                continue
            edges: list[EdgeTrace] = []
            for file in solution.files:
                if overtaken():
                    return None
                edges += trace_edges(self.pictures.grey(file), solution, file)
            problem = replace(solved.problem, edges=tuple(edges))
            with np.errstate(all="ignore"):
                again = measure_wall(problem, start=solution)
            fresh[wall] = Solved(problem=problem, solution=again, traced=True)
        with turn:
            if overtaken():
                return None
            self._solved |= fresh
            return _answer(found, self._solved)


def _still_there(edge: EdgeTrace, found: Gathered, wall: DeclaredWall) -> bool:
    """Return whether an edge traced earlier still belongs to something that is marked in its photo."""
    thing = edge.edge[0].split("/")[0]
    return any(
        mark.photo == edge.photo and mark.wall == wall.id and (mark.opening or mark.feature or "wall") == thing
        for mark in found.marks
    )


def _same(a: WallProblem, b: WallProblem) -> bool:
    return (
        (a.wall, a.marks, a.references, a.photos) == (b.wall, b.marks, b.references, b.photos)
        and len(a.edges) == len(b.edges)
        and all(x is y for x, y in zip(a.edges, b.edges, strict=True))
        and len(a.sightings) == len(b.sightings)
        and all(x is y for x, y in zip(a.sightings, b.sightings, strict=True))
    )


def _answer(found: Gathered, solved: Mapping[str, Solved]) -> dict[str, Json]:
    walls = {name: wall_json(item.solution.measured) for name, item in solved.items()}
    points: dict[str, dict[str, Json]] = {}
    findings = list(found.findings)
    suspects = []
    for name, item in solved.items():
        for file, identity, point in predicted(item.solution, found):
            points.setdefault(file, {})[identity] = point
        walls[name]["straight"] = straight_json(item.solution, found)
        findings += item.solution.findings
    for finding in findings:
        suspect = suspect_of(finding, found, points)
        if suspect is not None:
            suspects.append(suspect)
    told = [f for f in worst_first(findings) if suspect_of(f, found, points) is None]
    return {
        "walls": walls,
        "points": points,
        "suspects": suspects,
        "findings": [{"code": f.code, "severity": f.severity, "message": _with_photo(f), "remedy": f.remedy,
                      "where": f.where} for f in told],
    }  # fmt: skip


def _with_photo(finding: Finding) -> str:
    """Return a finding's message that names its photo."""
    photo = finding.where.get("photo", "")
    return finding.message if photo in finding.message else f"{photo}: {finding.message}"


def wall_json(measured: MeasuredWall) -> dict[str, Json]:
    """Return a measured wall as the page draws it: the results' own form without the covariance."""
    result = wall_result(measured)
    return result.model_dump(mode="json", exclude={"covariance", "construction", "rectified", "views"})


def straight_json(solution: WallSolution, found: Gathered) -> dict[str, Json] | None:
    """Return the box (left, bottom, right, top, mm) and the photos, best first, of a wall's straightened picture."""
    from intake.straighten import best_view
    from vision.rectify import wall_box_mm

    if solution.solution is None or solution.measured.outline_mm is None:
        return None
    best = best_view(found, solution)
    if best is None:
        return None
    others = sorted(file for file in solution.files if file != best)
    return {"box_mm": [round(v, 1) for v in wall_box_mm(solution)], "photos": [best, *others]}


def predicted(solution: WallSolution, found: Gathered) -> Iterator[tuple[str, str, dict[str, Json]]]:
    """Yield photo, mark identity and place of every known point of a wall in every photo placed in its solution.

    A place is ``px``, its covariance ``cov`` (px²) and ``inside``: in the picture and not hidden behind a jamb.
    """
    if solution.solution is None:
        return
    wall = solution.problem.wall
    proud = _stands_out(found, wall.id)
    named = {(place, face): key for key, place, face in _places(wall)}
    asked = [(p, f, proud.get("wall" if p.startswith("wall/bottom") else quad_of(p), 0.0)) for p, f in named]
    known = solution.predict_many(solution.files, asked)
    for (file, place, face), (px, covariance) in known.items():
        if not np.all(np.isfinite(px)):
            continue
        photo, quad = found.photos[file], place.split("/")[0]
        inside = bool(-0.5 <= px[0] <= photo.width_px - 0.5 and -0.5 <= px[1] <= photo.height_px - 0.5)
        if face == "frame" and inside:
            front = [known.get((file, f"{quad}/{corner}", "wall")) for corner in CORNERS]
            inside = any(at is None for at in front) or _seen_through(px, np.array([at[0] for at in front if at]))
        yield file, named[place, face], {
            "px": [round(float(v), 2) for v in px],
            "cov": [[round(float(v), 4) for v in row] for row in covariance],
            "inside": inside,
        }  # fmt: skip


def _places(wall: DeclaredWall) -> Iterator[tuple[str, str, str]]:
    for corner in CORNERS:
        yield mark_identity({"wall": wall.id, "point": corner}), f"wall/{corner}", "wall"
    for opening in wall.openings:
        for face in ("wall", "frame"):
            for corner in CORNERS:
                mark = {"wall": wall.id, "opening": opening.id, "face": face, "point": corner}
                yield mark_identity(mark), f"{opening.id}/{corner}", face
    for feature in wall.features:
        for corner in ("bottom_left", "top_right"):
            mark = {"wall": wall.id, "feature": feature.id, "point": corner}
            yield mark_identity(mark), f"{feature.id}/{corner}", "wall"


def _seen_through(px: FloatArray, quad: FloatArray) -> bool:
    """Return whether a back corner shows through the opening's front outline (4, 2), a convex quadrilateral."""
    if not np.all(np.isfinite(quad)):
        return True
    edge = np.roll(quad, -1, axis=0) - quad
    to = px - quad
    turn = edge[:, 0] * to[:, 1] - edge[:, 1] * to[:, 0]
    return bool(
        np.all(turn >= -2.0 * np.linalg.norm(edge, axis=1)) or np.all(turn <= 2.0 * np.linalg.norm(edge, axis=1))
    )


def quad_of(place: str) -> str:
    """Return the thing that a place belongs to, but not the wall, whose floor line alone may stand out."""
    quad = place.split("/", maxsplit=1)[0]
    return "" if quad == "wall" else quad


def _stands_out(found: Gathered, wall: str) -> dict[str, float]:
    """Return how far the marks of the floor line ("wall") and of each feature stand in front of the plaster, mm."""
    proud: dict[str, float] = {}
    for mark in found.marks:
        if mark.wall == wall and not mark.opening and (mark.feature or mark.point.startswith("bottom")):
            proud.setdefault(mark.feature or "wall", mark.proud_mm)
    return proud
