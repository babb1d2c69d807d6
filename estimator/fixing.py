"""How boards are fixed: dabs, ribbons, beads or screws where they go, what it takes, and fixing lengths by layer."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimator.boards import BoardRules
from estimator.faces import Face
from estimator.layout_records import Piece, RoomLayout
from estimator.outlines import Point, Rect
from estimator.ribbons import Polygon, adhesive_ribbons, box, foot_spans, keep_off
from estimator.tables import Row, Table, read_table
from vision.walls import MeasuredFeature


@dataclass(frozen=True, slots=True, kw_only=True)
class WallFixing:
    """The fixing of one wall's boards, positions in the wall frame, mm.

    ``dabs`` and ``ribbons`` are the places of adhesive (for foam, of beads); ``lines`` the middle lines of battens or
    studs; ``fixings`` the secondary mechanical fixings and ``screws`` how many screws into battens. ``contact_share``
    is adhesive area over board area. ``fixing_mm`` is the shortest fixing that reaches into the masonry by the rule,
    ``fixing_length_mm`` the next one on sale; ``bare_fixing_mm`` the same on bare brick.
    """

    wall: str
    method: str
    board_area_m2: float
    dabs: tuple[Polygon, ...]
    ribbons: tuple[Polygon, ...]
    lines: tuple[tuple[Point, Point], ...]
    fixings: tuple[Point, ...]
    screws: int
    contact_share: float | None
    adhesive_kg: float | None
    adhesive_range_kg: tuple[float, float] | None
    foam_cans: tuple[float, float] | None
    batten_m: float
    primer_litres: float
    fixing_mm: float
    fixing_length_mm: float
    bare_fixing_mm: float
    flat_mm: float
    background: str
    wait: str


def fix_wall(
    face: Face,
    layout: RoomLayout,
    *,
    features: Sequence[MeasuredFeature],
    method: str,
    insulation: str,
    insulation_mm: float,
    board_mm: float,
    gap_mm: float,
    rules: BoardRules,
    table: Table | None = None,
) -> WallFixing:
    """Return where and with what one wall's boards are fixed.

    Parameters
    ----------
    face, layout
        The wall's face and the room's boards.
    features
        The wall's features; ribbons go round sockets, switches and pipes.
    method
        A row of the table of fixings.
    insulation, insulation_mm, board_mm, gap_mm
        The lining and the depth of its bed [mm].
    rules
        Plaster thickness and embedment.
    table
        Quantities; the project's own where None.
    """
    table = table or read_table("fixing_quantities")
    row = table.row(method)
    pieces = [p for p in layout.pieces if p.wall == face.wall]
    area = sum(p.on_wall.area for p in pieces) / 1e6
    holes = [feature_box(f) for f in features if f.kind in _RINGED]
    ringed = [h for h in holes if h is not None]
    dabs: list[Polygon] = []
    ribbons: list[Polygon] = []
    if method == "adhesive_dabs":
        edge, wide = float(row["edge_mm"]), float(row["ribbon_mm"])
        ribbons = adhesive_ribbons(face, layout.foot_gaps_mm[face.wall], ringed, edge_mm=edge, wide_mm=wide)
        spacing = float(row["line_mm"] if board_mm >= 12 else row["line_thin_board_mm"])
        dabs = _dabs(face, pieces, row, spacing, ribbons, ringed)
        if _contact(dabs, ribbons) < float(row["least_contact"]) * area:
            dabs = _dabs(face, pieces, row, float(row["line_thin_board_mm"]), ribbons, ringed)
    elif method == "foam_adhesive":
        edge, wide = float(row["edge_mm"]), float(row["bead_mm"])
        ribbons = adhesive_ribbons(face, layout.foot_gaps_mm[face.wall], ringed, edge_mm=edge, wide_mm=wide)
        ribbons += keep_off(_beads(pieces, row), face, edge)
    lines = _lines(face, pieces, row) if "screw_pitch_mm" in row and method != "mechanical" else []
    contact = _contact(dabs, ribbons)
    per_m2_mm = float(row.get("kg_per_m2_mm", 0.0))
    depth = gap_mm + float(row.get("uneven_mm", 0.0))
    bed_m2 = area if method == "full_bed" else contact
    kg = bed_m2 * depth * per_m2_mm * (1 + float(row.get("waste", 0.0))) if per_m2_mm else None
    length = fixing_length_mm(board_mm=board_mm, insulation_mm=insulation_mm, gap_mm=gap_mm, rules=rules)
    fixings = _secondary(face, pieces, int(row["secondary_per_board"]))
    batten = sum(math.dist(a, b) for a, b in lines) / 1000
    return WallFixing(
        wall=face.wall,
        method=method,
        board_area_m2=area,
        dabs=tuple(dabs),
        ribbons=tuple(ribbons),
        lines=tuple(lines),
        fixings=tuple(fixings),
        screws=math.ceil(batten * 1000 / float(row["screw_pitch_mm"])) if lines else 0,
        contact_share=contact / area if dabs and area else None,
        adhesive_kg=kg,
        adhesive_range_kg=(row["site_kg_m2"][0] * area, row["site_kg_m2"][1] * area) if "site_kg_m2" in row else None,
        foam_cans=(area / row["can_m2"][1], area / row["can_m2"][0]) if "can_m2" in row else None,
        batten_m=batten,
        primer_litres=_primer(table, insulation, area, method),
        fixing_mm=length,
        fixing_length_mm=_next_length(table, length),
        bare_fixing_mm=length - rules.plaster_mm,
        flat_mm=float(row["flat_mm"]),
        background=str(row["background"]),
        wait=str(row["wait"]),
    )


def fixing_length_mm(
    *, board_mm: float, insulation_mm: float, gap_mm: float, rules: BoardRules, plaster_mm: float | None = None
) -> float:
    """Return how long a fixing must be to go through board, insulation, gap and plaster into the masonry [mm].

    Parameters
    ----------
    board_mm, insulation_mm, gap_mm
        The lining [mm].
    rules
        Embedment, and the plaster where it is not measured.
    plaster_mm
        Old plaster; 0 on bare brick.
    """
    plaster = float(rules.plaster_mm) if plaster_mm is None else plaster_mm
    return board_mm + insulation_mm + gap_mm + plaster + rules.embed_mm


def adhesive_kg(contact_m2: float, depth_mm: float, *, rate_kg_m2_mm: float = 1.1) -> float:
    """Return the mass of gypsum adhesive under ``contact_m2`` at ``depth_mm``, no waste [kg]."""
    return contact_m2 * depth_mm * rate_kg_m2_mm


_RINGED = ("socket", "switch", "data", "aerial", "pipe", "water_pipe", "gas_pipe", "vent", "airbrick", "flue")


def feature_box(feature: MeasuredFeature) -> Rect | None:
    """Return left, bottom, right, top of a feature in the wall frame [mm], or None where its place is not measured."""
    if feature.left_mm is None or feature.bottom_mm is None:
        return None
    w = feature.width_mm.value if feature.width_mm else 86.0
    h = feature.height_mm.value if feature.height_mm else 86.0
    return feature.left_mm.value, feature.bottom_mm.value, feature.left_mm.value + w, feature.bottom_mm.value + h


def _dabs(
    face: Face, pieces: Sequence[Piece], row: Row, spacing: float, ribbons: Sequence[Polygon], ringed: Sequence[Rect]
) -> list[Polygon]:
    wide, tall = (float(v) for v in row["dab_mm"])
    edge, pitch = float(row["edge_mm"]), float(row["dab_pitch_mm"])
    shut = [_bounds(r) for r in ribbons] + [
        (float(g.left), float(g.bottom), float(g.right), float(g.top)) for g in face.gaps
    ]
    shut += list(ringed)
    found = []
    for piece in pieces:
        left, bottom, right, top = piece.on_wall.box
        for x in _spread(left + edge + wide / 2, right - edge - wide / 2, spacing):
            y = bottom + 2 * edge + float(row["ribbon_mm"]) + tall / 2
            while y + tall / 2 <= min(top, face.ceiling(x)) - edge:
                dab = (x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2)
                if not any(dab[0] < s[2] and dab[2] > s[0] and dab[1] < s[3] and dab[3] > s[1] for s in shut):
                    found.append(box(*dab))
                y += pitch
    return found


def _beads(pieces: Sequence[Piece], row: Row) -> list[Polygon]:
    wide, edge = float(row["bead_mm"]), float(row["edge_mm"])
    found = []
    for piece in pieces:
        left, bottom, right, top = piece.on_wall.box
        for x in _spread(left + edge + wide / 2, right - edge - wide / 2, float(row["line_mm"])):
            found.append(box(x - wide / 2, bottom + edge, x + wide / 2, top - edge))
    return found


def _lines(face: Face, pieces: Sequence[Piece], row: Row) -> list[tuple[Point, Point]]:
    """Return the middle lines of battens or studs: each board edge, between at the spacing, and along head and foot."""
    found = []
    xs = set()
    for piece in pieces:
        left, _, right, _ = piece.on_wall.box
        xs |= {round(x, 1) for x in _spread(left, right, float(row["line_mm"]))}
    bottom = min((p.on_wall.box[1] for p in pieces), default=0.0)
    for x in sorted(xs):
        spans = [(bottom, face.ceiling(x))]
        for g in face.gaps:
            if g.left < x < g.right:
                spans = [
                    part
                    for low, high in spans
                    for part in ((low, min(high, g.bottom)), (max(low, g.top), high))
                    if part[1] > part[0]
                ]
        found += [((x, low), (x, high)) for low, high in spans]
    found += [((a, bottom), (b, bottom)) for a, b in foot_spans(face, bottom)]
    found.append(((0.0, face.ceiling(0)), (float(face.width), face.ceiling(face.width))))
    for g in face.gaps:
        found.append(((float(g.left), float(g.top)), (float(g.right), float(g.top))))
        if g.bottom > bottom:
            found.append(((float(g.left), float(g.bottom)), (float(g.right), float(g.bottom))))
    return found


def _secondary(face: Face, pieces: Sequence[Piece], per_board: int) -> list[Point]:
    """Return the fixings: two near the top of each piece; in columns more down both edges and one in the middle."""
    inset, found = 75.0, []
    small: list[Point] = []
    for piece in pieces if per_board else ():
        left, bottom, right, top = piece.on_wall.box
        level = min(top, face.ceiling(left + inset), face.ceiling(right - inset))
        if piece.role != "column":  # a piece over or under an opening is held in a fire too
            small += [(x, max(level - 150.0, (bottom + level) / 2)) for x in (left + inset, right - inset)]
            continue
        rows = [level - 150.0]
        if per_board > 2:
            rows += [
                bottom + 300.0 + n * (level - bottom - 450.0) / max(1, (per_board - 2) // 2)
                for n in range((per_board - 2) // 2)
            ]
        found += [(x, y) for y in rows for x in (left + inset, right - inset)]
        if per_board % 2:
            found.append(((left + right) / 2, (bottom + top) / 2))
    return small + [
        q
        for q in found
        if not any(
            g.left - inset < q[0] < g.right + inset and g.bottom - inset < q[1] < g.top + inset for g in face.gaps
        )
    ]


def _contact(dabs: Sequence[Polygon], ribbons: Sequence[Polygon]) -> float:
    """Return the area of adhesive [m²]; ribbons that cross count once for each."""
    return sum(_area(p) for p in [*dabs, *ribbons]) / 1e6


def _area(p: Polygon) -> float:
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(p, (*p[1:], p[0]), strict=True))) / 2


def _primer(table: Table, insulation: str, area: float, method: str) -> float:
    row = table.row("foil_primer")
    needs = insulation in row["linings"] and method in ("adhesive_dabs", "full_bed")
    return area / float(row["m2_per_litre"]) if needs else 0.0


def _next_length(table: Table, needed: float) -> float:
    lengths = sorted(float(v) for v in table.row("fixing_lengths")["lengths_mm"])
    return next((v for v in lengths if v >= needed), lengths[-1])


def _spread(first: float, last: float, most: float) -> list[float]:
    if last < first:
        return [(first + last) / 2]
    count = max(1, math.ceil((last - first) / most))
    return [first + (last - first) * n / count for n in range(count + 1)]


def _bounds(p: Polygon) -> Rect:
    xs, ys = [q[0] for q in p], [q[1] for q in p]
    return min(xs), min(ys), max(xs), max(ys)


def totals(fixings: Sequence[WallFixing]) -> Mapping[str, float]:
    """Return the sums over walls that the order is made from."""
    return {
        "area_m2": sum(f.board_area_m2 for f in fixings),
        "adhesive_kg": sum(f.adhesive_kg or 0.0 for f in fixings),
        "adhesive_least_kg": sum((f.adhesive_range_kg or (0.0, 0.0))[0] for f in fixings),
        "foam_cans": sum((f.foam_cans or (0.0, 0.0))[1] for f in fixings),
        "batten_m": sum(f.batten_m for f in fixings),
        "screws": sum(f.screws for f in fixings),
        "fixings": sum(len(f.fixings) for f in fixings),
        "primer_litres": sum(f.primer_litres for f in fixings),
    }
