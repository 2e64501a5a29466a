"""From a recording of a sweep to the impulse response, and to the harmonics that stand before it.

Two inverses of the sweep are put to the recording's spectrum. For what is linear it is one over the spectrum of the
sweep as played, so that the response comes out exactly, without the ripple that a sweep's ends put on its spectrum.
A harmonic is another sweep, with other ends: for it, and wherever the sweep played has no energy, it is one over the
spectrum of a sweep without ends, by stationary phase (from memory of Novak, Lotton and Simon 2015; derived again
here): with the instantaneous frequency f1 e^(t/L),

    X(f) = A/2 sqrt(L/f) exp{j [2 pi f L (1 - ln(f/f1)) - 2 pi f1 L - pi/4]}.

So a harmonic above the band's end is measured as well as one within, and what lies below the band is not blown up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from kerfwave.measure.sweep import Sweep, tone

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

TOP = 0.49  # of the sampling rate: what is left above is converters' filters
_CHUNK = 1 << 18  # frequencies worked on at a time, to keep memory low


@dataclass(frozen=True, slots=True, eq=False)
class Deconvolved:
    """A recording with the sweep taken out. Times are circular: one before the recording's start stands at the end."""

    linear: Complex  # shape (length // 2 + 1,), recorded over played, exact between the fades
    bent: Complex  # the same for harmonics, faded out below twice the lowest frequency, where there is none
    length: int  # of the circle, in samples
    frames: int  # of the recording
    rate_hz: int

    def hz(self, k: int) -> float:
        """Return the frequency of a bin."""
        return k * self.rate_hz / self.length


def deconvolve(signal: Real, sweep: Sweep) -> Deconvolved:
    """Take `sweep` out of `signal`, both at the sweep's rate.

    The circle is as long as both together: whatever the recording holds lies between the sweep's length before its
    start and its end.
    """
    reference = tone(sweep)
    length = int(fft.next_fast_len(len(signal) + len(reference), real=True))
    linear: Complex = fft.rfft(signal, length)
    bent = linear.copy()
    _divide(linear, bent, fft.rfft(reference, length), sweep, length)
    return Deconvolved(linear, bent, length, len(signal), sweep.rate_hz)


def impulse(spectrum: Complex, length: int) -> Real:
    """Return the whole impulse response of one of the two spectra, shape (length,)."""
    return np.asarray(fft.irfft(spectrum, length))


def low_end(frequency_hz: Real, sweep: Sweep) -> Real:
    """Return the weight that `bent` has at its low end, so that what the sweep's start rings does not reach far."""
    low = sweep.honest_hz[0]
    return rise(frequency_hz, low, 2.0 * low)


def endless(frequency_hz: Real, sweep: Sweep) -> Complex:
    """Return X(f) of a sweep without ends, in full scales times seconds; frequencies above 0."""
    f, pace = frequency_hz, sweep.pace_s
    phase = 2.0 * math.pi * (pace * f * (1.0 - np.log(f / sweep.from_hz)) - sweep.cycles) - math.pi / 4
    return np.asarray(0.5 * sweep.amplitude * np.sqrt(pace / f) * np.exp(1j * phase))


def _divide(linear: Complex, bent: Complex, played: Complex, sweep: Sweep, length: int) -> None:
    """Divide in place. From the honest band to the sweep's ends the two inverses are faded into each other."""
    low, high = sweep.honest_hz
    for start in range(0, len(linear), _CHUNK):
        part = slice(start, min(start + _CHUNK, len(linear)))
        f = np.arange(part.start, part.stop, dtype=np.float64) * (sweep.rate_hz / length)
        share = rise(f, sweep.from_hz, low) * (1.0 - rise(f, high, sweep.to_hz))
        without: Complex = np.zeros(len(f), complex)
        known = (f > 0) & (f < TOP * sweep.rate_hz)
        without[known] = 1.0 / (sweep.rate_hz * endless(f[known], sweep))
        bent[part] *= without * low_end(f, sweep)
        inverse: Complex = (1.0 - share) * without
        within = share > 0.0
        inverse[within] += share[within] / played[part][within]
        linear[part] *= inverse


def rise(f: Real, low: float, high: float) -> Real:
    """Return 0 up to `low`, 1 from `high` on, half a Hann window of ln f between."""
    if high <= low * (1.0 + 1e-12):
        return np.asarray(f >= low, dtype=float)
    place = np.clip(np.log(np.maximum(f, low) / low) / math.log(high / low), 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(math.pi * place))
