"""Printed survey sheets at true size, and the one-page photo guide, as one PDF."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from intake.store import write_bytes
from vision.findings import PerpendError

TAG_SIDE_MM = 72.0
TAG_CELLS = 8  # six by six bits inside a border of one
TAG_CENTRES_MM = ((-100.0, 56.0), (100.0, 56.0), (100.0, -56.0), (-100.0, -56.0))  # x right, y up from the middle
BAR_MM = 250.0
LAST_NUMBER = 145  # the family 36h11 has 587 tags, four to a sheet

Loop = list[tuple[int, int]]


def tag_cells(tag: int) -> list[list[bool]]:
    """Return which cells of a tag are black.

    Parameters
    ----------
    tag
        Number of the tag in the family AprilTag 36h11, 0 to 586.

    Returns
    -------
    list of list of bool
        8 rows from the top, 8 columns from the left, the border of one cell included.

    References
    ----------
    OpenCV's ``cv2.aruco.generateImageMarker`` with ``borderBits`` 1.
    """
    import cv2

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    picture = cv2.aruco.generateImageMarker(family, tag, TAG_CELLS, borderBits=1)
    return [[bool(value == 0) for value in row] for row in picture]


def outline_loops(black: Sequence[Sequence[bool]]) -> list[Loop]:
    """Return the outlines of the black cells as closed loops, so that one fill paints them without seams.

    Parameters
    ----------
    black
        Rows from the top of cells from the left; True is black.

    Returns
    -------
    list of loops
        Each loop lists its turning points (column, row), from the top-left corner of the grid, without repeating
        the first. Filled by the even-odd rule the loops give back the cells.
    """
    step: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for row, cells in enumerate(black):
        for column, is_black in enumerate(cells):
            if not is_black:
                continue
            ring = [(column, row), (column + 1, row), (column + 1, row + 1), (column, row + 1)]
            for start, end in zip(ring, [*ring[1:], ring[0]], strict=True):
                if start in step.get(end, []):  # the neighbour's side: the two cancel
                    step[end].remove(start)
                else:
                    step.setdefault(start, []).append(end)
    loops: list[Loop] = []
    while any(step.values()):
        start = next(point for point, ends in step.items() if ends)
        loop, here = [start], step[start].pop()
        while here != start:
            loop.append(here)
            here = step[here].pop()
        turns = [
            point
            for index, point in enumerate(loop)
            if not _straight(loop[index - 1], point, loop[(index + 1) % len(loop)])
        ]
        loops.append(turns)
    return loops


def _straight(before: tuple[int, int], point: tuple[int, int], after: tuple[int, int]) -> bool:
    return before[0] == point[0] == after[0] or before[1] == point[1] == after[1]


def write_sheets(path: Path, *, numbers: Sequence[int], guide: bool = True) -> Path:
    """Write a PDF of survey sheets at true size, one A4 landscape page each, and the photo guide after them.

    Parameters
    ----------
    path
        The PDF to write.
    numbers
        Sheet numbers, 0 to 145. Sheet n carries the tags 4n, 4n + 1, 4n + 2, 4n + 3 at the top left, top right,
        bottom right and bottom left.
    guide
        Add the one-page photo guide.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    PerpendError
        A number is out of range or repeated, or there is none.
    """
    import typst

    _check_numbers(numbers)
    here = Path(__file__).parent
    sheets = [
        {"number": number, "tags": [outline_loops(tag_cells(4 * number + corner)) for corner in range(4)]}
        for number in numbers
    ]
    data = {
        "sheets": sheets,
        "guide": guide,
        "centres": TAG_CENTRES_MM,
        "side": TAG_SIDE_MM,
        "cells": TAG_CELLS,
        "bar": BAR_MM,
    }
    pdf = typst.compile(
        here / "sheets.typ", root=here, ignore_system_fonts=True, sys_inputs={"data": json.dumps(data)}, format="pdf"
    )
    write_bytes(path, pdf)
    return path


def _check_numbers(numbers: Sequence[int]) -> None:
    if not numbers:
        raise PerpendError("sheet: no number given. Ask for at least one, for example 16 and 17.")
    for number in numbers:
        if not 0 <= number <= LAST_NUMBER:
            raise PerpendError(f"sheet {number}: there is no such sheet. Choose a number from 0 to {LAST_NUMBER}.")
    if len(set(numbers)) != len(numbers):
        twice = sorted({number for number in numbers if list(numbers).count(number) > 1})
        raise PerpendError(
            f"sheet {twice[0]}: asked for more than once. Two sheets on one wall must have different numbers."
        )
