"""The whole reading of a recorded sweep: found, deconvolved, gated, its noise judged, its harmonics told apart."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from kerfwave.measure.bands import exact_hz, indices_within, log_grid, nominal_hz
from kerfwave.measure.deconvolve import Excerpt, deconvolve, excerpts, low_end, rise
from kerfwave.measure.distortion import Distortion, distortion
from kerfwave.measure.errors import RecordingError, SettingError
from kerfwave.measure.find import Found, find
from kerfwave.measure.gate import Gate, Spectrum, cut, spectrum, window
from kerfwave.measure.level import clipped, refuse_silence
from kerfwave.measure.microphone import Correction
from kerfwave.measure.sweep import HIGHEST, Sweep
from kerfwave.model.parts import Check

Real = NDArray[np.float64]

OPEN_GATE_S = 0.5  # where no gate is asked for: the room is in it
LEAST_SNR_DB = 20.0  # noise a tenth of the sound changes a level by up to 0.9 dB
PER_OCTAVE = 48
SHOWN_S = 0.05  # of the impulse response before its peak
EDGE, CUT = 2.0 ** (1 / 6), 2.0 ** (1 / 3)  # from where a sweep sets in: right within 0.1 dB; from a cut: 0.2 dB


@dataclass(frozen=True, slots=True)
class Settings:
    """How to read. `full_scale_db` is the level, dB re 20 uPa r.m.s., of a sine that fills the recorder's scale."""

    gate_s: float | None = None  # after the peak
    smooth: float | None = None  # power mean over 1/smooth octave
    full_scale_db: float | None = None
    microphone: Correction | None = None
    time_zero_s: float | None = None  # what phases refer to: seconds from the recording's start; None: the peak


@dataclass(frozen=True, slots=True)
class Impulse:
    """The gated stretch of the impulse response in the sweep's band; time 0 is its peak."""

    rate_hz: int
    time_s: tuple[float, ...]
    value: tuple[float, ...]  # recorded over played


@dataclass(frozen=True, slots=True)
class MeasuredResponse:
    """A response on a logarithmic grid.

    `level_db` is re 20 uPa at the sweep's level where `absolute`, else 0 dB is a recording as loud as the file played.
    """

    frequency_hz: tuple[float, ...]
    level_db: tuple[float, ...]
    phase_deg: tuple[float, ...] | None = None
    snr_db: tuple[float, ...] | None = None
    absolute: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """What a recording of a sweep tells. Checks say what to trust: "fail" for what should be recorded again."""

    sweep: Sweep  # at the recording's rate
    start_s: float  # of the sweep, in the recording, sound's travel included
    inverted: bool
    gate: Gate
    band_hz: tuple[float, float]  # what is told honestly
    snr_db: float  # of the recording as a whole, in the band
    impulse: Impulse
    response: MeasuredResponse
    distortion: Distortion
    checks: tuple[Check, ...]


def read(signal: Real, rate_hz: int, sweep: Sweep, settings: Settings | None = None, *, bits: int = 24) -> Reading:
    """Return what one channel of a recording tells of the sweep that was played.

    Parameters
    ----------
    signal
        Samples, shape (frames,), 1.0 being full scale.
    rate_hz
        The recording's rate. It may differ from the sweep's: the sweep is a formula.
    sweep
        What was played.
    settings
        Gate, smoothing, calibration.
    bits
        The recording's, to tell flat tops from rounding.

    Raises
    ------
    RecordingError
        when it is silent, holds no sweep or another one, or too little of it.
    SettingError
        for a gate that is not between 0.5 ms and 5 s.
    """
    settings = settings or Settings()
    after = OPEN_GATE_S if settings.gate_s is None else settings.gate_s
    if not 0.0005 <= after <= 5.0:
        raise SettingError(f"the gate is {after * 1000:g} ms; it lies between 0.5 and 5000 ms")
    refuse_silence(signal)
    flat = clipped(signal, bits)
    here = at_rate(sweep, rate_hz)
    taken = deconvolve(signal, here)
    found = find(taken)
    heard = _heard(here, found, len(signal) / rate_hz)
    gap = min(here.lead_of(2), 1.5)
    # What a sudden start leaves behind stands before the peak too: there the gate keeps off.
    back = 0.8 * gap if found.start_s > -0.25 * here.fade_in_s else 0.25 * gap
    open_gate = Gate(back, max(after, OPEN_GATE_S))
    gate = _gate(after, open_gate, heard[0])
    whole, quiet, before = excerpts(
        taken,
        round(found.start_s * rate_hz),
        round((here.lead_of(7) + 0.5) * rate_hz),
        round((open_gate.after_s + 0.5) * rate_hz),
    )
    del taken
    at, inverted, shape = _peak(whole, found, here, gate)
    linear = cut(whole, gate, at, rate_hz)
    noise = _noise(quiet, at, here)
    band = (max(heard[0], gate.lowest_hz), heard[1] - gate.lowest_hz)
    if band[1] < 1.5 * band[0]:
        raise RecordingError(
            f"nothing is left between {band[0]:.0f} Hz, the lowest that the gate can tell, and {band[1]:.0f} Hz",
            "choose a longer gate",
        )
    response = _response(linear, noise, band, here, settings, at / rate_hz)
    snr = _recorded_snr(cut(whole, open_gate, at, rate_hz), noise, heard, here)
    bent = distortion(before, at, here, linear, noise, band, after, settings.microphone)
    checks = (
        _check_found(found, at / rate_hz, inverted),
        _check_clipped(flat),
        _check_noise(linear, noise, band, snr),
        *_check_rate(sweep, here, heard),
        *_check_whole(here, heard),
        *_check_clocks(found),
        _check_gate(gate, band, settings),
    )
    return Reading(here, at / rate_hz, inverted, gate, band, snr, shape, response, bent, checks)


def at_rate(sweep: Sweep, rate_hz: int) -> Sweep:
    """Return the same sweep at another sampling rate, ended where that rate ends.

    Raises:
        RecordingError: when less than an octave is left of it.
    """
    if rate_hz == sweep.rate_hz:
        return sweep
    ends = min(sweep.to_hz, HIGHEST * rate_hz)
    if ends < 2 * sweep.from_hz:
        raise RecordingError(
            f"recorded at {rate_hz} Hz, which cannot hold a sweep from {sweep.from_hz:g} Hz",
            f"record at {sweep.rate_hz} Hz",
        )
    return replace(sweep, rate_hz=rate_hz, to_hz=ends)


def _gate(after_s: float, open_gate: Gate, lowest_hz: float) -> Gate:
    """Return the gate: far back before the peak where the sweep's low end is told, whose ringing reaches there."""
    gate = Gate(open_gate.before_s, after_s)
    return gate if gate.lowest_hz < 4.0 * lowest_hz else Gate(min(after_s, open_gate.before_s), after_s)


def _heard(sweep: Sweep, found: Found, seconds: float) -> tuple[float, float]:
    """Return the part of the honest band that the recording holds.

    Raises:
        RecordingError: when it is less than an octave.
    """
    low, high = sweep.honest_hz
    low = max(EDGE * low, CUT * sweep.hz_at(-found.start_s))
    high = min(high, sweep.hz_at(seconds - found.start_s) / CUT)
    if high < 2 * low:
        raise RecordingError(
            f"less than an octave of the sweep is in the recording ({seconds:.1f} s long)",
            "start the recorder before the sweep, and stop it afterwards",
        )
    return low, high


def _peak(whole: Excerpt, found: Found, sweep: Sweep, gate: Gate) -> tuple[int, bool, Impulse]:
    """Return the sample of the peak, whether it points down, and the stretch round it in the sweep's band alone."""
    rate = sweep.rate_hz
    times = [a.time_s for a in found.arrivals]
    spread = min(max(0.03, 2 * float(np.median(np.abs(np.subtract(times, found.start_s))))), 0.3 * sweep.lead_of(2))
    before = round((spread + gate.before_s + 0.05) * rate)
    length = before + round((spread + gate.after_s + 0.05) * rate)
    first = round(found.start_s * rate) - before
    band = fft.rfft(whole.between(first, first + length))
    f = np.arange(len(band), dtype=np.float64) * (rate / length)
    low, high = sweep.honest_hz
    band *= rise(f, low / 2, low) * (1.0 - rise(f, high, 1.2 * high))
    stretch = fft.irfft(band, length)
    search = slice(before - round(spread * rate), before + round(spread * rate) + 1)
    k = search.start + int(np.argmax(np.abs(stretch[search])))
    weights, lead = window(Gate(min(gate.before_s, SHOWN_S), gate.after_s), rate)
    shown = stretch[max(k - lead, 0) : k - lead + len(weights)] * weights
    time = (np.arange(len(shown)) - lead) / rate
    kept = Impulse(rate, tuple(time.tolist()), tuple(shown.tolist()))
    return first + k, bool(stretch[k] < 0), kept


def _noise(quiet: Excerpt, at: int, sweep: Sweep) -> Spectrum:
    """Return the spectrum of a stretch before the peak, where of all that was played only harmonics fade away.

    `quiet` is the impulse response without its low end, whose ringing would pass for noise.
    """
    gap = min(sweep.lead_of(2), 1.5)
    stretch = Gate(0.225 * gap, 0.225 * gap)
    middle = at - round(0.525 * gap * sweep.rate_hz)
    heard = cut(quiet, stretch, middle, sweep.rate_hz)
    # Below its low end, where next to nothing is left, the noise recorded is taken to be as dense as at that end.
    end = 1.3 * sweep.honest_hz[0]
    k = int(np.searchsorted(heard.frequency_hz, end))
    values = heard.values / low_end(np.maximum(heard.frequency_hz, end), sweep)
    values[:k] = np.abs(values[k]) * np.sqrt(heard.frequency_hz[:k] / end)
    return spectrum(heard.frequency_hz, values, heard.energy)


def _response(
    linear: Spectrum, noise: Spectrum, band: tuple[float, float], sweep: Sweep, settings: Settings, peak_s: float
) -> MeasuredResponse:
    grid = log_grid(*band, PER_OCTAVE)
    values = linear.at(grid)
    if settings.time_zero_s is not None:
        values = values * np.exp(-2j * math.pi * grid * (peak_s - settings.time_zero_s))
    power = np.square(np.abs(values)) if settings.smooth is None else linear.power(grid, settings.smooth, band)
    level = 10 * np.log10(np.maximum(power, 1e-30))
    if settings.full_scale_db is not None:
        level += settings.full_scale_db + sweep.level_dbfs
    if settings.microphone is not None:
        level -= settings.microphone.at(grid)
    return MeasuredResponse(
        tuple(grid.tolist()),
        tuple(level.tolist()),
        tuple(np.degrees(np.angle(values)).tolist()),
        tuple(_snr_db(linear, noise, grid).tolist()),
        settings.full_scale_db is not None,
    )


def _snr_db(linear: Spectrum, noise: Spectrum, frequency_hz: Real) -> Real:
    """Return sound over noise in the third octave round each frequency, both within the gate."""
    floor = noise.power(frequency_hz, 3) * (linear.energy / noise.energy)
    ratio = linear.power(frequency_hz, 3) / np.maximum(floor, 1e-30)
    return np.asarray(10 * np.log10(np.maximum(ratio, 1e-3)))


def _recorded_snr(linear: Spectrum, noise: Spectrum, band: tuple[float, float], sweep: Sweep) -> float:
    """Return the sweep's power over the noise's in the recording itself, in the band, in dB.

    A sweep's power spectrum goes as 1/f. So the energy recorded is the integral of |H|^2 / f, and the noise's, over
    the time of the sweep, is that of the gated noise times that time over the gate's.
    """
    f = np.geomspace(*band, 2000)  # over ln f the factor 1/f drops out
    heard = float(np.mean(linear.power(f, 12)))
    per_second = float(np.mean(noise.power(f, 12))) / noise.energy * sweep.rate_hz
    seconds = sweep.pace_s * math.log(band[1] / band[0])
    return 10 * math.log10(max(heard, 1e-30) / max(per_second * seconds, 1e-30))


def _check_found(found: Found, start_s: float, inverted: bool) -> Check:
    way = "upside down: the loudspeaker, the microphone or a cable turns the polarity" if inverted else "right way up"
    return Check("sweep", "ok", f"found the sweep {start_s:.3f} s after the start, {way}", start_s)


def _check_clipped(count: int) -> Check:
    if count:
        return Check(
            "clipped",
            "fail",
            f"{count} samples are clipped: turn the recorder down, and record again",
            float(count),
            0.0,
        )
    return Check("clipped", "ok", "nothing is clipped", 0.0, 0.0)


def _check_noise(linear: Spectrum, noise: Spectrum, band: tuple[float, float], snr: float) -> Check:
    """Judge the third-octave bands."""
    bands = indices_within(*band)
    level = _snr_db(linear, noise, np.asarray([exact_hz(k) for k in bands]))
    poor = [k for k, value in zip(bands, level, strict=True) if value < LEAST_SNR_DB]
    text = f"signal to noise {snr:.0f} dB in the recording"
    if not poor:
        return Check("noise", "ok", f"{text}; every third octave at least {LEAST_SNR_DB:g} dB clear", snr, LEAST_SNR_DB)
    names = ", ".join(f"{nominal_hz(k):g}" for k in poor)
    return Check(
        "noise",
        "fail" if 2 * len(poor) > len(bands) else "warn",
        f"{text}; too noisy (less than {LEAST_SNR_DB:g} dB clear) in the third octaves {names} Hz: a quieter room, "
        "closer, a longer or a louder sweep",
        snr,
        LEAST_SNR_DB,
    )


def _check_rate(written: Sweep, here: Sweep, heard: tuple[float, float]) -> tuple[Check, ...]:
    if written.rate_hz == here.rate_hz:
        return ()
    text = (
        f"taken at {here.rate_hz} Hz, the sweep was written at {written.rate_hz} Hz: its pace is right, so it is read; "
        f"up to {heard[1]:.0f} Hz"
    )
    return (Check("rate", "warn", text, float(here.rate_hz), float(written.rate_hz)),)


def _check_whole(sweep: Sweep, heard: tuple[float, float]) -> tuple[Check, ...]:
    low, high = sweep.honest_hz
    if heard[0] <= low * EDGE * 1.001 and heard[1] >= high * 0.999:
        return ()
    text = (
        f"only {heard[0]:.0f} to {heard[1]:.0f} Hz of the sweep are in the recording: start it earlier, stop it later"
    )
    return (Check("whole", "warn", text),)


def _check_clocks(found: Found) -> tuple[Check, ...]:
    if abs(found.pace_ratio - 1.0) < 0.002:
        return ()
    text = (
        f"the sweep runs {100 * (found.pace_ratio - 1):+.1f} % slow: two clocks that differ, or bass that comes late; "
        "levels hold, phase and a short gate do not"
    )
    return (Check("clocks", "warn", text, found.pace_ratio, 1.0),)


def _check_gate(gate: Gate, band: tuple[float, float], settings: Settings) -> Check:
    if settings.gate_s is None:
        return Check("gate", "ok", f"no gate asked for: {1000 * gate.after_s:g} ms, the room is in it", gate.after_s)
    text = f"gated {1000 * gate.after_s:g} ms after the peak: nothing below {band[0]:.0f} Hz is told"
    return Check("gate", "ok", text, gate.after_s)
