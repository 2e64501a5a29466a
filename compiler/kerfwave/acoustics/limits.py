"""How loud it goes: what sets the greatest level at each frequency, and what a bass control would cost in travel.

Everything in the model is proportional to the voltage, so a limit is met where the drive has to be turned up to. The
limits are small-signal ones: near them a real driver is not linear any more, and its coil is hot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from kerfwave.acoustics import biquads
from kerfwave.acoustics.duct import Real
from kerfwave.model.acoustic import Response

RATE_HZ, SLOPE_1 = 48000.0, 2.0**-0.5  # of the bass control
EXCURSION, POWER, VOLTAGE, MOUTH = "excursion", "power", "voltage", "mouth"
ENDLESS_DB = 60.0  # above the drive: a limit farther away than that is none


@dataclass(frozen=True, slots=True)
class Limits:
    """The greatest level in steady tones. All tuples but `by_limit` are as long as `frequency_hz`."""

    frequency_hz: tuple[float, ...]
    level_db: tuple[float, ...]
    volts: tuple[float, ...]  # r.m.s. at the terminals, that give it
    binding: tuple[str, ...]  # which limit sets it: "excursion", "power", "voltage" or "mouth"
    by_limit: tuple[tuple[str, tuple[float, ...]], ...]  # the level that each would allow by itself


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the frequency axis in which one limit is the one that counts."""

    from_hz: float
    to_hz: float
    limit: str


def limits(
    response: Response,
    volts: float,
    *,
    xmax_mm: float,
    power_w: float,
    re_ohm: float,
    mouth_m_s: float,
    most_volts: float | None = None,
) -> Limits:
    """Return the greatest level at each frequency of a response, and what sets it.

    Args:
        response: at `volts`; its level is what the greatest level is counted from.
        volts: r.m.s., at which the response was made.
        xmax_mm: peak excursion, one way.
        power_w: rated power; reached where volts^2 / re_ohm is that much.
        re_ohm: direct-current resistance of the coil.
        mouth_m_s: peak velocity of the air in the mouth.
        most_volts: that the amplifier can give, r.m.s.; None: no limit.
    """
    level = np.asarray(response.spl_db)
    turn_up: dict[str, Real] = {
        EXCURSION: _db(xmax_mm, np.asarray(response.excursion_peak_mm)),
        POWER: np.full(level.shape, _db(np.sqrt(power_w * re_ohm), np.asarray(volts))),
    }
    if most_volts is not None:
        turn_up[VOLTAGE] = np.full(level.shape, _db(most_volts, np.asarray(volts)))
    if any(v > 0.0 for v in response.mouth_velocity_peak_m_s):
        turn_up[MOUTH] = _db(mouth_m_s, np.asarray(response.mouth_velocity_peak_m_s))
    names = tuple(turn_up)
    table = np.array([np.minimum(turn_up[name], ENDLESS_DB) for name in names])
    which = table.argmin(axis=0)
    least = table.min(axis=0)
    return Limits(
        frequency_hz=response.frequency_hz,
        level_db=_floats(level + least),
        volts=_floats(volts * 10.0 ** (least / 20.0)),
        binding=tuple(names[i] for i in which),
        by_limit=tuple((name, _floats(level + row)) for name, row in zip(names, table, strict=True)),
    )


def stretches(found: Limits) -> tuple[Stretch, ...]:
    """Return where on the frequency axis which limit counts; neighbours meet half way between two points."""
    f, names = found.frequency_hz, found.binding
    turns = [i for i in range(1, len(f)) if names[i] != names[i - 1]]
    edges = [f[0], *(float(np.sqrt(f[i - 1] * f[i])) for i in turns), f[-1]]
    return tuple(Stretch(edges[n], edges[n + 1], names[i]) for n, i in enumerate((0, *turns)))


@dataclass(frozen=True, slots=True)
class BassControl:
    """What a bass tone control does to the cone, here and in the closed box, at the same drive. Peaks, one way, mm."""

    gain_db: float
    corner_hz: float
    from_hz: float  # the four figures are the greatest excursions from here up and below
    here_mm: float
    closed_mm: float
    here_below_mm: float
    closed_below_mm: float


def bass_control(
    frequency_hz: Sequence[float],
    here_mm: Sequence[float],
    closed_mm: Sequence[float],
    from_hz: float,
    gain_db: float = 6.0,
    corner_hz: float = 100.0,
) -> BassControl:
    """Return the greatest excursions with a bass tone control, above and below a frequency; 0 where there is none."""
    f = np.asarray(frequency_hz, dtype=float)
    lift = np.asarray(low_shelf(frequency_hz, gain_db, corner_hz))
    here, closed = np.asarray(here_mm) * lift, np.asarray(closed_mm) * lift
    above = f >= from_hz * (1 - 1e-9)

    def greatest(values: Real) -> float:
        return float(values.max(initial=0.0))

    return BassControl(
        gain_db,
        corner_hz,
        from_hz,
        greatest(here[above]),
        greatest(closed[above]),
        greatest(here[~above]),
        greatest(closed[~above]),
    )


def low_shelf(frequency_hz: Sequence[float], gain_db: float = 6.0, corner_hz: float = 100.0) -> tuple[float, ...]:
    """Return the factor of a bass tone control: a low shelf of slope 1, half its gain (in dB) at its corner.

    Source: R. Bristow-Johnson, "Audio EQ Cookbook", W3C Working Group Note (2021), at 48 kHz.
    """
    shelf = biquads.biquad("low-shelf", corner_hz, SLOPE_1, gain_db, RATE_HZ)
    return _floats(np.abs(biquads.response((shelf,), frequency_hz, RATE_HZ)))


def _db(limit: Any, value: Real) -> Real:
    return np.asarray(20.0 * np.log10(limit / np.maximum(value, 1e-12)))


def _floats(values: Real) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
