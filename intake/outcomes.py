"""Conversions of what was measured: records to the files' schema and back, and walls drawn from tape alone."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from intake.results import (
    CauseResult,
    Covariance,
    FeatureResult,
    FindingEntry,
    HelpResult,
    OpeningResult,
    ValueSd,
    WallResult,
)
from vision.findings import Finding
from vision.walls import Cause, DeclaredWall, Help, Measured, MeasuredFeature, MeasuredOpening, MeasuredWall

KEYS_DIGITS = 6


def finding_entry(finding: Finding) -> FindingEntry:
    """Return the finding as written to a file."""
    return FindingEntry(
        code=finding.code,
        severity=finding.severity,
        where=dict(finding.where),
        message=finding.message,
        remedy=finding.remedy,
    )


def finding_of(entry: FindingEntry) -> Finding:
    """Return the finding as read from a file."""
    return Finding(
        code=entry.code,
        severity=entry.severity,
        message=entry.message,
        remedy=entry.remedy,
        where=dict(entry.where),
    )


def _round(value: float) -> float:
    """Return the value without the digits that no machine agrees on: six after the point."""
    return round(float(value), KEYS_DIGITS) + 0.0


def value_sd(measured: Measured | None) -> ValueSd | None:
    """Return the measured value as written to a file; None where it is missing or not finite."""
    if measured is None or not (math.isfinite(measured.value) and math.isfinite(measured.sd)):
        return None
    return ValueSd(value=_round(measured.value), sd=_round(measured.sd))


def measured_of(entry: ValueSd | None) -> Measured | None:
    """Return the measured value as read from a file."""
    return None if entry is None else Measured(value=entry.value, sd=entry.sd)


WALL_KEYS = (
    "width_mm",
    "width_bottom_mm",
    "width_top_mm",
    "height_mm",
    "height_left_mm",
    "height_right_mm",
    "gross_area_m2",
    "net_area_m2",
)
"""Sizes of a wall's face, as the report lists them."""
OPENING_KEYS = (
    "width_mm",
    "height_mm",
    "left_mm",
    "sill_mm",
    "reveal_depth_mm",
    "outer_reveal_mm",
    "thickness_mm",
)
FEATURE_KEYS = ("left_mm", "bottom_mm", "width_mm", "height_mm")


def _points(points: tuple[tuple[float, float], ...] | None) -> list[tuple[float, float]] | None:
    return None if points is None else [(_round(x), _round(y)) for x, y in points]


def wall_result(wall: MeasuredWall) -> WallResult:
    """Return the measured wall as written to geometry.json (its findings go to the file's own list)."""
    covariance = None
    if wall.covariance_mm2 is not None and len(wall.keys):
        matrix = [[_round(value) for value in row] for row in np.asarray(wall.covariance_mm2).tolist()]
        covariance = Covariance(keys=list(wall.keys), matrix=matrix)
    sizes: dict[str, Any] = {key: value_sd(getattr(wall, key)) for key in (*WALL_KEYS, "thickness_mm")}
    return WallResult(
        id=wall.id,
        openings=[
            OpeningResult(
                id=opening.id,
                kind=opening.kind,
                frame_mm=opening.frame_mm,
                visible_frame_mm=opening.visible_frame_mm,
                front_mm=_points(opening.front_mm),
                back_mm=_points(opening.back_mm),
                **{key: value_sd(getattr(opening, key)) for key in OPENING_KEYS},
            )
            for opening in wall.openings
        ],
        features=[
            FeatureResult(
                id=feature.id, kind=feature.kind, **{key: value_sd(getattr(feature, key)) for key in FEATURE_KEYS}
            )
            for feature in wall.features
        ],
        outline_mm=_points(wall.outline_mm),
        covariance=covariance,
        limits=[CauseResult(source=cause.source, share=_round(cause.share)) for cause in wall.limits],
        advice=[
            HelpResult(
                action=item.action,
                key=item.key,
                sd_before_mm=_round(item.sd_before_mm),
                sd_after_mm=_round(item.sd_after_mm),
            )
            for item in wall.advice
        ],
        **sizes,
    )


def measured_wall(result: WallResult, findings: tuple[Finding, ...] = ()) -> MeasuredWall:
    """Return the wall as measured, from geometry.json's entry."""
    covariance = result.covariance
    sizes: dict[str, Any] = {key: measured_of(getattr(result, key)) for key in (*WALL_KEYS, "thickness_mm")}
    return MeasuredWall(
        id=result.id,
        openings=tuple(
            MeasuredOpening(
                id=opening.id,
                kind=opening.kind,
                frame_mm=opening.frame_mm,
                visible_frame_mm=opening.visible_frame_mm,
                front_mm=tuple(opening.front_mm) if opening.front_mm is not None else None,
                back_mm=tuple(opening.back_mm) if opening.back_mm is not None else None,
                **{key: measured_of(getattr(opening, key)) for key in OPENING_KEYS},
            )
            for opening in result.openings
        ),
        features=tuple(
            MeasuredFeature(
                id=feature.id, kind=feature.kind, **{key: measured_of(getattr(feature, key)) for key in FEATURE_KEYS}
            )
            for feature in result.features
        ),
        outline_mm=tuple(result.outline_mm) if result.outline_mm is not None else None,
        keys=tuple(covariance.keys) if covariance is not None else (),
        covariance_mm2=np.array(covariance.matrix, dtype=np.float64) if covariance is not None else None,
        limits=tuple(Cause(source=cause.source, share=cause.share) for cause in result.limits),
        advice=tuple(
            Help(action=item.action, key=item.key, sd_before_mm=item.sd_before_mm, sd_after_mm=item.sd_after_mm)
            for item in result.advice
        ),
        findings=findings,
        **sizes,
    )


TAPE_SD_MM = 2.0
"""Standard uncertainty of a householder's tape reading, mm (judgement; class II tapes allow 1.3 mm at 4 m)."""


def with_taped_shape(measured: MeasuredWall, declared: DeclaredWall) -> MeasuredWall:
    """Return a wall without photos with the outlines that its tape readings allow, drawn square.

    Parameters
    ----------
    measured
        The wall from its tape readings.
    declared
        The wall as declared; feature readings stand under ``features.ID.KEY``.
    """
    outline = None
    if measured.width_mm is not None and measured.height_mm is not None:
        outline = _rectangle(0.0, 0.0, measured.width_mm.value, measured.height_mm.value)
    openings = tuple(
        replace(opening, front_mm=_front(opening)) if opening.front_mm is None else opening
        for opening in measured.openings
    )
    features = tuple(_taped_feature(feature, declared.taped) for feature in measured.features)
    return replace(measured, outline_mm=measured.outline_mm or outline, openings=openings, features=features)


def _rectangle(x: float, y: float, width: float, height: float) -> tuple[tuple[float, float], ...]:
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def _front(opening: MeasuredOpening) -> tuple[tuple[float, float], ...] | None:
    left, sill, width, height = opening.left_mm, opening.sill_mm, opening.width_mm, opening.height_mm
    if left is None or sill is None or width is None or height is None:
        return None
    return _rectangle(left.value, sill.value, width.value, height.value)


def _taped_feature(feature: MeasuredFeature, taped: Mapping[str, float]) -> MeasuredFeature:
    """Return the feature with its tape readings where it was not measured."""
    read: dict[str, Any] = {}
    for key in FEATURE_KEYS:
        name = f"features.{feature.id}.{key}"
        if getattr(feature, key) is None and name in taped:
            read[key] = Measured(value=taped[name], sd=TAPE_SD_MM)
    return replace(feature, **read) if read else feature
