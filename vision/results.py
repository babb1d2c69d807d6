"""From a solution (or from the tape alone) to the record of a measured wall."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.findings import Finding
from vision.lengths import TAPE_READING_SD_MM, Size, quad_area_mm2, sizes_with_gradient, tape_sd_mm, wall_sizes
from vision.problem import WallProblem, taped_lengths
from vision.solve import Solution
from vision.walls import CORNERS, FloatArray, Measured, MeasuredFeature, MeasuredOpening, MeasuredWall, Point2

LOOSE_MM = 1500.0  # a size less certain than this was not measured
MOST_MM = 100_000.0  # no wall of a house is larger: what says so comes of marks that contradict one another
FRAME_DEPTH_SD_MM = 3.0  # a frame depth as typed by the person; common practice, no source
OUTER_REVEAL_SD_MM = 4.0  # an outer reveal as typed by the person; common practice, no source


def solved_sizes(solution: Solution, features: Sequence[str]) -> tuple[dict[str, float], FloatArray, FloatArray]:
    """Return the sizes by key, their derivatives by the unknowns (k, n), and their joint covariance (k, k) [mm2]."""
    obs, vector = solution.observations, solution.state.vector
    openings = [q for q in obs.quads if q != "wall"]
    sizes = wall_sizes(obs.seen, openings, features)
    values, by_point = sizes_with_gradient(sizes, obs.corner_points(vector))
    rows = obs.by_vector(by_point, len(values))
    named = dict(zip(sizes, (float(v) for v in values), strict=True))
    for opening in obs.reveals:
        block = obs.layout[f"reveal:{opening}"].start
        corners = np.array([obs.corner_points(vector)[f"{opening}/{c}"] for c in obs.back_corners[opening]])
        arm = corners.mean(axis=0) - np.array(obs.reveals[opening])
        row = np.zeros((1, obs.layout.size))
        row[0, block] = 1.0
        row[0, block + 5 : block + 7] = arm
        named[f"openings.{opening}.reveal_depth_mm"] = float(vector[block] + vector[block + 5 : block + 7] @ arm)
        rows = np.vstack([rows, row])
    return named, rows, rows @ solution.covariance @ rows.T


def _areas(solution: Solution) -> tuple[Measured | None, Measured | None]:
    """Return gross and net area [m2] with correlations kept."""
    obs, vector = solution.observations, solution.state.vector
    whole = [q for q in obs.quads if all(f"{q}/{c}" in obs.seen for c in CORNERS)]
    if "wall" not in whole:
        return None, None
    openings = [q for q in whole if q != "wall"]
    sizes: dict[str, Size] = {
        "gross": lambda p: quad_area_mm2(p, "wall"),
        "net": lambda p: quad_area_mm2(p, "wall") - np.asarray(sum(quad_area_mm2(p, o) for o in openings)),
    }
    values, by_point = sizes_with_gradient(sizes, obs.corner_points(vector))
    rows = obs.by_vector(by_point, 2)
    sd = np.sqrt(np.diag(rows @ solution.covariance @ rows.T))
    gross, net = (Measured(value=float(v) / 1e6, sd=float(s) / 1e6) for v, s in zip(values, sd, strict=True))
    return gross, net


def thickness(
    reveal: Measured | None, frame_mm: float | None, outer: Measured | None, direct: Measured | None
) -> Measured | None:
    """Return the whole wall's thickness [mm]: as read directly, else reveal + frame + outer reveal, else None."""
    if direct is not None:
        return direct
    if reveal is None or frame_mm is None or outer is None:
        return None
    return Measured(
        value=reveal.value + frame_mm + outer.value,
        sd=float(np.sqrt(reveal.sd**2 + FRAME_DEPTH_SD_MM**2 + outer.sd**2)),
    )


def _taped_thickness(value: float) -> Measured:
    return Measured(value=value, sd=float(np.hypot(tape_sd_mm(value), TAPE_READING_SD_MM)))


def _typed_outer(value: float | None) -> Measured | None:
    return None if value is None else Measured(value=value, sd=OUTER_REVEAL_SD_MM)


def _outline(points: dict[str, FloatArray], quad: str, seen: set[str]) -> tuple[Point2, ...] | None:
    names = [f"{quad}/{c}" for c in CORNERS]
    if not all(n in seen for n in names):
        return None
    return tuple((float(points[n][0]), float(points[n][1])) for n in names)


def measured_from_solution(
    problem: WallProblem, solution: Solution, findings: Sequence[Finding], whole: Measured | None = None
) -> MeasuredWall:
    """Return the wall's record from a solution; a taped length that no photo measured is taken as taped."""
    from vision.advice import best_help, limits

    obs = solution.observations
    named, rows, covariance = solved_sizes(solution, [f.id for f in problem.wall.features])
    deviations = dict(zip(named, np.sqrt(np.maximum(np.diag(covariance), 0.0)), strict=True))
    values = _taped(problem)
    for key, value in named.items():
        sd = float(deviations[key])
        if np.isfinite(sd) and sd <= LOOSE_MM and abs(value) <= MOST_MM:
            values[key] = Measured(value=value, sd=sd)
    points = obs.corner_points(solution.state.vector)
    fronts = {o.id: _outline(points, o.id, obs.seen) for o in problem.wall.openings}
    gross, net = _areas(solution)
    record = _record(problem, values, fronts, findings, whole)
    return replace(
        record, gross_area_m2=gross or record.gross_area_m2, net_area_m2=net or record.net_area_m2,
        outline_mm=_outline(points, "wall", obs.seen), keys=tuple(named), covariance_mm2=covariance,
        limits=limits(solution, named, rows), advice=best_help(problem, solution, named, rows),
    )  # fmt: skip


def measured_from_tape(
    problem: WallProblem, findings: Sequence[Finding], whole: Measured | None = None
) -> MeasuredWall:
    """Return the wall's record from its taped lengths alone; what was not taped is None."""
    values = _taped(problem)
    for mean, parts in (
        ("width_mm", ("width_bottom_mm", "width_top_mm")),
        ("height_mm", ("height_left_mm", "height_right_mm")),
    ):
        found = [values[p] for p in parts if p in values]
        if mean not in values and len(found) == 2:
            values[mean] = Measured(
                value=(found[0].value + found[1].value) / 2, sd=float(np.hypot(found[0].sd, found[1].sd)) / 2
            )
    return replace(
        _record(problem, values, {}, findings, whole),
        keys=tuple(values), covariance_mm2=np.diag(np.array([v.sd**2 for v in values.values()])),
    )  # fmt: skip


def _taped(problem: WallProblem) -> dict[str, Measured]:
    return {k: Measured(value=v, sd=tape_sd_mm(v)) for k, v in taped_lengths(problem.wall).items()}


def _record(
    problem: WallProblem, values: Mapping[str, Measured], fronts: Mapping[str, tuple[Point2, ...] | None],
    findings: Sequence[Finding], whole: Measured | None,
) -> MeasuredWall:  # fmt: skip
    """Return the wall's record from sizes by key; areas from width and height."""
    wall = problem.wall
    if "thickness_mm" in wall.taped:
        whole = _taped_thickness(wall.taped["thickness_mm"])
    openings = []
    for declared in wall.openings:
        key = f"openings.{declared.id}."
        depth = values.get(key + "reveal_depth_mm")
        outer = _typed_outer(declared.taped.get("outer_reveal_mm", declared.outer_reveal_mm))
        openings.append(MeasuredOpening(
            id=declared.id, kind=declared.kind,
            width_mm=values.get(key + "width_mm"), height_mm=values.get(key + "height_mm"),
            left_mm=values.get(key + "left_mm"), sill_mm=values.get(key + "sill_mm"),
            reveal_depth_mm=depth, outer_reveal_mm=outer,
            thickness_mm=thickness(
                depth, declared.frame_mm, outer,
                _taped_thickness(declared.taped["thickness_mm"]) if "thickness_mm" in declared.taped else whole,
            ),
            front_mm=fronts.get(declared.id), frame_mm=declared.frame_mm, visible_frame_mm=declared.visible_frame_mm,
        ))  # fmt: skip
    features = tuple(
        MeasuredFeature(
            id=f.id, kind=f.kind,
            left_mm=values.get(f"features.{f.id}.left_mm"), bottom_mm=values.get(f"features.{f.id}.bottom_mm"),
            width_mm=values.get(f"features.{f.id}.width_mm"), height_mm=values.get(f"features.{f.id}.height_mm"),
        ) for f in wall.features
    )  # fmt: skip
    gross, net = _rectangle_areas(values, openings)
    return MeasuredWall(
        id=wall.id, width_mm=values.get("width_mm"), width_bottom_mm=values.get("width_bottom_mm"),
        width_top_mm=values.get("width_top_mm"), height_mm=values.get("height_mm"),
        height_left_mm=values.get("height_left_mm"), height_right_mm=values.get("height_right_mm"),
        gross_area_m2=gross, net_area_m2=net, openings=tuple(openings), features=features,
        thickness_mm=whole, findings=tuple(findings),
    )  # fmt: skip


def _rectangle_areas(
    values: Mapping[str, Measured], openings: Sequence[MeasuredOpening]
) -> tuple[Measured | None, Measured | None]:
    width, height = values.get("width_mm"), values.get("height_mm")
    if not (width and height):
        return None, None
    gross = _product(width, height)
    holes = [_product(o.width_mm, o.height_mm) for o in openings if o.width_mm and o.height_mm]
    if len(holes) < len(openings):
        return gross, None
    value = gross.value - sum(h.value for h in holes)
    return gross, Measured(value=value, sd=float(np.sqrt(gross.sd**2 + sum(h.sd**2 for h in holes))))


def _product(a: Measured, b: Measured) -> Measured:
    return Measured(value=a.value * b.value / 1e6, sd=float(np.hypot(a.value * b.sd, b.value * a.sd)) / 1e6)
