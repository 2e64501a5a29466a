"""A variant as a spec of its own: shelf files written into it, so that it can be built anywhere."""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from kerfwave.explore.vary import Step, Value, Vary, VaryError
from kerfwave.spec import load, shelf
from kerfwave.spec.writing import text_of
from kerfwave.spec.yaml_source import read_file

_SHELVED = ("driver", "stock", "machine")
_NAME = re.compile(r"(?:drivers/)?[A-Za-z0-9][A-Za-z0-9_-]{0,80}\.(?:yaml|yml|txt)")  # the same on every system


@dataclass(frozen=True, slots=True)
class Variant:
    """Its number from 1, what it was given, and its files: the spec, and a driver's measured response if it has one."""

    number: int
    values: tuple[Value, ...]
    files: tuple[tuple[str, str], ...]  # name below the variant's folder, text


def variants(spec: Path, varied: Sequence[Vary], rows: Sequence[tuple[Value, ...]]) -> tuple[Variant, ...]:
    """Return one variant for each row of values.

    Raises:
        SpecError: if the spec itself is wrong.
        VaryError: if a key leads nowhere, or a shelf name cannot be followed.
    """
    load(spec)
    data = read_file(spec, spec.as_posix()).data
    whole = sorted(range(len(varied)), key=lambda i: (len(varied[i].steps), i))  # driver=... before driver.fs_hz=...
    return tuple(_variant(spec, data, varied, row, whole, number) for number, row in enumerate(rows, start=1))


def _variant(
    spec: Path,
    data: Mapping[str, Any],
    varied: Sequence[Vary],
    row: tuple[Value, ...],
    order: Sequence[int],
    number: int,
) -> Variant:
    own: dict[str, Any] = copy.deepcopy(dict(data))
    for index in order:
        _set(own, spec, varied[index], row[index])
    _inline(own, spec)
    files = []
    response = own["driver"].get("response_file") if isinstance(own.get("driver"), dict) else None
    if isinstance(response, str):
        text = _followed(spec, "response", response).read_text("utf-8")
        own["driver"]["response_file"] = response if _NAME.fullmatch(response) else "drivers/response.txt"
        files.append((own["driver"]["response_file"], text))
    name = spec.name if _NAME.fullmatch(spec.name) else "variant.yaml"
    return Variant(number, row, ((name, text_of(own)), *files))


def _set(data: dict[str, Any], spec: Path, vary: Vary, value: Value) -> None:
    """Set one value. Sections that the spec leaves out are made; lists are not grown."""
    steps = vary.steps
    if len(steps) > 1:
        _inline(data, spec, steps[0])
    at: Any = data
    for step, following in pairwise(steps):
        if isinstance(step, str) and isinstance(at, dict):
            at = at.setdefault(step, {} if isinstance(following, str) else [])
        else:
            at = _item(vary, at, step)
    last = steps[-1]
    if isinstance(at, dict) and isinstance(last, str):
        at[last] = value
    else:
        _item(vary, at, last)
        at[last] = value


def _item(vary: Vary, at: Any, step: Step) -> Any:
    if not isinstance(at, list) or not isinstance(step, int) or step >= len(at):
        raise VaryError(f"{vary.key}: there is no '{step}' here: check the key against docs/spec.md")
    return at[step]


def _inline(data: dict[str, Any], spec: Path, only: Step | None = None) -> None:
    """Put shelf files in the place of their names."""
    for key in _SHELVED:
        if isinstance(data.get(key), str) and only in (None, key):
            data[key] = _read(_followed(spec, key, data[key]))
    if only not in (None, "recipes"):
        return
    listed = data.get("recipes")
    if listed is None:
        files = list(shelf.listed(spec, "recipes"))
        data["recipes"] = [entry for file in files for entry in _entries(file)]
    elif isinstance(listed, list):
        data["recipes"] = [
            entry
            for one in listed
            for entry in (_entries(_followed(spec, "recipes", one)) if isinstance(one, str) else [one])
        ]


def _followed(spec: Path, kind: str, name: str) -> Path:
    try:
        return shelf.named(spec, kind, name)
    except shelf.ShelfError as error:
        raise VaryError(f"{error}; {error.hint or error.why}") from error


def _read(file: Path) -> Any:
    """Return the data of a shelf file. What is wrong with it is told when the variant is built."""
    return copy.deepcopy(read_file(file, file.as_posix()).data)


def _entries(file: Path) -> list[Any]:
    data = _read(file)
    entries = data.get("entries") if isinstance(data, dict) else None
    return list(entries) if isinstance(entries, list) else []
