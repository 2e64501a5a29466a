"""Does the data fit its schema? jsonschema's errors become findings that say what would be right."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, NamedTuple

from kerfwave.findings import Finding, quoted
from kerfwave.spec import suggest
from kerfwave.spec.places import finding_at, scalar_span
from kerfwave.spec.quick import accepts
from kerfwave.spec.schema_files import NAMES, schema
from kerfwave.spec.units import number
from kerfwave.spec.yaml_source import KeyPath, Source

_ONE_LINE_BUT = ("notes",)


class Wrong(NamedTuple):
    """A place in the data that does not fit, and what to say about it."""

    path: KeyPath
    finding: Finding


def check(source: Source, name: str) -> list[Wrong]:
    """Return what is wrong with the data of one file against schema `name`; [] if nothing is."""
    wrong = list(_line_breaks(source, source.data, ()))
    if not accepts(schema(name), source.data, name):
        for error in _validator(name).iter_errors(source.data):
            path: KeyPath = tuple(error.absolute_path)
            if not any(path[: len(broken)] == broken for broken in source.broken):
                wrong.extend(_explain(source, error, path, name))
    return wrong


def label(path: KeyPath) -> str:
    """Return how a path is called in a message: its last key, with a list index as "entry 2 of sheets"."""
    if not path:
        return "the file"
    if isinstance(path[-1], int):
        return f"entry {path[-1] + 1} of {label(path[:-1])}"
    return str(path[-1])


@cache
def _validator(name: str) -> Any:
    from jsonschema.validators import Draft202012Validator
    from referencing import Registry
    from referencing.jsonschema import DRAFT202012

    # The spec names the others relative to its own place, so that editors find them beside it.
    resources = [(f"{other}.schema.json", DRAFT202012.create_resource(schema(other))) for other in NAMES]
    return Draft202012Validator(schema(name), registry=Registry().with_resources(resources).crawl())


def _line_breaks(source: Source, value: Any, path: KeyPath) -> Iterator[Wrong]:
    """Only notes may run over several lines: everything else ends up on one line of a sheet or a program."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from _line_breaks(source, part, (*path, key))
    elif isinstance(value, list):
        for index, part in enumerate(value):
            yield from _line_breaks(source, part, (*path, index))
    elif isinstance(value, str) and "\n" in value and path[-1] not in _ONE_LINE_BUT:
        message = f"{label(path)} is text of more than one line"
        hint = "one line; only notes may have more"
        yield Wrong(path, finding_at(source, source.span(path), "K206", message, "", hint))


def _explain(source: Source, error: Any, path: KeyPath, home: str) -> Iterator[Wrong]:
    rule, limit, value, part = error.validator, error.validator_value, error.instance, error.schema
    if rule == "additionalProperties":
        yield from _unknown_keys(source, path, value, part)
    elif rule == "required":
        yield from _missing_key(source, path, value, part, error, home)
    elif rule == "not":  # "not": {} fits nothing: the key belongs to another choice
        choice = _choice(source.data, path[:-1])
        message = f"{label(path)} is not used {choice}".rstrip()
        span = source.span(path, "key")
        yield Wrong(path, finding_at(source, span, "K208", message, "", f"delete {label(path)}"))
    elif rule not in ("const", "enum") or accepts({"type": part.get("type", [])}, value, ""):
        # A word of the wrong type is told once, by its type.
        span = scalar_span(source, path)
        code, message, why, hint = _value_problem(rule, limit, value, part, label(path))
        yield Wrong(path, finding_at(source, span, code, message, why, hint))


def _unknown_keys(source: Source, path: KeyPath, value: dict[str, Any], part: Any) -> Iterator[Wrong]:
    known = part["properties"]
    for key in value:
        if key in known:
            continue
        twin = suggest.twin(key, value, part)
        span = source.span((*path, key), "key")
        takes = f"{label(path)} takes {_listing(list(known))}"
        if twin:
            missing = twin in part.get("required", []) and twin not in value
            why = f"{twin} is required and missing" if missing else takes
            hint = suggest.with_value(key, twin, value[key], known[twin])
        else:
            home = suggest.home_of(key)
            why, hint = (f"{key} is a key of {home}", f"move it to {home}") if home else (takes, "")
            if key == "format":  # every spec has it, so there is nothing to move
                hint = "delete it here"
            elif key.isdigit() and value[key] is None:  # front_mm: 190,5 between braces
                hint = "decimals stand after a point, not a comma"
        message = f"unknown key {quoted(key)} in {label(path)}"
        yield Wrong((*path, key), finding_at(source, span, "K201", message, why, hint))


def _missing_key(
    source: Source, path: KeyPath, value: dict[str, Any], part: Any, error: Any, home: str
) -> Iterator[Wrong]:
    key = next((key for key in error.validator_value if error.message.startswith(f"{key!r} ")), "")
    whole = part if "additionalProperties" in part else suggest.part_at(schema(home), path, home)
    if any(suggest.twin(other, value, whole) == key for other in value if other not in whole["properties"]):
        return  # told where the unknown key stands
    properties = whole["properties"]
    described = properties[key].get("description", "")
    choice = _choice(source.data, path) if "additionalProperties" not in part else ""
    message = f"{label(path)} has no {key}" + (f", required {choice}" if choice else ", which is required")
    hint = suggest.example(key, properties)
    yield Wrong(path, finding_at(source, source.span(path, "key"), "K202", message, described, hint))


def _choice(data: Any, path: KeyPath) -> str:
    """Return "with shape: polygon" if the mapping at `path` has a discriminator."""
    for step in path:
        data = data[step]
    shape = data.get("shape") if isinstance(data, dict) else None
    return f"with shape: {shape}" if isinstance(shape, str) else ""


def _value_problem(rule: str, limit: Any, value: Any, part: Any, name: str) -> tuple[str, str, str, str]:
    """Return code, message, reason and hint for a value that breaks a rule other than those about keys."""
    unit = suggest.unit_of(part)
    if rule == "type":
        wanted = suggest.expected(part)
        return "K203", f"{name} is {suggest.found(value)}; expected {wanted}", "", suggest.retyped(value, part)
    if rule in ("minimum", "maximum", "exclusiveMinimum"):
        why, hint = suggest.range_hint(value, part)
        return "K204", f"{name} is {number(value)}{unit}, out of range", why, hint
    if rule == "const":
        return "K209", f"{name} is {suggest.found(value)}", f"this program reads {name}: {limit}", f"{name}: {limit}"
    if rule == "enum":
        near = suggest.nearest(value, limit)
        return "K205", f"{quoted(value)} is not a choice for {name}", f"one of: {', '.join(limit)}", near
    if rule in ("minLength", "maxLength"):
        bounds = f"{part.get('minLength', 0)} to {part['maxLength']} characters"
        return "K206", f"{name} has {len(value)} characters", f"allowed: {bounds}", ""
    if rule == "pattern":
        why = "small letters, digits and hyphens, beginning with a letter or digit"
        return "K206", f"{name} may not be {quoted(value)}", why, suggest.slug(value)
    if rule in ("minItems", "maxItems"):
        low, high = part.get("minItems", 0), part["maxItems"]
        allowed = f"exactly {low}" if low == high else f"{low} to {high}"
        entries = "1 entry" if len(value) == 1 else f"{len(value)} entries"
        return "K207", f"{name} has {entries}", f"allowed: {allowed}", ""
    return "K203", f"{name} does not fit the schema ({rule})", part.get("description", ""), ""


def _listing(words: list[str]) -> str:
    return ", ".join(words) if len(words) < 2 else f"{', '.join(words[:-1])} and {words[-1]}"
