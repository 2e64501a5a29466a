"""Whether a recording can be trusted at all: silent, clipped."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.errors import RecordingError

Real = NDArray[np.float64]

SILENT = 1e-4  # -80 dBFS: three steps of 16 bits


def refuse_silence(signal: Real) -> None:
    """Refuse a channel that never rises above -80 dBFS, or never moves.

    Raises:
        RecordingError: then.
    """
    swing = float(signal.max() - signal.min()) / 2
    if swing < SILENT:
        raise RecordingError(
            f"this channel is silent ({20 * math.log10(swing):.0f} dBFS at most)"
            if swing
            else "this channel is silent",
            "check cable, gain and channel (--channel)",
        )


def clipped(signal: Real, bits: int) -> int:
    """Return how many samples are clipped, 0 where none is.

    At full scale: three or more in a row. Below it (a stage before the recorder was clipped): the top or the bottom
    value occurs far more often than in a sine. Of a sine of amplitude a, the share of samples that round to the top
    value, in steps of q, is arccos(1 - q/(2 a)) / pi, about sqrt(q/a) / pi; four times that, and at least 1 in 200,
    counts as flat.
    """
    step = 2.0 ** (1 - bits)
    at_full = np.abs(signal) >= 1.0 - 1.5 * step if bits < 25 else np.abs(signal) >= 1.0 - 2e-5
    count = int(np.sum(at_full & (_in_a_row(at_full) >= 3)))
    if count:
        return count
    peak = float(np.abs(signal).max())
    if peak < 0.02:
        return 0
    loud = int(np.sum(np.abs(signal) > 0.1 * peak))
    for end in (float(signal.max()), float(signal.min())):
        flat = signal == end
        most = max(4.0 * math.sqrt(step / abs(end)) / math.pi if end else 1.0, 0.005)
        if np.sum(flat) > most * loud:
            count += int(np.sum(flat))
    return count


def _in_a_row(flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return, for each sample, how long the run of equal flags is that it stands in."""
    change = np.flatnonzero(np.diff(flags)) + 1
    ends = np.concatenate([[0], change, [len(flags)]])
    return np.repeat(np.diff(ends), np.diff(ends))
