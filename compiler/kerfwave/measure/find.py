"""Finding the sweep in a recording: where it begins, and whether it is the right one.

With the right sweep taken out, every band of the sound arrives at the same time. With another exponential sweep, of
pace L' for L, the band round f arrives (L' - L) ln f later. So the slope of arrival over ln f tells the pace of the
sweep that is really there, also how far two clocks differ, and arrivals without any order tell that there is none.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from kerfwave.measure.deconvolve import Deconvolved
from kerfwave.measure.errors import RecordingError
from kerfwave.measure.sweep import Sweep

Real = NDArray[np.float64]

CREST_DB = 17.0
"""How far a band's arrival stands out of its median power. The greatest of n samples of noise stands ln n / ln 2 above
its median (exponential distribution of power): 13.8 dB for n = 24000 per second times 60 s."""

_MOST_LINES = 1 << 16
_RATES = (8000, 11025, 16000, 22050, 32000, 44100, 48000, 88200, 96000, 176400, 192000)


@dataclass(frozen=True, slots=True)
class Arrival:
    """When one band of the sound arrives, relative to the recording's start as time of the sweep's start."""

    hz: float
    octaves: float
    time_s: float
    crest_db: float


@dataclass(frozen=True, slots=True)
class Found:
    """Where the sweep begins, and its pace as heard over its pace as written."""

    start_s: float
    pace_ratio: float
    arrivals: tuple[Arrival, ...]


def find(taken: Deconvolved) -> Found:
    """Return where the sweep is.

    Raises:
        RecordingError: when no sweep stands out, or the one that does has another pace.
    """
    sweep = taken.sweep
    heard = [a for a in arrivals(taken) if a.crest_db >= CREST_DB]
    if len(heard) < 3:
        raise RecordingError(
            "no sweep stands out of the noise",
            "check that this is the recording, turn the noise off, move closer, or use a longer sweep",
        )
    slope, start = _line(heard)
    tolerance = max(0.01 * sweep.pace_s, 0.005, _blur(heard))
    stray = float(np.median([abs(a.time_s - start - slope * math.log(a.hz)) for a in heard]))
    if stray > max(10 * tolerance, 0.1) or sweep.pace_s + slope < 0.02 * sweep.pace_s:
        raise RecordingError(
            "no exponential sweep in it: its bands do not come one after the other",
            "check that this is the right recording",
        )
    if abs(slope) > tolerance:
        raise RecordingError(*_other(sweep, (sweep.pace_s + slope) / sweep.pace_s))
    times = [a.time_s for a in heard]
    return Found(float(np.median(times)), 1.0 + slope / sweep.pace_s, tuple(heard))


def arrivals(taken: Deconvolved) -> tuple[Arrival, ...]:
    """Return when each band arrives: bands one octave wide, or narrower for a narrow sweep, overlapping by half."""
    low, high = taken.sweep.honest_hz
    octaves = math.log2(high / low)
    width = min(1.0, octaves / 4)
    count = max(4, round(2 * octaves / width) - 1)
    centres = np.geomspace(low * 2 ** (width / 2), high * 2 ** (-width / 2), count)
    return tuple(_arrival(taken, float(centre), width) for centre in centres)


def _arrival(taken: Deconvolved, centre: float, octaves: float) -> Arrival:
    """Return the greatest power of one band's envelope: its bins alone, moved down to zero, and back to time."""
    per_hz = taken.length / taken.sweep.rate_hz
    most = _MOST_LINES / per_hz / centre  # a wide band at a high frequency would tell no more
    octaves = min(octaves, 2.0 * math.log2(0.5 * (most + math.hypot(most, 2.0))))
    first = math.ceil(centre * 2 ** (-octaves / 2) * per_hz)
    last = min(math.floor(centre * 2 ** (octaves / 2) * per_hz), len(taken.linear) - 1)
    f = np.arange(first, last + 1) / per_hz
    window = 0.5 + 0.5 * np.cos(2 * math.pi * np.log2(f / centre) / octaves)
    size = int(fft.next_fast_len(len(f) * min(max(_MOST_LINES // len(f), 1), 8)))
    band = fft.ifft(taken.linear[first : last + 1] * window, size, overwrite_x=True)
    power = np.square(band.real)
    power += np.square(band.imag)
    at = int(np.argmax(power))
    usual = float(np.median(power[:: max(len(power) // 50_000, 1)]))
    circle = taken.length / taken.sweep.rate_hz
    time = at * circle / size
    if time > taken.frames / taken.sweep.rate_hz:
        time -= circle
    crest = 10 * math.log10(power[at] / usual) if usual > 0 else (math.inf if power[at] > 0 else 0.0)
    return Arrival(centre, octaves, time, crest)


def _blur(heard: list[Arrival]) -> float:
    """Return the slope that a quarter of the width of the bands' envelopes, in time, could feign."""
    width = float(np.median([0.25 / (a.hz * (2 ** (a.octaves / 2) - 2 ** (-a.octaves / 2)) * 0.5) for a in heard]))
    return width / math.log(heard[-1].hz / heard[0].hz)


def _line(heard: list[Arrival]) -> tuple[float, float]:
    """Return slope over ln f and offset, by the medians of Theil (1950) and Sen (1968): a few strays do no harm."""
    slopes = [(b.time_s - a.time_s) / math.log(b.hz / a.hz) for a, b in itertools.combinations(heard, 2)]
    slope = float(np.median(slopes))
    return slope, float(np.median([a.time_s - slope * math.log(a.hz) for a in heard]))


def _other(sweep: Sweep, ratio: float) -> tuple[str, str]:
    """Say what is there instead; a pace that two usual rates explain is put down to them."""
    there, here = (f"{sweep.pace_s * r * math.log(2.0):.3g} s" for r in (ratio, 1.0))
    for rate in _RATES:
        other = rate / sweep.rate_hz
        if 0.45 < other < 2.2 and other != 1.0 and min(abs(ratio / other - 1.0), abs(ratio * other - 1.0)) < 0.008:
            return (
                f"another sweep, or the same at another rate: an octave in {there}, not {here}, as if {rate} Hz were "
                f"taken for {sweep.rate_hz} Hz",
                "set player and recorder to the rate of the file, and record again",
            )
    return (
        f"another sweep: it rises an octave in {there}, and this one in {here}",
        "name the file that was played, or give the options it was written with",
    )
