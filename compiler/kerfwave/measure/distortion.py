"""Distortion by order of harmonic, from the responses that stand before the linear one (Farina 2000).

The response of order n arrives L ln n before the linear one. Its spectrum at n f is the harmonic of the fundamental f,
so harmonic over fundamental is |H_n(n f)| / |H_1(f)|, each read with its own correction of the microphone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.bands import log_grid
from kerfwave.measure.deconvolve import Excerpt
from kerfwave.measure.gate import Gate, Spectrum, cut
from kerfwave.measure.microphone import Correction
from kerfwave.measure.sweep import HIGHEST, Sweep

Real = NDArray[np.float64]

ORDERS = (2, 3, 4, 5)
PER_OCTAVE = 12
SMOOTH = 6.0  # power mean over a sixth of an octave: noise goes, and distortion is smooth
LONGEST_S = 0.2  # of a harmonic's gate after its peak


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One order. None where it was not measured: out of the band, or not clear of the noise."""

    order: int
    lead_s: float  # how long before the linear response it arrives
    percent: tuple[float | None, ...]  # of the fundamental, at the same fundamental frequency
    floor_percent: tuple[float | None, ...]  # what noise alone would show


@dataclass(frozen=True, slots=True)
class Distortion:
    """Harmonics of orders 2 to 5 over the fundamental's frequency."""

    frequency_hz: tuple[float, ...]  # of the fundamental
    harmonics: tuple[Harmonic, ...]
    total_percent: tuple[float | None, ...]  # root of the sum of squares of the orders measured


def distortion(
    before: Excerpt,
    at: int,
    sweep: Sweep,
    linear: Spectrum,
    noise: Spectrum,
    band_hz: tuple[float, float],
    after_s: float,
    microphone: Correction | None = None,
) -> Distortion:
    """Return the harmonics in an impulse response made for them, whose linear part peaks at sample `at`."""
    grid = log_grid(*band_hz, PER_OCTAVE)
    fundamental = _read(linear.power(grid, SMOOTH, band_hz), grid, microphone)
    late = _noise_above(before, at, sweep)
    harmonics = tuple(
        _harmonic(order, before, at, sweep, noise, late, grid, fundamental, band_hz, after_s, microphone)
        for order in ORDERS
    )
    total = tuple(
        sum(p * p for p in found) ** 0.5 if (found := [p for p in row if p is not None]) else None
        for row in zip(*(h.percent for h in harmonics), strict=True)
    )
    return Distortion(tuple(grid.tolist()), harmonics, total)


def _noise_above(before: Excerpt, at: int, sweep: Sweep) -> Spectrum:
    """Return noise between the places of orders 6 and 7.

    At a frequency above the sweep's end, what stands right before the linear response was recorded after the sweep,
    maybe after the recording; what stands here was recorded during it. Harmonics this high count as noise.
    """
    half = 0.45 * (sweep.lead_of(7) - sweep.lead_of(6))
    middle = at - round(0.5 * (sweep.lead_of(7) + sweep.lead_of(6)) * sweep.rate_hz)
    return cut(before, Gate(half, half), middle, sweep.rate_hz)


def gate_of(order: int, sweep: Sweep, after_s: float) -> Gate:
    """Return the gate of one order: it ends before the next lower order begins, and begins after the next higher."""
    later = sweep.lead_of(order) - sweep.lead_of(order - 1)
    earlier = sweep.lead_of(order + 1) - sweep.lead_of(order)
    after = min(after_s, LONGEST_S, 0.7 * later)
    return Gate(min(0.5 * after, 0.2 * earlier), after)


def _harmonic(
    order: int,
    before: Excerpt,
    at: int,
    sweep: Sweep,
    noise: Spectrum,
    late: Spectrum,
    grid: Real,
    fundamental: Real,
    band_hz: tuple[float, float],
    after_s: float,
    microphone: Correction | None,
) -> Harmonic:
    rate, lead = sweep.rate_hz, sweep.lead_of(order)
    gate = gate_of(order, sweep, after_s)
    part = cut(before, gate, at - round(lead * rate), rate)
    heard = order * grid
    inside = (heard <= 0.98 * HIGHEST * rate) & (heard >= gate.lowest_hz)
    power = _read(part.power(heard, SMOOTH, (order * band_hz[0], order * band_hz[1])), heard, microphone)
    density = np.where(
        heard < sweep.honest_hz[1], noise.power(heard, SMOOTH) / noise.energy, late.power(heard, SMOOTH) / late.energy
    )
    floor = _read(density * part.energy, heard, microphone)
    percent = 100.0 * np.sqrt(np.maximum(power - floor, 0.0) / fundamental)
    limit = 100.0 * np.sqrt(floor / fundamental)
    # A mean over few independent lines (bandwidth times time of them) of noise strays from its floor by chance.
    lines = np.maximum(heard * (2.0 ** (0.5 / SMOOTH) - 2.0 ** (-0.5 / SMOOTH)) * gate.after_s, 0.5)
    clear = power >= (2.0 + 4.0 / np.sqrt(lines)) * floor
    return Harmonic(
        order,
        lead,
        tuple(float(p) if ok else None for p, ok in zip(percent, inside & clear, strict=True)),
        tuple(float(p) if ok else None for p, ok in zip(limit, inside, strict=True)),
    )


def _read(power: Real, frequency_hz: Real, microphone: Correction | None) -> Real:
    """Return a power with the microphone's response taken off, never quite 0."""
    corrected = np.maximum(power, 1e-30)
    return corrected if microphone is None else np.asarray(corrected * 10.0 ** (-0.1 * microphone.at(frequency_hz)))
