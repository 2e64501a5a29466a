"""Records of what was measured on a built speaker: a file beside its spec, dated by the person.

    measured:
      tuning_hz: {value: 92.3, standard: 0.4, date: "2026-05-02", source: promise sweep.txt}
    history:
      - {quantity: tuning_hz, value: 95.1, date: "2026-04-11", source: first sweep, until: "2026-05-02"}

One line a record, so that the file reads as a table and a change shows as one line. What is replaced moves to the
history, and nothing is ever dropped from there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from dataclasses import replace as replace_fields
from typing import Any

from kerfwave.findings import Finding, SpecError
from kerfwave.learn.edit import DATE, LearnError, check_date, remark, token
from kerfwave.numfmt import fixed
from kerfwave.spec import yaml_source
from kerfwave.spec.yaml_source import Source

SUFFIX = ".measured.yaml"
LONGEST_TEXT = 200
HEAD = """\
# What was measured on the finished speaker, beside its spec: the values that stand, and those they replaced.
# standard: standard uncertainty (k = 1), in the unit of the key.
"""


@dataclass(frozen=True, slots=True)
class Limits:
    """What a quantity is, and the values that can be right."""

    meaning: str
    unit: str
    low: float
    high: float


QUANTITIES: dict[str, Limits] = {
    "tuning_hz": Limits("first dip of the impedance: the guide's tuning", "Hz", 5, 1000),
    "peak_1_hz": Limits("first peak of the impedance", "Hz", 5, 1000),
    "peak_2_hz": Limits("second peak of the impedance", "Hz", 5, 2000),
    "chamber_l": Limits("acoustic volume of the chamber", "L", 0.01, 200),
    "guide_mm": Limits("acoustic length of the guide", "mm", 5, 10_000),
    "leak": Limits("leak as 1/QL, 0 for a tight body", "1", 0, 2),
    "fill_percent": Limits("flow resistivity of the fibre against the promised one", "%", 1, 5000),
    "driver_fs_hz": Limits("the driver's resonance in this body's fit", "Hz", 20, 800),
    "driver_qms": Limits("the driver's Qms in this body's fit", "1", 0.1, 50),
    "re_ohm": Limits("direct-current resistance with leads", "ohm", 0.5, 100),
    "level_1m_db": Limits("mean level in the target's band at 1 m and the spec's drive", "dB", 30, 130),
    "thickness_mm": Limits("mean thickness of the sheet that was cut", "mm", 0.5, 30),
    "kerf_mm": Limits("kerf that was cut", "mm", 0.02, 1),
}
AS_BUILT = {  # what the fit calls them, and the record
    "chamber": "chamber_l",
    "length": "guide_mm",
    "leak": "leak",
    "fill": "fill_percent",
    "fs": "driver_fs_hz",
    "qms": "driver_qms",
    "re": "re_ohm",
}
KEYS = ("value", "standard", "date", "source", "by", "note")


@dataclass(frozen=True, slots=True)
class Record:
    """One measured value. `until` is the date of the value that replaced it; "" while it stands."""

    quantity: str
    value: float
    date: str
    standard: float | None = None
    source: str = ""
    by: str = ""
    note: str = ""
    until: str = ""


@dataclass(frozen=True, slots=True)
class Records:
    """The content of one file of records."""

    current: tuple[Record, ...]
    history: tuple[Record, ...]

    def of(self, quantity: str) -> Record | None:
        """Return the record that stands for a quantity."""
        return next((one for one in self.current if one.quantity == quantity), None)


def read_records(text: str | bytes, *, shown: str) -> Records:
    """Return the records in a file's text, or in its bytes as they came.

    Raises:
        SpecError: with all that is wrong.
    """
    source = yaml_source.read(text.encode() if isinstance(text, str) else text, shown)
    findings = [*source.findings]
    current: list[Record] = []
    history: list[Record] = []
    if source.data is not None:
        for key in source.data:
            if key not in ("measured", "history"):
                findings.append(
                    _wrong(source, (key,), f"unknown key '{key}'", "measured and history are the keys here")
                )
        for quantity, data in _mapping(source, "measured", findings).items():
            current += _record(source, ("measured", quantity), {"quantity": quantity, **_dict(data)}, findings)
        listed = source.data.get("history") or []
        if not isinstance(listed, list):
            findings.append(_wrong(source, ("history",), "history is no list", "one '- {...}' line a record"))
            listed = []
        for i, data in enumerate(listed):
            history += _record(source, ("history", i), _dict(data), findings)
    if findings:
        raise SpecError(findings)
    return Records(tuple(current), tuple(history))


def learned(text: str | None, new: Iterable[Record], *, shown: str, replace: bool) -> str:
    """Return the text of the file with new records in it, older values of the same quantities moved to the history.

    Comments before the first key stay; comments between records too, as whole lines.

    Raises
    ------
    LearnError
        if a quantity has a value already and `replace` is not set, or a record is not dated.
    SpecError
        if the file, or what would come of it, is wrong.
    """
    fresh = [_as_written(record) for record in new]
    for record in fresh:
        check_date(record.date)
    if len({r.quantity for r in fresh}) != len(fresh):
        raise LearnError("one value a quantity at a time")
    if text is None:
        text = HEAD + "measured:\n"
        old = Records((), ())
    else:
        old = read_records(text, shown=shown)
    same = [r for r in fresh if (was := old.of(r.quantity)) is not None and was == r]
    fresh = [r for r in fresh if r not in same]
    if not fresh:
        return text
    gone = {r.quantity: was for r in fresh if (was := old.of(r.quantity)) is not None}
    if gone and not replace:
        listed = ", ".join(f"{q} {fixed(was.value, 4)} of {was.date}" for q, was in gone.items())
        raise LearnError(f"{shown} holds already: {listed}; nothing is replaced without --replace")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").split("\n")
    lines = _inserted(lines, shown, fresh, gone, text)
    result = "\n".join(lines) + "\n"
    after = read_records(result, shown=shown)
    moved = tuple(_until(was, r.date) for r in fresh if (was := gone.get(r.quantity)) is not None)
    kept = tuple(r for r in old.current if r.quantity not in gone)
    if set(after.current) != {*kept, *fresh} or after.history != (*old.history, *moved):
        raise LearnError(f"{shown}: its layout leaves no safe place to write; one line a record, please")
    return result


def records_of_promise(data: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """Return value and standard uncertainty of what a comparison with the promise found, by quantity.

    As-built values that may be chance are left out: a record is what was seen.

    Raises:
        ValueError: if `data` is no such comparison.
    """
    if not isinstance(data, Mapping) or data.get("format") != "kerfwave-promise-1":
        raise ValueError("this is no promise.json of a comparison")
    found: dict[str, tuple[float, float]] = {}
    try:
        for mark in data["marks"]:
            key = {"dip 1": "tuning_hz", "peak 1": "peak_1_hz", "peak 2": "peak_2_hz"}.get(mark["name"])
            if key is not None and mark["measured_hz"] is not None:
                found[key] = _rounded(mark["measured_hz"], mark["standard_hz"])
        for one in data["as_built"]:
            key = AS_BUILT.get(one["key"])
            if key is not None and one["clear"]:
                factor = 100.0 / one["promised"] if one["key"] == "fill" else 1.0
                found[key] = _rounded(factor * one["value"], factor * one["standard"])
    except (KeyError, TypeError, ZeroDivisionError) as error:
        raise ValueError(f"this promise.json is not whole: {error}") from error
    return found


def _rounded(value: float, standard: float) -> tuple[float, float]:
    """Return both with as many decimals as two figures of the uncertainty need."""
    decimals = min(max(1 - math.floor(math.log10(standard)), 0), 9) if standard > 0.0 else 6
    return round(value, decimals), round(standard, decimals)


def _inserted(lines: list[str], shown: str, fresh: list[Record], gone: dict[str, Record], text: str) -> list[str]:
    source = yaml_source.read(text.encode(), shown)
    data: Mapping[str, Any] = source.data or {"measured": None}
    for record in fresh:
        if record.quantity in gone:  # its line, in its place
            line = source.span(("measured", record.quantity), "key").line - 1
            lines[line] = f"  {_measured_line(record)}"
    added = [f"  {_measured_line(r)}" for r in fresh if r.quantity not in gone]
    moved = [f"  - {_history_item(gone[r.quantity], r.date)}" for r in fresh if r.quantity in gone]
    if "measured" in data:
        at = source.span(("measured",), "key").line if source.data else len(lines)
        stood = [source.span(("measured", q), "key").line for q in (data["measured"] or {})]
        lines[max([at, *stood]) : max([at, *stood])] = added
    else:
        lines = [*lines, "measured:", *added]
    if moved:
        if "history" not in data:
            lines = [*lines, "history:", *moved]
        else:
            place = next(i for i, line in enumerate(lines) if line.startswith("history:"))
            end = next((i for i in range(place + 1, len(lines)) if lines[i][:1] not in (" ", "#", "")), len(lines))
            lines[end:end] = moved
    return lines


def _measured_line(record: Record) -> str:
    return f"{record.quantity}: {token(_fields(record))}"


def _history_item(record: Record, until: str) -> str:
    return token({"quantity": record.quantity, **_fields(record), "until": until})


def _fields(record: Record) -> dict[str, Any]:
    fields: dict[str, Any] = {"value": record.value}
    if record.standard is not None:
        fields["standard"] = record.standard
    fields["date"] = record.date
    for key in ("source", "by", "note"):
        if text := getattr(record, key):
            fields[key] = remark(text)
    return fields


def _as_written(record: Record) -> Record:
    """Return the record with as many decimals as the file holds."""
    standard = None if record.standard is None else round(record.standard, 9)
    return replace_fields(record, value=round(record.value, 9), standard=standard)


def _until(record: Record, date: str) -> Record:
    return replace_fields(record, until=date)


def _mapping(source: Source, key: str, findings: list[Finding]) -> Mapping[str, Any]:
    found = source.data.get(key) or {}
    if isinstance(found, dict):
        return found
    findings.append(_wrong(source, (key,), f"{key} is no mapping", "one 'quantity: {value: ..., date: ...}' line each"))
    return {}


def _dict(data: Any) -> dict[str, Any]:
    return data if isinstance(data, dict) else {"value": data}


def _record(source: Source, path: tuple[str | int, ...], data: dict[str, Any], findings: list[Finding]) -> list[Record]:
    """Return the record, or nothing and a finding."""
    problem, hint = _problem(data, in_history=path[0] == "history")
    if problem:
        findings.append(_wrong(source, path, problem, hint))
        return []
    words = {key: str(data.get(key, "")) for key in ("date", "source", "by", "note", "until")}
    standard = data.get("standard")
    return [
        Record(
            str(data["quantity"]), float(data["value"]), standard=None if standard is None else float(standard), **words
        )
    ]


def _problem(data: dict[str, Any], *, in_history: bool) -> tuple[str, str]:
    """Return what is wrong with a record and what would be right, or two empty texts."""
    quantity = data.get("quantity")
    if not isinstance(quantity, str) or quantity not in QUANTITIES:
        return f"'{quantity}' is no quantity to record", f"one of {', '.join(QUANTITIES)}"
    allowed = ("quantity", *KEYS, *(("until",) if in_history else ()))
    strange = [key for key in data if key not in allowed]
    if strange:
        return f"unknown key '{strange[0]}' in {quantity}", f"one of {', '.join(allowed[1:])}"
    limits = QUANTITIES[quantity]
    value, standard = data.get("value"), data.get("standard")
    if not _is_number(value) or not limits.low <= float(value) <= limits.high:  # type: ignore[arg-type]
        span = f"{fixed(limits.low)} to {fixed(limits.high)} {limits.unit}"
        return f"{quantity} has no value that can be right", f"value: a number, {span}"
    if standard is not None and (not _is_number(standard) or float(standard) < 0.0):
        return f"the standard uncertainty of {quantity} is no number of 0 or more", "standard: 0.4"
    for key in ("date", *(("until",) if in_history else ())):
        if not isinstance(data.get(key), str) or not DATE.fullmatch(data[key]):
            return f"{quantity} has no {key}, or one that is not written as 2026-05-02", f'{key}: "2026-05-02"'
    for key in ("source", "by", "note"):
        text = data.get(key, "")
        if not isinstance(text, str) or len(text) > LONGEST_TEXT or "\n" in text:
            return f"{key} of {quantity} is not text of one line, {LONGEST_TEXT} characters at most", ""
    return "", ""


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _wrong(source: Source, path: tuple[str | int, ...], message: str, hint: str) -> Finding:
    span = source.span(path, "key")
    line = source.line_text(span.line)
    return Finding("K206", "error", source.file, span.line, span.column, message, "", hint, line, span.length)
