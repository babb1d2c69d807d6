"""One wall, from records to records: first guess, joint solution, sizes, checks and advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from vision.board_nose import noses
from vision.corners import corner_xy
from vision.findings import Finding, worst_first
from vision.lens import Lens, project
from vision.model import Places, State, world_points
from vision.observe import Observations
from vision.pose import Pose
from vision.problem import WallProblem, taped_lengths
from vision.solve import Solution, poor, solve
from vision.start import Guess, first_guesses, views
from vision.wall_edge import edge_photos, edge_thickness
from vision.walls import CORNERS, FloatArray, MeasuredWall

MAX_RIVALS = 4

__all__ = ["WallProblem", "WallSolution", "measure_wall"]


@dataclass(slots=True, kw_only=True)
class WallSolution:
    """The measured wall, with the solution behind it (None where the wall was not solved from photos)."""

    problem: WallProblem
    measured: MeasuredWall
    solution: Solution | None = None
    guess: Guess | None = None
    findings: tuple[Finding, ...] = field(default=())

    @property
    def files(self) -> tuple[str, ...]:
        """Return the photos that are placed in the solution."""
        return tuple(self.solution.observations.files) if self.solution else ()

    def lens(self, photo: str) -> Lens:
        """Return the solved lens of a photo."""
        obs, state = self._solved()
        return obs.cameras.lens(state.vector, obs.files[photo])

    def pose(self, photo: str) -> Pose:
        """Return the solved ``pose_camera_wall`` of a photo."""
        obs, state = self._solved()
        return obs.cameras.pose(state, obs.files[photo])

    def project(self, photo: str, points_mm: FloatArray) -> FloatArray:
        """Return the pixels (n, 2) of points (n, 3) [mm] of the wall frame in a photo."""
        return project(self.pose(photo).camera(np.asarray(points_mm, dtype=float)), self.lens(photo))

    def predict(
        self, photo: str, *, place: str, face: str = "wall", proud_mm: float = 0.0
    ) -> tuple[FloatArray, FloatArray] | None:
        """Return where a corner must be in a photo, pixel (2,) and covariance (2, 2), or None if it is unknown.

        Parameters
        ----------
        photo
            File name of a placed photo.
        place
            ``wall/top_left``, ``w1/bottom_right``, ``s1/bottom_left``.
        face
            ``wall`` or ``frame`` (the back edge of a reveal).
        proud_mm
            How far in front of the plaster the point stands.
        """
        return self.predict_many((photo,), [(place, face, proud_mm)]).get((photo, place, face))

    def predict_many(
        self, photos: Sequence[str], points: Sequence[tuple[str, str, float]]
    ) -> dict[tuple[str, str, str], tuple[FloatArray, FloatArray]]:
        """Return where corners must be in photos, pixel (2,) and covariance (2, 2), by photo, place and face.

        Parameters
        ----------
        photos
            File names; those not placed are left out of the answer.
        points
            Place, face and ``proud_mm`` as for ``predict``; what is not known is left out of the answer.
        """
        obs, state = self._solved()
        places = Places()
        fronts, backs = [], []
        for place, face, proud_mm in points:
            quad, corner = place.split("/")
            known = place == "wall/bottom_left" or f"corner:{place}" in obs.layout
            if not known or (face == "frame" and quad not in obs.reveals):
                continue
            start = -1 if place == "wall/bottom_left" else obs.layout[f"corner:{place}"].start
            if face == "frame":
                backs.append((place, face))
                places.back_reveal.append(obs.layout[f"reveal:{quad}"].start)
                number = CORNERS.index(corner)
                places.back_corner.append((number, number))
                places.back_front.append((start, start))
                places.back_share.append(0.0)
                places.back_middle.append(obs.reveals[quad])
            else:
                fronts.append((place, face))
                places.quad_a.append(start)
                places.quad_b.append(start)
                places.quad_share.append(0.0)
                places.quad_bow.append(-1)
                places.quad_normal.append((0.0, 0.0))
                places.quad_proud.append(proud_mm)
        names = [*fronts, *backs]
        seen = [photo for photo in photos if photo in obs.files]
        if not names or not seen:
            return {}
        world, D = world_points(places, state.vector, obs.surface)
        which = np.repeat([obs.files[photo] for photo in seen], len(names))
        pixels, J = obs.cameras.project(state, which, np.tile(world, (len(seen), 1)), np.tile(D, (len(seen), 1, 1)))
        covariance = J @ self._solution().covariance @ np.swapaxes(J, 1, 2)
        keys = [(photo, place, face) for photo in seen for place, face in names]
        return {key: (pixels[i], covariance[i]) for i, key in enumerate(keys)}

    def corner_mm(self, place: str) -> FloatArray:
        """Return the place (2,) of a corner in the wall frame [mm]."""
        obs, state = self._solved()
        return corner_xy(obs.layout, state.vector, place)

    def depth_mm(self, opening: str) -> float | None:
        """Return the solved depth of an opening's reveal at its middle [mm], or None."""
        obs, state = self._solved()
        name = f"reveal:{opening}"
        return float(state.vector[obs.layout[name].start]) if name in obs.layout else None

    def _solution(self) -> Solution:
        if self.solution is None:
            raise ValueError(f"wall {self.problem.wall.id} was not solved from photos; it has no cameras")
        return self.solution

    def _solved(self) -> tuple[Observations, State]:
        solution = self._solution()
        return solution.observations, solution.state


def _relevant(problem: WallProblem) -> WallProblem:
    """Return the problem with only this wall's marks, references and sightings."""
    wall = problem.wall.id
    aside = edge_photos(problem.marks)
    marks = tuple(m for m in problem.marks if m.wall == wall and m.reference is None and m.photo not in aside)
    references = tuple(r for r in problem.references if r.wall in (None, wall))
    known = {r.id for r in references}
    sightings = tuple(s for s in problem.sightings if s.reference in known and s.confirmed and s.photo not in aside)
    shown = {m.photo for m in marks} | {s.photo for s in sightings}
    return replace(
        problem, marks=marks, references=references, sightings=sightings,
        photos=tuple(p for p in problem.photos if p.file in shown),
    )  # fmt: skip


def measure_wall(problem: WallProblem, *, start: WallSolution | None = None) -> WallSolution:
    """Return the wall as measured from all its photos, marks, references, traced edges and taped lengths together.

    Parameters
    ----------
    problem
        The records of one wall. Marks, references and sightings of other walls are ignored.
    start
        An earlier solution of nearly the same problem (a mark moved, edges added) to start from.

    Returns
    -------
    WallSolution
        With findings for what could not be measured. A wall without usable photos is taken from its taped lengths.
    """
    from vision.checks import check_solution, check_start, unsolvable
    from vision.results import measured_from_solution, measured_from_tape
    from vision.swapped_corners import untangle

    whole, edge_findings = edge_thickness(replace(
        problem, marks=tuple(m for m in problem.marks if m.wall == problem.wall.id and m.reference is None)
    ))  # fmt: skip
    problem = _relevant(problem)
    marks, findings = untangle(problem)
    findings += edge_findings
    problem = replace(problem, marks=marks)
    references = {r.id: r for r in problem.references}
    guesses = _warm_guess(problem, start)
    warm = bool(guesses)
    if not warm:
        try:
            with np.errstate(all="ignore"):  # degenerate marks run to infinity; what is not finite is refused below
                seen = views(problem.photos, problem.marks, problem.sightings, references)
                guesses = first_guesses(seen, taped_lengths(problem.wall))
        except np.linalg.LinAlgError:
            guesses = []
    findings += check_start(problem, guesses)
    if not guesses or not guesses[0].scaled or not any(m.wall for m in problem.marks):
        measured = measured_from_tape(problem, worst_first(findings), whole)
        return WallSolution(problem=problem, measured=measured, findings=measured.findings)
    try:
        with np.errstate(all="ignore"):
            solution, guess = _best(problem, guesses, start if warm else None)
        if not (np.all(np.isfinite(solution.covariance)) and np.all(np.isfinite(solution.state.vector))):
            raise np.linalg.LinAlgError("not finite")
        if taken := {id(trace) for trace in noses(solution)}:
            problem = replace(problem, edges=tuple(edge for edge in problem.edges if id(edge) not in taken))
            before = (solution.observations.layout, solution.state)
            solution = solve(Observations(problem, guess, earlier=before))
    except np.linalg.LinAlgError:
        measured = measured_from_tape(problem, worst_first([*findings, unsolvable(problem)]), whole)
        return WallSolution(problem=problem, measured=measured, findings=measured.findings)
    with np.errstate(all="ignore"):
        findings += check_solution(problem, solution)
        measured = measured_from_solution(problem, solution, worst_first(findings), whole)
    return WallSolution(problem=problem, measured=measured, solution=solution, guess=guess, findings=measured.findings)


def _best(problem: WallProblem, guesses: list[Guess], start: WallSolution | None) -> tuple[Solution, Guess]:
    """Return the best solution over the guesses; further poses of single photos are tried only where it is poor."""
    before = start.solution if start else None
    earlier = (before.observations.layout, before.state) if before else None
    tried = [(solve(Observations(problem, guess, earlier=earlier)), guess) for guess in guesses]
    best = min(tried, key=lambda item: _badness(item[0]))
    if poor(best[0]):
        rivals = [(file, pose) for file, poses in best[1].others.items() for pose in poses]
        for file, pose in rivals[:MAX_RIVALS]:
            other = replace(best[1], poses={**best[1].poses, file: pose})
            tried.append((solve(Observations(problem, other)), other))
        best = min(tried, key=lambda item: _badness(item[0]))
    return best


def _badness(solution: Solution) -> float:
    return solution.cost + 40.0 * len(solution.outliers) + (0.0 if solution.converged else 1e6)


def _warm_guess(problem: WallProblem, start: WallSolution | None) -> list[Guess]:
    """Return the earlier solution as the first guess where it covers every photo and place of the new problem."""
    if start is None or start.solution is None:
        return []
    obs, state = start.solution.observations, start.solution.state
    guess = Guess(
        poses={file: obs.cameras.pose(state, i) for file, i in obs.files.items()},
        corners={name: xy for name, xy in obs.corner_points(state.vector).items() if name in obs.seen},
        references={
            r.id: tuple(float(v) for v in state.vector[obs.layout[f"reference:{r.id}"]][:3])  # type: ignore[misc]
            for r in problem.references if f"reference:{r.id}" in obs.layout
        },
        depths={o: float(state.vector[obs.layout[f"reveal:{o}"].start]) for o in obs.reveals},
    )  # fmt: skip
    fresh = views(problem.photos, problem.marks, problem.sightings, {r.id: r for r in problem.references})
    places = {name for view in fresh for name in view.points}
    backs = {name.split("/")[0] for view in fresh for name in view.backs}
    seen = {name for view in fresh for name in view.references}
    covered = (
        {v.photo.file for v in fresh} <= guess.poses.keys() and places <= guess.corners.keys()
        and backs <= guess.depths.keys() and seen <= guess.references.keys()
    )  # fmt: skip
    if "wall/bottom_left" not in guess.corners:
        guess.corners["wall/bottom_left"] = np.zeros(2)
    return [guess] if covered else []
