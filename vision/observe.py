"""One wall's problem: what was observed, and the residuals of a state against observations and priors.

Every row of the residual vector is whitened (divided by its standard deviation) and carries the name of its source, so
that the solution can say later which source limits which size. Clicks and edge samples are robust rows, priors never.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision import priors
from vision.corners import corner_columns, corner_xy
from vision.lengths import Size, sizes_with_gradient, tape_sd_mm, wall_sizes
from vision.lens import normalised
from vision.model import EDGES, REFERENCE_SIZE, Layout, Places, State, world_points
from vision.pose import on_plane
from vision.problem import WallProblem, taped_lengths
from vision.start import Guess, mark_place
from vision.unknowns import Unknowns, shift_name
from vision.walls import CORNERS, EdgeTrace, FloatArray, Mark


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


class Observations(Unknowns):
    """The residual function of one wall's problem, ready to be evaluated at any state."""

    def __init__(self, problem: WallProblem, guess: Guess, *, earlier: tuple[Layout, State] | None = None) -> None:
        super().__init__(problem, guess)
        self.places = Places()
        self._points, self._edges = _Rows(), _Rows()
        self._families: tuple[list[tuple[_Rows, int]], ...] = ([], [], [])
        self._add_marks()
        self._add_sightings(guess)
        self.start = self._start_state(guess)
        self._add_edges()
        self._add_tape()
        self._freeze()
        if earlier is not None:
            self._take_over(*earlier)

    # -- observations --------------------------------------------------------------------------------------------

    def _quad_place(self, a: int, b: int, share: float, bow: int, normal: tuple[float, float], proud: float) -> int:
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
            block = self.layout.add(f"reference:{reference.id}", REFERENCE_SIZE).start
            if fresh:
                self._reference_priors(reference, block)
            bloom = self.layout.add(f"bloom:{seen.reference}@{seen.photo}", 1).start
            self._prior(bloom, 0.0, seen.spread_sd_px, "edge spread")
            for model, px, sd, spread in zip(seen.model_mm, seen.points_px, seen.sd_px, seen.bloom_px, strict=True):
                self.places.ref_block.append(block)
                self.places.ref_model.append((float(model[0] * reference.scale), float(model[1] * reference.scale)))
                self.places.ref_standoff.append(priors.REFERENCE_STANDOFF_MM[reference.kind])
                place = len(self.places.ref_block) - 1
                self._points.bloom.append((len(self._points.place), np.array([bloom, *spread])))
                self._observe(self._points, 2, place, seen.photo, px, float(sd), "corners of the reference", seen)

    def _add_edges(self) -> None:
        self.shifts: dict[int, float] = {}
        self._along: list[tuple[EdgeTrace, slice]] = []
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
        column: int = self.layout.add(shift_name(trace), 1).start
        if trace.proud_mm:
            sd = priors.PROUD_EDGE_SHIFT_SD_PX
        elif quad == "wall":
            sd = priors.WALL_EDGE_SHIFT_SD_PX
        else:
            joinery = quad.endswith("/frame") or edge == "bottom"
            sd = priors.FRAME_EDGE_SHIFT_SD_PX if joinery else priors.OPENING_EDGE_SHIFT_SD_PX
        self._prior(column, 0.0, sd, "edges")
        self.shifts[column] = sd
        self.start.vector = np.append(self.start.vector, 0.0)
        return column

    def _shares(self, state: State, trace: EdgeTrace) -> FloatArray:
        """Return where along their edge the traced pixels lie, 0 to 1, by the cameras and corners of a state."""
        quad, _, face = trace.edge[0].partition("/")
        height_mm = trace.proud_mm
        if face == "frame":
            height_mm = -float(state.vector[self.layout[f"reveal:{quad}"].start])
        i = self.files[trace.photo]
        ideal = normalised(trace.points_px, self.cameras.lens(state.vector, i))
        xy = on_plane(ideal, self.cameras.pose(state, i), height_mm)
        p, q = (corner_xy(self.layout, state.vector, f"{quad}/{c}") for c in EDGES[trace.edge[1]])
        along = q - p
        return np.asarray(np.clip((xy - p) @ along / (along @ along), -0.02, 1.02))

    def place_samples(self, state: State) -> None:
        """Put the edge samples where a better state than the start has them along their edges.

        A sample fixes its edge across only; where it lies along it is read off the picture, and that reading is as good
        as the cameras it is made with.
        """
        for trace, where in self._along:
            shares = self.places.back_share if trace.edge[0].endswith("/frame") else self.places.quad_share
            np.asarray(shares)[where] = self._shares(state, trace)

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
        shares = self._shares(self.start, trace)
        self._along.append((trace, slice(len(self.places.quad_share), len(self.places.quad_share) + len(shares))))
        for share, px, sd, across in zip(
            shares, trace.points_px, trace.sd_px, edge_normals(trace.points_px), strict=True
        ):
            place = self._quad_place(a, b, float(share), bow, normal, trace.proud_mm)
            self._edges.normal.append(across)
            self._edges.shift.append(shift)
            self._observe(self._edges, 0, place, trace.photo, px, float(sd), "edges", trace)

    def _add_back_edge(self, trace: EdgeTrace, opening: str, a: str, b: str) -> None:
        shift = self._shift(trace)
        shares = self._shares(self.start, trace)
        self._along.append((trace, slice(len(self.places.back_share), len(self.places.back_share) + len(shares))))
        for share, px, sd, across in zip(
            shares, trace.points_px, trace.sd_px, edge_normals(trace.points_px), strict=True
        ):
            place = self._back_place(opening, a, b, float(share))
            self._edges.normal.append(across)
            self._edges.shift.append(shift)
            self._observe(self._edges, 1, place, trace.photo, px, float(sd), "edges", trace)

    def _add_tape(self) -> None:
        sizes = wall_sizes(self.seen, [o.id for o in self.problem.wall.openings], [])
        self.tape: dict[str, tuple[Size, float, float]] = {}
        for key, value in taped_lengths(self.problem.wall).items():
            opening, _, size = key.removeprefix("openings.").rpartition(".")
            if key in sizes:
                self.tape[key] = (sizes[key], value, tape_sd_mm(value))
            elif size == "reveal_depth_mm" and opening in self.reveals:
                block = self.layout[f"reveal:{opening}"].start
                self._prior(block, value, tape_sd_mm(value), "tape")

    # -- arrays --------------------------------------------------------------------------------------------------

    def _freeze(self) -> None:
        self.places.freeze()
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
        photo_of = np.zeros(self.places.count, dtype=int)
        photo_of[self.point_place] = self.point_photo
        photo_of[self.edge_place] = self.edge_photo
        self._photo_of = photo_of
        points = [s for s in self._points.source for _ in range(2)]
        square = ["squareness of the wall" if sd == priors.WALL_SQUARENESS else "squareness of openings"
                  for *_, sd in self._square]  # fmt: skip
        pair = ["size of the reference"] * (2 * len(self.pairs))
        self.source = np.array(
            points + self._edges.source + self._prior_source + square + pair + ["tape"] * len(self.tape)
        )
        n_points, n_edges = len(self.point_place), len(self.edge_place)
        self.rows_points = slice(0, 2 * n_points)
        self.rows_edges = slice(2 * n_points, 2 * n_points + n_edges)
        self.rows_tape = slice(len(self.source) - len(self.tape), len(self.source))
        self.click = np.array([isinstance(label, Mark) for label in self.point_label], dtype=bool)

    def _take_over(self, layout: Layout, state: State) -> None:
        """Start every unknown that an earlier solution had too from its value there."""
        for name, block in self.layout.blocks.items():
            if name in layout and not name.startswith("photo:"):
                self.start.vector[block] = state.vector[layout[name]]
            elif name in layout:  # rotations are kept beside the vector and came with the guess
                own = np.r_[0:3, 6:9]
                self.start.vector[block.start + own] = state.vector[layout[name].start + own]

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

    def _taped(self, vector: FloatArray) -> tuple[FloatArray, FloatArray]:
        if not self.tape:
            return np.zeros(0), np.zeros((0, len(vector)))
        sizes = {key: size for key, (size, _, _) in self.tape.items()}
        values, by_point = sizes_with_gradient(sizes, self.corner_points(vector))
        read = np.array([value for _, value, _ in self.tape.values()])
        sd = np.array([s for *_, s in self.tape.values()])
        return (values - read) / sd, self.by_vector(by_point, len(sd)) / sd[:, None]


def edge_normals(points_px: FloatArray) -> FloatArray:
    """Return unit normals (n, 2) of a smooth curve through points in order along it."""
    middle = points_px[-1] - points_px[0]
    t = np.linspace(-1.0, 1.0, len(points_px))
    slope = np.polynomial.polynomial.polyfit(t, points_px, min(2, len(points_px) - 1))
    along = slope[1] + (2.0 * slope[2] * t[:, None] if len(slope) > 2 else 0.0)
    along = np.broadcast_to(along, points_px.shape)
    length = np.linalg.norm(along, axis=1, keepdims=True)
    along = np.where(length > 1e-9, along / np.maximum(length, 1e-9), middle / max(np.linalg.norm(middle), 1e-9))
    return np.stack([-along[:, 1], along[:, 0]], axis=1)
