"""The charts of the guide: what the body does beside the closed box, and the sound field beside the network."""

from __future__ import annotations

import math

from kerfwave.acoustics.targets import MOUTH_VELOCITY_M_S
from kerfwave.stages.listening_view import spread_area, where
from kerfwave.stages.sound import Sound
from kerfwave.writers import charts
from kerfwave.writers.field import transfer_chart
from kerfwave.writers.guide_model import ChartView, Table
from kerfwave.writers.lines import Series, line_chart

Columns = tuple[tuple[str, tuple[float, ...], int], ...]  # name, values, decimals


def sound_charts(sound: Sound) -> tuple[ChartView, ...]:
    """Return level, excursion, relief, impedance, group delay, and the mouth's velocity if there is one."""
    level, cone, relief = _level(sound), _cone(sound), _relief(sound)
    return (level, cone, relief, *_terminals(sound), *(_mouth(sound) if sound.network.mouth else ()))


def _view(sound: Sound, title: str, svg: str, text: str, columns: Columns) -> ChartView:
    """Return a chart with its numbers as a table."""
    return ChartView(title, svg, text, _table(title, sound.as_built.response.frequency_hz, columns))


def _table(title: str, frequency_hz: tuple[float, ...], columns: Columns) -> Table:
    rows = charts.table_rows(frequency_hz, [(values, decimals) for _, values, decimals in columns])
    return Table(title, ("Hz", *(name for name, _, _ in columns)), rows)


def _level(sound: Sound) -> ChartView:
    built, closed, target = sound.as_built.response, sound.as_built.closed, sound.target
    place = where(sound)
    return _view(
        sound,
        "Sound pressure level",
        charts.response_chart(
            built,
            closed,
            band=(target.band_from_hz, target.band_to_hz),
            level_db=target.level_db,
            condition=place,
            spread=spread_area(sound, "level_db"),
        ),
        f"{sound.as_built.level_1m_db:.1f} dB on average in the band. {place} Eight in ten builds lie in the shade.",
        (("this body, dB", built.spl_db, 1), ("closed box, dB", closed.spl_db, 1)),
    )


def _cone(sound: Sound) -> ChartView:
    built, closed, target = sound.as_built.response, sound.as_built.closed, sound.target
    return _view(
        sound,
        "Excursion of the cone",
        charts.excursion_chart(
            built,
            closed,
            limit_mm=target.excursion_mm or sound.driver.xmax_mm,
            relief_band=(target.relief_from_hz, target.relief_to_hz),
            condition=where(sound),
            spread=spread_area(sound, "excursion_peak_mm"),
        ),
        f"From {target.relief_from_hz:g} to {target.relief_to_hz:g} Hz the cone "
        + ("moves less than" if sound.as_built.relief_least_db > 0.0 else "shall move less than")
        + " in the closed box.",
        (("this body, mm", built.excursion_peak_mm, 3), ("closed box, mm", closed.excursion_peak_mm, 3)),
    )


def _relief(sound: Sound) -> ChartView:
    built, closed, target = sound.as_built.response, sound.as_built.closed, sound.target
    pairs = zip(built.excursion_peak_mm, closed.excursion_peak_mm, strict=True)
    relief = tuple(20 * math.log10(c / b) for b, c in pairs)
    return _view(
        sound,
        "Relief of the cone",
        charts.relief_chart(
            built.frequency_hz,
            relief,
            from_hz=target.relief_from_hz,
            to_hz=target.relief_to_hz,
            least_db=target.relief_least_db,
            spread=spread_area(sound, "relief_db"),
        ),
        "How many decibels less the cone moves than in the closed box of the same outside size.",
        (("relief, dB", relief, 2),),
    )


def _terminals(sound: Sound) -> tuple[ChartView, ...]:
    built = sound.as_built.response
    return (
        _view(
            sound,
            "Electrical impedance",
            charts.impedance_chart(built),
            "What a multimeter and a series resistor can check at the bench"
            + (": the dip between the two lowest peaks is the guide's tuning." if sound.network.mouth else "."),
            (("magnitude, ohm", built.impedance_ohm, 2), ("phase, degrees", built.impedance_phase_deg, 0)),
        ),
        _view(
            sound,
            "Group delay",
            charts.group_delay_chart(built),
            "Without the travel time to the listener.",
            (("ms", built.group_delay_ms, 2),),
        ),
    )


def _mouth(sound: Sound) -> tuple[ChartView, ...]:
    built = sound.as_built.response
    return (
        _view(
            sound,
            "Air velocity in the mouth",
            charts.mouth_velocity_chart(built, limit_m_s=MOUTH_VELOCITY_M_S),
            f"Below {MOUTH_VELOCITY_M_S:g} m/s it stays quiet (common practice).",
            (("m/s peak", built.mouth_velocity_peak_m_s, 3),),
        ),
    )


def measured_charts(sound: Sound) -> tuple[ChartView, ...]:
    """Return the promised response beside that of the network with the measured values."""
    built, heard = sound.as_built.response, sound.as_measured
    if heard is None:
        return ()
    top = 5 * (int(max(*built.spl_db, *heard.spl_db)) // 5 + 1)
    svg = line_chart(
        (
            Series("as measured", heard.frequency_hz, heard.spl_db, 0),
            Series("as promised", built.frequency_hz, built.spl_db, 1),
        ),
        title="Level, as measured and as promised",
        y_label="level, dB re 20 µPa",
        y_from=top - 50.0,
        y_to=float(top),
        desc="Sound pressure level of the network with the measured values, beside the promised one, 20 Hz to 2 kHz.",
        ident="chart-learned",
    )
    columns = [(heard.spl_db, 1), (built.spl_db, 1)]
    return (
        ChartView(
            "Level, as measured and as promised",
            svg,
            "Computed from the same network with the values that were measured on the finished speaker.",
            Table(
                "Level, as measured and as promised",
                ("Hz", "measured, dB", "promised, dB"),
                charts.table_rows(heard.frequency_hz, columns),
            ),
        ),
    )


def field_charts(sound: Sound) -> tuple[ChartView, ...]:
    """Return the field beside the network; nothing if the spec leaves the field out."""
    c = sound.compared
    if c is None:
        return ()
    columns = (("sound field, dB", c.field_db, 1), ("network, dB", c.network_db, 1))
    return (
        ChartView(
            "From driver to mouth",
            transfer_chart(c.frequency_hz, c.field_db, c.network_db),
            "A check of the figures above: what comes out of the mouth for what the driver puts in, once from the "
            "network that they are computed with, once from the sound field in the air as cut.",
            _table("From driver to mouth", c.frequency_hz, columns),
        ),
    )
