"""YAML text into plain data with the place of every key and value; a strict subset, one pass, no recursion.

PyYAML's C scanner delivers parse events; they are turned into lists and mappings here with a stack of our own. So no
alias is ever expanded, no tag ever constructed, and no nesting can exhaust the interpreter's stack. The C scanner's
marks carry no text, which is why the lines are kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from kerfwave.findings import Finding, quoted
from kerfwave.spec.scalars import Refusal, plain

MAX_BYTES = 1 << 20
MAX_DEPTH = 24
MAX_VALUES = 20_000
MAX_FINDINGS = 100

KeyPath = tuple[str | int, ...]

# Control characters but tab and line ends; line and paragraph separators that editors do not count; directions that
# make a line look other than it reads; non-characters.
_FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufdd0-\ufdef\ufeff\ufffe\uffff]"
)
_LINE_ENDS = re.compile(r"\r\n|\r|\n")
_PARSER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class Span(NamedTuple):
    """A place on one line, counted from 1, `length` characters long."""

    line: int
    column: int
    length: int = 1


class Place(NamedTuple):
    """Where a value stands, and its key if it has one."""

    value: Span
    key: Span | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """One file: its text, its data, where everything stands, and what was wrong with it."""

    file: str
    text: str = ""
    lines: tuple[str, ...] = ()
    data: Any = None
    places: Mapping[KeyPath, Place] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    broken: frozenset[KeyPath] = frozenset()  # paths whose value was refused; nothing more is said about them

    def line_text(self, line: int) -> str:
        """Return the text of a line counted from 1, "" if there is none."""
        return self.lines[line - 1] if 0 < line <= len(self.lines) else ""

    def span(self, path: KeyPath, on: str = "value") -> Span:
        """Return where `path` (or the nearest thing above it) stands; `on` is "value" or "key"."""
        exact = path in self.places
        while path and path not in self.places:
            path = path[:-1]
        place = self.places.get(path)
        if place is None:
            return Span(1, 1)
        return place.key if place.key and (on == "key" or not exact) else place.value


def read_file(path: Path, shown: str) -> Source:
    """Read and parse `path`; `shown` is the name in messages. Never raises: problems become findings."""

    def refuse(code: str, message: str, hint: str = "") -> Source:
        return Source(shown, findings=(Finding(code, "error", shown, 1, 1, message, hint=hint),))

    try:
        if not path.exists():
            return refuse("K101", "there is no such file", "check the name and the folder")
        if not path.is_file():
            return refuse("K101", "this is not a regular file", "the name of a .yaml file")
        with path.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        return refuse("K101", f"the file cannot be read: {getattr(error, 'strerror', None) or error}")
    return read(raw, shown)


def read(raw: bytes, shown: str) -> Source:
    """Parse the bytes of a file. Never raises: problems become findings."""
    if len(raw) > MAX_BYTES:
        hint = "a spec is a page or two of text"
        return Source(shown, findings=(Finding("K102", "error", shown, 1, 1, "it is larger than 1 MiB", hint=hint),))
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        return Source(shown, findings=(_not_utf8(raw, error.start, shown),))
    split: tuple[str, ...] = tuple(_LINE_ENDS.split(text))
    forbidden = tuple(_forbidden(split, shown))
    if forbidden:
        return Source(shown, text, split, findings=forbidden)
    return _Reader(shown, text, split).run()


def _not_utf8(raw: bytes, start: int, shown: str) -> Finding:
    before: list[str] = _LINE_ENDS.split(raw[:start].decode("utf-8"))
    line = _LINE_ENDS.split(raw.decode("utf-8", "replace"))[len(before) - 1]
    why = "it begins like UTF-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else f"byte 0x{raw[start]:02x}"
    place = (len(before), len(before[-1]) + 1)
    return Finding("K103", "error", shown, *place, "this is not UTF-8 text", why, "save the file as UTF-8", line)


def _forbidden(lines: tuple[str, ...], shown: str) -> Iterator[Finding]:
    hits = ((number, match) for number, line in enumerate(lines, 1) if (match := _FORBIDDEN.search(line)))
    for (number, match), _ in zip(hits, range(MAX_FINDINGS), strict=False):
        message = f"character U+{ord(match.group()):04X} has no place in a spec"
        why = "control characters, line separators and changes of writing direction hide what a file says"
        line = lines[number - 1]
        hint = "save the file as UTF-8" if match.group() == "\0" else "delete it"
        yield Finding("K104", "error", shown, number, match.start() + 1, message, why, hint, line)


@dataclass(slots=True)
class _Frame:
    """One open list or mapping."""

    container: Any
    path: KeyPath
    key: str | None = None  # the key whose value comes next
    key_span: Span | None = None
    skip: bool = False  # the coming value belongs to a key that was refused


class _TooMuch(Exception):
    """The file goes on beyond what a spec can need."""


class _Reader:
    """Turns parse events into data. One use only."""

    def __init__(self, shown: str, text: str, lines: tuple[str, ...]) -> None:
        self.shown, self.text, self.lines = shown, text, lines
        self.places: dict[KeyPath, Place] = {}
        self.findings: list[Finding] = []
        self.broken: set[KeyPath] = set()
        self.stack: list[_Frame] = []
        self.root: Any = None
        self.count = 0
        self.skipped = 0  # how many open collections are inside a refused value

    def run(self) -> Source:
        documents = 0
        try:
            for event in yaml.parse(self.text, Loader=_PARSER):
                if isinstance(event, yaml.DocumentStartEvent):
                    documents += 1
                    if documents == 2:
                        hint = "one spec a file: delete the line --- and what follows"
                        self.add("K108", self.mark(event.start_mark), "a second document begins here", hint=hint)
                        raise _TooMuch
                elif isinstance(event, yaml.NodeEvent | yaml.CollectionEndEvent):
                    self.event(event)
        except yaml.YAMLError as error:
            self.root = None
            self.syntax(error)
        except (ValueError, OverflowError) as error:  # the pure-Python scanner on escapes such as "\U00110000"
            self.root = None
            self.add("K105", Span(1, 1), f"this is not valid YAML: {error}")
        except _TooMuch:
            self.root = None
        else:
            if self.root is None and not self.findings:
                self.add("K106", Span(1, 1), "the file is empty", hint="one key: value a line, as the reference shows")
            elif not isinstance(self.root, dict) and not self.findings:
                hint = "begin with lines of the form key: value"
                self.add("K107", Span(1, 1), "the file is not a mapping of keys to values", hint=hint)
        data = self.root if isinstance(self.root, dict) else None
        findings = tuple(self.findings)
        return Source(self.shown, self.text, self.lines, data, self.places, findings, frozenset(self.broken))

    # -- findings

    def add(self, code: str, span: Span, message: str, why: str = "", hint: str = "") -> None:
        line = self.lines[span.line - 1] if span.line <= len(self.lines) else ""
        self.findings.append(
            Finding(code, "error", self.shown, span.line, span.column, message, why, hint, line, span.length)
        )
        if len(self.findings) >= MAX_FINDINGS:
            raise _TooMuch

    def syntax(self, error: yaml.YAMLError) -> None:
        problem = str(getattr(error, "problem", None) or getattr(error, "reason", None) or "it cannot be read")
        marks = ("problem_mark", "context_mark")  # a key without its colon is told where it stands, not a line later
        at = (getattr(error, name, None) for name in (marks[::-1] if problem.startswith("could not find") else marks))
        mark = next((one for one in at if one is not None), None)
        context = str(getattr(error, "context", None) or "")
        span = self.mark(mark) if mark is not None else Span(1, 1)
        hint = next((hint for sign, hint in _SYNTAX_HINTS if sign in problem), "")
        # At most one syntax error can be told: nothing after it can be trusted.
        self.findings = self.findings[: MAX_FINDINGS - 1]
        self.add("K105", span, f"this is not valid YAML: {problem}", context, hint)

    def mark(self, start: Any, end: Any = None) -> Span:
        """Turn PyYAML's marks (from 0) into a span on the first line."""
        line = min(start.line, max(len(self.lines) - 1, 0))
        text = self.lines[line]
        column = min(start.column, len(text))
        stop = len(text.rstrip()) if end is None or end.line > line else end.column
        length = 1 if end is None else max(stop - column, 1)
        return Span(line + 1, column + 1, length)

    # -- events

    def event(self, event: Any) -> None:
        if isinstance(event, yaml.CollectionEndEvent):
            if self.skipped:
                self.skipped -= 1
            else:
                self.stack.pop()
            return
        self.count += 1
        span = self.mark(event.start_mark, event.end_mark if isinstance(event, yaml.ScalarEvent) else None)
        if self.count > MAX_VALUES:
            self.add("K114", span, f"more than {MAX_VALUES} values in one file", hint="a spec is a page or two of text")
            raise _TooMuch
        opens = isinstance(event, yaml.CollectionStartEvent)
        if opens and len(self.stack) + self.skipped >= MAX_DEPTH:
            self.add("K114", span, f"nested more than {MAX_DEPTH} deep", hint="a spec needs four levels")
            raise _TooMuch
        if self.skipped:
            self.skipped += opens
            return
        frame = self.stack[-1] if self.stack else None
        if frame is not None and isinstance(frame.container, dict) and frame.key is None and not frame.skip:
            self.read_key(frame, event, span, opens)
            return
        if frame is not None and frame.skip:
            frame.skip = False
            self.skipped += opens
            return
        self.read_value(frame, event, span, opens)

    def read_key(self, frame: _Frame, event: Any, span: Span, opens: bool) -> None:
        self.extras(event, span)
        if not isinstance(event, yaml.ScalarEvent):
            if opens:
                self.add("K115", span, "a key that is not plain text", hint="a single word, such as name:")
            self.skipped += opens
            frame.skip = True
            return
        key = event.value
        if key == "<<" and event.implicit[0]:
            self.add("K111", span, "merge keys are not used in a spec", "each value stands where it is read", "")
            frame.skip = True
        elif key in frame.container:
            first = self.places[(*frame.path, key)].key
            why = f"the first one stands in line {first.line}" if first else ""
            self.add("K109", span, f"the key {quoted(key)} is written twice", why, "keep one of the two")
            frame.skip = True
        else:
            frame.key, frame.key_span = key, span

    def read_value(self, frame: _Frame | None, event: Any, span: Span, opens: bool) -> None:
        path: KeyPath = ()
        if frame is not None:
            path = (*frame.path, frame.key if frame.key is not None else len(frame.container))
        self.places[path] = Place(span, frame.key_span if frame else None)
        if not self.extras(event, span):
            self.broken.add(path)
        value = [] if isinstance(event, yaml.SequenceStartEvent) else {} if opens else self.scalar(event, span, path)
        if frame is None:
            self.root = value
        elif isinstance(frame.container, dict):
            frame.container[frame.key] = value
            frame.key = frame.key_span = None
        else:
            frame.container.append(value)
        if opens:
            self.stack.append(_Frame(value, path))

    def extras(self, event: Any, span: Span) -> bool:
        """Refuse tags, anchors and aliases; return whether there were none."""
        before = len(self.findings)
        if isinstance(event, yaml.AliasEvent):
            self.add("K111", span, f"the alias *{event.anchor} is not used in a spec", "", "write the value itself")
        elif event.anchor is not None:
            self.add("K111", span, f"the anchor &{event.anchor} is not used in a spec", "", "write the value alone")
        tag = getattr(event, "tag", None)
        if tag is not None:
            shown = quoted(tag.replace("tag:yaml.org,2002:", "!!", 1))
            self.add("K110", span, f"the tag {shown} is not used in a spec", "", "write the value alone")
        return len(self.findings) == before

    def scalar(self, event: Any, span: Span, path: KeyPath) -> Any:
        if isinstance(event, yaml.AliasEvent):
            return None
        text: str = event.value
        if not event.implicit[0]:
            value: Any = text
        else:
            value = plain(text)
        if isinstance(value, Refusal):
            self.broken.add(path)
            self.add(value.code, span, value.message, value.why, value.hint)
            return None
        if isinstance(value, str) and (bad := unprintable(value)):
            self.broken.add(path)
            self.add("K116", span, f"the text holds U+{ord(bad):04X}, which cannot be shown", "", "text without it")
            return None
        return value


def unprintable(text: str) -> str:
    """Return the first character of `text` that cannot be printed (spaces of all kinds and line ends can), or ""."""
    if text.isprintable():
        return ""
    return next((char for char in text if not (char.isprintable() or char == "\n" or char in _SPACES)), "")


_SPACES = "\u00a0\u2002\u2003\u2009\u202f\u3000"

_SYNTAX_HINTS = (
    ("nesting depth", "a spec needs four levels"),
    ("found a tab character", "indent with spaces, not with tabs"),
    ("found character '\\t'", "indent with spaces, not with tabs"),
    ("found character that cannot start any token", "indent with spaces, not tabs; quote text that begins with a sign"),
    (
        "mapping values are not allowed",
        "one key: value on a line, neighbours at one indent; quote text that holds a colon and a space",
    ),
    ("could not find expected ':'", "a colon and a space after each key"),
    ("did not find expected key", "give keys of one level the same indent"),
    ("did not find expected '-' indicator", "give entries of one list the same indent"),
    ("unexpected end of stream", "close the quote or bracket"),
    ("found unexpected document indicator", "close the quote or bracket"),
    ("did not find expected ',' or", "close the bracket, and put a comma between entries"),
    ("found unknown escape character", "single quotes, in which a backslash is only a backslash"),
)
