"""Which start and end lines a machine file may hold: a whitelist, as these lines go into the program as they are.

The words are those of RS274 (NISTIR 6556). A program of ours counts on millimetres, absolute distances and a beam
that is off until it says otherwise; so the lines may confirm that, move, wait, and switch the air, and no more.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from kerfwave.findings import quoted
from kerfwave.spec.units import number

WORDS: dict[str, str] = {
    "G0": "rapid move", "G1": "straight move, beam off", "G4": "wait P seconds", "G17": "plane XY",
    "G21": "millimetres", "G54": "first work offset", "G90": "absolute distances", "G94": "feed per minute",
    "M5": "beam off", "M7": "air on", "M8": "air on", "M9": "air off", "M2": "end, in end lines only",
    "M30": "end, in end lines only", "F": "feed, mm/min", "S": "power word, 0 only", "P": "seconds, with G4",
    "X": "mm, inside the bed", "Y": "mm, inside the bed", "Z": "mm, within 100 of zero",
}  # fmt: skip

_WORD = re.compile(r"([A-Z]) ?([-+]?(?:[0-9]{1,6}(?:\.[0-9]{0,6})?|\.[0-9]{1,6}))(?: +|$|(?=[A-Z]))")
_LASER_ON = {"M3", "M4"}
_REASONS = {
    "G20": "programs are in millimetres",
    "G91": "programs use absolute distances",
    "M3": "no line may switch the beam on",
    "M4": "no line may switch the beam on",
}
_FARTHEST_Z = 100.0
_LONGEST_WAIT = 60.0


def problems(line: str, end: bool, bed: tuple[float, float], top_feed: float) -> Iterator[tuple[int, int, str, str]]:
    """Yield (offset, length, what is wrong, why) for every word of `line` that may not stand there.

    Args:
        line: one start or end line.
        end: whether it is an end line.
        bed: width and height of the bed, mm.
        top_feed: the machine's fastest speed, mm/min.
    """
    position, seen = 0, set[str]()
    while position < len(line):
        match = _WORD.match(line, position)
        if match is None:
            rest = line[position:]
            yield position, max(len(rest.rstrip()), 1), f"{quoted(rest)} is no RS274 word", _form(rest)
            return
        letter, digits = match.groups()
        value = float(digits)
        word = f"{letter}{number(value)}" if letter in "GM" else letter
        wrong = _word_problem(word, value, line, end, bed, top_feed)
        if wrong is None and letter not in "GM" and letter in seen:
            wrong = (f"{letter} stands twice in one line", "")
        seen.add(letter)
        if wrong is not None:
            yield position, len(match.group().rstrip()), *wrong
        position = match.end()


def _form(rest: str) -> str:
    if rest[:1] in "(;%":
        return "start and end lines hold no comments"
    return "a capital letter and a number, such as G21 or F3000" if rest.strip() else "the line ends in spaces"


def _word_problem(
    word: str, value: float, line: str, end: bool, bed: tuple[float, float], top_feed: float
) -> tuple[str, str] | None:
    if word not in WORDS:
        return f"{word} is not allowed here", _REASONS.get(word, "it is not on the list of allowed words")
    if word in ("M2", "M30") and not end:
        return f"{word} would end the program before it began", ""
    if word == "S" and value != 0:
        return f"S{number(value)} sets a beam power", "only S0 may stand here"
    if word == "P" and ("G4" not in re.sub(r"[GM] ?0*(?=[0-9])", "G", line) or not 0 <= value <= _LONGEST_WAIT):
        return f"P{number(value)} is no waiting time", f"seconds from 0 to {_LONGEST_WAIT:.0f}, in a line with G4"
    if word == "F" and not 0 < value <= top_feed:
        return f"F{number(value)} is beyond this machine", f"allowed: up to {number(top_feed)} mm/min"
    if word in "XY":
        side = bed[0] if word == "X" else bed[1]
        if not 0 <= value <= side:
            return f"{word}{number(value)} lies outside the bed", f"allowed: 0 to {number(side)} mm"
    if word == "Z" and abs(value) > _FARTHEST_Z:
        return f"Z{number(value)} is too far", f"allowed: {-_FARTHEST_Z:.0f} to {_FARTHEST_Z:.0f} mm"
    return None
