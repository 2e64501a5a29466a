"""What the guide shows of the filters before the amplifier: their numbers, and the sound and the cone with them."""

from __future__ import annotations

from kerfwave.stages.sound import Sound
from kerfwave.writers.charts import NOMINAL_HZ, table_rows
from kerfwave.writers.guide_model import ChartView, Table
from kerfwave.writers.lines import Limit, Series, line_chart


def shaping_charts(sound: Sound) -> tuple[ChartView, ...]:
    """Return the charts with and without the filters; nothing where none are asked for."""
    shaped, built = sound.shaped, sound.as_built.response
    if shaped is None:
        return ()
    limit = sound.target.excursion_mm or sound.driver.xmax_mm
    rows = tuple(
        (str(n), b.kind, f"{b.frequency_hz:g}", f"{b.q:.2f}", f"{b.gain_db:+.1f}" if b.gain_db else "0")
        for n, b in enumerate(shaped.filters, 1)
    )
    top = 5 * (int(max(*built.spl_db, *shaped.spl_db)) // 5 + 1)
    level = line_chart(
        (
            Series("with filters", shaped.frequency_hz, shaped.spl_db, 0),
            Series("without", built.frequency_hz, built.spl_db, 1),
        ),
        title="Level with the filters",
        y_label="level, dB re 20 µPa",
        y_from=top - 40.0,
        y_to=float(top),
        limits=(Limit(shaped.level_db, "aimed at"),),
        desc="Sound pressure level with and without the filters before the amplifier, 20 Hz to 2 kHz.",
        ident="chart-shaped-level",
    )
    cone = line_chart(
        (
            Series("with filters", shaped.frequency_hz, shaped.excursion_peak_mm, 0),
            Series("without", built.frequency_hz, built.excursion_peak_mm, 1),
        ),
        title="Excursion with the filters",
        y_label="peak excursion, mm",
        y_from=0.0,
        x_to=500.0,
        limits=(Limit(limit, f"limit {limit:g} mm"),),
        desc="Peak excursion of the cone with and without the filters, 20 to 500 Hz.",
        ident="chart-shaped-cone",
    )
    columns = [(shaped.excursion_peak_mm, 3), (built.excursion_peak_mm, 3)]
    return (
        ChartView(
            "Level with the filters",
            level,
            f"Within {shaped.ripple_db:.1f} dB in the band, down to {shaped.reach_hz:.0f} Hz (-3 dB). The filters take "
            f"up to {shaped.most_volts:.1f} V where they boost most. The files filters/shaping hold coefficients for "
            f"{sound.sample_rate_hz:g} Hz.",
            Table("The filters, one after the other", ("No.", "kind", "Hz", "Q", "dB"), rows),
        ),
        ChartView(
            "Excursion with the filters",
            cone,
            f"At most {shaped.most_excursion_mm:.2f} mm: the high-pass spares the cone below the guide.",
            Table(
                "Excursion with the filters",
                ("Hz", "with, mm", "without, mm"),
                table_rows(shaped.frequency_hz, columns, [hz for hz in NOMINAL_HZ if hz <= 500]),
            ),
        ),
    )
