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
from collections.abc import Iterator
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
    played: Complex  # the spectrum of the sweep itself
    length: int  # of the circle, in samples
    frames: int  # of the recording
    sweep: Sweep


@dataclass(frozen=True, slots=True, eq=False)
class Excerpt:
    """A stretch of a circular impulse response: `values[0]` is its sample `first`."""

    values: Real
    first: int

    def between(self, start: int, stop: int) -> Real:
        """Return samples from `start` up to `stop` of the whole, with zeros where the excerpt ends."""
        found = np.zeros(stop - start)
        low, high = max(start, self.first), min(stop, self.first + len(self.values))
        if low < high:
            found[low - start : high - start] = self.values[low - self.first : high - self.first]
        return found


def deconvolve(signal: Real, sweep: Sweep) -> Deconvolved:
    """Take `sweep` out of `signal`, both at the sweep's rate.

    The circle is longer than the recording by the time that the seventh harmonic leads, so that the lower ones do not
    meet what comes last even when the recorder started with the sweep.
    """
    reference = tone(sweep)
    spare = min(len(reference), round((sweep.lead_of(7) + 1.0) * sweep.rate_hz))
    length = int(fft.next_fast_len(max(len(signal), len(reference)) + spare, real=True))
    linear: Complex = fft.rfft(signal, length)
    played: Complex = fft.rfft(reference, length)
    low, high = sweep.honest_hz
    for part, f in _chunks(len(linear), sweep.rate_hz / length):
        if low <= f[0] and f[-1] <= high:
            linear[part] /= played[part]
            continue
        share = _share(f, sweep)
        inverse: Complex = (1.0 - share) * _without_ends(f, sweep)
        within = share > 0.0
        inverse[within] += share[within] / played[part][within]
        linear[part] *= inverse
    return Deconvolved(linear, played, length, len(signal), sweep)


def excerpts(taken: Deconvolved, at: int, before: int, after: int) -> tuple[Excerpt, Excerpt, Excerpt]:
    """Return three impulse responses round sample `at`, and use up `taken.linear` for it.

    The first is the linear one. The second lacks the sweep's low end, so that what that rings does not pass for noise.
    The third is that for harmonics: like the second, but made with the inverse without ends.
    """
    sweep, linear = taken.sweep, taken.linear
    step = sweep.rate_hz / taken.length
    low, high = sweep.honest_hz
    straight = _excerpt(linear, taken.length, at, before, after)
    for part, f in _chunks(len(linear), step):
        if f[0] < 2.0 * low:
            linear[part] *= low_end(f, sweep)
    quiet = _excerpt(linear, taken.length, at, before, after)
    for part, f in _chunks(len(linear), step):
        if f[0] > sweep.to_hz:
            break  # without ends there already
        played, endless_ = taken.played[part], _spectrum_without_ends(f, sweep)
        if low <= f[0] and f[-1] <= high:
            linear[part] *= played
            linear[part] /= endless_
            continue
        share = _share(f, sweep)
        within = (share > 0.0) & (f > 0.0)
        blend = share[within] * endless_[within] / played[within] + (1.0 - share[within])
        linear[part][within] /= blend
    return straight, quiet, _excerpt(linear, taken.length, at, before, after)


def low_end(frequency_hz: Real, sweep: Sweep) -> Real:
    """Return the weight that the second and third excerpt have at their low end."""
    low = sweep.honest_hz[0]
    return rise(frequency_hz, low, 2.0 * low)


def endless(frequency_hz: Real, sweep: Sweep) -> Complex:
    """Return X(f) of a sweep without ends, in full scales times seconds; frequencies above 0."""
    f, pace = frequency_hz, sweep.pace_s
    phase = 2.0 * math.pi * (pace * f * (1.0 - np.log(f / sweep.from_hz)) - sweep.cycles) - math.pi / 4
    spectrum = np.empty(len(f), complex)
    np.cos(phase, out=spectrum.real)
    np.sin(phase, out=spectrum.imag)
    spectrum *= 0.5 * sweep.amplitude * np.sqrt(pace / f)
    return spectrum


def _excerpt(spectrum: Complex, length: int, at: int, before: int, after: int) -> Excerpt:
    whole = fft.irfft(spectrum, length)
    return Excerpt(whole.take(np.arange(at - before, at + after), mode="wrap"), at - before)


def _chunks(count: int, step: float) -> Iterator[tuple[slice, Real]]:
    """Yield the bins in stretches, to keep memory low, with their frequencies."""
    for start in range(0, count, _CHUNK):
        part = slice(start, min(start + _CHUNK, count))
        yield part, np.arange(part.start, part.stop, dtype=np.float64) * step


def _share(f: Real, sweep: Sweep) -> Real:
    """Return how much the inverse of the sweep as played counts: all in the honest band, nothing beyond the ends."""
    low, high = sweep.honest_hz
    return np.asarray(rise(f, sweep.from_hz, low) * (1.0 - rise(f, high, sweep.to_hz)))


def _spectrum_without_ends(f: Real, sweep: Sweep) -> Complex:
    """Return the spectrum of samples of a sweep without ends; 1 at 0 Hz, where it has none."""
    spectrum = np.ones(len(f), complex)
    known = f > 0
    spectrum[known] = sweep.rate_hz * endless(f[known], sweep)
    return spectrum


def _without_ends(f: Real, sweep: Sweep) -> Complex:
    """Return one over it, 0 where there is nothing to be measured."""
    inverse = 1.0 / _spectrum_without_ends(f, sweep)
    inverse[(f <= 0) | (f > TOP * sweep.rate_hz)] = 0.0
    return inverse


def rise(f: Real, low: float, high: float) -> Real:
    """Return 0 up to `low`, 1 from `high` on, half a Hann window of ln f between."""
    if high <= low * (1.0 + 1e-12):
        return np.asarray(f >= low, dtype=float)
    place = np.clip(np.log(np.maximum(f, low) / low) / math.log(high / low), 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(math.pi * place))
