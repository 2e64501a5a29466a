"""A comparison as Markdown, for the comment under a proposed change (with pipe tables)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from kerfwave.compare import words
from kerfwave.compare.model import Comparison
from kerfwave.engine.why import plain

_ACTIVE = re.compile(r"[\\`*_{}\[\]()#|~<>@$.:/]")
_ENTITIES = {"<": "&lt;", ">": "&gt;", "@": "&#64;", "#": "&#35;"}
MOST_ROWS = 60


def render_markdown(comparison: Comparison) -> str:
    """Return the comparison as Markdown. Text of specs and reports stays text: no link, tag or mention."""
    name_a, name_b = escaped(comparison.name_a) or "A", escaped(comparison.name_b) or "B"
    lines = [f"## {name_a} → {name_b}", "", f"{escaped(words.verdict(comparison))} ({words.spec_words(comparison)})."]
    if comparison.spec_changes is None and not comparison.same_spec:
        lines += [
            "",
            f"Spec digests: {escaped(comparison.spec_sha256_a[:12])} → {escaped(comparison.spec_sha256_b[:12])}.",
        ]
    lines += _section(
        "Spec", ("", "value", "from → to", "where"), [words.spec_row(c) for c in comparison.spec_changes or ()]
    )
    if comparison.reached:
        lines += ["", "### Stages", "", *(f"- {escaped(line)}" for line in words.reach_lines(comparison))]
    rows = [words.number_row(moved) for moved in comparison.numbers]
    lines += _section("Numbers", ("", "number", "from → to", "by"), rows)
    if not comparison.same and comparison.sheets:
        lines += _section(
            "Sheets already cut", ("sheet", "", "pieces"), [words.sheet_row(s) for s in comparison.sheets]
        )
        notes = words.cut_lines(comparison)
        lines += ["", *(f"- {escaped(line)}" for line in notes)] if notes else []
    if comparison.pieces or comparison.placed_elsewhere:
        title = words.pieces_title(comparison)
        rows = [words.piece_row(change) for change in comparison.pieces]
        lines += _section(title[:1].upper() + title[1:], ("", "piece", "what"), rows) or ["", f"### {escaped(title)}"]
    for title, changes in (("Checks", comparison.checks), ("Safety", comparison.safety)):
        lines += _section(title, ("", "line", "level", "text"), [words.level_row(change) for change in changes])
    if comparison.others:
        lines += ["", f"Also not the same: {escaped(', '.join(comparison.others))}."]
    return "\n".join(lines) + "\n"


def escaped(text: str) -> str:
    r"""Return text that Markdown shows as it is: one line, every character that could mean something made harmless.

    >>> escaped("<b>|[x](y) @all www.x.org")
    '&lt;b&gt;\\|\\[x\\]\\(y\\) &#64;all www&#46;x&#46;org'
    """
    safe = plain(text, 400).replace("&", "&amp;").replace("-> ", "→ ")
    # An address or a mention is found before escapes are undone; where its signs are entities it is not found at all.
    address = re.search(r"[a-z]\.[a-z]|:/|@", safe, re.IGNORECASE) is not None

    def one(found: re.Match[str]) -> str:
        sign = found[0]
        if sign in _ENTITIES:
            return _ENTITIES[sign]
        return f"&#{ord(sign)};" if sign in ".:/" and address else sign if sign in ".:/" else f"\\{sign}"

    return _ACTIVE.sub(one, safe)


def _section(title: str, head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    cells = [list(row) + [""] * (len(head) - len(row)) for row in rows]
    if not cells:
        return []
    lines = ["", f"### {escaped(title)}", "", f"| {' | '.join(head)} |", f"|{' --- |' * len(head)}"]
    lines += [f"| {' | '.join(escaped(cell) for cell in row)} |" for row in cells[:MOST_ROWS]]
    return lines + (["", f"and {len(cells) - MOST_ROWS} more"] if len(cells) > MOST_ROWS else [])
