"""`report.json` as text: sorted keys, fixed number text, no time stamp, one line a list of numbers."""

from __future__ import annotations

import dataclasses
import json
import numbers
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from kerfwave.writers.words import significant

SIGNIFICANT_DIGITS = 10
_QUOTED = json.JSONEncoder(ensure_ascii=False).encode


def number_text(value: float) -> str:
    """Return a float with ten significant digits, positional, shortest: 1e-9 is ``0.000000001``, 12.0 is ``12``.

    Ten digits are far more than any value here is good for, and few enough that the last-bit differences between
    processors and mathematics libraries do not show. Positional text keeps a compliance of 0.00072 m/N readable and
    comparable by eye; JSON readers take it like any other number.

    Raises:
        ValueError: for NaN and infinities.
    """
    return significant(value, SIGNIFICANT_DIGITS)


def fields_of(value: Any) -> dict[str, Any]:
    """Return the fields of a dataclass; those within it are left as they are."""
    return {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}


def render_report(data: Mapping[str, Any]) -> str:
    """Return `data` as JSON text with a newline at its end.

    Mappings (with text keys), sequences, dataclasses, text, whole numbers, real numbers (numpy's too), truth values
    and None; anything else is refused rather than guessed.

    Raises:
        ValueError: for a NaN or an infinity; the message names the place.
        TypeError: for a value or key that has no place in the report; the message names it too.
    """
    return _text(data, (None, "report"), 0) + "\n"


# Where a value stands: where what it is a part of stands, and which part. Only put into words when something is wrong.
_Place = tuple[Any, str | int]


def _text(value: Any, where: _Place, depth: int) -> str:
    write = _PLAIN.get(type(value))
    if write is not None:  # most values, so these are told first
        try:
            return write(value)
        except ValueError as error:
            raise ValueError(f"{_said(where)}: {error}") from None
    if isinstance(value, (list, tuple)):
        return _list_text(value, where, depth)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        value = fields_of(value)
    if isinstance(value, Mapping):
        for key in value:
            if not isinstance(key, str):
                raise TypeError(f"{_said(where)}: a key must be text, not {key!r}")
        items = [f"{string_text(k)}: {_text(value[k], (where, k), depth + 1)}" for k in sorted(value)]
        return _wrapped(items, "{}", depth)
    if isinstance(value, str):
        return string_text(value)
    if isinstance(value, numbers.Real):  # numpy's
        return _text(int(value) if isinstance(value, numbers.Integral) else float(value), where, depth)
    if isinstance(value, Sequence) and not isinstance(value, bytes):
        return _list_text(value, where, depth)
    raise TypeError(f"{_said(where)}: {type(value).__name__} has no place in a report")


def _list_text(values: Sequence[Any], where: _Place, depth: int) -> str:
    try:
        return f"[{', '.join([_PLAIN[type(v)](v) for v in values])}]"  # most lists are of numbers
    except (KeyError, ValueError):
        items = [_text(v, (where, i), depth + 1) for i, v in enumerate(values)]
    if any(_has_parts(v) for v in values):
        return _wrapped(items, "[]", depth)
    return f"[{', '.join(items)}]"


def _has_parts(value: Any) -> bool:
    return type(value) not in _PLAIN and (
        (isinstance(value, (Mapping, Sequence)) and not isinstance(value, str)) or dataclasses.is_dataclass(value)
    )


def _said(where: _Place) -> str:
    """Return a place in words: report.a[1].b."""
    parent, step = where
    if parent is None:
        return str(step)
    return f"{_said(parent)}[{step}]" if isinstance(step, int) else f"{_said(parent)}.{step}"


def _wrapped(items: list[str], brackets: str, depth: int) -> str:
    if not items:
        return brackets
    gap = "\n" + " " * (depth + 1)
    return f"{brackets[0]}{gap}{f',{gap}'.join(items)}\n{' ' * depth}{brackets[1]}"


def string_text(text: str) -> str:
    """Return JSON text. A lone surrogate, which UTF-8 cannot hold, becomes a question mark."""
    return _QUOTED(text.encode("utf-8", "replace").decode("utf-8"))


_PLAIN: dict[type, Callable[[Any], str]] = {
    float: number_text,
    int: str,
    str: string_text,
    bool: _QUOTED,
    type(None): _QUOTED,
}
