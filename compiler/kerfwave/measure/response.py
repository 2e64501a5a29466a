"""A measured response laid over the one that a package promised.

Without a calibrated microphone only the shape can be compared. So the measured curve is moved up or down until both
have the same mean level in the target's band (mean of decibels over ln f, so that each octave counts the same); what is
left is told by third-octave bands.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwave.measure.bands import band_mean, edges_hz, indices_within, log_grid, nominal_hz
from kerfwave.measure.columns import Columns
from kerfwave.measure.errors import RecordingError
from kerfwave.measure.reading import PER_OCTAVE, MeasuredResponse

Real = NDArray[np.float64]

TOLERANCE_DB = 3.0
"""How far a third-octave band may stray: what rooms and microphones allow (common practice). Where builds of the design
are told to stray farther, that counts."""
NOTCH_PER_OCTAVE = 9.0
"""Notches narrower than 1/9 octave are not counted (IEC 60268-5, 21.2, from secondary pages)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Between which levels the prediction lies for parts and wood as they come."""

    frequency_hz: tuple[float, ...]
    low_db: tuple[float, ...]
    high_db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Band:
    """One third octave: mean levels and what is between them.

    `within` is the verdict: by the tolerance, or by the spread where that is wider. `usual` tells whether eight of ten
    builds of this design do the same, None where the report gives no spread.
    """

    nominal_hz: float
    measured_db: float  # normalised
    promised_db: float
    deviation_db: float
    within: bool
    usual: bool | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """One promise of the target: "kept", "missed" or "not measurable", and why."""

    id: str  # "level", "ripple", "relief", "bass"
    verdict: str
    text: str
    value: float | None = None
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class ResponseComparison:
    """A measured response beside the promised one, on one grid."""

    band_hz: tuple[float, float]  # the target's
    judged_hz: tuple[float, float]  # as much of it as was measured
    moved_db: float  # added to the measured levels
    normalisation: str
    frequency_hz: tuple[float, ...]
    measured_db: tuple[float, ...]
    promised_db: tuple[float, ...]
    bands: tuple[Band, ...]
    worst_db: float  # of the bands within the target's band, with its sign
    rms_db: float
    within: bool
    judgements: tuple[Judgement, ...]
    spread: Spread | None = None  # as given


def from_columns(columns: Columns) -> MeasuredResponse:
    """Return the response in columns of frequency_hz, level_db and maybe phase_deg; no calibration is assumed."""
    level = columns.column("level_db")
    if level is None:
        raise ValueError("a response has a column level_db")
    return MeasuredResponse(columns.values[0], level, columns.column("phase_deg"))


def spread_in(report: Mapping[str, Any]) -> Spread | None:
    """Return the band of a package's report about its promised response, None where it gives none.

    The report's band is of 10 to 90 % of builds of one design; here it is laid about the response that is promised.
    """
    acoustics = report.get("acoustics")
    spread = acoustics.get("spread") if isinstance(acoustics, Mapping) else None
    if not isinstance(acoustics, Mapping) or not isinstance(spread, Mapping):
        return None
    band, promised = spread["level_db"], acoustics["response"]
    f = np.asarray(spread["frequency_hz"], dtype=float)
    middle = np.asarray(band["middle"], dtype=float)
    at = _over(f, np.asarray(promised["frequency_hz"], dtype=float), promised["spl_db"])
    low, high = (at + np.asarray(band[side], dtype=float) - middle for side in ("low", "high"))
    return Spread(tuple(map(float, f)), tuple(map(float, low)), tuple(map(float, high)))


def against(
    report: Mapping[str, Any],
    measured: MeasuredResponse,
    *,
    spread: Spread | None = None,
    tolerance_db: float = TOLERANCE_DB,
    measured_volts: float | None = None,
    measured_at_m: float | None = None,
) -> ResponseComparison:
    """Compare a measured response with the prediction in a package's report.

    The level itself is judged only for an absolute response whose drive (r.m.s.) and distance are given; it is brought
    to the report's drive and distance as a point source goes.

    Raises:
        RecordingError: when the report holds no response or band, or measured and promised share less than an octave of
            the target's band.
    """
    promised_hz, promised, asked = _promise(report)
    low, high = max(measured.frequency_hz[0], promised_hz[0]), min(measured.frequency_hz[-1], promised_hz[-1])
    judged = (max(low, asked[0]), min(high, asked[1]))
    if judged[1] < min(2.0, 0.999 * asked[1] / asked[0]) * judged[0]:
        raise RecordingError(
            f"measured from {measured.frequency_hz[0]:.0f} to {measured.frequency_hz[-1]:.0f} Hz: too little of the "
            f"target's band, {asked[0]:.0f} to {asked[1]:.0f} Hz",
            "measure more of it: a longer gate, or another distance",
        )
    grid = np.unique(np.concatenate([[low], log_grid(low, high, PER_OCTAVE), [high]]))
    heard = _over(grid, measured.frequency_hz, measured.level_db)
    hoped = _over(grid, promised_hz, promised)
    x = np.log(grid)
    moved = float(_mean(x, hoped - heard, *judged))
    shifted = heard + moved
    bands = tuple(
        _band(k, x, shifted, hoped, spread, tolerance_db) for k in indices_within(low * 10**0.05, high * 10**-0.05)
    )
    inside = [b.deviation_db for b in bands if judged[0] <= b.nominal_hz <= judged[1]]
    left = shifted - hoped
    return ResponseComparison(
        band_hz=asked,
        judged_hz=judged,
        moved_db=moved,
        normalisation=f"moved by {moved:+.1f} dB to the same mean level from {judged[0]:.0f} to {judged[1]:.0f} Hz "
        "(decibels, each octave counting the same)",
        frequency_hz=tuple(grid.tolist()),
        measured_db=tuple(shifted.tolist()),
        promised_db=tuple(hoped.tolist()),
        bands=bands,
        worst_db=max(inside, key=abs, default=0.0),
        rms_db=float(np.sqrt(_mean(x, np.square(left), *judged))),
        within=all(b.within for b in bands if judged[0] <= b.nominal_hz <= judged[1]),
        judgements=_judge(report, x, heard, judged, asked, measured, measured_volts, measured_at_m),
        spread=spread,
    )


def _promise(report: Mapping[str, Any]) -> tuple[Real, Real, tuple[float, float]]:
    """Return frequencies and levels of the prediction, and the target's band."""
    try:
        response = report["acoustics"]["response"]
        hz, level = np.asarray(response["frequency_hz"], float), np.asarray(response["spl_db"], float)
        band = _band_asked(report)
    except (KeyError, TypeError, ValueError) as error:
        raise RecordingError("the report holds no response and target", "build the package again") from error
    if hz.ndim != 1 or len(hz) < 3 or hz.shape != level.shape or not (hz[0] > 0 and np.all(np.diff(hz) > 0)):
        raise RecordingError("the report's response is damaged", "build the package again")
    return hz, level, band


def _band_asked(report: Mapping[str, Any]) -> tuple[float, float]:
    """Return the target's band: from the report's target, or, in reports without one, the words of its ripple check."""
    target = report["acoustics"].get("target")
    if target is not None:
        return float(target["band_from_hz"]), float(target["band_to_hz"])
    words = " ".join(str(check["text"]) for check in report["checks"] if check["id"] == "ripple")
    found = re.search(r"([0-9.]{1,12}) to ([0-9.]{1,12}) Hz", words)
    if found is None:
        raise KeyError("target")
    return float(found[1]), float(found[2])


def _limit(report: Mapping[str, Any], name: str) -> float | None:
    found = [c.get("limit") for c in report.get("checks", ()) if c.get("id") == name]
    return float(found[0]) if found and found[0] is not None else None


def _over(grid: Real, frequency_hz: Any, level_db: Any) -> Real:
    return np.asarray(np.interp(np.log(grid), np.log(frequency_hz), level_db))


def _mean(x: Real, values: Real, low_hz: float, high_hz: float) -> float:
    return float(band_mean(x, values, np.log([low_hz]), np.log([high_hz]))[0])


def _band(index: int, x: Real, shifted: Real, hoped: Real, spread: Spread | None, tolerance_db: float) -> Band:
    edges = edges_hz(index)
    here, there = _mean(x, shifted, *edges), _mean(x, hoped, *edges)
    usual = None
    if spread is not None:
        at = np.exp(x)
        low = _mean(x, _over(at, spread.frequency_hz, spread.low_db), *edges)
        high = _mean(x, _over(at, spread.frequency_hz, spread.high_db), *edges)
        usual = low - 1e-9 <= here <= high + 1e-9
    within = abs(here - there) <= tolerance_db + 1e-9 or bool(usual)
    return Band(nominal_hz(index), here, there, here - there, within, usual)


def _judge(
    report: Mapping[str, Any],
    x: Real,
    heard: Real,
    judged: tuple[float, float],
    asked: tuple[float, float],
    measured: MeasuredResponse,
    volts: float | None,
    at_m: float | None,
) -> tuple[Judgement, ...]:
    part = ""
    if judged[0] > 1.01 * asked[0] or judged[1] < 0.99 * asked[1]:
        part = f", so far as measured ({judged[0]:.0f} to {judged[1]:.0f} Hz of {asked[0]:.0f} to {asked[1]:.0f} Hz)"
    return (
        _judge_level(report, x, heard, judged, measured, volts, at_m, part),
        _judge_ripple(report, x, heard, judged, part),
        Judgement(
            "relief",
            "not measurable",
            "how far the cone moves is not in its sound far away; the impedance tells how the guide is tuned",
            limit=_limit(report, "relief"),
        ),
        Judgement(
            "bass",
            "not measurable",
            "against a closed box that was not built: build one of the same outside size, or trust the prediction as "
            "far as the rest agrees",
            limit=_limit(report, "bass"),
        ),
    )


def _judge_level(
    report: Mapping[str, Any],
    x: Real,
    heard: Real,
    judged: tuple[float, float],
    measured: MeasuredResponse,
    volts: float | None,
    at_m: float | None,
    part: str,
) -> Judgement:
    limit = _limit(report, "level")
    drive = report["acoustics"].get("drive_volts")
    if not measured.absolute or volts is None or at_m is None or drive is None:
        return Judgement(
            "level",
            "not measurable",
            "only the shape was measured: the level takes a calibrated microphone, the drive in volts and the distance",
            limit=limit,
        )
    level = _mean(x, heard, *judged) + 20 * float(np.log10(drive / volts * at_m))
    text = f"mean level {level:.1f} dB at 1 m and {drive:g} V{part}"
    if limit is None:
        return Judgement("level", "kept", f"{text}; none was asked", level)
    return Judgement(
        "level", "kept" if level >= limit - 1e-9 else "missed", f"{text}; at least {limit:g} dB asked", level, limit
    )


def _judge_ripple(report: Mapping[str, Any], x: Real, heard: Real, judged: tuple[float, float], part: str) -> Judgement:
    """Return highest less lowest level, read with windows of 1/9 octave that stay within the band."""
    half = 0.5 * np.log(2.0) / NOTCH_PER_OCTAVE
    centres = np.linspace(np.log(judged[0]) + half, np.log(judged[1]) - half, 500)
    power = band_mean(x, 10.0 ** (heard / 10.0), centres - half, centres + half)
    ripple = float(10 * np.log10(power.max() / power.min()))
    limit = _limit(report, "ripple")
    text = f"{ripple:.1f} dB from top to bottom{part}, notches narrower than 1/9 octave not counted"
    if limit is None:
        return Judgement("ripple", "kept", f"{text}; none was asked", ripple)
    return Judgement(
        "ripple", "kept" if ripple <= limit + 1e-9 else "missed", f"{text}; at most {limit:g} dB asked", ripple, limit
    )
