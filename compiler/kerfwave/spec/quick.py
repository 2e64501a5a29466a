"""A yes-or-don't-know check against our schemas, so that a good spec need not wait for the validator's import.

Importing jsonschema takes about as long as everything else that a build with nothing to do has to do. This knows just
the keywords that our schemas use and answers True only where it is sure; on anything else the full validator decides,
and it alone writes the findings. A property test holds the two against each other.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from kerfwave.spec.schema_files import resolve

_TYPES: dict[str, Callable[[Any], bool]] = {
    "object": lambda value: isinstance(value, dict),
    "array": lambda value: isinstance(value, list),
    "string": lambda value: isinstance(value, str),
    "boolean": lambda value: isinstance(value, bool),
    "number": lambda value: isinstance(value, int | float) and not isinstance(value, bool),
    "integer": lambda value: isinstance(value, int) and not isinstance(value, bool),
}
_SILENT = {
    "$schema",
    "$id",
    "$comment",
    "$defs",
    "title",
    "description",
    "default",
    "examples",
    "x-unit",
    "then",
    "else",
}


def accepts(schema: Any, value: Any, home: str) -> bool:
    """Return True if `value` surely fits `schema`, a part of the schema file `home`; False if not, or not sure."""
    if isinstance(schema, bool):
        return schema
    return all(
        keyword in _SILENT or (keyword in _KEYWORDS and _KEYWORDS[keyword](schema, value, home)) for keyword in schema
    )


def _type(schema: Any, value: Any, home: str) -> bool:
    wanted = schema["type"]
    return any(_TYPES[name](value) for name in ([wanted] if isinstance(wanted, str) else wanted))


def _properties(schema: Any, value: Any, home: str) -> bool:
    parts = schema["properties"]
    return not isinstance(value, dict) or all(
        accepts(parts[key], part, home) for key, part in value.items() if key in parts
    )


def _additional(schema: Any, value: Any, home: str) -> bool:
    return schema["additionalProperties"] is False and (
        not isinstance(value, dict) or value.keys() <= schema["properties"].keys()
    )


def _if(schema: Any, value: Any, home: str) -> bool:
    branch = "then" if accepts(schema["if"], value, home) else "else"
    return accepts(schema.get(branch, True), value, home)


def _reference(schema: Any, value: Any, home: str) -> bool:
    found, where = resolve(schema["$ref"], home)
    return accepts(found, value, where)


def _when(kind: str, test: Callable[[Any, Any], bool], keyword: str) -> Callable[[Any, Any, str], bool]:
    """Make a keyword check that holds for every value of another type."""
    return lambda schema, value, home: not _TYPES[kind](value) or test(schema[keyword], value)


_KEYWORDS: dict[str, Callable[[Any, Any, str], bool]] = {
    "type": _type,
    "properties": _properties,
    "additionalProperties": _additional,
    "if": _if,
    "$ref": _reference,
    "not": lambda schema, value, home: False,
    "allOf": lambda schema, value, home: all(accepts(part, value, home) for part in schema["allOf"]),
    "items": lambda schema, value, home: (
        not isinstance(value, list) or all(accepts(schema["items"], part, home) for part in value)
    ),
    "enum": lambda schema, value, home: isinstance(value, str) and value in schema["enum"],
    "const": lambda schema, value, home: not isinstance(value, bool) and value == schema["const"],
    "required": _when("object", lambda keys, value: all(key in value for key in keys), "required"),
    "minimum": _when("number", lambda bound, value: value >= bound, "minimum"),
    "maximum": _when("number", lambda bound, value: value <= bound, "maximum"),
    "exclusiveMinimum": _when("number", lambda bound, value: value > bound, "exclusiveMinimum"),
    "minLength": _when("string", lambda bound, value: len(value) >= bound, "minLength"),
    "maxLength": _when("string", lambda bound, value: len(value) <= bound, "maxLength"),
    "minItems": _when("array", lambda bound, value: len(value) >= bound, "minItems"),
    "maxItems": _when("array", lambda bound, value: len(value) <= bound, "maxItems"),
    "pattern": _when("string", lambda pattern, value: re.search(pattern, value) is not None, "pattern"),
}
