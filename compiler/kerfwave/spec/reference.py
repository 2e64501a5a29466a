"""The reference of everything a person writes, as Markdown, from the schemas and tables that the checks use.

``python -m kerfwave.spec.reference > docs/spec.md`` writes the committed copy; a test compares the two.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import Any

from kerfwave.findings import BUILD_CODES, CODES
from kerfwave.spec.program_lines import WORDS
from kerfwave.spec.schema_files import resolve, schema
from kerfwave.spec.suggest import unit
from kerfwave.spec.units import number

_INTRO = """\
# The spec, key by key

This page is written by the program (`python -m kerfwave.spec.reference`) from the schemas it checks with.

A spec is one YAML file. Units stand in the key names: `sd_cm2` is in cm², `depth_mm` in mm. Every problem of a spec
and of the shelf files it names is reported at once, with file, line and column, and nothing is written until there
is none.

An editor that knows JSON Schema completes and checks keys while you type if the first line says where the schema is:

```yaml
# yaml-language-server: $schema=../schemas/spec.schema.json
```

## What YAML may hold here

Lists, mappings, text, numbers, `true` and `false`, in UTF-8 up to 1 MiB. Not taken, as readers differ about them or
as they hide what a file says: a key written twice, tags, anchors and aliases, several documents, `yes`/`no`/`on`/`off`
and capitals in true and false, numbers such as `010`, `4:30`, `1e3` or `1_000`, NaN and infinities, control
characters. Put text in quotes if it looks like one of these. Text is one line, but for `notes`.

## The shelf

`driver`, `stock`, `machine` and each of `recipes` is written inline or as the name of a file, such as
`driver: drivers/example.yaml`. A shelf is a folder that holds `drivers`, `stock`, `machines` or `recipes`. For each of
the four, the first folder that has it is taken, of: the folder of the spec, its parents up to three levels, and the
folder `specs` in each of these. A name stays inside its own folder: a driver is always `drivers/....yaml` (or `.yml`),
and `..`, absolute names and links that lead out are refused. If `recipes` is left out, every file in the shelf's
folder `recipes` is read, in order of name.

## The plan

The plan is the outline of the body across the stack, seen from above (`stack: upright`). `rectangle` and `trapezoid`
have the faces front, right, back, left. A `polygon` lists its corners in order round the outline, either way round,
and in `faces` one name per edge, the first from corner 1 to corner 2; exactly one is `front`. However it is drawn, it
is turned and moved so that the front face lies on y = 0 with its middle at x = 0 and the body behind it at y > 0. A
plan that crosses or touches itself, or reaches in front of its front face, is refused.

With `stack: facing` the layers are parallel to the front of the speaker. The plan is then its outline seen from the
front, `depth_mm` means the second side of the drawing (its height), and the face named `front` is the bottom edge of
the drawing.
"""

_SECTIONS = (
    ("spec", "The spec file"),
    ("driver", "Driver: inline, or `drivers/*.yaml`"),
    ("stock", "Stock: inline, or `stock/*.yaml`"),
    ("machine", "Machine: inline, or `machines/*.yaml`"),
    ("recipes", "Recipes: a list, or `recipes/*.yaml` with `entries`"),
)


def describe() -> str:
    """Return the reference as Markdown."""
    blocks = [_INTRO]
    for name, title in _SECTIONS:
        blocks.append(f"## {title}\n")
        blocks.extend(_tables(schema(name), name, ""))
    blocks.append(_materials())
    blocks.append(_words())
    blocks.append(_codes())
    return "\n".join(blocks)


def _tables(part: Any, home: str, path: str) -> Iterator[str]:
    """Yield a table for one mapping, then those of the mappings below it."""
    if "$ref" in part:
        part, home = resolve(part["$ref"], home)
    if path:
        yield f"### `{path}`\n"
    required = part.get("required", [])
    rows = ["| key | meaning | allowed | if left out |", "| --- | --- | --- | --- |"]
    below: list[tuple[Any, str]] = []
    for key, value in part["properties"].items():
        cells = (f"`{key}`", _cell(_meaning(value, home)), _cell(_allowed(value, home)), _absent(key, value, required))
        rows.append(f"| {' | '.join(cells)} |")
        inner, mark = (value["items"], "[]") if value.get("type") == "array" else (value, "")
        followed = resolve(inner["$ref"], home)[0] if "$ref" in inner else inner
        if followed.get("type") == "object":
            below.append((inner, f"{path}.{key}{mark}".lstrip(".")))
    yield f"{part['description']}\n\n" + "\n".join(rows) + "\n"
    for inner, where in below:
        yield from _tables(inner, home, where)


def _meaning(part: Any, home: str) -> str:
    return str(resolve(part["$ref"], home)[0]["description"] if "$ref" in part else part["description"])


def _allowed(part: Any, home: str) -> str:
    if "$ref" in part:
        part, home = resolve(part["$ref"], home)
    if "const" in part:
        return str(part["const"])
    if "enum" in part:
        return ", ".join(f"`{word}`" for word in part["enum"])
    kinds = [part["type"]] if isinstance(part["type"], str) else part["type"]
    if kinds == ["boolean"]:
        return "true or false"
    if kinds == ["string"]:
        return f"text, up to {part['maxLength']} characters"
    if "array" in kinds:
        low, high = part.get("minItems", 0), part["maxItems"]
        entries = f"list of {low}" if low == high else f"list of {low} to {high}"
        item = part["items"]
        inner = _allowed(item, home) if "$ref" not in item and item.get("type") != "object" else ""
        one = f"{_allowed({**part, 'type': 'number'}, home)}, or a " if "number" in kinds else ""
        return f"{one}{entries}" + (f": {inner}" if inner and not one else "")
    if kinds[0] in ("number", "integer"):
        named = f" {unit(part)}" if unit(part) not in ("", "currency") else ""
        whole = "whole, " if kinds == ["integer"] else ""
        return f"{whole}{number(part['minimum'])} to {number(part['maximum'])}{named}"
    return "keys below, or a file name" if "string" in kinds else "keys below"


def _absent(key: str, part: Any, required: list[str]) -> str:
    if key in required:
        return "required"
    if "default" not in part:
        return "–"
    value = part["default"]
    if value in ("", []):
        return "empty"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    return f"`{value if isinstance(value, str) else number(value)}`"


def _materials() -> str:
    keys = ", ".join(f"`{key}`" for key in schema("stock")["properties"]["material"]["examples"])
    return (
        "## Materials\n\n"
        "The keys of `material` that the safety stage can judge. Several are doubtful or forbidden; the safety\n"
        f"list of a package says how yours stands, and why. A material that is not here is not cut.\n\n{keys}\n"
    )


def _words() -> str:
    rows = "\n".join(f"| `{word}` | {meaning} |" for word, meaning in WORDS.items())
    return (
        "## Words allowed in a machine's start and end lines\n\n"
        "These lines go into the program as they are, so only these words of RS274 (NISTIR 6556) may stand there, in\n"
        "capitals, with no comments. The program itself says when the beam is on.\n\n"
        f"| word | meaning |\n| --- | --- |\n{rows}\n"
    )


def _codes() -> str:
    rows = "\n".join(f"| {code} | {meaning} |" for code, meaning in (CODES | BUILD_CODES).items())
    return (
        "## Findings\n\n"
        "Codes are stable. An error stops the build with exit status 2; a warning does not.\n\n"
        f"| code | what is found |\n| --- | --- |\n{rows}\n"
    )


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    sys.stdout.write(describe())
