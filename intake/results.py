"""The schema of the files that the commands write: geometry.json, check.json and the frame of estimate.json."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from intake.survey import Strict

PixelPair = tuple[float, float]
MmPair = tuple[float, float]


class ValueSd(Strict):
    """A measured value and its standard uncertainty, in the unit of the key that holds it."""

    value: float = Field(description="the value")
    sd: float = Field(ge=0, description="its standard uncertainty")


class FindingEntry(Strict):
    """One thing that the person should know."""

    code: str = Field(description="stable code")
    severity: Literal["stop", "warn", "note"] = Field(description="stop: do not use this number")
    where: dict[str, str] = Field(default_factory=dict, description="the place in the survey")
    message: str = Field(description="what was wrong and the value")
    remedy: str = Field(description="what to do next")


class OpeningResult(Strict):
    """An opening as measured; null where it could not be."""

    id: str = Field(description="name of the opening")
    kind: str = Field(default="window", description="window, door, ...")
    width_mm: ValueSd | None = Field(default=None, description="mean of bottom and top")
    height_mm: ValueSd | None = Field(default=None, description="mean of left and right")
    left_mm: ValueSd | None = Field(default=None, description="from the wall's left edge")
    sill_mm: ValueSd | None = Field(default=None, description="from the floor line")
    reveal_depth_mm: ValueSd | None = Field(default=None, description="plaster face to frame")
    outer_reveal_mm: ValueSd | None = Field(default=None, description="frame to outer face")
    thickness_mm: ValueSd | None = Field(default=None, description="whole wall")
    frame_mm: float | None = Field(default=None, description="depth of the frame, as declared")
    visible_frame_mm: float | None = Field(default=None, description="visible frame, as declared")
    front_mm: list[MmPair] | None = Field(default=None, description="outline on the plaster, wall frame")
    back_mm: list[MmPair] | None = Field(default=None, description="outline at the frame, wall frame")


class FeatureResult(Strict):
    """A feature as measured."""

    id: str = Field(description="name of the feature")
    kind: str = Field(default="other", description="radiator, socket, ...")
    left_mm: ValueSd | None = Field(default=None, description="from the wall's left edge")
    bottom_mm: ValueSd | None = Field(default=None, description="from the floor line")
    width_mm: ValueSd | None = Field(default=None, description="width")
    height_mm: ValueSd | None = Field(default=None, description="height")


class ConstructionResult(Strict):
    """What the wall is made of, as far as can be told."""

    verdict: str = Field(description="solid_brick, cavity_empty, ..., unknown")
    probability: dict[str, float] = Field(default_factory=dict, description="of each construction")
    cues: list[dict[str, Any]] = Field(default_factory=list, description="what spoke for it")
    family: dict[str, float] = Field(default_factory=dict, description="solid, cavity, half_brick, stone, ...")
    likeliest: str | None = Field(default=None, description="the likeliest, also where the verdict is unknown")
    thickness_mm: ValueSd | None = Field(default=None, description="the whole thickness used")
    settle: str = Field(default="", description="the one photo or check that would settle it")
    follows: str = Field(default="", description="what follows from the verdict")


class Covariance(Strict):
    """The joint covariance of a wall's sizes, mm2."""

    keys: list[str] = Field(description="names of the rows: width_bottom_mm, openings.w1.width_mm, ...")
    matrix: list[list[float]] = Field(description="rows and columns as keys")


class CauseResult(Strict):
    """One source of uncertainty and its share of the variance."""

    source: str = Field(description="what")
    share: float = Field(description="0 to 1")


class HelpResult(Strict):
    """One more photo or reading and what it would bring."""

    action: str = Field(description="what to do")
    key: str = Field(description="the size that it helps")
    sd_before_mm: float = Field(description="standard uncertainty now")
    sd_after_mm: float = Field(description="standard uncertainty then")


class Rectified(Strict):
    """The straightened picture of a wall."""

    file: str = Field(description="below results/")
    sha256: str | None = Field(
        default=None, description="of the file, so that another run's picture is not taken for it"
    )
    mm_per_px: float = Field(gt=0, description="scale")
    left_mm: float = Field(default=0.0, description="X of the picture's left border")
    top_mm: float | None = Field(default=None, description="Y of the picture's upper border")


class ViewResult(Strict):
    """Where a wall's outline lies in one photo."""

    photo: str = Field(description="the photo")
    outline_px: list[PixelPair] = Field(description="the wall's outline, corner by corner, edges sampled")


class WallResult(Strict):
    """A wall as measured."""

    id: str = Field(description="name of the wall")
    status: Literal["measured", "proposed", "taped", "not_measured"] = Field(
        default="measured", description="proposed: outline found without a person, not confirmed"
    )
    width_mm: ValueSd | None = Field(default=None, description="mean of bottom and top")
    width_bottom_mm: ValueSd | None = Field(default=None, description="along the floor")
    width_top_mm: ValueSd | None = Field(default=None, description="along the ceiling")
    height_mm: ValueSd | None = Field(default=None, description="mean of left and right")
    height_left_mm: ValueSd | None = Field(default=None, description="at the left")
    height_right_mm: ValueSd | None = Field(default=None, description="at the right")
    openings: list[OpeningResult] = Field(default_factory=list, description="openings")
    features: list[FeatureResult] = Field(default_factory=list, description="features")
    construction: ConstructionResult | None = Field(default=None, description="solid or cavity")
    gross_area_m2: ValueSd | None = Field(default=None, description="area of the outline")
    net_area_m2: ValueSd | None = Field(default=None, description="less the openings")
    thickness_mm: ValueSd | None = Field(default=None, description="whole thickness as read directly")
    rectified: Rectified | None = Field(default=None, description="straightened picture")
    outline_mm: list[MmPair] | None = Field(default=None, description="corners in the wall frame")
    covariance: Covariance | None = Field(default=None, description="joint covariance of the sizes")
    limits: list[CauseResult] = Field(default_factory=list, description="what limits the result")
    advice: list[HelpResult] = Field(default_factory=list, description="what would help most")
    views: list[ViewResult] = Field(default_factory=list, description="where the wall is in the photos")


class ReferenceResult(Strict):
    """A reference as looked for."""

    id: str = Field(description="name of the reference")
    kind: str = Field(description="survey_sheet, id1_card, a4, rectangle")
    number: int | None = Field(default=None, description="number of a survey sheet")
    wall: str | None = Field(default=None, description="the wall it is on")
    photo: str | None = Field(default=None, description="where it was seen")
    found: bool = Field(description="whether it was found")
    confirmed: bool = Field(default=True, description="false for a proposal that sets no scale")
    corners_px: list[PixelPair] | None = Field(
        default=None, description="top_left, top_right, bottom_right, bottom_left"
    )


class BrickShape(Strict):
    """A bed joint or a brick as found in a photo of the outside."""

    kind: Literal["bed", "stretcher", "header"] = Field(description="a joint's line, or a brick's outline")
    points_px: list[PixelPair] = Field(description="along the joint, or round the brick")


class BrickworkResult(Strict):
    """The brickwork that one photo of the outside shows."""

    walls: list[str] = Field(default_factory=list, description="the inside walls behind it")
    bond: str = Field(description="the likeliest bond, or none_to_read")
    probability: float = Field(description="how sure the bond is, 0 to 1")
    courses: int = Field(default=0, description="courses read")
    bricks: int = Field(default=0, description="bricks read")
    course_height_mm: ValueSd | None = Field(default=None, description="height of a course with its joint")
    stretcher_mm: ValueSd | None = Field(default=None, description="length of a stretcher with its joint")
    header_share: ValueSd | None = Field(default=None, description="headers as a share of all bricks")
    shapes: list[BrickShape] = Field(default_factory=list, description="joints and bricks, to be drawn over the photo")


class PhotoResult(Strict):
    """A photo as read."""

    file: str = Field(description="below the survey folder")
    usable: bool = Field(description="whether it can be measured from")
    purpose: str | None = Field(default=None, description="what it is for")
    width_px: int | None = Field(default=None, description="width, upright")
    height_px: int | None = Field(default=None, description="height, upright")
    brickwork: BrickworkResult | None = Field(default=None, description="the brickwork outside, where it was read")


class Geometry(Strict):
    """The whole of results/geometry.json."""

    schema_version: Literal[1] = Field(default=1, description="always 1")
    inputs_sha256: str = Field(description="hash of all that went in")
    perpend_version: str = Field(description="the program that wrote it")
    walls: list[WallResult] = Field(default_factory=list, description="walls")
    references: list[ReferenceResult] = Field(default_factory=list, description="references")
    photos: list[PhotoResult] = Field(default_factory=list, description="photos")
    findings: list[FindingEntry] = Field(default_factory=list, description="worst first")


class PhotoCheck(Strict):
    """One photo as judged by ``perpend check``."""

    file: str = Field(description="below the survey folder")
    usable: bool = Field(description="good for its job")
    purpose: str | None = Field(default=None, description="what it seems to be for")
    width_px: int | None = Field(default=None, description="width, upright")
    height_px: int | None = Field(default=None, description="height, upright")
    references: list[str] = Field(default_factory=list, description="references found")
    walls: list[str] = Field(default_factory=list, description="walls that it shows")
    blur_px: float | None = Field(default=None, description="standard deviation of the blur where it matters, pixels")
    reference_px: float | None = Field(default=None, description="longer side of the largest reference, pixels")
    view_angle_deg: float | None = Field(default=None, description="angle between the view and the wall's normal")
    camera: str | None = Field(default=None, description="where the lens prior comes from")


class WallCheck(Strict):
    """What is still missing of one wall and what to expect of it."""

    id: str = Field(description="name of the wall")
    photos: list[str] = Field(default_factory=list, description="photos that show it")
    missing: list[str] = Field(default_factory=list, description="what is still missing")
    predicted_sd_mm: float | None = Field(default=None, description="standard uncertainty of the width to expect")
    best_help: str | None = Field(default=None, description="the one photo or reading that helps most")


class Check(Strict):
    """The whole of results/check.json."""

    schema_version: Literal[1] = Field(default=1, description="always 1")
    inputs_sha256: str = Field(description="hash of all that went in")
    perpend_version: str = Field(description="the program that wrote it")
    photos: list[PhotoCheck] = Field(default_factory=list, description="photos")
    walls: list[WallCheck] = Field(default_factory=list, description="walls")
    findings: list[FindingEntry] = Field(default_factory=list, description="worst first")
    message: str = Field(default="", description="ready to send to the client; empty when nothing is wrong")


class EstimateFrame(BaseModel):
    """The part of results/estimate.json that every reader may rely on; further keys are allowed below it."""

    model_config = ConfigDict(extra="allow")

    schema_version: Literal[1] = Field(default=1, description="always 1")
    inputs_sha256: str = Field(description="hash of all that went in")
    rooms: list[dict[str, Any]] = Field(default_factory=list, description="boards by room")
    walls: list[dict[str, Any]] = Field(default_factory=list, description="heat, options and verdict by wall")
    tape_list: list[dict[str, Any]] = Field(default_factory=list, description="what to tape, first things first")
    order: list[dict[str, Any]] = Field(default_factory=list, description="what to buy")
    findings: list[FindingEntry] = Field(default_factory=list, description="worst first")


SCHEMAS: dict[str, type[BaseModel]] = {"geometry": Geometry, "check": Check, "estimate": EstimateFrame}
