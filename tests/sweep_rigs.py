"""Simulated rigs: what a recorder would hold of a sweep played through something known."""

from __future__ import annotations

import math

import numpy as np
from scipy import signal

from kerfwave.measure.sweep import Sweep, tone


def phase(sweep: Sweep) -> np.ndarray:
    """Return the sweep's phase at its samples, written down anew from the formula of the sweep."""
    t = np.arange(round(sweep.seconds * sweep.rate_hz)) / sweep.rate_hz
    pace = sweep.seconds / math.log(sweep.to_hz / sweep.from_hz)
    return 2 * math.pi * sweep.from_hz * pace * (np.exp(t / pace) - 1)


def bent(sweep: Sweep, shares: dict[int, float]) -> np.ndarray:
    """Return the sweep with harmonics, each a share of the fundamental; all under the sweep's own fades."""
    played = tone(sweep)
    angle = phase(sweep)
    steady = sweep.amplitude * np.sin(angle)
    fade = np.divide(played, steady, out=np.ones_like(played), where=np.abs(steady) > 1e-3 * sweep.amplitude)
    extra = sum((share * np.sin(order * angle) for order, share in shares.items()), start=np.zeros(len(angle)))
    return np.asarray(played + sweep.amplitude * fade * extra)


def record(
    played: np.ndarray,
    rate_hz: int,
    *,
    before_s: float = 0.7,
    after_s: float = 1.0,
    gain: float = 0.5,
    filtered: np.ndarray | None = None,
    snr_db: float | None = None,
    seed: int = 1,
) -> np.ndarray:
    """Return the recording: silence, the sound through a filter (sections of second order), silence, noise over all."""
    whole = np.concatenate([np.zeros(round(before_s * rate_hz)), played, np.zeros(round(after_s * rate_hz))])
    heard = gain * (whole if filtered is None else signal.sosfilt(filtered, whole))
    if snr_db is None:
        return np.asarray(heard)
    start = round(before_s * rate_hz)
    power = np.mean(np.square(heard[start : start + len(played)]))
    noise = np.random.default_rng(seed).standard_normal(len(heard))
    return np.asarray(heard + noise * math.sqrt(power) * 10 ** (-snr_db / 20))


def level_db(filtered: np.ndarray, frequency_hz, rate_hz: int) -> np.ndarray:
    """Return the known response of the filter in dB."""
    _, h = signal.sosfreqz(filtered, np.asarray(frequency_hz), fs=rate_hz)
    return 20 * np.log10(np.abs(h))
