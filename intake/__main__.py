"""``python -m intake`` is ``perpend``."""

from __future__ import annotations

from intake.cli import main

main(prog_name="perpend")
