"""The closed lines of adhesive, or beads of foam: round the wall, round each opening and round each box."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from estimator.faces import Face
from estimator.outlines import Point, Rect

Polygon = tuple[Point, ...]


def adhesive_ribbons(
    face: Face, foot_mm: float, ringed: Sequence[Rect], *, edge_mm: float, wide_mm: float
) -> list[Polygon]:
    """Return the ribbons of one wall, each with upright ends, in the wall frame [mm].

    Parameters
    ----------
    face
        The wall's lined face.
    foot_mm
        The gap under the boards [mm].
    ringed
        Boxes and pipes that get a ribbon of their own [mm].
    edge_mm, wide_mm
        How far a ribbon keeps off an edge, and its width [mm].
    """
    left, right, bottom = edge_mm, face.width - edge_mm, foot_mm + edge_mm
    inner = edge_mm + wide_mm

    def top(x: float) -> float:
        return face.ceiling(x) - edge_mm

    found: list[Polygon] = [
        ((left, top(left) - wide_mm), (right, top(right) - wide_mm), (right, top(right)), (left, top(left))),
        box(left, bottom, left + wide_mm, top(left) - wide_mm),
        box(right - wide_mm, bottom, right, top(right) - wide_mm),
        box(left + wide_mm, bottom, right - wide_mm, bottom + wide_mm),
    ]
    for g in face.gaps:
        low = max(g.bottom - inner, bottom) if g.bottom > foot_mm else bottom
        found += [
            box(g.left - inner, low, g.left - edge_mm, g.top + inner),
            box(g.right + edge_mm, low, g.right + inner, g.top + inner),
            box(g.left - edge_mm, g.top + edge_mm, g.right + edge_mm, g.top + inner),
        ]
        if g.bottom > foot_mm:
            found.append(box(g.left - edge_mm, g.bottom - inner, g.right + edge_mm, g.bottom - edge_mm))
    for a, b, c, d in ringed:
        found += [
            box(a - inner, b - inner, c + inner, b - edge_mm),
            box(a - inner, d + edge_mm, c + inner, d + inner),
            box(a - inner, b - edge_mm, a - edge_mm, d + edge_mm),
            box(c + edge_mm, b - edge_mm, c + inner, d + edge_mm),
        ]
    found = keep_off(found, face, edge_mm)
    return [p for p in found if _on_wall(p, face, foot_mm)]


def keep_off(ribbons: Sequence[Polygon], face: Face, edge_mm: float) -> list[Polygon]:
    """Return what is left of ribbons that keep a distance [mm] off every opening."""
    found = list(ribbons)
    for g in face.gaps:
        hole = (g.left - edge_mm, g.bottom - edge_mm, g.right + edge_mm, g.top + edge_mm)
        found = [part for ribbon in found for part in _beside(ribbon, hole)]
    return found


def foot_spans(face: Face, foot_mm: float) -> list[tuple[float, float]]:
    """Return from where to where the wall has a foot, doors and what else reaches the floor left out [mm]."""
    spans, at = [], 0.0
    for left, right in sorted((float(g.left), float(g.right)) for g in face.gaps if g.bottom <= foot_mm):
        spans.append((at, left))
        at = max(at, right)
    spans.append((at, float(face.width)))
    return [(a, b) for a, b in spans if b > a]


def box(left: float, bottom: float, right: float, top: float) -> Polygon:
    """Return a rectangle's corners, round from its bottom left [mm]."""
    return (left, bottom), (right, bottom), (right, top), (left, top)


def _beside(ribbon: Polygon, hole: Rect) -> Iterator[Polygon]:
    """Yield what is left of a ribbon beside, under and over a hole."""
    (left, low_left), (right, low_right), (_, high_right), (_, high_left) = ribbon
    if (
        right <= hole[0]
        or left >= hole[2]
        or max(high_left, high_right) <= hole[1]
        or min(low_left, low_right) >= hole[3]
    ):
        yield ribbon
        return
    if right <= left:
        return

    def between(low: float, high: float, x: float) -> float:
        return low + (x - left) / (right - left) * (high - low)

    def part(a: float, b: float) -> Polygon:
        low = [between(low_left, low_right, x) for x in (a, b)]
        high = [between(high_left, high_right, x) for x in (a, b)]
        return (a, low[0]), (b, low[1]), (b, high[1]), (a, high[0])

    if left < hole[0]:
        yield part(left, hole[0])
    if right > hole[2]:
        yield part(hole[2], right)
    a, b = max(left, hole[0]), min(right, hole[2])
    middle = part(a, b)
    if max(middle[0][1], middle[1][1]) < hole[1]:
        yield box(a, max(middle[0][1], middle[1][1]), b, hole[1])
    if min(middle[2][1], middle[3][1]) > hole[3]:
        yield box(a, hole[3], b, min(middle[2][1], middle[3][1]))


def _on_wall(p: Polygon, face: Face, foot_mm: float) -> bool:
    """Whether a ribbon lies on the wall and has a size; what would fall outside is left out."""
    xs, ys = [q[0] for q in p], [q[1] for q in p]
    on = min(xs) >= -1 and max(xs) <= face.width + 1 and min(ys) >= foot_mm - 1
    return on and max(ys) <= face.ceiling(sum(xs) / len(xs)) + 1 and max(xs) > min(xs) and max(ys) > min(ys)
