"""Cards, A4 sheets and rectangles in one photo: which declared reference is which candidate, and how sure that is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.cards import Candidate, Target, find_rectangles, with_hand_marks
from vision.findings import Finding
from vision.linear_light import Picture
from vision.plane_view import PlaneView
from vision.quads import Quad, inward
from vision.walls import SHEET_CORNERS, DeclaredReference, FloatArray, Mark, ReferenceKind, Sighting

# Rest of bloom and side face that no fit knows, and how much better the best must be than the next (in chi-square).
CORNER_SD_PX = 0.08
# Spread of a whole outline that the sides' common blur and their shadows leave beyond what the fit states. Cards: 0.07
# px root mean square on our composed pictures, 0.10 on 17 pictures of two path tracers. Paper hardly throws a shadow:
# A4 0.06 px on composed pictures and on 13 traced ones.
OUTLINE_SPREAD_SD_PX: dict[ReferenceKind, float] = {
    "id1_card": 0.09,
    "a4": 0.08,
    "rectangle": 0.10,
    "survey_sheet": 0.08,
}
CLEAR_GAP = 8.0
MOST_REJECTED = 3

_ANOTHER = "another thing in this photo could be it just as well"
_UNSIZED = "nothing in this photo says how large it is"
_CHECK_SIZE = "Mark its four corners, or the four corners of the wall, so that its size can be checked."
_CONFIRM = "Mark its four corners if it is; a survey sheet is surer."
KIND_WORDS: dict[ReferenceKind, str] = {
    "survey_sheet": "survey sheet",
    "id1_card": "card",
    "a4": "A4 sheet",
    "rectangle": "rectangle",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A candidate that was not used: what it was tried as, where (4, 2) px, and every reason against it."""

    kind: ReferenceKind
    corners_px: FloatArray
    reasons: tuple[str, ...]
    number: int | None = None


@dataclass(slots=True)
class Found:
    """What the search has gathered so far."""

    sightings: list[Sighting]
    rejected: list[Rejected]
    findings: list[Finding]


def hand_marked(
    picture: Picture,
    photo: str,
    declared: Iterable[DeclaredReference],
    marks: Sequence[Mark],
    views: Mapping[str | None, Sequence[PlaneView]],
) -> list[Sighting]:
    """Return the sightings of references whose four corners a person marked, refined where the pixels agree.

    ``views`` gives what is known of each wall's plane, best first.
    """
    out = []
    for d in declared:
        own = {m.point: m for m in marks if m.reference == d.id}
        if d.kind == "survey_sheet" or not all(c in own for c in SHEET_CORNERS):
            continue
        corners = np.array([own[c].px for c in SHEET_CORNERS], float)
        sd = float(np.mean([own[c].sd_px for c in SHEET_CORNERS]))
        candidate = with_hand_marks(picture, corners, _target(d), next(iter(views.get(d.wall, ())), None), sd)
        note = candidate.reasons or ("corners marked by hand, refined on the picture",)
        out.append(sighting(replace(candidate, reasons=note), d.id, d.kind, photo, confirmed=True))
    return out


def _target(d: DeclaredReference) -> Target:
    return Target.of(d.kind, d.width_mm.value, d.height_mm.value)


def sighting(candidate: Candidate, name: str, kind: ReferenceKind, photo: str, *, confirmed: bool) -> Sighting:
    """Return a candidate as a sighting; dark things shrink as light spreads, light ones grow."""
    sign = 1.0 if candidate.darker else -1.0
    return Sighting(
        reference=name,
        kind=kind,
        photo=photo,
        model_mm=candidate.model_mm,
        points_px=candidate.corners_px,
        sd_px=np.hypot(candidate.sd_px, CORNER_SD_PX),
        bloom_px=sign * inward(candidate.corners_px),
        corners_px=candidate.corners_px,
        confirmed=confirmed,
        spread_sd_px=OUTLINE_SPREAD_SD_PX[kind],
        notes=candidate.reasons,
    )


def search_declared(
    picture: Picture,
    quads: Sequence[Quad],
    photo: str,
    declared: Sequence[DeclaredReference],
    views: dict[str | None, list[PlaneView]],
) -> Found:
    """Return sightings of declared cards, A4 sheets and rectangles that nobody marked.

    ``views`` gives what is known of each wall's plane, best first; under None what holds for an unknown wall.
    """
    found = Found([], [], [])
    groups: dict[tuple[Target, str | None], list[DeclaredReference]] = {}
    for d in declared:
        groups.setdefault((_target(d), d.wall), []).append(d)
    for (target, wall), group in groups.items():
        choices: list[PlaneView | None] = [*(views.get(wall) or views.get(None) or [])] or [None]
        for view in choices:
            candidates = find_rectangles(picture, quads, target, view, count=len(group))
            if any(not c.reasons for c in candidates):
                break
        _assign(found, group, target, candidates, view, photo)
    return found


def _assign(
    found: Found,
    group: Sequence[DeclaredReference],
    target: Target,
    candidates: Sequence[Candidate],
    view: PlaneView | None,
    photo: str,
) -> None:
    passing = [c for c in candidates if not c.reasons]
    failing = [c for c in candidates if c.reasons]
    n = len(group)
    clear = len(passing) >= n and _clear(passing[:n], passing[n:])
    sized = view is not None and view.strong
    chosen = sorted(passing[:n], key=lambda c: float(c.corners_px[:, 0].mean()))
    if len(passing) >= n:
        for d, c in zip(group, chosen, strict=True):
            doubts = [*c.doubts, *([] if clear else [_ANOTHER]), *([] if sized else [_UNSIZED])]
            found.sightings.append(sighting(c, d.id, d.kind, photo, confirmed=not doubts))
            if doubts:
                found.findings.append(_unsure(d, c, photo, doubts[0]))
    elif passing:
        found.findings += [_which_one(d, n, len(passing), photo) for d in group]
    others = [Rejected(kind=target.kind, corners_px=c.corners_px, reasons=c.reasons) for c in failing]
    others += [
        Rejected(kind=target.kind, corners_px=c.corners_px, reasons=("another candidate fits better",))
        for c in (passing[n:] if len(passing) >= n else passing)
    ]
    found.rejected += others[:MOST_REJECTED]


def _clear(chosen: Sequence[Candidate], rivals: Sequence[Candidate]) -> bool:
    """Return whether those chosen fit so much better than any rival; half as much does where only that is doubtful."""
    sure = not any(c.doubts for c in chosen)
    return all(
        rival.misfit - chosen[-1].misfit > (CLEAR_GAP / 2 if rival.doubts and sure else CLEAR_GAP) for rival in rivals
    )


def _unsure(d: DeclaredReference, c: Candidate, photo: str, why: str) -> Finding:
    x, y = c.corners_px.mean(axis=0)
    return Finding(
        code="R008" if why in (_UNSIZED, _ANOTHER) else "R011",  # more evidence of scale may still settle the first
        severity="note",
        message=f"What may be the {KIND_WORDS[d.kind]} {d.id} at ({x:.0f}, {y:.0f}) was not used: {why}.",
        remedy=_CHECK_SIZE if why in (_UNSIZED, _ANOTHER) else _CONFIRM,
        where={"photo": photo, "reference": d.id},
    )


def _which_one(d: DeclaredReference, declared: int, seen: int, photo: str) -> Finding:
    return Finding(
        code="R009",
        severity="note",
        message=f"{declared} references like {d.id} are declared on one wall and {seen} shows in this photo.",
        remedy=f"Mark the four corners of the one that this photo shows as {d.id} or as the other.",
        where={"photo": photo, "reference": d.id},
    )


def search_undeclared(
    picture: Picture, quads: Sequence[Quad], photo: str, view: PlaneView | None, kinds: Iterable[ReferenceKind]
) -> Found:
    """Return proposals: things like a card or an A4 sheet that nobody declared. They never set the scale."""
    found = Found([], [], [])
    for kind in kinds:
        candidates = find_rectangles(picture, quads, Target.of(kind), view, count=MOST_REJECTED)
        passing = [c for c in candidates if not c.reasons][:MOST_REJECTED]
        for i, c in enumerate(passing):
            name = f"{'card' if kind == 'id1_card' else kind}-{i + 1}"
            found.sightings.append(sighting(c, name, kind, photo, confirmed=False))
            x, y = c.corners_px.mean(axis=0)
            found.findings.append(
                Finding(
                    code="R010",
                    severity="note",
                    message=f"What may be {'an' if kind == 'a4' else 'a'} {KIND_WORDS[kind]} is at ({x:.0f}, {y:.0f}); "
                    "nothing is scaled by it.",
                    remedy="If it is one, say so on the marking page; if not, leave it.",
                    where={"photo": photo, "reference": name},
                )
            )
        found.rejected += [
            Rejected(kind=kind, corners_px=c.corners_px, reasons=c.reasons) for c in candidates if c.reasons
        ][:MOST_REJECTED]
    return found
