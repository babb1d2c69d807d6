"""What happens to each thing on a wall that is lined: radiators, sockets, pipes, vents, flues, meters."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from estimator.boards import BoardRules
from estimator.inputs import Room, WallCase
from estimator.layout_records import RoomLayout
from vision.findings import Finding
from vision.walls import MeasuredFeature


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One thing that moves or must be minded.

    ``trade`` is who does it; ``where_mm`` are positions in the wall frame (and on the board for holes), by name;
    ``buy`` are quantities by key of the price list; ``ask`` is what somebody must still look at.
    """

    trade: str
    wall: str
    thing: str
    action: str
    where_mm: Mapping[str, float] = field(default_factory=dict)
    board: int | None = None
    buy: Mapping[str, float] = field(default_factory=dict)
    caution: str = ""
    ask: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What every rule needs to know of a wall."""

    case: WallCase
    room: Room
    build_up_mm: float
    lining_mm: float
    layout: RoomLayout | None
    rules: BoardRules
    neighbours: tuple[WallCase, ...]


WATER = ("water_pipe", "heating_pipe", "waste_pipe", "pipe")
BOXES = ("socket", "switch", "data", "aerial", "light", "thermostat")
VENTS = ("vent", "airbrick", "air_brick", "trickle_vent")
FLUES = ("flue", "chimney", "chimney_breast", "fireplace", "stove", "boiler_flue")
METERS = ("consumer_unit", "fuse_board", "meter", "gas_meter", "electricity_meter")
GAS = ("gas_pipe", "gas_fire", "gas_meter")
WET = ("shower", "bath", "basin", "wc", "toilet", "sink")
ELECTRICITY = "Isolate and prove dead before any cover comes off. Work on fixed wiring is for a registered electrician."
CABLE_SLACK_MM = (100, 150)  # common practice, no source


def feature_moves(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    """Return what moves with one feature of a wall, and its findings."""
    kind = feature.kind.strip().lower().replace(" ", "_").replace("-", "_")
    for kinds, rule in _RULES:
        if kind in kinds:
            return rule(s, feature)
    if kind in ("skirting", "skirting_line", "coving", "coving_line", "picture_rail"):
        return [], []
    return [
        Move(
            trade="yourself",
            wall=s.case.measured.id,
            thing=feature.id,
            action=f"take {feature.id} ({feature.kind}) off the wall and refix it on the new face, "
            f"{s.build_up_mm:g} mm forward, with fixings that reach the masonry or timber set behind the board",
            where_mm=_place(feature),
        )
    ], []


def _place(feature: MeasuredFeature) -> dict[str, float]:
    names = {
        "left_mm": feature.left_mm,
        "bottom_mm": feature.bottom_mm,
        "width_mm": feature.width_mm,
        "height_mm": feature.height_mm,
    }
    return {name: m.value for name, m in names.items() if m is not None}


def _radiator(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    forward = s.build_up_mm
    width = feature.width_mm.value if feature.width_mm else 1000.0
    return [
        Move(
            trade="plumber",
            wall=s.case.measured.id,
            thing=feature.id,
            action=f"drain and take off {feature.id}; rehang it {forward:g} mm forward on brackets fixed through to "
            "the masonry or to timber set in the lining; "
            f"move both tails by {forward:g} mm",
            where_mm=_place(feature) | {"forward_mm": forward},
            buy={"radiator_move": 1.0, "radiator_bracket": 1.0},
            caution="Hot water and pressure: let it cool and isolate before opening a valve.",
            ask=f"Have the pipes {forward:g} mm of play, or do the tails need new elbows under the floor?",
        ),
        Move(
            trade="joiner",
            wall=s.case.measured.id,
            thing=feature.id,
            action="set a timber behind the board for each bracket before the board goes up",
            where_mm=_place(feature),
            buy={"pattress_timber": 2 * width / 1000},
        ),
    ], []


def _box(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    hole, board = _hole(s, feature)
    low, high = CABLE_SLACK_MM
    return [
        Move(
            trade="electrician",
            wall=s.case.measured.id,
            thing=feature.id,
            action=f"bring {feature.id} ({feature.kind}) forward by {s.build_up_mm:g} mm: new box flush with the "
            f"board, cable with {low} to {high} mm to spare, "
            "or moved straight up or down where it is too short",
            where_mm=hole,
            board=board,
            buy={"back_box": 1.0, "socket_move": 1.0},
            caution=ELECTRICITY,
            ask="Is there spare cable? A cable inside insulation carries less (BS 7671, 523.9, from memory); PVC must "
            "not touch polystyrene.",
        ),
        Move(
            trade="yourself",
            wall=s.case.measured.id,
            thing=feature.id,
            action=f"cut the hole for {feature.id}, checked against the wall just before cutting, and seal round the "
            "box",
            where_mm=hole,
            board=board,
        ),
    ], []


def _hole(s: Setting, feature: MeasuredFeature) -> tuple[dict[str, float], int | None]:
    """Return the hole in the wall frame and on its board, and the board's number."""
    place = _place(feature)
    if s.layout is None or "left_mm" not in place or "bottom_mm" not in place:
        return place, None
    w, h = place.get("width_mm", 0.0), place.get("height_mm", 0.0)
    x, y = place["left_mm"] + w / 2, place["bottom_mm"] + h / 2
    for piece in s.layout.pieces:
        left, bottom, right, top = piece.on_wall.box
        if piece.wall == s.case.measured.id and left <= x <= right and bottom <= y <= top:
            a, b = (
                piece.to_board(place["left_mm"], place["bottom_mm"]),
                piece.to_board(place["left_mm"] + w, place["bottom_mm"] + h),
            )
            return place | {
                "board_left_mm": min(a[0], b[0]),
                "board_bottom_mm": min(a[1], b[1]),
                "board_right_mm": max(a[0], b[0]),
                "board_top_mm": max(a[1], b[1]),
            }, piece.board
    return place, None


def _water(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    wall = s.case.measured.id
    unsaid = feature.kind.strip().lower() == "pipe"
    what = (
        f"{feature.id}: nobody has said what this pipe carries; a water pipe"
        if unsaid
        else f"{feature.id} ({feature.kind.replace('_', ' ')})"
    )
    remedy = "Move it to the warm side of the lining before boarding." + (
        " If it is no water pipe, enter its kind (gas_pipe, cable, conduit)." if unsaid else ""
    )
    return [
        Move(
            trade="plumber",
            wall=wall,
            thing=feature.id,
            action=f"move {feature.id} to the room side of the lining, {s.build_up_mm:g} mm forward, boxed in on the "
            "warm side",
            where_mm=_place(feature),
            buy={"pipe_move": 1.0},
        )
    ], [
        Finding(
            code="B030",
            severity="stop",
            message=f"{wall}: {what} left between lining and wall freezes and cannot be reached.",
            remedy=remedy,
            where={"wall": wall, "feature": feature.id},
        )
    ]


def _gas(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    wall = s.case.measured.id
    return [
        Move(
            trade="gas engineer",
            wall=wall,
            thing=feature.id,
            action=f"look at {feature.id} ({feature.kind.replace('_', ' ')}) before anything is boxed in or moved",
            where_mm=_place(feature),
            caution="Gas work is for a registered gas engineer only.",
        )
    ], [
        Finding(
            code="B033",
            severity="warn",
            message=f"{wall}: {feature.id} carries or burns gas where the lining goes.",
            remedy="Ask a registered gas engineer before ordering; gas pipes must not run unventilated behind a "
            "lining.",
            where={"wall": wall, "feature": feature.id},
        )
    ]


def _vent(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    wall = s.case.measured.id
    hole, board = _hole(s, feature)
    return [
        Move(
            trade="yourself",
            wall=wall,
            thing=feature.id,
            action=f"keep {feature.id} open: sleeve it through the lining ({s.build_up_mm:g} mm longer), sealed to "
            "the board, new grille on the new face",
            where_mm=hole,
            board=board,
        )
    ], [
        Finding(
            code="B032",
            severity="warn",
            message=f"{wall}: {feature.id} ({feature.kind}) must stay open; boards must not cover it.",
            remedy="Sleeve it through. Where it feeds a fire, a boiler or an underfloor void, ask before work.",
            where={"wall": wall, "feature": feature.id},
        )
    ]


def _flue(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    wall = s.case.measured.id
    return [
        Move(
            trade="gas engineer",
            wall=wall,
            thing=feature.id,
            action=f"say whether {feature.id} is in use and how far combustible board must stay away",
            where_mm=_place(feature),
            caution="Fire and carbon monoxide: nothing that burns on or near a flue or chimney breast in use; its air "
            "supply stays open.",
        )
    ], [
        Finding(
            code="B031",
            severity="stop",
            message=f"{wall}: {feature.id} ({feature.kind.replace('_', ' ')}) is on the wall; no board that burns may "
            "go on a flue or chimney breast in use.",
            remedy="Ask a registered gas or solid-fuel engineer; leave the breast out of the lining until they have "
            "answered.",
            where={"wall": wall, "feature": feature.id},
        )
    ]


def _meter(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    wall = s.case.measured.id
    return [
        Move(
            trade="electrician",
            wall=wall,
            thing=feature.id,
            action=f"look at {feature.id} before ordering: it stays reachable and is not boarded in",
            where_mm=_place(feature),
            caution=ELECTRICITY,
        )
    ], [
        Finding(
            code="B034",
            severity="warn",
            message=f"{wall}: {feature.id} ({feature.kind.replace('_', ' ')}) stands on the wall to be lined.",
            remedy="Ask an electrician or the supplier; meters and their seals are not the householder's to move.",
            where={"wall": wall, "feature": feature.id},
        )
    ]


def _wet(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    wall = s.case.measured.id
    return [
        Move(
            trade="plumber",
            wall=wall,
            thing=feature.id,
            action=f"take off {feature.id} or line behind it as an item of its own; its connections move "
            f"{s.build_up_mm:g} mm",
            where_mm=_place(feature),
        )
    ], [wet_finding(wall, f"{feature.id} ({feature.kind}) is on the wall", feature.id)]


def _pole(s: Setting, feature: MeasuredFeature) -> tuple[list[Move], list[Finding]]:
    return [
        Move(
            trade="joiner",
            wall=s.case.measured.id,
            thing=feature.id,
            action=f"set a timber behind the board for {feature.id} and refix it {s.build_up_mm:g} mm forward",
            where_mm=_place(feature),
            buy={"pattress_timber": (feature.width_mm.value if feature.width_mm else 1500.0) / 1000},
        )
    ], []


_Rule = Callable[[Setting, MeasuredFeature], tuple[list[Move], list[Finding]]]
_RULES: tuple[tuple[tuple[str, ...], _Rule], ...] = (
    (("radiator",), _radiator),
    (BOXES, _box),
    (WATER, _water),
    (GAS, _gas),
    (VENTS, _vent),
    (FLUES, _flue),
    (METERS, _meter),
    (WET, _wet),
    (("curtain_pole", "curtain_rail", "shelf", "shelves", "cupboard", "tv_bracket"), _pole),
)


def wet_finding(wall: str, why: str, feature: str = "") -> Finding:
    """Return the warning of a wet room."""
    return Finding(
        code="B035",
        severity="warn",
        message=f"{wall}: {why}; a wet room asks for moisture-resistant board, tanking where it is splashed, and more "
        "ventilation.",
        remedy="Choose a moisture-resistant board and have the ventilation settled first.",
        where={"wall": wall} | ({"feature": feature} if feature else {}),
    )
