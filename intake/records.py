"""Conversions from what survey.json says to the records that the cores work on."""

from __future__ import annotations

from pydantic import BaseModel

from estimator.inputs import Design, Room, Site
from intake.outcomes import wall_result
from intake.survey import DesignEntry, MarkEntry, PhotoEntry, ReferenceEntry, RoomEntry, SiteAnswers, Survey, WallEntry
from vision.findings import Finding
from vision.walls import DeclaredFeature, DeclaredOpening, DeclaredReference, DeclaredWall, Mark, Measured

__all__ = [
    "declared_reference",
    "declared_wall",
    "design_of",
    "marks_of",
    "room_of",
    "site_of",
    "undeclared_sheet",
    "wall_result",
    "with_implied",
]

CARD_MM = (85.60, 53.98)
"""ISO/IEC 7810 ID-1, mm; limits 85.47 to 85.72 and 53.92 to 54.03 (from memory)."""
CARD_SD_MM = (0.07, 0.03)
A4_MM = (297.0, 210.0)
"""ISO 216, mm; tolerance 2 mm (from memory), taken as two standard uncertainties."""
A4_SD_MM = 1.0
TYPED_SD_MM = 0.5
"""Of a size that somebody read with a rule and typed (judgement)."""
BAR_MM = 250.0
BAR_SD_MM = 0.25
"""Standard uncertainty of a rule's reading on the printed bar, mm (the survey sheet's definition)."""
SCALE_REL_SD_UNREAD = 0.015
"""Standard uncertainty of the print scale when nobody has read the bar (the survey sheet's definition)."""
MARK_SD_PX = 2.0


def declared_reference(entry: ReferenceEntry) -> DeclaredReference:
    """Return the reference as the measurement knows it: size, tolerance and print scale."""
    scale, scale_rel_sd = 1.0, 0.0
    if entry.kind == "survey_sheet":
        size, sds = A4_MM, (0.0, 0.0)
        read = entry.bar_mm is not None
        scale = entry.bar_mm / BAR_MM if entry.bar_mm is not None else 1.0
        scale_rel_sd = BAR_SD_MM / BAR_MM if read else SCALE_REL_SD_UNREAD
    elif entry.kind == "id1_card":
        size, sds = CARD_MM, CARD_SD_MM
    else:
        typed = entry.width_mm is not None and entry.height_mm is not None
        size = (entry.width_mm or A4_MM[0], entry.height_mm or A4_MM[1])
        sd = entry.size_sd_mm or TYPED_SD_MM
        sds = (sd, sd) if typed else (A4_SD_MM, A4_SD_MM)
    return DeclaredReference(
        id=entry.id,
        kind=entry.kind,
        wall=entry.on,
        width_mm=Measured(value=size[0], sd=sds[0]),
        height_mm=Measured(value=size[1], sd=sds[1]),
        number=entry.number,
        scale=scale,
        scale_rel_sd=scale_rel_sd,
    )


def undeclared_sheet(number: int, wall: str | None) -> DeclaredReference:
    """Return the reference for a survey sheet that was found but not declared: its id is sheet-N, its bar unread."""
    return declared_reference(ReferenceEntry(id=f"sheet-{number}", kind="survey_sheet", number=number, on=wall))


def _said(entry: BaseModel) -> dict[str, float]:
    return {key: float(value) for key, value in entry.model_dump().items() if value is not None}


def declared_wall(entry: WallEntry) -> DeclaredWall:
    """Return the wall as declared."""
    return DeclaredWall(
        id=entry.id,
        room=entry.room,
        side=entry.side,
        faces=entry.faces,
        line=entry.line,
        built=entry.built,
        other_side_of=entry.other_side_of,
        taped=_taped(entry),
        openings=tuple(
            DeclaredOpening(
                id=opening.id,
                kind=opening.kind,
                frame_mm=opening.frame_mm,
                outer_reveal_mm=opening.outer_reveal_mm,
                visible_frame_mm=opening.visible_frame_mm,
                taped=_said(opening.taped),
            )
            for opening in entry.openings
        ),
        features=tuple(DeclaredFeature(id=feature.id, kind=feature.kind) for feature in entry.features),
    )


def _taped(entry: WallEntry) -> dict[str, float]:
    """Return the wall's tape readings, with those of features under ``features.ID.KEY``."""
    readings = _said(entry.taped)
    for feature in entry.features:
        readings |= {f"features.{feature.id}.{key}": value for key, value in _said(feature.taped).items()}
    return readings


def with_implied(survey: Survey) -> tuple[list[WallEntry], list[Finding]]:
    """Return the walls of the survey, with those that marks or references name undeclared, and notes of them."""
    walls = {wall.id: wall for wall in survey.walls}
    findings = []
    marks = [(photo, mark) for photo in survey.photos for mark in photo.marks]
    named = [(mark.wall, photo.file) for photo, mark in marks] + [(ref.on, None) for ref in survey.references]
    for wall, file in named:
        if wall is not None and wall not in walls:
            walls[wall] = WallEntry(id=wall)
            findings.append(
                Finding(
                    code="S010",
                    severity="note",
                    message=f'Wall "{wall}" is marked but not declared in survey.json.',
                    remedy="Add it under walls with its room, so that it joins the boards.",
                    where={"wall": wall, **({"photo": file} if file else {})},
                )
            )
    for _, mark in marks:
        if mark.wall is not None:
            walls[mark.wall] = _with_thing(walls[mark.wall], mark)
    return list(walls.values()), findings


def _with_thing(wall: WallEntry, mark: MarkEntry) -> WallEntry:
    """Return the wall with the marked opening or feature, if it had not been declared."""
    data = wall.model_dump(exclude_unset=True)
    if mark.opening is not None and mark.opening not in {opening.id for opening in wall.openings}:
        data["openings"] = [*data.get("openings", []), {"id": mark.opening}]
    elif mark.feature is not None and mark.feature not in {feature.id for feature in wall.features}:
        data["features"] = [*data.get("features", []), {"id": mark.feature, "kind": "other"}]
    else:
        return wall
    return WallEntry.model_validate(data)


def marks_of(photo: PhotoEntry, *, file: str) -> list[Mark]:
    """Return the photo's marks; ``file`` is the photo's name below the folder."""
    return [
        Mark(
            photo=file,
            point=mark.point,
            px=mark.px,
            wall=mark.wall,
            opening=mark.opening,
            face=(mark.face or "wall") if mark.opening is not None else None,
            feature=mark.feature,
            reference=mark.reference,
            proud_mm=mark.proud_mm,
            sd_px=mark.sd_px if mark.sd_px is not None else MARK_SD_PX,
        )
        for mark in photo.marks
    ]


def site_of(survey: SiteAnswers, wall: SiteAnswers | None = None) -> Site:
    """Return the answers for a wall: its own, and the house's where it has none."""
    said = survey.model_dump(exclude_none=True)
    if wall is not None:
        said = {**said, **{key: value for key, value in wall.model_dump(exclude_none=True).items() if key != "extra"}}
    extra = {**survey.extra, **(wall.extra if wall is not None else {})}
    known = {key: said.pop(key) for key in list(said) if key in Site.__dataclass_fields__ and key != "extra"}
    said.pop("extra", None)
    return Site(**known, extra={**said, **extra})


def design_of(entry: DesignEntry) -> Design:
    """Return the lining in mind."""
    return Design(**entry.model_dump())


def room_of(entry: RoomEntry) -> Room:
    """Return the room."""
    return Room(id=entry.id, floor_area_m2=entry.floor_area_m2, walls=tuple(entry.walls))
