"""A measured response beside the promised one, as sentences, numbers and a drawing."""

from __future__ import annotations

from collections.abc import Sequence

from kerfwave.learn.fit_words import signed
from kerfwave.measure.response import Band, ResponseComparison, Spread
from kerfwave.numfmt import fixed
from kerfwave.writers.lines import Area, Series
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
    low, high = comparison.judged_hz
    for band in comparison.bands:
        word = _word(band) if low <= band.nominal_hz <= high else "not judged"
        lines.append(f"  {fixed(band.nominal_hz, 1)} Hz: {signed(band.deviation_db)} dB  {word}")
    lines += [f"  {one.id}: {one.verdict}: {one.text}" for one in comparison.judgements]
    return tuple(lines)


def _word(band: Band) -> str:
    """Return what to say of a band; what is within the tolerance may still be rare among builds of this design."""
    if not band.within:
        return "out"
    return "ok" if band.usual in (None, True) else "ok; farther than eight builds in ten"


def csv_of(comparison: ResponseComparison) -> str:
    """Return both curves, one row a frequency."""
    measured, promised = comparison.measured_db, comparison.promised_db
    deviation = tuple(a - b for a, b in zip(measured, promised, strict=True))
    titles = ("frequency_hz", "measured_db", "promised_db", "deviation_db")
    return table(titles, (comparison.frequency_hz, measured, promised, deviation), (3, 3, 3, 3))


def _inside(spread: Spread, frequency_hz: Sequence[float]) -> Area:
    """Return what lies between both edges of the spread, as far as was measured."""
    rows = zip(spread.frequency_hz, spread.low_db, spread.high_db, strict=True)
    kept = [row for row in rows if frequency_hz[0] <= row[0] <= frequency_hz[-1]]
    x, low, high = (tuple(row[k] for row in kept) for k in range(3))
    return Area("8 of 10", x, low, high, 1)


def chart_of(comparison: ResponseComparison) -> str:
    """Return both curves, and between which levels eight builds in ten lie."""
    spread = comparison.spread
    return level_chart(
        (
            Series("measured", comparison.frequency_hz, comparison.measured_db, 0),
            Series("promised", comparison.frequency_hz, comparison.promised_db, 1),
        ),
        title="Response, measured and promised",
        y_label="level, dB",
        areas=() if spread is None else (_inside(spread, comparison.frequency_hz),),
        desc=f"Sound pressure level: measured, {comparison.normalisation}, and as the package promised.",
    )
