"""The order and the cut list as CSV that a spreadsheet opens right and that no cell can turn into a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from intake.report import reading
from intake.report.board_drawings import box_of
from intake.report.layouts import layouts_of, offcuts_of, pieces_of, with_holes
from intake.report.reading import Data
from intake.report.words import name_of, plain
from intake.results import Geometry

MARK = "\ufeff"  # tells a spreadsheet that the file is UTF-8
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


def cell(value: object) -> str:
    """Return a cell that stays text: words that a spreadsheet would take for a formula get an apostrophe before them.

    References
    ----------
    OWASP, CSV Injection: cells that start with =, +, -, @, tab or carriage return.
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:g}" if abs(value) < 1e6 else f"{value:.0f}"
    text = plain(value)
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def csv_bytes(heading: Sequence[str], rows: Sequence[Sequence[object]]) -> bytes:
    """Return a CSV file as bytes: UTF-8 with mark, comma, CR LF, every cell quoted."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(heading)
    writer.writerows([[cell(value) for value in row] for row in rows])
    return (MARK + stream.getvalue()).encode("utf-8")


def order_csv(estimate: Data) -> bytes:
    """Return the order list."""
    rows = []
    for line in reading.items(estimate, "order", "order.lines"):
        price = reading.spread(line, "price") or reading.spread(line, "cost")
        rows.append(
            [
                reading.text(line, "group").replace("_", " "),
                reading.text(line, "item", "name"),
                reading.text(line, "spec", "specification"),
                _number(reading.number(line, "quantity")),
                reading.text(line, "unit"),
                _number(price[0] if price else None),
                _number(price[1] if price else None),
                reading.text(line, "why", "reason"),
            ]
        )
    heading = [
        "group",
        "item",
        "specification",
        "quantity",
        "unit",
        "price_low_gbp_invented",
        "price_high_gbp_invented",
        "why",
    ]
    return csv_bytes(heading, rows)


def cut_list_csv(estimate: Data, geometry: Geometry) -> bytes:
    """Return every piece: the board it is cut from, its size, where it goes, and its outline on the board."""
    rows: list[list[object]] = []
    for name, layout in layouts_of(estimate):
        for piece in with_holes(pieces_of(layout), geometry):
            ring = piece.on_board or piece.on_wall
            left, bottom, right, top = box_of(ring)
            outline = " ".join(f"{x - left:.0f};{y - bottom:.0f}" for x, y in ring)
            place = [name, name_of(piece.wall), name_of(piece.opening or "")]
            size = [round(right - left, 1), round(top - bottom, 1)]
            holes = "; ".join(f"{h.name} {h.from_left_mm:.0f} in {h.from_foot_mm:.0f} up" for h in piece.holes)
            shape = "rectangle" if len(ring) == 4 and not piece.on_board_holes else "notched or shaped"
            rows.append(
                [*place, piece.id, name_of(piece.role), piece.board, *size, shape, piece.turned_deg, outline, holes]
            )
        for offcut in offcuts_of(layout):
            left, bottom, right, top = offcut.box
            kind = "offcut to keep" if offcut.reusable else "waste"
            size = [round(right - left, 1), round(top - bottom, 1)]
            rows.append([name, "", "", offcut.name, kind, offcut.board, *size, "rectangle", 0, "", ""])
    heading = [
        "room",
        "wall",
        "opening",
        "piece",
        "part",
        "board",
        "width_mm",
        "height_mm",
        "shape",
        "turned_deg",
        "outline_mm",
        "holes_mm",
    ]
    return csv_bytes(heading, rows)


def _number(value: float | None) -> object:
    return "" if value is None else value
