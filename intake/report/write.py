"""Writing the report's files."""

from __future__ import annotations

import re
import unicodedata
from datetime import date
from pathlib import Path

from intake.report.compose import compose
from intake.report.context import Report
from intake.report.reading import Data
from intake.results import Geometry
from intake.store import RESULTS, read_geometry, read_json, read_survey, survey_folder, write_bytes
from intake.survey import Survey
from vision.findings import PerpendError


def write_report(folder: Path, *, made_on: date | None = None) -> list[Path]:
    """Write the report of a folder and return the files written, the page first.

    Parameters
    ----------
    folder
        A survey folder with results/geometry.json; results/estimate.json may be missing, the report says what it lacks.
    made_on
        The day to print; today where None.

    Raises
    ------
    PerpendError
        The folder or its geometry cannot be read.
    """
    from intake.report.dxf import dxf
    from intake.report.html import html
    from intake.report.pdf import pdf
    from intake.report.tables import cut_list_csv, order_csv

    path = survey_folder(folder)
    survey, geometry, estimate = read_results(path)
    day = made_on or date.today()
    report = compose(path, survey=survey, geometry=geometry, estimate=estimate, made_on=day)
    results = path / RESULTS
    files: dict[Path, bytes] = {results / "report.html": html(report).encode("utf-8")}
    files[results / "report.pdf"] = pdf(report, made_on=day)
    for name, drawing in drawing_names(report).items():
        files[results / "drawings" / f"{name}.dxf"] = dxf(report.drawings[drawing].drawing)
    files[results / "order.csv"] = order_csv(estimate)
    files[results / "cut_list.csv"] = cut_list_csv(estimate, geometry)
    for file, data in files.items():
        write_bytes(file, data)
    remove_others(results / "drawings", keep={file.name for file in files})
    return list(files)


def read_results(folder: Path) -> tuple[Survey, Geometry, Data]:
    """Return the survey, the geometry and the estimate of a folder; an empty estimate where there is none.

    Raises
    ------
    PerpendError
        There is no geometry to report on, or a file cannot be read.
    """
    survey = read_survey(folder)
    geometry = read_geometry(folder)
    if geometry is None:
        raise PerpendError(
            f"{folder / RESULTS / 'geometry.json'}: missing or from another version. Run perpend measure first."
        )
    path = folder / RESULTS / "estimate.json"
    estimate = read_json(path) if path.exists() else {}
    return survey, geometry, estimate if isinstance(estimate, dict) else {}


def file_stem(text: str, *, limit: int = 60) -> str:
    """Return a name as a file name that every system takes: plain letters, figures, dash and underscore."""
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    stem = re.sub(r"[^A-Za-z0-9]+", "_", ascii_text).strip("_")
    return stem[:limit].strip("_") or "wall"


def drawing_names(report: Report) -> dict[str, int]:
    """Return the DXF file names with the index of their drawing; each name once."""
    names: dict[str, int] = {}
    for index, figure in enumerate(report.drawings):
        stem = f"{file_stem(figure.wall)}_{figure.drawing.name}"
        number = 2
        name = stem
        while name.lower() in (known.lower() for known in names):
            name = f"{stem}_{number}"
            number += 1
        names[name] = index
    return names


def remove_others(folder: Path, *, keep: set[str]) -> None:
    """Remove drawings of an earlier report that this one no longer has; what another program has saved since stays."""
    from intake.report.dxf import OURS

    for file in folder.glob("*.dxf") if folder.is_dir() else ():
        if file.name not in keep and not file.is_symlink():
            with file.open("rb") as opened:
                ours = opened.read(len(OURS)) == OURS
            if ours:
                file.unlink()
