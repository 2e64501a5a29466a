"""A comparison with the promise as sentences, as a table of numbers, as plain data and as drawings."""

from __future__ import annotations

from typing import Any

from kerfwave.learn.fit_words import plus_minus, signed
from kerfwave.measure.fit import Estimate
from kerfwave.measure.promise import WORDS, Comparison, Finding, Mark
from kerfwave.numfmt import fixed
from kerfwave.writers.lines import Band, Series, line_chart
from kerfwave.writers.measured import table
from kerfwave.writers.words import significant

CSV_TITLES = (
    *("frequency_hz", "measured_ohm", "measured_deg", "promised_ohm", "promised_deg", "as_built_ohm", "as_built_deg"),
    *("deviation_percent", "unexplained_percent"),
)


def text_of(comparison: Comparison) -> tuple[str, ...]:
    """Return what to say, verdict first."""
    off = f"{fixed(comparison.tolerance_percent, 1)} %"
    lines = [
        f"verdict: the body keeps its promise: no peak or dip of the impedance is surely more than {off} off."
        if comparison.within
        else f"verdict: the body does not keep its promise: not every peak and dip of the impedance is within {off}."
    ]
    tuning = comparison.tuning
    if tuning is not None and tuning.measured is not None and tuning.percent is not None:
        lines.append(
            f"tuning: {_pm(tuning.measured)} Hz measured, "
            f"{significant(tuning.promised_hz, 4)} Hz promised ({signed(tuning.percent.value)} %)."
        )
    lines += [_mark_line(mark, comparison.tolerance_percent) for mark in comparison.marks]
    lines += [f"  {one.kind} at {significant(one.hz, 4)} Hz: measured, but not promised" for one in comparison.extra]
    lines.append(
        f"over the band the impedance strays {fixed(comparison.deviation_percent, 1)} % from the promise (root mean "
        f"square); the as-built values below leave {fixed(comparison.explained.residual_percent, 1)} %."
    )
    lines += _causes(comparison)
    worst = max(range(len(comparison.effect.level_db)), key=lambda i: (abs(comparison.effect.level_db[i]), -i))
    lines.append(
        f"what that does to the sound, by the network: {signed(comparison.effect.level_db[worst])} dB at "
        f"{significant(comparison.effect.frequency_hz[worst], 3)} Hz at most, excursion "
        f"{signed(max(comparison.effect.excursion_db))} dB at most."
    )
    lines += [f"doubt: {doubt}." for doubt in comparison.doubts]
    return tuple(lines)


def _pm(estimate: Estimate) -> str:
    """Return "63.1 ± 0.4", for k = 2."""
    return " ± ".join(plus_minus(estimate))


def _mark_line(mark: Mark, tolerance: float) -> str:
    if mark.measured is None or mark.percent is None:
        note = "it was to be weak, so that proves nothing" if mark.weak else "it is missing"
        return f"  {mark.name}: promised at {significant(mark.promised_hz, 4)} Hz, none measured near it: {note}"
    sign = "out" if not mark.keeps(tolerance) else "ok"
    if sign == "ok" and abs(mark.percent.value) > tolerance:
        sign = "may be out: its uncertainty is too large to tell"
    return (
        f"  {mark.name}: {_pm(mark.measured)} Hz, promised "
        f"{significant(mark.promised_hz, 4)} Hz, {signed(mark.percent.value)} %  {sign}"
    )


def _causes(comparison: Comparison) -> list[str]:
    clear = [f for f in comparison.findings if f.clear]
    clear.sort(key=lambda f: -abs(f.tuning_percent or 0.0))
    lines = ["as built, by least squares on the network (± is for k = 2, about 95 %):"]
    lines += [_finding_line(one) for one in comparison.findings]
    if not clear:
        lines.append("nothing differs from the promise by more than chance.")
    else:
        moving = [f for f in clear if abs(f.tuning_percent or 0.0) >= 0.1]
        if moving:
            said = ", ".join(f"{WORDS[f.key]} {signed(f.tuning_percent or 0.0)} %" for f in moving)
            lines.append(f"what moves the tuning, each alone: {said}.")
    return lines


def _finding_line(one: Finding) -> str:
    unit = f" {one.unit}" if one.unit else ""
    if one.key == "leak":
        promised = "tight" if one.promised <= 0.0 else f"QL {fixed(1.0 / one.promised, 1)}"
        if not one.clear and one.promised <= 0.0:
            least = one.found.value + 2.0 * one.found.standard
            return f"  leak: none to be seen (QL above {fixed(1.0 / max(least, 1e-3), 0)}); promised {promised}"
        ql = 1.0 / max(one.found.value, 1e-6)
        return f"  leak: 1/QL {_pm(one.found)}, QL about {significant(ql, 2)}; promised {promised}"
    assert one.percent is not None  # only the leak has none
    chance = "" if one.clear else " (may be chance)"
    return (
        f"  {one.name}: {_pm(one.found)}{unit}, promised {significant(one.promised, 4)}{unit}, "
        f"{signed(one.percent.value)} ± {2.0 * one.percent.standard:.1f} %{chance}"
    )


def csv_of(comparison: Comparison) -> str:
    """Return the curves: one row a measured frequency."""
    over = comparison.overlay
    columns: tuple[tuple[float | None, ...], ...] = (
        over.frequency_hz,
        over.measured_ohm,
        over.measured_degrees or (None,) * len(over.frequency_hz),
        over.promised_ohm,
        over.promised_degrees,
        over.explained_ohm,
        over.explained_degrees,
        _percent(over.measured_ohm, over.promised_ohm),
        _percent(over.measured_ohm, over.explained_ohm),
    )
    return table(CSV_TITLES, columns, (4, 5, 3, 5, 3, 5, 3, 3, 3))


def data_of(comparison: Comparison) -> dict[str, Any]:
    """Return the verdict and its figures as plain data, for other programs and for records."""
    return {
        "format": "kerfwave-promise-1",
        "within": comparison.within,
        "tolerance_percent": comparison.tolerance_percent,
        "deviation_percent": comparison.deviation_percent,
        "unexplained_percent": comparison.explained.residual_percent,
        "marks": [
            {
                "name": mark.name,
                "promised_hz": mark.promised_hz,
                "measured_hz": None if mark.measured is None else mark.measured.value,
                "standard_hz": None if mark.measured is None else mark.measured.standard,
                "within": mark.keeps(comparison.tolerance_percent),
            }
            for mark in comparison.marks
        ],
        "as_built": [
            {
                "key": one.key,
                "name": one.name,
                "unit": one.unit,
                "promised": one.promised,
                "value": one.found.value,
                "standard": one.found.standard,
                "percent": None if one.percent is None else one.percent.value,
                "percent_standard": None if one.percent is None else one.percent.standard,
                "clear": one.clear,
            }
            for one in comparison.findings
        ],
        "correlation": {
            "keys": list(comparison.explained.keys),
            "matrix": [list(row) for row in comparison.explained.correlation],
        },
        "doubts": list(comparison.doubts),
    }


def charts_of(comparison: Comparison) -> dict[str, str]:
    """Return the drawings by file name: the three curves, what is left, and what it does to the sound."""
    over, frequency = comparison.overlay, comparison.overlay.frequency_hz
    tuning = comparison.tuning
    band: tuple[Band, ...] = ()
    if tuning is not None:
        spread = 1.0 + comparison.tolerance_percent / 100.0
        band = (Band(tuning.promised_hz / spread, tuning.promised_hz * spread, "tuning promised"),)
    against = (
        Series("as found", frequency, _percent(over.measured_ohm, over.promised_ohm), 0),
        Series("left over", frequency, _percent(over.measured_ohm, over.explained_ohm), 1),
    )
    effect = comparison.effect
    return {
        "impedance.svg": line_chart(
            (
                Series("measured", frequency, over.measured_ohm, 0),
                Series("promised", frequency, over.promised_ohm, 1),
                Series("as-built fit", frequency, over.explained_ohm, 2),
            ),
            title="Impedance, measured and promised",
            y_label="impedance, ohm",
            y_from=0.0,
            bands=band,
            desc="Magnitude of the electrical impedance: measured, as the package promised, and with the as-built "
            "values of the fit.",
            ident="promise-impedance",
            x_from=frequency[0],
            x_to=frequency[-1],
        ),
        "deviation.svg": line_chart(
            against,
            title="Measured impedance against the promise",
            y_label="deviation, %",
            desc="By how many per cent the measured magnitude differs from the promise, and from the as-built fit.",
            ident="promise-deviation",
            x_from=frequency[0],
            x_to=frequency[-1],
        ),
        "effect.svg": line_chart(
            (
                Series("level", effect.frequency_hz, effect.level_db, 0),
                Series("excursion", effect.frequency_hz, effect.excursion_db, 1),
            ),
            title="What the as-built values do to the sound",
            y_label="as built less promised, dB",
            x_from=effect.frequency_hz[0],
            x_to=effect.frequency_hz[-1],
            desc="Change of sound pressure level and of the cone's excursion, computed with the as-built values.",
            ident="promise-effect",
        ),
    }


def _percent(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(100.0 * (x / y - 1.0) for x, y in zip(a, b, strict=True))
