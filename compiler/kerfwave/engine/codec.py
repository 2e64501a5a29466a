"""Frozen dataclasses to JSON and back, driven by their type hints, and the digest of a value.

The kinds of value: dataclasses, tuples (``tuple[X, ...]``, ``tuple[A, B]``, nested), ``X | None``, ``Literal``, str,
int, float, bool, bytes and None. Every value is coerced to its *declared* type first, so that 18 and 18.0 in a float
field are one value with one digest. Anything else is refused with its place, never guessed at.
"""

from __future__ import annotations

import base64
import binascii
import dataclasses
import functools
import hashlib
import json
import math
import numbers
import operator
import types
import typing
from collections.abc import Callable
from typing import Any, TypeVar, cast

from kerfwave.engine.errors import CodecError

T = TypeVar("T")
Coder = Callable[[Any], Any]


def encode(value: Any, hint: Any = None) -> Any:
    """Return `value` as dicts, lists and scalars that JSON can hold.

    `hint` is the declared type; without it the value's own class speaks for itself.

    Raises
    ------
    CodecError
        if the value, or a part of it, is not of its declared type or not of a kind listed above.

    >>> encode((1, 2.5, None)), encode((1, 2), tuple[float, ...])
    ([1, 2.5, None], [1.0, 2.0])
    """
    if hint is None:
        return _encode_untyped(value)
    return _coders(hint)[0](value)


def decode(hint: type[T], data: Any) -> T:
    """Return the value of type `hint` that `encode` turned into `data`.

    Raises
    ------
    CodecError
        if `data` has another shape: a field missing, one too many, a string for a number.
    """
    return cast("T", _coders(cast("Any", hint))[1](data))


def to_bytes(data: Any) -> bytes:
    """Return JSON-able `data` as canonical bytes: sorted keys, no spaces, ASCII, floats by their shortest repr.

    Raises
    ------
    CodecError
        for NaN and infinities.
    """
    try:
        text = json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False, ensure_ascii=True)
    except ValueError as error:
        raise CodecError("not a finite number", _first_not_finite(data)) from error
    return text.encode("ascii")


def to_readable(data: Any) -> bytes:
    """Return JSON-able `data` as sorted, indented JSON for people to read, with a final newline."""
    return (json.dumps(data, sort_keys=True, indent=2, allow_nan=False, ensure_ascii=False) + "\n").encode("utf-8")


def from_bytes(raw: bytes) -> Any:
    """Return the data in `raw`. Raises ValueError for anything but strict JSON."""
    return json.loads(raw, parse_constant=_refuse_constant)


def canonical(value: Any, hint: Any = None) -> bytes:
    """Return the one byte string that stands for this value, the same in every process.

    >>> canonical(18, float) == canonical(18.0, float)
    True
    """
    return to_bytes(encode(value, hint))


def digest(value: Any, hint: Any = None) -> str:
    """Return the SHA-256 of the value's canonical bytes, in hexadecimal."""
    return sha256(canonical(value, hint))


def sha256(raw: bytes) -> str:
    """Return the SHA-256 of `raw` in hexadecimal."""
    return hashlib.sha256(raw).hexdigest()


def _refuse_constant(text: str) -> Any:
    raise ValueError(f"{text} is not JSON")


def _first_not_finite(data: Any) -> tuple[str | int, ...]:
    """Find the place to complain about; only walked once something is known to be wrong."""
    parts: Any = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, part in parts:
        if isinstance(part, float) and not math.isfinite(part):
            return (step,)
        deeper = _first_not_finite(part)
        if deeper:
            return (step, *deeper)
    return ()


def _encode_untyped(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return _coders(type(value))[0](value)
    if isinstance(value, tuple):
        return _each(_encode_untyped, value)
    if value is None or type(value) in _SCALARS:
        return _SCALARS[type(value)][0](value)
    raise _wrong("a frozen dataclass, a tuple or a scalar", value)


def _wrong(expected: str, value: Any) -> CodecError:
    return CodecError(f"expected {expected}, got {type(value).__name__}")


def _each(coder: Coder, items: Any) -> list[Any]:
    """Apply `coder` to each item; on failure look again for which one it was."""
    try:
        return [coder(item) for item in items]
    except CodecError:
        for index, item in enumerate(items):
            try:
                coder(item)
            except CodecError as error:
                raise error.inside(index) from None
        raise


# Scalars. A bool is no number here, and a float with a whole value is no int: both are slips worth hearing of.


def _float(value: Any) -> float:
    if type(value) is float:
        return value
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        raise _wrong("a number", value)
    return float(value)


def _int(value: Any) -> int:
    if type(value) is int:
        return value
    if isinstance(value, bool):
        raise _wrong("a whole number", value)
    try:
        return operator.index(value)
    except TypeError:
        raise _wrong("a whole number", value) from None


def _bool(value: Any) -> bool:
    if type(value) is bool:
        return value
    raise _wrong("true or false", value)


def _str(value: Any) -> str:
    if isinstance(value, str):
        return str(value)
    raise _wrong("text", value)


def _none(value: Any) -> None:
    if value is not None:
        raise _wrong("nothing", value)


def _bytes_out(value: Any) -> str:
    if isinstance(value, bytes):
        return base64.b64encode(value).decode("ascii")
    raise _wrong("bytes", value)


def _bytes_in(data: Any) -> bytes:
    try:
        return base64.b64decode(_str(data), validate=True)
    except binascii.Error:
        raise CodecError("not base64") from None


_SCALARS: dict[Any, tuple[Coder, Coder]] = {
    float: (_float, _float),
    int: (_int, _int),
    bool: (_bool, _bool),
    str: (_str, _str),
    bytes: (_bytes_out, _bytes_in),
    type(None): (_none, _none),
    None: (_none, _none),
}


@functools.cache
def _coders(hint: Any) -> tuple[Coder, Coder]:
    """Return (encoder, decoder) of one type; built once, since hints are slow to read."""
    if hint in _SCALARS:
        return _SCALARS[hint]
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is tuple:
        return _tuple_coders(arguments)
    if origin in (typing.Union, types.UnionType):
        return _optional_coders(hint, arguments)
    if origin is typing.Literal:
        return _literal_coders(arguments)
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return _dataclass_coders(hint)
    raise CodecError(f"the cache cannot write a {getattr(hint, '__name__', hint)}")


def _tuple_coders(arguments: tuple[Any, ...]) -> tuple[Coder, Coder]:
    if len(arguments) == 2 and arguments[1] is ...:
        out_one, in_one = _coders(arguments[0])

        def out(value: Any) -> list[Any]:
            if not isinstance(value, tuple):
                raise _wrong("a tuple", value)
            return _each(out_one, value)

        def back(data: Any) -> tuple[Any, ...]:
            if not isinstance(data, list):
                raise _wrong("a list", data)
            return tuple(_each(in_one, data))

        return out, back

    coders = [_coders(argument) for argument in arguments if argument != ()]

    def fixed(which: int, container: type, items: Any) -> list[Any]:
        if not isinstance(items, container) or len(items) != len(coders):  # type: ignore[arg-type]
            raise CodecError(f"expected a {container.__name__} of {len(coders)}")
        result = []
        for index, item in enumerate(items):  # type: ignore[arg-type, var-annotated]
            try:
                result.append(coders[index][which](item))
            except CodecError as error:
                raise error.inside(index) from None
        return result

    return (lambda value: fixed(0, tuple, value)), (lambda data: tuple(fixed(1, list, data)))


def _optional_coders(hint: Any, arguments: tuple[Any, ...]) -> tuple[Coder, Coder]:
    others = [argument for argument in arguments if argument is not type(None)]
    if len(others) != 1 or len(arguments) != 2:
        # Any other union would need a tag in the file; a field `kind` in one dataclass says the same more plainly.
        raise CodecError(f"the cache cannot write {hint}: only X | None")
    out_one, in_one = _coders(others[0])
    return (
        lambda value: None if value is None else out_one(value),
        lambda data: None if data is None else in_one(data),
    )


def _literal_coders(allowed: tuple[Any, ...]) -> tuple[Coder, Coder]:
    def same(value: Any) -> Any:
        for choice in allowed:
            if type(choice) is type(value) and choice == value:
                return choice
        raise CodecError(f"expected one of {', '.join(map(repr, allowed))}")

    return same, same


def _dataclass_coders(cls: type) -> tuple[Coder, Coder]:
    if not cls.__dataclass_params__.frozen:  # type: ignore[attr-defined]
        raise CodecError(f"{cls.__name__} is not frozen: a value that can change has no digest")
    hints = typing.get_type_hints(cls)
    names = [field.name for field in dataclasses.fields(cls) if field.init]
    known = frozenset(names)
    # Looked up at first use and not here, so that a class may contain itself.
    table: list[tuple[str, Coder, Coder]] = []

    def coders() -> list[tuple[str, Coder, Coder]]:
        if not table:
            table.extend((name, *_coders(hints[name])) for name in names)
        return table

    def out(value: Any) -> dict[str, Any]:
        if type(value) is not cls:
            raise _wrong(cls.__name__, value)
        result = {}
        name = ""
        try:
            for name, out_one, _ in table or coders():
                result[name] = out_one(getattr(value, name))
        except CodecError as error:
            raise error.inside(name) from None
        return result

    def back(data: Any) -> Any:
        if not isinstance(data, dict):
            raise _wrong(f"the fields of {cls.__name__}", data)
        if data.keys() != known:
            odd = sorted(data.keys() ^ known)
            raise CodecError(f"the fields of {cls.__name__} are others: {', '.join(odd)}")
        result = {}
        name = ""
        try:
            for name, _, in_one in table or coders():
                result[name] = in_one(data[name])
        except CodecError as error:
            raise error.inside(name) from None
        return cls(**result)

    return out, back
