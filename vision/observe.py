"""One wall's problem: what was observed, and the residuals of a state against observations and priors.

Every row of the residual vector is whitened (divided by its standard deviation) and carries the name of its source, so
that the solution can say later which source limits which size. Clicks and edge samples are robust rows, priors never.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision import priors
from vision.lengths import Size, sizes_with_gradient, tape_sd_mm, wall_sizes
from vision.lens import normalised
from vision.model import (
    _LENS, _PHOTO, _REFERENCE, _REVEAL, EDGES, Cameras, Layout, Places, State, Surface,
    corner_columns, corner_xy, edge_length_prior, known_edges, world_points,
)  # fmt: skip
from vision.pose import on_plane
from vision.start import Guess, complete_wall, mark_place
from vision.walls import CORNERS, DeclaredReference, DeclaredWall, EdgeTrace, FloatArray, Mark, Photo, Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class WallProblem:
    """Everything that is known about one wall before solving: records only, no pictures."""

    wall: DeclaredWall
    photos: tuple[Photo, ...] = ()
    marks: tuple[Mark, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    references: tuple[DeclaredReference, ...] = ()
    edges: tuple[EdgeTrace, ...] = ()


def taped_lengths(wall: DeclaredWall) -> dict[str, float]:
    """Return the taped lengths of a wall and its openings by result key [mm]; thickness is not one of them."""
    taped = {key: value for key, value in wall.taped.items() if key != "thickness_mm"}
    for opening in wall.openings:
        taped.update({
            f"openings.{opening.id}.{key}": value for key, value in opening.taped.items()
            if key not in ("thickness_mm", "outer_reveal_mm")
        })  # fmt: skip
    return taped


@dataclass(slots=True)
class _Rows:
    """Observed points that share a shape, gathered before they become arrays."""

    place: list[int] = field(default_factory=list)
    photo: list[int] = field(default_factory=list)
    px: list[FloatArray] = field(default_factory=list)
    sd: list[float] = field(default_factory=list)
    source: list[str] = field(default_factory=list)
    label: list[object] = field(default_factory=list)
    normal: list[FloatArray] = field(default_factory=list)
    bloom: list[tuple[int, FloatArray]] = field(default_factory=list)
    shift: list[int] = field(default_factory=list)


class Observations:
    """The residual function of one wall's problem, ready to be evaluated at any state."""

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
        self.places = Places()
        self._points, self._edges = _Rows(), _Rows()
        self._families: tuple[list[tuple[_Rows, int]], ...] = ([], [], [])
        self._references = {r.id: r for r in problem.references}
        self._add_corners(guess)
        self.surface = self._add_surface(guess)
        self._add_reveals(guess)
        self._add_lens_priors()
        self._add_marks()
        self._add_sightings(guess)
        self.start = self._start_state(guess)
        self._add_edges()
        self._add_tape()
        self._freeze()

    # -- unknowns and priors -------------------------------------------------------------------------------------

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
        self.quads = ["wall"] + [o.id for o in self.problem.wall.openings if any(c.startswith(f"{o.id}/") for c in seen)]
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

    def _add_surface(self, guess: Guess) -> Surface:
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
            block = self.layout.add(f"reveal:{opening}", _REVEAL).start
            self._prior(block, priors.REVEAL_DEPTH_MEAN_MM, priors.REVEAL_DEPTH_SD_MM, "nothing")
            splay = priors.REVEAL_SPLAY_WIDE_SD if _parallax(corners) else priors.REVEAL_SPLAY_SD
            for k in range(1, 5):
                self._prior(block + k, 0.0, splay, "squareness of the reveal")
            for k in (5, 6):
                self._prior(block + k, 0.0, priors.FRAME_TILT_SD, "squareness of the reveal")
            for k in range(7, _REVEAL):
                self._prior(block + k, 0.0, priors.REVEAL_WARP_SD_MM, "squareness of the reveal")
            fronts = np.array([xy for name, xy in self._corner_start.items() if name.startswith(f"{opening}/")])
            middle = fronts.mean(axis=0)
            self.reveals[opening] = (float(middle[0]), float(middle[1]))

    def _add_lens_priors(self) -> None:
        for phone in {p.phone for p in self.cameras.photos}:
            own = [p for p in self.cameras.photos if p.phone == phone]
            block = self.layout[f"lens:{phone}"].start
            self._prior(block, 0.0, min(p.focal_rel_sd for p in own), "lens")
            for k in (1, 2):
                self._prior(block + k, 0.0, min(p.centre_sd_px for p in own), "lens")
            self._prior(block + 3, 0.0, priors.K1_SD, "lens")
            self._prior(block + 4, 0.0, priors.K2_SD, "lens")
        for photo, block in zip(self.cameras.photos, self.cameras.photo_block, strict=True):
            best = min(p.centre_sd_px for p in self.cameras.photos if p.phone == photo.phone)
            centre_sd = np.hypot(priors.PHOTO_CENTRE_SD_PX, np.sqrt(max(photo.centre_sd_px**2 - best**2, 0.0)))
            if photo.turn is None:
                centre_sd = max(centre_sd, priors.UNKNOWN_TURN_CENTRE_SD_PX)
            self._prior(block, 0.0, priors.PHOTO_FOCAL_REL_SD, "lens")
            self._prior(block + 1, 0.0, float(centre_sd), "lens")
            self._prior(block + 2, 0.0, float(centre_sd), "lens")

    # -- observations --------------------------------------------------------------------------------------------

    def _quad_place(
        self, a: int, b: int, share: float, bow: int, normal: tuple[float, float], proud: float
    ) -> int:
        p = self.places
        p.quad_a.append(a)
        p.quad_b.append(b)
        p.quad_share.append(share)
        p.quad_bow.append(bow)
        p.quad_normal.append(normal)
        p.quad_proud.append(proud)
        return len(p.quad_a) - 1

    def _back_place(self, opening: str, first: str, second: str, share: float) -> int:
        columns = corner_columns(self.layout, opening)
        p = self.places
        p.back_reveal.append(self.layout[f"reveal:{opening}"].start)
        p.back_corner.append((CORNERS.index(first), CORNERS.index(second)))
        p.back_front.append((columns[first], columns[second]))
        p.back_share.append(share)
        p.back_middle.append(self.reveals[opening])
        return len(p.back_reveal) - 1

    def _observe(
        self, rows: _Rows, family: int, place: int, photo: str, px: FloatArray, sd: float, source: str, label: object
    ) -> None:
        self._families[family].append((rows, len(rows.place)))
        rows.place.append(place)
        rows.photo.append(self.files[photo])
        rows.px.append(np.asarray(px, dtype=float))
        rows.sd.append(sd)
        rows.source.append(source)
        rows.label.append(label)

    def _add_marks(self) -> None:
        for mark in self.problem.marks:
            if mark.photo not in self.files:
                continue
            place = mark_place(mark)
            px = np.array(mark.px, dtype=float)
            if place is not None and place in self.seen:
                quad, corner = place.split("/")
                column = corner_columns(self.layout, quad)[corner]
                index = self._quad_place(column, column, 0.0, -1, (0.0, 0.0), mark.proud_mm)
                self._observe(self._points, 0, index, mark.photo, px, mark.sd_px, "clicks", mark)
            elif mark.face == "frame" and mark.opening in self.reveals and f"{mark.opening}/{mark.point}" in self.seen:
                index = self._back_place(mark.opening, mark.point, mark.point, 0.0)
                self._observe(self._points, 1, index, mark.photo, px, mark.sd_px, "clicks", mark)

    def _add_sightings(self, guess: Guess) -> None:
        self.sightings = [
            s for s in self.problem.sightings
            if s.photo in self.files and s.reference in guess.references and s.reference in self._references
        ]  # fmt: skip
        for seen in self.sightings:
            reference = self._references[seen.reference]
            fresh = f"reference:{reference.id}" not in self.layout
            block = self.layout.add(f"reference:{reference.id}", _REFERENCE).start
            if fresh:
                self._reference_priors(reference, block)
            bloom = self.layout.add(f"bloom:{seen.reference}@{seen.photo}", 1).start
            self._prior(bloom, 0.0, priors.BLOOM_SD_PX, "edge spread")
            for model, px, sd, spread in zip(
                seen.model_mm, seen.points_px, seen.sd_px, seen.bloom_px, strict=True
            ):
                self.places.ref_block.append(block)
                self.places.ref_model.append((float(model[0] * reference.scale), float(model[1] * reference.scale)))
                self.places.ref_standoff.append(priors.REFERENCE_STANDOFF_MM[reference.kind])
                place = len(self.places.ref_block) - 1
                self._points.bloom.append((len(self._points.place), np.array([bloom, *spread])))
                self._observe(self._points, 2, place, seen.photo, px, float(sd), "corners of the reference", seen)

    def _reference_priors(self, reference: DeclaredReference, block: int) -> None:
        for k in (0, 1):
            self._prior(block + k, 0.0, priors.LOOSE_SD_MM, "nothing")
        for k in (3, 4):
            self._prior(block + k, 0.0, priors.REFERENCE_TILT_SD, "reference not flush")
        self._prior(block + 5, 0.0, priors.REFERENCE_STANDOFF_SD_MM, "reference not flush")
        if reference.kind == "survey_sheet":
            # a common scale with a little aspect: correlated log-sizes, as two independent rows in sum and difference
            self._pair = getattr(self, "_pair", [])
            self._pair.append((block + 6, block + 7, reference.scale_rel_sd, priors.PRINT_ASPECT_SD))
        else:
            for k, size in ((6, reference.width_mm), (7, reference.height_mm)):
                self._prior(block + k, 0.0, size.sd / size.value, "size of the reference")

    def _add_edges(self) -> None:
        self.shifts: dict[int, float] = {}
        for trace in self.problem.edges:
            quad, edge = trace.edge
            base, _, face = quad.partition("/")
            frame = face == "frame"
            if trace.photo not in self.files or (frame and base not in self.reveals):
                continue
            columns = corner_columns(self.layout, base)
            a, b = EDGES[edge]
            if a not in columns or b not in columns or len(trace.points_px) < 3:
                continue
            if frame:
                self._add_back_edge(trace, base, a, b)
            else:
                self._add_front_edge(trace, base, edge, columns[a], columns[b])

    def _shift(self, trace: EdgeTrace) -> int:
        """Return the column of the trace's common shift across the edge, with its prior."""
        quad, edge = trace.edge
        column = self.layout.add(f"shift:{trace.photo}:{quad}:{edge}:{trace.proud_mm:g}", 1).start
        if trace.proud_mm:
            sd = priors.PROUD_EDGE_SHIFT_SD_PX
        elif quad == "wall":
            sd = priors.WALL_EDGE_SHIFT_SD_PX
        else:
            sd = priors.FRAME_EDGE_SHIFT_SD_PX if quad.endswith("/frame") else priors.OPENING_EDGE_SHIFT_SD_PX
        self._prior(column, 0.0, sd, "edges")
        self.shifts[column] = sd
        self.start.vector = np.append(self.start.vector, 0.0)
        return column

    def _shares(self, trace: EdgeTrace, height_mm: float, p: FloatArray, q: FloatArray) -> FloatArray:
        """Return where along the edge p to q the traced pixels lie, 0 to 1, by the start's cameras."""
        i = self.files[trace.photo]
        ideal = normalised(trace.points_px, self.cameras.lens(self.start.vector, i))
        xy = on_plane(ideal, self.cameras.pose(self.start, i), height_mm)
        along = q - p
        return np.asarray(np.clip((xy - p) @ along / (along @ along), -0.02, 1.02))

    def _add_front_edge(self, trace: EdgeTrace, quad: str, edge: str, a: int, b: int) -> None:
        bow_sd = priors.WALL_BOW_SD_MM if quad == "wall" else priors.OPENING_BOW_SD_MM
        name = f"bow:{quad}:{edge}:{trace.proud_mm:g}"
        fresh = name not in self.layout
        bow = self.layout.add(name, 1).start
        if fresh:
            self._prior(bow, 0.0, bow_sd, "straightness of edges")
            self.start.vector = np.append(self.start.vector, 0.0)
        shift = self._shift(trace)
        normal = (0.0, 1.0) if edge in ("bottom", "top") else (1.0, 0.0)
        p, q = (corner_xy(self.layout, self.start.vector, f"{quad}/{c}") for c in EDGES[edge])
        shares = self._shares(trace, trace.proud_mm, p, q)
        for share, px, sd, across in zip(shares, trace.points_px, trace.sd_px, _normals(trace.points_px), strict=True):
            place = self._quad_place(a, b, float(share), bow, normal, trace.proud_mm)
            self._edges.normal.append(across)
            self._edges.shift.append(shift)
            self._observe(self._edges, 0, place, trace.photo, px, float(sd), "edges", trace)

    def _add_back_edge(self, trace: EdgeTrace, opening: str, a: str, b: str) -> None:
        shift = self._shift(trace)
        depth = float(self.start.vector[self.layout[f"reveal:{opening}"].start])
        p, q = (corner_xy(self.layout, self.start.vector, f"{opening}/{c}") for c in (a, b))
        shares = self._shares(trace, -depth, p, q)
        for share, px, sd, across in zip(shares, trace.points_px, trace.sd_px, _normals(trace.points_px), strict=True):
            place = self._back_place(opening, a, b, float(share))
            self._edges.normal.append(across)
            self._edges.shift.append(shift)
            self._observe(self._edges, 1, place, trace.photo, px, float(sd), "edges", trace)

    def _add_tape(self) -> None:
        sizes = wall_sizes(self.seen, [o.id for o in self.problem.wall.openings], [])
        self.tape: dict[str, tuple[Size, float, float]] = {}
        for key, value in taped_lengths(self.problem.wall).items():
            if key in sizes:
                self.tape[key] = (sizes[key], value, tape_sd_mm(value))
            elif key.endswith("reveal_depth_mm") and key.split(".")[1] in self.reveals:
                block = self.layout[f"reveal:{key.split('.')[1]}"].start
                self._prior(block, value, tape_sd_mm(value), "tape")

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

    # -- arrays --------------------------------------------------------------------------------------------------

    def _freeze(self) -> None:
        n_quad, n_back = len(self.places.quad_a), len(self.places.back_reveal)
        offset = (0, n_quad, n_quad + n_back)
        for family, members in enumerate(self._families):
            for rows, i in members:
                rows.place[i] += offset[family]
        self.point_place = np.array(self._points.place, dtype=int)
        self.point_photo = np.array(self._points.photo, dtype=int)
        self.point_px = np.array(self._points.px).reshape(-1, 2)
        self.point_sd = np.array(self._points.sd)
        self.point_label = self._points.label
        self.edge_place = np.array(self._edges.place, dtype=int)
        self.edge_photo = np.array(self._edges.photo, dtype=int)
        self.edge_px = np.array(self._edges.px).reshape(-1, 2)
        self.edge_sd = np.array(self._edges.sd)
        self.edge_normal = np.array(self._edges.normal).reshape(-1, 2)
        self.edge_shift = np.array(self._edges.shift, dtype=int)
        self.edge_label = self._edges.label
        bloom = np.array([[i, *spread] for i, spread in self._points.bloom]).reshape(-1, 4)
        self.bloom_row, self.bloom_column = bloom[:, 0].astype(int), bloom[:, 1].astype(int)
        self.bloom_px = bloom[:, 2:]
        self.prior_column = np.array(self._prior_column, dtype=int)
        self.prior_mean, self.prior_sd = np.array(self._prior_mean), np.array(self._prior_sd)
        self.pairs: list[tuple[int, int, float, float]] = getattr(self, "_pair", [])
        photo_of = np.zeros(self.places.count, dtype=int)
        photo_of[self.point_place] = self.point_photo
        photo_of[self.edge_place] = self.edge_photo
        self._photo_of = photo_of
        points = [s for s in self._points.source for _ in range(2)]
        square = ["squareness of the wall" if sd == priors.WALL_SQUARENESS else "squareness of openings"
                  for *_, sd in self._square]  # fmt: skip
        pair = ["size of the reference"] * (2 * len(self.pairs))
        self.source = np.array(points + self._edges.source + self._prior_source + square + pair + ["tape"] * len(self.tape))
        n_points, n_edges = len(self.point_place), len(self.edge_place)
        self.rows_points = slice(0, 2 * n_points)
        self.rows_edges = slice(2 * n_points, 2 * n_points + n_edges)
        self.rows_tape = slice(len(self.source) - len(self.tape), len(self.source))
        self.click = np.array([isinstance(label, Mark) for label in self.point_label], dtype=bool)

    def evaluate(self, state: State) -> tuple[FloatArray, FloatArray]:
        """Return whitened residuals (rows,) and their derivatives (rows, unknowns) at a state."""
        n = self.layout.size
        vector = state.vector
        world, D = world_points(self.places, vector, self.surface)
        pixels, J = self.cameras.project(state, self._photo_of, world, D)
        at = self.point_place
        predicted, Jp = pixels[at], J[at]
        predicted[self.bloom_row] += vector[self.bloom_column][:, None] * self.bloom_px
        Jp[self.bloom_row, :, self.bloom_column] += self.bloom_px
        weight = 1.0 / self.point_sd
        parts = [((predicted - self.point_px) * weight[:, None]).ravel()]
        rows = [(Jp * weight[:, None, None]).reshape(-1, n)]
        if len(self.edge_place):
            gap = pixels[self.edge_place] - self.edge_px
            parts.append((np.sum(gap * self.edge_normal, axis=1) + vector[self.edge_shift]) / self.edge_sd)
            by_edge = np.einsum("nk,nkj->nj", self.edge_normal, J[self.edge_place])
            by_edge[np.arange(len(by_edge)), self.edge_shift] += 1.0
            rows.append(by_edge / self.edge_sd[:, None])
        parts.append((vector[self.prior_column] - self.prior_mean) / self.prior_sd)
        prior_rows = np.zeros((len(self.prior_column), n))
        prior_rows[np.arange(len(self.prior_column)), self.prior_column] = 1.0 / self.prior_sd
        rows.append(prior_rows)
        for part, row in (self._squareness(vector), self._print_scales(vector), self._taped(vector)):
            parts.append(part)
            rows.append(row)
        return np.concatenate(parts), np.concatenate(rows)

    def _squareness(self, vector: FloatArray) -> tuple[FloatArray, FloatArray]:
        part, rows = np.zeros(len(self._square)), np.zeros((len(self._square), len(vector)))
        for i, (a, b, axis, sd) in enumerate(self._square):
            pa = vector[a : a + 2] if a >= 0 else np.zeros(2)
            pb = vector[b : b + 2] if b >= 0 else np.zeros(2)
            across, along = (pb - pa)[axis], (pb - pa)[1 - axis]
            along = along if abs(along) > 1.0 else 1.0
            part[i] = across / along / sd
            for column, sign in ((a, -1.0), (b, 1.0)):
                if column >= 0:
                    rows[i, column + axis] += sign / along / sd
                    rows[i, column + 1 - axis] -= sign * across / along**2 / sd
        return part, rows

    def _print_scales(self, vector: FloatArray) -> tuple[FloatArray, FloatArray]:
        part, rows = np.zeros(2 * len(self.pairs)), np.zeros((2 * len(self.pairs), len(vector)))
        for i, (x, y, sd_scale, sd_aspect) in enumerate(self.pairs):
            part[2 * i] = (vector[x] + vector[y]) / 2 / max(sd_scale, 1e-6)
            rows[2 * i, [x, y]] = 0.5 / max(sd_scale, 1e-6)
            part[2 * i + 1] = (vector[x] - vector[y]) / sd_aspect
            rows[2 * i + 1, [x, y]] = 1.0 / sd_aspect, -1.0 / sd_aspect
        return part, rows

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

    def _taped(self, vector: FloatArray) -> tuple[FloatArray, FloatArray]:
        if not self.tape:
            return np.zeros(0), np.zeros((0, len(vector)))
        sizes = {key: size for key, (size, _, _) in self.tape.items()}
        values, by_point = sizes_with_gradient(sizes, self.corner_points(vector))
        read = np.array([value for _, value, _ in self.tape.values()])
        sd = np.array([s for *_, s in self.tape.values()])
        return (values - read) / sd, self.by_vector(by_point, len(sd)) / sd[:, None]


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


def _normals(points_px: FloatArray) -> FloatArray:
    """Return unit normals (n, 2) of a smooth curve through points in order along it."""
    along = np.gradient(points_px, axis=0)
    middle = points_px[-1] - points_px[0]
    t = np.linspace(-1.0, 1.0, len(points_px))
    slope = np.polynomial.polynomial.polyfit(t, points_px, min(2, len(points_px) - 1))
    along = slope[1] + (2.0 * slope[2] * t[:, None] if len(slope) > 2 else 0.0)
    along = np.broadcast_to(along, points_px.shape)
    length = np.linalg.norm(along, axis=1, keepdims=True)
    along = np.where(length > 1e-9, along / np.maximum(length, 1e-9), middle / max(np.linalg.norm(middle), 1e-9))
    return np.stack([-along[:, 1], along[:, 0]], axis=1)
