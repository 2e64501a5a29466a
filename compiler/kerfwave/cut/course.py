"""The course of a program: its text, with every word of power or feed replaced by what the recipe calls it.

Where the beam runs, how often, in which order, whether it cuts or scores: that is proved on the course (`check.prove`).
Another power or feed in the recipe leaves the course as it is, and so what was proved of it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from kerfwave.cut.readback import NUMBER, code_of
from kerfwave.cut.scored import score_settings
from kerfwave.cut.settings import focus_depths_mm
from kerfwave.model.parts import Point, Recipe
from kerfwave.model.spec import Machine

CUT, SCORE, BOTH, NEITHER = 1, 2, 3, 4  # what takes the place of a word of power or feed; 0 stays 0
_STRENGTH = re.compile(rf"([FS])\s*({NUMBER})")
_FEED_STEP_MM_MIN = 0.5


@dataclass(frozen=True, slots=True)
class Course:
    """One program's course, and what of its recipe says where the beam runs."""

    name: str  # begins the ids of the checks, for instance "sheet-01"
    text: str
    kerf_mm: float
    passes: int
    depths_mm: tuple[float, ...]  # for each pass: of the focus below the upper face; empty if the head stays
    bridges: tuple[tuple[str, Point], ...]  # piece, and where on the sheet its outline is meant to keep one
    own: tuple[str, ...]  # the machine's start and end lines, with the same words replaced


def course_of(
    text: str,
    recipe: Recipe,
    machine: Machine,
    *,
    name: str = "program",
    bridges: tuple[tuple[str, Point], ...] = (),
) -> Course:
    """Return the course of a program: line by line what `text` is, without comments.

    A word stands for the cut, or the score, if it is as far from the recipe's as its rounding explains: half a step of
    power, half a millimetre a minute.
    """
    replaced = _strength(recipe, machine)
    return Course(
        name,
        "\n".join(_lines(text, replaced)),
        recipe.kerf_mm,
        recipe.passes,
        focus_depths_mm(recipe, machine, recipe.passes),
        bridges,
        tuple(map(replaced, own_lines(machine))),
    )


def own_lines(machine: Machine) -> tuple[str, ...]:
    """Return the lines that the person's machine file brings into every program, in capitals."""
    return tuple(line.strip().upper() for line in (*machine.start, *machine.end))


def _strength(recipe: Recipe, machine: Machine) -> Callable[[str], str]:
    """Return what replaces the words of power and feed in a line of code."""
    step = power_step(machine)
    share, feed = score_settings(recipe, machine)
    power = recipe.power_percent / 100 * machine.power_scale
    meant = {
        "S": (power, max(share * machine.power_scale, 2 * step), step + 1e-9),
        "F": (recipe.feed_mm_min, feed, _FEED_STEP_MM_MIN),
    }

    def stands_for(word: re.Match[str]) -> str:
        letter, value = word[1], float(word[2])
        cut, score, near = meant[letter]
        known = CUT * (abs(value - cut) <= near) + SCORE * (abs(value - score) <= near)
        return f"{letter}{known or NEITHER}" if value > 0 else word[0]

    return lambda code: _STRENGTH.sub(stands_for, code)


def power_step(machine: Machine) -> float:
    """Return half a step: the power word is a whole number, or has decimals where the scale is short."""
    return 0.5 if machine.power_scale >= 100 else 0.0005


def _lines(text: str, replaced: Callable[[str], str]) -> list[str]:
    known: dict[str, str] = {}  # the passes repeat each other, line by line
    found = []
    for raw in text.split("\n"):
        line = known.get(raw)
        if line is None:
            code, fault = code_of(raw)
            line = known[raw] = raw if fault else replaced(code)  # what is wrong with a line is for the reader to say
        found.append(line)
    return found
