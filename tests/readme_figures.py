"""The sentences and rows of README's "How we know" that quote a study, written from the study's file.

``python -m tests.readme_figures`` prints them, to be put between README's marks; a test holds README to them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from tests.run_study import STUDIES

MEASURED = {
    "id1_one_photo": "one bank-size card, one photo",
    "a4_one_photo": "one A4 sheet, one photo",
    "sheet_one_photo": "one survey sheet, one photo",
    "two_sheets_one_photo": "two survey sheets, one photo",
    "two_sheets_three_photos": "two survey sheets, three photos",
    "sheet_close_up": "one sheet, one photo and one of the window",
    "sheet_three_close_ups": "one sheet, one photo and three of the window",
    "id1_taped": "one card, one photo, the width taped",
}


def measurement(result: Mapping[str, Any]) -> list[str]:
    """Return the rows of accuracy."""
    rows = []
    for case, words in MEASURED.items():
        sizes = result[case]["quantities"]
        percent = [sizes[key]["p95_percent"] for key in ("width_mm", "height_mm", "openings.w1.width_mm")]
        reveal_mm = sizes["openings.w1.reveal_depth_mm"]["p95_mm"]
        rows.append(f"| {words} | " + " | ".join(f"{value:.2f} %" for value in percent) + f" | {reveal_mm:.1f} mm |")
    return rows


def references(result: Mapping[str, Any]) -> list[str]:
    """Return the rows of references found."""

    def of(found: Mapping[str, Any]) -> str:
        return f"{found['found']} of {found['of']}"

    sheets, cards, a4 = result["sheets"], result["cards"], result["a4"]
    corners = [f"{kind['corner_rms_px_from_70_px']:.2f}" for kind in (a4, cards)]
    return [
        f"| survey sheets, tags over 30 px wide | {of(sheets['tags_over_30_px'])} |",
        f"| survey sheets, tags 24 to 30 px | {of(sheets['tags_24_to_30_px'])} |",
        f"| bank-size cards over 45 px, declared | {of(cards['over_45_px'])} |",
        f"| plain A4 sheets over 45 px, declared | {of(a4['over_45_px'])} |",
        f"| random error of a sheet about 200 px wide | {sheets['at_200_px']['random_px']:.3f} px |",
        f"| corners of A4 sheets / cards, 70 px and wider | {corners[0]} / {corners[1]} px rms |",
    ]


def brickwork(result: Mapping[str, Any]) -> list[str]:
    """Return what was read of rendered faces."""
    return [f"the bond was right on {100 * result['right_share']:.1f} % of the readable ones"]


def construction(result: Mapping[str, Any]) -> list[str]:
    """Return how often the verdicts were right."""
    least = min(told["right_of_given"] for told in result.values() if "right_of_given" in told)
    return [
        f"{100 * result['as_stated']['right_of_given']:.1f} % were right",
        f"at least {100 * least:.1f} %",
    ]


def faults(result: Mapping[str, Any]) -> list[str]:
    """Return the row of kills."""
    broken, lost = len(result["broken"]), len(result["acknowledged_marks_lost"])
    return [
        f"| kills of every command that writes, {result['during_the_writing']} while it was writing | "
        f"{result['kills_in_all']} kills; {broken or 'no'} files broken, {lost or 'no'} acknowledged marks lost |"
    ]


def mutation(result: Mapping[str, Any]) -> list[str]:
    """Return the row of mutants."""
    groups = ", ".join(f"{name} {told['killed']} of {told['tried']}" for name, told in result["groups"].items())
    return [
        f"| small wrong changes to the code that the quick tests notice | {result['killed']} of {result['tried']} "
        f"({groups}); {result['equivalent']} of the rest change nothing that can be seen |"
    ]


def branches(result: Mapping[str, Any]) -> list[str]:
    """Return the row of coverage."""
    shares = [
        f"{core}: {100 * result[core]['branch_share']:.1f} % of branches, {100 * result[core]['line_share']:.1f} % of "
        "lines"
        for core in ("vision", "estimator")
    ]
    told = "; ".join(shares)
    return [f"| taken by the cores' tests | {told} |"]


def fuzz(result: Mapping[str, Any]) -> list[str]:
    """Return the row of damaged inputs."""
    return [
        f"| damaged surveys, price lists, pictures, details, ZIP files, posts and marks | {result['inputs']} inputs; "
        f"{len(result['failed']) or 'no'} crash, hang or gigabyte; the slowest took {result['longest_s']:.1f} s |"
    ]


QUOTED: dict[str, Callable[[Mapping[str, Any]], list[str]]] = {
    "measurement": measurement, "references": references, "brickwork": brickwork, "construction": construction,
    "faults": faults, "mutation": mutation, "branches": branches, "fuzz": fuzz,
}  # fmt: skip


def quoted(name: str) -> list[str]:
    """Return what README says of a study; nothing where the study has not been run in full."""
    path = STUDIES / f"{name}.json"
    if not path.exists():
        return []
    return QUOTED[name](json.loads(path.read_text(encoding="utf-8"))["result"])


if __name__ == "__main__":
    for study in QUOTED:
        print(f"{study}:", *quoted(study), sep="\n")
