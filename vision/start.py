"""The first guess: poses and places from the data alone, before the joint solution.

One photo anchors the wall: best a rectangle with its vanishing points (wall or opening) and a reference for scale; else
a reference alone, with both poses that a plane allows. Every other photo is then placed by the points that it shares.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from vision.lens import Lens, normalised
from vision.pose import Pose, homography, on_plane, planar_poses, pose_from_homography
from vision.walls import CORNERS, DeclaredReference, FloatArray, Mark, Photo, Sighting

UNIT_SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
AMBIGUOUS = 3.0  # a second pose whose error is within this factor of the best is kept as another start


@dataclass(slots=True, kw_only=True)
class View:
    """What one photo shows of the wall's plane, in ideal image coordinates of the prior lens."""

    photo: Photo
    points: dict[str, FloatArray] = field(default_factory=dict)  # "quad/corner" -> (2,)
    backs: dict[str, FloatArray] = field(default_factory=dict)  # "w1/corner" at the frame -> (2,)
    references: dict[str, tuple[FloatArray, FloatArray]] = field(default_factory=dict)  # id -> model mm, ideal

    def quads(self) -> list[str]:
        """Return the rectangles all of whose corners are marked here, the wall first."""
        names = sorted({name.split("/")[0] for name in self.points}, key=lambda q: (q != "wall", q))
        return [q for q in names if all(f"{q}/{c}" in self.points for c in CORNERS)]


@dataclass(slots=True, kw_only=True)
class Guess:
    """A first value of everything: poses by photo, corners, placed references (x, y, turn), reveal depths."""

    poses: dict[str, Pose] = field(default_factory=dict)
    corners: dict[str, FloatArray] = field(default_factory=dict)
    references: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    depths: dict[str, float] = field(default_factory=dict)
    others: dict[str, list[Pose]] = field(default_factory=dict)  # further poses that a photo's known points allow
    unplaced: tuple[str, ...] = ()
    scaled: bool = True


def prior_lens(photo: Photo) -> Lens:
    """Return the lens that the photo's prior names: no distortion, centred."""
    return Lens(focal_px=photo.focal_px, cx_px=(photo.width_px - 1) / 2, cy_px=(photo.height_px - 1) / 2)


def mark_place(mark: Mark) -> str | None:
    """Return the name ``quad/corner`` of a marked place on the wall's plane, or None for others."""
    if mark.reference is not None or mark.point not in CORNERS:
        return None
    if mark.feature is not None:
        return f"{mark.feature}/{mark.point}"
    if mark.opening is not None:
        return f"{mark.opening}/{mark.point}" if mark.face != "frame" else None
    return f"wall/{mark.point}"


def views(
    photos: Sequence[Photo], marks: Sequence[Mark], sightings: Sequence[Sighting],
    references: Mapping[str, DeclaredReference],
) -> list[View]:  # fmt: skip
    """Return what each photo shows, photos that show nothing of the wall left out."""
    out = []
    for photo in photos:
        view = View(photo=photo)
        lens = prior_lens(photo)
        for mark in (m for m in marks if m.photo == photo.file):
            ideal = normalised(np.array([mark.px], dtype=float), lens)[0]
            place = mark_place(mark)
            if place is not None:
                view.points[place] = ideal
            elif mark.opening is not None and mark.face == "frame" and mark.point in CORNERS:
                view.backs[f"{mark.opening}/{mark.point}"] = ideal
        for seen in (s for s in sightings if s.photo == photo.file and s.reference in references):
            model = seen.model_mm * references[seen.reference].scale
            view.references[seen.reference] = (model, normalised(seen.points_px, lens))
        if view.points or view.references:
            out.append(view)
    return out


def similarity(source: FloatArray, target: FloatArray) -> tuple[float, float, FloatArray]:
    """Return scale, turn [rad] and shift (2,) that best take plane points (n, 2) to others (least squares)."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    za, zb = a[:, 0] + 1j * a[:, 1], b[:, 0] + 1j * b[:, 1]
    factor = np.sum(np.conj(za) * zb) / np.sum(np.abs(za) ** 2)
    scale, turn = float(np.abs(factor)), float(np.angle(factor))
    c, s = np.cos(turn), np.sin(turn)
    shift = target.mean(axis=0) - scale * np.array([[c, -s], [s, c]]) @ source.mean(axis=0)
    return scale, turn, shift


def _quad_pose(view: View, quad: str) -> Pose:
    ideal = np.array([view.points[f"{quad}/{c}"] for c in CORNERS])
    return pose_from_homography(homography(UNIT_SQUARE, ideal), known_scale=False)[0]


def _scale_from_references(view: View, pose: Pose) -> float | None:
    """Return the millimetres of one plane unit by the references seen, the largest counting most."""
    scales, weights = [], []
    for model, ideal in view.references.values():
        found = on_plane(ideal, pose)
        scale, _, _ = similarity(found, model)
        scales.append(np.log(scale))
        weights.append(np.var(model) * len(model))
    return float(np.exp(np.average(scales, weights=weights))) if scales else None


def _scale_from_tape(view: View, pose: Pose, taped: Mapping[str, float]) -> float | None:
    pairs = {"width_mm": ("bottom_left", "bottom_right"), "height_mm": ("bottom_left", "top_left")}
    for key, value in taped.items():
        thing, _, size = key.rpartition(".")
        quad = thing.removeprefix("openings.") or "wall"
        if size not in pairs:
            continue
        names = [f"{quad}/{c}" for c in pairs[size]]
        if all(n in view.points for n in names):
            ends = on_plane(np.array([view.points[n] for n in names]), pose)
            return float(value / np.linalg.norm(ends[1] - ends[0]))
    return None


def _anchor_poses(view: View, taped: Mapping[str, float]) -> tuple[int, list[Pose], bool]:
    """Return how good an anchor this photo is (0 best), its poses in mm, and whether a scale was known."""
    for quad in view.quads():
        pose = _quad_pose(view, quad)
        scale = _scale_from_references(view, pose) or _scale_from_tape(view, pose, taped)
        rank = 0 if quad == "wall" else 1
        if scale is not None:
            return rank, [Pose(rotation=pose.rotation, translation_mm=pose.translation_mm * scale)], True
        return 4, [Pose(rotation=pose.rotation, translation_mm=pose.translation_mm * 3000.0)], False
    if view.references:
        model, ideal = max(view.references.values(), key=lambda item: float(np.var(item[0])) * len(item[0]))
        return 2, [pose for pose, _ in planar_poses(model, ideal)], True
    return 9, [], False


def _level(corners: dict[str, FloatArray]) -> float:
    """Return the turn of the wall's axes in the anchor's plane by the edges that are known, else 0."""
    turns = []
    for quad in sorted({name.split("/")[0] for name in corners}):  # in order: a sum must not hang on it
        for a, b, offset in (
            ("bottom_left", "bottom_right", 0.0), ("top_left", "top_right", 0.0),
            ("bottom_left", "top_left", np.pi / 2), ("bottom_right", "top_right", np.pi / 2),
        ):  # fmt: skip
            if f"{quad}/{a}" in corners and f"{quad}/{b}" in corners:
                d = corners[f"{quad}/{b}"] - corners[f"{quad}/{a}"]
                turns.append((np.linalg.norm(d), np.arctan2(d[1], d[0]) - offset))
    if not turns:
        return 0.0
    z = sum(length * np.exp(1j * turn) for length, turn in turns)
    return float(np.angle(z))


def _add_places(guess: Guess, view: View, pose: Pose) -> None:
    for name, ideal in view.points.items():
        if name not in guess.corners:
            guess.corners[name] = on_plane(ideal[None], pose)[0]
    for ref, (model, ideal) in view.references.items():
        if ref not in guess.references:
            _, turn, shift = similarity(model, on_plane(ideal, pose))
            guess.references[ref] = (float(shift[0]), float(shift[1]), turn)


def _move_frame(guess: Guess, turn: float, shift: FloatArray) -> None:
    """Turn the wall frame by -turn about the origin, then shift it, everything in the guess along with it."""
    c, s = np.cos(turn), np.sin(turn)
    R = np.array([[c, s], [-s, c]])
    for name, xy in guess.corners.items():
        guess.corners[name] = R @ xy + shift
    for ref, (x, y, angle) in guess.references.items():
        moved = R @ np.array([x, y]) + shift
        guess.references[ref] = (float(moved[0]), float(moved[1]), angle - turn)
    R3 = np.eye(3)
    R3[:2, :2] = R

    def moved_pose(pose: Pose) -> Pose:
        rotation = pose.rotation @ R3.T
        return Pose(
            rotation=rotation, translation_mm=pose.translation_mm - rotation @ np.array([shift[0], shift[1], 0.0])
        )

    guess.poses = {file: moved_pose(pose) for file, pose in guess.poses.items()}
    guess.others = {file: [moved_pose(p) for p in poses] for file, poses in guess.others.items()}


def _known(guess: Guess, view: View) -> tuple[FloatArray, FloatArray]:
    """Return plane points (n, 2) [mm] known so far that this photo shows, with their ideal coordinates (n, 2)."""
    plane, ideal = [], []
    for name, xy in view.points.items():
        if name in guess.corners:
            plane.append(guess.corners[name])
            ideal.append(xy)
    for ref, (model, seen) in view.references.items():
        if ref in guess.references:
            x, y, turn = guess.references[ref]
            c, s = np.cos(turn), np.sin(turn)
            plane.extend(model @ np.array([[c, s], [-s, c]]) + np.array([x, y]))
            ideal.extend(seen)
    return np.array(plane).reshape(-1, 2), np.array(ideal).reshape(-1, 2)


def _translation(rotation: FloatArray, plane: FloatArray, ideal: FloatArray) -> FloatArray:
    """Return the translation that best explains ideal points given the rotation (linear least squares)."""
    turned = plane @ rotation[:, :2].T
    rows = np.zeros((2 * len(plane), 3))
    rows[0::2, 0], rows[0::2, 2] = 1.0, -ideal[:, 0]
    rows[1::2, 1], rows[1::2, 2] = 1.0, -ideal[:, 1]
    right = np.empty(2 * len(plane))
    right[0::2] = ideal[:, 0] * turned[:, 2] - turned[:, 0]
    right[1::2] = ideal[:, 1] * turned[:, 2] - turned[:, 1]
    return np.asarray(np.linalg.lstsq(rows, right, rcond=None)[0])


def _misfit(pose: Pose, plane: FloatArray, ideal: FloatArray) -> float:
    camera = pose.camera(np.column_stack([plane, np.zeros(len(plane))]))
    if np.any(camera[:, 2] <= 0):
        return np.inf
    return float(np.sqrt(np.mean((camera[:, :2] / camera[:, 2:] - ideal) ** 2)))


def place_photo(guess: Guess, view: View) -> list[tuple[Pose, float]]:
    """Return poses of a photo by the points it shares with the guess, best first, with their misfit."""
    plane, ideal = _known(guess, view)
    if len(plane) < 4:
        return []
    candidates = [pose for pose, _ in planar_poses(plane, ideal)]
    for quad in view.quads():
        rotation = _quad_pose(view, quad).rotation
        candidates.append(Pose(rotation=rotation, translation_mm=_translation(rotation, plane, ideal)))
    scored = sorted(((pose, _misfit(pose, plane, ideal)) for pose in candidates), key=lambda item: item[1])
    return [(pose, error) for pose, error in scored if np.isfinite(error)]


def _reveal_depths(guess: Guess, all_views: Sequence[View]) -> None:
    """Fill the depth of each opening with marked back corners: the depth on a grid that explains them best."""
    grid = np.geomspace(15.0, 800.0, 60)
    cost: dict[str, FloatArray] = {}
    for view in all_views:
        pose = guess.poses.get(view.photo.file)
        if pose is None:
            continue
        for name, ideal in view.backs.items():
            front = guess.corners.get(name)
            if front is None:
                continue
            points = np.column_stack([np.tile(front, (len(grid), 1)), -grid])
            camera = pose.camera(points)
            error = np.sum((camera[:, :2] / camera[:, 2:] - ideal) ** 2, axis=1)
            opening = name.split("/")[0]
            cost[opening] = cost.get(opening, np.zeros(len(grid))) + error
    for opening, total in cost.items():
        guess.depths[opening] = float(grid[int(np.argmin(total))])


def complete_wall(corners: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Return the corners with the wall's missing ones filled from a rectangle (4 m x 2.4 m where nothing is known)."""
    out = {name: np.asarray(xy, dtype=float) for name, xy in corners.items()}
    wall = {c: out[f"wall/{c}"] for c in CORNERS if f"wall/{c}" in out}
    others = np.array([xy for name, xy in out.items() if not name.startswith("wall/")]).reshape(-1, 2)
    low, high = (others.min(axis=0), others.max(axis=0)) if len(others) else (np.zeros(2), np.zeros(2))

    def known(names: tuple[str, str], axis: int) -> float | None:
        values = [wall[c][axis] for c in names if c in wall]
        return float(np.mean(values)) if values else None

    left, right = known(("bottom_left", "top_left"), 0), known(("bottom_right", "top_right"), 0)
    bottom, top = known(("bottom_left", "bottom_right"), 1), known(("top_left", "top_right"), 1)
    if left is None:
        left = right - 4000.0 if right is not None else min(0.0, float(low[0]) - 500.0)
    if right is None:
        right = max(left + 4000.0, float(high[0]) + 500.0)
    if bottom is None:
        bottom = top - 2400.0 if top is not None else min(0.0, float(low[1]) - 800.0)
    if top is None:
        top = max(bottom + 2400.0, float(high[1]) + 300.0)
    full = {
        "bottom_left": (left, bottom), "bottom_right": (right, bottom),
        "top_right": (right, top), "top_left": (left, top),
    }  # fmt: skip
    for c in CORNERS:
        out.setdefault(f"wall/{c}", np.array(full[c]))
    return out


def first_guesses(all_views: Sequence[View], taped: Mapping[str, float]) -> list[Guess]:
    """Return one or more first guesses, the most likely first.

    Parameters
    ----------
    all_views
        What each photo shows of the wall.
    taped
        Lengths by result key [mm], which give the scale where no reference does.
    """
    if not all_views:
        return []
    ranked = sorted(
        ((*_anchor_poses(view, taped), view) for view in all_views), key=lambda item: (item[0], -len(item[3].points))
    )
    _, poses, scaled, anchor = ranked[0]
    if not poses:
        return []
    guesses = []
    for pose in poses:
        guess = Guess(scaled=scaled)
        guess.poses[anchor.photo.file] = pose
        _add_places(guess, anchor, pose)
        _move_frame(guess, _level(guess.corners), np.zeros(2))
        waiting = [v for v in all_views if v is not anchor]
        while waiting:
            options = [(place_photo(guess, v), v) for v in waiting]
            options = [(o, v) for o, v in options if o]
            if not options:
                break
            found, view = max(options, key=lambda item: len(_known(guess, item[1])[0]) / (1e-4 + item[0][0][1]))
            guess.poses[view.photo.file] = found[0][0]
            rivals = [pose for pose, error in found[1:] if error < AMBIGUOUS * found[0][1]]
            if rivals:
                guess.others[view.photo.file] = rivals
            _add_places(guess, view, found[0][0])
            waiting.remove(view)
        guess.unplaced = tuple(v.photo.file for v in waiting)
        _move_frame(guess, 0.0, -complete_wall(guess.corners)["wall/bottom_left"])
        _reveal_depths(guess, all_views)
        guesses.append(guess)
    return guesses
