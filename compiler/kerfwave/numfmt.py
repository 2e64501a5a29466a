"""The one place where a number becomes text for a file: fixed rounding, no exponent, no minus zero, no locale."""

from __future__ import annotations

import math


def fixed(value: float, decimals: int = 3) -> str:
    """Return `value` with at most `decimals` decimals, trailing zeros cut.

    >>> fixed(2.50004), fixed(-0.0001), fixed(12.0), fixed(1e-9, 3)
    ('2.5', '0', '12', '0')

    Raises:
        ValueError: for NaN and infinities, which have no place in any file of ours.
    """
    if not math.isfinite(value):
        raise ValueError(f"not a finite number: {value!r}")
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def several(count: int, one: str, more: str = "") -> str:
    """Return how many there are; `more` is what several are called, if it is not `one` with an s.

    >>> several(1, "sheet"), several(4, "sheet"), several(8, "pass", "passes")
    ('1 sheet', '4 sheets', '8 passes')
    """
    return f"{count} {one if count == 1 else more or one + 's'}"
