"""Triangles for the renderer: quads, boxes, extrusions and turned shapes, gathered by material and written as PLY."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class Model:
    """Collects faces by material. Texture coordinates are metres along the two axes nearest to the face."""

    def __init__(self) -> None:
        self._points: dict[str, list[FloatArray]] = {}
        self._uvs: dict[str, list[FloatArray]] = {}
        self._faces: dict[str, list[NDArray[np.int32]]] = {}
        self._count: dict[str, int] = {}

    def materials(self) -> list[str]:
        """Names of the materials used so far."""
        return list(self._points)

    def add(self, material: str, points: ArrayLike, faces: ArrayLike, uv: ArrayLike | None = None) -> None:
        """Add triangles: points (n, 3) metres, faces (m, 3), uv (n, 2) or planar by default."""
        p = np.asarray(points, float).reshape(-1, 3)
        f = np.asarray(faces, np.int32).reshape(-1, 3)
        t = planar_uv(p, f) if uv is None else np.asarray(uv, float).reshape(-1, 2)
        start = self._count.get(material, 0)
        self._points.setdefault(material, []).append(p)
        self._uvs.setdefault(material, []).append(t)
        self._faces.setdefault(material, []).append(f + start)
        self._count[material] = start + len(p)

    def quad(self, material: str, corners: ArrayLike, uv: ArrayLike | None = None) -> None:
        """Add one four-cornered face; ``uv`` "decal" maps bl, br, tr, tl to the whole picture."""
        self.add(material, corners, [(0, 1, 2), (0, 2, 3)], uv)

    def decal(self, material: str, corners: ArrayLike) -> None:
        """A quad (bl, br, tr, tl) that shows its texture once, upright."""
        self.quad(material, corners, [(0, 1), (1, 1), (1, 0), (0, 0)])

    def ring(self, material: str, outer: ArrayLike, inner: ArrayLike) -> None:
        """The band between two quads with corners in the same order."""
        o, i = np.asarray(outer, float), np.asarray(inner, float)
        for a in range(4):
            b = (a + 1) % 4
            self.quad(material, [o[a], o[b], i[b], i[a]])

    def box(self, material: str, low: Sequence[float], high: Sequence[float], bevel: float = 0.0) -> None:
        """An upright box, its edges bevelled by ``bevel`` metres."""
        lo, hi = np.minimum(low, high), np.maximum(low, high)
        b = min(bevel, float((hi - lo).min()) * 0.45)
        if b <= 0:
            c = np.array([[x, y, z] for x in (lo[0], hi[0]) for y in (lo[1], hi[1]) for z in (lo[2], hi[2])])
            for q in ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)):
                self.quad(material, c[list(q)])
            return
        # each corner becomes three points, pulled in from two sides each
        corner: dict[tuple[int, int, int], FloatArray] = {}
        for s in np.ndindex(2, 2, 2):
            at = np.where(np.array(s) == 1, hi, lo)
            inward = np.where(np.array(s) == 1, -b, b)
            corner[(s[0], s[1], s[2])] = np.array([at + inward * (np.arange(3) != axis) for axis in range(3)])
        for axis in range(3):
            u, v = (axis + 1) % 3, (axis + 2) % 3
            for side in (0, 1):
                self.quad(
                    material, [corner[_at(axis, side, u, i, v, j)][axis] for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))]
                )
            for i in (0, 1):
                for j in (0, 1):  # bevels run along ``axis`` between faces u and v
                    one, two = corner[_at(axis, 0, u, i, v, j)], corner[_at(axis, 1, u, i, v, j)]
                    self.quad(material, [one[u], two[u], two[v], one[v]])
        for points in corner.values():
            self.add(material, points, [(0, 1, 2)])

    def extrude(
        self,
        material: str,
        outline: ArrayLike,
        start: Sequence[float],
        end: Sequence[float],
        axes: tuple[Sequence[float], Sequence[float]],
        closed: bool = True,
        caps: bool = True,
    ) -> None:
        """Sweep a 2-D outline (n, 2) along ``start`` to ``end``; ``axes`` are the outline's directions in space."""
        o = np.asarray(outline, float)
        flat = o[:, :1] * np.asarray(axes[0], float) + o[:, 1:] * np.asarray(axes[1], float)
        a, b = flat + np.asarray(start, float), flat + np.asarray(end, float)
        n = len(o)
        for i in range(n if closed else n - 1):
            j = (i + 1) % n
            self.quad(material, [a[i], a[j], b[j], b[i]])
        if caps and closed:
            fan = [(0, i, i + 1) for i in range(1, n - 1)]
            self.add(material, a, fan)
            self.add(material, b, fan)

    def turned(self, material: str, profile: ArrayLike, centre: Sequence[float], sides: int = 96) -> None:
        """A turned shape: profile (n, 2) of radius and height, about the upright line through ``centre``."""
        p = np.asarray(profile, float)
        angle = np.linspace(0, 2 * np.pi, sides + 1)
        ring = np.column_stack([np.cos(angle), np.zeros_like(angle), np.sin(angle)])
        grid = np.array([ring * r + np.array([0, h, 0]) for r, h in p]) + np.asarray(centre, float)
        for k in range(len(p) - 1):
            for i in range(sides):
                self.quad(material, [grid[k, i], grid[k, i + 1], grid[k + 1, i + 1], grid[k + 1, i]])

    def pipe(self, material: str, start: Sequence[float], end: Sequence[float], radius: float, sides: int = 16) -> None:
        """A straight round bar between two points."""
        along = np.asarray(end, float) - np.asarray(start, float)
        along /= np.linalg.norm(along)
        side = np.cross(along, (0.3, 0.5, 0.81))
        side /= np.linalg.norm(side)
        angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
        circle = np.column_stack([np.cos(angle), np.sin(angle)]) * radius
        self.extrude(material, circle, start, end, (side.tolist(), np.cross(along, side).tolist()))

    def write(self, folder: Path, tiles: dict[str, float]) -> dict[str, Path]:
        """Write one binary PLY a material, texture coordinates divided by the material's tile size in metres."""
        written = {}
        for name, parts in self._points.items():
            points = np.concatenate(parts)
            uv = np.concatenate(self._uvs[name]) / tiles.get(name, 1.0)
            faces = np.concatenate(self._faces[name])
            vertex = np.zeros(len(points), [("x", "<f4"), ("y", "<f4"), ("z", "<f4"), ("u", "<f4"), ("v", "<f4")])
            for key, column in zip("xyzuv", np.column_stack([points, uv]).T, strict=True):
                vertex[key] = column
            face = np.zeros(len(faces), [("n", "u1"), ("i", "<i4", 3)])
            face["n"], face["i"] = 3, faces
            head = (
                f"ply\nformat binary_little_endian 1.0\nelement vertex {len(points)}\n"
                + "".join(f"property float {k}\n" for k in "xyzuv")
                + f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
            )
            path = folder / f"{name}.ply"
            path.write_bytes(head.encode() + vertex.tobytes() + face.tobytes())
            written[name] = path
        return written


def planar_uv(points: FloatArray, faces: NDArray[np.int32]) -> FloatArray:
    """Metres along the two axes that the first face lies nearest to: x or z across, y or z up."""
    a, b, c = points[faces[0]]
    normal = np.abs(np.cross(b - a, c - a))
    if normal[2] >= normal.max():
        return points[:, [0, 1]]
    return points[:, [2, 1]] if normal[0] >= normal.max() else points[:, [0, 2]]


def _at(axis: int, side: int, u: int, i: int, v: int, j: int) -> tuple[int, int, int]:
    s = [0, 0, 0]
    s[axis], s[u], s[v] = side, i, j
    return s[0], s[1], s[2]
