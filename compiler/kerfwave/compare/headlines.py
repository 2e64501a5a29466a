"""The numbers that a maker looks at first, and how to read each of them off a report.

A reader returns None where the report does not have what it needs; a number that only one report has is a
difference too.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

Report = Mapping[str, Any]

BAND_HZ = (100.0, 700.0)  # where a report does not say which band was asked for
CORNER_DB = 6.0  # the usual "-6 dB" point of a bass reach
EXCURSION_FROM_HZ = 20.0
BASS_HZ = 100  # of the frequencies that a report gives its greatest level at
STEPS_PER_OCTAVE = 12


@dataclass(frozen=True, slots=True)
class Headline:
    """One row of the table."""

    name: str
    unit: str
    decimals: int
    up: str  # the word when B has more of it
    down: str
    read: Callable[[Report], float | None]
    covers: str  # the part of the report that it speaks for


def _at(*path: str, scale: float = 1.0) -> Callable[[Report], float | None]:
    """Return a reader of one number."""

    def read(report: Report) -> float | None:
        value = _dig(report, *path)
        return _number(value, scale)

    return read


def _count(*path: str) -> Callable[[Report], float | None]:
    """Return a reader of how many there are: the length of a list, or the number itself."""

    def read(report: Report) -> float | None:
        value = _dig(report, *path)
        return float(len(value)) if isinstance(value, list) else _number(value)

    return read


def _sum(*path: str, field: str, scale: float = 1.0) -> Callable[[Report], float | None]:
    def read(report: Report) -> float | None:
        entries = _dig(report, *path)
        if not isinstance(entries, list):
            return None
        numbers = [_number(entry.get(field) if isinstance(entry, Mapping) else None) for entry in entries]
        known = [number for number in numbers if number is not None]
        return math.fsum(known) * scale if len(known) == len(numbers) else None

    return read


def _dig(report: Any, *path: str) -> Any:
    for step in path:
        report = report.get(step) if isinstance(report, Mapping) else None
    return report


def _number(value: Any, scale: float = 1.0) -> float | None:
    return float(value) * scale if isinstance(value, (int, float)) and not isinstance(value, bool) else None


def curve(report: Report, name: str) -> tuple[list[float], list[float]] | None:
    """Return (frequencies in Hz, values) of one curve of the as-built response, if it is there and sound."""
    frequencies, values = (_dig(report, "acoustics", "response", key) for key in ("frequency_hz", name))
    if not isinstance(frequencies, list) or not isinstance(values, list) or len(frequencies) != len(values):
        return None
    pairs = [(_number(f), _number(v)) for f, v in zip(frequencies, values, strict=True)]
    known = [(f, v) for f, v in pairs if f is not None and v is not None and f > 0]
    if len(known) < 2 or len(known) != len(pairs) or any(a[0] >= b[0] for a, b in pairwise(known)):
        return None
    return [f for f, _ in known], [v for _, v in known]


def value_at(frequencies: Sequence[float], values: Sequence[float], frequency_hz: float) -> float:
    """Return a curve's value at a frequency, straight between its points on a logarithmic axis.

    >>> value_at([100.0, 400.0], [80.0, 86.0], 200.0)
    83.0
    """
    right = min(max(bisect.bisect_left(frequencies, frequency_hz), 1), len(frequencies) - 1)
    low, high = frequencies[right - 1], frequencies[right]
    share = min(max(math.log(frequency_hz / low) / math.log(high / low), 0.0), 1.0)
    return values[right - 1] + share * (values[right] - values[right - 1])


def steps(low_hz: float, high_hz: float) -> list[float]:
    """Return frequencies twelve to the octave, both ends included."""
    count = max(round(STEPS_PER_OCTAVE * math.log2(high_hz / low_hz)), 1)
    return [low_hz * (high_hz / low_hz) ** (index / count) for index in range(count + 1)]


def band_level(report: Report) -> float | None:
    """Return the mean level in dB over the band, each twelfth of an octave counting alike."""
    known = curve(report, "spl_db")
    if known is None or known[0][0] > BAND_HZ[0] or known[0][-1] < BAND_HZ[1]:
        return None
    at = steps(*BAND_HZ)
    return math.fsum(value_at(*known, f) for f in at) / len(at)


def bass_corner(report: Report) -> float | None:
    """Return the frequency in Hz where, coming down from the band, the level first falls 6 dB below the band's mean."""
    known, level = curve(report, "spl_db"), band_level(report)
    if known is None or level is None:
        return None
    frequencies, values = known
    limit = level - CORNER_DB
    last = bisect.bisect_right(frequencies, math.sqrt(BAND_HZ[0] * BAND_HZ[1])) - 1
    for index in range(last, 0, -1):
        below, above = values[index - 1], values[index]
        if below < limit <= above:
            share = (limit - below) / (above - below)
            return float(frequencies[index - 1] * (frequencies[index] / frequencies[index - 1]) ** share)
    return None


def greatest_excursion(report: Report) -> float | None:
    """Return the largest cone excursion in mm from 20 Hz up, peak, at the report's drive."""
    known = curve(report, "excursion_peak_mm")
    found = [v for f, v in zip(*known, strict=True) if f >= EXCURSION_FROM_HZ] if known else []
    return max(found, default=None)


def least_impedance(report: Report) -> float | None:
    """Return the lowest impedance in ohm that the amplifier sees."""
    known = curve(report, "impedance_ohm")
    return min(known[1]) if known else None


def greatest_level(report: Report) -> float | None:
    """Return how loud it goes at `BASS_HZ`, in dB, before cone, amplifier or mouth says stop."""
    rows = _dig(report, "acoustics", "limits", "loudest")
    for row in rows if isinstance(rows, list) else ():
        if isinstance(row, Mapping) and row.get("frequency_hz") == BASS_HZ:
            return _number(row.get("level_db"))
    return None


def _outside(axis: int) -> Callable[[Report], float | None]:
    """Return a reader of the outside size across the stack, in body coordinates."""

    def read(report: Report) -> float | None:
        pieces = report.get("pieces")
        if not isinstance(pieces, list):
            return None
        found = [p[axis] for piece in pieces if piece.get("layer") is not None for p in piece["outline"]]
        return float(max(found) - min(found)) if found else None

    return read


_RESPONSE = "acoustics.response"
_FIGURES = ("acoustics", "figures")
_COVERED = "acoustics.figures"
HEADLINES = (
    Headline(f"mean level, {BAND_HZ[0]:g} to {BAND_HZ[1]:g} Hz", "dB", 1, "louder", "quieter", band_level, _RESPONSE),
    Headline("bass corner (-6 dB)", "Hz", 1, "less deep", "deeper", bass_corner, _RESPONSE),
    Headline("greatest excursion", "mm", 2, "moves more", "moves less", greatest_excursion, _RESPONSE),
    Headline("least impedance", "ohm", 1, "higher", "lower", least_impedance, _RESPONSE),
    Headline("ripple in the band asked", "dB", 1, "less even", "more even", _at(*_FIGURES, "ripple_db"), _COVERED),
    Headline(
        "bass against the closed box", "dB", 1, "more bass", "less bass", _at(*_FIGURES, "bass_gain_db"), _COVERED
    ),
    Headline("air in the mouth", "m/s", 1, "faster", "slower", _at(*_FIGURES, "mouth_velocity_peak_m_s"), _COVERED),
    Headline(
        f"greatest level at {BASS_HZ} Hz", "dB", 1, "goes louder", "goes less loud", greatest_level, "acoustics.limits"
    ),
    Headline(
        "builds that keep the target",
        "%",
        0,
        "more",
        "fewer",
        _at("acoustics", "spread", "kept", scale=100.0),
        "acoustics.spread",
    ),
    Headline(
        "least relief in the band",
        "dB",
        1,
        "more relief",
        "less relief",
        _at("acoustics", "relief", "least_db"),
        "acoustics.relief",
    ),
    Headline(
        "chamber",
        "l",
        3,
        "larger",
        "smaller",
        _at("acoustics", "network", "chamber_m3", scale=1e3),
        "acoustics.network",
    ),
    Headline(
        "guide length",
        "mm",
        1,
        "longer",
        "shorter",
        _sum("acoustics", "network", "guide", field="length_m", scale=1e3),
        "acoustics.network",
    ),
    Headline(
        "mouth",
        "cm2",
        2,
        "larger",
        "smaller",
        _at("acoustics", "network", "mouth", "area_m2", scale=1e4),
        "acoustics.network",
    ),
    Headline("outside width", "mm", 1, "wider", "narrower", _outside(0), "pieces"),
    Headline("outside depth", "mm", 1, "larger", "smaller", _outside(1), "pieces"),
    Headline("stack", "mm", 2, "taller", "lower", _sum("layers", field="thickness_mm"), "layers"),
    Headline("layers", "", 0, "more", "fewer", _count("layers"), "layers"),
    Headline("pieces", "", 0, "more", "fewer", _count("pieces"), "pieces"),
    Headline("wood in the pieces", "kg", 2, "heavier", "lighter", _sum("pieces", field="mass_g", scale=1e-3), "pieces"),
    Headline("sheets", "", 0, "more sheets", "fewer sheets", _count("nest", "sheets"), "nest"),
    Headline("sheet in use", "%", 1, "fuller", "emptier", _at("nest", "utilisation", scale=100.0), "nest"),
    Headline("passes", "", 0, "more", "fewer", _at("recipe", "passes"), "recipe"),
    Headline("feed", "mm/min", 0, "faster", "slower", _at("recipe", "feed_mm_min"), "recipe"),
    Headline("power", "%", 1, "stronger", "weaker", _at("recipe", "power_percent"), "recipe"),
    Headline("kerf", "mm", 3, "wider", "narrower", _at("recipe", "kerf_mm"), "recipe"),
    Headline("cut length", "m", 2, "longer", "shorter", _at("cut", "length_mm", scale=1e-3), "cut"),
    Headline("travel", "m", 2, "longer", "shorter", _at("cut", "travel_mm", scale=1e-3), "cut"),
    Headline("machine time", "min", 1, "longer", "shorter", _at("cut", "time_s", scale=1 / 60), "cut"),
    Headline("energy from the wall", "kWh", 2, "more", "less", _at("cut", "electric_kwh"), "cut"),
    Headline("bridges", "", 0, "more", "fewer", _count("cut", "bridges"), "cut"),
)
