"""A small reader of program text, for the proof in `kerfwave.cut.check`. It shares nothing with the writer.

It follows RS274 as NISTIR 6556 describes it, as far as our programs go: comments, N, G0 to G4, G17, G20, G21,
G90, G91, G94, F, S, M2 to M9, M30, I and J relative to the start; Z and G28 on machines that have them. Any other word
is reported, never skipped silently.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_WORD = re.compile(rf"([A-Z])\s*({NUMBER})")
_COMMENT = re.compile(r"\([^()]*\)")
_SAGITTA_MM = 0.002  # arcs are read as chords so close to them
_IDLE = frozenset({("G", 4.0), ("G", 17.0), ("G", 94.0), ("M", 7.0), ("M", 8.0), ("M", 9.0)})
_RADIUS_MM = 0.002  # NISTIR 6556: how far the radius at the end of an arc may be from that at its start


# One line of code: capitals without comments, what is wrong with it, its words, and whether there is more than words.
_Line = tuple[str, str, tuple[tuple[str, float], ...], bool]


@dataclass(frozen=True, slots=True)
class Motion:
    """One move as read: its line in the text, all points from start to end (shape (k, 2)), and the beam."""

    line: int
    rapid: bool
    points: npt.NDArray[np.float64]
    power: float  # the S word in force, 0 while the beam is off
    feed_mm_min: float
    depth_mm: float = 0.0  # of the focus below the upper face, as far as the program moves the head


@dataclass(frozen=True, slots=True)
class Reading:
    """A program as read."""

    motions: tuple[Motion, ...]
    faults: tuple[str, ...]  # what is wrong or not understood in the program's own lines
    unknown: tuple[str, ...]  # machine lines that hold words this reader cannot follow
    lit_at_end: bool
    ended: bool  # an M2 or M30 was there


@dataclass(slots=True)
class _State:
    focus: bool = False  # Z is known
    home: bool = False  # G28 is known
    placed: bool = True  # the position is known; not after G28
    z: float = 0.0
    motion: int = 0
    x: float = 0.0
    y: float = 0.0
    feed: float = 0.0
    power: float = 0.0
    spindle: bool = False
    scale: float = 1.0
    absolute: bool = True
    ended: bool = False
    motions: list[Motion] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    courses: dict[tuple[object, ...], npt.NDArray[np.float64]] = field(default_factory=dict)  # arcs there were already


def read(text: str, machine_lines: Collection[str] = (), *, focus: bool = False, home: bool = False) -> Reading:
    """Read a program.

    Parameters
    ----------
    text
        the whole program.
    machine_lines
        start and end lines of the machine file: the person's own code, in which an unknown word is no fault.
    focus
        whether Z moves the head; else it is not understood.
    home
        whether G28 returns the head to a home whose place is not known.
    """
    own = {line.strip().upper() for line in machine_lines}
    state = _State(focus=focus, home=home)
    understood: dict[str, _Line] = {}  # the passes repeat each other, line by line
    for number, raw in enumerate(text.split("\n"), 1):
        line = understood.get(raw)
        if line is None:
            line = understood[raw] = _line(raw)
        code, fault, words, strange = line
        if fault:
            state.faults.append(f"line {number}: {fault}")
        if not code:
            continue
        if state.ended:
            state.faults.append(f"line {number}: code after the end of the program")
        known = not strange and _obey(words, number, state)
        if not known and code in own:
            state.unknown.append(code)
        elif not known:
            state.faults.append(f"line {number}: not understood: {code}")
    return Reading(
        motions=tuple(state.motions),
        faults=tuple(state.faults),
        unknown=tuple(state.unknown),
        lit_at_end=state.spindle and state.power > 0,
        ended=state.ended,
    )


def _line(raw: str) -> _Line:
    """Take one line apart."""
    code, fault = code_of(raw)
    words = tuple((letter, float(value)) for letter, value in _WORD.findall(code))
    return code, fault, words, bool(_WORD.sub("", code).strip())


def code_of(raw: str) -> tuple[str, str]:
    """Return (code in capitals, what is wrong with the line or "")."""
    fault = "" if raw.isascii() and raw.isprintable() else "a character that is not printable ASCII"
    code = _COMMENT.sub(" ", raw) if "(" in raw else raw
    if "(" in code or ")" in code:
        fault = fault or "a parenthesis without its partner"
    code = code.split(";", 1)[0]
    return code.strip().upper(), fault


def _obey(words: tuple[tuple[str, float], ...], number: int, state: _State) -> bool:
    """Carry out one line; False if it holds a word that is not known here."""
    axes: dict[str, float] = {}
    known = True
    moves = False
    for letter, value in words:
        if letter == "G" and value in (0, 1, 2, 3):
            state.motion = int(value)
        elif letter == "G" and value in (20, 21):
            state.scale = 25.4 if value == 20 else 1.0
        elif letter == "G" and value in (90, 91):
            state.absolute = value == 90
        elif letter == "M" and value in (3, 4, 5):
            state.spindle = value != 5
        elif letter == "M" and value in (2, 30):
            state.ended = True
        elif letter == "F":
            state.feed = value * state.scale
        elif letter == "S":
            state.power = value
        elif (letter, value) == ("G", 28.0) and state.home:
            state.placed = False
            if state.spindle and state.power > 0:
                state.faults.append(f"line {number}: the head goes home with the beam on")
        elif letter == "Z" and state.focus:
            state.z = value * state.scale if state.absolute else state.z + value * state.scale
            if state.spindle and state.power > 0:
                state.faults.append(f"line {number}: the head moves up or down with the beam on")
        elif letter in "XYIJ":
            axes[letter] = value * state.scale
            moves = True
        elif not (letter == "N" or (letter, value) in _IDLE or (letter == "P" and ("G", 4.0) in words)):
            known = False
    if moves:
        _move(axes, number, state)
    return known


def _move(axes: dict[str, float], number: int, state: _State) -> None:
    x, y = axes.get("X"), axes.get("Y")
    if not state.absolute:
        x, y = None if x is None else state.x + x, None if y is None else state.y + y
    end = (state.x if x is None else x, state.y if y is None else y)
    start = (state.x, state.y)
    if not state.placed:
        if state.motion != 0 or x is None or y is None or not state.absolute or (state.spindle and state.power > 0):
            state.faults.append(f"line {number}: from home the program must go to a whole place, beam off")
        start = end
        state.placed = True
    points = np.array([start, end])
    if state.motion in (2, 3):
        centre = (start[0] + axes.get("I", 0.0), start[1] + axes.get("J", 0.0))
        if "I" not in axes and "J" not in axes:
            state.faults.append(f"line {number}: an arc without its centre")
        elif abs(math.dist(start, centre) - math.dist(end, centre)) > _RADIUS_MM:
            state.faults.append(f"line {number}: an arc whose end is not as far from its centre as its start")
        else:
            course = (start, end, centre, state.motion)
            if course not in state.courses:
                state.courses[course] = _arc(start, end, centre, ccw=state.motion == 3)
            points = state.courses[course]
    elif "I" in axes or "J" in axes:
        state.faults.append(f"line {number}: a centre on a straight move")
    if state.motion != 0 and state.feed <= 0:
        state.faults.append(f"line {number}: a feed move before any F word")
    power = state.power if state.spindle else 0.0
    state.motions.append(Motion(number, state.motion == 0, points, power, state.feed, -state.z + 0.0))
    state.x, state.y = end


def _arc(
    start: tuple[float, float], end: tuple[float, float], centre: tuple[float, float], *, ccw: bool
) -> npt.NDArray[np.float64]:
    radius = math.dist(start, centre)
    begin = math.atan2(start[1] - centre[1], start[0] - centre[0])
    turn = math.atan2(end[1] - centre[1], end[0] - centre[0]) - begin
    turn = turn % (2 * math.pi) or 2 * math.pi
    if not ccw:
        turn = turn - 2 * math.pi or -2 * math.pi
    step = 2 * math.acos(max(0.0, 1 - _SAGITTA_MM / radius)) if radius > 0 else math.pi
    count = max(1, math.ceil(abs(turn) / step))
    angles = begin + turn / count * np.arange(count + 1)
    points = np.empty((count + 1, 2))
    np.cos(angles, out=points[:, 0])
    np.sin(angles, out=points[:, 1])
    points *= radius
    points += centre
    points[0], points[-1] = start, end
    return points
