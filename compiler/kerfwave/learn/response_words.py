"""A measured response beside the promised one, as sentences, numbers and a drawing."""

from __future__ import annotations

from kerfwave.learn.fit_words import signed
from kerfwave.measure.response import ResponseComparison
from kerfwave.numfmt import fixed
from kerfwave.writers.lines import Series
from kerfwave.writers.measured import level_chart, table


def text_of(comparison: ResponseComparison) -> tuple[str, ...]:
    """Return what to say, verdict first."""
    kept = comparison.within and all(one.verdict != "missed" for one in comparison.judgements)
    lines = [
        f"verdict: the response {'keeps' if kept else 'does not keep'} its promise.",
        f"measured response: {comparison.normalisation}.",
        f"over the judged band it strays {fixed(comparison.rms_db, 1)} dB (root mean square), by third octaves "
        f"{signed(comparison.worst_db)} dB at most.",
    ]
    lines += [
        f"  {fixed(band.nominal_hz, 1)} Hz: {signed(band.deviation_db)} dB  {'ok' if band.within else 'out'}"
        for band in comparison.bands
    ]
    lines += [f"  {one.id}: {one.verdict}: {one.text}" for one in comparison.judgements]
    return tuple(lines)


def csv_of(comparison: ResponseComparison) -> str:
    """Return both curves, one row a frequency."""
    measured, promised = comparison.measured_db, comparison.promised_db
    deviation = tuple(a - b for a, b in zip(measured, promised, strict=True))
    titles = ("frequency_hz", "measured_db", "promised_db", "deviation_db")
    return table(titles, (comparison.frequency_hz, measured, promised, deviation), (3, 3, 3, 3))


def chart_of(comparison: ResponseComparison) -> str:
    """Return both curves."""
    return level_chart(
        (
            Series("measured", comparison.frequency_hz, comparison.measured_db, 0),
            Series("promised", comparison.frequency_hz, comparison.promised_db, 1),
        ),
        title="Response, measured and promised",
        y_label="level, dB",
        desc=f"Sound pressure level: measured, {comparison.normalisation}, and as the package promised.",
    )
