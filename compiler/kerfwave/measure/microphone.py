"""What turns a recording into sound pressure: a microphone's calibration file, and a calibrator's tone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.errors import RecordingError

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Correction:
    """A microphone's response: what it reads too much, in dB, at rising frequencies."""

    frequency_hz: tuple[float, ...]
    too_much_db: tuple[float, ...]

    def at(self, frequency_hz: Real) -> Real:
        """Return the response at other frequencies: straight over ln f, and level beyond the ends."""
        return np.asarray(np.interp(np.log(frequency_hz), np.log(self.frequency_hz), self.too_much_db))


def full_scale_db(samples: Real, rate_hz: int, calibrator_db: float) -> float:
    """Return the level (dB re 20 uPa, r.m.s.) of a sine that fills full scale, from a recording of a calibrator.

    The tone is the strongest line of the middle of the recording, fitted as a sine. Calibrators give 94 or 114 dB at
    1 kHz, some at 250 Hz (IEC 60942, from memory).

    Raises:
        RecordingError: when it is too short, silent, clipped, or holds no steady tone that stands 20 dB over the rest.
    """
    middle = samples[len(samples) // 10 : len(samples) - len(samples) // 10]
    if len(middle) < rate_hz // 2:
        raise RecordingError("the calibrator's recording is shorter than half a second", "record some seconds of it")
    if np.abs(samples).max() >= 0.999:
        raise RecordingError("the calibrator's recording is clipped", "turn the recorder down, and record all again")
    if np.abs(middle).max() < 1e-4:
        raise RecordingError("the calibrator's recording is silent", "check cable and channel")
    hz, amplitude, rest = _strongest(middle, rate_hz)
    if not 100 <= hz <= 3000 or amplitude**2 / 2 < 100 * rest:
        raise RecordingError(
            f"no steady tone in the calibrator's recording (strongest near {hz:.0f} Hz)",
            "push the calibrator home, and keep the room quiet",
        )
    return calibrator_db - 20 * math.log10(amplitude)


def _strongest(samples: Real, rate_hz: int) -> tuple[float, float, float]:
    """Return frequency and amplitude of the strongest line, and the power of all that is not in it.

    Four seconds at most, under a Hann window; the power of the line is that of the nine bins round its top (Parseval),
    so that a tone which wavers by less than a hertz is measured whole.
    """
    part = samples[: 4 * rate_hz]
    part = part - part.mean()
    n = len(part)
    weights = np.hanning(n)
    power = 2.0 * np.square(np.abs(np.fft.rfft(part * weights))) / (n * float(np.sum(np.square(weights))))
    k = int(np.argmax(power))
    line = float(power[max(k - 4, 0) : k + 5].sum())
    return k * rate_hz / n, math.sqrt(2.0 * line), max(float(np.mean(np.square(part))) - line, 0.0)
