"""Electrical shaping: a few filters that flatten the band, reach down to the guide, and spare the cone below it.

The level aimed at is the mean of the unshaped band, from the relief's first frequency to the band's end. Least squares
over the filters' frequencies, gains and Qs, with what passes a limit (excursion, amplifier's voltage) weighing ten
times as much as unevenness; a high-pass below the guide's tuning is always among them, at the lowest frequency that
keeps the cone within its limit down to 20 Hz. The numbers are rounded, so that they can be typed in and come out the
same on every machine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwave.acoustics.biquads import Biquad, biquad, response

Real = NDArray[np.float64]

BUTTERWORTH_Q = 0.7071
LIMIT_WEIGHT = 10.0
LEAST_GAIN_DB = 0.4  # a filter that does less is left out
HIGH_PASS_STEPS = 13  # from half the relief's first frequency up to it


@dataclass(frozen=True, slots=True)
class ShapingLimits:
    """What the filters have to keep to."""

    band_from_hz: float
    band_to_hz: float
    relief_from_hz: float
    excursion_mm: float
    volts: float  # at which the unshaped response is given
    most_volts: float | None
    most_boost_db: float
    most_filters: int  # the high-pass is one of them
    rate_hz: float


@dataclass(frozen=True, slots=True)
class Shaped:
    """The filters and what comes of them; curves at the frequencies given."""

    filters: tuple[Biquad, ...]
    frequency_hz: tuple[float, ...]
    gain_db: tuple[float, ...]
    spl_db: tuple[float, ...]
    excursion_peak_mm: tuple[float, ...]
    level_db: float  # aimed at
    ripple_db: float  # in the band, shaped
    reach_hz: float  # lowest frequency still within 3 dB of the level
    most_excursion_mm: float
    most_volts: float  # r.m.s., where the filters boost most


def shape(frequency_hz: Real, spl_db: Real, excursion_mm: Real, limits: ShapingLimits) -> Shaped:
    """Design the filters for one response.

    Args:
        frequency_hz: ascending, shape (F,), at least from 20 Hz to the end of the band.
        spl_db: unshaped, at `limits.volts`.
        excursion_mm: unshaped peak excursion.
        limits: what to keep to.

    Raises:
        ValueError: if not even one filter is allowed, or the rate is too low for the band.
    """
    if limits.most_filters < 1:
        raise ValueError("shaping needs at least one filter, the high-pass")
    f = np.asarray(frequency_hz, dtype=float)
    band = (f >= limits.band_from_hz) & (f <= limits.band_to_hz)
    level = float(np.mean(spl_db[band]))
    best: tuple[Biquad, ...] | None = None
    for cut in np.geomspace(limits.relief_from_hz / 2, limits.relief_from_hz, HIGH_PASS_STEPS):
        high_pass = biquad("high-pass", _rounded(float(cut)), BUTTERWORTH_Q, 0.0, limits.rate_hz)
        best = (high_pass, *_flatten(f, spl_db, excursion_mm, level, high_pass, limits))
        moved = excursion_mm * np.abs(response(best, f, limits.rate_hz))
        if moved.max() <= limits.excursion_mm:
            break
    assert best is not None
    return _outcome(f, spl_db, excursion_mm, level, best, limits)


def _flatten(
    f: Real, spl: Real, excursion: Real, level: float, high_pass: Biquad, limits: ShapingLimits
) -> tuple[Biquad, ...]:
    """Add peaking filters one by one where it is least even, and settle all of them together each time."""
    from scipy.optimize import least_squares

    used = (f >= limits.relief_from_hz) & (f <= limits.band_to_hz)
    passed = 20 * np.log10(np.abs(response((high_pass,), f, limits.rate_hz)))
    headroom = np.inf if limits.most_volts is None else 20 * np.log10(limits.most_volts / limits.volts)
    low, high = np.log2(limits.relief_from_hz / 1.2), np.log2(limits.band_to_hz * 1.2)
    values: list[float] = []

    def filters(x: Real) -> tuple[Biquad, ...]:
        return tuple(
            biquad("peaking", float(2 ** x[i]), float(2 ** x[i + 1]), float(x[i + 2]), limits.rate_hz)
            for i in range(0, len(x), 3)
        )

    def gain(x: Real) -> Real:
        total: Real = passed + 20 * np.log10(np.abs(response(filters(x), f, limits.rate_hz)))
        return total

    def residuals(x: Real) -> Real:
        g = gain(x)
        uneven = (spl + g - level)[used]
        too_far = np.maximum(0.0, 20 * np.log10(excursion / limits.excursion_mm) + g)[f >= limits.relief_from_hz]
        too_loud = np.maximum(0.0, g - headroom)
        return np.concatenate([uneven, LIMIT_WEIGHT * too_far, LIMIT_WEIGHT * too_loud, 0.3 * x[2::3]])

    for _ in range(limits.most_filters - 1):
        off = np.where(used, spl + gain(np.array(values)) - level, 0.0)
        worst = int(np.argmax(np.abs(off)))
        start = [*values, float(np.log2(f[worst])), 0.5, float(np.clip(-off[worst], -6.0, limits.most_boost_db / 2))]
        count = len(start) // 3
        bounds = ([low, -1.3, -12.0] * count, [high, 2.3, limits.most_boost_db] * count)
        start = list(np.clip(start, np.array(bounds[0]) + 1e-6, np.array(bounds[1]) - 1e-6))
        values = list(least_squares(residuals, start, bounds=bounds, max_nfev=40, x_scale=[0.3, 0.5, 2.0] * count).x)
    kept = [
        biquad(
            "peaking",
            _rounded(float(2 ** values[i])),
            round(float(2 ** values[i + 1]), 2),
            round(float(values[i + 2]), 1),
            limits.rate_hz,
        )
        for i in range(0, len(values), 3)
        if abs(values[i + 2]) >= LEAST_GAIN_DB
    ]
    return tuple(sorted(kept, key=lambda b: b.frequency_hz))


def _rounded(frequency_hz: float) -> float:
    """Return a frequency to three digits."""
    return float(f"{frequency_hz:.3g}")


def _outcome(
    f: Real, spl: Real, excursion: Real, level: float, filters: tuple[Biquad, ...], limits: ShapingLimits
) -> Shaped:
    gain = np.abs(response(filters, f, limits.rate_hz))
    shaped = spl + 20 * np.log10(gain)
    moved = excursion * gain
    band = (f >= limits.band_from_hz) & (f <= limits.band_to_hz)
    # From the middle of the band downwards, the first frequency that is more than 3 dB below.
    reach = f[0]
    for i in range(int(np.argmin(np.abs(f - limits.band_from_hz))), -1, -1):
        if shaped[i] < level - 3.0:
            reach = f[i + 1]
            break
    return Shaped(
        filters=filters,
        frequency_hz=tuple(float(v) for v in f),
        gain_db=tuple(float(v) for v in 20 * np.log10(gain)),
        spl_db=tuple(float(v) for v in shaped),
        excursion_peak_mm=tuple(float(v) for v in moved),
        level_db=level,
        ripple_db=float(shaped[band].max() - shaped[band].min()),
        reach_hz=float(reach),
        most_excursion_mm=float(moved.max()),
        most_volts=float(limits.volts * gain.max()),
    )
