"""What the residuals betray: misclicks, pulled lens priors, contradictions between tape and photos.

Each test compares one observation or one prior with what all others say (leave one out), not the sum of squares, which
hardly notices a single slip. Stand-off and print scale of a single sheet cannot be seen from geometry: then the rule
reading or one taped length is asked for instead.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.findings import Finding
from vision.lengths import sizes_with_gradient
from vision.problem import WallProblem, taped_lengths
from vision.reference_pulls import PULL_LIMIT, check_references, pull_of
from vision.reliability import unchecked_marks
from vision.solve import Outlier, Solution, poor
from vision.start import Guess
from vision.swapped_corners import place_of
from vision.walls import CORNERS

TAPE_LIMIT = 4.0
UNREAD_SCALE_SD = 0.004  # a print scale less certain than this was not read with a rule


def check_start(problem: WallProblem, guesses: Sequence[Guess]) -> list[Finding]:
    """Return findings on what could not be placed before solving."""
    wall = problem.wall.id
    found: list[Finding] = []
    if not problem.marks:
        if problem.photos:
            found.append(Finding(
                code="M001", severity="warn", where={"wall": wall},
                message=f"{wall}: no corner of the wall is marked in any photo.",
                remedy="Mark its corners with: perpend mark FOLDER.",
            ))  # fmt: skip
        elif not taped_lengths(problem.wall):
            found.append(Finding(
                code="M002", severity="warn", where={"wall": wall},
                message=f"{wall}: no photo shows it and nothing is taped.",
                remedy="Photograph it with a reference on it, or tape its width and height.",
            ))  # fmt: skip
        return found
    if not guesses:
        found.append(Finding(
            code="M003", severity="stop", where={"wall": wall},
            message=f"{wall}: too few marks and no reference; no photo of it could be placed.",
            remedy="Mark all four corners of the wall or of an opening in one photo, and a reference.",
        ))  # fmt: skip
        return found
    if not guesses[0].scaled:
        photos = ", ".join(sorted({m.photo for m in problem.marks}))
        found.append(Finding(
            code="M004", severity="stop", where={"wall": wall},
            message=f"{wall}: no reference found in {photos}, so no scale; only its shape is known.",
            remedy="Mark a reference's four corners (perpend mark FOLDER), or tape the wall's width.",
        ))  # fmt: skip
    for file in guesses[0].unplaced:
        found.append(Finding(
            code="M005", severity="warn", where={"photo": file, "wall": wall},
            message=f"{file}: it shares fewer than four known points with the other photos of {wall}; left out.",
            remedy="Mark more corners in it, or take it again with a reference in view.",
        ))  # fmt: skip
    return found


def unsolvable(problem: WallProblem) -> Finding:
    """Return the finding for marks from which no solution can be formed at all."""
    photos = ", ".join(sorted({m.photo for m in problem.marks}))
    return Finding(
        code="M015", severity="stop", where={"wall": problem.wall.id},
        message=f"{problem.wall.id}: no solution can be formed from the marks in {photos}.",
        remedy="Remove its marks and mark it again, or tape its lengths.",
    )  # fmt: skip


def check_solution(problem: WallProblem, solution: Solution) -> list[Finding]:
    """Return findings on a solved wall: slips, wrong references, lens and tape contradictions, missing corners."""
    found = [_misclick(o) for o in solution.outliers]
    if poor(solution):
        found.append(Finding(
            code="M014", severity="stop", where={"wall": problem.wall.id},
            message=f"{problem.wall.id}: its marks, references and photos contradict one another; nothing fits them.",
            remedy="Look again at the marks named, the reference's kind and size, and that each photo is of this wall.",
        ))  # fmt: skip
    found += _lens_pulls(solution)
    found += check_references(problem, solution)
    found += _tape(problem, solution)
    found += _scale_unread(problem, solution)
    found += _missing(problem, solution)
    found += unchecked_marks(problem, solution)
    return found


def _direction(dx: float, dy: float) -> str:
    """Return a shift in the picture in words: "14 px right", "9 px left and 4 px up"."""
    words = []
    if abs(dx) >= 0.3 * abs(dy):
        words.append(f"{abs(dx):.0f} px {'right' if dx > 0 else 'left'}")
    if abs(dy) >= 0.3 * abs(dx):
        words.append(f"{abs(dy):.0f} px {'down' if dy > 0 else 'up'}")
    return " and ".join(words)


def _misclick(outlier: Outlier) -> Finding:
    mark = outlier.mark
    dx, dy = outlier.expected_px[0] - mark.px[0], outlier.expected_px[1] - mark.px[1]
    name = mark.opening or mark.feature or mark.wall or ""
    face = " (back edge)" if mark.face == "frame" else ""
    where = place_of(mark) | {"expected_px": f"{outlier.expected_px[0]:.1f},{outlier.expected_px[1]:.1f}"}
    return Finding(
        code="M010", severity="warn", where=where,
        message=f"{mark.photo}: {mark.point} of {name}{face}: the other marks put it {_direction(dx, dy)}; left out.",
        remedy="Look at it again: move it there, or mark it in another photo too.",
    )  # fmt: skip


def _lens_pulls(solution: Solution) -> list[Finding]:
    obs = solution.observations
    found = []
    for phone in sorted({p.phone for p in obs.cameras.photos}):
        files = [p.file for p in obs.cameras.photos if p.phone == phone]
        block = obs.layout[f"lens:{phone}"].start
        sd = {int(c): float(s) for c, s in zip(obs.prior_column, obs.prior_sd, strict=True) if block <= c < block + 5}
        pulls = [pull_of(solution, block + k, 0.0, sd[block + k]) for k in range(3)]
        if abs(pulls[0]) > PULL_LIMIT:
            ratio = float(np.exp(solution.state.vector[block]))
            found.append(Finding(
                code="M030", severity="warn", where={"photo": files[0]},
                message=f"{files[0]}: the lens looks {ratio:.2f} times as long as the photo's details say.",
                remedy="Was it zoomed or taken with another lens? Take it again at 1x without zoom.",
            ))  # fmt: skip
        if max(abs(pulls[1]), abs(pulls[2])) > PULL_LIMIT:
            found.append(Finding(
                code="M031", severity="warn", where={"photo": files[0]},
                message=f"{files[0]}: its middle is not where a whole picture's would be; it looks cropped.",
                remedy="Ask for the original file, not a cropped or edited copy.",
            ))  # fmt: skip
    for photo, block in zip(obs.cameras.photos, obs.cameras.photo_block, strict=True):
        rows = {int(c): float(s) for c, s in zip(obs.prior_column, obs.prior_sd, strict=True) if block <= c < block + 3}
        pulls = [pull_of(solution, block + k, 0.0, rows[block + k]) for k in range(3)]
        if abs(pulls[0]) > PULL_LIMIT + 1.0 or max(abs(pulls[1]), abs(pulls[2])) > PULL_LIMIT + 1.0:
            found.append(Finding(
                code="M032", severity="warn", where={"photo": photo.file},
                message=f"{photo.file}: it does not fit the other photos of the same phone; cropped or zoomed?",
                remedy="Ask for the original file, taken at 1x.",
            ))  # fmt: skip
    return found


def _tape(problem: WallProblem, solution: Solution) -> list[Finding]:
    obs = solution.observations
    found = []
    for i, (key, (size, read, sd)) in enumerate(obs.tape.items()):
        row = len(obs.source) - len(obs.tape) + i
        J = solution.jacobian[row]
        leverage = float(J @ solution.covariance @ J)
        used = bool(solution.used[row])
        z = solution.residuals[row] / np.sqrt(max(1.0 - leverage, 1e-4) if used else 1.0 + leverage)
        if abs(z) <= TAPE_LIMIT:
            continue
        value = float(sizes_with_gradient({key: size}, obs.corner_points(solution.state.vector))[0][0])
        spread = sd * float(np.sqrt(max(leverage, 1e-12)))
        if used:  # what the photos alone say: take the reading out again (rank one)
            value = read + solution.residuals[row] * sd / max(1.0 - leverage, 1e-6)
            spread = sd * float(np.sqrt(leverage / max(1.0 - leverage, 1e-6)))
        slip = _slip(read, value, spread)
        found.append(Finding(
            code="M040", severity="stop", where={"wall": problem.wall.id, "key": key},
            message=f"{problem.wall.id}: {key} taped {read:.0f}, photos {value:.0f} give or take"
            f" {2 * spread:.0f}.{slip}",
            remedy="Tape it again; do not order before the two agree.",
        ))  # fmt: skip
    return found


def _slip(read: float, photos: float, spread: float) -> str:
    """Return a likely slip of the tape in words, if one common slip explains the difference."""
    near = 3.0 * np.hypot(spread, 3.0)
    digits = f"{read:.0f}"
    for step in (1000.0, 100.0, 10.0):
        if abs(abs(read - photos) - step) < near and abs(read - photos) > near:
            return f" A {step:.0f} mm slip?"
    for i in range(len(digits) - 1):
        swapped = float(digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :])
        if swapped != read and abs(swapped - photos) < near:
            return " Two digits swapped?"
    for factor, word in ((25.4, "inches"), (10.0, "centimetres"), (304.8, "feet")):
        if abs(read * factor - photos) < near:
            return f" Read in {word}?"
    return ""


def _scale_unread(problem: WallProblem, solution: Solution) -> list[Finding]:
    obs = solution.observations
    used = {s.reference for s in obs.sightings}
    kinds = [r for r in problem.references if r.id in used]
    found = []
    for r in kinds:
        if r.kind == "survey_sheet" and r.scale_rel_sd > UNREAD_SCALE_SD and not obs.tape:
            found.append(Finding(
                code="M024", severity="warn", where={"reference": r.id, "wall": problem.wall.id},
                message=f"{r.id}: its bar has not been read; printed at 97 % it would read this wall 3 % long.",
                remedy="Measure the printed 250 mm bar with a rule and enter the reading; until then order nothing.",
            ))  # fmt: skip
    if len(kinds) == 1 and not obs.tape:
        found.append(Finding(
            code="M025", severity="note", where={"reference": kinds[0].id, "wall": problem.wall.id},
            message=f"{problem.wall.id}: one reference and no taped length; the scale cannot check itself.",
            remedy="Tape one length, best the wall's width at half height.",
        ))  # fmt: skip
    return found


def _missing(problem: WallProblem, solution: Solution) -> list[Finding]:
    obs = solution.observations
    found = []
    lacking = [c for c in CORNERS if f"wall/{c}" not in obs.seen]
    if lacking:
        found.append(Finding(
            code="M006", severity="warn", where={"wall": problem.wall.id, "point": lacking[0]},
            message=f"{problem.wall.id}: not marked: {', '.join(lacking)}; sizes that need it are not measured.",
            remedy="Mark it in a photo that shows it, or tape the length.",
        ))  # fmt: skip
    for opening in problem.wall.openings:
        place = {"wall": problem.wall.id, "opening": opening.id}
        corners = [c for c in CORNERS if f"{opening.id}/{c}" not in obs.seen]
        if corners:
            found.append(Finding(
                code="M007", severity="warn", where=place,
                message=f"{opening.id}: not marked on the plaster: {', '.join(corners)}.",
                remedy="Mark the opening's corners where the plaster ends.",
            ))  # fmt: skip
        elif opening.id not in obs.reveals and "reveal_depth_mm" not in opening.taped and problem.wall.side == "inside":
            found.append(Finding(
                code="M008", severity="warn", where=place,
                message=f"{opening.id}: its reveal is not measured: no back corner is marked.",
                remedy="Mark where the reveal meets the frame in an oblique photo, or tape its depth.",
            ))  # fmt: skip
    return found
