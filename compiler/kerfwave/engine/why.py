"""Why a stage ran: reasons as data, found by comparing its inputs with those of the last run, and their words."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

Scalar = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Reason:
    """One cause.

    `kind` is one of: ``first`` (no earlier build to compare with), ``changed`` (the value at `path` went from `old` to
    `new`; both None where the values are not at hand), ``count`` (a list got longer or shorter), ``added`` and
    ``removed`` (an input of the stage, or a part of one), ``code`` (a module changed), ``tool`` (Python or somebody
    else's package changed), ``lost`` (the cache entry is missing or damaged), ``nothing`` (all as in the last build).
    """

    kind: str
    path: str = ""
    old: Scalar = None
    new: Scalar = None


def compare_values(path: str, old: Any, new: Any) -> Iterator[Reason]:
    """Yield one reason for each leaf that differs between two encoded values, in a fixed order."""
    if isinstance(old, dict) and isinstance(new, dict):
        for name in sorted(old.keys() | new.keys()):
            below = f"{path}.{name}"
            if name not in old:
                yield Reason("added", below)
            elif name not in new:
                yield Reason("removed", below)
            else:
                yield from compare_values(below, old[name], new[name])
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield Reason("count", path, len(old), len(new))
        for index, (before, after) in enumerate(zip(old, new, strict=False)):
            yield from compare_values(f"{path}[{index}]", before, after)
    elif type(old) is not type(new) or old != new:
        yield Reason("changed", path, _scalar(old), _scalar(new))


def compare_code(old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[Reason]:
    """Yield one reason for each module or tool that differs; what came or went counts as changed."""
    for name in sorted(old.keys() | new.keys()):
        before, after = old.get(name), new.get(name)
        if before != after:
            tool = name == "python" or name.endswith("(installed)")
            yield Reason("tool", name.removesuffix(" (installed)"), before, after) if tool else Reason("code", name)


def words(reasons: tuple[Reason, ...], most: int = 1) -> str:
    """Return the reasons as one line; `most` of them are spelled out and the rest are counted.

    >>> words((Reason("changed", "spec.enclosure.wall_mm", 10.0, 12.0), Reason("code", "kerfwave.body.fold")))
    'spec.enclosure.wall_mm 10.0 -> 12.0, and 1 more'
    """
    told = [sentence(reason) for reason in reasons[:most]]
    if len(reasons) > most:
        told.append(f"and {len(reasons) - most} more")
    return ", ".join(told)


def sentence(reason: Reason) -> str:
    """Return one reason in words. Everything that comes from a spec is printable afterwards."""
    path = plain(reason.path)
    if reason.kind == "changed":
        if reason.old is None and reason.new is None:
            return f"{path} changed"
        return f"{path} {_value(reason.old)} -> {_value(reason.new)}"
    if reason.kind == "count":
        return f"{path} {reason.old} -> {reason.new} items"
    if reason.kind == "tool":
        return f"{path} {reason.old or 'none'} -> {reason.new or 'none'}"
    return {
        "first": "first build",
        "added": f"{path} is new",
        "removed": f"{path} is gone",
        "code": f"code changed: {path}",
        "lost": "cache entry missing or damaged",
        "nothing": "nothing changed",
    }[reason.kind]


def plain(text: str, width: int = 120) -> str:
    """Return `text` without anything that could steer a terminal, cut to `width`."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in text)
    return shown if len(shown) <= width else shown[: width - 3] + "..."


def _scalar(value: Any) -> Scalar:
    """Return a leaf as it is; a list or dict that stands where there was none is only hinted at."""
    if isinstance(value, list):
        return f"({len(value)} items)"
    return "(given)" if isinstance(value, dict) else value


def _value(value: Scalar) -> str:
    if value is None:
        return "none"
    return plain(value if isinstance(value, str) and value[:1] == "(" else json.dumps(value, ensure_ascii=False), 48)
