"""How far finished speakers stray from the design: bands over frequency, the target's figures, what they hang on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kerfwave.acoustics import targets
from kerfwave.acoustics.builds import SOURCES, Sizes, Tolerances, normal_draws, solve_all
from kerfwave.acoustics.duct import Real
from kerfwave.model.acoustic import Network
from kerfwave.model.spec import Target

DRAWS = 200
PERCENTILES = (10.0, 50.0, 90.0)


@dataclass(frozen=True, slots=True)
class Band:
    """One in ten lies below `low`, half below `middle`, one in ten above `high`."""

    low: tuple[float, ...]
    middle: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of the design, and how it comes out."""

    name: str
    unit: str
    low: float
    middle: float
    high: float
    kept: float | None  # share of the draws that keep the target's promise about it; None: there is none
    shares: tuple[tuple[str, float], ...]  # of its variance, by source, greatest first


@dataclass(frozen=True, slots=True)
class Spread:
    """What comes out of many builds of one design."""

    draws: int
    frequency_hz: tuple[float, ...]
    level_db: Band
    excursion_peak_mm: Band
    relief_db: Band
    impedance_ohm: Band
    figures: tuple[Figure, ...]
    kept: float  # share of the draws that keep the whole target


def spread(
    network: Network,
    closed: Network,
    sizes: Sizes,
    tolerances: Tolerances,
    target: Target,
    *,
    excursion_limit_mm: float,
    frequency_hz: tuple[float, ...],
    volts: float,
    distance_m: float,
    space: str,
    draws: int = DRAWS,
) -> Spread:
    """Build a design `draws` times on paper, and tell what comes out.

    Args:
        network: as designed.
        closed: the closed box of the same size.
        sizes: see there.
        tolerances: see there.
        target: what the figures are read by.
        excursion_limit_mm: of the target.
        frequency_hz: where the bands are wanted, rising.
        volts: r.m.s.
        distance_m: of the bands' level; the figures are at 1 m.
        space: "half" or "full".
        draws: how many.
    """
    f = np.array(sorted({*frequency_hz, *targets.target_grid(target, 24)}))
    z = normal_draws(draws, len(SOURCES))
    mine, box = solve_all(network, closed, sizes, tolerances, z, f, volts, space)
    relief = 20.0 * np.log10(box.excursion_mm / mine.excursion_mm)
    wanted = np.isin(f, np.array(frequency_hz))

    figures = targets.judge(target, f, mine.level_db, mine.excursion_mm, mine.mouth_m_s, box.level_db, box.excursion_mm)
    missed = targets.shortfalls(target, figures, excursion_limit_mm)
    below = f <= target.relief_to_hz * (1 + 1e-9)
    rows: list[tuple[str, str, Real, str | None]] = [
        ("tuning", "Hz", highest_at(f[below], relief[:, below]), None),
        ("level", "dB", figures.level_db, "level"),
        ("ripple", "dB", figures.ripple_db, "ripple"),
        ("least relief", "dB", figures.relief_db, "relief"),
        ("excursion", "mm", figures.excursion_mm, "excursion"),
    ]
    if target.bass_at_hz is not None:
        rows.append(("bass gain", "dB", figures.bass_gain_db, "bass"))
    return Spread(
        draws=draws,
        frequency_hz=tuple(float(x) for x in f[wanted]),
        level_db=_band(mine.level_db[:, wanted] - 20.0 * math.log10(distance_m)),
        excursion_peak_mm=_band(mine.excursion_mm[:, wanted]),
        relief_db=_band(relief[:, wanted]),
        impedance_ohm=_band(mine.impedance_ohm[:, wanted]),
        figures=tuple(
            _figure(name, unit, values, None if promise is None else missed[promise], z)
            for name, unit, values, promise in rows
        ),
        kept=float(np.mean(sum(missed.values()) <= 0.0)),
    )


def _figure(name: str, unit: str, values: Real, missed: Real | None, z: Real) -> Figure:
    low, middle, high = (float(v) for v in np.percentile(values, PERCENTILES))
    kept = None if missed is None else float(np.mean(missed <= 0.0))
    return Figure(name, unit, low, middle, high, kept, _shares(z, values))


def highest_at(f: Real, values: Real) -> Real:
    """Return where each row is highest: the top of the parabola through the highest point and its neighbours."""
    log_f = np.log(f)
    found = []
    for row in values:
        i = int(row.argmax())
        if 0 < i < len(f) - 1:
            a, b, _ = np.polyfit(log_f[i - 1 : i + 2] - log_f[i], row[i - 1 : i + 2], 2)
            found.append(float(np.exp(log_f[i] - b / (2.0 * a))) if a < 0.0 else float(f[i]))
        else:
            found.append(float(f[i]))
    return np.array(found)


def _shares(z: Real, values: Real) -> tuple[tuple[str, float], ...]:
    """Return which part of a figure's variance follows each source in a straight line, greatest first.

    Sources that came out a little alike by chance would add up to more than everything; then they are cut back evenly.
    """
    total = float(values.var())
    if total < 1e-12:
        return ()
    centred = z - z.mean(axis=0)
    slopes = np.linalg.lstsq(centred, values - values.mean(), rcond=None)[0]
    parts = slopes**2 * centred.var(axis=0) / total
    parts = parts / max(1.0, float(parts.sum()))
    rows = [(name, round(float(part), 4)) for name, part in zip(SOURCES, parts, strict=True)]
    return tuple(sorted(rows, key=lambda row: (-row[1], row[0])))


def _band(values: Real) -> Band:
    low, middle, high = np.percentile(values, PERCENTILES, axis=0)
    return Band(*(tuple(float(v) for v in row) for row in (low, middle, high)))
