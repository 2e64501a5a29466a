"""A driver fit as sentences, a table of numbers, plain data and drawings."""

from __future__ import annotations

from typing import Any

from kerfwave.measure.fit import DriverFit, Estimate, FittedCurve
from kerfwave.numfmt import fixed
from kerfwave.writers.lines import Series, line_chart
from kerfwave.writers.measured import table
from kerfwave.writers.words import significant

ROWS: tuple[tuple[str, str, str, float, str], ...] = (  # field, symbol, unit, per SI unit, key in a driver file
    ("fs_hz", "fs", "Hz", 1.0, "fs_hz"),
    ("qms", "Qms", "", 1.0, "qms"),
    ("qes", "Qes", "", 1.0, "qes"),
    ("qts", "Qts", "", 1.0, "qts"),
    ("re_ohm", "Re", "ohm", 1.0, "re_ohm"),
    ("le_h", "Le (L1)", "mH", 1e3, "le_mh"),
    ("l2_h", "L2", "mH", 1e3, "l2_mh"),
    ("r2_ohm", "R2", "ohm", 1.0, "r2_ohm"),
    ("mms_kg", "Mms", "g", 1e3, "mms_g"),
    ("cms_m_n", "Cms", "mm/N", 1e3, "cms_mm_n"),
    ("bl_tm", "Bl", "T m", 1.0, "bl_tm"),
    ("vas_m3", "Vas", "L", 1e3, "vas_l"),
    ("sd_m2", "Sd", "cm2", 1e4, "sd_cm2"),
    ("zmax_ohm", "Zmax", "ohm", 1.0, ""),
)
LOAD_WORDS = {"free air": "free air", "added mass": "with mass", "known box": "in the box"}
COIL_WORDS = {
    "resistance": "a plain resistance",
    "inductance": "a plain inductance",
    "semi-inductance": "L1 in series with L2 beside R2",
}


def plus_minus(estimate: Estimate, factor: float = 1.0) -> tuple[str, str]:
    """Return the value and twice its standard uncertainty: two figures of it, and as many decimals in the value."""
    value, spread = factor * estimate.value, 2.0 * factor * estimate.standard
    if spread <= 0.0 or spread < 1e-6 * abs(value):
        return significant(value, 6), "0"
    decimals = max(1 - int(f"{spread:e}".partition("e")[2]), 0)
    return f"{value:.{decimals}f}", f"{spread:.{decimals}f}"


def signed(value: float, decimals: int = 1) -> str:
    """Return a difference with its sign, and nothing as +0."""
    return f"{round(value, decimals) + 0.0:+.{decimals}f}"  # adding 0 makes 0 of minus 0


def text_of(fit: DriverFit) -> tuple[str, ...]:
    """Return the result as lines."""
    lines = ["parameters (± is for k = 2, about 95 %):"]
    for field, symbol, unit, factor, _ in ROWS:
        estimate: Estimate | None = getattr(fit, field)
        if estimate is not None:
            value, spread = plus_minus(estimate, factor)
            lines.append(f"  {symbol:<8}{value} ± {spread} {unit}".rstrip())
    phase = "" if fit.residual_degrees is None else f", phase {fixed(fit.residual_degrees, 2)} degrees"
    lines.append(
        f"the coil: {COIL_WORDS[fit.coil]}. What is left: magnitude {fixed(fit.residual_percent, 2)} %{phase} "
        "(root mean square)."
    )
    lines += [f"missing: {text}" for text in fit.missing]
    lines += [f"doubt: {text}." for text in fit.doubts]
    return tuple(lines)


def csv_of(fit: DriverFit) -> dict[str, str]:
    """Return by file name measured and fitted curves and what is left, one row a measured frequency."""
    titles = ("frequency_hz", "measured_ohm", "measured_deg", "fit_ohm", "fit_deg", "error_percent", "error_deg")
    tables = {}
    for curve in fit.curves:
        nothing: tuple[float | None, ...] = (None,) * len(curve.ohm)
        columns = (
            curve.frequency_hz,
            curve.ohm,
            curve.degrees or nothing,
            curve.fit_ohm,
            curve.fit_degrees,
            curve.error_percent,
            curve.error_degrees or nothing,
        )
        tables[f"{_file_name(curve)}.csv"] = table(titles, columns, (4, 5, 3, 5, 3, 3, 3))
    return tables


def data_of(fit: DriverFit) -> dict[str, Any]:
    """Return the figures as plain data, for other programs."""
    return {
        "format": "kerfwave-fit-1",
        "parameters": {
            field: {"value": estimate.value, "standard": estimate.standard}
            for field, *_ in ROWS
            if (estimate := getattr(fit, field)) is not None
        },
        "coil": fit.coil,
        "residual_percent": fit.residual_percent,
        "residual_degrees": fit.residual_degrees,
        "correlation": fit.correlation,
        "missing": list(fit.missing),
        "doubts": list(fit.doubts),
    }


def charts_of(fit: DriverFit) -> dict[str, str]:
    """Return the drawings by file name: each sweep with its fit, and the residuals of all."""
    drawings = {}
    for curve in fit.curves:
        name = _file_name(curve)
        drawings[f"{name}.svg"] = _curve_chart(curve, f"Impedance, {curve.load}", f"fit-{name}")
    first, last = _ends(fit.curves)
    drawings["residual.svg"] = line_chart(
        tuple(
            Series(LOAD_WORDS[curve.load], curve.frequency_hz, curve.error_percent, i)
            for i, curve in enumerate(fit.curves)
        ),
        title="What the fit leaves of the magnitude",
        y_label="measured less fit, %",
        x_from=first,
        x_to=last,
        desc="Measured magnitude of the impedance less the fitted one, in per cent.",
        ident="fit-residual",
    )
    return drawings


def _curve_chart(curve: FittedCurve, title: str, ident: str) -> str:
    return line_chart(
        (
            Series("measured", curve.frequency_hz, curve.ohm, 0),
            Series("fit", curve.frequency_hz, curve.fit_ohm, 1),
        ),
        title=title,
        y_label="impedance, ohm",
        y_from=0.0,
        x_from=curve.frequency_hz[0],
        x_to=curve.frequency_hz[-1],
        desc=f"Magnitude of the electrical impedance, {curve.load}: measured and fitted.",
        ident=ident,
    )


def _file_name(curve: FittedCurve) -> str:
    return f"impedance-{curve.load.replace(' ', '-')}"


def _ends(curves: tuple[FittedCurve, ...]) -> tuple[float, float]:
    return min(c.frequency_hz[0] for c in curves), max(c.frequency_hz[-1] for c in curves)
