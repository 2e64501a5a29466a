"""Lines that are only scored: a share of the recipe's power, one pass, a brown line and no cut."""

from __future__ import annotations

import math
from itertools import pairwise

from kerfwave.cut.strokes import strokes
from kerfwave.model.parts import Contour, Move, Point, Recipe
from kerfwave.model.spec import Machine

MARK_POWER = 0.2  # a share of the recipe's power
_MARK_FEED_MM_MIN = 1500.0


def score(name: str, points: tuple[Point, ...], recipe: Recipe, machine: Machine) -> Contour:
    """Return a scored line through `points`, rounded to the machine's decimals."""
    power = MARK_POWER * recipe.power_percent / 100
    feed = min(_MARK_FEED_MM_MIN, machine.max_feed_mm_min)
    at = [(round(x, machine.decimals) + 0.0, round(y, machine.decimals) + 0.0) for x, y in points]
    moves = (Move("rapid", *at[0]), *(Move("line", *point, power, feed) for point in at[1:]))
    return Contour(name, "mark", moves, math.fsum(math.dist(a, b) for a, b in pairwise(at)))


def label(text: str, at: Point, tall_mm: float, recipe: Recipe, machine: Machine) -> tuple[Contour, ...]:
    """Return `text` written in scored lines, its lower left corner at `at`."""
    return tuple(score(f"label {text}", line, recipe, machine) for line in strokes(text, at, tall_mm))
