"""The charts of the guide: level, excursion, impedance, group delay, mouth velocity, relief; and their tables.

The level chart keeps the proportion of IEC 60263 (one decade as long as 50 dB; from memory), so that its slopes look
as they do on any data sheet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from kerfwave.model.acoustic import Response
from kerfwave.numfmt import fixed
from kerfwave.writers.chart_frame import PLOT_WIDTH, Axis
from kerfwave.writers.lines import Area, Band, Limit, Series, Stretch, line_chart

__all__ = [
    "NOMINAL_HZ",
    "Area",
    "Axis",
    "Band",
    "Limit",
    "Series",
    "Stretch",
    "bass_control_chart",
    "build_impedance_chart",
    "excursion_chart",
    "greatest_level_chart",
    "group_delay_chart",
    "impedance_chart",
    "line_chart",
    "listening_chart",
    "mouth_velocity_chart",
    "relief_chart",
    "response_chart",
    "table_rows",
]

NOMINAL_HZ = (20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000)
"""Nominal third-octave mid-band frequencies of IEC 61260-1, 20 Hz to 2 kHz: the rows of the tables beside charts."""


def response_chart(
    built: Response,
    closed: Response | None = None,
    *,
    band: tuple[float, float] | None = None,
    level_db: float | None = None,
    condition: str = "",
    spread: Area | None = None,
) -> str:
    """Return the sound pressure level, 50 dB tall; `condition` says drive, distance and space in words."""
    series = _pair(built, closed, "spl_db")
    top = 5 * math.ceil((_highest(series) + 2) / 5)
    return line_chart(
        series,
        title="Sound pressure level",
        y_label="level, dB re 20 µPa",
        y_from=top - 50.0,
        y_to=float(top),
        height=PLOT_WIDTH / 2,  # two decades across, one decade's worth of decibels up
        bands=() if band is None else (Band(*band, "band asked for"),),
        limits=() if level_db is None else (Limit(level_db, f"asked: {fixed(level_db, 1)} dB"),),
        areas=() if spread is None else (spread,),
        desc=f"Sound pressure level of this body{_beside(closed)}, 20 Hz to 2 kHz. {condition}",
        ident="chart-response",
    )


def excursion_chart(
    built: Response,
    closed: Response | None = None,
    *,
    limit_mm: float | None = None,
    relief_band: tuple[float, float] | None = None,
    condition: str = "",
    spread: Area | None = None,
) -> str:
    """Return how far the cone moves, peak, one way, 20 to 500 Hz."""
    return line_chart(
        _pair(built, closed, "excursion_peak_mm"),
        title="Excursion of the cone",
        y_label="peak excursion, mm",
        y_from=0.0,
        x_to=500.0,
        bands=() if relief_band is None else (Band(*relief_band, "cone moves less here"),),
        limits=() if limit_mm is None else (Limit(limit_mm, f"limit {fixed(limit_mm, 1)} mm"),),
        areas=() if spread is None else (spread,),
        desc=f"Peak excursion of the cone in this body{_beside(closed)}, 20 to 500 Hz. {condition}",
        ident="chart-excursion",
    )


def impedance_chart(built: Response) -> str:
    """Return the magnitude of the electrical impedance, and its phase on the right-hand scale."""
    magnitude = Series("magnitude", built.frequency_hz, built.impedance_ohm, 0)
    phase = Series("phase", built.frequency_hz, built.impedance_phase_deg, 1, "right")
    return line_chart(
        (magnitude, phase),
        title="Electrical impedance",
        y_label="impedance, ohm",
        y_from=0.0,
        right=Axis("phase, degrees", -90.0, 90.0, 45.0),
        desc="Magnitude of the impedance at the terminals (left scale) and its phase (right scale), 20 Hz to 2 kHz.",
        ident="chart-impedance",
    )


def group_delay_chart(built: Response) -> str:
    """Return the group delay of the sound pressure, without the travel time to the listener."""
    return line_chart(
        (Series("this body", built.frequency_hz, built.group_delay_ms, 0),),
        title="Group delay",
        y_label="group delay, ms",
        desc="Group delay of the sound pressure, without the travel time to the listener, 20 Hz to 2 kHz.",
        ident="chart-delay",
    )


def mouth_velocity_chart(built: Response, *, limit_m_s: float | None = None) -> str:
    """Return the peak velocity of the air in the mouth."""
    return line_chart(
        (Series("mouth", built.frequency_hz, built.mouth_velocity_peak_m_s, 0),),
        title="Air velocity in the mouth",
        y_label="peak velocity, m/s",
        y_from=0.0,
        x_to=500.0,
        limits=() if limit_m_s is None else (Limit(limit_m_s, f"limit {fixed(limit_m_s, 1)} m/s"),),
        desc="Peak velocity of the air in the mouth, 20 to 500 Hz.",
        ident="chart-mouth",
    )


def relief_chart(
    frequency_hz: tuple[float, ...],
    relief_db: tuple[float, ...],
    *,
    from_hz: float | None = None,
    to_hz: float | None = None,
    least_db: float | None = None,
    spread: Area | None = None,
) -> str:
    """Return the relief: excursion in the closed box over excursion in this body, in dB. Above 0 dB it moves less."""
    limits = [Limit(0.0, "same as closed box")]
    if least_db is not None and least_db > 0:
        limits.append(Limit(least_db, f"asked: {fixed(least_db, 1)} dB"))
    return line_chart(
        (Series("relief", frequency_hz, relief_db, 0),),
        title="Relief of the cone",
        y_label="relief, dB",
        x_to=500.0,
        bands=() if from_hz is None or to_hz is None else (Band(from_hz, to_hz, "band asked for"),),
        limits=limits,
        areas=() if spread is None else (spread,),
        desc="Relief in decibels, 20 to 500 Hz: excursion of the cone in the closed box of the same outside size over "
        "its excursion in this body.",
        ident="chart-relief",
    )


def listening_chart(
    frequency_hz: tuple[float, ...],
    heard_db: tuple[float, ...],
    plain_db: tuple[float, ...],
    *,
    band: tuple[float, float] | None = None,
    condition: str = "",
) -> str:
    """Return what arrives at the listening place beside the plain sum, 50 dB tall, from 20 Hz to the data's end."""
    series = (
        Series("heard", frequency_hz, heard_db, 0),
        Series("plain sum", frequency_hz, plain_db, 1),
    )
    end = frequency_hz[-1]
    top = 5 * math.ceil((_highest(series) + 2) / 5)
    return line_chart(
        series,
        title="At the listening place",
        y_label="level, dB re 20 µPa",
        y_from=top - 50.0,
        y_to=float(top),
        x_to=end,
        height=PLOT_WIDTH / math.log10(end / 20.0),
        bands=() if band is None else (Band(*band, "band asked for"),),
        desc=f"Level at the listening place with the edges of the body, the wall behind it and the true places of cone "
        f"and mouth, beside the plain sum of both, from 20 Hz to {fixed(end / 1e3, 0)} kHz. {condition}",
        ident="chart-listening",
    )


def greatest_level_chart(
    frequency_hz: tuple[float, ...],
    level_db: tuple[float, ...],
    strip: tuple[tuple[float, float, str], ...],
    closed_db: tuple[float, ...] | None = None,
    *,
    condition: str = "",
) -> str:
    """Return the greatest level, 60 dB tall; `strip` tells from where to where which limit sets it."""
    series = [Series("this body", frequency_hz, level_db, 0)]
    if closed_db is not None:
        series.append(Series("closed box", frequency_hz, closed_db, 1))
    top = 5 * math.ceil((_highest(tuple(series)) + 2) / 5)
    set_by = "; ".join(f"{name} from {fixed(a, 0)} to {fixed(b, 0)} Hz" for a, b, name in strip)
    return line_chart(
        tuple(series),
        title="Greatest level",
        y_label="level, dB re 20 µPa",
        y_from=top - 60.0,
        y_to=float(top),
        height=PLOT_WIDTH * 0.6,
        strip=tuple(Stretch(*stretch) for stretch in strip),
        desc=f"Greatest level in steady tones, 20 Hz to 2 kHz. Set by {set_by}. {condition}",
        ident="chart-greatest",
    )


def bass_control_chart(
    frequency_hz: tuple[float, ...],
    here_mm: tuple[float, ...],
    closed_mm: tuple[float, ...],
    *,
    limit_mm: float,
    relief_band: tuple[float, float] | None = None,
    condition: str = "",
) -> str:
    """Return the excursions with a bass tone control, 20 to 500 Hz."""
    return line_chart(
        (Series("this body", frequency_hz, here_mm, 0), Series("closed box", frequency_hz, closed_mm, 1)),
        title="Excursion with a bass control",
        y_label="peak excursion, mm",
        y_from=0.0,
        x_to=500.0,
        bands=() if relief_band is None else (Band(*relief_band, "cone moves less here"),),
        limits=(Limit(limit_mm, f"limit {fixed(limit_mm, 1)} mm"),),
        desc="Peak excursion of the cone with a bass tone control, in this body and in the closed box of the same "
        f"outside size, 20 to 500 Hz. {condition}",
        ident="chart-bass-control",
    )


def build_impedance_chart(frequency_hz: tuple[float, ...], middle_ohm: tuple[float, ...], area: Area) -> str:
    """Return the magnitude of the impedance as it comes out from build to build."""
    return line_chart(
        (Series("middle", frequency_hz, middle_ohm, 0),),
        title="Impedance from build to build",
        y_label="impedance, ohm",
        y_from=0.0,
        areas=(area,),
        desc="Magnitude of the impedance at the terminals, 20 Hz to 2 kHz: the middle of many builds of this design, "
        "and where eight in ten of them lie.",
        ident="chart-builds",
    )


def table_rows(
    x: Sequence[float], columns: Sequence[tuple[Sequence[float], int]], at: Sequence[float] = NOMINAL_HZ
) -> tuple[tuple[str, ...], ...]:
    """Return rows of text for the table beside a chart: the values (with their decimals) at nominal frequencies.

    Each row shows the computed point nearest to its frequency, so nothing is interpolated; frequencies outside the
    data are left out.
    """
    rows = []
    for hz in at:
        if not x or not x[0] * 0.97 <= hz <= x[-1] * 1.03:
            continue
        i = min(range(len(x)), key=lambda k: abs(math.log(x[k] / hz)))
        rows.append((fixed(hz, 1), *(fixed(values[i], decimals) for values, decimals in columns)))
    return tuple(rows)


def _pair(built: Response, closed: Response | None, field: str) -> tuple[Series, ...]:
    series = [Series("this body", built.frequency_hz, getattr(built, field), 0)]
    if closed is not None:
        series.append(Series("closed box", closed.frequency_hz, getattr(closed, field), 1))
    return tuple(series)


def _beside(closed: Response | None) -> str:
    return "" if closed is None else " and of the closed box of the same outside size"


def _highest(series: tuple[Series, ...]) -> float:
    return max(y for s in series for x, y in zip(s.x, s.y, strict=True) if 20 <= x <= 2000)
