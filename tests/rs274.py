"""An interpreter of RS274 for tests, written from NISTIR 6556 and from nothing in the package.

It is strict where the package's own reader is brief: modal groups, the order of execution within a block, what
must be said before what. Anything that it does not know is an error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

# NISTIR 6556, table 4: words of one group exclude each other in one block.
GROUPS = {
    "motion": {"G0", "G1", "G2", "G3", "G80"},
    "plane": {"G17", "G18", "G19"},
    "distance": {"G90", "G91"},
    "feed mode": {"G93", "G94"},
    "units": {"G20", "G21"},
    "dwell": {"G4"},
    "stopping": {"M0", "M1", "M2", "M30", "M60"},
    "spindle": {"M3", "M4", "M5"},
    "coolant": {"M7", "M8", "M9"},
}
RADIUS_MM = 0.002  # section 3.5.3.2
RADIUS_IN = 0.0002
LONGEST_BLOCK = 256  # section 3.3.1


class Rs274Error(ValueError):
    """The text is no program that an RS274 interpreter would run."""


@dataclass
class Stroke:
    """One motion: G word, points in mm from start to end, S if the spindle word is on, F in mm/min, block number."""

    word: str
    points: list[tuple[float, float]]
    power: float
    feed: float
    block: int


@dataclass
class Run:
    """What a program did."""

    strokes: list[Stroke] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    air: list[str] = field(default_factory=list)
    at: tuple[float, float] = (0.0, 0.0)
    lit: bool = False
    ended: bool = False

    def burns(self, least_power: float = 0.0) -> list[list[tuple[float, float]]]:
        """Polylines cut without switching off in between, with more power than `least_power`."""
        lines: list[list[tuple[float, float]]] = []
        joined = False
        for stroke in self.strokes:
            if stroke.power > least_power:
                if joined:
                    lines[-1] += stroke.points[1:]
                else:
                    lines.append(list(stroke.points))
            joined = stroke.power > least_power
        return lines

    def rapids(self) -> list[Stroke]:
        return [stroke for stroke in self.strokes if stroke.word == "G0"]


def interpret(text: str, chord_mm: float = 0.001) -> Run:
    """Run `text`; arcs become polylines whose chords are no further than `chord_mm` from them."""
    run = Run()
    modal: dict[str, str] = {}
    speed = feed = 0.0
    spindle = False
    for number, block in enumerate(text.splitlines(), 1):
        code = _without_comments(block, number, run.comments)
        words = _words(code, number)
        if not words:
            continue
        if run.ended:
            raise Rs274Error(f"{number}: a block after the end of the program")
        said: dict[str, str] = {}
        values: dict[str, float] = {}
        for letter, value in words:
            if letter in "GM":
                name = f"{letter}{value:g}"
                group = next((g for g, members in GROUPS.items() if name in members), None)
                if group is None:
                    raise Rs274Error(f"{number}: {name} is not known")
                if group in said:
                    raise Rs274Error(f"{number}: two words of the group {group}: {said[group]} and {name}")
                said[group] = name
            elif letter in "XYZIJFSPN":
                if letter in values:
                    raise Rs274Error(f"{number}: {letter} twice")
                values[letter] = value
            else:
                raise Rs274Error(f"{number}: the word {letter} is not known")
        scale = 25.4 if {**modal, **said}.get("units") == "G20" else 1.0
        # Table 8, the order of execution: feed, speed, spindle, coolant, dwell, plane, units, distance, motion, stop.
        if "F" in values:
            feed = values["F"] * scale
        if "S" in values:
            if values["S"] < 0:
                raise Rs274Error(f"{number}: a negative spindle speed")
            speed = values["S"]
        if "spindle" in said:
            spindle = said["spindle"] != "M5"
        if "coolant" in said:
            run.air.append(said["coolant"])
        modal |= {g: w for g, w in said.items() if g not in ("stopping", "dwell", "coolant")}
        axes = [a for a in "XYZ" if a in values]
        if "motion" in said and said["motion"] != "G80" and not axes and "dwell" not in said:
            raise Rs274Error(f"{number}: {said['motion']} without an axis word")
        if axes:
            if "motion" not in modal or modal["motion"] == "G80":
                raise Rs274Error(f"{number}: axis words without a motion mode")
            for group in ("units", "distance"):
                if group not in modal:
                    raise Rs274Error(f"{number}: motion before {group} are said")
            start = run.at
            end = _end(start, values, scale, modal["distance"] == "G91")
            points = _path(modal, start, end, values, scale, chord_mm, number)
            if modal["motion"] != "G0" and feed <= 0:
                raise Rs274Error(f"{number}: {modal['motion']} with no feed")
            run.strokes.append(Stroke(modal["motion"], points, speed if spindle else 0.0, feed, number))
            run.at = end
        elif "I" in values or "J" in values:
            raise Rs274Error(f"{number}: I or J without an arc")
        if said.get("stopping") in ("M2", "M30"):
            run.ended = True
    run.lit = spindle and speed > 0
    return run


def _without_comments(block: str, number: int, comments: list[str]) -> str:
    """Take comments out; a parenthesis inside a comment, or one that stays open, is an error (section 3.3.4)."""
    if len(block) > LONGEST_BLOCK:
        raise Rs274Error(f"{number}: longer than {LONGEST_BLOCK} characters")
    code = ""
    comment: str | None = None
    for position, char in enumerate(block):
        if not " " <= char <= "~" and char != "\t":
            raise Rs274Error(f"{number}: the character {char!r}")
        if comment is None:
            if char == "(":
                comment = ""
            elif char == ")":
                raise Rs274Error(f"{number}: a comment ends that never began")
            elif char == ";":
                comments.append(block[position + 1 :])
                break
            else:
                code += char
        elif char == "(":
            raise Rs274Error(f"{number}: a comment within a comment")
        elif char == ")":
            comments.append(comment)
            comment = None
        else:
            comment += char
    if comment is not None:
        raise Rs274Error(f"{number}: a comment that never ends")
    return code


def _words(code: str, number: int) -> list[tuple[str, float]]:
    """Split into letter and number; blanks may stand anywhere and case does not matter (section 3.3)."""
    code = "".join(code.split()).upper()
    words = []
    position = 0
    while position < len(code):
        letter = code[position]
        if not letter.isalpha():
            raise Rs274Error(f"{number}: {letter!r} where a letter should stand")
        stop = position + 1
        while stop < len(code) and code[stop] in "+-.0123456789":
            stop += 1
        try:
            words.append((letter, float(code[position + 1 : stop])))
        except ValueError:
            raise Rs274Error(f"{number}: {letter} without a number") from None
        position = stop
    return words


def _end(start: tuple[float, float], values: dict[str, float], scale: float, relative: bool) -> tuple[float, float]:
    x = values["X"] * scale if "X" in values else None
    y = values["Y"] * scale if "Y" in values else None
    if relative:
        return start[0] + (x or 0.0), start[1] + (y or 0.0)
    return (start[0] if x is None else x, start[1] if y is None else y)


def _path(
    modal: dict[str, str],
    start: tuple[float, float],
    end: tuple[float, float],
    values: dict[str, float],
    scale: float,
    chord_mm: float,
    number: int,
) -> list[tuple[float, float]]:
    if modal["motion"] in ("G0", "G1"):
        if "I" in values or "J" in values:
            raise Rs274Error(f"{number}: a centre with {modal['motion']}")
        return [start, end]
    if modal.get("plane") != "G17":
        raise Rs274Error(f"{number}: an arc outside the XY plane")
    if "I" not in values and "J" not in values:
        raise Rs274Error(f"{number}: an arc without I and J")
    cx, cy = start[0] + values.get("I", 0.0) * scale, start[1] + values.get("J", 0.0) * scale
    r0, r1 = math.dist(start, (cx, cy)), math.dist(end, (cx, cy))
    if abs(r0 - r1) > (RADIUS_MM if scale == 1 else RADIUS_IN * 25.4):
        raise Rs274Error(f"{number}: the radius is {r0:.4f} at the start of the arc and {r1:.4f} at its end")
    a0, a1 = math.atan2(start[1] - cy, start[0] - cx), math.atan2(end[1] - cy, end[0] - cx)
    if modal["motion"] == "G3":
        while a1 <= a0 + 1e-12:
            a1 += 2 * math.pi
    else:
        while a1 >= a0 - 1e-12:
            a1 -= 2 * math.pi
    count = max(2, math.ceil(abs(a1 - a0) / (2 * math.acos(1 - min(1.0, chord_mm / r0)))))
    points = [start]
    for k in range(1, count):
        share = k / count
        angle, radius = a0 + share * (a1 - a0), r0 + share * (r1 - r0)
        points.append((cx + radius * math.cos(angle), cy + radius * math.sin(angle)))
    points.append(end)
    return points
