"""Digits and a few letters as single strokes, for labels that a beam draws."""

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
