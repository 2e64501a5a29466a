"""WAV files, from and to bytes. The samples are read by the library soundfile; how long the file should be is not.

A file that was cut short is read by most programs without a word, up to where it ends. A measurement that lacks its
end is worth a message, so the lengths in the header are held against the bytes that are there.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.errors import RecordingError

MOST_BYTES = 400_000_000
MOST_FRAMES = 20_000_000
BITS = {"PCM_16": 16, "PCM_24": 24, "PCM_32": 32, "FLOAT": 25, "DOUBLE": 53}  # of a sample, sign and all


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """What a WAV file holds: samples of shape (frames, channels), 1.0 being full scale."""

    samples: NDArray[np.float64]
    rate_hz: int
    bits: int
    floating: bool
    comment: str = ""

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate_hz

    @property
    def channels(self) -> int:
        """How many channels it has."""
        return int(self.samples.shape[1])


def decode(data: bytes) -> Recording:
    """Return the recording in a WAV file of 16, 24 or 32 bits or of floats, with one or more channels.

    Raises:
        RecordingError: when the file is empty, no WAV file, cut short, too long, of another coding, or holds values
            that are not finite.
    """
    import soundfile  # here, for it loads a shared library

    _check_length(data)
    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            if file.subtype not in BITS:
                raise RecordingError(
                    f"samples of the kind {file.subtype}, which is too coarse or loses detail",
                    "save it with 16, 24 or 32 bits, or as float",
                )
            if file.frames > MOST_FRAMES:
                raise RecordingError(
                    f"{file.frames / file.samplerate:.0f} s are too long to analyse", "cut it to the sweep"
                )
            samples = file.read(dtype="float64", always_2d=True)
            rate, subtype, comment = int(file.samplerate), str(file.subtype), str(file.comment or "")
    except soundfile.LibsndfileError as error:
        raise RecordingError(f"a damaged WAV file ({error.error_string})", "save or record it again") from error
    if not len(samples):
        raise RecordingError("a WAV file without samples", "record the sweep first")
    if not np.isfinite(samples).all():
        raise RecordingError("samples that are not finite numbers", "save it again with 24 bits")
    return Recording(samples, rate, BITS[subtype], subtype in ("FLOAT", "DOUBLE"), comment)


def encode(samples: NDArray[np.float64], rate_hz: int, *, bits: int = 24, comment: str = "") -> bytes:
    """Return a WAV file of 16, 24 or 32 bits, one channel or, for shape (frames, channels), several.

    Raises:
        ValueError: for other bits, or samples beyond full scale.
    """
    import soundfile

    if bits not in (16, 24, 32):
        raise ValueError(f"{bits} bits; 16, 24 or 32 can be written")
    if np.abs(samples).max(initial=0.0) > 1.0:
        raise ValueError("samples beyond full scale")
    out = io.BytesIO()
    channels = 1 if samples.ndim == 1 else samples.shape[1]
    with soundfile.SoundFile(out, "w", rate_hz, channels, format="WAV", subtype=f"PCM_{bits}") as file:
        if comment:
            file.comment = comment
        file.write(samples)
    return out.getvalue()


def _check_length(data: bytes) -> None:
    """Refuse what is empty, no WAV file, or shorter than its header says."""
    again = "save or record it again"
    if not data:
        raise RecordingError("the file is empty", again)
    if len(data) > MOST_BYTES:
        raise RecordingError(f"{len(data) / 1e6:.0f} MB are too much to analyse", "cut it to the sweep")
    if data[:4] != b"RIFF" or data[8:12] != b"WAVE":
        short = len(data) < 12 and b"RIFF".startswith(data[:4])
        raise RecordingError(
            "the file is cut short within its header" if short else "this is no WAV file",
            again if short else "export the recording as WAV, 24 bits",
        )
    at = 12
    while at + 8 <= len(data):
        kind, size = struct.unpack_from("<4sI", data, at)
        there = len(data) - at - 8
        if kind == b"data":
            if size == 0xFFFFFFFF or (size == 0 and there > 1):
                raise RecordingError("the header does not say how long it is: the recording was not finished", again)
            if size > there:
                raise RecordingError(f"cut short: {size} bytes of samples are promised, {there} are there", again)
            return
        if size > there:
            break
        at += 8 + size + size % 2
    raise RecordingError("cut short: the header ends before the samples begin", again)
