"""The report as one HTML file that needs nothing from outside itself."""

from __future__ import annotations

import base64
from importlib import resources

from intake.report.context import Figure, Report
from intake.report.svg import svg


def html(report: Report) -> str:
    """Return the page: pictures and drawings inside, no script, no address outside itself."""
    import jinja2

    templates = resources.files("intake.report") / "templates"
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["b64"] = lambda data: base64.b64encode(data).decode("ascii")
    environment.globals["svg_of"] = _numbered_svg(environment)
    template = environment.from_string((templates / "report.html.j2").read_text(encoding="utf-8"))
    css = (templates / "report.css").read_text(encoding="utf-8")
    return template.render(r=report, css=_safe(css))


def _safe(text: str) -> object:
    from markupsafe import Markup

    return Markup(text)


def _numbered_svg(environment: object) -> object:
    del environment
    counter = iter(range(10_000))

    def svg_of(figure: Figure) -> object:
        return _safe(svg(figure.drawing, prefix=f"f{next(counter)}-"))

    return svg_of
