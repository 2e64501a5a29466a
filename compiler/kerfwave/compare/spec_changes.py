"""What changed in the spec, leaf by leaf: its own lines and those of the shelf files that it names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from kerfwave.compare.model import SpecChange

Leaf = str | int | float | bool | None | tuple[Any, ...]
KeyPath = tuple[str | int, ...]


def spec_changes(a: Any, b: Any) -> tuple[SpecChange, ...]:
    """Return the leaves that differ between two encoded specs (dicts, lists and scalars), in the order of their paths.

    A list of plain values is one leaf. Entries that all have a name (recipes) are matched by it, so that a new one at
    the top of a file does not make all below look changed; others by their place.
    """
    old, new = dict(_leaves(_as_written(a), ())), dict(_leaves(_as_written(b), ()))
    found = []
    for path in sorted(old.keys() | new.keys(), key=lambda path: [(isinstance(step, str), step) for step in path]):
        before, after = old.get(path), new.get(path)
        if before == after and type(before) is type(after):
            continue
        word = "added" if before is None else "removed" if after is None else "changed"
        found.append(SpecChange(dotted(path), before, after, word))
    return tuple(found)


def _as_written(spec: Any) -> Any:
    """Return a spec with the sizes of a rectangle or trapezoid, as somebody wrote them, in place of their outline."""
    body = spec.get("enclosure") if isinstance(spec, Mapping) else None
    plan = body.get("plan") if isinstance(body, Mapping) else None
    if body is None or plan is None or plan["shape"] not in ("rectangle", "trapezoid"):
        return spec
    (left, _), (right, _), (back_right, depth), (back_left, _) = plan["outline"]
    front, back = round(right - left, 6), round(back_right - back_left, 6)
    across = {"width_mm": front} if plan["shape"] == "rectangle" else {"front_mm": front, "back_mm": back}
    rest = {key: value for key, value in plan.items() if key != "outline"}
    return {**spec, "enclosure": {**body, "plan": {**rest, **across, "depth_mm": depth}}}


def dotted(path: KeyPath) -> str:
    """Return a path as it is written in messages.

    >>> dotted(("stock", "sheets", 0, "price"))
    'stock.sheets[0].price'
    """
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def _leaves(value: Any, path: KeyPath) -> Iterator[tuple[KeyPath, Leaf]]:
    if isinstance(value, Mapping):
        for name, part in value.items():
            yield from _leaves(part, (*path, name))
    elif isinstance(value, (list, tuple)):
        names = [part.get("name") if isinstance(part, Mapping) else None for part in value]
        if not any(isinstance(part, (Mapping, list, tuple)) for part in value):
            yield path, tuple(value) if value else None
        elif all(isinstance(name, str) for name in names) and len(set(names)) == len(names):
            for name, part in zip(names, value, strict=True):
                yield from _leaves(part, (*path, str(name)))
        else:
            for index, part in enumerate(value):
                yield from _leaves(part, (*path, index))
    else:
        yield path, value
