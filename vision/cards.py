"""Cards, plain A4 and other rectangles of known size: which quadrilateral is one, and which only looks like it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from vision.card_face import plainness
from vision.card_looks import LEAST_LONG_PX, LEAST_PLAIN, first_looks, looks
from vision.card_pose import leans_on_wall, normal_of_view, poses, reprojection_px
from vision.linear_light import Picture
from vision.part_quads import carried_on
from vision.plane_view import PlaneView
from vision.quads import Quad, as_seen
from vision.side_fit import REACHES, fit_quad, longest_px, near_quad
from vision.walls import FloatArray, ReferenceKind

ID1_MM = (85.60, 53.98)  # ISO/IEC 7810, ID-1
ID1_RADIUS_MM = 3.18
ID1_THICK_MM = 0.76
A4_MM = (297.0, 210.0)  # ISO 216

_ASPECT_LN_TOL = 0.05
_SQUARE_TOL_DEG = 4.0
_STEEPEST_DEG, _MOST_PITCH_DEG = 62.0, 27.0
# How many patches are looked at, and how many of them are fitted where the size of things is known and where it is not.
_MOST_LOOKED_AT, _MOST_FITTED = 24, 16
_MOST_WEIGHED, _MOST_LOOKED_AT_UNSIZED, _MOST_FITTED_UNSIZED = 64, 12, 3
_MOST_CARRIED_ON = 12  # patches that may be a part of it
_FEW_CELLS = 20  # for a first look at a sheet's face
_SAME_PX = 1.5  # outlines whose corners all lie this near are one
# A pane of glass is at the picture's upper limit more often than paper is; what is, looks wider than it is.
_BLOWN_OUT_COST, _BLOWN_OUT_SD_PX = 4.0, 0.4
_ROUGH_PX = 2.0  # what corners may be off before they are fitted


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What is looked for: longer and shorter side, mm; radius of its corners; thickness; whether its face is plain."""

    kind: ReferenceKind
    long_mm: float
    short_mm: float
    radius_mm: float = 0.0
    thick_mm: float = 0.0
    plain: bool = False

    @classmethod
    def of(cls, kind: ReferenceKind, width_mm: float | None = None, height_mm: float | None = None) -> Target:
        """Return the target of a kind, with its measured size where there is one."""
        usual = {"id1_card": ID1_MM, "a4": A4_MM}.get(kind, (0.0, 0.0))
        sides = (width_mm or usual[0], height_mm or usual[1])
        if kind == "id1_card":
            return cls(kind=kind, long_mm=ID1_MM[0], short_mm=ID1_MM[1], radius_mm=ID1_RADIUS_MM, thick_mm=ID1_THICK_MM)
        return cls(kind=kind, long_mm=max(sides), short_mm=min(sides), plain=kind == "a4")

    def model_mm(self, corners_px: FloatArray) -> FloatArray:
        """Return the corners (4, 2) about the middle, y up, with the longer side along the longer one as seen."""
        edge = np.linalg.norm(np.roll(corners_px, -1, axis=0) - corners_px, axis=1)
        return self.model_of(bool(edge[[0, 2]].sum() >= edge[[1, 3]].sum()))

    def model_of(self, lying: bool) -> FloatArray:
        """Return the corners (4, 2) about the middle, y up, top left first, of the target lying or standing."""
        w, h = (self.long_mm, self.short_mm) if lying else (self.short_mm, self.long_mm)
        return 0.5 * np.array([[-w, h], [w, h], [w, -h], [-w, -h]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A quadrilateral judged as a target: ``reasons`` against it (none: it passes) and ``misfit``, lower is better.

    ``doubts`` are what keeps one that passes from setting the scale before a person has confirmed it.
    """

    corners_px: FloatArray
    sd_px: FloatArray
    model_mm: FloatArray
    reasons: tuple[str, ...]
    misfit: float
    inside: FloatArray
    darker: bool
    doubts: tuple[str, ...] = ()


def find_rectangles(
    picture: Picture, quads: Sequence[Quad], target: Target, view: PlaneView | None, *, count: int = 1
) -> list[Candidate]:
    """Return the candidates for a target in a picture, best first; those that fail come last and say why.

    Parameters
    ----------
    picture
        (h, w, 3) BGR or (h, w), upright, full resolution.
    quads
        Its four-sided patches (`vision.quads.find_quads`).
    target
        What to look for.
    view
        What is known of the wall's plane; without it only slants that no camera takes are ruled out.
    count
        How many of them are looked for.
    """
    # Where nothing tells the size, none of them will set the scale: the likeliest few are enough.
    sized = view is not None and view.strong
    likely = list(islice(_worth_a_look(picture, quads, target, view), _MOST_LOOKED_AT if sized else _MOST_WEIGHED))
    if view is not None and sized:
        likely += carried_on(quads, view, (target.long_mm, target.short_mm))[:_MOST_CARRIED_ON]
    else:
        size_px = (picture.shape[1], picture.shape[0])
        likely.sort(key=lambda q: _shape(q.corners_px, target, view, size_px, _first_slack(q.corners_px))[3])
    rough: list[_Rough] = []
    judged: list[Candidate] = []
    places: list[FloatArray] = []
    for quad in likely if sized else likely[:_MOST_LOOKED_AT_UNSIZED]:
        near = _nearer(picture, quad.corners_px, target, REACHES[:1])
        if not isinstance(near, str):
            if any(np.abs(p - near).max() < _SAME_PX for p in places):
                continue
            places.append(near)
        seen = _looked_at(picture, near, quad.corners_px, target, view, told=False)
        if isinstance(seen, Candidate):
            judged.append(seen)
        else:
            rough.append(seen)
    # Where nothing tells the size, what is too small to be told from other things comes last.
    rough.sort(key=lambda r: (not sized and longest_px(r.corners_px) < LEAST_LONG_PX, r.misfit))
    fitted: list[Candidate] = []
    for seen in rough[: _MOST_FITTED if sized else _MOST_FITTED_UNSIZED]:
        if not sized and sum(not c.reasons and not c.doubts and c.misfit <= seen.misfit for c in fitted) >= count:
            break  # the rest fit worse by their shape alone
        done = [c for c in fitted if not c.reasons and not (c.doubts and sized)]
        if any(_same_place(c.corners_px, seen.corners_px) for c in done):
            continue
        against = first_looks(picture, seen.corners_px, seen.model_mm, target.radius_mm, plain=target.plain)
        failed = _failed(seen.corners_px, target, *against)
        fitted.append(failed if against else _fitted(picture, seen, target, view))
    return _best_first(fitted + judged, doubts_last=not sized)


def _best_first(candidates: Sequence[Candidate], *, doubts_last: bool) -> list[Candidate]:
    """Return the candidates by merit without repeats of one place.

    Where none will set the scale, those that only lack a person's word come before those that look doubtful.
    """
    kept: list[Candidate] = []
    for c in sorted(candidates, key=lambda c: (len(c.reasons), doubts_last and bool(c.doubts), c.misfit)):
        if not any(_same_place(k.corners_px, c.corners_px) for k in kept):
            kept.append(c)
    return kept


def _same_place(a: FloatArray, b: FloatArray) -> bool:
    """Return whether two quadrilaterals have their middles within 15 % of a diagonal of each other."""
    return bool(np.linalg.norm(a.mean(axis=0) - b.mean(axis=0)) < 0.15 * np.linalg.norm(b[2] - b[0]))


def _worth_a_look(
    picture: Picture, quads: Sequence[Quad], target: Target, view: PlaneView | None
) -> Iterator[Quad]:  # fmt: skip
    """Yield the rough quadrilaterals that are near enough to the target to spend a fit on, in their order."""
    if view is None:
        for q in quads:
            pose = poses(q.corners_px, target.model_mm(q.corners_px), (picture.shape[1], picture.shape[0]))
            if any(tilt < _STEEPEST_DEG + 8 for _, tilt, _ in pose):
                yield q
        return
    if not quads:
        return
    corners = np.array([q.corners_px for q in quads])
    width, height, off = view.all_sides_mm(corners)
    area_ln, shape_ln = np.log(width * height), np.abs(np.log(width / height))
    ratio = shape_ln - np.log(target.long_mm / target.short_mm)
    size = 0.5 * (area_ln - np.log(target.long_mm * target.short_mm))
    slack = 0.10 + 3.0 / np.linalg.norm(corners[:, 0] - corners[:, 1], axis=1)
    worth = (np.abs(ratio) < 0.08 + slack) & (np.abs(size) < slack + 3.5 * view.scale_ln_sd) & (off < 14)
    yield from (q for q, near in zip(quads, worth, strict=True) if near)


def judge(
    picture: Picture, corners_px: FloatArray, target: Target, view: PlaneView | None, *, told: bool = False
) -> Candidate:
    """Return a rough quadrilateral fitted to the pixels and judged as a target; fitted in any case if a person told."""
    near = _nearer(picture, corners_px, target, REACHES[:1])
    seen = _looked_at(picture, near, corners_px, target, view, told=told)
    return seen if isinstance(seen, Candidate) else _fitted(picture, seen, target, view)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rough:
    """Corners (4, 2) on the steps of light beside a patch, side faces beyond its sides, px, and a misfit by shape."""

    corners_px: FloatArray
    model_mm: FloatArray
    lean_px: tuple[float, ...]
    misfit: float


def _nearer(picture: Picture, corners_px: FloatArray, target: Target, reaches: Sequence[float]) -> FloatArray | str:
    return near_quad(picture, corners_px, round_share=target.radius_mm / target.long_mm, reaches=reaches)


def _looked_at(
    picture: Picture, near: FloatArray | str, corners_px: FloatArray, target: Target, view: PlaneView | None, *,
    told: bool,
) -> _Rough | Candidate:  # fmt: skip
    """Return a patch's sides to half a pixel; most patches fall here, before anything is fitted."""
    if isinstance(near, str):
        return _failed(corners_px, target, near)
    size_px = (picture.shape[1], picture.shape[0])
    reasons = _shape(near, target, view, size_px, slack=_first_slack(near))[2]
    rough = near if reasons and not told else _nearer(picture, near, target, REACHES[1:])
    if isinstance(rough, str):
        return _failed(corners_px, target, rough)
    slack = _ROUGH_PX / _shortest(rough)
    model, pose, reasons, misfit = _shape(rough, target, view, size_px, slack=slack)
    if target.plain and not reasons and plainness(picture, rough, most_cells=_FEW_CELLS) < LEAST_PLAIN - 0.2:
        reasons = ["its face is not plain"]
    if reasons and not told:
        return _failed(rough, target, *reasons)
    lean = (0.0,) * 4 if pose is None else leans_on_wall(rough, pose, view, size_px)
    return _Rough(corners_px=rough, model_mm=model, lean_px=lean, misfit=misfit)


def _fitted(picture: Picture, seen: _Rough, target: Target, view: PlaneView | None) -> Candidate:
    """Return what was looked at fitted to the pixels and judged as a target."""
    rough, size_px = seen.corners_px, (picture.shape[1], picture.shape[0])
    share = target.radius_mm / target.long_mm
    px_per_mm = float(np.linalg.norm(rough[2] - rough[0]) / np.hypot(target.long_mm, target.short_mm))
    fitted = fit_quad(
        picture, rough, round_share=share, lean_px=seen.lean_px, px_per_mm=px_per_mm, thick_mm=target.thick_mm
    )
    if isinstance(fitted, str):
        return _failed(rough, target, fitted)
    corners = as_seen(fitted.corners_px)
    if not np.allclose(corners, fitted.corners_px):
        return _failed(rough, target, "its sides turned while they were fitted")
    known = 2.0 * float(fitted.sd_px.max()) / _shortest(corners)
    model, _, reasons, misfit = _shape(corners, target, view, size_px, slack=min(known, 0.06))
    more, cost, doubts = looks(picture, fitted, model, target.radius_mm, plain=target.plain)
    blown_out = _blown_out(picture, corners)
    cost += _BLOWN_OUT_COST * blown_out
    inside = np.median([s.inside for s in fitted.sides], axis=0)
    outside = np.median([s.outside for s in fitted.sides], axis=0)
    return Candidate(
        corners_px=corners,
        sd_px=np.hypot(fitted.sd_px, _BLOWN_OUT_SD_PX * blown_out),
        model_mm=model,
        reasons=tuple(reasons + more),
        misfit=misfit + cost,
        inside=inside,
        darker=bool(inside.sum() < outside.sum()),
        doubts=tuple(doubts),
    )


def _blown_out(picture: Picture, corners: FloatArray) -> bool:
    """Return whether most of a quadrilateral's middle is at the picture's upper limit."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    x0, y0, x1, y1 = np.round(np.concatenate([0.7 * low + 0.3 * high, 0.3 * low + 0.7 * high])).astype(int)
    return bool(np.median(picture[max(y0, 0) : y1 + 1, max(x0, 0) : x1 + 1]) >= 252)


def _first_slack(corners: FloatArray) -> float:
    return 1.5 * _ROUGH_PX / _shortest(corners)


def _shortest(corners: FloatArray) -> float:
    return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).min())


def _failed(corners_px: FloatArray, target: Target, *reasons: str) -> Candidate:
    nothing = np.zeros(3)
    return Candidate(
        corners_px=corners_px, sd_px=np.full(4, np.inf), model_mm=target.model_mm(corners_px), reasons=reasons,
        misfit=np.inf, inside=nothing, darker=False,
    )  # fmt: skip


def _shape(
    corners: FloatArray, target: Target, view: PlaneView | None, size_px: tuple[int, int], slack: float = 0.0
) -> tuple[FloatArray, FloatArray | None, list[str], float]:
    """Return the model as it lies, the camera pose used for its thickness, reasons against its shape, and a misfit."""
    reasons: list[str] = []
    if view is None:
        model, pose, misfit = _freest_pose(corners, target, size_px, slack)
        if pose is None:
            reasons.append(f"no usual camera angle makes it a rectangle of {target.long_mm / target.short_mm:.2f} to 1")
        return model, pose, reasons, misfit
    width, height, off = view.sides_mm(corners)
    model = target.model_of(width >= height)
    long, short = max(width, height), min(width, height)
    ratio = np.log(long / short) - np.log(target.long_mm / target.short_mm)
    size = 0.5 * np.log(width * height / (target.long_mm * target.short_mm))
    if abs(ratio) > _ASPECT_LN_TOL + slack:
        reasons.append(f"its sides are {long / short:.2f} to 1, not {target.long_mm / target.short_mm:.2f}")
    if abs(size) > max(0.08, 2.5 * view.scale_ln_sd) + slack:
        reasons.append(f"it is about {long:.0f} mm long by {view.source}, not {target.long_mm:.0f}")
    if off > _SQUARE_TOL_DEG + np.degrees(slack):
        reasons.append(f"its corners are {off:.0f}° off square")
    misfit = (ratio / 0.02) ** 2 + (size / view.scale_ln_sd) ** 2 + (off / 1.5) ** 2
    found = poses(corners, model, size_px)
    towards = normal_of_view(view, size_px)
    pose = max(found, key=lambda p: float(p[2] @ towards))[0] if found else None
    return model, pose, reasons, float(misfit)


def _freest_pose(
    corners: FloatArray, target: Target, size_px: tuple[int, int], slack: float
) -> tuple[FloatArray, FloatArray | None, float]:
    """Return the model, lying or standing, and the pose that explains the corners with the most usual slant.

    Walls are upright and phones are held level, give or take; sideways a wall may be seen slanting.
    """
    best: tuple[FloatArray, FloatArray | None, float] = (target.model_mm(corners), None, np.inf)
    allowed = 0.25 + (0.004 + 0.5 * slack) * float(np.linalg.norm(corners[2] - corners[0]))
    for lying in (True, False):
        model = target.model_of(lying)
        for pose, tilt, normal in poses(corners, model, size_px):
            pitch = math.degrees(math.asin(min(abs(float(normal[1])), 1.0)))
            if tilt >= _STEEPEST_DEG or pitch >= _MOST_PITCH_DEG + math.degrees(slack):
                continue
            error = reprojection_px(pose, model, corners, size_px)
            misfit = (error / allowed) ** 2 + (tilt / 25) ** 2 + (pitch / 9) ** 2
            if error < 3 * allowed and misfit < best[2]:
                best = (model, pose, misfit)
    return best


def with_hand_marks(
    picture: Picture, corners_px: FloatArray, target: Target, view: PlaneView | None, sd_px: float
) -> Candidate:
    """Return the rectangle whose corners a person marked, refined where the pixels agree with the marks."""
    judged = judge(picture, as_seen(corners_px), target, view, told=True)
    moved = np.abs(judged.corners_px - as_seen(corners_px)).max()
    if moved <= max(6.0, 4 * sd_px) and judged.sd_px.max() < 0.5 * sd_px:
        return replace(judged, reasons=())
    kept = _failed(as_seen(corners_px), target, "its sides could not be fitted; the marks stand as they were pressed")
    return replace(kept, sd_px=np.full(4, sd_px))
