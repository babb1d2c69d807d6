"""Outlines of board pieces: a rectangle of wall less its openings, under a sloping ceiling line, as polygons."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

Point = tuple[float, float]
Rect = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A polygon with holes, mm; the outside runs anticlockwise, holes clockwise, the first point is not repeated."""

    outer: tuple[Point, ...]
    holes: tuple[tuple[Point, ...], ...] = ()

    @property
    def area(self) -> float:
        """Area less holes, mm²."""
        return ring_area(self.outer) + sum(ring_area(hole) for hole in self.holes)

    @property
    def box(self) -> Rect:
        """left, bottom, right, top."""
        xs, ys = [x for x, _ in self.outer], [y for _, y in self.outer]
        return min(xs), min(ys), max(xs), max(ys)

    def moved(self, place: Callable[[Point], Point]) -> Outline:
        """Return the outline with every point sent through ``place`` (a turn or a shift, never a mirror)."""
        return Outline(
            outer=tuple(place(q) for q in self.outer), holes=tuple(tuple(place(q) for q in hole) for hole in self.holes)
        )


def ring_area(ring: Sequence[Point]) -> float:
    """Return the signed area of a closed ring, positive where it runs anticlockwise."""
    following = [*ring[1:], ring[0]]
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, following, strict=True)) / 2


def outlines(
    left: float, right: float, bottom: float, top: float, *, openings: Sequence[Rect], ceiling: Callable[[float], float]
) -> list[Outline]:
    """Return the pieces of the rectangle that are wall, left to right and from the bottom up.

    Parameters
    ----------
    left, right, bottom, top
        The rectangle [mm]; ``top`` may lie above the ceiling, which then cuts it.
    openings
        Rectangles left, bottom, right, top that are not wall [mm].
    ceiling
        Height of the ceiling line at a distance along the wall [mm].
    """
    cut = [o for o in openings if o[0] < right and o[2] > left and o[1] < top and o[3] > bottom]
    xs = sorted({left, right, *(min(max(v, left), right) for o in cut for v in (o[0], o[2]))})
    ys = sorted({bottom, top, *(min(max(v, bottom), top) for o in cut for v in (o[1], o[3]))})
    wall = {
        (i, j)
        for i in range(len(xs) - 1)
        for j in range(len(ys) - 1)
        if not any(o[0] <= xs[i] and o[2] >= xs[i + 1] and o[1] <= ys[j] and o[3] >= ys[j + 1] for o in cut)
        and min(ys[j + 1], max(ceiling(xs[i]), ceiling(xs[i + 1]))) > ys[j]
    }
    found = []
    while wall:
        part = _connected(wall)
        wall -= part
        rings = [_under([(xs[i], ys[j]) for i, j in ring], ceiling) for ring in _rings(part)]
        rings = [ring for ring in rings if abs(ring_area(ring)) > 0]
        outer = max(rings, key=ring_area)
        found.append(Outline(outer=tuple(outer), holes=tuple(tuple(r) for r in rings if r is not outer)))
    return sorted(found, key=lambda o: (o.box[0], o.box[1]))


def _connected(cells: set[tuple[int, int]]) -> set[tuple[int, int]]:
    queue = [min(cells)]
    seen = set(queue)
    while queue:
        i, j = queue.pop()
        for cell in ((i + 1, j), (i - 1, j), (i, j + 1), (i, j - 1)):
            if cell in cells and cell not in seen:
                seen.add(cell)
                queue.append(cell)
    return seen


def _rings(cells: set[tuple[int, int]]) -> list[list[tuple[int, int]]]:
    """Return the boundaries of a set of grid cells with the cells on the left hand."""
    sides: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for i, j in sorted(cells):
        for beside, a, b in (
            ((i, j - 1), (i, j), (i + 1, j)),
            ((i + 1, j), (i + 1, j), (i + 1, j + 1)),
            ((i, j + 1), (i + 1, j + 1), (i, j + 1)),
            ((i - 1, j), (i, j + 1), (i, j)),
        ):
            if beside not in cells:
                sides.setdefault(a, []).append(b)
    rings = []
    while sides:
        start = min(sides)
        ring, at, came = [], start, (0, 0)
        while True:
            ring.append(at)
            ways = sides[at]
            # where two rings touch at a point, turn left so that each stays simple
            way = (
                max(ways, key=lambda b: came[0] * (b[1] - at[1]) - came[1] * (b[0] - at[0]))
                if len(ways) > 1
                else ways[0]
            )
            ways.remove(way)
            if not ways:
                del sides[at]
            came, at = (way[0] - at[0], way[1] - at[1]), way
            if at == start:
                break
        rings.append(_straight(ring))
    return rings


def _straight(ring: list[tuple[int, int]]) -> list[tuple[int, int]]:
    before, after = [ring[-1], *ring[:-1]], [*ring[1:], ring[0]]
    return [
        q
        for p, q, r in zip(before, ring, after, strict=True)
        if (q[0] - p[0]) * (r[1] - q[1]) != (q[1] - p[1]) * (r[0] - q[0])
    ]


def _under(ring: list[Point], ceiling: Callable[[float], float]) -> list[Point]:
    """Return the ring cut off by the ceiling line (Sutherland and Hodgman's clip, one edge)."""
    kept: list[Point] = []
    for p, q in zip([ring[-1], *ring[:-1]], ring, strict=True):
        over_p, over_q = p[1] - ceiling(p[0]), q[1] - ceiling(q[0])
        if (over_p > 0) != (over_q > 0):
            t = over_p / (over_p - over_q)
            kept.append((p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])))
        if over_q <= 0:
            kept.append(q)
    return [q for q, p in zip(kept, [kept[-1], *kept[:-1]], strict=True) if q != p] if kept else []
