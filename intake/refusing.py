"""Foreign JSON and models: parsed strictly, refused in one line that names place, value and nearest known word."""

from __future__ import annotations

import difflib
import json
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from vision.findings import PerpendError

LONGEST_MESSAGE = 600
MEND = "Mend it there."

Model = TypeVar("Model", bound=BaseModel)


def parse_json(text: str | bytes, *, name: str) -> Any:
    """Return the parsed JSON, refusing repeated keys, NaN and infinities.

    Raises
    ------
    PerpendError
        The text is not JSON; the message gives line and column.
    """
    try:
        decoded = text.decode("utf-8-sig") if isinstance(text, bytes) else text
        return json.loads(decoded, object_pairs_hook=lambda pairs: _object(pairs, name), parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        place = f"byte {error.start}"
        raise PerpendError(f"{name}: not UTF-8 text at {place}. Save it as UTF-8, or restore the backup.") from error
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise PerpendError(f"{name}: not JSON at {place} ({error.msg}). Mend it, or restore the backup.") from error
    except RecursionError as error:
        raise PerpendError(f"{name}: nested too deeply to be a survey. Restore the backup.") from error
    except ValueError as error:
        raise PerpendError(f"{name}: {shown(str(error))}.") from error


def shown(text: str) -> str:
    """Return foreign text as it can stand in a message: one line, signs that do not print escaped, not too long."""
    plain = "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)
    return plain if len(plain) <= LONGEST_MESSAGE else plain[: LONGEST_MESSAGE - 3] + "..."


def _object(pairs: list[tuple[str, Any]], name: str) -> dict[str, Any]:
    keys = [key for key, _ in pairs]
    if len(set(keys)) < len(keys):
        repeated = next(key for key in keys if keys.count(key) > 1)
        raise PerpendError(f'{name}: the key "{shown(repeated)}" stands twice in one place. Remove one of the two.')
    return dict(pairs)


def _no_constant(text: str) -> Any:
    raise ValueError(f"{text} is not a number that JSON allows; write a finite number or null")


def validate(model: type[Model], data: Any, *, name: str) -> Model:
    """Return the data as the model, or refuse it with place, value and nearest known word.

    Raises
    ------
    PerpendError
        The data does not fit; one line, the first misfit and how many more.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        faults = sorted(error.errors(include_url=False), key=lambda fault: fault["type"] != "extra_forbidden")
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise PerpendError(shown(_misfit(model, data, dict(faults[0]), name)) + more) from None


def _misfit(model: type[BaseModel], data: Any, fault: dict[str, Any], name: str) -> str:
    loc: tuple[str | int, ...] = fault["loc"]
    if fault["type"] == "extra_forbidden":
        nearest = difflib.get_close_matches(str(loc[-1]), known_keys(model, loc[:-1]), n=1, cutoff=0.5)
        hint = f'Did you mean "{nearest[0]}"?' if nearest else f"Known here: {', '.join(known_keys(model, loc[:-1]))}."
        return f'{name}{_path(loc[:-1])}: unknown key "{loc[-1]}". {hint}'
    if fault["type"] == "missing":
        return f'{name}{_path(loc[:-1])}: "{loc[-1]}" is missing. Add it.'
    if fault["type"] == "value_error":
        return f"{name}{_path(loc)}: {fault['ctx']['error']}. {MEND}"
    value = json.dumps(fault["input"], ensure_ascii=False, default=str)
    value = value if len(value) <= 60 else value[:57] + "..."
    if fault["type"] == "literal_error":
        words = [str(word).strip("' ") for word in fault["ctx"]["expected"].replace(" or ", ", ").split(",")]
        nearest = difflib.get_close_matches(str(fault["input"]), words, n=1, cutoff=0.5)
        hint = f'Did you mean "{nearest[0]}"?' if nearest else f"Known: {', '.join(words)}."
        return f"{name}{_path(loc)}: {value} is not known here. {hint}"
    message = str(fault["msg"])
    return f"{name}{_path(loc)}: {message[0].lower()}{message[1:]}, not {value}. {MEND}"


def _path(loc: tuple[str | int, ...]) -> str:
    text = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in loc)
    return f" {text.lstrip('.')}" if text else ""


def known_keys(model: type[BaseModel], loc: tuple[str | int, ...]) -> list[str]:
    """Return the keys known at a place of a model, given the path of keys and indices to it."""
    current: type[BaseModel] | None = model
    for part in loc:
        if isinstance(part, str) and current is not None and part in current.model_fields:
            current = _model_in(current.model_fields[part].annotation)
    return sorted(current.model_fields) if current is not None else []


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _model_in(part)
        if found is not None:
            return found
    return None
