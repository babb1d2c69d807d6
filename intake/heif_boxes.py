"""A look at a HEIF file's table of items before the decoder sees it (ISO/IEC 14496-12, clauses 4.2, 8.11.6)."""

from __future__ import annotations

from collections.abc import Iterator

MOST_BOXES = 20_000


def items_are_named(data: bytes) -> bool:
    """Return whether every item of a HEIF file has a type in plain letters; some decoders crash on others.

    Parameters
    ----------
    data
        The file's bytes; a file without a table of items passes, since the decoder refuses it by itself.
    """
    for kind, start, end in _boxes(data, 0, len(data)):
        if kind == b"meta":
            return all(
                _entries_are_named(data, a, b) for inner, a, b in _boxes(data, start + 4, end) if inner == b"iinf"
            )
    return True


def _entries_are_named(data: bytes, start: int, end: int) -> bool:
    count_bytes = 2 if data[start : start + 1] == b"\x00" else 4
    for kind, first, last in _boxes(data, start + 4 + count_bytes, end):
        version = data[first : first + 1]
        if kind != b"infe" or version not in (b"\x02", b"\x03"):
            continue
        place = first + 4 + (2 if version == b"\x02" else 4) + 2
        if not all(0x20 <= sign < 0x7F for sign in data[place : min(place + 4, last)]):
            return False
    return True


def _boxes(data: bytes, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield type, start and end of the contents of each box between two places, up to the first that does not fit."""
    for _ in range(MOST_BOXES):
        if start + 8 > end:
            return
        size, kind, header = int.from_bytes(data[start : start + 4], "big"), data[start + 4 : start + 8], 8
        if size == 1:
            size, header = int.from_bytes(data[start + 8 : start + 16], "big"), 16
        elif size == 0:
            size = end - start
        if size < header or start + size > end:
            return
        yield kind, start + header, start + size
        start += size
