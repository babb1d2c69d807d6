"""The schema of survey.json: what a person may say, its bounds, and refusals that name the place and the nearest word.

Foreign data enters here and only here; inside, the records of ``vision.walls`` and ``estimator.inputs`` are used
(see ``intake.records``).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from intake.refusing import known_keys, parse_json, validate

__all__ = ["Survey", "known_keys", "parse_json", "parse_survey", "validate"]


LONGEST_NAME = 400
Id = Annotated[str, StringConstraints(min_length=1, max_length=LONGEST_NAME, pattern=r"^[^/\\\x00-\x1f\x7f]+$")]
Name = Annotated[str, StringConstraints(min_length=1, max_length=LONGEST_NAME, pattern=r"^[^\x00-\x1f\x7f]+$")]
Millimetres = Annotated[float, Field(gt=0, le=100_000, allow_inf_nan=False)]
OffsetMm = Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]
Pixel = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]
Corner = Literal["bottom_left", "bottom_right", "top_right", "top_left"]
MarkPoint = Literal["bottom_left", "bottom_right", "top_right", "top_left", "edge_inner", "edge_outer"]
Purpose = Literal["whole", "oblique", "opening", "detail", "wall_edge", "outside", "bond"]
Answer = bool | Annotated[str, StringConstraints(max_length=200)]
Words = Annotated[str, StringConstraints(max_length=200)]
Title = Annotated[str, StringConstraints(max_length=LONGEST_NAME)]


class Strict(BaseModel):
    """A part of a file with known keys only."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class SiteAnswers(Strict):
    """What has been said about the house or one of its walls; absent where nobody has said."""

    region: Words | None = Field(default=None, description="climate region, for example east_anglia")
    nation: Words | None = Field(default=None, description="england, wales, scotland or northern_ireland")
    heating: Words | None = Field(default=None, description="heating system, for example gas_boiler")
    listed: bool | None = Field(default=None, description="listed building or conservation area")
    exposure_zone: Annotated[int, Field(ge=1, le=4)] | None = Field(
        default=None, description="wind-driven rain zone, 1 to 4"
    )
    damp: Answer | None = Field(default=None, description="signs of damp: none, or what was seen")
    joists: Answer | None = Field(default=None, description="whether joist ends are built into the wall")
    textured_coating: Answer | None = Field(default=None, description="textured coating on wall or ceiling")
    occupancy: Words | None = Field(default=None, description="how the rooms are lived in, for example family")
    ventilation: Answer | None = Field(default=None, description="extract fans, trickle vents, air bricks")
    flue: Answer | None = Field(default=None, description="flue, fire or boiler on or near the wall")
    electrics: Answer | None = Field(default=None, description="what is known of the wiring in the wall")
    lead_paint: Answer | None = Field(default=None, description="old paint that may hold lead")
    finish: Answer | None = Field(default=None, description="outer finish: brick, render, paint, tile")
    brick_condition: Answer | None = Field(default=None, description="state of bricks and pointing outside")
    party_wall: Answer | None = Field(default=None, description="whether a neighbour shares the wall")
    extra: dict[Id, Answer | float] = Field(default_factory=dict, description="further answers, kept as given")


class RoomEntry(Strict):
    """A room: its floor area and its walls, clockwise seen from above; null marks a gap."""

    id: Name = Field(description="name of the room")
    floor_area_m2: Annotated[float, Field(gt=0, le=10_000)] | None = Field(default=None, description="floor area, m2")
    walls: list[Name | None] = Field(default_factory=list, max_length=64, description="walls clockwise; null is a gap")


class ReferenceEntry(Strict):
    """A thing of known size on a wall."""

    id: Id = Field(description="name of the reference")
    kind: Literal["survey_sheet", "id1_card", "a4", "rectangle"] = Field(description="what it is")
    number: Annotated[int, Field(ge=0, le=145)] | None = Field(default=None, description="number of a survey sheet")
    bar_mm: Annotated[float, Field(ge=150, le=350)] | None = Field(
        default=None, description="a rule's reading of the bar, mm"
    )
    on: Name | None = Field(default=None, description="the wall it is fixed to")
    width_mm: Annotated[float, Field(ge=10, le=5000)] | None = Field(default=None, description="measured width, mm")
    height_mm: Annotated[float, Field(ge=10, le=5000)] | None = Field(default=None, description="measured height, mm")
    size_sd_mm: Annotated[float, Field(gt=0, le=50)] | None = Field(
        default=None, description="standard uncertainty of the measured sizes, mm"
    )

    @model_validator(mode="after")
    def _has_its_size(self) -> ReferenceEntry:
        if self.kind == "rectangle" and (self.width_mm is None or self.height_mm is None):
            raise ValueError(f'reference "{self.id}" is a rectangle: measure it and add width_mm and height_mm')
        return self


class WallTaped(Strict):
    """Dimensions of a wall read with a tape, mm."""

    width_mm: Millimetres | None = Field(default=None, description="width at half height, mm")
    width_bottom_mm: Millimetres | None = Field(default=None, description="width along the floor, mm")
    width_top_mm: Millimetres | None = Field(default=None, description="width along the ceiling, mm")
    height_mm: Millimetres | None = Field(default=None, description="height at half width, mm")
    height_left_mm: Millimetres | None = Field(default=None, description="height at the left, mm")
    height_right_mm: Millimetres | None = Field(default=None, description="height at the right, mm")
    thickness_mm: Millimetres | None = Field(default=None, description="whole thickness of the wall, mm")


class OpeningTaped(Strict):
    """Dimensions of an opening read with a tape, mm."""

    width_mm: Millimetres | None = Field(default=None, description="width on the plaster, mm")
    height_mm: Millimetres | None = Field(default=None, description="height on the plaster, mm")
    left_mm: OffsetMm | None = Field(default=None, description="from the wall's left edge to the opening, mm")
    sill_mm: OffsetMm | None = Field(default=None, description="from the floor to the opening, mm")
    reveal_depth_mm: OffsetMm | None = Field(default=None, description="plaster face to frame, mm")
    outer_reveal_mm: OffsetMm | None = Field(default=None, description="frame to outer face, mm")
    thickness_mm: Millimetres | None = Field(default=None, description="whole thickness of the wall here, mm")


class FeatureTaped(Strict):
    """Dimensions of a feature read with a tape, mm."""

    left_mm: OffsetMm | None = Field(default=None, description="from the wall's left edge, mm")
    bottom_mm: OffsetMm | None = Field(default=None, description="from the floor, mm")
    width_mm: Millimetres | None = Field(default=None, description="width, mm")
    height_mm: Millimetres | None = Field(default=None, description="height, mm")


class OpeningEntry(Strict):
    """A window, door or other opening."""

    id: Id = Field(description="name of the opening")
    kind: Words = Field(default="window", description="window, door, ...")
    frame_mm: OffsetMm | None = Field(default=None, description="depth of the frame, mm")
    outer_reveal_mm: OffsetMm | None = Field(default=None, description="frame to outer face, mm")
    visible_frame_mm: OffsetMm | None = Field(default=None, description="frame seen beside the reveal, mm")
    taped: OpeningTaped = Field(default_factory=OpeningTaped, description="tape readings")


class FeatureEntry(Strict):
    """A thing on the wall: radiator, socket, switch, pipe, vent."""

    id: Id = Field(description="name of the feature")
    kind: Words = Field(description="radiator, socket, switch, pipe, vent, ...")
    taped: FeatureTaped = Field(default_factory=FeatureTaped, description="tape readings")


class WallEntry(Strict):
    """One face of a wall."""

    id: Name = Field(description="name of the wall")
    room: Name | None = Field(default=None, description="the room it belongs to")
    side: Literal["inside", "outside"] = Field(default="inside", description="the face that is seen")
    faces: Literal["outside", "unheated", "party", "partition", "ground"] = Field(
        default="outside", description="what it faces"
    )
    line: bool = Field(default=True, description="whether it is to be lined")
    built: Annotated[int, Field(ge=1000, le=2100)] | None = Field(default=None, description="year of building")
    other_side_of: Name | None = Field(default=None, description="for an outside face: the inside wall")
    taped: WallTaped = Field(default_factory=WallTaped, description="tape readings")
    more_readings: dict[Words, Annotated[list[Millimetres], Field(max_length=20)]] = Field(
        default_factory=dict,
        max_length=200,
        description="readings by two laths of lengths that are taped already, by the tape list's key, mm",
    )
    openings: list[OpeningEntry] = Field(default_factory=list, max_length=100, description="openings")
    features: list[FeatureEntry] = Field(default_factory=list, max_length=500, description="things on the wall")
    site: SiteAnswers = Field(default_factory=SiteAnswers, description="answers for this wall alone")
    asked: list[Words] = Field(
        default_factory=list, max_length=200, description="questions of the marking page answered with no more or none"
    )


class MarkPlace(Strict):
    """Which point: a wall's corner, an opening's, a feature's or a reference's."""

    wall: Name | None = Field(default=None, description="the wall")
    opening: Id | None = Field(default=None, description="the opening, if it is an opening's corner")
    face: Literal["wall", "frame"] | None = Field(default=None, description="plaster edge or back edge of the reveal")
    feature: Id | None = Field(default=None, description="the feature, if it is a feature's corner")
    reference: Id | None = Field(default=None, description="the reference, if it is a reference's corner")


class MarkEntry(MarkPlace):
    """One pressed point."""

    point: MarkPoint = Field(description="which corner")
    px: tuple[Pixel, Pixel] = Field(description="x right, y down in the upright photo, pixels")
    proud_mm: Annotated[float, Field(ge=-500, le=500)] = Field(
        default=0.0, description="in front of the plaster by, mm"
    )
    sd_px: Annotated[float, Field(gt=0, le=200)] | None = Field(
        default=None, description="standard uncertainty, pixels"
    )

    @model_validator(mode="after")
    def _names_one_thing(self) -> MarkEntry:
        named = [name for name in ("opening", "feature", "reference") if getattr(self, name) is not None]
        if len(named) > 1:
            raise ValueError(f"a mark names one thing, not {' and '.join(named)}")
        if self.wall is None and self.reference is None:
            raise ValueError('a mark needs "wall" or "reference"')
        if self.face is not None and self.opening is None:
            raise ValueError('"face" belongs to an opening; name the opening or leave "face" out')
        if self.point in ("edge_inner", "edge_outer") and (self.feature or self.reference):
            raise ValueError(f'"{self.point}" is a point of a wall or opening')
        return self


class NotSeen(MarkPlace):
    """A point or thing that the person says cannot be seen in this photo."""

    point: MarkPoint | None = Field(default=None, description="which corner; absent for the whole thing")


class PhotoEntry(Strict):
    """One photo and what was marked in it."""

    file: Annotated[str, StringConstraints(min_length=1, max_length=500, pattern=r"^[^\x00-\x1f\x7f]+$")] = Field(
        description="path below the survey folder"
    )
    purpose: Purpose | None = Field(default=None, description="what the photo is for")
    marks: list[MarkEntry] = Field(default_factory=list, max_length=5000, description="pressed points")
    not_seen: list[NotSeen] = Field(default_factory=list, max_length=5000, description="answers 'not seen here'")

    @model_validator(mode="after")
    def _stays_in_the_folder(self) -> PhotoEntry:
        parts = self.file.replace("\\", "/").split("/")
        if parts[0] == "" or ":" in parts[0] or ".." in parts:
            raise ValueError(f'photo "{self.file}" is outside the survey folder; copy it in and name it from there')
        return self


class DesignEntry(Strict):
    """What the person has in mind."""

    insulation: Words = Field(default="phenolic", description="insulation of the board")
    insulation_mm: Annotated[float, Field(gt=0, le=500)] = Field(default=50.0, description="its thickness, mm")
    board_mm: Annotated[float, Field(gt=0, le=50)] = Field(default=12.5, description="plasterboard, mm")
    fixing: Words = Field(default="adhesive_dabs", description="how it is fixed")
    target_u: Annotated[float, Field(gt=0, le=3)] = Field(
        default=0.30, description="thermal transmittance wanted, W/m2K"
    )


class Survey(Strict):
    """The whole of survey.json."""

    schema_version: Literal[1] = Field(description="always 1")
    title: Title | None = Field(default=None, description="a name for people")
    site: SiteAnswers = Field(default_factory=SiteAnswers, description="answers about the house")
    rooms: list[RoomEntry] = Field(default_factory=list, max_length=100, description="rooms")
    references: list[ReferenceEntry] = Field(default_factory=list, max_length=200, description="things of known size")
    walls: list[WallEntry] = Field(default_factory=list, max_length=200, description="walls")
    photos: list[PhotoEntry] = Field(default_factory=list, max_length=2000, description="photos and marks")
    design: DesignEntry = Field(default_factory=DesignEntry, description="the lining in mind")

    @model_validator(mode="after")
    def _ids_are_unique(self) -> Survey:
        _refuse_repeats("rooms", [room.id for room in self.rooms])
        _refuse_repeats("references", [reference.id for reference in self.references])
        _refuse_repeats("walls", [wall.id for wall in self.walls])
        for wall in self.walls:
            things = [opening.id for opening in wall.openings] + [feature.id for feature in wall.features]
            _refuse_repeats(f'openings and features of wall "{wall.id}"', things)
        return self


def _refuse_repeats(what: str, ids: list[str]) -> None:
    repeated = sorted({name for name in ids if ids.count(name) > 1})
    if repeated:
        raise ValueError(f'{what}: the id "{repeated[0]}" is used twice; give each its own')


def parse_survey(text: str | bytes, *, name: str = "survey.json") -> Survey:
    """Return the survey that the text says.

    Parameters
    ----------
    text
        JSON text, UTF-8 if bytes.
    name
        How messages name the file.

    Raises
    ------
    PerpendError
        Not JSON, an unknown key, or a value out of its bounds; the message names the place and the remedy.
    """
    return validate(Survey, parse_json(text, name=name), name=name)
