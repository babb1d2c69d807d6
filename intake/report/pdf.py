"""The report as PDF: the same context, the same drawings at true scale, every font inside."""

from __future__ import annotations

import json
import tempfile
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time
from importlib import resources
from pathlib import Path
from typing import Any

from intake.report.context import Report
from intake.report.drawing import Drawing
from intake.report.svg import svg

FONT = "Libertinus Serif"  # travels with typst


def pdf(report: Report, *, made_on: date) -> bytes:
    """Return the PDF of a report, dated to the day: A4, drawings as vectors at their named scale, PDF/UA-1."""
    import typst

    template = (resources.files("intake.report") / "templates" / "report.typ").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory(prefix="perpend-") as name:
        folder = Path(name)
        files = _Files(folder)
        data = files.plain(report)
        (folder / "context.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        (folder / "report.typ").write_text(template, encoding="utf-8")
        source, when = folder / "report.typ", datetime.combine(made_on, time(), tzinfo=UTC)
        try:
            made = typst.compile(source, root=folder, format="pdf", timestamp=when, pdf_standards="ua-1")
        except typst.TypstError:  # a name with signs that no font here has cannot be PDF/UA; it is still shown
            made = typst.compile(source, root=folder, format="pdf", timestamp=when)
    assert isinstance(made, bytes)
    return made


class _Files:
    """Writes the pictures and drawings of a context to a folder and names them in its plain form."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.count = 0

    def plain(self, value: Any) -> Any:
        """Return the value as JSON-ready data, drawings and pictures as file names."""
        if isinstance(value, Drawing):
            width, height = value.paper_size_mm()
            return {
                "file": self._write(svg(value, font=FONT, labelled=False).encode("utf-8"), ".svg"),
                "width_mm": width,
                "height_mm": height,
            }
        if isinstance(value, bytes):
            return self._write(value, ".jpg")
        if is_dataclass(value) and not isinstance(value, type):
            return {item.name: self.plain(getattr(value, item.name)) for item in fields(value)}
        if isinstance(value, tuple | list):
            return [self.plain(item) for item in value]
        return value

    def _write(self, data: bytes, ending: str) -> str:
        self.count += 1
        name = f"part{self.count}{ending}"
        (self.folder / name).write_bytes(data)
        return name
