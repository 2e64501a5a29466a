"""Where the least squares begin: read off the curve itself, as one would at the bench."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from kerfwave.measure.impedance import ImpedanceSweep, Real

PER_OCTAVE = 96
SMOOTH = 5  # points of that grid: a nineteenth of an octave, narrower than any peak of a loudspeaker
LEAST_PROMINENCE = 0.08  # of ln |Z|: a peak that stands out by less than 8 % is no resonance to fit
LEAST_COIL = 0.3  # of Re: a logarithm that begins far down is not felt by the curve, and never comes up


class NotADriver(ValueError):
    """The curve is not one of a driver in free air (or under the load that was named)."""


@dataclass(frozen=True, slots=True)
class Start:
    """First guesses; good to a few tens of per cent."""

    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    reactance_ohm: float  # of the coil at `at_hz`
    at_hz: float
    rise_ohm: float  # of |Z| there above Re


def smooth(sweep: ImpedanceSweep) -> tuple[Real, Real]:
    """Return ln of the frequency and of |Z| on an even grid of the logarithm, lightly smoothed."""
    x = np.log(np.asarray(sweep.frequency_hz))
    count = max(int(np.ceil((x[-1] - x[0]) / np.log(2.0) * PER_OCTAVE)) + 1, 8)
    grid = np.linspace(x[0], x[-1], count)
    return grid, uniform_filter1d(np.interp(grid, x, np.log(np.asarray(sweep.ohm))), SMOOTH, mode="nearest")


def guess(sweep: ImpedanceSweep, re_ohm: float | None = None) -> Start:
    """Return first guesses from the highest peak and its width.

    The quality factors come from the two frequencies at which |Z| is the geometric mean of Re and the peak:
    Qms = fs sqrt(r0) / (f2 - f1), Qes = Qms / (r0 - 1) with r0 = Zmax / Re (Small 1972; from memory).

    Raises:
        NotADriver: if no peak stands out with a slope on both its sides.
    """
    grid, level = smooth(sweep)
    peaks, about = find_peaks(level, prominence=LEAST_PROMINENCE)
    if not len(peaks):
        raise NotADriver(
            f"{sweep.name}: no resonance between {sweep.frequency_hz[0]:g} and {sweep.frequency_hz[-1]:g} Hz; "
            "the sweep must begin well below the peak of the impedance and end well above it"
        )
    top = int(peaks[int(np.argmax(about["prominences"]))])
    re_ohm = re_ohm if re_ohm is not None else float(np.exp(level.min()))  # all the rest only adds to Re
    ratio = max(float(np.exp(level[top])) / re_ohm, 1.1)
    half = np.log(re_ohm) + 0.5 * np.log(ratio)
    under = np.flatnonzero(level < half)
    sides = [grid[top] - grid[i] for i in under[under < top][-1:]] + [
        grid[i] - grid[top] for i in under[under > top][:1]
    ]
    if not sides:
        raise NotADriver(
            f"{sweep.name}: only the top of a peak is there; sweep at least two octaves to each side of it"
        )
    spread = float(sum(sides)) * 2.0 / len(sides)  # a curve cut short at one side is taken as symmetric
    qms = float(np.sqrt(ratio)) / max(2.0 * float(np.sinh(spread / 2.0)), 1e-3)
    last = float(np.exp(level[-1]))
    return Start(
        re_ohm=re_ohm,
        fs_hz=float(np.exp(grid[top])),
        qms=qms,
        qes=qms / (ratio - 1.0),
        reactance_ohm=float(np.sqrt(max(last**2 - re_ohm**2, (LEAST_COIL * re_ohm) ** 2))),
        at_hz=sweep.frequency_hz[-1],
        rise_ohm=max(last - re_ohm, LEAST_COIL * re_ohm),
    )
