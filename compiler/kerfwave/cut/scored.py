"""Lines that are only scored: a little power, one pass, a brown line and no cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from kerfwave.cut.placing import place_line
from kerfwave.cut.settings import settings_of
from kerfwave.model.parts import Contour, Move, Piece, Placement, Point, Recipe, Ring
from kerfwave.model.spec import Machine
from kerfwave.model.strokes import strokes

MARK_POWER = 0.2  # a share of the recipe's power (assumption; a recipe may say better)
_MARK_FEED_MM_MIN = 1500.0


def score_settings(recipe: Recipe, machine: Machine) -> tuple[float, float]:
    """Return power (a share of full power) and feed in mm/min for scored lines: the recipe's, else an estimate."""
    said = settings_of(recipe)
    power = said.score_power_percent
    share = MARK_POWER * recipe.power_percent / 100 if power is None else power / 100
    return share, min(said.score_feed_mm_min or _MARK_FEED_MM_MIN, machine.max_feed_mm_min)


def score_is_measured(recipe: Recipe) -> bool:
    """Return whether the recipe itself says how to score."""
    said = settings_of(recipe)
    return recipe.verified and said.score_power_percent is not None and said.score_feed_mm_min is not None


def score(name: str, points: Ring, recipe: Recipe, machine: Machine) -> Contour:
    """Return a scored line through `points`, rounded to the machine's decimals."""
    return scored_lines(name, (_rounded(points, machine.decimals),), recipe, machine)


def label(text: str, at: Point, tall_mm: float, recipe: Recipe, machine: Machine) -> tuple[Contour, ...]:
    """Return `text` written in scored lines, its lower left corner at `at`."""
    return tuple(score(f"label {text}", line, recipe, machine) for line in strokes(text, at, tall_mm))


def placed_marks(piece: Piece, placement: Placement, decimals: int) -> tuple[Ring, ...]:
    """Return the lines to score on a piece where it lies, rounded, in an order with little way between them."""
    lines = [place_line(line, placement) for mark in piece.marks for line in mark.lines]
    return tuple(_rounded(line, decimals) for line in _in_turn(lines)) if lines else ()


def scored_lines(name: str, lines: Sequence[Ring], recipe: Recipe, machine: Machine) -> Contour:
    """Return scored lines, rounded already, as one contour."""
    power, feed = score_settings(recipe, machine)
    moves: list[Move] = []
    length = 0.0
    for line in lines:
        moves.append(Move("rapid", *line[0]))
        moves += [Move("line", *point, power, feed) for before, point in pairwise(line) if point != before]
        length += math.fsum(math.dist(a, b) for a, b in pairwise(line))
    return Contour(name, "mark", tuple(moves), length)


def _rounded(line: Ring, decimals: int) -> Ring:
    return tuple((round(x, decimals) + 0.0, round(y, decimals) + 0.0) for x, y in line)


def _in_turn(lines: list[Ring]) -> tuple[Ring, ...]:
    """Return the lines in an order and direction that leave little way between them: always to the nearest end."""
    found = [lines[0]]
    rest = lines[1:]
    while rest:
        at = found[-1][-1]
        ways = [(round(math.dist(at, end), 6), k, back) for k, line in enumerate(rest) for back, end in _ends(line)]
        _, k, back = min(ways)
        line = rest.pop(k)
        found.append(line[::-1] if back else line)
    return tuple(found)


def _ends(line: Ring) -> tuple[tuple[bool, Point], tuple[bool, Point]]:
    return (False, line[0]), (True, line[-1])
