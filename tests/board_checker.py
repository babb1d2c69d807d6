"""An independent check of board layouts, by polygon geometry of another library (shapely)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import shapely
from shapely import affinity

from estimator.boards import BoardRules
from estimator.faces import Face
from estimator.layout_records import Piece, RoomLayout
from estimator.outlines import Outline
from estimator.setting_out import Corner

SLIVER_MM2 = 1.0


def polygon(outline: Outline) -> shapely.Polygon:
    """Return the outline as the other library's polygon."""
    return shapely.Polygon(outline.outer, outline.holes)


def faults(
    faces: Sequence[Face], layout: RoomLayout, *, rules: BoardRules, corners: Sequence[Corner] = ()
) -> list[str]:
    """Return what is wrong with a layout, in words; an empty list when nothing is."""
    found: list[str] = []
    for n, face in enumerate(faces):
        found += _wall(n, face, layout, rules, corners)
    found += _boards(layout, rules)
    if layout.lower_bound > layout.count:
        found.append(f"the lower bound {layout.lower_bound} is above the count {layout.count}")
    if layout.count > layout.column_count:
        found.append(f"{layout.count} boards, but full columns need {layout.column_count}")
    return found


def lined_part(n: int, face: Face, layout: RoomLayout, corners: Sequence[Corner]) -> shapely.Geometry:
    """Return the part of a wall that boards have to cover: above the foot gap, less openings and neighbours."""
    left, right = 0, face.width
    for corner, through in zip(corners, layout.run_through, strict=True):
        if corner.left_face == n and through != face.wall:
            right -= corner.depth
        if corner.right_face == n and through != face.wall:
            left += corner.depth
    foot = layout.foot_gaps_mm[face.wall]
    whole = shapely.Polygon([(0, foot), (face.width, foot), (face.width, face.height_right), (0, face.height_left)])
    whole = whole.intersection(shapely.box(left, 0, right, 10_000))
    for gap in face.gaps:
        whole = whole.difference(shapely.box(gap.left, gap.bottom, gap.right, gap.top))
    return whole


def _wall(n: int, face: Face, layout: RoomLayout, rules: BoardRules, corners: Sequence[Corner]) -> list[str]:
    found = []
    pieces = [p for p in layout.pieces if p.wall == face.wall]
    shapes = [polygon(p.on_wall) for p in pieces]
    found += [f"{p.id}: not a simple polygon" for p, s in zip(pieces, shapes, strict=True) if not s.is_valid]
    union = shapely.unary_union(shapes)
    if sum(s.area for s in shapes) - union.area > SLIVER_MM2:
        found.append(f"{face.wall}: pieces overlap")
    missed = lined_part(n, face, layout, corners).symmetric_difference(union).area
    if missed > SLIVER_MM2:
        found.append(f"{face.wall}: {missed:.0f} mm2 not covered, or covered twice")
    for piece, shape in zip(pieces, shapes, strict=True):
        left, bottom, right, top = shape.bounds
        if right - left > layout.board.width_mm + 1e-6 or top - bottom > layout.board.length_mm + 1e-6:
            found.append(f"{piece.id}: larger than a board")
        least = rules.least_piece_mm if piece.role == "infill" else rules.least_strip_mm
        jamb = any(g.left < right and g.right > left for g in face.gaps)
        if piece.role in ("column", "infill") and right - left < min(least, face.width) - 1e-6 and not jamb:
            found.append(f"{piece.id}: {right - left:.0f} mm is narrower than the least strip")
    found += _joints(face, layout, rules, pieces, shapes)
    return found


def _joints(
    face: Face, layout: RoomLayout, rules: BoardRules, pieces: Sequence[Piece], shapes: Sequence[shapely.Polygon]
) -> list[str]:
    found = []
    for i, a in enumerate(shapes):
        for b in shapes[:i]:
            for x, bottom, top in _upright(a.intersection(b)):
                told = any(
                    j.wall == face.wall
                    and abs(j.start[0] - x) < 0.5
                    and j.start[1] - 1 <= bottom
                    and top <= j.end[1] + 1
                    for j in layout.joints
                )
                if not told:
                    found.append(f"{face.wall}: a joint at {x:.0f} is not in the list")
                found += _place_of_joint(face, layout, rules, x)
    return found


def _place_of_joint(face: Face, layout: RoomLayout, rules: BoardRules, x: float) -> list[str]:
    found = []
    for gap in face.gaps:
        near = min(abs(x - gap.left), abs(x - gap.right)) < rules.jamb_clear_mm - 1e-6
        if near and layout.kept != "none":
            found.append(f"{face.wall}: a joint at {x:.0f} is too near a jamb of {gap.id}")
    for box in face.boxes:
        inside = box.left - rules.socket_clear_mm <= x <= box.right + rules.socket_clear_mm
        over_gap = any(g.left < x < g.right for g in face.gaps)
        if inside and layout.kept == "all" and not over_gap:
            found.append(f"{face.wall}: a joint at {x:.0f} runs through {box.id}")
    return found


def _upright(shared: shapely.Geometry) -> list[tuple[float, float, float]]:
    parts = getattr(shared, "geoms", [shared])
    lines = []
    for part in parts:
        if part.geom_type == "LineString":
            (x0, y0), (x1, y1) = part.coords[0], part.coords[-1]
            if abs(x1 - x0) < 1e-6 and abs(y1 - y0) > 1:
                lines.append((x0, min(y0, y1), max(y0, y1)))
    return lines


def _boards(layout: RoomLayout, rules: BoardRules) -> list[str]:
    found = []
    by_board: dict[int, list[Piece]] = defaultdict(list)
    for piece in layout.pieces:
        by_board[piece.board].append(piece)
    if sorted(by_board) != list(range(1, layout.count + 1)):
        found.append(f"pieces come from boards {sorted(by_board)}, but {layout.count} are counted")
    board = shapely.box(0, 0, layout.board.width_mm, layout.board.length_mm).buffer(1e-6)
    for number, pieces in by_board.items():
        shapes = [polygon(p.on_board) for p in pieces]
        for piece, shape in zip(pieces, shapes, strict=True):
            if not board.contains(shape):
                found.append(f"{piece.id}: sticks out of board {number}")
            if not _same(polygon(piece.on_wall), shape, piece.turned_deg):
                found.append(f"{piece.id}: not the same shape on the board as on the wall")
        for i, a in enumerate(shapes):
            for j, b in enumerate(shapes[:i]):
                if a.distance(b) < rules.kerf_mm - 1e-6:
                    found.append(f"board {number}: {pieces[i].id} and {pieces[j].id} leave no room for the saw")
        found += _offcuts(layout, number, board, shapes)
    return found


def _offcuts(layout: RoomLayout, number: int, board: shapely.Geometry, shapes: Sequence[shapely.Polygon]) -> list[str]:
    found = []
    offcuts = [shapely.box(*o.box) for o in layout.offcuts if o.board == number]
    for offcut in offcuts:
        if not board.contains(offcut) or any(offcut.intersection(s).area > SLIVER_MM2 for s in shapes):
            found.append(f"board {number}: an offcut lies in a piece or beyond the board")
    for i, a in enumerate(offcuts):
        if any(a.intersection(b).area > SLIVER_MM2 for b in offcuts[:i]):
            found.append(f"board {number}: two offcuts overlap")
    return found


def _same(on_wall: shapely.Polygon, on_board: shapely.Polygon, degrees: int) -> bool:
    turned = affinity.rotate(on_wall, degrees, origin=(0, 0))
    shift = on_board.bounds[0] - turned.bounds[0], on_board.bounds[1] - turned.bounds[1]
    return bool(affinity.translate(turned, *shift).symmetric_difference(on_board).area < SLIVER_MM2)
