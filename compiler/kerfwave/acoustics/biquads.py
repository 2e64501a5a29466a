"""Second-order filters for the signal before the amplifier.

Coefficients as in R. Bristow-Johnson, Audio EQ Cookbook, W3C Working Group Note of 8 June 2021, normalised to a0 = 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

KINDS = ("peaking", "low-shelf", "high-shelf", "high-pass", "low-pass")


@dataclass(frozen=True, slots=True)
class Biquad:
    """One filter: what it is for, and its coefficients at a sample rate.

    y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]
    """

    kind: str
    frequency_hz: float
    q: float
    gain_db: float  # 0 for passes
    b0: float
    b1: float
    b2: float
    a1: float
    a2: float


def biquad(kind: str, frequency_hz: float, q: float, gain_db: float, rate_hz: float) -> Biquad:
    """Return a filter. Shelves take Q as given (S = 1 is Q = 1 / sqrt 2).

    Raises:
        ValueError: for an unknown kind, or a frequency that is not between 0 and half the rate.
    """
    if not 0.0 < frequency_hz < rate_hz / 2:
        raise ValueError(f"a filter at {frequency_hz:g} Hz cannot run at {rate_hz:g} Hz")
    w = math.tau * frequency_hz / rate_hz
    c, alpha, a = math.cos(w), math.sin(w) / (2 * q), 10 ** (gain_db / 40)
    if kind == "peaking":
        b, d = (1 + alpha * a, -2 * c, 1 - alpha * a), (1 + alpha / a, -2 * c, 1 - alpha / a)
    elif kind in ("low-shelf", "high-shelf"):
        s = 1.0 if kind == "low-shelf" else -1.0
        root = 2 * math.sqrt(a) * alpha
        b = (
            a * ((a + 1) - s * (a - 1) * c + root),
            s * 2 * a * ((a - 1) - s * (a + 1) * c),
            a * ((a + 1) - s * (a - 1) * c - root),
        )
        d = (
            (a + 1) + s * (a - 1) * c + root,
            -s * 2 * ((a - 1) + s * (a + 1) * c),
            (a + 1) + s * (a - 1) * c - root,
        )
    elif kind in ("high-pass", "low-pass"):
        s = 1.0 if kind == "high-pass" else -1.0
        b, d = ((1 + s * c) / 2, -s * (1 + s * c), (1 + s * c) / 2), (1 + alpha, -2 * c, 1 - alpha)
    else:
        raise ValueError(f"no filter is called {kind!r}; there are {', '.join(KINDS)}")
    b0, b1, b2 = (v / d[0] for v in b)
    return Biquad(kind, frequency_hz, q, gain_db, b0, b1, b2, d[1] / d[0], d[2] / d[0])


def response(filters: tuple[Biquad, ...], frequency_hz: Any, rate_hz: float) -> NDArray[np.complex128]:
    """Return the complex gain of filters in a row at frequencies of shape (F,)."""
    z = np.exp(-1j * 2 * np.pi * np.asarray(frequency_hz, dtype=float) / rate_hz)
    total = np.ones_like(z)
    for f in filters:
        total = total * (f.b0 + z * (f.b1 + z * f.b2)) / (1 + z * (f.a1 + z * f.a2))
    return total
