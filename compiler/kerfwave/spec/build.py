"""Plain data that fits its schema becomes the frozen values of `kerfwave.model.spec`."""

from __future__ import annotations

import dataclasses
import types
import typing
from functools import cache
from typing import Any, TypeVar

from kerfwave.model import spec as model
from kerfwave.spec.plan import plan_of

T = TypeVar("T")


def make(cls: type[T], data: dict[str, Any]) -> T:
    """Build a dataclass from a mapping: numbers coerced to the field's type, nested parts built, lists to tuples.

    ``Box(1)`` and ``Box(1.0)`` are equal but not the same bytes in a cache, hence the coercion.

    Raises:
        PlanError: if there is a plan in it that is no simple outline.
    """
    if cls is model.Machine:
        data = {key: value for key, value in data.items() if key != "bed_mm"} | dict(
            zip(("bed_width_mm", "bed_height_mm"), data["bed_mm"], strict=True)
        )
    elif cls in (model.Stock, model.SheetStock) and not isinstance(data.get("measured_mm", []), list):
        data = {**data, "measured_mm": [data["measured_mm"]]}
    if cls is model.SheetStock and "outline_mm" in data:
        across, up = zip(*data["outline_mm"], strict=True)
        data = {**data, "width_mm": max(across), "height_mm": max(up)}
    hints: dict[str, Any] = _hints(typing.cast("Any", cls))
    return cls(**{key: _value(hints[key], value) for key, value in data.items()})


def _value(hint: Any, value: Any) -> Any:
    if hint is model.Plan:
        return plan_of(value)
    if hint in (float, int, str, bool):
        return hint(value)
    if dataclasses.is_dataclass(hint):
        return make(typing.cast("type[Any]", hint), value)
    if typing.get_origin(hint) is tuple:
        return tuple(_value(typing.get_args(hint)[0], part) for part in value)
    if typing.get_origin(hint) in (types.UnionType, typing.Union):  # "float | None": what is written is not None
        return _value(next(kind for kind in typing.get_args(hint) if kind is not type(None)), value)
    raise TypeError(f"no way to build {hint!r}")


@cache
def _hints(cls: type[Any]) -> dict[str, Any]:
    return typing.get_type_hints(cls)
