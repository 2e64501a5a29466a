"""The acoustics room: air, driver, ducts, bends, radiation, and the network that they make together.

Driver to mouth is one lumped and one-dimensional circuit (`network`), SI inside, time factor e^{+j omega t}. `air`
and `driver` do without numpy, so that a spec is checked quickly; the other names load it when first asked for. The
function of the module `air` has its name too, and is imported from there. Parts of scipy are imported by the functions
that use them: reading what was made before takes the types of this room and no computing, and shall not wait for them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from kerfwave.acoustics.derivation import Parameter, derived
from kerfwave.acoustics.driver import Contradiction, complete, contradictions

if TYPE_CHECKING:
    from kerfwave.acoustics.chamber import leak_resistance
    from kerfwave.acoustics.circuit import Solution, solve
    from kerfwave.acoustics.network import BatchResponse, input_impedance, response, responses, solve_network
    from kerfwave.acoustics.radiation import loads_of_two, mouth_impedance, piston_impedance
    from kerfwave.acoustics.segments import SegmentArrays, abcd, cascade, stack
    from kerfwave.acoustics.twoport import Abcd

_HOME = {
    "chamber": ("leak_resistance",),
    "circuit": ("Solution", "solve"),
    "network": ("BatchResponse", "input_impedance", "response", "responses", "solve_network"),
    "radiation": ("loads_of_two", "mouth_impedance", "piston_impedance"),
    "segments": ("SegmentArrays", "abcd", "cascade", "stack"),
    "twoport": ("Abcd",),
}

__all__ = [
    "Abcd",
    "BatchResponse",
    "Contradiction",
    "Parameter",
    "SegmentArrays",
    "Solution",
    "abcd",
    "cascade",
    "complete",
    "contradictions",
    "derived",
    "input_impedance",
    "leak_resistance",
    "loads_of_two",
    "mouth_impedance",
    "piston_impedance",
    "response",
    "responses",
    "solve",
    "solve_network",
    "stack",
]


def __getattr__(name: str) -> Any:
    for module, names in _HOME.items():
        if name in names:
            return getattr(import_module(f"{__name__}.{module}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
