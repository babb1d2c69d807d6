"""The unknowns of one wall, where its points are in space, and how they fall on the photos.

Unknowns live in one vector, in named blocks (``Layout``). Rotations are kept beside it and changed by a small left
rotation, so that their three entries in the vector are always zero between steps. Places on the wall come in three
families: points of quadrilaterals (corners, and points along their edges), points at the back of a reveal, and points
of references. Each family gives its points and their derivatives by the vector in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vision.lens import Lens, projection_jacobians
from vision.pose import Pose, rotation_exp, skew
from vision.walls import FloatArray, Photo

IntArray = NDArray[np.int64]

EDGES = {
    "bottom": ("bottom_left", "bottom_right"),
    "right": ("bottom_right", "top_right"),
    "top": ("top_left", "top_right"),
    "left": ("bottom_left", "top_left"),
}
EDGE_NAMES = tuple(EDGES)
LENS_SIZE, PHOTO_SIZE, REVEAL_SIZE, REFERENCE_SIZE = 5, 9, 15, 8


class Layout:
    """Names for the parts of the vector of unknowns: ``layout["lens:phone"]`` is a slice."""

    def __init__(self) -> None:
        self.blocks: dict[str, slice] = {}
        self.size = 0

    def add(self, name: str, length: int) -> slice:
        """Append a block and return its slice; a block that is there already is returned as it is."""
        if name not in self.blocks:
            self.blocks[name] = slice(self.size, self.size + length)
            self.size += length
        return self.blocks[name]

    def __getitem__(self, name: str) -> slice:
        return self.blocks[name]

    def __contains__(self, name: str) -> bool:
        return name in self.blocks


@dataclass(slots=True)
class State:
    """One value of all unknowns: the vector, and one rotation per photo."""

    vector: FloatArray
    rotations: FloatArray  # (photos, 3, 3)


@dataclass(slots=True, kw_only=True)
class Places:
    """World points to be evaluated together; families are concatenated in the order quads, backs, references."""

    # quadrilateral points: between corner columns a and b (-1 is the fixed origin) at share s, with bow and proud
    quad_a: list[int] = field(default_factory=list)
    quad_b: list[int] = field(default_factory=list)
    quad_share: list[float] = field(default_factory=list)
    quad_bow: list[int] = field(default_factory=list)  # column of the edge's bow, -1 for none
    quad_normal: list[tuple[float, float]] = field(default_factory=list)
    quad_proud: list[float] = field(default_factory=list)
    # back points: share s between back corners a and b of one opening
    back_reveal: list[int] = field(default_factory=list)  # first column of the reveal block
    back_corner: list[tuple[int, int]] = field(default_factory=list)  # corner numbers 0..3
    back_front: list[tuple[int, int]] = field(default_factory=list)  # front corner columns
    back_share: list[float] = field(default_factory=list)
    back_middle: list[tuple[float, float]] = field(default_factory=list)
    # reference points
    ref_block: list[int] = field(default_factory=list)
    ref_model: list[tuple[float, float]] = field(default_factory=list)
    ref_standoff: list[float] = field(default_factory=list)

    def freeze(self) -> None:
        """Turn the lists into arrays once, when no more points will be added."""
        for name in self.__slots__:
            setattr(self, name, np.asarray(getattr(self, name)))

    @property
    def count(self) -> int:
        """Return how many points there are."""
        return len(self.quad_a) + len(self.back_reveal) + len(self.ref_block)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """The wall's gentle out-of-plane shape: ``z = b_x u^2 + b_y v^2 + t u v``, u and v from -1 to 1 about its middle.

    Anchored at the middle: there ``z = 0`` whatever the three unknowns are.
    """

    block: slice
    middle_mm: tuple[float, float]
    half_mm: tuple[float, float]

    def height(self, xy: FloatArray, vector: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return z (n,), its slope (n, 2), its derivative by the three unknowns (n, 3), and by slope (n, 2, 3)."""
        half = np.array(self.half_mm)
        uv = (xy - np.array(self.middle_mm)) / half
        basis = np.column_stack([uv[:, 0] ** 2, uv[:, 1] ** 2, uv[:, 0] * uv[:, 1]])
        slopes = np.zeros((len(xy), 2, 3))
        slopes[:, 0, 0] = 2.0 * uv[:, 0] / half[0]
        slopes[:, 1, 1] = 2.0 * uv[:, 1] / half[1]
        slopes[:, 0, 2] = uv[:, 1] / half[0]
        slopes[:, 1, 2] = uv[:, 0] / half[1]
        values = vector[self.block]
        return basis @ values, slopes @ values, basis, slopes


_X_SLOPE = np.array([1, 2, 2, 1])  # column in the reveal block of the side face a corner lies on: left 1, right 2
_Y_SLOPE = np.array([3, 3, 4, 4])  # bottom 3, top 4


def world_points(places: Places, vector: FloatArray, surface: Surface) -> tuple[FloatArray, FloatArray]:
    """Return the points (n, 3) in the wall frame [mm] and their derivatives by the vector (n, 3, unknowns)."""
    parts = [
        family(places, vector, surface)
        for family, there in (
            (_quad_points, len(places.quad_a)), (_back_points, len(places.back_reveal)),
            (_reference_points, len(places.ref_block)),
        ) if there
    ]  # fmt: skip
    if not parts:
        return np.zeros((0, 3)), np.zeros((0, 3, len(vector)))
    return np.concatenate([p for p, _ in parts]), np.concatenate([d for _, d in parts])


def _corner(vector: FloatArray, columns: IntArray) -> FloatArray:
    safe = np.maximum(columns, 0)
    xy = np.stack([vector[safe], vector[safe + 1]], axis=1)
    return np.asarray(np.where((columns >= 0)[:, None], xy, 0.0))


def _add_corner(D: FloatArray, columns: IntArray, weight: FloatArray) -> None:
    """Add weight * d(x, y)/d(corner) at the corner's two columns; the fixed origin adds nothing."""
    rows = np.nonzero(columns >= 0)[0]
    D[rows, 0, columns[rows]] += weight[rows]
    D[rows, 1, columns[rows] + 1] += weight[rows]


def _lift(D: FloatArray, xy: FloatArray, vector: FloatArray, surface: Surface) -> FloatArray:
    """Return z on the surface at xy, and put its derivatives in row 2 of D from rows 0 and 1."""
    z, slope, basis, _ = surface.height(xy, vector)
    D[:, 2, :] = slope[:, :1] * D[:, 0, :] + slope[:, 1:] * D[:, 1, :]
    D[:, 2, surface.block] += basis
    return z


def _quad_points(places: Places, vector: FloatArray, surface: Surface) -> tuple[FloatArray, FloatArray]:
    a, b = np.asarray(places.quad_a), np.asarray(places.quad_b)
    share = np.asarray(places.quad_share)
    bow = np.asarray(places.quad_bow)
    normal = np.asarray(places.quad_normal)
    arch = 4.0 * share * (1.0 - share)
    D = np.zeros((len(a), 3, len(vector)))
    xy = (1.0 - share)[:, None] * _corner(vector, a) + share[:, None] * _corner(vector, b)
    _add_corner(D, a, 1.0 - share)
    _add_corner(D, b, share)
    bowed = np.nonzero(bow >= 0)[0]
    xy[bowed] += (vector[bow[bowed]] * arch[bowed])[:, None] * normal[bowed]
    D[bowed, 0, bow[bowed]] += arch[bowed] * normal[bowed, 0]
    D[bowed, 1, bow[bowed]] += arch[bowed] * normal[bowed, 1]
    z = _lift(D, xy, vector, surface) + np.asarray(places.quad_proud)
    return np.column_stack([xy, z]), D


def _back_corner(
    block: IntArray, corner: IntArray, front: IntArray, middle: FloatArray, vector: FloatArray, surface: Surface
) -> tuple[FloatArray, FloatArray]:
    n = len(block)
    rows = np.arange(n)
    depth = vector[block]
    xs, ys = block + _X_SLOPE[corner], block + _Y_SLOPE[corner]
    warp_x, warp_y = block + 7 + 2 * corner, block + 8 + 2 * corner
    front_xy = _corner(vector, front)
    D = np.zeros((n, 3, len(vector)))
    _add_corner(D, front, np.ones(n))
    z = _lift(D, front_xy, vector, surface)
    arm = front_xy - middle
    z = z - depth - vector[block + 5] * arm[:, 0] - vector[block + 6] * arm[:, 1]
    held = np.nonzero(front >= 0)[0]
    D[held, 2, front[held]] -= vector[block[held] + 5]
    D[held, 2, front[held] + 1] -= vector[block[held] + 6]
    D[rows, 2, block] -= 1.0
    D[rows, 2, block + 5] -= arm[:, 0]
    D[rows, 2, block + 6] -= arm[:, 1]
    x = front_xy[:, 0] + depth * vector[xs] + vector[warp_x]
    y = front_xy[:, 1] + depth * vector[ys] + vector[warp_y]
    D[rows, 0, block] += vector[xs]
    D[rows, 1, block] += vector[ys]
    D[rows, 0, xs] += depth
    D[rows, 1, ys] += depth
    D[rows, 0, warp_x] += 1.0
    D[rows, 1, warp_y] += 1.0
    return np.column_stack([x, y, z]), D


def _back_points(places: Places, vector: FloatArray, surface: Surface) -> tuple[FloatArray, FloatArray]:
    block = np.asarray(places.back_reveal)
    corners, fronts = np.asarray(places.back_corner), np.asarray(places.back_front)
    middle = np.asarray(places.back_middle)
    share = np.asarray(places.back_share)[:, None]
    p, P = _back_corner(block, corners[:, 0], fronts[:, 0], middle, vector, surface)
    if not np.any(share):
        return p, P
    q, Q = _back_corner(block, corners[:, 1], fronts[:, 1], middle, vector, surface)
    return (1.0 - share) * p + share * q, (1.0 - share)[:, :, None] * P + share[:, :, None] * Q


def _reference_points(places: Places, vector: FloatArray, surface: Surface) -> tuple[FloatArray, FloatArray]:
    block = np.asarray(places.ref_block)
    model = np.asarray(places.ref_model)
    rows = np.arange(len(block))
    cosine, sine = np.cos(vector[block + 2]), np.sin(vector[block + 2])
    mx, my = model[:, 0] * np.exp(vector[block + 6]), model[:, 1] * np.exp(vector[block + 7])
    dx, dy = cosine * mx - sine * my, sine * mx + cosine * my
    centre = np.stack([vector[block], vector[block + 1]], axis=1)
    z, slope, basis, slopes = surface.height(centre, vector)
    gradient = slope + np.stack([vector[block + 3], vector[block + 4]], axis=1)
    D = np.zeros((len(block), 3, len(vector)))
    D[rows, 0, block] = D[rows, 1, block + 1] = 1.0
    D[rows, 0, block + 2], D[rows, 1, block + 2] = -dy, dx
    D[rows, 0, block + 6], D[rows, 1, block + 6] = cosine * mx, sine * mx
    D[rows, 0, block + 7], D[rows, 1, block + 7] = -sine * my, cosine * my
    D[:, 2, :] = gradient[:, :1] * D[:, 0, :] + gradient[:, 1:] * D[:, 1, :]
    # z at the middle uses the surface's slope, not the reference's; the curvature of the surface moves the slope along
    D[rows, 2, block] = slope[:, 0]
    D[rows, 2, block + 1] = slope[:, 1]
    bend = vector[surface.block]
    half = surface.half_mm
    D[rows, 2, block] += 2.0 * bend[0] / half[0] ** 2 * dx + bend[2] / (half[0] * half[1]) * dy
    D[rows, 2, block + 1] += 2.0 * bend[1] / half[1] ** 2 * dy + bend[2] / (half[0] * half[1]) * dx
    D[:, 2, surface.block] += basis + slopes[:, 0] * dx[:, None] + slopes[:, 1] * dy[:, None]
    D[rows, 2, block + 3], D[rows, 2, block + 4] = dx, dy
    D[rows, 2, block + 5] = 1.0
    height = z + gradient[:, 0] * dx + gradient[:, 1] * dy + np.asarray(places.ref_standoff) + vector[block + 5]
    return np.column_stack([centre[:, 0] + dx, centre[:, 1] + dy, height]), D


@dataclass(frozen=True, slots=True, kw_only=True)
class Cameras:
    """Where the photos' unknowns are in the vector, and the lens priors they are offsets from."""

    photos: tuple[Photo, ...]
    lens_block: IntArray  # (photos,) first column of the phone's lens block
    photo_block: IntArray  # (photos,) first column of the photo's block
    turn: FloatArray  # (photos, 2, 2) from the sensor's offset of the principal point to the upright picture's

    @classmethod
    def of(cls, photos: tuple[Photo, ...], layout: Layout) -> Cameras:
        """Return the cameras of the photos, adding their blocks to the layout."""
        lens = [layout.add(f"lens:{p.phone}", LENS_SIZE).start for p in photos]
        own = [layout.add(f"photo:{p.file}", PHOTO_SIZE).start for p in photos]
        clockwise = np.array([[0.0, -1.0], [1.0, 0.0]])  # a quarter turn clockwise of a picture with y down
        turns = [np.linalg.matrix_power(clockwise, (p.turn or 0) % 4) for p in photos]
        return cls(
            photos=photos, lens_block=np.array(lens), photo_block=np.array(own),
            turn=np.array(turns).reshape(-1, 2, 2),
        )  # fmt: skip

    def index(self, file: str) -> int:
        """Return the number of the photo with this file name."""
        return next(i for i, p in enumerate(self.photos) if p.file == file)

    def lens(self, vector: FloatArray, i: int) -> Lens:
        """Return the lens of photo i."""
        focal, centre, k1, k2 = self._intrinsics(vector, np.array([i]))
        return Lens(
            focal_px=float(focal[0]), cx_px=float(centre[0, 0]), cy_px=float(centre[0, 1]),
            k1=float(k1[0]), k2=float(k2[0]),
        )  # fmt: skip

    def pose(self, state: State, i: int) -> Pose:
        """Return ``pose_camera_wall`` of photo i."""
        start = self.photo_block[i] + 6
        return Pose(rotation=state.rotations[i], translation_mm=state.vector[start : start + 3].copy())

    def _intrinsics(self, vector: FloatArray, which: IntArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        lens, own = self.lens_block[which], self.photo_block[which]
        focal0 = np.array([p.focal_px for p in self.photos])[which]
        middle = np.array([((p.width_px - 1) / 2, (p.height_px - 1) / 2) for p in self.photos])[which]
        focal = focal0 * np.exp(vector[lens] + vector[own])
        shared = np.stack([vector[lens + 1], vector[lens + 2]], axis=1)
        centre = middle + np.einsum("nij,nj->ni", self.turn[which], shared)
        centre = centre + np.stack([vector[own + 1], vector[own + 2]], axis=1)
        return focal, centre, vector[lens + 3], vector[lens + 4]

    def project(
        self, state: State, which: IntArray, points: FloatArray, D: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return pixels (n, 2) of wall points (n, 3) in photos ``which`` (n,), and derivatives (n, 2, unknowns)."""
        vector = state.vector
        own, lens = self.photo_block[which], self.lens_block[which]
        R = state.rotations[which]
        turned = np.einsum("nij,nj->ni", R, points)
        camera = turned + np.stack([vector[own + 6], vector[own + 7], vector[own + 8]], axis=1)
        focal, centre, k1, k2 = self._intrinsics(vector, which)
        pixels, by_point, by_lens = projection_jacobians(camera, focal, centre, k1, k2)
        J = np.matmul(np.matmul(by_point, R), D)
        rows = np.arange(len(which))
        by_rotation = -np.matmul(by_point, skew(turned))
        by_centre = np.einsum("nij,njk->nik", by_lens[:, :, 1:3], self.turn[which])
        for k in range(3):
            J[rows, :, own + 3 + k] += by_rotation[:, :, k]
            J[rows, :, own + 6 + k] += by_point[:, :, k]
        J[rows, :, lens] += by_lens[:, :, 0]
        J[rows, :, own] += by_lens[:, :, 0]
        for k in range(2):
            J[rows, :, lens + 1 + k] += by_centre[:, :, k]
            J[rows, :, own + 1 + k] += by_lens[:, :, 1 + k]
            J[rows, :, lens + 3 + k] += by_lens[:, :, 3 + k]
        return pixels, J

    def retract(self, state: State, step: FloatArray) -> State:
        """Return the state moved by a step: the vector added, the rotations turned."""
        vector = state.vector + step
        rotations = state.rotations.copy()
        for i, start in enumerate(self.photo_block):
            rotations[i] = rotation_exp(step[start + 3 : start + 6]) @ rotations[i]
            vector[start + 3 : start + 6] = 0.0
        return State(vector=vector, rotations=rotations)
