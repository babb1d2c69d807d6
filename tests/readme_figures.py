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
    "two_sheets_three_photos_foot_hidden": "the same, a window board hiding the window's foot",
    "sheet_close_up": "one sheet, one photo and one of the window",
    "sheet_three_close_ups": "one sheet, one photo and three of the window",
    "id1_taped": "one card, one photo, the width taped",
}
RENDERED = {
    "card_one_photo": "one bank-size card, one photo",
    "card_close_up": "one card, one photo and one of the window",
    "a4_one_photo": "one A4 sheet, one photo",
    "sheet_one_photo": "one survey sheet, one photo",
    "sheet_close_up": "one sheet, one photo and one of the window",
    "two_sheets_three_photos": "two survey sheets, three photos",
}
_DOUBTED = "right_references_doubted_share"
SIZES = ("width_mm", "height_mm", "openings.w1.width_mm", "openings.w1.height_mm")


def _thousands(count: int) -> str:
    return f"{count:,}".replace(",", " ")


def _sizes(quantities: Mapping[str, Any]) -> str:
    """Return the cells of four sizes in per cent and the reveal in millimetres, 19 in 20 of each as close or closer."""
    percent = [f"{quantities[key]['p95_percent']:.2f} %" for key in SIZES]
    return " | ".join([*percent, f"{quantities['openings.w1.reveal_depth_mm']['p95_mm']:.1f} mm"])


def _held(result: Mapping[str, Any], key: str) -> str:
    """Return how often intervals held and how far errors stood over their bound, over all sizes and rows."""
    figures = [q for told in result.values() if isinstance(told, dict) for q in told["quantities"].values()]
    shares = [100 * q["coverage"] for q in figures]
    most = max(q[key] for q in figures)
    between = f"{min(shares):.1f} to {max(shares):.1f} % of the cases, each size in each row"
    return f"{between}; the error was at most {most:.2f}"


def measurement(result: Mapping[str, Any]) -> list[str]:
    """Return the rows of accuracy, how often intervals held, and what is said of slips and of a hidden foot."""
    told = [f"| {words} | {_sizes(result[case]['quantities'])} |" for case, words in MEASURED.items() if case in result]
    told.append(_held(result, "rms_over_bound"))
    hidden = result.get("two_sheets_three_photos_foot_hidden")
    if hidden is None:
        return told
    traced = [case for name, case in result.items() if name != "clicks_only"]
    named = [100 * case["slips_named_share"] for case in traced]
    alarms = max(100 * case["false_alarm_share"] for case in result.values())
    alone = result["clicks_only"]
    height = hidden["quantities"]["openings.w1.height_mm"]
    kinds = sum(case["wrong_kinds"] for case in traced)
    doubts = [100 * case[_DOUBTED] for case in result.values() if _DOUBTED in case]
    doubted = [f"a right one was doubted on at most {max(doubts):.2f} % of a row's walls"] if doubts else []
    return [
        *told,
        f"named in {min(named):.1f} to {max(named):.1f} % of the tries where edges were traced, and no row raised a "
        f"false alarm on more than {alarms:.1f} % of its walls",
        f"{100 * alone['slips_named_share']:.0f} % are named, and the geometry lets no more than "
        f"{100 * alone['slips_named_share_by_geometry']:.0f} % be",
        f"{height['p95_percent']:.2f} % there, and the least that the observations allow is "
        f"{height['p95_percent_of_the_bound']:.2f} %: presses make up "
        f"{100 * hidden['opening_height_variance_by_source']['clicks']:.0f} % of its variance",
        f"{sum(case['wrong_kinds_named'] for case in traced)} of {kinds} things of 5 to 30 % other proportions",
        *doubted,
    ]


def rendered_measurement(result: Mapping[str, Any]) -> list[str]:
    """Return the rows of accuracy on rendered pictures against a bare homography, and how often intervals held."""
    told = [
        f"| {words} | {_sizes(result[case]['quantities'])} | "
        f"{result[case]['median_error_of_a_bare_homography_over_ours']:.0f} |"
        for case, words in RENDERED.items()
    ]
    pooled = f"{100 * result['pooled_coverage']:.1f} % of all sizes"
    return [*told, f"{result['pictures']} rendered pictures", _held(result, "rms_of_error_over_bound"), pooled]


def references(result: Mapping[str, Any]) -> list[str]:
    """Return the rows of references found."""

    def of(found: Mapping[str, Any]) -> str:
        return f"{found['found']} of {found['of']}"

    sheets, cards, a4 = result["sheets"], result["cards"], result["a4"]
    corners = [f"{kind['corner_rms_px_from_70_px']:.3f}" for kind in (a4, cards)]
    wrong = result["lookalikes"]
    return [
        f"| survey sheets, tags over 30 px wide | {of(sheets['tags_over_30_px'])} |",
        f"| survey sheets, tags 24 to 30 px | {of(sheets['tags_24_to_30_px'])} |",
        f"| bank-size cards over 45 px, declared | {of(cards['over_45_px'])} |",
        f"| plain A4 sheets over 45 px, declared | {of(a4['over_45_px'])} |",
        f"| random error of a sheet about 200 px wide | {sheets['at_200_px']['random_px']:.3f} px |",
        f"| corners of A4 sheets / cards, 70 px and wider | {corners[0]} / {corners[1]} px rms |",
        f"| lookalikes used for scale, in 1 000 pictures of lookalikes | {wrong['used']} (95 % sure: under "
        f"{100 * wrong['upper_95']:.1f} %) |",
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


def layout(result: Mapping[str, Any]) -> list[str]:
    """Return how often the fewest boards were proved, and how two rules of the trade compare."""
    rooms = result["random"]
    gap = max(kind["worst_gap"] for kind in (rooms, result["hard"]))
    saved = 100 * rooms["saved_against_columns_mean"]
    return [
        f"{100 * rooms['proved_in_time']:.1f} % were proved the fewest within 10 s of one core",
        f"the rest were at most {gap} board{'s' if gap > 1 else ''} from proof",
        f"rooms of two walls or more took {saved:.0f} % fewer boards than full columns",
        f"would have been short in {100 * rooms['area_and_a_tenth_short']:.0f} % of the rooms and too much in "
        f"{100 * rooms['area_and_a_tenth_over']:.0f} %",
    ]


def tape_list(result: Mapping[str, Any]) -> list[str]:
    """Return how often the order was exactly right without a tape and once the list had been followed."""
    return [
        f"exactly right in {100 * result['right_without_tape']:.1f} % before anything was taped and in "
        f"{100 * result['right_with_tape']:.1f} % once the tape list had been followed",
        f"the number alone in {100 * result['number_right_with_tape']:.1f} %",
        f"{100 * result['none_asked']:.0f} % were asked for nothing, and none for more than "
        f"{result['lengths_asked_most']} readings",
        f"enough in {100 * result['enough_with_tape']:.1f} %",
    ]


def gate(result: Mapping[str, Any]) -> list[str]:
    """Return how often the gate was right either way, and how near its expectation came."""
    return [
        f"{result['photos']} rendered photos",
        f"usable was said of {100 * result['usable_said_of_those_that_serve']:.1f} % of those that served",
        f"unusable of {100 * result['unusable_said_of_those_that_do_not']:.1f} % of those that did not",
        f"within 35 % of what measuring then stated on {100 * result['expected_within_35_percent']:.0f} % of them",
    ]


def proposals(result: Mapping[str, Any]) -> list[str]:
    """Return how often a wall that nobody marked was proposed right."""
    called = result["called_measured"]
    return [
        f"of {result['rooms']} rendered rooms that nobody had marked {100 * result['within_1_5_percent']:.0f} % were "
        f"proposed within 1.5 %, and {called or 'none'} was called measured",
    ]


def faults(result: Mapping[str, Any]) -> list[str]:
    """Return the row of kills."""
    broken, lost = len(result["broken"]), len(result["acknowledged_marks_lost"])
    return [
        f"| kills of every command that writes, {result['during_the_writing']} while it was writing | "
        f"{result['kills_in_all']} kills; {broken or 'no'} files broken, {lost or 'no'} acknowledged marks lost |"
    ]


def cluster(result: Mapping[str, Any]) -> list[str]:
    """Return the row of a stock worked through on a cluster, one worker killed half-way."""
    count, differ = int(result["surveys"]), len(result["files_that_differ"])
    once = "each once" if result["each_once"] else "NOT each once"
    killed = "one killed" if result["worker_killed"] else "none killed"
    return [
        f"| {_thousands(count)} surveys by `batch` on a Dask cluster of two workers, {killed} half-way | all there, "
        f"{once}; of {_thousands(int(result['files_compared']))} files {differ or 'none'} differ from a serial run's; "
        f"a second run takes {100 * result['second_run_share_of_time']:.0f} % of the time |"
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
    "measurement": measurement, "rendered_measurement": rendered_measurement, "references": references,
    "brickwork": brickwork, "construction": construction, "layout": layout, "tape_list": tape_list,
    "gate": gate, "proposals": proposals, "faults": faults, "cluster": cluster, "mutation": mutation,
    "branches": branches, "fuzz": fuzz,
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
