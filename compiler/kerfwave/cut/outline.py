"""A faint dot that runs round everything a program will cut, to check where the sheet lies."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from kerfwave.cut.motion import reach
from kerfwave.cut.program import assemble
from kerfwave.model.parts import Contour, Move, Point, Recipe, SheetProgram
from kerfwave.model.spec import Machine

_FEED_MM_MIN = 3000.0  # slow enough for the eye to follow, fast enough not to mark
_ROUNDS = 2


def outline_program(program: SheetProgram, machine: Machine) -> SheetProgram | None:
    """Return the program that goes twice round the smallest box of all cuts, at `outline_power_percent`.

    None where nothing is cut.
    """
    box = used_area(program)
    if box is None:
        return None
    left, low, right, top = box
    corners = ((right, low), (right, top), (left, top), (left, low))
    power, feed = machine.outline_power_percent / 100, min(_FEED_MM_MIN, machine.max_feed_mm_min)
    # Along a single straight cut the box is a line: to its end and back.
    once = [Move("line", *b, power, feed) for a, b in pairwise((corners[-1], *corners)) if a != b]
    length = _ROUNDS * 2 * (right - left + top - low)
    contour = Contour("used area", "mark", (Move("rapid", left, low), *once * _ROUNDS), length)
    notes = ("Outline of the used area at low power: the dot must stay on the sheet all the way. Eyewear on.",)
    return assemble(
        f"{program.name}-outline",
        program.stock,
        (program.width_mm, program.height_mm),
        (contour,),
        machine,
        verified=program.verified,
        notes=notes,
    )


def outline_recipe(recipe: Recipe, machine: Machine) -> Recipe:
    """Return what the header of `outline_program` shall say instead of the recipe: nothing is cut, no air is blown."""
    return replace(
        recipe,
        power_percent=machine.outline_power_percent,
        feed_mm_min=min(_FEED_MM_MIN, machine.max_feed_mm_min),
        passes=_ROUNDS,
        air_assist=False,
        provenance="Nothing is cut: a faint dot shows the used area.",
    )


def used_area(program: SheetProgram) -> tuple[float, float, float, float] | None:
    """Return left, bottom, right, top of where the beam's centre is lit, mm; None where it never is."""
    spots: list[Point] = []
    at: Point = (0.0, 0.0)
    for contour in program.contours:
        for move in contour.moves:
            if move.power > 0:
                spots += [at, *reach(at, move)]
            at = (move.x_mm, move.y_mm)
    if not spots:
        return None
    xs, ys = [x for x, _ in spots], [y for _, y in spots]
    return round(min(xs), 3), round(min(ys), 3), round(max(xs), 3), round(max(ys), 3)
