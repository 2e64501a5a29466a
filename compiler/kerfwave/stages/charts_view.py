"""The charts of the guide: what the body does beside the closed box, and the sound field beside the network."""

from __future__ import annotations

import math
from collections.abc import Mapping

from kerfwave.acoustics.targets import MOUTH_VELOCITY_M_S
from kerfwave.stages.drawn import picture_title
from kerfwave.stages.facts import Facts
from kerfwave.stages.listening_view import spread_area, where
from kerfwave.writers import charts
from kerfwave.writers.field import transfer_chart
from kerfwave.writers.guide import ChartView, Table

Columns = tuple[tuple[str, tuple[float, ...], int], ...]  # name, values, decimals


def sound_charts(facts: Facts) -> tuple[ChartView, ...]:
    """Return level, excursion, relief, impedance, group delay, and the mouth's velocity if there is one."""
    level, cone, relief = _level(facts), _cone(facts), _relief(facts)
    return (level, cone, relief, *_terminals(facts), *(_mouth(facts) if facts.built.network.mouth else ()))


def _view(facts: Facts, title: str, svg: str, text: str, columns: Columns) -> ChartView:
    """Return a chart with its numbers as a table."""
    return ChartView(title, svg, text, _table(title, facts.as_built.response.frequency_hz, columns))


def _table(title: str, frequency_hz: tuple[float, ...], columns: Columns) -> Table:
    rows = charts.table_rows(frequency_hz, [(values, decimals) for _, values, decimals in columns])
    return Table(title, ("Hz", *(name for name, _, _ in columns)), rows)


def _level(facts: Facts) -> ChartView:
    built, closed, target = facts.as_built.response, facts.as_built.closed, facts.spec.target
    place = where(facts)
    return _view(
        facts,
        "Sound pressure level",
        charts.response_chart(
            built,
            closed,
            band=(target.band_from_hz, target.band_to_hz),
            level_db=target.level_db,
            condition=place,
            spread=spread_area(facts, "level_db"),
        ),
        f"{facts.as_built.level_1m_db:.1f} dB on average in the band. {place} Eight in ten builds lie in the shade.",
        (("this body, dB", built.spl_db, 1), ("closed box, dB", closed.spl_db, 1)),
    )


def _cone(facts: Facts) -> ChartView:
    built, closed, target = facts.as_built.response, facts.as_built.closed, facts.spec.target
    return _view(
        facts,
        "Excursion of the cone",
        charts.excursion_chart(
            built,
            closed,
            limit_mm=target.excursion_mm or facts.spec.driver.xmax_mm,
            relief_band=(target.relief_from_hz, target.relief_to_hz),
            condition=where(facts),
            spread=spread_area(facts, "excursion_peak_mm"),
        ),
        f"From {target.relief_from_hz:g} to {target.relief_to_hz:g} Hz the cone "
        + ("moves less than" if facts.as_built.relief_least_db > 0.0 else "shall move less than")
        + " in the closed box.",
        (("this body, mm", built.excursion_peak_mm, 3), ("closed box, mm", closed.excursion_peak_mm, 3)),
    )


def _relief(facts: Facts) -> ChartView:
    built, closed, target = facts.as_built.response, facts.as_built.closed, facts.spec.target
    pairs = zip(built.excursion_peak_mm, closed.excursion_peak_mm, strict=True)
    relief = tuple(20 * math.log10(c / b) for b, c in pairs)
    return _view(
        facts,
        "Relief of the cone",
        charts.relief_chart(
            built.frequency_hz,
            relief,
            from_hz=target.relief_from_hz,
            to_hz=target.relief_to_hz,
            least_db=target.relief_least_db,
            spread=spread_area(facts, "relief_db"),
        ),
        "How many decibels less the cone moves than in the closed box of the same outside size.",
        (("relief, dB", relief, 2),),
    )


def _terminals(facts: Facts) -> tuple[ChartView, ...]:
    built = facts.as_built.response
    return (
        _view(
            facts,
            "Electrical impedance",
            charts.impedance_chart(built),
            "What a multimeter and a series resistor can check at the bench"
            + (": the dip between the two lowest peaks is the guide's tuning." if facts.built.network.mouth else "."),
            (("magnitude, ohm", built.impedance_ohm, 2), ("phase, degrees", built.impedance_phase_deg, 0)),
        ),
        _view(
            facts,
            "Group delay",
            charts.group_delay_chart(built),
            "Without the travel time to the listener.",
            (("ms", built.group_delay_ms, 2),),
        ),
    )


def _mouth(facts: Facts) -> tuple[ChartView, ...]:
    built = facts.as_built.response
    return (
        _view(
            facts,
            "Air velocity in the mouth",
            charts.mouth_velocity_chart(built, limit_m_s=MOUTH_VELOCITY_M_S),
            f"Below {MOUTH_VELOCITY_M_S:g} m/s it stays quiet (common practice).",
            (("m/s peak", built.mouth_velocity_peak_m_s, 3),),
        ),
    )


def field_charts(facts: Facts, files: Mapping[str, str]) -> tuple[ChartView, ...]:
    """Return the field beside the network, and its pictures; nothing if the spec leaves the field out."""
    c = facts.compared
    if c is None:
        return ()
    columns = (("sound field, dB", c.field_db, 1), ("network, dB", c.network_db, 1))
    transfer = ChartView(
        "From driver to mouth",
        transfer_chart(c.frequency_hz, c.field_db, c.network_db),
        "A check of the figures above: what comes out of the mouth for what the driver puts in, once from the network "
        "that they are computed with, once from the sound field in the air as cut.",
        _table("From driver to mouth", c.frequency_hz, columns),
    )
    pictures = tuple(
        ChartView(
            picture_title(picture),
            files[f"drawings/field-{number:02d}.svg"],
            f"Seen along the stack, at {facts.spec.drive.volts:g} V: {picture.driver_pa:.3g} Pa behind the driver, "
            f"{picture.mouth_pa:.3g} Pa in the mouth. Light is little pressure, dark is much.",
        )
        for number, picture in enumerate(c.pictures, 1)
    )
    return (transfer, *pictures)
