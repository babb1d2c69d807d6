"""One wall, from records to records: first guess, joint solution, sizes, checks and advice."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from vision.findings import Finding, worst_first
from vision.lens import Lens, project
from vision.model import Places, State, corner_xy, world_points
from vision.observe import Observations
from vision.pose import Pose
from vision.problem import WallProblem, taped_lengths
from vision.solve import Solution, poor, solve
from vision.start import Guess, first_guesses, views
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
        obs, state = self._solved()
        if photo not in obs.files or (place != "wall/bottom_left" and f"corner:{place}" not in obs.layout):
            return None
        quad, corner = place.split("/")
        places = Places()
        start = -1 if place == "wall/bottom_left" else obs.layout[f"corner:{place}"].start
        if face == "frame":
            if quad not in obs.reveals:
                return None
            places.back_reveal.append(obs.layout[f"reveal:{quad}"].start)
            number = CORNERS.index(corner)
            places.back_corner.append((number, number))
            places.back_front.append((start, start))
            places.back_share.append(0.0)
            places.back_middle.append(obs.reveals[quad])
        else:
            places.quad_a.append(start)
            places.quad_b.append(start)
            places.quad_share.append(0.0)
            places.quad_bow.append(-1)
            places.quad_normal.append((0.0, 0.0))
            places.quad_proud.append(proud_mm)
        world, D = world_points(places, state.vector, obs.surface)
        pixels, J = obs.cameras.project(state, np.array([obs.files[photo]]), world, D)
        covariance = J[0] @ self._solution().covariance @ J[0].T
        return pixels[0], covariance

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
    marks = tuple(m for m in problem.marks if m.wall == wall and m.reference is None)
    references = tuple(r for r in problem.references if r.wall in (None, wall))
    known = {r.id for r in references}
    sightings = tuple(s for s in problem.sightings if s.reference in known and s.confirmed)
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
    from vision.checks import check_solution, check_start, unsolvable, untangle
    from vision.results import measured_from_solution, measured_from_tape

    problem = _relevant(problem)
    marks, findings = untangle(problem)
    problem = replace(problem, marks=marks)
    references = {r.id: r for r in problem.references}
    guesses = _warm_guess(problem, start)
    if not guesses:
        seen = views(problem.photos, problem.marks, problem.sightings, references)
        guesses = first_guesses(seen, taped_lengths(problem.wall))
    findings += check_start(problem, guesses)
    if not guesses or not guesses[0].scaled or not any(m.wall for m in problem.marks):
        measured = measured_from_tape(problem, worst_first(findings))
        return WallSolution(problem=problem, measured=measured, findings=measured.findings)
    try:
        solution, guess = _best(problem, guesses)
    except np.linalg.LinAlgError:
        measured = measured_from_tape(problem, worst_first([*findings, unsolvable(problem)]))
        return WallSolution(problem=problem, measured=measured, findings=measured.findings)
    findings += check_solution(problem, solution)
    measured = measured_from_solution(problem, solution, worst_first(findings))
    return WallSolution(problem=problem, measured=measured, solution=solution, guess=guess, findings=measured.findings)


def _best(problem: WallProblem, guesses: list[Guess]) -> tuple[Solution, Guess]:
    """Return the best solution over the guesses; further poses of single photos are tried only where it is poor."""
    tried = [(solve(Observations(problem, guess)), guess) for guess in guesses]
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
