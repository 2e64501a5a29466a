"""What must hold of every outcome, however hostile the input: told as sentences, none if all is well."""

from __future__ import annotations

import csv
import json
import os
import re
import sys
import sysconfig
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import html5lib

import kerfwave
from hostile import MARK, SECRET
from markup import check_html, check_svg

NOT_A_NUMBER = re.compile(r"(?i)(?<![a-z])(nan|inf|infinity)(?![a-z])")
CODE_LINE = re.compile(r"%|(?:[A-Z][-+]?[0-9]*\.?[0-9]+ ?)*")
FORMULA = "=+-@＝＋－＠\t\r"
NUMBER = re.compile(r"[-+]?[0-9.]+")


def of_words(text: str) -> list[str]:
    """Return what is wrong with what a person was told."""
    found = [f"said {word}" for word in ("Traceback", "fault in kerfwave", SECRET) if word in text]
    return found + [f"said U+{ord(c):04X}" for c in set(text) if not (c.isprintable() or c in "\n\u00a0\u3000")]


def of_package(folder: Path) -> list[str]:
    """Return what is wrong with the files of a package."""
    found = []
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            text = path.read_text("utf-8")
            try:
                found += [f"{path.name}: {one}" for one in _of_file(path.suffix, text)]
            except Exception as error:  # a parser gave up: that is what we look for
                found.append(f"{path.name}: {type(error).__name__}: {error}")
    return found


def _of_file(suffix: str, text: str) -> Iterator[str]:
    if SECRET in text:
        yield "holds what lies outside the shelf"
    if match := NOT_A_NUMBER.search(text):
        yield f"no number: {text[max(0, match.start() - 40) : match.end() + 20]!r}"
    if suffix == ".json":
        json.loads(text, parse_constant=_refuse)
    elif suffix == ".nc":
        yield from _of_code(text)
    elif suffix == ".csv":
        for row in csv.reader(text.splitlines()):
            for cell in (part for whole in row for part in whole.split(";")):
                if cell.strip()[:1] in tuple(FORMULA) and not NUMBER.fullmatch(cell):
                    yield f"a formula: {cell!r}"
    elif suffix == ".svg":
        check_svg(text)
        yield from _of_elements(ET.fromstring(text).iter())
    elif suffix == ".html":
        check_html(text)
        yield from _of_elements(html5lib.parse(text).iter())


def _refuse(word: str) -> None:
    raise ValueError(f"{word} in JSON")


def _of_code(text: str) -> Iterator[str]:
    if not text.isascii() or not text.endswith("\n"):
        yield "not plain ASCII lines"
    for number, line in enumerate(text.splitlines(), 1):
        bare, opened = "", False
        for sign in line.partition(";")[0] if line.startswith(";") else line:
            opened = (opened or sign == "(") and not (opened and sign == ")")
            bare += "" if opened or sign == ")" else sign
        if opened or MARK in bare or not CODE_LINE.fullmatch(bare.strip()):
            yield f"line {number} acts: {line!r}"
        if re.search(r"\(\s*(MSG|PRINT|DEBUG|LOG)[A-Z]*,", line, re.IGNORECASE):
            yield f"line {number} is shown to the operator: {line!r}"


def _of_elements(elements: Iterator[Any]) -> Iterator[str]:
    for element in elements:
        tag = element.tag.rpartition("}")[2].lower() if isinstance(element.tag, str) else "comment"
        if MARK.lower() in tag or (tag in ("script", "style", "comment") and MARK in (element.text or "")):
            yield f"text became <{tag}>"
        for key, value in element.attrib.items():
            if MARK.lower() in key.lower() or (
                MARK in value and key.lower() in ("href", "src", "style", "id", "class")
            ):
                yield f"text became {key}={value!r}"


class Watch:
    """Notes what the program opens, lists, makes or removes, and whom it calls, outside the folders that it may touch.

    The interpreter tells of such things before they happen (PEP 578); a hook that was added cannot be taken away
    again, hence the one `Watch` a process.
    """

    _CHANGES = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate", "os.chmod")
    _CALLS = ("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn", "os.fork", "urllib.", "ftplib.")

    def __init__(self) -> None:
        places = [*filter(None, sys.path), sys.prefix, sys.base_prefix, *sysconfig.get_paths().values()]
        places.append(str(Path(kerfwave.__file__).parents[2]))
        self.ours = tuple({os.path.realpath(place) + os.sep for place in places})
        self.reads: tuple[str, ...] = ()
        self.writes: tuple[str, ...] = ()
        self.found: list[str] | None = None
        self.blind = False
        sys.addaudithook(self._hook)

    @contextmanager
    def over(self, shelf: Path, out: Path) -> Iterator[list[str]]:
        """Watch one run; the list fills with what went astray."""
        self.writes = (os.path.realpath(out),)
        self.reads = (os.path.realpath(shelf), *self.writes)
        found = self.found = []
        try:
            yield found
        finally:
            self.found = None

    def _hook(self, event: str, arguments: tuple[Any, ...]) -> None:
        if self.found is None or self.blind:
            return
        if event.startswith(self._CALLS):
            self.found.append(f"{event}{arguments[:2]!r}")
        elif event == "open" and isinstance(arguments[0], str | bytes | os.PathLike):
            writes = arguments[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
            self._at(event, arguments[0], -1, bool(writes))
        elif event in ("os.listdir", "os.scandir") and isinstance(arguments[0], str | bytes | os.PathLike):
            self._at(event, arguments[0], -1, False)
        elif event in self._CHANGES:
            folder = arguments[-1] if isinstance(arguments[-1], int) else -1
            for path in arguments[: 2 if event in ("os.rename", "os.link") else 1]:
                if isinstance(path, str | bytes | os.PathLike):
                    self._at(event, path, folder, True)

    def _at(self, event: str, path: Any, folder: int, writes: bool) -> None:
        self.blind = True
        try:
            name = Path(os.fsdecode(path))
            if folder >= 0 and not name.is_absolute():
                name = Path(f"/proc/self/fd/{folder}").readlink() / name
            # A link itself is removed or renamed where it stands; opened, it leads on.
            follows = event in ("open", "os.scandir", "os.listdir")
            real = os.path.realpath(name) if follows else f"{os.path.realpath(name.parent)}{os.sep}{name.name}"
            allowed = self.writes if writes else self.reads
            inside = any(real == place or real.startswith(place + os.sep) for place in allowed)
            if (
                not inside
                and (writes or not f"{real}{os.sep}".startswith(self.ours))
                and not str(name).startswith("/dev/")
            ):
                assert self.found is not None
                self.found.append(f"{event} {'writing' if writes else 'reading'} {name}")
        finally:
            self.blind = False
