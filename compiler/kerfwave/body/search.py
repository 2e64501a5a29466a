"""All folds of a plan, on a grid of lane counts, widths and tapers.

The grid is walked with a wide step first and narrowed only while there is little to choose from: a large plan takes
hundreds of folds that differ by a millimetre, and nobody hears that.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from kerfwave.body import shapes
from kerfwave.body.fold import Fold, fold_in
from kerfwave.body.keys import FoldKey
from kerfwave.body.places import CannotFold
from kerfwave.body.rooms import Rooms
from kerfwave.body.rules import BodyRules
from kerfwave.body.storeys import IN_ONE_PLANE, Arrangement
from kerfwave.model.parts import Point
from kerfwave.model.spec import Plan

STRIDES = (16, 8, 4, 2, 1)  # of the step in width
ENOUGH = 80  # folds to choose from
MOST_KEYS = 3400  # in one walk; a grid of more is only walked with wider steps
MOST_ON_STOREYS = 1200  # likewise, where every lane counts several times or has corners
MOST_CHAINS = 15  # of walls that lanes may follow; a plan of many faces has hundreds
MOST_ALIKE = 3  # of them that have as many walls
FULL = ("leave nothing", "shorter than their turns", "two walls would meet", "cover the face", "no room for a turn")
WIDEST_MM = 60.0
ON_STOREYS = 3  # of the tapers are tried on storeys


@dataclass(frozen=True, slots=True)
class Folds:
    """All folds that fit, and how often each reason stood in the way of the others."""

    folds: tuple[Fold, ...]
    refused: tuple[tuple[str, int], ...]


def all_folds(
    plan: Plan,
    rules: BodyRules,
    *,
    least_duct_mm: float,
    least_length_mm: float = 0.0,
    step_mm: float = 1.0,
    most_lanes: int = 12,
    tapers: tuple[float, ...] = (1.0,),
    arrangements: tuple[Arrangement, ...] = (IN_ONE_PLANE,),
    courses: tuple[str, ...] = ("straight",),
) -> Folds:
    """Try every fold on a grid of widths, lane counts and tapers. Folds that sound alike are kept once.

    Tapered guides are tried at every other width; on storeys with fewer tapers, and on no more than two. `courses`
    says what lanes may follow: an axis of the plan ("straight"), walls ("around"), or either.
    """
    rooms = Rooms(plan, rules)
    grid = _Grid(plan, rules, least_duct_mm, step_mm, most_lanes, tapers)
    series = (*(_straight(grid, arrangements) if "straight" in courses else ()),)
    series += (*(_around(grid, arrangements) if "around" in courses else ()),)
    known: dict[FoldKey, Fold | str] = {}
    found = _walk(rooms, series, STRIDES[0], least_length_mm, known)
    most = MOST_KEYS if arrangements == (IN_ONE_PLANE,) and courses == ("straight",) else MOST_ON_STOREYS
    for stride in STRIDES[1:]:
        if len(found.folds) >= ENOUGH or sum(len(one[::stride]) for one in series) > most:
            break
        found = _walk(rooms, series, stride, least_length_mm, known)
    return found


@dataclass(frozen=True, slots=True)
class _Grid:
    """What every series has in common."""

    plan: Plan
    rules: BodyRules
    least_duct_mm: float
    step_mm: float
    most_lanes: int
    tapers: tuple[float, ...]

    def keys(self, key: FoldKey, across_mm: float) -> tuple[FoldKey, ...]:
        """Return keys that differ from one in their width only, narrow ones first."""
        taper = key.taper
        # The narrowest lane keeps the least width.
        width = self.least_duct_mm * (1 + taper) / (2 * min(1.0, taper))
        found = []
        while key.lanes * (width + self.rules.separator_mm) < across_mm and width <= WIDEST_MM:
            found.append(replace(key, width_mm=round(width, 3)))
            width += self.step_mm if taper == 1.0 else 2 * self.step_mm
        return tuple(found)

    def tapered(self, arrangement: Arrangement, tapers: tuple[float, ...]) -> Iterator[tuple[int, float]]:
        """Yield numbers of lanes and tapers."""
        for lanes, taper in itertools.product(range(1, self.most_lanes + 1), tapers):
            if taper == 1.0 or lanes * arrangement.storeys > 1:
                yield lanes, taper


def _straight(grid: _Grid, arrangements: tuple[Arrangement, ...]) -> Iterator[tuple[FoldKey, ...]]:
    """Yield the keys of straight lanes, in series that differ in their width only."""
    x0, y0, x1, y1 = shapes.polygon(grid.plan.outline).bounds
    for arrangement, along in itertools.product(arrangements, (False, True)):
        across_mm = (x1 - x0) if along else (y1 - y0)
        tapers = grid.tapers if arrangement.in_one_plane else grid.tapers[:ON_STOREYS]
        if arrangement.storeys > 2:  # where the way comes back beside the chamber, tapered lanes would miss each other
            tapers = (1.0,)
        # The chamber of an upright body lies behind its front; lanes from side to side must lie behind that.
        flips_v = (False, True) if along or grid.rules.stack == "facing" or arrangement.under else (False,)
        for flip_v, flip_u in itertools.product(flips_v, (False, True)):
            for lanes, taper in grid.tapered(arrangement, tapers):
                key = FoldKey(along, flip_u, flip_v, lanes, 0.0, taper, arrangement.storeys, arrangement.under)
                yield grid.keys(key, across_mm)


def _around(grid: _Grid, arrangements: tuple[Arrangement, ...]) -> Iterator[tuple[FoldKey, ...]]:
    """Yield the keys of lanes along walls, likewise; under a chamber straight ones fill the plan better."""
    x0, y0, x1, y1 = shapes.polygon(grid.plan.outline).bounds
    for arrangement in (a for a in arrangements if not a.under):
        for walls, flip_u in itertools.product(chains(grid.plan, grid.rules), (False, True)):
            for lanes, taper in grid.tapered(arrangement, grid.tapers if arrangement.in_one_plane else (1.0,)):
                if lanes > 1 and len(walls) == len(grid.plan.outline):
                    continue
                key = FoldKey(False, flip_u, False, lanes, 0.0, taper, arrangement.storeys, walls=walls)
                yield grid.keys(key, min(x1 - x0, y1 - y0))


def chains(plan: Plan, rules: BodyRules) -> tuple[tuple[int, ...], ...]:
    """Return the walls that lanes may follow, as edges of the outline one after the other, long chains first.

    The driver of an upright body keeps its front to itself, and lanes end at corners that point outwards. Along a
    single wall that runs straight to an axis of the plan there are straight lanes already.
    """
    count = len(plan.outline)
    length = [math.dist(plan.outline[i], plan.outline[(i + 1) % count]) for i in range(count)]
    free = [rules.stack == "facing" or face != "front" for face in plan.faces]
    outwards = [_turns_left(*(plan.outline[(i + k) % count] for k in (-1, 0, 1))) for i in range(count)]
    found: list[tuple[int, ...]] = []
    for walls in range(count, 0, -1):
        alike = []
        for start in range(count):
            chain = tuple((start + k) % count for k in range(walls))
            (x0, y0), (x1, y1) = plan.outline[start], plan.outline[(start + 1) % count]
            ends = outwards[start] and outwards[(start + walls) % count]
            aslant = abs(x1 - x0) > 1e-3 and abs(y1 - y0) > 1e-3
            if ends and all(free[edge] for edge in chain) and (walls > 1 or aslant):
                alike.append((round(-sum(length[edge] for edge in chain), 3), chain))
        found += [chain for _, chain in sorted(alike)[:MOST_ALIKE]]
    return tuple(found[:MOST_CHAINS])


def _turns_left(a: Point, b: Point, c: Point) -> bool:
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]) > 0.0


def _walk(
    rooms: Rooms,
    series: tuple[tuple[FoldKey, ...], ...],
    stride: int,
    least_length_mm: float,
    known: dict[FoldKey, Fold | str],
) -> Folds:
    """Try every so many keys of each series; `known` remembers what became of each."""
    folds: list[Fold] = []
    alike: set[tuple[float, ...]] = set()
    refused: dict[str, int] = {}
    for key in itertools.chain.from_iterable(
        _until_full(one[::stride], known) for one in _while_it_fits(series, known)
    ):
        if key not in known:
            try:
                known[key] = fold_in(rooms, key, least_length_mm)
            except CannotFold as error:
                known[key] = str(error)
        found = known[key]
        if isinstance(found, str):
            refused[found] = refused.get(found, 0) + 1
            continue
        way = (key.lanes, key.taper, key.width_mm, key.storeys, key.under, len(key.walls))
        sound = (*way, round(found.length_mm, 2), round(found.chamber_area_mm2, 0))
        if sound not in alike:
            alike.add(sound)
            folds.append(found)
    return Folds(tuple(folds), tuple(sorted(refused.items(), key=lambda item: (-item[1], item[0]))))


def _while_it_fits(
    series: tuple[tuple[FoldKey, ...], ...], known: dict[FoldKey, Fold | str]
) -> Iterator[tuple[FoldKey, ...]]:
    """Yield series but those along walls that fewer lanes, as narrow, have filled already."""
    full: set[FoldKey] = set()
    for one in series:
        if not one or not one[0].walls:
            yield one
            continue
        way = replace(one[0], lanes=0, width_mm=0.0)
        if way not in full:
            yield one
            if _is_full(known[one[0]]):
                full.add(way)


def _until_full(keys: tuple[FoldKey, ...], known: dict[FoldKey, Fold | str]) -> Iterator[FoldKey]:
    """Yield keys until one has left nothing for the chamber, or no room along walls: no wider one will do better."""
    for key in keys:
        yield key
        reason = known[key]
        if (isinstance(reason, str) and "leave nothing" in reason) or (key.walls and _is_full(reason)):
            return


def _is_full(found: Fold | str) -> bool:
    """Return whether lanes along walls, as many and as wide, have no room."""
    return isinstance(found, str) and any(words in found for words in FULL)
