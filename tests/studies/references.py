"""Study: survey sheets, cards and A4 in rendered rooms: how many are found, how exactly, and that no lookalike is used.

Rooms, lights, wall finishes, fittings and phones are invented (`tests/scenes_random.py`); pictures are composed, not
traced. Sheets are judged in patches pasted into an empty 12 megapixel frame; cards, A4 and lookalikes in small pictures
taken from nearer, where they are as large in pixels as in a phone's; corners of cards in pictures of more pixels too,
where they are 70 px wide and more, as in a 12 megapixel photo from 1.5 to 3 m. A thing is found if all its corners are
within 2 % of its width (at least 1.5 px). Nothing is counted that is seen at more than 50 degrees. Light falls from
anywhere, from above oftener than from below, and the wall is dim beside whatever stands off it. Of two cards
one has a white core, and one a stripe over its whole width, two in five of them dark.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import beta

from tests.scenes import Reference, Room, Thing, render, render_reference_patch, true_pixels
from tests.scenes_draw import Camera, FloatArray, Picture
from tests.scenes_random import random_camera, random_room, random_style, random_thing
from vision.quads import inward
from vision.references import ReferenceSearch, find_references
from vision.sheet_map import TAG_CORNERS_MM
from vision.sheets import Sheet, find_tags, gather_sheets, place_sheet
from vision.walls import CORNERS, DeclaredReference, Face, Mark, Measured, ReferenceKind

DEPENDS = (
    "vision/sheets.py", "vision/tag_reading.py", "vision/tag_fit.py", "vision/sheet_map.py", "vision/paper.py",
    "vision/linear_light.py",
    "vision/quads.py", "vision/part_quads.py", "vision/side_fit.py", "vision/cards.py", "vision/card_face.py",
    "vision/card_looks.py",
    "vision/plane_view.py", "vision/side_step.py", "vision/side_light.py", "vision/side_shade.py",
    "vision/reference_search.py",
    "vision/references.py", "vision/card_pose.py",
    "tests/scenes*.py", "tests/studies/references.py",
)  # fmt: skip
SHEETS, ROOMS, NEAR_ROOMS, LOOKALIKES = 900, 320, 240, 1000
FULL = (4032, 3024)
LARGE, WHOLE, SMALL = (2016, 1512), (1344, 1008), (1008, 756)
STEEPEST_DEG, WHOLE_SHARE = 50.0, 0.6
LEAST_PX, NEAR_PX, LEAST_CONTRAST = 45.0, 70.0, 0.15
_DRAWS = 2000  # of the bootstrap
ENDS = ("tl", "tr", "br", "bl")
LOOKS = ("framed_print", "double_socket", "switch", "thermostat", "airbrick", "phone", "hook_plate", "calendar",
         "radiator", "note", "blank_plate")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetCase:
    """One sheet as it was drawn and found: sizes in px, error per tag corner, what the fit said."""

    width_px: float
    tag_px: float
    plain: bool
    curled: bool
    found: bool
    rms_px: float = 0.0
    inward_px: float = 0.0
    scaled: float = 0.0
    print_scale: float | None = None
    true_scale: float = 1.0


def run(seed: int, part: float) -> dict[str, object]:
    """Return shares found, errors and wrong uses.

    Parameters
    ----------
    seed
        Seed of everything drawn.
    part
        Share of the 900 sheets, 320 rooms with a card and an A4 sheet, 240 with a card seen from nearer, and 1,000
        pictures of lookalikes.
    """
    sheets = [c for i in range(round(SHEETS * part)) if (c := sheet_case(seed + i)) is not None]
    cards = [c for i in range(round(ROOMS * part)) for c in room_case(seed + 10_000 + i)]
    near = [c for i in range(round(NEAR_ROOMS * part)) for c in near_case(seed + 30_000 + i)]
    looks = [lookalike_case(seed + 20_000 + i) for i in range(round(LOOKALIKES * part))]
    return {
        "sheets": _told_sheets(sheets),
        "cards": _told_rectangles([c for c in cards if c["kind"] == "id1_card"], near),
        "a4": _told_rectangles([c for c in cards if c["kind"] == "a4"]),
        "lookalikes": _told_lookalikes(looks),
    }


def sheet_case(seed: int) -> SheetCase | None:
    """Return one sheet drawn and looked for, or None where it is not wholly in the picture."""
    rng = np.random.default_rng(seed)
    room = random_room(rng, references=("sheet",), things=1, opening=False)
    if not room.references:
        return None
    plain = bool(rng.random() < 0.6)
    scale = 1.0 if rng.random() < 0.8 else 0.97
    sheet = replace(room.references[0], print_scale=scale)
    if not plain:
        sheet = replace(sheet, covered=_cover(rng), curl_mm=float(rng.choice([0.0, rng.uniform(0.5, 4.0)])))
    room = replace(room, references=(sheet,))
    far = (1200.0, 4500.0) if rng.random() < 0.7 else (4000.0, 6800.0)
    aim = sheet.centre_mm if rng.random() < 0.6 else None
    camera = random_camera(rng, room, size_px=FULL, aim_mm=aim, distance_mm=far, angle_deg=50)
    if _slant_deg(camera, room, 0) > STEEPEST_DEG:
        return None
    style = random_style(rng)
    patch, corners, origin = render_reference_patch(room, camera, style, seed=seed)
    height, width = patch.shape[:2]
    if min(origin) < 0 or origin[0] + width > FULL[0] or origin[1] + height > FULL[1]:
        return None
    tags = camera.project(room.reference_points(0, scale * TAG_CORNERS_MM)).reshape(4, 4, 2)
    sides = np.linalg.norm(tags - np.roll(tags, 1, axis=1), axis=2)
    case = SheetCase(
        width_px=float(np.linalg.norm(corners[1] - corners[0])), tag_px=float(sides.min(axis=1).max()),
        plain=plain, curled=sheet.curl_mm > 0, found=False, true_scale=scale,
    )  # fmt: skip
    found = _look(patch, origin, sheet.number)
    if found is None:
        return case
    true = tags[list(found.tags)].reshape(-1, 2)
    error = found.corners_px - true
    if np.abs(error).max() > 0.02 * case.width_px + 1.5:
        return case
    return replace(
        case,
        found=True,
        rms_px=float(np.sqrt(np.mean(error**2))),
        inward_px=float(np.sum(error * found.inward_px) / np.sum(found.inward_px**2)),
        scaled=float(np.sqrt(np.mean((error / found.own_sd_px[:, None]) ** 2))),
        print_scale=None if found.print_scale is None else found.print_scale.value,
    )


def _cover(rng: np.random.Generator) -> tuple[tuple[float, float, float, float], ...]:
    """Return a strip over one end or corner of the sheet, leaving two tags or more."""
    if rng.random() < 0.5:
        return ()
    x = rng.uniform(70, 130)
    return ((x, -rng.uniform(20, 110), 150.0, rng.uniform(20, 110)),)


def _look(patch: Picture, origin: tuple[int, int], number: int) -> Sheet | None:
    frame = np.full((FULL[1], FULL[0], 3), 110, np.uint8)
    frame[origin[1] : origin[1] + patch.shape[0], origin[0] : origin[0] + patch.shape[1]] = patch
    for n, seen in gather_sheets(find_tags(patch)):
        placed = place_sheet(frame, n, {k: c + np.array(origin) for k, c in seen.items()})
        if isinstance(placed, Sheet):
            return placed if placed.number == number else None
    return None


def room_case(seed: int) -> list[dict[str, object]]:
    """Return what was found of one card and one A4 sheet in a whole picture; only those the bounds speak of."""
    rng = np.random.default_rng(seed)
    whole = rng.random() < WHOLE_SHARE
    room = random_room(rng, references=("card", "a4"), things=4)
    while whole and room.width_mm > 3000:  # a wall that fits into the picture from where a card is still 45 px wide
        room = random_room(rng, references=("card", "a4"), things=4)
    if not room.references:
        return []
    return _found_in(room, _camera_for(rng, room, whole), rng, seed, least_px=LEAST_PX)


def near_case(seed: int) -> list[dict[str, object]]:
    """Return what was found of a card in a picture of half as many pixels again each way, where it is 70 px or more."""
    rng = np.random.default_rng(seed)
    room = random_room(rng, references=("card",), things=4)
    if not room.references:
        return []
    return _found_in(room, _camera_for(rng, room, whole=False, size=LARGE), rng, seed, least_px=NEAR_PX)


def _found_in(
    room: Room, camera: Camera, rng: np.random.Generator, seed: int, *, least_px: float
) -> list[dict[str, object]]:
    style = random_style(rng)
    scene = render(room, camera, style, seed=seed)
    marks = _marks(scene.pixels, rng)
    names = [r.kind for r in room.references]
    search = find_references(scene.picture, photo="p", declared=_declared(names), marks=marks)
    known = sum(m.opening is None for m in marks) >= 2
    out: list[dict[str, object]] = []
    for k, reference in enumerate(room.references):
        true = [scene.pixels[f"ref{k}_{e}"] for e in ENDS]
        if any(p is None for p in true):
            continue
        corners = np.array(true, float)
        size = np.array([camera.width_px, camera.height_px])
        if corners.min() < 8 or (corners > size - 8).any() or _slant_deg(camera, room, k) > STEEPEST_DEG:
            continue
        wide = float(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).max())
        contrast = _contrast(reference, room, style.exposure)
        if wide < least_px or contrast < LEAST_CONTRAST:
            continue
        out.append(_judged(search, reference, corners, wide, f"r{k}") | {"known": known})
    return out


def _camera_for(rng: np.random.Generator, room: Room, whole: bool, size: tuple[int, int] = WHOLE) -> Camera:
    """Return a camera that sees the whole wall, or one nearer that sees the opening and a reference beside it."""
    if whole:
        middle = (room.width_mm / 2, room.height_mm / 2)
        return random_camera(rng, room, size_px=LARGE, aim_mm=middle, distance_mm=(2000, 2600), angle_deg=15)
    camera = random_camera(rng, room, size_px=size, distance_mm=(800, 1700))
    assert room.opening is not None
    for _ in range(30):
        place = np.array(room.references[int(rng.integers(len(room.references)))].centre_mm)
        aim = 0.5 * (place + room.opening.front_mm.mean(axis=0))
        camera = random_camera(rng, room, size_px=size, aim_mm=(float(aim[0]), float(aim[1])), distance_mm=(800, 1700))
        pixels = true_pixels(room, camera)
        if all(pixels[f"open_{e}"] is not None for e in ENDS):
            break
    return camera


def _slant_deg(camera: Camera, room: Room, k: int) -> float:
    """Return the angle at which reference k is seen, degrees from square on."""
    towards = camera.position_mm - room.reference_points(k, np.zeros((1, 2)))[0]
    return float(np.degrees(np.arccos(abs(towards[2]) / np.linalg.norm(towards))))


def _judged(
    search: ReferenceSearch, reference: Reference, corners: FloatArray, wide: float, name: str
) -> dict[str, object]:
    kind = "id1_card" if reference.kind == "card" else "a4"
    case: dict[str, object] = {"kind": kind, "wide": wide, "found": False, "confirmed": False, "wrong": False}
    for seen in search.sightings:
        if seen.reference != name:
            continue
        error, order = _error(seen.corners_px, corners)
        if np.abs(error).max() < 0.02 * wide + 1.5:
            move = inward(corners[order])
            case |= {
                "found": True,
                "confirmed": seen.confirmed,
                "rms": float(np.sqrt(np.mean(error**2))),
                "bloom": float(np.sum(error * move) / np.sum(move**2)),
                "scaled": float(np.sqrt(np.mean((error / seen.sd_px[:, None]) ** 2))),
            }
        else:
            case |= {"wrong": seen.confirmed}
    if not case["found"]:
        near = [
            r for r in search.rejected if np.linalg.norm(r.corners_px.mean(axis=0) - corners.mean(axis=0)) < wide / 4
        ]
        case["why"] = [reason for r in near for reason in r.reasons] or ["no such patch"]
        case["why"] = case["why"] if not any(f.code == "R009" for f in search.findings) else ["told apart by nobody"]
    return case


def _error(seen: FloatArray, true: FloatArray) -> tuple[FloatArray, list[int]]:
    """Return the error with the true corners in the turn that fits (a reference may hang upside down)."""
    orders = [[(i + k) % 4 for i in range(4)] for k in range(4)]
    best = min(orders, key=lambda o: float(np.abs(seen - true[o]).max()))
    return seen - true[best], best


def _contrast(reference: Reference, room: Room, exposure: float) -> float:
    """Return the contrast of a reference with the wall in its strongest colour, as the picture shows it; a share."""
    own = np.minimum(exposure * np.array(reference.colour or (0.82, 0.82, 0.80)), 0.95)
    wall = np.minimum(exposure * np.array(room.colour), 0.95)
    return float(np.max(np.abs(own - wall) / np.maximum(own, wall)))


def _declared(kinds: list[str]) -> tuple[DeclaredReference, ...]:
    sizes: dict[str, tuple[ReferenceKind, float, float, float]] = {
        "card": ("id1_card", 85.6, 53.98, 0.05),
        "a4": ("a4", 297.0, 210.0, 0.5),
    }
    out = []
    for k, name in enumerate(kinds):
        kind, w, h, sd = sizes[name]
        out.append(
            DeclaredReference(
                id=f"r{k}",
                kind=kind,
                wall="w",
                width_mm=Measured(value=w, sd=sd),
                height_mm=Measured(value=h, sd=sd),
            )
        )
    return tuple(out)


def _marks(pixels: object, rng: np.random.Generator) -> tuple[Mark, ...]:
    """Return what a person would have marked: the corners of wall and opening in view, give or take 1 px here."""
    marks = []
    ends = dict(zip(CORNERS, ("bl", "br", "tr", "tl"), strict=True))
    for corner, end in ends.items():
        for stem, opening in (("wall", None), ("open", "w1")):
            place = pixels.get(f"{stem}_{end}")  # type: ignore[attr-defined]
            if place is not None:
                at = (float(place[0] + rng.normal(0, 1)), float(place[1] + rng.normal(0, 1)))
                face: Face | None = "wall" if opening else None
                marks.append(Mark(photo="p", point=corner, px=at, wall="w", opening=opening, face=face))
    return tuple(marks)


def lookalike_case(seed: int) -> dict[str, object]:
    """Return what was made of a picture with lookalikes only, with a card and an A4 sheet declared but not there."""
    rng = np.random.default_rng(seed)
    room = random_room(rng, references=(), things=0)
    aim = (room.width_mm / 2, room.height_mm / 2)
    whole = rng.random() < 0.4
    size = WHOLE if whole else SMALL
    camera = random_camera(
        rng, room, size_px=size, aim_mm=aim, distance_mm=(1900, 3400) if whole else (1000, 2000), angle_deg=35
    )
    room = replace(room, things=_lookalikes(rng, room))
    scene = render(room, camera, random_style(rng), seed=seed)
    marks = _marks(scene.pixels, rng) if rng.random() < 0.8 else ()
    declared = find_references(scene.picture, photo="p", declared=_declared(["card", "a4"]), marks=marks)
    return {
        "used": [s.kind for s in declared.sightings if s.confirmed],
        "proposed": sum(not s.confirmed for s in declared.sightings),
        "marks": len(marks),
    }


def _lookalikes(rng: np.random.Generator, room: Room) -> tuple[Thing, ...]:
    """Return 3 to 7 lookalikes spread over the wall, clear of one another and of the opening."""
    taken = []
    if room.opening is not None:
        low, high = room.opening.front_mm.min(axis=0), room.opening.front_mm.max(axis=0)
        taken.append((low[0] - 40, low[1] - 40, high[0] + 40, high[1] + 40))
    out = []
    for _ in range(int(rng.integers(3, 8))):
        thing = random_thing(rng, str(rng.choice(LOOKS)))
        for _ in range(40):
            x = rng.uniform(60, room.width_mm - thing.width_mm - 60)
            y = rng.uniform(140, room.height_mm - thing.height_mm - 60)
            b = (x - 25, y - 25, x + thing.width_mm + 25, y + thing.height_mm + 25)
            if all(b[2] < t[0] or b[0] > t[2] or b[3] < t[1] or b[1] > t[3] for t in taken):
                taken.append(b)
                out.append(replace(thing, left_mm=x, bottom_mm=y))
                break
    return tuple(out)


def _share(good: int, of: int) -> dict[str, float]:
    return {"found": good, "of": of, "share": round(good / of, 5) if of else 1.0}


def _told_sheets(cases: list[SheetCase]) -> dict[str, object]:
    large = [c for c in cases if c.tag_px > 30]
    small = [c for c in cases if 24 <= c.tag_px <= 30]
    flat = [c for c in cases if c.found and c.plain]
    about_200 = [c for c in flat if 150 <= c.width_px <= 260]
    full = [c.print_scale for c in cases if c.print_scale is not None and c.true_scale == 1.0]
    shrunk = [c.print_scale for c in cases if c.print_scale is not None and c.true_scale == 0.97]
    return {
        "tags_over_30_px": _share(sum(c.found for c in large), len(large)),
        "tags_24_to_30_px": _share(sum(c.found for c in small), len(small)),
        "flat": len(flat),
        "at_200_px": {
            "sheets": len(about_200),
            "random_px": _root_mean_square([c.rms_px for c in about_200]),
            "inward_bias_px": _mean([c.inward_px for c in about_200]),
            "worst_inward_px": round(max((abs(c.inward_px) for c in about_200), default=0.0), 4),
        },
        "error_over_own_sd": _root_mean_square([c.scaled for c in flat]),
        "partly_covered_rms_px": _root_mean_square(
            [c.rms_px for c in cases if c.found and not c.plain and not c.curled]
        ),
        "curled_against_flat_rms_px": _root_mean_square([c.rms_px for c in cases if c.found and c.curled]),
        "print_scale_full": [len(full), _mean(full), round(float(np.std(full)), 5) if full else 0.0],
        "print_scale_97": [len(shrunk), _mean(shrunk), round(float(np.std(shrunk)), 5) if shrunk else 0.0],
    }


def _told_rectangles(cases: list[dict[str, object]], near: Sequence[dict[str, object]] = ()) -> dict[str, object]:
    """Return what was found of ``cases``, and the errors of all corners in ``near`` pictures besides."""
    known = [c for c in cases if c["known"]]
    found = [c for c in cases if c["found"]]
    everywhere = found + [c for c in near if c["found"]]
    wide = [c for c in everywhere if float(c["wide"]) >= NEAR_PX]  # type: ignore[arg-type]
    errors = [float(c["rms"]) for c in wide]  # type: ignore[arg-type]
    reasons: dict[str, int] = {}
    for c in [*cases, *near]:
        for why in c.get("why", []):  # type: ignore[attr-defined]
            key = "".join(ch for ch in str(why) if not ch.isdigit())
            reasons[key] = reasons.get(key, 0) + 1
    return {
        "over_45_px": _share(len(found), len(cases)),
        "with_marked_ends_of_the_wall": _share(sum(bool(c["found"]) for c in known), len(known)),
        "and_used": sum(bool(c["confirmed"]) for c in known),
        **({"in_near_pictures": _share(sum(bool(c["found"]) for c in near), len(near))} if near else {}),
        "wrong_used": sum(bool(c["wrong"]) for c in [*cases, *near]),
        "corner_rms_px_from_70_px": _root_mean_square(errors),
        "corner_rms_px_95": _bootstrapped(errors),
        "from_70_px": len(wide),
        "inward_px_from_70_px": _mean([float(c["bloom"]) for c in wide]),  # type: ignore[arg-type]
        "error_over_sd": _root_mean_square([float(c["scaled"]) for c in everywhere]),  # type: ignore[arg-type]
        "missed_because": reasons,
    }


def _told_lookalikes(cases: list[dict[str, object]]) -> dict[str, object]:
    used = sum(bool(c["used"]) for c in cases)
    return {
        "pictures": len(cases),
        "used": used,
        "upper_95": round(float(beta.ppf(0.95, used + 1, max(len(cases) - used, 1))), 5),
        "proposed": sum(int(c["proposed"]) > 0 for c in cases),  # type: ignore[call-overload]
        "with_marks": sum(int(c["marks"]) > 0 for c in cases),  # type: ignore[call-overload]
    }


def _mean(values: list[float]) -> float:
    return round(float(np.mean(values)), 5) if values else 0.0


def _root_mean_square(values: list[float]) -> float:
    return round(float(np.sqrt(np.mean(np.square(values)))), 5) if values else 0.0


def _bootstrapped(values: list[float]) -> list[float]:
    """Return the 95 % interval of the root mean square over things drawn again and again from those there are."""
    if not values:
        return [0.0, 0.0]
    drawn = np.random.default_rng(0).integers(0, len(values), (_DRAWS, len(values)))
    spread = np.sqrt(np.mean(np.square(np.array(values))[drawn], axis=1))
    return [round(float(x), 4) for x in np.quantile(spread, (0.025, 0.975))]
