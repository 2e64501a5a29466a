"""A program as plain RS274 text (NISTIR 6556): absolute millimetres, one move a line.

Every rapid is preceded by the word that switches the beam off, on a line of its own; the beam is lit at the start
of each contour, on a line of its own. Text that a person wrote reaches a program only through `comment`.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from kerfwave.model.parts import Contour, Move, Point, Recipe, SheetProgram
from kerfwave.model.spec import Machine
from kerfwave.numfmt import fixed, several

# Letters, digits and a little punctuation. Some controllers act on other characters (hold, status, resume, end of
# file) wherever they stand, even within a comment.
_HARMLESS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789 .:,+-=*/_'\"")
_SPELT = str.maketrans({";": ",", "%": " percent ", "(": " ", ")": None})
_WORDS = {"rapid": "G0", "line": "G1", "arc-cw": "G2", "arc-ccw": "G3"}
_MODES = "G17 G21 G90 G94"
_HOME = "G28"  # without axis words: from where the head stands straight home (NISTIR 6556, 3.5.8, from memory)
_LEAST_LINE = 60  # an arc with all its words at three decimals
_AIR_BY_HAND = "Turn the air assist on by hand"
_Numbers = Callable[[float], str]
_ENDS = frozenset({"M2", "M02", "M30"})


@dataclass(frozen=True, slots=True)
class Rendered:
    """A program's text and, for each contour, the line (from 1) on which it begins."""

    text: str
    lines: tuple[int, ...]


def comment(text: str) -> str:
    """Return `text` as one RS274 comment, which can never be code.

    Accents and parentheses are dropped, a semicolon becomes a comma, every other character that is not harmless a
    blank, and so does a comma after the first word: "MSG," at the start of a comment would be shown to the operator
    (NISTIR 6556, 3.3.3).
    """
    return f"({_harmless(text)})"


def remark(text: str, machine: Machine) -> str:
    """Return `text` as whole comment lines in the machine's own style; empty where it takes no comments."""
    return "".join(f"{line}\n" for line in _wrapped(text, machine))


def render(program: SheetProgram, machine: Machine, recipe: Recipe, depths_mm: Sequence[float] = ()) -> str:
    """Return the text of `rendered`."""
    return rendered(program, machine, recipe, depths_mm).text


def rendered(program: SheetProgram, machine: Machine, recipe: Recipe, depths_mm: Sequence[float] = ()) -> Rendered:
    """Return the whole text of `program`, a line feed at the end of every line, and where its contours begin.

    `depths_mm` says for each contour how deep the focus lies below the upper face (Z is minus that); empty: the head
    does not move.

    Raises
    ------
    ValueError
        where a line of the machine file is no single line of printable ASCII, or a line would be longer than the
        machine takes.
    """
    return headed(header(program, machine, recipe), code(program, machine, recipe, depths_mm))


def header(program: SheetProgram, machine: Machine, recipe: Recipe) -> str:
    """Return what a program says of itself, in comment lines; "" where the machine takes none.

    Raises
    ------
    ValueError
        where the machine takes lines that are too short.
    """
    return _lines([part for text in _said(program, recipe) for part in _wrapped(text, machine)], machine)


def headed(head: str, below: Rendered) -> Rendered:
    """Return `head` and the code `below` it as one program."""
    shift = head.count("\n")
    return Rendered(head + below.text, tuple(line + shift for line in below.lines))


def code(program: SheetProgram, machine: Machine, recipe: Recipe, depths_mm: Sequence[float] = ()) -> Rendered:
    """Return all of a program but its header, as `rendered` does."""
    off = f"{_machine_line(machine.laser_off)} S0"
    lines = [off, _MODES]
    if machine.home == "g28":
        lines.append(_HOME)
    if machine.start:
        # Whatever the machine's own lines leave behind, the program goes on dark and in its own modes.
        lines += [*map(_machine_line, machine.start), off, _MODES]
    if recipe.air_assist:
        lines += [_machine_line(machine.air_on)] if machine.air_on else _wrapped(_AIR_BY_HAND, machine)
    elif machine.air_off:
        lines.append(_machine_line(machine.air_off))
    coordinate, offset = _numbers(machine.decimals), _numbers(max(machine.decimals, 3))
    at: Point | None = None
    begins = []
    depth = None
    for number, contour in enumerate(program.contours):
        begins.append(len(lines) + 1)
        lines += _wrapped(f"{contour.piece} {contour.kind}", machine)[:1]
        if depths_mm:
            # Stated at every contour: each can be the first after a restart.
            depth = depths_mm[number]
            lines += [off, f"G0 Z{fixed(-depth + 0.0, 3)}"]
        lines += _contour(contour, at, machine, off, coordinate, offset)
        at = (contour.moves[-1].x_mm, contour.moves[-1].y_mm)
    lines += [off, *(["G0 Z0"] if depth is not None else []), "G0 X0 Y0"]
    if machine.air_off:
        lines.append(_machine_line(machine.air_off))
    end = [_machine_line(line) for line in machine.end]
    lines += end
    if not any(word in _ENDS for line in end for word in line.upper().split()):
        lines += [off, machine.program_end]
    return Rendered(_lines(lines, machine), tuple(begins))


def _lines(lines: Sequence[str], machine: Machine) -> str:
    """Return lines as text, if the machine takes them."""
    limit = machine.line_length
    if limit < _LEAST_LINE:
        raise ValueError(f"line_length: {limit} is too short for an arc; at least {_LEAST_LINE}")
    too_long = next((line for line in lines if len(line) > limit), None)
    if too_long is not None:
        raise ValueError(f"a line is longer than the {limit} characters that the machine takes: {too_long}")
    return "".join([f"{line}\n" for line in lines])


def _harmless(text: str) -> str:
    folded = unicodedata.normalize("NFKD", text)
    folded = "".join(c for c in folded if not unicodedata.combining(c))
    folded = folded.translate(_SPELT)
    clean = " ".join("".join(c if c in _HARMLESS else " " for c in folded).split())
    clean = clean.replace(" .", ".").replace(" ,", ",")
    head, comma, rest = clean.partition(",")
    return f"{head} {rest.lstrip()}" if comma and " " not in head.strip() else clean


def _wrapped(text: str, machine: Machine) -> list[str]:
    """Return `text` as comment lines in the machine's own style; none where it takes no comments."""
    if machine.comments == "none":
        return []
    parts = textwrap.wrap(_harmless(text), machine.line_length - 2, break_on_hyphens=False) or [""]
    return [comment(part) if machine.comments == "parentheses" else f"; {_harmless(part)}" for part in parts]


def _said(program: SheetProgram, recipe: Recipe) -> Iterator[str]:
    yield f"Kerfwave program {program.name}, stock {program.stock}"
    yield f"Sheet {fixed(program.width_mm, 1)} x {fixed(program.height_mm, 1)} mm"
    yield "Origin at the lower left of the sheet, x right, y up, absolute millimetres"
    if not program.verified:
        yield "UNVERIFIED RECIPE: power, feed, passes and kerf are an estimate, not a measured setting."
        yield "Cut the coupons on scrap of this very sheet first."
    yield (
        f"Recipe: power {fixed(recipe.power_percent, 1)} percent, feed {fixed(recipe.feed_mm_min, 1)} mm/min, "
        f"{several(recipe.passes, 'pass', 'passes')}"
    )
    yield f"Kerf {fixed(recipe.kerf_mm, 3)} mm, air assist {'on' if recipe.air_assist else 'off'}"
    yield recipe.provenance
    yield f"{several(len(program.contours), 'contour')}, about {_duration(program.time_s)}"
    yield f"{fixed(program.cut_mm, 0)} mm with the beam on, {fixed(program.travel_mm, 0)} mm of travel"
    yield from program.notes
    yield "Stay beside the running machine, eyewear on, extraction on, extinguisher at hand."


def _duration(seconds: float) -> str:
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes} min" if hours else f"{max(1, minutes)} min"


def _machine_line(line: str) -> str:
    text = line.strip()
    if not text or not text.isascii() or not text.isprintable():
        raise ValueError(f"machine file: {line!r} is not one line of printable ASCII")
    return text


def _contour(
    contour: Contour, at: Point | None, machine: Machine, off: str, coordinate: _Numbers, offset: _Numbers
) -> Iterator[str]:
    """Yield a contour's lines: dark, rapid, lit, feed moves. `at` is where the machine stands."""
    lit = False
    power, feed, motion = "", "", ""
    as_before: tuple[float, float] | None = None  # power and feed of the last lit move; few moves change them
    for move in contour.moves:
        if move.kind == "rapid" or move.power <= 0:
            yield off
            lit, power, motion = False, "", ""
        elif not lit:
            power = _power(move, machine)
            yield f"{machine.laser_on} {power}"
            lit = True
        words = [] if _WORDS[move.kind] == motion and move.kind == "line" else [_WORDS[move.kind]]
        motion = _WORDS[move.kind]
        words += _place(move, at, coordinate, offset)
        setting = (move.power, move.feed_mm_min)
        if move.kind != "rapid" and not (lit and setting == as_before):
            as_before = setting if lit else None
            if (now := f"F{fixed(move.feed_mm_min, 1)}") != feed:
                words.append(now)
                feed = now
            if lit and (now := _power(move, machine)) != power:
                if machine.power_on_moves:
                    words.append(now)
                else:
                    yield now
                power = now
        at = (move.x_mm, move.y_mm)
        yield " ".join(words)


def _power(move: Move, machine: Machine) -> str:
    """Return the S word: whole steps, or thousandths where full power is a small number; never less than a step."""
    digits = 0 if machine.power_scale >= 100 else 3
    return f"S{fixed(max(move.power * machine.power_scale, 10**-digits), digits)}"


def _place(move: Move, at: Point | None, coordinate: _Numbers, offset: _Numbers) -> list[str]:
    x, y = f"X{coordinate(move.x_mm)}", f"Y{coordinate(move.y_mm)}"
    if move.centre_x_mm is None or move.centre_y_mm is None or at is None:
        stays = at is not None and move.kind == "line"
        words = [
            word
            for word, was in ((x, at and f"X{coordinate(at[0])}"), (y, at and f"Y{coordinate(at[1])}"))
            if not (stays and word == was)
        ]
        return words or [x]
    return [x, y, f"I{offset(move.centre_x_mm - at[0])}", f"J{offset(move.centre_y_mm - at[1])}"]


def _numbers(decimals: int) -> _Numbers:
    """Return what writes a number; it remembers those that it wrote, as the passes repeat each other."""
    return cache(lambda value: fixed(value, decimals))
