"""A comparison in words, and as plain data for other programs."""

from __future__ import annotations

import dataclasses
from typing import Any

from kerfwave.compare.model import Comparison, LevelChange, Moved, PieceChange
from kerfwave.engine.why import plain
from kerfwave.numfmt import fixed

MOST_PIECES = 40
_TEXT_WIDTH = 100


def render_text(comparison: Comparison) -> str:
    """Return the comparison as lines for a terminal or a log, plain ASCII but for names and texts of the reports."""
    a, b = plain(comparison.name_a) or "A", plain(comparison.name_b) or "B"
    spec = "same spec" if comparison.same_spec else "the specs differ"
    lines = [f"{a} -> {b} ({spec})"]
    if comparison.same:
        lines.append("no difference" if comparison.same_spec else "no difference that the bench would notice")
    if comparison.numbers:
        lines += ["", "numbers", *_table([_number_row(moved) for moved in comparison.numbers])]
    if comparison.pieces or comparison.placed_elsewhere:
        lines += ["", _pieces_title(comparison)]
        lines += _table([_piece_row(change) for change in comparison.pieces[:MOST_PIECES]])
        if len(comparison.pieces) > MOST_PIECES:
            lines.append(f"  and {len(comparison.pieces) - MOST_PIECES} more")
    for title, changes in (("checks", comparison.checks), ("safety", comparison.safety)):
        if changes:
            lines += ["", title, *_table([_level_row(change) for change in changes])]
    if comparison.others:
        lines += ["", "also not the same: " + ", ".join(plain(path) for path in comparison.others)]
    return "\n".join(lines) + "\n"


def to_json(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison as what JSON can hold, for other programs; ``same`` tells it all in one word."""
    return dataclasses.asdict(comparison) | {"same": comparison.same}


def _number_row(moved: Moved) -> tuple[str, ...]:
    before, after = (_number(value, moved.decimals) for value in (moved.a, moved.b))
    step = ""
    if moved.a is not None and moved.b is not None:
        difference = moved.b - moved.a
        step = f"({'+' if difference > 0 else ''}{fixed(difference, moved.decimals)})"
    return (moved.word, moved.name, f"{before} -> {after} {moved.unit}".rstrip(), step)


def _number(value: float | None, decimals: int) -> str:
    return "none" if value is None else fixed(value, decimals)


def _pieces_title(comparison: Comparison) -> str:
    counts = [(sum(c.kind == kind for c in comparison.pieces), kind) for kind in ("changed", "new", "gone")]
    told = [f"{count} {kind}" for count, kind in counts if count]
    if comparison.placed_elsewhere:
        told.append(f"{comparison.placed_elsewhere} placed elsewhere")
    return "pieces: " + ", ".join(told)


def _piece_row(change: PieceChange) -> tuple[str, ...]:
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
        told.append("other " + ", ".join(plain(field) for field in change.fields))
    return (change.kind, name, ", ".join(told))


def _level_row(change: LevelChange) -> tuple[str, ...]:
    levels = f"{plain(change.a or 'absent')} -> {plain(change.b or 'absent')}"
    return (change.word, plain(change.id), levels, plain(change.text, _TEXT_WIDTH))


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    """Return rows as lines with their columns one under the other."""
    columns = max((len(row) for row in rows), default=0)
    widths = [max((len(row[index]) for row in rows if index < len(row)), default=0) for index in range(columns)]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)).rstrip() for row in rows
    ]
