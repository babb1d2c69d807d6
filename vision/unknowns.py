"""The unknowns of one wall's problem, their priors, and the state to start from."""

from __future__ import annotations

import numpy as np

from vision import priors
from vision.corners import corner_columns, corner_xy, edge_length_prior, known_edges
from vision.model import EDGES, REVEAL_SIZE, Cameras, Layout, State, Surface
from vision.problem import WallProblem
from vision.start import Guess, complete_wall, mark_place
from vision.walls import CORNERS, DeclaredReference, EdgeTrace, FloatArray


class Unknowns:
    """Named blocks of unknowns with their priors; a problem's observations are added on top of it.

    Attributes
    ----------
    layout
        Names and places of the blocks in the vector.
    cameras
        The photos that could be placed.
    seen
        Corners (``quad/corner``) that some placed photo marks.
    reveals
        Opening id to the middle of its outline [mm], for openings with marked back corners.
    """

    def __init__(self, problem: WallProblem, guess: Guess) -> None:
        self.problem = problem
        self.layout = Layout()
        photos = tuple(p for p in problem.photos if p.file in guess.poses)
        self.cameras = Cameras.of(photos, self.layout)
        self.files = {p.file: i for i, p in enumerate(photos)}
        self._prior_column: list[int] = []
        self._prior_mean: list[float] = []
        self._prior_sd: list[float] = []
        self._prior_source: list[str] = []
        self._square: list[tuple[int, int, int, float]] = []  # column a, column b, axis across, sd
        self.pairs: list[tuple[int, int, float, float]] = []  # log-sizes of a printed sheet, sd scale, sd aspect
        self._references = {r.id: r for r in problem.references}
        self._add_corners(guess)
        self.surface = self._add_surface()
        self._add_reveals(guess)
        self._add_lens_priors()

    def _prior(self, column: int, mean: float, sd: float, source: str) -> None:
        self._prior_column.append(column)
        self._prior_mean.append(mean)
        self._prior_sd.append(sd)
        self._prior_source.append(source)

    def _add_corners(self, guess: Guess) -> None:
        seen = {
            place for m in self.problem.marks
            if m.photo in self.files and (place := mark_place(m)) is not None and place in guess.corners
        }  # fmt: skip
        self.seen = seen
        self.quads = ["wall"] + [
            o.id for o in self.problem.wall.openings if any(c.startswith(f"{o.id}/") for c in seen)
        ]
        names = [f"wall/{c}" for c in CORNERS[1:]] + sorted(c for c in seen if not c.startswith("wall/"))
        self._corner_start = complete_wall(guess.corners)
        for name in names:
            columns = self.layout.add(f"corner:{name}", 2)
            for k in range(2):
                self._prior(columns.start + k, float(self._corner_start[name][k]), priors.LOOSE_SD_MM, "nothing")
        for quad in self.quads:
            columns_of = corner_columns(self.layout, quad)
            for edge in known_edges(columns_of):
                a, b = EDGES[edge]
                axis = 1 if edge in ("bottom", "top") else 0
                self._square.append((columns_of[a], columns_of[b], axis, edge_length_prior(quad)))

    def _add_surface(self) -> Surface:
        block = self.layout.add("surface", 3)
        for k in range(3):
            self._prior(block.start + k, 0.0, priors.SURFACE_SD_MM[k], "flatness of the wall")
        ring = np.array([self._corner_start[f"wall/{c}"] for c in CORNERS])
        half = np.maximum((ring.max(axis=0) - ring.min(axis=0)) / 2, 300.0)
        middle = (ring.max(axis=0) + ring.min(axis=0)) / 2
        return Surface(
            block=block, middle_mm=(float(middle[0]), float(middle[1])), half_mm=(float(half[0]), float(half[1]))
        )

    def _add_reveals(self, guess: Guess) -> None:
        self.reveals: dict[str, tuple[float, float]] = {}
        backs: dict[str, dict[str, list[FloatArray]]] = {}
        for m in self.problem.marks:
            if m.photo in self.files and m.face == "frame" and f"{m.opening}/{m.point}" in self.seen:
                centre = guess.poses[m.photo].centre_mm
                backs.setdefault(str(m.opening), {}).setdefault(m.point, []).append(centre)
        self.back_corners = {o: tuple(sorted(b)) for o, b in backs.items()}
        for opening, corners in backs.items():
            block = self.layout.add(f"reveal:{opening}", REVEAL_SIZE).start
            self._prior(block, priors.REVEAL_DEPTH_MEAN_MM, priors.REVEAL_DEPTH_SD_MM, "nothing")
            splay = priors.REVEAL_SPLAY_WIDE_SD if _parallax(corners) else priors.REVEAL_SPLAY_SD
            for k in range(1, 5):
                self._prior(block + k, 0.0, splay, "squareness of the reveal")
            for k in (5, 6):
                self._prior(block + k, 0.0, priors.FRAME_TILT_SD, "squareness of the reveal")
            for k in range(7, REVEAL_SIZE):
                self._prior(block + k, 0.0, priors.REVEAL_WARP_SD_MM, "squareness of the reveal")
            fronts = np.array([xy for name, xy in self._corner_start.items() if name.startswith(f"{opening}/")])
            middle = fronts.mean(axis=0)
            self.reveals[opening] = (float(middle[0]), float(middle[1]))

    def _add_lens_priors(self) -> None:
        for phone in dict.fromkeys(p.phone for p in self.cameras.photos):
            own = [p for p in self.cameras.photos if p.phone == phone]
            block = self.layout[f"lens:{phone}"].start
            self._prior(block, 0.0, min(p.focal_rel_sd for p in own), "lens")
            for k in (1, 2):
                self._prior(block + k, 0.0, min(p.centre_sd_px for p in own), "lens")
            self._prior(block + 3, 0.0, max(p.k1_sd for p in own), "lens")
            self._prior(block + 4, 0.0, max(p.k2_sd for p in own), "lens")
        for photo, block in zip(self.cameras.photos, self.cameras.photo_block, strict=True):
            best = min(p.centre_sd_px for p in self.cameras.photos if p.phone == photo.phone)
            centre_sd = np.hypot(priors.PHOTO_CENTRE_SD_PX, np.sqrt(max(photo.centre_sd_px**2 - best**2, 0.0)))
            if photo.turn is None:
                centre_sd = max(centre_sd, priors.UNKNOWN_TURN_CENTRE_SD_PX)
            self._prior(block, 0.0, priors.PHOTO_FOCAL_REL_SD, "lens")
            self._prior(block + 1, 0.0, float(centre_sd), "lens")
            self._prior(block + 2, 0.0, float(centre_sd), "lens")

    def _reference_priors(self, reference: DeclaredReference, block: int) -> None:
        for k in (0, 1):
            self._prior(block + k, 0.0, priors.LOOSE_SD_MM, "nothing")
        for k in (3, 4):
            self._prior(block + k, 0.0, priors.REFERENCE_TILT_SD, "reference not flush")
        self._prior(block + 5, 0.0, priors.REFERENCE_STANDOFF_SD_MM, "reference not flush")
        if reference.kind == "survey_sheet":
            # a common scale with a little aspect: correlated log-sizes, as two independent rows in sum and difference
            self.pairs.append((block + 6, block + 7, reference.scale_rel_sd, priors.PRINT_ASPECT_SD))
        else:
            for k, size in ((6, reference.width_mm), (7, reference.height_mm)):
                self._prior(block + k, 0.0, size.sd / size.value, "size of the reference")

    def _start_state(self, guess: Guess) -> State:
        vector = np.zeros(self.layout.size)
        for name, xy in self._corner_start.items():
            if f"corner:{name}" in self.layout:
                vector[self.layout[f"corner:{name}"]] = xy
        for opening in self.reveals:
            vector[self.layout[f"reveal:{opening}"].start] = guess.depths.get(opening, priors.REVEAL_DEPTH_MEAN_MM)
        for ref, (x, y, turn) in guess.references.items():
            if f"reference:{ref}" in self.layout:
                start = self.layout[f"reference:{ref}"].start
                vector[start : start + 3] = x, y, turn
        rotations = []
        for photo, block in zip(self.cameras.photos, self.cameras.photo_block, strict=True):
            pose = guess.poses[photo.file]
            vector[block + 6 : block + 9] = pose.translation_mm
            rotations.append(pose.rotation)
        return State(vector=vector, rotations=np.array(rotations).reshape(-1, 3, 3))

    def corner_points(self, vector: FloatArray) -> dict[str, FloatArray]:
        """Return the places of all corners in the vector by name, and the origin."""
        names = [b[len("corner:") :] for b in self.layout.blocks if b.startswith("corner:")]
        return {name: corner_xy(self.layout, vector, name) for name in ["wall/bottom_left", *names]}

    def by_vector(self, by_point: dict[str, FloatArray], count: int) -> FloatArray:
        """Return derivatives by the vector (k, unknowns) from derivatives by corner places."""
        rows = np.zeros((count, self.layout.size))
        for name, slope in by_point.items():
            if f"corner:{name}" in self.layout:
                rows[:, self.layout[f"corner:{name}"]] += slope
        return rows


def shift_name(trace: EdgeTrace) -> str:
    """Return the name of the unknown by which all of a trace's points lie beside their edge."""
    quad, edge = trace.edge
    return f"shift:{trace.photo}:{quad}:{edge}:{trace.proud_mm:g}"


def _parallax(corners: dict[str, list[FloatArray]]) -> bool:
    """Return whether the pictures themselves show the side faces' splay: some back corner on each side is seen from
    two places more than a quarter of a metre apart (invented default)."""

    def spread(names: tuple[str, str]) -> float:
        best = 0.0
        for name in names:
            places = np.array(corners.get(name, []))
            for place in places:
                best = max(best, float(np.max(np.abs(places[:, 0] - place[0]))))
        return best

    return min(spread(("bottom_left", "top_left")), spread(("bottom_right", "top_right"))) > 250.0
