"""The report of a survey folder: HTML, PDF, DXF drawings and lists, from results/geometry.json and estimate.json."""

from __future__ import annotations

from intake.report.write import write_report

__all__ = ["write_report"]
