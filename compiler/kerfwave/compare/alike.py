"""Equality with a grain: the last digits of a number say more about rounding than about the job."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

RELATIVE = 1e-6  # a report gives ten digits, and no bench can tell a millionth


def alike(a: Any, b: Any, relative: float = RELATIVE, absolute: float = 0.0) -> bool:
    """Tell whether two parts of reports are equal but for the last digits of their numbers.

    >>> alike({"x": [1, 2.0]}, {"x": [1.0000001, 2]}), alike(1.0, 1.01), alike(True, 1)
    (True, False, False)
    """
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        return a.keys() == b.keys() and all(alike(a[name], b[name], relative, absolute) for name in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(alike(x, y, relative, absolute) for x, y in zip(a, b, strict=True))
    if _is_number(a) and _is_number(b):
        return math.isclose(a, b, rel_tol=relative, abs_tol=absolute)
    return type(a) is type(b) and bool(a == b)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
