"""What the guide shows of the measurements: the values with their dates, and the response with them put in."""

from __future__ import annotations

from kerfwave.numfmt import fixed
from kerfwave.stages.facts import Facts
from kerfwave.writers.charts import table_rows
from kerfwave.writers.guide import ChartView, Table
from kerfwave.writers.lines import Series, line_chart


def learned_tables(facts: Facts) -> tuple[Table, ...]:
    """Return the table of what was measured; nothing where nothing was."""
    values = facts.learned.measured.values
    if not values:
        return ()
    rows = tuple(
        (
            v.meaning,
            fixed(v.value, 3),
            "" if v.standard is None else f"± {fixed(v.standard, 3)}",
            "" if v.unit == "1" else v.unit,
            v.date,
            v.source,
        )
        for v in values
    )
    return (Table("What was measured on the finished speaker", ("What", "Value", "", "Unit", "Date", "From"), rows),)


def learned_charts(facts: Facts) -> tuple[ChartView, ...]:
    """Return the promised response beside that of the network with the measured values."""
    built, heard = facts.as_built.response, facts.learned.response
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
                table_rows(heard.frequency_hz, columns),
            ),
        ),
    )
