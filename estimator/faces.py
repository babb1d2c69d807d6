"""Lining faces: the part of a measured wall that boards have to cover, in whole millimetres, or why there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from estimator.inputs import WallCase
from vision.findings import Finding
from vision.walls import Measured, MeasuredOpening, MeasuredWall

T = TypeVar("T")
BOXES = ("socket", "switch", "data", "aerial")


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """An opening as a rectangle in the wall frame, mm."""

    id: str
    kind: str
    left: int
    right: int
    bottom: int
    top: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A socket, switch or the like that no joint may cross, mm."""

    id: str
    left: int
    right: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """A wall face to be lined, mm in the wall frame: X from 0 to ``width``, the ceiling a straight line.

    ``trim_left`` and ``trim_right`` are what a neighbour's lining may take off at a corner (0 where it takes nothing).
    """

    wall: str
    width: int
    height_left: int
    height_right: int
    gaps: tuple[Gap, ...] = ()
    boxes: tuple[Box, ...] = ()

    def ceiling(self, x: float) -> float:
        """Return the height of the ceiling line at ``x``."""
        return self.height_left + (self.height_right - self.height_left) * x / self.width

    @property
    def net_area_m2(self) -> float:
        """Wall less openings, m²."""
        gross = self.width * (self.height_left + self.height_right) / 2
        return (gross - sum((g.right - g.left) * (g.top - g.bottom) for g in self.gaps)) / 1e6


def lining_face(case: WallCase) -> tuple[Face | None, list[Finding]]:
    """Return the face to be lined and what stands against it.

    Parameters
    ----------
    case
        The wall as measured and declared. Places are rounded to the nearest millimetre: foot gap and corner take up a
        fraction, and how sure a size is goes into the order by its covariance, not by rounding up.

    Returns
    -------
    tuple
        The face, or None where a size is missing or impossible, and the findings, each naming the size.
    """
    wall = case.measured
    findings: list[Finding] = []
    width = _largest(wall.width_bottom_mm, wall.width_top_mm) or _value(wall.width_mm)
    left = _value(wall.height_left_mm) or _value(wall.height_mm)
    right = _value(wall.height_right_mm) or _value(wall.height_mm)
    for key, size in (("width_mm", width), ("height_mm", left or right)):
        if size is None or not size > 0:
            findings.append(
                _stop(
                    "B001",
                    f"{wall.id}: {key} is {'not known' if size is None else f'{size:.0f} mm'}, so no boards are laid "
                    "on it.",
                    f"Mark the wall's four corners, or tape {key} and enter it.",
                    {"wall": wall.id, "key": key},
                )
            )
    if findings or width is None or not (left or right):
        return None, findings
    face_width, tall = whole_mm(width), whole_mm(max(left or 0.0, right or 0.0))
    gaps: list[Gap] = []
    for opening in wall.openings:
        gap, bad = _gap(wall.id, opening, face_width, tall)
        findings += bad
        if gap:
            gaps.append(gap)
    gaps.sort(key=lambda g: (g.left, g.bottom))
    findings += [_overlap(wall.id, a, b) for i, a in enumerate(gaps) for b in gaps[i + 1 :] if _crosses(a, b)]
    if any(f.severity == "stop" for f in findings):
        return None, findings
    boxes = tuple(
        Box(
            id=f.id,
            left=math.floor(f.left_mm.value),
            right=math.ceil(f.left_mm.value + (f.width_mm.value if f.width_mm else 0)),
        )
        for f in wall.features
        if f.kind in BOXES and f.left_mm is not None
    )
    return Face(
        wall=wall.id,
        width=face_width,
        height_left=whole_mm(left or right or 0.0),
        height_right=whole_mm(right or left or 0.0),
        gaps=tuple(gaps),
        boxes=boxes,
    ), findings


def whole_mm(size: float) -> int:
    """Return a size as boards are planned for it, in whole millimetres; a half counts up."""
    return math.floor(size + 0.5)


def _gap(wall: str, opening: MeasuredOpening, width: int, height: int) -> tuple[Gap | None, list[Finding]]:
    where = {"wall": wall, "opening": opening.id}
    known = {
        "width_mm": opening.width_mm,
        "height_mm": opening.height_mm,
        "left_mm": opening.left_mm,
        "sill_mm": opening.sill_mm,
    }
    missing = [key for key, size in known.items() if size is None]
    if opening.kind == "door" and "sill_mm" in missing:
        known["sill_mm"] = Measured(value=0.0, sd=0.0)
        missing.remove("sill_mm")
    if missing:
        return None, [
            Finding(
                code="B002",
                severity="warn",
                message=f"{wall}, opening {opening.id}: {', '.join(missing)} not known, so it is boarded over in the "
                "count.",
                remedy=f"Mark the opening's four corners on the plaster, or tape {' and '.join(missing)}.",
                where=where,
            )
        ]
    w, h, x, y = (known[key].value for key in ("width_mm", "height_mm", "left_mm", "sill_mm"))  # type: ignore[union-attr]
    findings = []
    if not w > 0 or not h > 0:
        findings.append(
            _stop("B003", f"{wall}, opening {opening.id}: {w:.0f} x {h:.0f} mm is no size.", "Tape it again.", where)
        )
    if w >= width:
        findings.append(
            _stop(
                "B004",
                f"{wall}, opening {opening.id}: width_mm {w:.0f} is not less than the wall's {width}.",
                "Tape the opening and the wall; one of them is wrong.",
                {**where, "key": "width_mm"},
            )
        )
    elif x < -SLACK_MM or x + w > width + SLACK_MM:
        findings.append(
            _stop(
                "B005",
                f"{wall}, opening {opening.id}: it runs from {x:.0f} to {x + w:.0f} mm, past the wall's ends (0 to "
                f"{width}).",
                "Check left_mm and width_mm; tape from the wall's left corner.",
                {**where, "key": "left_mm"},
            )
        )
    if y < -SLACK_MM:
        findings.append(
            _stop(
                "B006",
                f"{wall}, opening {opening.id}: sill_mm is {y:.0f}, below the floor.",
                "Measure sill_mm up from the floor line; a door has 0.",
                {**where, "key": "sill_mm"},
            )
        )
    elif y + h > height + SLACK_MM:
        findings.append(
            _stop(
                "B007",
                f"{wall}, opening {opening.id}: its head is at {y + h:.0f} mm, above the ceiling at {height}.",
                "Check sill_mm and height_mm.",
                {**where, "key": "height_mm"},
            )
        )
    if findings:
        return None, findings
    return Gap(
        id=opening.id,
        kind=opening.kind,
        left=max(0, whole_mm(x)),
        right=min(width, whole_mm(x + w)),
        bottom=max(0, whole_mm(y)),
        top=min(height, whole_mm(y + h)),
    ), []


COLD = frozenset({"outside", "unheated", "ground"})


def is_lined(case: WallCase) -> bool:
    """Whether boards go on this wall: an inside face of a wall with cold behind it that is to be lined."""
    return case.declared.line and case.declared.side == "inside" and case.declared.faces in COLD


SLACK_MM = 15.0  # an opening may stick out of its wall this far before it is called impossible (invented default)


def shifted(measured: MeasuredWall, deltas: Mapping[str, float]) -> MeasuredWall:
    """Return the wall with sizes moved by ``deltas`` (keys as in ``MeasuredWall.keys``, mm).

    Moving ``width_mm`` moves bottom and top, ``height_mm`` left and right; moving those moves the mean by half.
    """
    sizes = {key: getattr(measured, key) for key in _WALL_KEYS}
    for key, delta in deltas.items():
        for name in _MOVES.get(key, ()):
            size = sizes[name]
            if size is not None:
                share = 0.5 if name in ("width_mm", "height_mm") and key != name else 1.0
                sizes[name] = Measured(value=size.value + share * delta, sd=size.sd)
    openings = tuple(_moved(o, f"openings.{o.id}.", deltas) for o in measured.openings)
    features = tuple(_moved(f, f"features.{f.id}.", deltas) for f in measured.features)
    return replace(measured, openings=openings, features=features, outline_mm=None, **sizes)


_WALL_KEYS = ("width_mm", "width_bottom_mm", "width_top_mm", "height_mm", "height_left_mm", "height_right_mm")
_MOVES = {
    "width_mm": ("width_mm", "width_bottom_mm", "width_top_mm"),
    "height_mm": ("height_mm", "height_left_mm", "height_right_mm"),
    "width_bottom_mm": ("width_bottom_mm", "width_mm"),
    "width_top_mm": ("width_top_mm", "width_mm"),
    "height_left_mm": ("height_left_mm", "height_mm"),
    "height_right_mm": ("height_right_mm", "height_mm"),
}


def _moved(thing: T, prefix: str, deltas: Mapping[str, float]) -> T:
    changes = {}
    for key, delta in deltas.items():
        if key.startswith(prefix):
            name = key.removeprefix(prefix)
            size = getattr(thing, name, None)
            if isinstance(size, Measured):
                changes[name] = Measured(value=size.value + delta, sd=size.sd)
    return replace(thing, **changes) if changes else thing  # type: ignore[type-var]


def _value(size: Measured | None) -> float | None:
    return None if size is None else size.value


def _largest(a: Measured | None, b: Measured | None) -> float | None:
    values = [m.value for m in (a, b) if m is not None]
    return max(values) if values else None


def _crosses(a: Gap, b: Gap) -> bool:
    return a.left < b.right and b.left < a.right and a.bottom < b.top and b.bottom < a.top


def _overlap(wall: str, a: Gap, b: Gap) -> Finding:
    return _stop(
        "B008",
        f"{wall}: openings {a.id} ({a.left} to {a.right} mm) and {b.id} ({b.left} to {b.right} mm) overlap.",
        "Check their left_mm and width_mm; tape the pier between them.",
        {"wall": wall, "opening": b.id},
    )


def _stop(code: str, message: str, remedy: str, where: dict[str, str]) -> Finding:
    return Finding(code=code, severity="stop", message=message, remedy=remedy, where=where)
