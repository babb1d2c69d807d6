"""The command line: parse, call, print, exit code. Everything heavy is imported inside the command that needs it."""

from __future__ import annotations

import functools
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vision.findings import Finding

DONE, STOP_STANDS, WRONG_USAGE, FAILED = 0, 1, 2, 3

THREE_STEPS = """perpend measures a wall from phone photos and plans its insulated lining.

  1. perpend sheet             print two survey sheets, tape them to the wall, take the photos
  2. perpend check FOLDER      copy the photos into a folder; see which are good
  3. perpend mark FOLDER       press the corners, then: perpend report FOLDER

Never tried it? perpend demo makes a report from sample photos within a minute.
"""

_MARKS = {"stop": "■ stop", "warn": "▲ warn", "note": "○ note"}


@click.group(invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="perpend", message="perpend %(version)s")
@click.pass_context
def main(context: click.Context) -> None:
    """Measure a wall from phone photos and plan its internal insulation lining."""
    for library in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # threads only slow the many small solves down
        os.environ.setdefault(library, "1")
    if context.invoked_subcommand is None:
        click.echo(THREE_STEPS, nl=False)


def _command(function: Callable[..., int]) -> Callable[..., None]:
    """Register a command with --debug: expected failures are one line and exit 3, a traceback only when asked for."""

    @functools.wraps(function)
    def run(*args: Any, debug: bool, **kwargs: Any) -> None:
        try:
            code = function(*args, **kwargs)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except KeyboardInterrupt:
            click.echo("Stopped. What was finished is kept.", err=True)
            code = FAILED
        except Exception as error:  # the last line of defence: one line for people
            if debug:
                raise
            click.echo(_one_line(error), err=True)
            code = FAILED
        sys.exit(code)

    with_debug = click.option("--debug", is_flag=True, help="Show the traceback of a failure.")(run)
    return main.command(name=function.__name__.strip("_"))(with_debug)


def _one_line(error: Exception) -> str:
    from vision.findings import PerpendError

    text = " ".join(str(error).split())
    if isinstance(error, PerpendError):
        return text
    return (
        f"Unexpected: {type(error).__name__}: {text[:300]}. Run again with --debug and report it; nothing was changed."
    )


_folder = click.argument("folder", type=click.Path(path_type=Path))
_json = click.option("--json", "as_json", is_flag=True, help="Print what the command wrote.")


def _progress(what: str) -> Callable[[int, int], None]:
    """Return a function that says "what 4 of 9" on standard error: one rewritten line on a terminal, else silence."""

    def show(done: int, total: int) -> None:
        if sys.stderr.isatty():
            end = "\n" if done >= total else ""
            bar = "█" * round(20 * done / max(total, 1))
            click.echo(f"\r{what} {done} of {total} {bar:<20}{end}", err=True, nl=False)

    return show


def _print_json(path: Path) -> None:
    click.echo(path.read_text(encoding="utf-8"), nl=False)


def _print_findings(findings: Sequence[Finding], *, most: int = 12) -> None:
    from intake.printing import placed

    for finding in findings[:most]:
        click.echo(f"{_MARKS[finding.severity]} {finding.code} {placed(finding)}")
        click.echo(f"       {finding.remedy}")
    if len(findings) > most:
        click.echo(f"       and {len(findings) - most} more in the results.")


def _exit_code(findings: Sequence[Finding]) -> int:
    return STOP_STANDS if any(finding.severity == "stop" for finding in findings) else DONE


@_command
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("perpend_sheets.pdf"), help="Where to write the PDF."
)
@click.option("--number", "numbers", type=click.IntRange(0, 145), multiple=True, help="Sheet number; repeat for more.")
@click.option("--no-guide", is_flag=True, help="Leave out the photo guide.")
def sheet(out: Path, numbers: tuple[int, ...], no_guide: bool) -> int:
    """Print numbered survey sheets and the photo guide as a PDF."""
    from intake.sheets_pdf import write_sheets

    chosen = list(numbers) or [17, 18]
    write_sheets(out, numbers=chosen, guide=not no_guide)
    *first, last = (str(number) for number in chosen)
    names = f"Sheets {', '.join(first)} and {last}" if first else f"Sheet {last}"
    click.echo(f"{names}{'' if no_guide else ', and the photo guide'}: {out}")
    click.echo("Print at 100 %, not fitted to the page. Measure the long bar with a rule and write it on the sheet.")
    click.echo("Next: copy the photos into a folder, then perpend check FOLDER")
    return DONE


@_command
@_folder
@_json
@click.option("--for-client", is_flag=True, help="Write the message to send to whoever took the photos.")
@click.option(
    "--share", is_flag=True, help="Write copies of the photos with faces and cards blurred, without location."
)
def check(folder: Path, as_json: bool, for_client: bool, share: bool) -> int:
    """Say which photos are usable and what to ask for again."""
    from intake.check import check_folder, write_for_client, write_shared
    from intake.outcomes import finding_of
    from intake.printing import print_check, typed

    result = check_folder(folder, progress=_progress("photo"))
    if as_json:
        _print_json(folder / "results" / "check.json")
    else:
        print_check(result)
        click.echo(f"Written: {folder / 'results' / 'check.json'}")
    if for_client:
        written = write_for_client(folder, result)
        click.echo(f"Message for the client: {written}" if written else "Nothing to ask the client for.", err=as_json)
    if share:
        click.echo(f"Pictures to share: {write_shared(folder)}", err=as_json)
    if not as_json:
        click.echo(f"Next: perpend mark {typed(folder)}")
    return _exit_code([finding_of(entry) for entry in result.findings])


@_command
@_folder
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port on this computer; 0 chooses one.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser.")
def mark(folder: Path, port: int, no_browser: bool) -> int:
    """Open the marking page for a folder, on this computer only."""
    from intake.page import serve
    from intake.printing import typed
    from intake.store import survey_folder

    serve(survey_folder(folder), port=port, open_browser=not no_browser)
    click.echo(f"Next: perpend report {typed(folder)}")
    return DONE


@_command
@_folder
@_json
@click.option("--again", is_flag=True, help="Measure again even if nothing has changed.")
def measure(folder: Path, as_json: bool, again: bool) -> int:
    """Measure the marked walls of a folder."""
    from intake.outcomes import finding_of
    from intake.pipeline import measure_folder
    from intake.printing import typed, wall_line

    geometry = measure_folder(folder, again=again, progress=_progress("photo"))
    findings = [finding_of(entry) for entry in geometry.findings]
    if as_json:
        _print_json(folder / "results" / "geometry.json")
        return _exit_code(findings)
    for wall in geometry.walls:
        click.echo(wall_line(wall))
    _print_findings(findings)
    click.echo(f"Written: {folder / 'results' / 'geometry.json'}")
    click.echo(f"Next: perpend estimate {typed(folder)}")
    return _exit_code(findings)


@_command
@_folder
@_json
def estimate(folder: Path, as_json: bool) -> int:
    """Work out boards, heat, moisture and the order for a folder."""
    from intake.outcomes import finding_of
    from intake.pipeline import estimate_folder
    from intake.printing import estimate_lines, typed
    from intake.results import FindingEntry

    result = estimate_folder(folder, progress=_progress("photo"))
    findings = [finding_of(FindingEntry.model_validate(entry)) for entry in result["findings"]]
    if as_json:
        _print_json(folder / "results" / "estimate.json")
        return _exit_code(findings)
    for line in estimate_lines(result):
        click.echo(line)
    _print_findings(findings)
    click.echo(f"Written: {folder / 'results' / 'estimate.json'}")
    click.echo(f"Next: perpend report {typed(folder)}")
    return _exit_code(findings)


@_command
@_folder
@_json
def report(folder: Path, as_json: bool) -> int:
    """Write the report of a folder: HTML, PDF, drawings and lists."""
    from intake.pipeline import report_folder
    from intake.printing import estimate_lines, verdict_lines

    written, result, findings = report_folder(folder, progress=_progress("photo"))
    if as_json:
        click.echo(json.dumps({"written": [str(path) for path in written]}, indent=1))
        return _exit_code(findings)
    for line in [*estimate_lines(result), *verdict_lines(result)]:
        click.echo(line)
    for path in written:
        click.echo(f"Written: {path}")
    return _exit_code(findings)


@_command
@click.argument("root", type=click.Path(path_type=Path))
@_json
@click.option("--workers", type=click.IntRange(1, 256), default=None, help="Processes; as many as cores if not given.")
@click.option("--scheduler", default=None, help="Address of a Dask scheduler; needs the extra 'cluster'.")
def batch(root: Path, as_json: bool, workers: int | None, scheduler: str | None) -> int:
    """Work through every survey folder below a folder."""
    from intake.batch import run_batch

    summary = run_batch(root, workers=workers, scheduler=scheduler, progress=_progress("survey"))
    if as_json:
        _print_json(summary.jsonl)
    else:
        for line in summary.lines:
            click.echo(line)
        click.echo(f"Written: {summary.csv}, {summary.jsonl}, {summary.page}")
    return summary.exit_code


@_command
@click.option("--out", type=click.Path(path_type=Path), default=None, help="The new folder; perpend_demo if not given.")
@click.option("--self-check", is_flag=True, help="Only compare with published figures, and print the table.")
def demo(out: Path | None, self_check: bool) -> int:
    """Copy a sample survey into a new folder here and run everything on it."""
    if self_check:
        from intake.self_check import run_checks, table_lines

        checks = run_checks()
        for line in table_lines(checks):
            click.echo(line)
        return DONE if all(check.holds for check in checks) else FAILED
    from intake.demo import copy_demo
    from intake.pipeline import report_folder
    from intake.printing import estimate_lines, typed, verdict_lines, wall_line
    from intake.store import read_geometry

    folder = copy_demo(out)
    click.echo(f"Sample survey (rendered pictures of an imaginary house): {folder}")
    written, result, findings = report_folder(folder, progress=_progress("photo"))
    geometry = read_geometry(folder)
    for wall in geometry.walls if geometry is not None else []:
        click.echo(wall_line(wall))
    for line in [*estimate_lines(result), *verdict_lines(result)]:
        click.echo(line)
    for path in written[:1]:
        click.echo(f"Report: {path}")
    click.echo(f"Next: open the report in a browser. The marks behind it: perpend mark {typed(folder)}")
    click.echo("Then your own wall: perpend sheet")
    stops = [finding for finding in findings if finding.severity == "stop"]
    _print_findings(stops, most=3)
    return DONE


@_command
@click.argument("name", type=click.Choice(["survey", "geometry", "check", "estimate"]), default="survey")
def schema(name: str) -> int:
    """Print the JSON Schema of survey.json or of a results file."""
    from intake.results import SCHEMAS
    from intake.survey import Survey

    model = SCHEMAS.get(name, Survey)
    click.echo(
        json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", **model.model_json_schema()}, indent=1)
    )
    return DONE
