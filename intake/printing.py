"""Results as lines for a terminal, in the words of the report; rounding happens here and there only."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from intake.results import Check, ValueSd, WallResult
from vision.findings import Finding

THIN = "\u202f"
PRICE_ONLY = 0.005
"""Over this share of a length (2 sd), the figure is good for a price only."""

VERDICTS = {
    "nothing_found_against": "Nothing found against it (not an approval)",
    "tape_first": "Tape these first",
    "not_before": "Do not go ahead before the conditions are met",
    "cannot_say": "Cannot say yet",
}


def typed(path: Path | str) -> str:
    """Return a path as it can be typed after a command: in quotes where it holds a space or the like."""
    text = str(path)
    return text if re.fullmatch(r"[\w./\\:~-]+", text) else f'"{text}"'


def placed(finding: Finding) -> str:
    """Return a finding's message with its place before it, where the message does not begin with it."""
    where = tuple(finding.where.values())
    told = not where or finding.message.startswith(where)
    return finding.message if told else f"{', '.join(where)}: {finding.message}"


def whole_mm(value: float) -> str:
    """Return millimetres as people write them: 3 871."""
    return f"{round(value):,}".replace(",", THIN)


def give_or_take(size: ValueSd) -> str:
    """Return two standard uncertainties, whole millimetres, at least one."""
    return whole_mm(max(1.0, 2 * size.sd))


def wall_line(wall: WallResult) -> str:
    """Return one line on a wall: "north 3 871 × 2 630, give or take 10, 8; solid brick 0.94"."""
    if wall.width_mm is None and wall.height_mm is None:
        return f"{wall.id}: {_reveals(wall) or 'not measured'}"
    sizes = [size for size in (wall.width_mm, wall.height_mm) if size is not None]
    text = " × ".join(whole_mm(size.value) if size is not None else "?" for size in (wall.width_mm, wall.height_mm))
    text += f", give or take {', '.join(give_or_take(size) for size in sizes)}"
    if any(2 * size.sd > PRICE_ONLY * size.value for size in sizes):
        text += " (price only)"
    if wall.status == "proposed":
        text += "; proposed, not confirmed"
    for opening in wall.openings:
        thick = opening.thickness_mm
        if thick is not None:
            text += f"; {whole_mm(thick.value)} thick at {opening.id}, give or take {give_or_take(thick)}"
            break
    if wall.construction is not None:
        verdict = wall.construction.verdict
        chance = wall.construction.probability.get(verdict)
        words = "solid or cavity unknown" if verdict == "unknown" else verdict.replace("_", " ")
        text += f"; {words}" + (f" {chance:.2f}" if chance is not None else "")
    return f"{wall.id} {text}"


def _reveals(wall: WallResult) -> str:
    """Return the reveals of a face that was not seen whole, as from outside: "reveal 26 deep at w1, ..."."""
    known = [(opening.id, opening.reveal_depth_mm) for opening in wall.openings if opening.reveal_depth_mm is not None]
    told = [f"{whole_mm(size.value)} deep at {name}, give or take {give_or_take(size)}" for name, size in known]
    return f"not seen whole; reveal {', '.join(told)}" if told else ""


def estimate_lines(estimate: Mapping[str, Any]) -> list[str]:
    """Return a line for each room's boards and each wall's verdict."""
    lines = []
    for room in estimate.get("rooms", []):
        boards = room.get("boards") or {}
        if boards.get("count") is not None:
            proved = "proved the fewest" if boards.get("proved") else f"at least {boards.get('lower_bound')} needed"
            lines.append(f"{room['id']}: {boards['count']} boards ({proved})")
    for wall in estimate.get("walls", []):
        verdict = str(wall.get("verdict", "cannot_say"))
        before = wall.get("u_existing") or {}
        numbers = [value.get("value") if isinstance(value, Mapping) else value for value in before.values()]
        known = [number for number in numbers if isinstance(number, int | float)]
        heat = f"; U now {min(known):.1f} to {max(known):.1f} W/m²K" if known else ""
        lines.append(f"{wall['id']}: {VERDICTS.get(verdict, verdict)}{heat}")
    return lines


def verdict_lines(estimate: Mapping[str, Any]) -> list[str]:
    """Return what to tape and what to buy, in short."""
    lines = []
    tape = estimate.get("tape_list", [])
    if tape:
        named = ", ".join(
            f"{item.get('wall', '')} {str(item.get('key', '')).removesuffix('_mm')}".strip() for item in tape
        )
        lines.append(f"Tape first: {named}")
    order = estimate.get("order", [])
    if order:
        lines.append(f"Order: {len(order)} items, in the report")
    return lines


def print_check(check: Check) -> None:
    """Print the table of photos, what each wall still lacks, and the findings."""
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for heading in ("photo", "usable", "for", "references", "size", "blur px"):
        table.add_column(heading)
    for photo in check.photos:
        size = f"{photo.width_px} × {photo.height_px}" if photo.width_px else "-"
        blur = f"{photo.blur_px:.1f}" if photo.blur_px is not None else "-"
        usable = "✓ yes" if photo.usable else "■ no"
        table.add_row(photo.file, usable, photo.purpose or "-", ", ".join(photo.references) or "-", size, blur)
    console = Console(highlight=False, soft_wrap=True)
    console.print(table)
    for wall in check.walls:
        expected = (
            f"give or take {2 * wall.predicted_sd_mm:.0f} mm on its width" if wall.predicted_sd_mm else "no size yet"
        )
        console.print(f"{wall.id}: expect {expected}.", markup=False)
        for lack in wall.missing:
            console.print(f"  missing: {lack}", markup=False)
        if wall.best_help:
            console.print(f"  helps most: {wall.best_help}", markup=False)
    for finding in check.findings:
        console.print(f"{finding.severity} {finding.code} {finding.message} {finding.remedy}", markup=False)
