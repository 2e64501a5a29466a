"""What somebody probably meant: the nearest key or word, the unit they had in mind, the value as it should stand."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import Any

from kerfwave.findings import quoted
from kerfwave.spec.schema_files import NAMES, resolve, schema
from kerfwave.spec.units import convert, number, quantity, slip, split_key

_TYPE_WORDS = {
    "object": "a mapping (key: value lines below it)",
    "array": "a list",
    "string": "text",
    "boolean": "true or false",
    "number": "a number",
    "integer": "a whole number",
}


def nearest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """Return the known word that looks most like `word`, "" if none does."""
    from difflib import get_close_matches

    by_small: dict[str, str] = {option.lower(): option for option in known}
    close: list[str] = get_close_matches(word.lower()[:80], list(by_small), 1, cutoff)
    return by_small[close[0]] if close else ""


def twin(key: str, present: Iterable[str], part: Any) -> str:
    """Return the known key that an unknown `key` stands for: same name in another unit, or nearly the same name."""
    taken = set(present)
    free = [name for name in part["properties"] if name not in taken]
    required = [name for name in free if name in part.get("required", [])]
    stem = split_key(key)[0]
    for names in (required, free):
        same: list[str] = [name for name in names if stem in (split_key(name)[0], name)]
        if same:
            return same[0]
    if key in _homes():  # spelled right, only not here
        return ""
    return nearest(key, required) or nearest(key, free, 0.7)


def with_value(key: str, twin_key: str, value: Any, part: Any) -> str:
    """Return the line as it should stand, the value converted if the two keys name different units."""
    if isinstance(value, dict | list) or value is None:
        return f"{twin_key}:"
    if isinstance(value, bool):
        return f"{twin_key}: {str(value).lower()}"
    if isinstance(value, str):
        return f"{twin_key}: {value if len(value) < 40 else '...'}"
    given, wanted = split_key(key)[1], unit(part)
    there = convert(value, given, wanted) if given and wanted else None
    if there is None and given and wanted and given != wanted:
        return f"{twin_key}, in {wanted}"
    return f"{twin_key}: {number(value if there is None else there)}"


def home_of(key: str) -> str:
    """Return the part of a spec that knows `key`, "" if none or several do."""
    homes = _homes().get(key, ())
    return homes[0] if len(homes) == 1 else ""


@cache
def _homes() -> dict[str, tuple[str, ...]]:
    homes: dict[str, tuple[str, ...]] = {}

    def walk(part: Any, name: str) -> None:
        for key, value in part.get("properties", {}).items():
            homes[key] = (*homes.get(key, ()), name)
            walk(value, key)
            walk(value.get("items", {}), key)

    walk(schema("spec"), "the spec's top level")
    for name in NAMES[1:4]:
        walk(schema(name), name)
    walk(schema("spec")["$defs"]["plan"], "plan")
    return homes


def part_at(part: Any, path: tuple[str | int, ...], home: str = "spec") -> Any:
    """Return the schema of the value at `path`, following references; None if there is none."""
    for step in path:
        part = part.get("then", part) if part.get("type") == ["string", "object"] else part  # inline, or a file's name
        if "$ref" in part:
            part, home = resolve(part["$ref"], home)
        part = part.get("items") if isinstance(step, int) else part.get("properties", {}).get(step)
        if not isinstance(part, dict):
            return None
    return resolve(part["$ref"], home)[0] if "$ref" in part else part


def unit(part: Any) -> str:
    """Return the unit that a schema names, "" for plain numbers and text."""
    named = part.get("x-unit", "")
    return "" if named == "1" else str(named)


def unit_of(part: Any) -> str:
    """Return the unit with a space before it, for use behind a number."""
    return f" {unit(part)}" if unit(part) else ""


def found(value: Any) -> str:
    """Say what a value is, in a maker's words."""
    if value is None:
        return "empty"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return f"the number {number(value)}"
    if isinstance(value, str):
        return f"the text {quoted(value)}"
    return "a list" if isinstance(value, list) else "a mapping"


def expected(part: Any) -> str:
    """Say what a schema wants, in a maker's words."""
    types = part["type"] if isinstance(part["type"], list) else [part["type"]]
    named = unit(part)
    words = [_TYPE_WORDS[kind] + (f" ({named})" if named and kind in ("number", "integer") else "") for kind in types]
    if types == ["string"] and "enum" in part:
        words = [f"one of: {', '.join(part['enum'])}"]
    return " or ".join(words)


def retyped(value: Any, part: Any) -> str:
    """Return what to write instead of a value of the wrong type, "" if nothing can be guessed."""
    types = part["type"] if isinstance(part["type"], list) else [part["type"]]
    if value is None:
        return "write a value, or leave the key out if it is optional"
    if isinstance(value, str) and {"number", "integer"} & set(types):
        return _number_from(value, part)
    if isinstance(value, str) and types == ["boolean"]:
        return "true or false, without quotes"
    if isinstance(value, float) and types == ["integer"]:
        return f"{round(value)}, if that is what is meant"
    if isinstance(value, str) and types == ["array"]:
        return _list_from(value, part)
    if types == ["string"] and "enum" not in part and isinstance(value, int | float):
        text = str(value).lower() if isinstance(value, bool) else number(value)
        return f'"{text}" in quotes, if the text is meant'
    return ""


def _list_from(text: str, part: Any) -> str:
    """Return the list that was probably meant: 380x380 for two numbers, or a single entry without brackets."""
    entries = part["items"].get("type", ["string", "object"])
    if entries != "number":
        return f"[{text}]" if "string" in entries and len(text) < 40 else ""
    numbers = re.findall(r"\d+(?:\.\d+)?", text)
    return f"[{', '.join(numbers)}]" if part.get("minItems", 0) <= len(numbers) <= part["maxItems"] else ""


def _number_from(text: str, part: Any) -> str:
    read = quantity(text)
    if read is None:
        return ""
    value, given = read
    wanted = unit(part)
    if given in ("", wanted):
        return f"{number(value)} (a plain number{'; the unit is in the name of the key' if wanted else ''})"
    there = convert(value, given, wanted)
    return "" if there is None else f"{number(there)} ({number(value)} {given} in {wanted})"


def range_hint(value: float, part: Any) -> tuple[str, str]:
    """Return the allowed range in words, and the value that was probably meant."""
    low = part.get("minimum", part.get("exclusiveMinimum", 0))
    high = part["maximum"]
    named = unit(part)
    why = f"allowed: {number(low)} to {number(high)}{unit_of(part)}"
    guess = slip(value, named, low, high)
    if guess is None:
        return why, ""
    other, there = guess
    return f"{why}; {number(value)} looks like {other}, this key is in {named}", number(there)


def slug(text: str) -> str:
    """Return `text` as small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()[:40]).strip("-")


def example(key: str, properties: Any) -> str:
    """Return a line that shows how a missing key is written; never a made-up value."""
    part = properties.get(key)
    if not isinstance(part, dict):
        return ""
    if "const" in part:
        return f"{key}: {part['const']}"
    if "enum" in part:
        return f"{key}: one of {', '.join(part['enum'])}"
    return ""
