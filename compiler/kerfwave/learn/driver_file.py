"""The driver file that builds read, written from a fit: an independent set, with its uncertainties beside it."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping

from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import contradictions
from kerfwave.learn.edit import LearnError, Value, checked, remark, set_values, token
from kerfwave.learn.fit_words import ROWS, plus_minus
from kerfwave.measure.fit import DriverFit, Estimate
from kerfwave.model.spec import Driver
from kerfwave.numfmt import fixed
from kerfwave.spec.build import make

WRITTEN = ("fs_hz", "qms", "qes", "re_ohm", "le_mh", "l2_mh", "r2_ohm")  # what free air tells
SUSPENSION = ("mms_g", "vas_l")  # the first that was measured; one of them makes the set complete


def driver_values(fit: DriverFit) -> dict[str, float]:
    """Return what a driver file shall say: an independent set, rounded well inside the uncertainty.

    Derived values (Qts, Cms, Bl and the rest) are left out, so that nothing can contradict anything.

    """
    values = {key: value for key in WRITTEN if (value := _rounded(fit, key)) is not None}
    if values.get("l2_mh", 0.0) < 0.001 or values.get("r2_ohm", 0.0) < 0.01:
        values.pop("l2_mh", None)
        values.pop("r2_ohm", None)
    for key in SUSPENSION:
        if (value := _rounded(fit, key)) is not None:
            return {**values, key: value}
    return values


def _rounded(fit: DriverFit, key: str) -> float | None:
    field, _, _, factor, _ = next(row for row in ROWS if row[4] == key)
    estimate: Estimate | None = getattr(fit, field)
    if estimate is None:
        return None
    value, standard = factor * estimate.value, factor * estimate.standard
    if value < 1e-6:
        return 0.0
    four = 3 - math.floor(math.log10(value))  # decimals for four figures
    fine = four + 2 if standard <= 0.0 else math.ceil(-math.log10(standard / 5.0))
    return round(value, min(max(four, min(fine, four + 2)), 9))


def driver_file(fit: DriverFit, facts: Mapping[str, Value], *, name: str, date: str, sources: str, shown: str) -> str:
    """Return the text of a new driver file.

    Parameters
    ----------
    fit
        The parameters; each stands with its uncertainty beside it.
    facts
        What no sweep tells: sizes, power, xmax, by key. A suspension value from a data sheet is used where none was
        measured.
    name, date, sources
        What the driver is called, when it was measured ("" if not said) and from which files.
    shown
        The file's name in messages.

    Raises
    ------
    LearnError
        if too little is known for a driver file.
    SpecError
        if a value does not fit the schema.
    """
    values: dict[str, Value] = dict(driver_values(fit))
    measured = dict(values)
    if not any(key in values or key in facts for key in (*SUSPENSION, "cms_mm_n")):
        raise LearnError(" ".join(fit.missing) or "the suspension is unknown")
    values = {**facts, **values}
    lines = [*_about(fit, measured, date, sources), f"name: {token(name)}"]
    spreads = _spreads(fit, measured)
    order = ("fs_hz", "qms", "qes", *SUSPENSION, "cms_mm_n", "sd_cm2", "re_ohm", "le_mh", "l2_mh", "r2_ohm")
    for key in (*(k for k in order if k in values), *(k for k in values if k not in order)):
        lines.append(f"{key}: {token(values[key])}" + (f"  # ± {spreads[key]}" if key in spreads else ""))
    text = "\n".join(lines) + "\n"
    checked(text, shown, "driver")
    return text


GENERATED = ("# Measured: impedance", "# Sweeps: ", "# Left over: ", "# The same fit also gives: ", "# Doubt: ")


def _about(fit: DriverFit, written: Collection[str], date: str, sources: str) -> list[str]:
    """Return the remarks that head a fitted driver file; each begins as one of `GENERATED`."""
    derived = [
        f"{symbol} {value} ± {spread} {unit}".rstrip()
        for field, symbol, unit, factor, key in ROWS
        if key not in written and (estimate := getattr(fit, field)) is not None
        for value, spread in (plus_minus(estimate, factor),)
    ]
    phase = "" if fit.residual_degrees is None else f", phase {fixed(fit.residual_degrees, 2)} degrees"
    return [
        "# Measured: impedance sweeps, least squares on the whole curve. ± is for k = 2, about 95 %.",
        f"# Sweeps: {remark(sources)}{f'; {remark(date)}' if date else ''}.",
        f"# Left over: magnitude {fixed(fit.residual_percent, 2)} %{phase} (root mean square).",
        f"# The same fit also gives: {', '.join(derived)}.",
        *(f"# Doubt: {remark(doubt)}." for doubt in fit.doubts),
    ]


def _spreads(fit: DriverFit, keys: Iterable[str]) -> dict[str, str]:
    """Return the expanded uncertainties of values in a driver file, as text."""
    found = {}
    for field, _, _, factor, key in ROWS:
        if key in keys and (estimate := getattr(fit, field)) is not None:
            found[key] = plus_minus(estimate, factor)[1]
    return found


def changed_driver(
    text: str, shown: str, fit: DriverFit, facts: Mapping[str, Value], *, date: str, sources: str
) -> tuple[str, tuple[str, ...]]:
    """Return a driver file with the fitted values in place of the old ones, and what contradicts them still.

    Derived values that the file states already (Qts, Cms, Bl, Vas) are brought up to date with the rest.

    Raises
    ------
    LearnError
        if the layout of the file leaves no place to write.
    SpecError
        if the file, or what would come of it, does not fit its schema.
    """
    stated = checked(text, shown, "driver").data
    changes: dict[str, float | int] = dict(driver_values(fit))
    for *_, key in ROWS:
        if key in stated and key not in changes and key not in facts and (value := _rounded(fit, key)) is not None:
            changes[key] = value
    spreads = _spreads(fit, changes)
    changes |= {key: value for key, value in facts.items() if isinstance(value, int | float)}
    new = set_values(
        text, shown, "driver", changes, date=date, why=f"fitted to {sources}", replace=True, spreads=spreads
    )
    lines = [line for line in new.splitlines() if not line.startswith(GENERATED)]
    head = next(i for i, line in enumerate(lines) if line.strip() and not line.startswith("#"))
    lines[head:head] = _about(fit, changes, date, sources)
    return "\n".join(lines) + "\n", contradictions_of(new, shown)


def contradictions_of(text: str, shown: str) -> tuple[str, ...]:
    """Return what the values of a driver file say against each other."""
    driver = make(Driver, checked(text, shown, "driver").data)
    return tuple(found.text for found in contradictions(driver, air()))
