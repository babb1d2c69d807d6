"""Records as JSON-ready values."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

DIGITS = 6


def plain(value: Any, *, leave_out: tuple[str, ...] = ()) -> Any:
    """Return a record, mapping, sequence or number as JSON-ready values, floats to six digits after the point.

    Parameters
    ----------
    value
        Frozen records, mappings, sequences, arrays, numbers, words, None; a float that is not finite becomes None.
    leave_out
        Fields of the outermost record to leave out.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [field.name for field in dataclasses.fields(value) if field.name not in leave_out]
        return {name: plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items() if str(key) not in leave_out}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in (sorted(value) if isinstance(value, set | frozenset) else value)]
    return _plain_scalar(value)


def _plain_scalar(value: Any) -> Any:
    if isinstance(value, bool | int | str) or value is None:
        return value
    if isinstance(value, float | np.floating):
        return round(float(value), DIGITS) + 0.0 if math.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else str(value)
