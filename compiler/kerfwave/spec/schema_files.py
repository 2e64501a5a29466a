"""Finds the JSON Schemas: inside the installed package, or in the schemas/ folder of a checkout."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

NAMES = ("spec", "driver", "stock", "machine", "recipes")

# The wheel carries the schemas beside the modules; an editable install finds them at the root of the checkout.
# Plain paths, as importlib.resources would add its import time to every build.
_PACKAGE = Path(__file__).parents[1]
_FOLDERS = (_PACKAGE / "schemas", _PACKAGE.parents[1] / "schemas")


def schema_text(name: str) -> str:
    """Return the text of `<name>.schema.json`.

    Raises:
        KeyError: if there is no such schema.
        FileNotFoundError: if the installation is incomplete.
    """
    if name not in NAMES:
        raise KeyError(name)
    for folder in _FOLDERS:
        path = folder / f"{name}.schema.json"
        if path.is_file():
            return path.read_text(encoding="utf-8")
    raise FileNotFoundError(f"{name}.schema.json is missing from this installation of kerfwave")


@cache
def schema(name: str) -> dict[str, Any]:
    """Return the schema as data. Shared: do not change it."""
    loaded: dict[str, Any] = json.loads(schema_text(name))
    return loaded


def resolve(reference: str, home: str) -> tuple[dict[str, Any], str]:
    """Follow a `$ref` found in schema `home`; return the schema it names and the name of the file that holds it."""
    file, _, pointer = reference.partition("#")
    name = file.removesuffix(".schema.json") or home
    found: Any = schema(name)
    for step in pointer.strip("/").split("/"):
        found = found[step] if step else found
    return found, name
