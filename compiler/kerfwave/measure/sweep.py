"""The exponential sine sweep: its design, its samples and what its file says about itself.

The sweep is the synchronised form of A. Novak, P. Lotton and L. Simon, "Synchronized Swept-Sine: Theory, Application,
and Implementation", J. Audio Eng. Soc. 63 (2015) 786 (from memory), of A. Farina's exponential sweep, "Simultaneous
measurement of impulse response and distortion with a swept-sine technique", AES 108th Convention (2000), preprint 5093
(from memory):

    x(t) = sin(2 pi f1 L (e^(t/L) - 1)),    L = T / ln(f2 / f1),

with f1 L a whole number. T is changed by a little to make it one. Then n times the phase at t is the phase at
t + L ln n but for whole turns, so each harmonic of the sweep is the sweep itself, L ln n early.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.errors import SettingError
from kerfwave.numfmt import fixed

Real = NDArray[np.float64]

SAFE_LEVEL_DBFS = -20.0
HIGHEST = 0.48  # of the sampling rate: what is left above is for the converters' filters
LONGEST_S, SHORTEST_S = 120.0, 0.5
_MARK = "kerfwave sweep 1"


@dataclass(frozen=True, slots=True)
class Sweep:
    """One sweep. `cycles` is the whole number f1 L; the level is that of the peak, re the file's full scale."""

    rate_hz: int
    from_hz: float
    to_hz: float
    cycles: int
    level_dbfs: float = SAFE_LEVEL_DBFS
    fade_in_s: float = 0.1
    fade_out_s: float = 0.02
    lead_s: float = 0.5  # silence before
    tail_s: float = 1.0  # silence after: the room's answer belongs to the recording

    @property
    def pace_s(self) -> float:
        """L, the time in which the frequency grows by the factor e."""
        return self.cycles / self.from_hz

    @property
    def seconds(self) -> float:
        """T, without the silence before and after."""
        return self.pace_s * math.log(self.to_hz / self.from_hz)

    @property
    def honest_hz(self) -> tuple[float, float]:
        """The band that is swept at the full level, between the fades."""
        return self.hz_at(self.fade_in_s), self.hz_at(self.seconds - self.fade_out_s)

    @property
    def amplitude(self) -> float:
        """The peak, re full scale."""
        return float(10.0 ** (self.level_dbfs / 20.0))

    def hz_at(self, time_s: float) -> float:
        """Return the frequency at a time after the sweep's start."""
        return self.from_hz * math.exp(time_s / self.pace_s)

    def lead_of(self, order: int) -> float:
        """Return how long before the linear response that of a harmonic arrives: L ln n, in seconds."""
        return self.pace_s * math.log(order)


def design(
    *,
    rate_hz: int = 48000,
    seconds: float = 10.0,
    from_hz: float = 20.0,
    to_hz: float = 20000.0,
    level_dbfs: float = SAFE_LEVEL_DBFS,
    fade_in_s: float | None = None,
    fade_out_s: float | None = None,
    lead_s: float = 0.5,
    tail_s: float = 1.0,
) -> Sweep:
    """Return the sweep of about this length whose f1 L is a whole number.

    Fades that are not given are 1 % and 0.2 % of the length, but no longer than 0.1 s and 20 ms.

    Raises:
        SettingError: when a number is out of its range; the message says which, and the range.
    """
    _within("the rate", rate_hz, 8000, 384000, "Hz")
    _within("the length", seconds, SHORTEST_S, LONGEST_S, "s")
    _within("the start", from_hz, 1.0, HIGHEST * rate_hz / 2, "Hz")
    _within("the end", to_hz, 2.0 * from_hz, HIGHEST * rate_hz, "Hz")
    _within("the level", level_dbfs, -80.0, 0.0, "dBFS")
    fade_in = min(0.1, 0.01 * seconds) if fade_in_s is None else fade_in_s
    fade_out = min(0.02, 0.002 * seconds) if fade_out_s is None else fade_out_s
    _within("the fade at the start", fade_in, 0.0, 0.2 * seconds, "s")
    _within("the fade at the end", fade_out, 0.0, 0.2 * seconds, "s")
    _within("the silence before", lead_s, 0.0, 30.0, "s")
    _within("the silence after", tail_s, 0.0, 30.0, "s")
    cycles = max(1, round(from_hz * seconds / math.log(to_hz / from_hz)))
    return Sweep(rate_hz, from_hz, to_hz, cycles, level_dbfs, fade_in, fade_out, lead_s, tail_s)


def _within(what: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise SettingError(f"{what} is {value:g} {unit}; it lies between {low:g} and {high:g} {unit}")


def tone(sweep: Sweep) -> Real:
    """Return the sweep alone, re full scale, with its fades (halves of a Hann window), without the silence."""
    count = round(sweep.seconds * sweep.rate_hz)
    phase = np.arange(count) * (1.0 / (sweep.rate_hz * sweep.pace_s))
    np.exp(phase, out=phase)
    phase -= 1.0
    phase *= 2.0 * math.pi * sweep.cycles
    signal: Real = np.sin(phase, out=phase)
    signal *= sweep.amplitude
    for seconds, side in ((sweep.fade_in_s, slice(None)), (sweep.fade_out_s, slice(None, None, -1))):
        ramp = round(seconds * sweep.rate_hz)
        if ramp:
            signal[side][:ramp] *= 0.5 - 0.5 * np.cos(math.pi * np.arange(ramp) / ramp)
    return signal


def samples(sweep: Sweep) -> Real:
    """Return what the file holds: silence, the sweep, silence."""
    lead, tail = round(sweep.lead_s * sweep.rate_hz), round(sweep.tail_s * sweep.rate_hz)
    return np.concatenate([np.zeros(lead), tone(sweep), np.zeros(tail)])


def inscription(sweep: Sweep) -> str:
    """Return the remark that travels in the file, from which `from_inscription` makes the same sweep again."""
    parts = {
        "rate_hz": str(sweep.rate_hz),
        "from_hz": fixed(sweep.from_hz, 6),
        "to_hz": fixed(sweep.to_hz, 6),
        "cycles": str(sweep.cycles),
        "level_dbfs": fixed(sweep.level_dbfs, 6),
        "fade_in_s": fixed(sweep.fade_in_s, 6),
        "fade_out_s": fixed(sweep.fade_out_s, 6),
        "lead_s": fixed(sweep.lead_s, 6),
        "tail_s": fixed(sweep.tail_s, 6),
    }
    return " ".join((_MARK, *(f"{key}={value}" for key, value in parts.items())))


def from_inscription(text: str) -> Sweep | None:
    """Return the sweep that a file's remark describes, or None where it describes none that can be."""
    if not text.startswith(_MARK):
        return None
    found = dict(re.findall(r"([a-z_]{1,12})=(-?[0-9.]{1,20})(?= |$)", text[:500]))
    try:
        rate, cycles = int(found.pop("rate_hz")), int(found.pop("cycles"))
        numbers = {key: float(value) for key, value in found.items()}
        sweep = Sweep(rate, numbers.pop("from_hz"), numbers.pop("to_hz"), cycles, **numbers)
        if sweep.cycles < 1 or not 0.5 * SHORTEST_S < sweep.seconds < 2.0 * LONGEST_S:
            return None
        again = design(
            rate_hz=sweep.rate_hz,
            seconds=min(max(sweep.seconds, SHORTEST_S), LONGEST_S),  # whole cycles may reach beyond these
            from_hz=sweep.from_hz,
            to_hz=sweep.to_hz,
            level_dbfs=sweep.level_dbfs,
            fade_in_s=sweep.fade_in_s,
            fade_out_s=sweep.fade_out_s,
            lead_s=sweep.lead_s,
            tail_s=sweep.tail_s,
        )
    except (KeyError, TypeError, ValueError, ArithmeticError):
        return None
    return sweep if replace(again, cycles=sweep.cycles) == sweep else None
