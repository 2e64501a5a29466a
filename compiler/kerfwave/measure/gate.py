"""The time gate: a stretch of the impulse response, its spectrum, and the lowest frequency it can honestly tell.

The gate is one from half of itself before the peak, and falls as half a Hann window over its last quarter. Before the
peak nothing arrives but noise, the harmonics, and what the sweep's lower end rings; how far back the gate reaches is
chosen with the harmonics in mind. A stretch of so many seconds cannot tell frequencies apart that lie closer than
one over them, and nothing below that (common practice): `lowest_hz` is one over the length up to the window's half.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from kerfwave.measure.bands import Curve, curve
from kerfwave.measure.deconvolve import Excerpt

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

FALL = 0.25  # of the gate after the peak, falling
_FINE = 16  # zeros put after a gate, in lengths of it, so that its spectrum can be read between the bins


@dataclass(frozen=True, slots=True)
class Gate:
    """From how long before a moment to how long after it, in seconds."""

    before_s: float
    after_s: float

    @property
    def lowest_hz(self) -> float:
        """The lowest frequency that the gate can tell."""
        return 1.0 / (self.after_s * (1.0 - FALL / 2))


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """The spectrum of one gated stretch; time zero is the moment that the gate was laid round."""

    frequency_hz: Real
    values: Complex
    density: Curve  # its power
    energy: float  # of the gate: the sum of its squared weights, which noise goes with

    def at(self, frequency_hz: Real) -> Complex:
        """Return the spectrum between its bins, straight: time zero near its middle makes it smooth."""
        return np.asarray(np.interp(frequency_hz, self.frequency_hz, self.values))

    def power(self, frequency_hz: Real, per_octave: float, within_hz: tuple[float, float] = (0.0, math.inf)) -> Real:
        """Return the mean power over 1/`per_octave` octave round each frequency, as far as it lies within a band."""
        half = 2.0 ** (0.5 / per_octave)
        low, high = np.maximum(frequency_hz / half, within_hz[0]), np.minimum(frequency_hz * half, within_hz[1])
        return np.maximum(self.density.mean(low, high), 0.0)


def window(gate: Gate, rate_hz: int) -> tuple[Real, int]:
    """Return the gate's weights and the index of the moment it is laid round."""
    before, after = round(gate.before_s * rate_hz), max(round(gate.after_s * rate_hz), 2)
    weights = np.ones(before + after)
    rise, fall = before // 2, max(round(FALL * after), 1)
    weights[:rise] = 0.5 - 0.5 * np.cos(math.pi * (np.arange(rise) + 0.5) / max(rise, 1))
    weights[-fall:] = 0.5 + 0.5 * np.cos(math.pi * (np.arange(fall) + 0.5) / fall)
    return weights, before


def cut(impulse: Excerpt, gate: Gate, at: int, rate_hz: int) -> Spectrum:
    """Return the spectrum of a stretch of an impulse response round sample `at`; beyond the excerpt it is silent."""
    weights, before = window(gate, rate_hz)
    stretch = impulse.between(at - before, at - before + len(weights)) * weights
    length = int(fft.next_fast_len(_FINE * len(stretch), real=True))
    values = fft.rfft(stretch, length)
    frequency = np.arange(len(values), dtype=np.float64) * (rate_hz / length)
    turned = values * np.exp(2j * math.pi * frequency * (before / rate_hz))
    return spectrum(frequency, turned, float(np.sum(np.square(weights))))


def spectrum(frequency_hz: Real, values: Complex, energy: float) -> Spectrum:
    """Return a spectrum with its power."""
    return Spectrum(frequency_hz, values, curve(frequency_hz, np.square(values.real) + np.square(values.imag)), energy)
