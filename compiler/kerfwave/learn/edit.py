"""Writing back what was learned, into files that a person wrote: their text and comments stay as they are.

A value is changed in its own place on its line, a new one gets a line of its own, a recipe is added under the last
one. What was replaced stays in the file as a dated comment. The text that comes out is read again and must hold
exactly what was there, but for what was asked: otherwise it is refused, and the file on the disk is left alone.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

from kerfwave.findings import Finding, SpecError
from kerfwave.numfmt import fixed
from kerfwave.spec import schema_files, shape, yaml_source
from kerfwave.spec.yaml_source import Source

DATE = re.compile(r"(\d{4})-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9 ._/()%-]*")
UNSAFE = ("true", "false", "null", "yes", "no", "on", "off", "y", "n")
SPREAD = re.compile(r"\s+# ± [0-9.]+$")  # as driver files written here have it
HISTORY = "# Replaced values, oldest first:"

Value = str | int | float | bool | Mapping[str, Any]


class LearnError(ValueError):
    """What was asked cannot be written; the message says why and what to do."""


def check_date(date: str) -> str:
    """Return `date` if it is written as 2026-05-02.

    Raises:
        LearnError: otherwise. Nothing here looks at a clock: the person says when it was measured.
    """
    if not DATE.fullmatch(date):
        raise LearnError(f"the date {date!r} is not written as 2026-05-02")
    return date


def checked(text: str, shown: str, schema: str) -> Source:
    """Return the file as read, if it fits its schema.

    Raises:
        SpecError: with all that is wrong.
    """
    source = yaml_source.read(text.encode(), shown)
    findings: list[Finding] = [*source.findings]
    if source.data is not None:
        findings += [one.finding for one in shape.check(source, schema)]
    if findings:
        raise SpecError(findings)
    return source


def token(value: Value) -> str:
    """Return a value as YAML text on one line, read alike by every reader.

    Raises:
        LearnError: for text that runs over several lines.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return fixed(value, 9)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {token(part)}" for key, part in value.items()) + "}"
    if "\n" in value or "\r" in value:
        raise LearnError("text of one line only")
    if PLAIN.fullmatch(value) and value.lower() not in UNSAFE and not value.endswith(" "):
        return value
    return json.dumps(value, ensure_ascii=False)


def remark(text: str) -> str:
    """Return `text` as the rest of a comment line: one line, nothing that a YAML reader refuses."""
    return "".join(c if c.isprintable() else " " for c in text)


def set_values(
    text: str,
    shown: str,
    schema: str,
    changes: Mapping[str, int | float],
    *,
    date: str,
    why: str,
    replace: bool,
    spreads: Mapping[str, str] | None = None,
) -> str:
    """Return the text with top-level numbers changed or added.

    Parameters
    ----------
    text, shown, schema
        The file, its name in messages, and the schema that it fits now and shall fit afterwards.
    changes
        New values by key.
    date, why
        When and from what they were measured; for the history.
    replace
        Whether values that stand there already may be replaced.
    spreads
        Uncertainties as text, put in a remark beside their values; one that an older value had goes in any case.

    Raises
    ------
    LearnError
        if a value stands there and `replace` is not set, or the layout of the file leaves no place to write.
    SpecError
        if the file, or what would come of it, does not fit its schema.
    """
    check_date(date)
    source = checked(text, shown, schema)
    old = {key: source.data[key] for key in changes if key in source.data}
    new = {key: value for key, value in changes.items() if key not in old or old[key] != value}
    taken = {key: old[key] for key in new if key in old}
    if not new:
        return text
    if taken and not replace:
        listed = ", ".join(f"{key} {_shown(value)} (measured {_shown(new[key])})" for key, value in taken.items())
        raise LearnError(f"{shown} says already: {listed}; nothing is replaced without --replace")
    lines = _lines(text)
    beside = {key: f"  # ± {spread}" for key, spread in (spreads or {}).items()}
    for key, value in new.items():
        if key in taken:
            span = source.span((key,))
            line = SPREAD.sub("", lines[span.line - 1])
            begin, end = span.column - 1, span.column - 1 + span.length
            lines[span.line - 1] = line[:begin] + token(value) + line[end:] + beside.get(key, "")
    added = [f"{key}: {token(value)}{beside.get(key, '')}" for key, value in new.items() if key not in taken]
    if added:
        lines[_last_number(source) : _last_number(source)] = added
    if taken:
        lines = _with_history(lines, date, why, [f"{key} was {_shown(value)}" for key, value in taken.items()])
    return _proved("\n".join(lines) + "\n", shown, schema, {**source.data, **new})


def add_recipe(
    text: str | None,
    shown: str,
    entry: Mapping[str, Value],
    *,
    like: str | None = None,
    replace: bool = False,
) -> str:
    """Return the text of a recipe file with one more entry.

    Parameters
    ----------
    text, shown
        The file and its name in messages; None for a new one.
    entry
        Values by key, with the provenance as a mapping.
    like
        The name of an entry that gives whatever `entry` does not say.
    replace
        Whether an entry of the same name may be replaced; it stays in the file as a comment.

    Raises
    ------
    LearnError
        if an entry has that name and `replace` is not set, or there is no entry `like`.
    SpecError
        if the file, or what would come of it, does not fit its schema.
    """
    check_date(str(_provenance(entry).get("date", "")))
    entry = _in_order(entry)
    if text is None:
        if like is not None:
            raise LearnError(f"{shown} is not there, so it holds no entry {like!r} to start from")
        whole = "# Measured recipes, newest last.\nentries:\n" + "\n".join(_block(entry, 2)) + "\n"
        return _proved(whole, shown, "recipes", {"entries": [_plain(entry)]})
    source = checked(text, shown, "recipes")
    entries: list[dict[str, Any]] = source.data["entries"]
    full = dict(entry)
    if like is not None:
        template = next((one for one in entries if one["name"] == like), None)
        if template is None:
            names = ", ".join(one["name"] for one in entries)
            raise LearnError(f"{shown} holds no entry {like!r}; it holds {names}")
        full = {**{key: value for key, value in template.items() if key != "provenance"}, **full}
    full = _in_order(full)
    twin = next((i for i, one in enumerate(entries) if one["name"] == full.get("name")), None)
    if twin is not None and not replace:
        raise LearnError(f"{shown} holds an entry {full['name']!r} already; give another name, or --replace")
    lines = _lines(text)
    indent = _indent(source, lines)
    first, after = _span_of_entries(source, lines)
    block = _block(full, indent)
    expected = [one for i, one in enumerate(entries) if i != twin] + [_plain(full)]
    if twin is None:
        lines[after:after] = block
    else:
        begin = source.span(("entries", twin)).line - 1
        end = source.span(("entries", twin + 1)).line - 1 if twin + 1 < len(entries) else after
        said = f"# Until {_provenance(full)['date']}:"
        kept = [" " * indent + said, *(" " * indent + "# " + line[indent:].rstrip() for line in lines[begin:end])]
        lines = [*lines[:begin], *kept, *lines[end:after], *block, *lines[after:]]
    assert first <= after  # entries come before what follows them
    return _proved("\n".join(lines) + "\n", shown, "recipes", {**source.data, "entries": expected})


def _in_order(entry: Mapping[str, Value]) -> dict[str, Value]:
    """Return the entry with its keys as the schema lists them."""
    order = list(schema_files.schema("recipes")["$defs"]["entry"]["properties"])
    return {key: entry[key] for key in order if key in entry} | {k: v for k, v in entry.items() if k not in order}


def _provenance(entry: Mapping[str, Any]) -> Mapping[str, Any]:
    found = entry.get("provenance", {})
    return found if isinstance(found, Mapping) else {}


def _block(entry: Mapping[str, Value], indent: int) -> list[str]:
    """Return an entry as lines of block YAML."""
    rows: list[str] = []
    for key, value in entry.items():
        if isinstance(value, Mapping):
            rows += [f"{key}:", *(f"  {inner}: {token(part)}" for inner, part in value.items())]
        else:
            rows.append(f"{key}: {token(value)}")
    return [" " * indent + ("- " if i == 0 else "  ") + row for i, row in enumerate(rows)]


def _plain(entry: Mapping[str, Value]) -> dict[str, Any]:
    return {key: dict(value) if isinstance(value, Mapping) else value for key, value in entry.items()}


def _indent(source: Source, lines: list[str]) -> int:
    """Return the column of the dashes of the list of entries.

    Raises:
        LearnError: if the entries are not one under another.
    """
    line = lines[source.span(("entries", 0)).line - 1]
    dash = re.match(r"( *)- ", line)
    if dash is None:
        raise LearnError(
            f"{source.file}: the entries do not stand one under another; write them as '- name: ...' lines"
        )
    return len(dash.group(1))


def _span_of_entries(source: Source, lines: list[str]) -> tuple[int, int]:
    """Return the first line of the entries and the line that a further one would begin on, from 0."""
    begin = source.span(("entries",), "key").line - 1
    later = [source.span((key,), "key").line - 1 for key in source.data if key != "entries"]
    end = min((line for line in later if line > begin), default=len(lines))
    while end > begin + 1 and (not lines[end - 1].strip() or lines[end - 1].startswith("#")):
        end -= 1  # blank lines and remarks at the margin belong to what follows
    return begin, end


def _last_number(source: Source) -> int:
    """Return the line (from 0) after the last top-level number: a place where a further key may stand.

    Raises:
        LearnError: if there is none.
    """
    rows = [
        source.span((key,)).line
        for key, value in source.data.items()
        if isinstance(value, int | float)
        and not isinstance(value, bool)
        and source.span((key,), "key").column == 1
        and source.span((key,), "key").line == source.span((key,)).line
    ]
    if not rows:
        raise LearnError(f"{source.file}: no line of the form key: number to write beside")
    return max(rows)


def _with_history(lines: list[str], date: str, why: str, gone: Sequence[str]) -> list[str]:
    """Return the lines with a dated remark at their end."""
    said = f"# {date}: {'; '.join(gone)} ({remark(why)})"
    return [*lines, *([] if HISTORY in lines else [HISTORY]), said]


def _proved(text: str, shown: str, schema: str, expected: Mapping[str, Any]) -> str:
    """Return the text if it is read as what it shall say.

    Raises:
        SpecError: if it does not fit its schema.
        LearnError: if it says something else, because of a layout that was not foreseen.
    """
    source = checked(text, shown, schema)
    if source.data != expected:
        raise LearnError(f"{shown}: its layout leaves no safe place to write; put the values in by hand")
    return text


def _lines(text: str) -> list[str]:
    return text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").split("\n")


def _shown(value: Any) -> str:
    return fixed(value, 6) if isinstance(value, int | float) else str(value)
