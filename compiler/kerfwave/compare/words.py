"""A comparison in words, and as plain data for other programs."""

from __future__ import annotations

import dataclasses
from typing import Any

from kerfwave.compare.model import Comparison, LevelChange, Moved, PieceChange, SheetUse, SpecChange
from kerfwave.engine.why import plain
from kerfwave.numfmt import fixed, several

MOST_PIECES = 40
_TEXT_WIDTH = 100


def render_text(comparison: Comparison) -> str:
    """Return the comparison as lines for a terminal or a log, plain ASCII but for names and texts of the reports."""
    a, b = plain(comparison.name_a) or "A", plain(comparison.name_b) or "B"
    lines = [f"{a} -> {b} ({spec_words(comparison)})"]
    if comparison.same:
        lines.append(verdict(comparison))
    if comparison.spec_changes:
        lines += ["", "spec", *_table([spec_row(change) for change in comparison.spec_changes])]
    if comparison.reached:
        lines += ["", "stages", *(f"  {line}" for line in reach_lines(comparison))]
    if comparison.numbers:
        lines += ["", "numbers", *_table([number_row(moved) for moved in comparison.numbers])]
    if comparison.pieces or comparison.placed_elsewhere:
        lines += ["", pieces_title(comparison)]
        lines += _table([piece_row(change) for change in comparison.pieces[:MOST_PIECES]])
        if len(comparison.pieces) > MOST_PIECES:
            lines.append(f"  and {len(comparison.pieces) - MOST_PIECES} more")
    if not comparison.same and comparison.sheets:
        lines += ["", "sheets already cut", *_table([sheet_row(use) for use in comparison.sheets])]
        lines += [f"  {line}" for line in cut_lines(comparison)]
    for title, changes in (("checks", comparison.checks), ("safety", comparison.safety)):
        if changes:
            lines += ["", title, *_table([level_row(change) for change in changes])]
    if comparison.others:
        lines += ["", "also not the same: " + ", ".join(plain(path) for path in comparison.others)]
    return "\n".join(lines) + "\n"


def to_json(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison as what JSON can hold, for other programs; ``same`` tells it all in one word."""
    return dataclasses.asdict(comparison) | {"same": comparison.same}


def spec_words(comparison: Comparison) -> str:
    """Return in a few words whether the specs are the same."""
    if comparison.same_spec and not comparison.spec_changes:
        return "same spec"
    if comparison.spec_changes is None:
        return "the specs differ"
    count = len(comparison.spec_changes)  # a shelf file's values count, though they leave the spec's own bytes alone
    if not count:
        return "the specs differ in wording only"  # a comment, the order of keys, a unit
    return f"the specs differ in {several(count, 'value')}"


def verdict(comparison: Comparison) -> str:
    """Return the outcome as one sentence."""
    if comparison.same:
        return "no difference" if comparison.same_spec else "no difference that the bench would notice"
    if not (comparison.numbers or comparison.pieces or comparison.placed_elsewhere):
        return "the specs differ, and no number or piece does"
    told = []
    if comparison.numbers:
        told.append(f"{len(comparison.numbers)} headline numbers moved")
    if comparison.pieces or comparison.placed_elsewhere:
        told.append(pieces_title(comparison))
    return "; ".join(told)


def reach_lines(comparison: Comparison) -> list[str]:
    """Return which stages the change reached, one line for each outcome."""
    words = ("changed", "same outcome", "untouched")
    named = [(word, [one.stage for one in comparison.reached if one.word == word]) for word in words]
    told = {"changed": "made something else", "same outcome": "ran again, same outcome", "untouched": "not reached"}
    return [f"{told[word]}: {', '.join(stages)}" for word, stages in named if stages]


def value_words(value: Any) -> str:
    """Return a leaf of a spec as text; a long list is counted.

    >>> value_words(2.0), value_words(None), value_words(True), value_words((1.0, 2.5))
    ('2', 'none', 'yes', '[1, 2.5]')
    """
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return f"{value:.10g}"
    if isinstance(value, tuple):
        return f"({len(value)} values)" if len(value) > 12 else f"[{', '.join(value_words(one) for one in value)}]"
    return plain(str(value), _TEXT_WIDTH)


def sheet_row(use: SheetUse) -> tuple[str, str, str]:
    """Return what became of a sheet: its name, a word, and which pieces are meant."""
    good = [one for one in use.pieces if one.serves_as is not None]
    lost: dict[str, list[str]] = {}
    for one in use.pieces:
        if one.serves_as is None:
            lost.setdefault(one.why_not, []).append(plain(one.id))
    anew = [f"{plain(one.id)} as {plain(one.serves_as or '')}" for one in good if one.serves_as != one.id]
    told = []
    if use.word == "in part":
        told.append("keep " + ", ".join(plain(one.id) for one in good))
    if anew:
        told.append("write the number anew: " + ", ".join(anew))
    for why, names in lost.items():
        told.append(f"{'none' if len(names) == len(use.pieces) else 'not ' + ', '.join(names)} ({why})")
    return (f"sheet {use.sheet}", use.word, "; ".join(told) if told else f"all {len(use.pieces)} pieces")


def cut_lines(comparison: Comparison) -> list[str]:
    """Return what is still to cut, and what to know of what is cut."""
    lines = [plain(note, 240) for note in comparison.notes]
    if comparison.to_cut:
        lines.append(f"to cut for B: {', '.join(plain(name) for name in comparison.to_cut)}")
    return lines


def spec_row(change: SpecChange) -> tuple[str, ...]:
    """Return a leaf of the spec as word, path, values and place."""
    values = f"{value_words(change.a)} -> {value_words(change.b)}"
    return (change.word, plain(change.path), values, plain(change.place))


def number_row(moved: Moved) -> tuple[str, ...]:
    """Return a headline number as word, name, values and difference."""
    before, after = (_number(value, moved.decimals) for value in (moved.a, moved.b))
    step = ""
    if moved.a is not None and moved.b is not None:
        difference = moved.b - moved.a
        step = f"({'+' if difference > 0 else ''}{fixed(difference, moved.decimals)})"
    return (moved.word, moved.name, f"{before} -> {after} {moved.unit}".rstrip(), step)


def _number(value: float | None, decimals: int) -> str:
    return "none" if value is None else fixed(value, decimals)


def pieces_title(comparison: Comparison) -> str:
    """Return how many pieces changed, came and went."""
    counts = [(sum(c.kind == kind for c in comparison.pieces), kind) for kind in ("changed", "new", "gone")]
    told = [f"{count} {kind}" for count, kind in counts if count]
    if comparison.placed_elsewhere:
        told.append(f"{comparison.placed_elsewhere} placed elsewhere")
    return "pieces: " + ", ".join(told)


def piece_row(change: PieceChange) -> tuple[str, ...]:
    """Return a piece as word, name and what happened to it."""
    name = plain(change.id) if change.body == 1 else f"{plain(change.id)} (body {change.body})"
    if change.kind != "changed":
        area = change.area_b_mm2 if change.area_a_mm2 is None else change.area_a_mm2
        return (change.kind, name, f"{_number(area, 1)} mm2")
    told = []
    if change.moved_mm and change.area_a_mm2 is not None and change.area_b_mm2 is not None:
        difference = change.area_b_mm2 - change.area_a_mm2
        told.append(f"lines moved up to {fixed(change.moved_mm, 3)} mm")
        told.append(f"area {'+' if difference > 0 else ''}{fixed(difference, 1)} mm2")
    if change.fields:
        told.append("other " + ", ".join(plain(field.partition("_")[0]) for field in change.fields))  # mass_g: mass
    return (change.kind, name, ", ".join(told))


def level_row(change: LevelChange) -> tuple[str, ...]:
    """Return a check or safety line as word, id, levels and text."""
    levels = f"{plain(change.a or 'absent')} -> {plain(change.b or 'absent')}"
    return (change.word, plain(change.id), levels, plain(change.text, _TEXT_WIDTH))


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    """Return rows as lines with their columns one under the other."""
    columns = max((len(row) for row in rows), default=0)
    widths = [max((len(row[index]) for row in rows if index < len(row)), default=0) for index in range(columns)]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)).rstrip() for row in rows
    ]
