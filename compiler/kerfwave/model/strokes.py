"""Letters and digits as single strokes, for what a beam writes and a drawing shows."""

from __future__ import annotations

from kerfwave.model.parts import Point

_WIDE, _TALL, _GAP = 4.0, 6.0, 2.0
# Own drawings on a grid of 4 by 6; strokes are separated by "|", points by blanks, each point two digits: x and y.
_GLYPHS = {
    "0": "00 40 46 06 00",
    "1": "15 26 20",
    "2": "06 46 43 03 00 40",
    "3": "06 46 43 40 00|13 43",
    "4": "06 03 43|46 40",
    "5": "46 06 03 43 40 00",
    "6": "46 06 00 40 43 03",
    "7": "06 46 20",
    "8": "00 40 46 06 00|03 43",
    "9": "43 03 06 46 40 00",
    "A": "00 26 40|13 33",
    "B": "00 06 36 33 03|33 43 40 00",
    "C": "46 06 00 40",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40|03 33",
    "F": "46 06 00|03 33",
    "G": "46 06 00 40 43 23",
    "H": "00 06|40 46|03 43",
    "I": "26 20",
    "J": "46 40 00 02",
    "K": "00 06|46 03 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "10 01 05 16 36 45 41 30 10",
    "P": "00 06 46 43 03",
    "Q": "10 01 05 16 36 45 41 30 10|31 40",
    "R": "00 06 46 43 03|23 40",
    "S": "46 16 05 14 33 42 31 00",
    "T": "06 46|26 20",
    "U": "06 00 40 46",
    "V": "06 20 46",
    "W": "06 10 23 30 46",
    "X": "00 46|06 40",
    "Y": "06 23 46|23 20",
    "Z": "06 46 00 40",
    "a": "04 34 43 40 10 01 12 42",
    "b": "06 00 30 41 43 34 04",
    "c": "44 14 03 01 10 40",
    "d": "46 40 10 01 03 14 44",
    "e": "02 42 43 34 14 03 01 10 40",
    "f": "46 36 25 20|04 44",
    "g": "42 11 02 03 14 44 40 00",
    "h": "06 00|03 14 34 43 40",
    "i": "24 20|26 25",
    "j": "34 31 20 00|36 35",
    "k": "06 00|44 02 40",
    "l": "26 21 30",
    "m": "00 04 24 20|24 44 40",
    "n": "00 04|03 14 34 43 40",
    "o": "10 01 03 14 34 43 41 30 10",
    "p": "00 04 34 43 41 30 01",
    "q": "40 44 14 03 02 11 41",
    "r": "00 04|02 24 44",
    "s": "44 14 03 42 30 00",
    "t": "26 21 30|04 44",
    "u": "04 01 10 30 41|44 40",
    "v": "04 20 44",
    "w": "04 10 23 30 44",
    "x": "00 44|04 40",
    "y": "04 22|44 00",
    "z": "04 44 00 40",
    "-": "13 33",
    "+": "13 33|22 24",
    ".": "20 21",
}
KNOWN = frozenset(_GLYPHS) | {" "}


def strokes(text: str, at: Point, tall_mm: float) -> tuple[tuple[Point, ...], ...]:
    """Return the lines that write `text` with its lower left corner at `at`; unknown characters leave a blank."""
    scale = tall_mm / _TALL
    found = []
    for place, char in enumerate(text):
        left = place * (_WIDE + _GAP)
        for stroke in _GLYPHS.get(char, "").split("|"):
            line = tuple((at[0] + scale * (left + int(p[0])), at[1] + scale * int(p[1])) for p in stroke.split())
            if line:
                found.append(line)
    return tuple(found)


def width_mm(text: str, tall_mm: float) -> float:
    """Return how wide `text` comes out."""
    return max(0.0, (len(text) * (_WIDE + _GAP) - _GAP) * tall_mm / _TALL)
