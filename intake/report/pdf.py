"""The report as PDF: the same context, the same drawings at true scale, every font inside."""

from __future__ import annotations

import json
import re
import tempfile
import unicodedata
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time
from importlib import resources
from pathlib import Path
from typing import Any

from intake.report.context import Report
from intake.report.drawing import Drawing
from intake.report.svg import svg

FONT = "Libertinus Serif"  # travels with typst
ZERO_WIDTH_SPACE = "\u200b"


def pdf(report: Report, *, made_on: date) -> bytes:
    """Return the PDF of a report, dated to the day: A4, drawings as vectors at their named scale, PDF/UA-1.

    A sign that no font here can show makes PDF/UA impossible: picture signs are then named in words; what still has
    no font is left to the reader's program, outside the standard.
    """
    when = datetime.combine(made_on, time(), tzinfo=UTC)
    for named, standard in ((False, True), (True, True), (True, False)):
        made = _compiled(report, when, named=named, standard=standard)
        if made is not None:
            return made
    raise AssertionError("typst shows any text when no standard is asked of it")


def _compiled(report: Report, when: datetime, *, named: bool, standard: bool) -> bytes | None:
    """Return the PDF, or None where the standard cannot be met."""
    import typst

    template = (resources.files("intake.report") / "templates" / "report.typ").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory(prefix="perpend-") as name:
        folder = Path(name)
        data = _Files(folder, named=named).plain(report)
        (folder / "context.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        source = folder / "report.typ"
        source.write_text(template, encoding="utf-8")
        try:
            made = typst.compile(
                source, root=folder, format="pdf", timestamp=when, pdf_standards="ua-1" if standard else None
            )
        except typst.TypstError:
            if not standard:
                raise
            return None
    assert isinstance(made, bytes)
    return made


def in_words(text: str) -> str:
    """Return the text with picture signs named in words: a brick becomes ``[brick]``."""
    return re.sub(r"[\U0001f000-\U0010ffff][\u200d\ufe0f]*", _named, text)


def _named(sign: re.Match[str]) -> str:
    return f"[{unicodedata.name(sign.group()[0], 'a sign').lower()}]"


LONGEST_RUN, PART = 24, 12


def breakable(text: str) -> str:
    """Return the text with places to break a line in runs of letters that no column could hold."""
    return re.sub(rf"\S{{{LONGEST_RUN},}}", lambda run: ZERO_WIDTH_SPACE.join(_parts(run.group())), text)


def _parts(run: str) -> list[str]:
    """Return a run in parts of at least so many characters, marks that belong to a letter left with it."""
    parts = [""]
    for char in run:
        if len(parts[-1]) >= PART and not unicodedata.combining(char) and char not in "\u200d\ufe0f":
            parts.append("")
        parts[-1] += char
    return parts


class _Files:
    """Writes the pictures and drawings of a context to a folder and names them in its plain form."""

    def __init__(self, folder: Path, *, named: bool = False) -> None:
        self.folder = folder
        self.named = named
        self.count = 0

    def plain(self, value: Any) -> Any:
        """Return the value as JSON-ready data, drawings and pictures as file names."""
        if isinstance(value, Drawing):
            width, height = value.paper_size_mm()
            return {
                "file": self._write(self._shown(svg(value, font=FONT, labelled=False)).encode("utf-8"), ".svg"),
                "width_mm": width,
                "height_mm": height,
            }
        if isinstance(value, bytes):
            return self._write(value, ".jpg")
        if isinstance(value, str):
            return breakable(self._shown(value))
        if is_dataclass(value) and not isinstance(value, type):
            return {item.name: self.plain(getattr(value, item.name)) for item in fields(value)}
        if isinstance(value, tuple | list):
            return [self.plain(item) for item in value]
        return value

    def _shown(self, text: str) -> str:
        return in_words(text) if self.named else text

    def _write(self, data: bytes, ending: str) -> str:
        self.count += 1
        name = f"part{self.count}{ending}"
        (self.folder / name).write_bytes(data)
        return name
