"""One well-mixed room: how fume builds up, decays and averages over time. Hours, cubic metres, milligrams.

V dC/dt = G - (Q / K) C, the dilution equation of industrial hygiene, K >= 1 for mixing that is not perfect.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MIXING = 3.0  # K: 1 is perfect, 2 to 5 usual (building-services journal)


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of the day with constant emission and constant airflow."""

    hours: float
    emission_mg_h: float
    flow_m3_h: float


@dataclass(frozen=True, slots=True)
class Day:
    """A day of work: phases from the first minute of cutting on, first the only one that emits; the last goes on.

    `days` equal days follow one another, each 24 h long, and the last one is looked at.
    """

    volume_m3: float
    phases: tuple[Phase, ...]
    days: int = 1
    mixing: float = MIXING


def steady(emission_mg_h: float, flow_m3_h: float, mixing: float = MIXING) -> float:
    """Return the concentration, mg/m^3, that a constant emission tends to: K G / Q."""
    return mixing * emission_mg_h / flow_m3_h


def after(start: float, hours: float, emission: float, flow: float, volume: float, mixing: float = MIXING) -> float:
    """Return the concentration, mg/m^3, `hours` after it was `start`, at constant emission and airflow."""
    rate = flow / (mixing * volume)
    return start * math.exp(-rate * hours) + emission / volume * hours * _share(rate * hours)


def exposure(start: float, hours: float, emission: float, flow: float, volume: float, mixing: float = MIXING) -> float:
    """Return the integral of the concentration over the same time, mg h/m^3."""
    x = flow / (mixing * volume) * hours
    return start * hours * _share(x) + emission / volume * hours**2 * _second_share(x)


def purge_hours(start: float, end: float, flow: float, volume: float, mixing: float = MIXING) -> float:
    """Return how long clean air takes to bring `start` down to `end`: (K V / Q) ln(start / end)."""
    return mixing * volume / flow * math.log(start / end)


def worst_mean(day: Day, window_h: float) -> float:
    """Return the highest mean, mg/m^3, over any stretch of `window_h` hours of the last day.

    The concentration rises while the first phase lasts and falls ever after, so the worst stretch is the one that
    begins and ends at the same concentration. It is found by halving; there the mean is flat, so 40 steps are plenty.
    """
    start = 0.0
    for _ in range(day.days - 1):
        start = _run(day, start, 24.0)[0]
    low, high = 0.0, day.phases[0].hours
    for _ in range(40):
        middle = (low + high) / 2.0
        if _run(day, start, middle + window_h)[0] > _run(day, start, middle)[0]:
            low = middle
        else:
            high = middle
    return (_run(day, start, low + window_h)[1] - _run(day, start, low)[1]) / window_h


def _run(day: Day, start: float, hours: float) -> tuple[float, float]:
    """Concentration and its integral `hours` into a day that begins at `start`."""
    concentration, integral = start, 0.0
    last = len(day.phases) - 1
    for index, phase in enumerate(day.phases):
        spent = hours if index == last else min(hours, phase.hours)
        arguments = (spent, phase.emission_mg_h, phase.flow_m3_h, day.volume_m3, day.mixing)
        integral += exposure(concentration, *arguments)
        concentration = after(concentration, *arguments)
        hours -= spent
    return concentration, integral


def _share(x: float) -> float:
    """Return (1 - e^-x) / x, 1 at 0."""
    return 1.0 if x < 1e-12 else -math.expm1(-x) / x


def _second_share(x: float) -> float:
    """Return (x - (1 - e^-x)) / x^2, 1/2 at 0; by its series where the difference would lose its figures."""
    return 0.5 - x / 6.0 + x * x / 24.0 - x**3 / 120.0 if x < 1e-3 else (x + math.expm1(-x)) / x**2
