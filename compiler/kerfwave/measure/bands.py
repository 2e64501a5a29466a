"""Third-octave bands, and means over bands of a chosen width."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

NOMINAL_HZ = (10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80)
"""Nominal mid-band frequencies of one decade, IEC 61260-1:2014 and ISO 266; the other decades are ten times these."""


def exact_hz(index: int) -> float:
    """Return the exact mid-band frequency 1000 * 10^(index/10) Hz (IEC 61260-1:2014, base ten)."""
    return float(1000.0 * 10.0 ** (index / 10.0))


def nominal_hz(index: int) -> float:
    """Return the name of a third-octave band: the nominal mid-band frequency.

    >>> nominal_hz(0), nominal_hz(-17), nominal_hz(12)
    (1000.0, 20.0, 16000.0)
    """
    decade, step = divmod(index + 20, 10)
    return float(round(NOMINAL_HZ[step] * 10.0**decade, 6))


def edges_hz(index: int) -> tuple[float, float]:
    """Return the band's ends: the exact mid-band frequency over and times 10^(1/20)."""
    return exact_hz(index) * 10.0**-0.05, exact_hz(index) * 10.0**0.05


def indices_within(low_hz: float, high_hz: float) -> tuple[int, ...]:
    """Return the bands whose mid-band frequency lies in the range."""
    first = math.ceil(10.0 * math.log10(low_hz / 1000.0) - 1e-9)
    last = math.floor(10.0 * math.log10(high_hz / 1000.0) + 1e-9)
    return tuple(range(first, last + 1))


def log_grid(low_hz: float, high_hz: float, per_octave: int) -> Real:
    """Return frequencies 1000 * 2^(k/per_octave) Hz within the range, the same for every measurement."""
    first = math.ceil(per_octave * math.log2(low_hz / 1000.0) - 1e-9)
    last = math.floor(per_octave * math.log2(high_hz / 1000.0) + 1e-9)
    return np.asarray(1000.0 * 2.0 ** (np.arange(first, last + 1) / per_octave))


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A curve that is straight between its points, ready for means over many ranges."""

    x: Real
    y: Real
    area: Real  # under it, up to each point

    def mean(self, low: Real, high: Real) -> Real:
        """Return the mean over each range; shape of `low`. Beyond its points the curve keeps its end values."""
        return np.asarray((self._up_to(high) - self._up_to(low)) / (high - low))

    def _up_to(self, x: Real) -> Real:
        inside = np.clip(x, self.x[0], self.x[-1])
        k = np.clip(np.searchsorted(self.x, inside) - 1, 0, len(self.x) - 2)
        part = inside - self.x[k]
        slope = (self.y[k + 1] - self.y[k]) / (self.x[k + 1] - self.x[k])
        beyond = np.where(x > inside, (x - inside) * self.y[-1], (x - inside) * self.y[0])
        return np.asarray(self.area[k] + part * (self.y[k] + 0.5 * slope * part) + beyond)


def curve(x: Real, y: Real) -> Curve:
    """Return the curve through at least two points, `x` rising."""
    area = np.zeros(len(x))
    np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(x), out=area[1:])
    return Curve(x, y, area)


def band_mean(x: Real, y: Real, low: Real, high: Real) -> Real:
    """Return the mean of a curve, straight between its points, over each range; shape of `low`."""
    return curve(x, y).mean(low, high)
