"""What is wrong with an input, as values; and how a finding is shown on a terminal.

A finding is frozen data: a stable code, a place, the fact, the reason and what to try. Rendering is the only thing
that knows about lines, marks and colour. Whatever comes from a file goes through `visible` before it is shown, so
that no control character of a spec ever reaches a terminal.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from kerfwave.filenames import text_of_name

Level = Literal["error", "warning"]

CODES: dict[str, str] = {
    "K101": "the file cannot be read",
    "K102": "the file is too large",
    "K103": "the file is not UTF-8 text",
    "K104": "a character that has no place in the file",
    "K105": "not valid YAML",
    "K106": "the file is empty",
    "K107": "the file is not a mapping of keys to values",
    "K108": "more than one document in the file",
    "K109": "a key is written twice",
    "K110": "a YAML tag",
    "K111": "a YAML anchor, alias or merge key",
    "K112": "a plain word or number that YAML readers do not agree about",
    "K113": "not a finite number",
    "K114": "nested too deeply, or too many values",
    "K115": "a key that is not plain text",
    "K116": "text with characters that cannot be shown",
    "K201": "an unknown key",
    "K202": "a key is missing",
    "K203": "the wrong type of value",
    "K204": "a number out of range",
    "K205": "not one of the words allowed here",
    "K206": "text that is too short, too long or of the wrong form",
    "K207": "too few or too many entries",
    "K208": "a key that does not go with this choice",
    "K209": "a file format this program does not know",
    "K301": "no such shelf file",
    "K302": "a shelf name that leads elsewhere",
    "K303": "no shelf to look on",
    "K304": "a measured response that cannot be used",
    "K401": "driver parameters that contradict each other",
    "K402": "too few driver parameters",
    "K403": "driver sizes that cannot be",
    "K404": "a range that is upside down",
    "K405": "a sheet that is not as thick as its label says",
    "K406": "a sheet that its margin leaves no room on",
    "K407": "wood thinner than the narrowest allowed",
    "K408": "a body too small for what goes in",
    "K409": "a plan that is not a simple outline",
    "K410": "face names that do not fit the plan",
    "K411": "a recipe beyond this machine",
    "K412": "a start or end line with a word that is not allowed",
    "K413": "machine settings that do not fit each other",
    "K414": "a drive or target beyond the driver's rating",
    "K415": "terminals that do not fit their plate",
    "K416": "two recipes with the same name",
    "K417": "a material that is not in the table",
    "K418": "a kind of enclosure and a key that do not go together",
    "K419": "a sheet's outline that is not simple, or not measured from its corner",
    "K420": "a keep-out place that is not on its sheet",
    "K421": "two keys that say the same thing",
    "K422": "sheets whose label does not fit what is asked of them",
}

# Found after the specs are read, by the build itself.
BUILD_CODES: dict[str, str] = {
    "K501": "a file name that cannot name a package, or that two specs share",
    "K502": "what the spec asks for cannot be built",
}

_TAB = 4
_WINDOW = 96  # characters of a source line that are shown round a mark
_COLOURS = {"error": "\x1b[1;31m", "warning": "\x1b[1;33m", "mark": "\x1b[1;36m", "off": "\x1b[0m"}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong or doubtful, and where. Lines and columns count from 1, columns in characters."""

    code: str
    level: Level
    file: str
    line: int
    column: int
    message: str
    why: str = ""
    hint: str = ""
    source_line: str = ""
    length: int = 1

    @property
    def order(self) -> tuple[str, int, int, str, str]:
        """What findings are sorted by."""
        return (self.file, self.line, self.column, self.code, self.message)


class SpecError(Exception):
    """The input is wrong; `findings` says everything that is, in file order."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings: tuple[Finding, ...] = in_order(findings)
        super().__init__(render(self.findings))


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort by file, line, column and code, and drop doubles."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda finding: finding.order))


def visible(text: str) -> str:
    r"""Return `text` with every control, format or unassigned character replaced by a sign one cell wide.

    >>> visible("a\tb\x1b[31m")
    'a b␛[31m'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_visible(char) for char in text_of_name(text))


def quoted(text: str, limit: int = 48) -> str:
    """Return `text` in quotes for use in a message, made visible and cut to `limit` characters."""
    return f"'{visible(text if len(text) <= limit else text[: limit - 1] + '…')}'"


def render(findings: Iterable[Finding], colour: bool = False) -> str:
    """Return the text to print: place, fact, the line with a mark under the place, reason and what to try."""
    return "\n\n".join("\n".join(_lines(finding, colour)) for finding in findings)


def _lines(finding: Finding, colour: bool) -> list[str]:
    def paint(text: str, name: str) -> str:
        return f"{_COLOURS[name]}{text}{_COLOURS['off']}" if colour else text

    place = f"{visible(finding.file)}:{finding.line}:{finding.column}"
    lines = [f"{place} {paint(f'{finding.level} {finding.code}', finding.level)} {visible(finding.message)}"]
    if finding.source_line.strip():
        shown, mark = _excerpt(finding)
        lines += [f"  {finding.line:>5} | {shown}", f"        | {paint(mark, 'mark')}"]
    if finding.why:
        lines.append(f"   why  {visible(finding.why)}")
    if finding.hint:
        lines.append(f"   try  {visible(finding.hint)}")
    return lines


def _excerpt(finding: Finding) -> tuple[str, str]:
    """Return the shown piece of the source line, and spaces and carets that stand under the place."""
    text, first = finding.source_line, max(finding.column - 1, 0)
    begin = max(0, first - _WINDOW // 2) if len(text) > _WINDOW else 0
    end = begin + _WINDOW
    cells = 1 if begin else 0
    shown = ["…"] if begin else []
    before = cells
    width = 0
    for index, char in enumerate(text[begin:end], begin):
        sign = " " * (_TAB - cells % _TAB) if char == "\t" else _visible(char)
        size = sum(_cells(part) for part in sign)
        if index < first:
            before += size
        elif index < first + finding.length:
            width += size
        cells += size
        shown.append(sign)
    if end < len(text):
        shown.append("…")
    return "".join(shown).rstrip(), " " * before + "^" * max(width, 1)


def _visible(char: str) -> str:
    if char == "\t":
        return " "
    if char < " ":
        return chr(0x2400 + ord(char))
    if char == "\x7f":
        return "␡"
    category = unicodedata.category(char)
    return "\ufffd" if category[0] == "C" or category in ("Zl", "Zp") else char


def _cells(char: str) -> int:
    if unicodedata.category(char) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in ("W", "F") else 1
