"""The spec room: YAML in, checked values out, or findings that say what is wrong and what would be right.

`load` reads one spec and the shelf files it names. Four passes, each with its own codes: the text is a strict subset
of YAML (K1xx), the data fits the JSON Schemas (K2xx), shelf names stay on the shelf (K3xx), and the values make sense
together (K4xx). `describe` writes the reference that people read, from the same schemas.

What is asked for is imported when it is asked for: the shelf can be looked at without loading YAML and the schemas.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kerfwave.findings import Finding, SpecError
    from kerfwave.spec.loading import LoadedSpec, load
    from kerfwave.spec.reference import describe
    from kerfwave.spec.schema_files import schema_text

__all__ = ["Finding", "LoadedSpec", "SpecError", "describe", "load", "schema_text"]

_ROOMS = {
    "Finding": "kerfwave.findings",
    "LoadedSpec": "kerfwave.spec.loading",
    "SpecError": "kerfwave.findings",
    "describe": "kerfwave.spec.reference",
    "load": "kerfwave.spec.loading",
    "schema_text": "kerfwave.spec.schema_files",
}


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return getattr(import_module(_ROOMS[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
