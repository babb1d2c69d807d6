"""Which drawings and charts a report holds, made from the measured walls and the estimate."""

from __future__ import annotations

from collections.abc import Callable

from intake.report import reading
from intake.report.board_drawings import boards_elevation
from intake.report.context import Figure
from intake.report.cut_plan import CutSet, cut_plan
from intake.report.drawing import Drawing
from intake.report.elevation import elevation, opening_box, scale_that_fits
from intake.report.layouts import (
    REVEALS,
    fixing_of,
    joints_at_risk,
    layout_of_wall,
    layouts_of,
    offcuts_of,
    pieces_of,
    ring,
    rings,
    stock_of,
    with_holes,
)
from intake.report.plan import PlanWall, room_plan
from intake.report.reading import Data
from intake.report.section import LayerBand, SectionSizes, jamb_section, sill_section
from intake.report.tell_options import chosen_of
from intake.report.tell_walls import thickness_of
from intake.report.words import CONSTRUCTIONS, NBSP, give_or_take, listing, name_of, plain
from intake.results import Geometry, OpeningResult, WallResult
from intake.survey import Survey, WallEntry

PAGE_MM = (269.0, 167.0)  # room for a drawing on A4 landscape
COLUMN_MM = (178.0, 200.0)  # room for a drawing among the words of an upright A4 page, as the PDF sets it
SECTION_SCALES = (5.0, 10.0, 20.0, 50.0)
PLASTER_MM = 13.0  # common practice, no source
OVERHANG_MM = 30.0  # invented default
STONE_LIKE = {"stone", "other"}


def scale_words(drawing: Drawing) -> str:
    """Return the scale of a drawing in words."""
    return f"Scale 1:{drawing.scale:g} in report.pdf printed at 100{NBSP}%." if drawing.scale > 1 else ""


def figure(kind: str, wall: str, drawing: Drawing | None, caption: str) -> list[Figure]:
    """Return the drawing as a figure of the report, or nothing where there is no drawing."""
    if drawing is None:
        return []
    return [
        Figure(
            kind=kind,
            wall=wall,
            title=drawing.title,
            caption=caption,
            scale=scale_words(drawing),
            alt=drawing.alt,
            drawing=drawing,
        )
    ]


def to_scale(draw: Callable[[float], Drawing]) -> Drawing:
    """Return a section at the first usual scale at which it fits across a page; to scale, never shrunk to fit."""
    for scale in SECTION_SCALES:
        drawing = draw(scale)
        width, height = drawing.paper_size_mm()
        if width <= COLUMN_MM[0] and height <= COLUMN_MM[1]:
            break
    return drawing


def drawings(geometry: Geometry, survey: Survey, estimate: Data) -> tuple[Figure, ...]:
    """Return every drawing: elevations, boards, cut plans, sections, plans."""
    entries = {entry.id: entry for entry in survey.walls}
    inside = [wall for wall in geometry.walls if is_inside(entries.get(wall.id))]
    made: list[Figure] = []
    for wall in inside:
        made += _wall_drawings(wall, entries.get(wall.id), estimate)
    made += _cut_plans(estimate, geometry)
    for wall in inside:
        made += _sections(wall, entries.get(wall.id), estimate)
    made += _plans(geometry, survey, estimate)
    return tuple(made)


def is_inside(entry: WallEntry | None) -> bool:
    """Return whether a wall is seen from inside; one that nobody declared is."""
    return entry is None or entry.side == "inside"


def wall_scale(wall: WallResult) -> float:
    """Return the scale at which the wall's drawings fit on a landscape page."""
    wide = wall.width_mm.value if wall.width_mm else 4000.0
    tall = wall.height_mm.value if wall.height_mm else 2500.0
    return scale_that_fits(wide, tall, page_mm=PAGE_MM)


def _wall_drawings(wall: WallResult, entry: WallEntry | None, estimate: Data) -> list[Figure]:
    name = name_of(wall.id)
    scale = wall_scale(wall)
    caption = (
        f"Seen from inside. Width {give_or_take(wall.width_mm)}; height {give_or_take(wall.height_mm)}. "
        "Corners as measured, not squared."
    )
    made = figure("elevation", name, elevation(wall, scale=scale), caption)
    if entry is not None and not entry.line:
        return made
    layout = layout_of_wall(estimate, wall.id)
    if layout:
        fixing = fixing_of(estimate, wall.id)
        drawing = boards_elevation(
            wall,
            pieces=pieces_of(layout),
            dabs=rings(fixing, "dabs"),
            ribbons=rings(fixing, "ribbons"),
            lines=[points for item in fixing.get("lines") or [] if len(points := ring(item)) == 2],
            fixings=ring(fixing.get("fixings")),
            joints_at_risk=joints_at_risk(layout, wall.id),
            scale=scale,
        )
        gap = (reading.find(layout, "foot_gaps_mm") or {}).get(wall.id)
        told = "Each piece is cut from the board of that number in the cut plan. "
        told += "Shaded: adhesive. Cross: mechanical fixing. Chain line: batten or stud. "
        told += "Thick dashes: a joint at risk of cracking."
        if gap:
            told += f" Boards stand {gap:g} mm clear of the floor, tight to the ceiling."
        made += figure("boards", name, drawing, told)
    return made


def _cut_plans(estimate: Data, geometry: Geometry) -> list[Figure]:
    sets = []
    layouts = layouts_of(estimate)
    rooms = [title for title, _ in layouts if title != REVEALS]
    for title, layout in layouts:
        word = "reveal board" if title == REVEALS else "board" if len(rooms) == 1 else f"{title}, board"
        pieces = tuple(with_holes(pieces_of(layout), geometry))
        sets.append(CutSet(word=word, stock=tuple(stock_of(layout)), pieces=pieces, offcuts=tuple(offcuts_of(layout))))
    told = "Boards face up. Crossed: waste. Dashed: offcuts worth keeping. Cut to the wall as found, not to paper."
    made: list[Figure] = []
    name = listing(rooms) or REVEALS
    for drawing in cut_plan(sets, title=f"{name}: cut plan"):
        made += figure("cut_plan", name, drawing, told)
    return made


def _sections(wall: WallResult, entry: WallEntry | None, whole: Data) -> list[Figure]:
    if entry is not None and not entry.line:
        return []
    opening = next((opening for opening in wall.openings if opening.reveal_depth_mm is not None), None)
    chosen = chosen_of(reading.wall_of(whole, wall.id))
    if opening is None or not chosen:
        return []
    sizes = section_sizes(wall, opening, whole, chosen)
    caption = f"Layers to scale. Reveal {give_or_take(opening.reveal_depth_mm)}."
    name = name_of(wall.id)
    made = figure("section", name, to_scale(lambda scale: jamb_section(sizes, scale=scale)), caption)
    if opening.kind == "window":
        made += figure("section", name, to_scale(lambda scale: sill_section(sizes, scale=scale)), caption)
    return made


def section_sizes(wall: WallResult, opening: OpeningResult, estimate: Data, chosen: Data) -> SectionSizes:
    """Return what a section through one opening is drawn from."""
    reveal = opening.reveal_depth_mm.value if opening.reveal_depth_mm else 0.0
    layers = lining_layers(chosen)
    build_up = sum(layer.thickness_mm for layer in layers)
    verdict = wall.construction.verdict if wall.construction else "unknown"
    found = reading.records(estimate, {"opening", "lining_mm", "window_board_mm"}, wall=wall.id, opening=opening.id)
    thing = found[0] if found else {}
    board = reading.number(thing, "window_board_mm.0", "window_board_mm")
    if board is None and opening.kind == "window":
        board = reveal + build_up + OVERHANG_MM
    return SectionSizes(
        wall=name_of(wall.id),
        opening=f"{name_of(opening.kind)} {name_of(opening.id)}",
        reveal_mm=reveal,
        frame_mm=opening.frame_mm if opening.frame_mm is not None else 70.0,
        outer_reveal_mm=opening.outer_reveal_mm.value if opening.outer_reveal_mm is not None else None,
        structure=CONSTRUCTIONS.get(verdict, "wall").split(",")[0] if verdict != "unknown" else "wall, not decided",
        structure_hatch="plaster" if verdict in STONE_LIKE else "brick",
        plaster_mm=PLASTER_MM,
        layers=tuple(layers),
        reveal_layers=tuple(_reveal_layers(thing, chosen)),
        visible_frame_mm=opening.visible_frame_mm,
        window_board_mm=board,
        overhang_mm=OVERHANG_MM,
        fixing_mm=reading.number(fixing_of(estimate, wall.id), "fixing_length_mm", "fixing_mm"),
    )


def lining_layers(chosen: Data) -> list[LayerBand]:
    """Return the layers of a lining from the old face towards the room."""
    gap = reading.number(chosen, "gap_mm") or 0.0
    insulation = reading.number(chosen, "insulation_mm") or 0.0
    board = reading.number(chosen, "board_mm") or 0.0
    dabs = "dab" in reading.text(chosen, "fixing")
    name = plain(reading.text(chosen, "name") or name_of(reading.text(chosen, "insulation")), limit=30)
    layers = []
    if gap > 0:
        layers.append(
            LayerBand(label="adhesive dabs" if dabs else "fixing gap", thickness_mm=gap, hatch=None, dabs=dabs)
        )
    if insulation > 0:
        layers.append(LayerBand(label=name, thickness_mm=insulation, hatch="insulation"))
    if board > 0:
        layers.append(LayerBand(label="plasterboard", thickness_mm=board, hatch="board"))
    return layers


def _reveal_layers(thing: Data, chosen: Data) -> list[LayerBand]:
    """Return the layers of a reveal's lining: ``lining_mm`` is insulation and board together."""
    lining, insulation = reading.number(thing, "lining_mm"), reading.number(thing, "insulation_mm")
    if not lining:
        return []
    foam = insulation or 0.0
    board = lining - foam if lining > foam else reading.number(chosen, "board_mm") or 12.5
    layers = [LayerBand(label="reveal insulation", thickness_mm=foam, hatch="insulation")] if foam else []
    return [*layers, LayerBand(label="plasterboard", thickness_mm=board, hatch="board")]


def _plans(geometry: Geometry, survey: Survey, estimate: Data) -> list[Figure]:
    measured = {wall.id: wall for wall in geometry.walls}
    entries = {entry.id: entry for entry in survey.walls}
    made: list[Figure] = []
    for room in survey.rooms:
        walls = [_plan_wall(name, measured, entries, estimate) for name in room.walls]
        first = next((name for name in room.walls if name in measured), None)
        chosen = chosen_of(reading.wall_of(estimate, first)) if first else {}
        lost, share = reading.number(chosen, "room_floor_area_m2"), reading.number(chosen, "room_floor_share")
        if lost is None:
            lost = reading.number(reading.room_of(estimate, room.id), "floor_area_lost_m2", "floor.lost_m2")
        words = "floor lost not known" if lost is None else f"floor lost {lost:.2f} m²"
        if lost is not None and share is not None:
            words += f", {100 * share:.1f} % of the room"
        drawing = room_plan(name_of(room.id), walls, scale=50.0, floor_words=words)
        caption = (
            "Corners are drawn square; angles between walls are not measured. Dashed walls have no measured thickness."
        )
        made += figure("plan", name_of(room.id), drawing, caption)
    return made


def _plan_wall(
    name: str | None, measured: dict[str, WallResult], entries: dict[str, WallEntry], estimate: Data
) -> PlanWall | None:
    if name is None:
        return None
    wall, entry = measured.get(name), entries.get(name)
    lined = entry is None or entry.line
    chosen = chosen_of(reading.wall_of(estimate, name))
    build_up = (reading.number(chosen, "build_up_mm") or 0.0) if lined and chosen else 0.0
    thickness = thickness_of(wall) if wall is not None else None
    boxes = [box for opening in (wall.openings if wall else []) if (box := opening_box(opening)) is not None]
    return PlanWall(
        name=name_of(name),
        length_mm=wall.width_mm.value if wall is not None and wall.width_mm is not None else None,
        thickness_mm=thickness.value if thickness is not None else None,
        build_up_mm=build_up,
        openings=tuple((box[0], box[2]) for box in boxes),
    )
