"""Large pieces on one sheet: many quick layouts, the best kept.

A layout is drawn from genes (an order, and for each piece the turns in order of preference and a direction of
filling); each piece goes to the first free place in its first turn that has one. Half of the trials are fresh, half
vary the best so far: fresh ones matter, because among equal outlines a mere change of order changes nothing.
"""

from __future__ import annotations

import random
from bisect import insort
from dataclasses import dataclass

from kerfwave.nest.areas import Area
from kerfwave.nest.board import Board, Past
from kerfwave.nest.items import Item, Stance
from kerfwave.nest.maps import Maps

# Once so many shapes of about an item's size, or smaller, found no place, the item isn't tried any more. Layers of
# one body differ in their windows and are alike in size, and to learn that each of them fails is most of the work.
_ENOUGH = 3
_ALIKE = 1.1
_TRIED = 6  # stances tried for one item in one layout; quarter turns are four


@dataclass(frozen=True, slots=True)
class Spot:
    """An item in a stance, its box of cells at column `x`, row `y` of its area."""

    item: Item
    stance: Stance
    x: int
    y: int


@dataclass(frozen=True, slots=True)
class Filling:
    """What a trial laid on a sheet. `score`: urgent hull area, hull area, largest free strip; more is better."""

    score: tuple[int, int, int]
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class Genes:
    """An order, and for each item its stances in order of preference and whether it fills from the left."""

    order: tuple[int, ...]
    stances: tuple[tuple[Stance, ...], ...]
    across: tuple[bool, ...]


def fill(maps: Maps, area: Area, items: tuple[Item, ...], urgent: frozenset[str], effort: int, seed: int) -> Filling:
    """Lay as much hull area as possible on one empty sheet, holes ignored.

    Hulls count, not outlines: a C-shape has little outline but takes up room like a plate. Among equals the layout
    wins that leaves the largest strip free over the whole width or height.

    Args:
        maps: no-fit maps on the grid to use.
        area: of the sheet.
        items: largest first.
        urgent: ids that count before all others, because few sheets can take them.
        effort: layouts to try; once all items lie on the sheet a third as many more.
        seed: of the generator.
    """
    rng = random.Random(seed)
    past = Past()
    total = sum(i.hull_mm2 for i in items)
    best: Filling | None = None
    best_genes = None
    left = effort
    for genes in openings(items)[: max(1, effort // 4)]:
        tried = _lay(maps, area, items, genes, urgent, past)
        left -= 1
        if best is None or tried.score > best.score:
            best, best_genes = tried, genes
    assert best is not None and best_genes is not None  # there is always a first opening
    complete = False
    while left > 0:
        if best.score[1] == total and not complete:
            complete, left = True, min(left, effort // 3)
        genes = fresh(items, rng) if left % 2 else vary(best_genes, items, rng)
        tried = _lay(maps, area, items, genes, urgent, past)
        left -= 1
        if tried.score > best.score:
            best, best_genes = tried, genes
    return best


def _lay(maps: Maps, area: Area, items: tuple[Item, ...], genes: Genes, urgent: frozenset[str], past: Past) -> Filling:
    spots = lay_large(maps, area, items, genes, past)
    pressing = sum(s.item.hull_mm2 for s in spots if s.item.piece.id in urgent)
    return Filling((pressing, sum(s.item.hull_mm2 for s in spots), _strip(maps, area, spots)), spots)


def lay_large(maps: Maps, area: Area, items: tuple[Item, ...], genes: Genes, past: Past) -> tuple[Spot, ...]:
    """Lay what finds a place on an empty sheet, holes ignored, as genes have it; `past` is of the same area."""
    board = Board(maps, area, past)
    spots: list[Spot] = []
    full: set[tuple[object, ...]] = set()
    hulls: list[int] = []  # of what is in `full`, smallest first
    for index in genes.order:
        item, across = items[index], genes.across[index]
        kind = (maps.raster_id(item.stances[0].shell), item.ways) if area.plain else item.kind
        if kind in full or (len(hulls) >= _ENOUGH and hulls[_ENOUGH - 1] <= _ALIKE * item.hull_mm2):
            continue
        # The first piece must find a place, in whatever stance, or the sheet is opened for nothing.
        for stance in genes.stances[index] if spots else (*genes.stances[index], *item.stances):
            form = stance.shell if area.plain else stance.form
            place = board.place(form, stance.turn, stance.shell, across)
            if place:
                x, y = place
                board.put(stance.shell, stance.turn, x, y)
                spots.append(Spot(item, stance, x, y))
                break
        else:
            full.add(kind)
            insort(hulls, item.hull_mm2)
    return tuple(spots)


def _strip(maps: Maps, area: Area, spots: tuple[Spot, ...]) -> int:
    """Largest strip, in whole square mm, right of everything or above everything."""
    right = top = 0.0
    for s in spots:
        columns, rows = maps.box(s.stance.shell, s.stance.turn)
        right, top = max(right, (s.x + columns) * maps.cell_mm), max(top, (s.y + rows) * maps.cell_mm)
    return round(max((area.width_mm - right) * area.height_mm, (area.height_mm - top) * area.width_mm))


def openings(items: tuple[Item, ...]) -> list[Genes]:
    """Plain layouts to start from: one stance for all, or two by turns, row by row and column by column."""
    order = tuple(range(len(items)))
    most = min(4, max(len(i.stances) for i in items))
    genes = []
    for across in (False, True):
        for one in range(most):
            for two in range(most):
                stances = []
                for k, item in enumerate(items):
                    lead = (one if k % 2 == 0 else two) % len(item.stances)
                    stances.append((item.stances[lead:] + item.stances[:lead])[:_TRIED])
                genes.append(Genes(order, tuple(stances), (across,) * len(items)))
    return genes


def _shuffled(stances: tuple[Stance, ...], rng: random.Random) -> tuple[Stance, ...]:
    # random() is the one generator call whose results are promised to stay the same between Python versions.
    return tuple(stances[k] for _, k in sorted((rng.random(), k) for k in range(len(stances))))[:_TRIED]


def _drawn(item: Item, odd: float, rng: random.Random) -> tuple[Stance, ...]:
    """Draw stances, from all there are with a chance `odd`; else quarter turns, whose maps are mostly there already."""
    if not item.leaning or rng.random() < odd:
        return _shuffled(item.stances, rng)
    return _shuffled(item.upright, rng)


def fresh(items: tuple[Item, ...], rng: random.Random, lean: float | None = None) -> Genes:
    """Draw new genes; `lean` is the share of items that fill from the left, drawn too if None."""
    weights = [(-item.hull_mm2 * (0.7 + 0.6 * rng.random()), k) for k, item in enumerate(items)]
    odd = rng.random() ** 2 if any(i.leaning for i in items) else 1.0
    stances = tuple(_drawn(item, odd, rng) for item in items)
    lean = rng.random() if lean is None else lean
    return Genes(tuple(k for _, k in sorted(weights)), stances, tuple(rng.random() < lean for _ in items))


def vary(genes: Genes, items: tuple[Item, ...], rng: random.Random) -> Genes:
    """Change one to three things about genes."""
    order, stances, across = list(genes.order), list(genes.stances), list(genes.across)
    for _ in range(1 + int(rng.random() * 3)):
        kind, k = rng.random(), int(rng.random() * len(items))
        if kind < 0.3:
            other = int(rng.random() * len(items))
            order[k], order[other] = order[other], order[k]
        elif kind < 0.75:
            stances[k] = _drawn(items[k], 0.5, rng)
        else:
            across[k] = not across[k]
    return Genes(tuple(order), tuple(stances), tuple(across))
