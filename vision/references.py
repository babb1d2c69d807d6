"""All references in one photo: survey sheets by themselves, other kinds where declared, marked or asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.findings import Finding
from vision.linear_light import Picture
from vision.plane_view import PlaneView, heights_in, opening_outlines, view_of_sheet, views_of_marks
from vision.quads import Quad, find_quads
from vision.reference_search import KIND_WORDS, Rejected, hand_marked, search_declared, search_undeclared
from vision.sheets import NotASheet, Sheet, find_sheets
from vision.walls import DeclaredReference, FloatArray, Mark, ReferenceKind, Sighting

__all__ = [
    "UNSURE_OF_SIZE", "ReferenceSearch", "Rejected", "find_references", "never_found", "opening_heights",
]  # fmt: skip

SCALE_OFF = 3.0  # a print scale this many sd from what was declared is a finding
CURLED_PX = 0.25
SHEET_MM = (297.0, 210.0)
UNSURE_OF_SIZE = "R008"  # a declared thing was found but could not be told by its size
PROPOSED: tuple[ReferenceKind, ...] = ("id1_card", "a4")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSearch:
    """What one photo shows of references: sightings, the next-best candidates with reasons, and findings."""

    sightings: tuple[Sighting, ...]
    rejected: tuple[Rejected, ...] = ()
    findings: tuple[Finding, ...] = ()


def find_references(
    picture: Picture,
    *,
    photo: str,
    declared: Sequence[DeclaredReference] = (),
    marks: Sequence[Mark] = (),
    propose: bool = False,
    opening_heights_mm: Mapping[tuple[str, str], float] | None = None,
) -> ReferenceSearch:
    """Return the references seen in one photo, what was rejected and why, and what the person should know.

    Parameters
    ----------
    picture
        The upright photo at full resolution, uint8 (h, w, 3) BGR or (h, w).
    photo
        The photo's file name, for the records.
    declared
        References of the survey. Survey sheets need no entry; cards, A4 and rectangles are looked for only if declared.
    marks
        Marked corners; those of a reference in this photo start its refinement.
    propose
        Also look for cards and A4 sheets that nobody declared; they come back unconfirmed and must not set the scale.
    opening_heights_mm
        Heights of openings by wall and opening, as `opening_heights` read them from other photos: rough evidence of
        scale where this photo shows no end of the wall.

    Returns
    -------
    ReferenceSearch
        Undeclared sheets are called ``sheet-<number>``.
    """
    # Where only other kinds are declared, a sheet would be a surprise: one look for it is enough. Where other kinds are
    # looked for too, the whole must not cost more: the smallest sheets are then not looked for.
    expected = any(d.kind == "survey_sheet" for d in declared) or not declared
    alone = all(d.kind == "survey_sheet" for d in declared) and not propose
    sheets, others = find_sheets(picture, thorough=expected, full_size=alone)
    sightings: list[Sighting] = []
    findings: list[Finding] = []
    for sheet in sheets:
        name = _sheet_name(sheet.number, declared, [s.number for s in sheets])
        sightings.append(_sheet_sighting(sheet, name, photo))
        findings += _sheet_findings(sheet, name, photo, declared)
    findings += _twice(sheets, photo) + [_not_a_sheet(o, photo) for o in others]
    rejected = [
        Rejected(kind="survey_sheet", corners_px=o.corners_px, reasons=(o.reason,), number=o.number) for o in others
    ]
    here = [m for m in marks if m.photo == photo]
    by_marks = views_of_marks(here, (picture.shape[1], picture.shape[0]), opening_heights_mm)
    views = _views(sheets, sightings, declared, by_marks)
    marked = hand_marked(picture, photo, declared, here, views)
    sightings += marked
    wanted = [d for d in declared if d.kind != "survey_sheet" and d.id not in {s.reference for s in marked}]
    missing_kinds = [k for k in PROPOSED if propose and not any(d.kind == k for d in declared)]
    if wanted or missing_kinds:
        hidden = [s.rectangle_px for s in sheets] + list(opening_outlines(here).values())
        # A sheet of paper that is 80 px long in a photo of 12 megapixels is 10 m away.
        paper = all(k == "a4" for k in (*(d.kind for d in wanted), *missing_kinds))
        quads = _outside_all(find_quads(picture, large_only=paper), hidden)
        for found in (
            search_declared(picture, quads, photo, wanted, views),
            search_undeclared(picture, quads, photo, next(iter(views[None]), None), missing_kinds),
        ):
            sightings += found.sightings
            rejected += found.rejected
            findings += found.findings
    seen = {s.reference for s in sightings} | {f.where.get("reference") for f in findings if f.code == "R009"}
    findings += [_not_found(d, photo) for d in declared if d.id not in seen]
    return ReferenceSearch(sightings=tuple(sightings), rejected=tuple(rejected), findings=tuple(findings))


def _views(
    sheets: Sequence[Sheet],
    sightings: Sequence[Sighting],
    declared: Iterable[DeclaredReference],
    by_marks: Mapping[str, PlaneView],
) -> dict[str | None, list[PlaneView]]:
    """Return what is known of each wall's plane, the surest first; under None what there is for a wall not named."""
    wall_of = {d.id: d.wall for d in declared}
    own: dict[str | None, list[PlaneView]] = {}
    for sheet, seen in zip(sheets, sightings, strict=False):
        view = view_of_sheet(sheet.fit.map, sheet.rectangle_px.mean(axis=0))
        own.setdefault(wall_of.get(seen.reference), []).append(view)
    anywhere = own.pop(None, [])
    views: dict[str | None, list[PlaneView]] = {w: own.get(w, []) + anywhere for w in {*own, *by_marks}}
    for wall, view in by_marks.items():
        views[wall].append(view)
    elsewhere = [v for w in own for v in own[w]] + list(by_marks.values())
    views[None] = anywhere + elsewhere
    return views


def _outside_all(quads: Sequence[Quad], outlines: Sequence[FloatArray]) -> list[Quad]:
    """Return the patches that lie on no survey sheet (tags and paper are no cards) and in no opening (nor is glass)."""
    import cv2

    if not quads or not outlines:
        return list(quads)
    middles = np.mean([q.corners_px for q in quads], axis=1).tolist()
    polygons = [o.astype(np.float32) for o in outlines]
    return [
        q
        for q, middle in zip(quads, middles, strict=True)
        if all(cv2.pointPolygonTest(polygon, middle, False) < 0 for polygon in polygons)
    ]


def _sheet_name(number: int, declared: Iterable[DeclaredReference], found: Sequence[int]) -> str:
    sheets = [d for d in declared if d.kind == "survey_sheet"]
    for d in sheets:
        if d.number == number:
            return d.id
    unnumbered = [d for d in sheets if d.number is None]
    strangers = {n for n in found if all(d.number != n for d in sheets)}
    if len(unnumbered) == 1 and strangers == {number}:
        return unnumbered[0].id
    return f"sheet-{number}"


def _sheet_sighting(sheet: Sheet, name: str, photo: str) -> Sighting:
    missing = 4 - len(sheet.tags)
    return Sighting(
        reference=name,
        kind="survey_sheet",
        photo=photo,
        model_mm=sheet.corners_mm,
        points_px=sheet.corners_px,
        sd_px=sheet.sd_px,
        bloom_px=sheet.inward_px,
        corners_px=sheet.rectangle_px,
        number=sheet.number,
        print_scale=sheet.print_scale,
        notes=(f"{missing} of 4 tags covered or outside the picture",) if missing else (),
    )


def _sheet_findings(sheet: Sheet, name: str, photo: str, declared: Iterable[DeclaredReference]) -> list[Finding]:
    where = {"photo": photo, "reference": name}
    out: list[Finding] = []
    scale = next((d.scale for d in declared if d.id == name), 1.0)
    if sheet.print_scale and abs(sheet.print_scale.value - scale) > SCALE_OFF * sheet.print_scale.sd:
        value = sheet.print_scale.value
        out.append(
            Finding(
                code="R005",
                severity="warn",
                message=f"Sheet {sheet.number} seems printed at {100 * value:.1f} %, judged by its paper's edges; "
                f"{100 * scale:.1f} % was taken.",
                remedy="Measure the 250 mm bar on the sheet with a rule and enter what it reads.",
                where=where,
            )
        )
    if sheet.misfit_px > CURLED_PX:
        out.append(
            Finding(
                code="R006",
                severity="warn",
                message=f"Sheet {sheet.number} does not lie flat: its print is bent by {sheet.misfit_px:.1f} px.",
                remedy="Tape all four corners of the sheet to the wall and take the photo again.",
                where=where,
            )
        )
    return out


def _twice(sheets: Sequence[Sheet], photo: str) -> list[Finding]:
    numbers = [s.number for s in sheets]
    return [
        Finding(
            code="R003",
            severity="warn",
            message=f"Sheet {n} is in this photo {numbers.count(n)} times.",
            remedy="Give each wall sheets with different numbers, print the next number, and take the photo again.",
            where={"photo": photo, "reference": f"sheet-{n}"},
        )
        for n in sorted(set(numbers))
        if numbers.count(n) > 1
    ]


def _not_a_sheet(other: NotASheet, photo: str) -> Finding:
    x, y = np.mean(other.corners_px, axis=0)
    return Finding(
        code="R001",
        severity="note",
        message=f"Part of sheet {other.number} at ({x:.0f}, {y:.0f}) was not used: {other.reason}.",
        remedy="Uncover the whole sheet, or take the photo so that all four of its tags are in it.",
        where={"photo": photo, "reference": f"sheet-{other.number}"},
    )


def _not_found(declared: DeclaredReference, photo: str) -> Finding:
    remedies = {
        "survey_sheet": "If it is in this photo, take the photo again, from nearer or in better light.",
        "id1_card": "If it is in this photo, mark its four corners; a survey sheet is found more surely.",
        "a4": "If it is in this photo, mark its four corners; on a white wall use the survey sheet or a darker place.",
        "rectangle": "If it is in this photo, mark its four corners.",
    }
    return Finding(
        code="R004",
        severity="note",
        message=f"The {KIND_WORDS[declared.kind]} {declared.id} was not found in this photo.",
        remedy=remedies[declared.kind],
        where={"photo": photo, "reference": declared.id},
    )


def never_found(searches: Iterable[ReferenceSearch], declared: Iterable[DeclaredReference]) -> list[Finding]:
    """Return a warning for each declared reference that no photo shows."""
    seen = {s.reference for search in searches for s in search.sightings}
    return [
        Finding(
            code="R007",
            severity="warn",
            message=f"The {KIND_WORDS[d.kind]} {d.id} was not found in any photo.",
            remedy="Mark its four corners in a photo that shows it, or take it out of the survey.",
            where={"reference": d.id},
        )
        for d in declared
        if d.id not in seen
    ]


def opening_heights(
    search: ReferenceSearch,
    marks: Iterable[Mark],
    walls: Mapping[str, str | None],
    *,
    photo: str,
    size_px: tuple[int, int],
) -> dict[tuple[str, str], float]:
    """Return how high the marked openings of one photo are, mm, by wall and opening, as its references tell it.

    Good to some per cent: enough for another photo to tell a declared card or A4 sheet by its size.

    Parameters
    ----------
    search
        What was found in this photo.
    marks
        Marks of the survey.
    walls
        The wall of each reference, None where it is not known.
    photo, size_px
        The photo's name, and its width and height.
    """
    here = [m for m in marks if m.photo == photo]
    views, outlines = views_of_marks(here, size_px), opening_outlines(here)
    heights: dict[tuple[str, str], float] = {}
    for seen in search.sightings:
        wall = walls.get(seen.reference) or (next(iter(views)) if len(views) == 1 else None)
        if not seen.confirmed or wall not in views:
            continue
        own = {key: outline for key, outline in outlines.items() if key[0] == wall}
        extent = SHEET_MM if seen.kind == "survey_sheet" else np.ptp(seen.model_mm, axis=0)
        heights |= heights_in(views[wall], own, seen.corners_px, float(extent[0] * extent[1]))
    return heights
