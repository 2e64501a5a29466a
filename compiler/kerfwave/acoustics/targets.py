"""How well responses meet a target: one row per candidate, one number per promise. All levels in dB."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwave.model.spec import Target

Real = NDArray[np.float64]

MOUTH_VELOCITY_M_S = 17.0  # peak; about Mach 0.05, common practice for vents that stay quiet
ROUNDING_DB = 1e-9
LEAST_FREQUENCY_HZ, MOST_FREQUENCY_HZ = 20.0, 2000.0


@dataclass(frozen=True, slots=True)
class Figures:
    """What a body does, in the words of the target. Arrays of shape (C,), or plain numbers for one body."""

    level_db: Real  # mean in the band
    ripple_db: Real  # highest minus lowest in the band
    relief_db: Real  # least ratio of excursions, closed box / this body, in the relief range
    relief_mean_db: Real
    bass_gain_db: Real  # over the closed box at `bass_at_hz`; 0 where none is asked
    excursion_mm: Real  # greatest peak from `relief_from_hz` up
    mouth_m_s: Real  # greatest peak speed at the mouth from `relief_from_hz` up


def grid(low_hz: float, high_hz: float, per_octave: int) -> tuple[float, ...]:
    """Return a logarithmic grid that has both ends in it."""
    octaves = np.log2(high_hz / low_hz)
    return tuple(float(f) for f in np.geomspace(low_hz, high_hz, int(np.ceil(octaves * per_octave)) + 1))


def target_grid(target: Target, per_octave: int) -> tuple[float, ...]:
    """Return the frequencies at which a target can be judged: ranges' ends and the bass point are among them."""
    edges = {target.band_from_hz, target.band_to_hz, target.relief_from_hz, target.relief_to_hz}
    if target.bass_at_hz is not None:
        edges.add(target.bass_at_hz)
    marks = sorted(edges)
    points: set[float] = set()
    for low, high in itertools.pairwise(marks):
        points.update(grid(low, high, per_octave))
    return tuple(sorted(points))


def judge(
    target: Target,
    frequency_hz: Real,
    spl_db: Real,
    excursion_mm: Real,
    mouth_m_s: Real,
    closed_spl_db: Real,
    closed_excursion_mm: Real,
) -> Figures:
    """Read the figures off responses of shape (C, F); the closed boxes' have the same shape.

    Raises:
        ValueError: if the grid has no point in one of the target's ranges.
    """
    f = np.asarray(frequency_hz)
    band = _within(f, target.band_from_hz, target.band_to_hz)
    relief = _within(f, target.relief_from_hz, target.relief_to_hz)
    used = f >= target.relief_from_hz * (1 - 1e-9)
    gain = np.zeros(spl_db.shape[:-1])
    if target.bass_at_hz is not None:
        at = int(np.argmin(np.abs(f - target.bass_at_hz)))
        gain = spl_db[..., at] - closed_spl_db[..., at]
    ratio = 20 * np.log10(closed_excursion_mm[..., relief] / excursion_mm[..., relief])
    return Figures(
        level_db=spl_db[..., band].mean(axis=-1),
        ripple_db=spl_db[..., band].max(axis=-1) - spl_db[..., band].min(axis=-1),
        relief_db=ratio.min(axis=-1),
        relief_mean_db=ratio.mean(axis=-1),
        bass_gain_db=gain,
        excursion_mm=excursion_mm[..., used].max(axis=-1),
        mouth_m_s=mouth_m_s[..., used].max(axis=-1),
    )


def _within(f: Real, low: float, high: float) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = (f >= low * (1 - 1e-9)) & (f <= high * (1 + 1e-9))
    if not inside.any():
        raise ValueError(f"no frequency between {low:g} and {high:g} Hz")
    return inside


def shortfalls(target: Target, figures: Figures, excursion_limit_mm: float, spare_db: float = 0.0) -> dict[str, Real]:
    """Return by how much each promise is missed, in dB, 0 where it is kept but for rounding.

    With `spare_db`, by how much it is short of being kept with that much to spare.
    """

    def missed(by: Real) -> Real:
        return np.asarray(np.where(by + spare_db > ROUNDING_DB, by + spare_db, 0.0), dtype=float)

    return {
        "level": missed(target.level_db - figures.level_db),
        "ripple": missed(figures.ripple_db - target.ripple_db),
        "relief": missed(target.relief_least_db - figures.relief_db),
        "bass": missed(target.bass_gain_db - figures.bass_gain_db)
        if target.bass_at_hz
        else np.zeros_like(figures.level_db),
        "excursion": missed(20 * np.log10(figures.excursion_mm / excursion_limit_mm)),
        "mouth": missed(20 * np.log10(np.maximum(figures.mouth_m_s, 1e-9) / MOUTH_VELOCITY_M_S)),
    }
