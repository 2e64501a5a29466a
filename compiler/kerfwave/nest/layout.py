"""Pieces on sheets: which sheet to take next, large pieces sheet by sheet, small ones into windows and gaps."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from shapely.geometry import Polygon

from kerfwave.model.parts import Ring
from kerfwave.nest.areas import Area
from kerfwave.nest.board import Board
from kerfwave.nest.fill import Filling, Spot, fill
from kerfwave.nest.items import Item, size_at
from kerfwave.nest.maps import Maps

# Hulls overlap where bent pieces lie in each other's bays, but more than so many sheets of them never went on one.
_MOST_HULL = 2.0
# A search for fewer sheets is given up once each of those left would have to hold so much more than the fullest so far.
_HOPE = 1.1


@dataclass(frozen=True, slots=True)
class Laid:
    """One sheet in use and what lies on it."""

    area: Area
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """Sheets in the order they were taken, and the items that found no place."""

    sheets: tuple[Laid, ...]
    left: tuple[Item, ...]

    @property
    def rank(self) -> tuple[float, ...]:
        """Less is better: pieces left over, sheets, their area."""
        return (len(self.left), len(self.sheets), round(sum(s.area.sheet_mm2 for s in self.sheets), 6))


def lay_out(
    maps: Maps, items: tuple[Item, ...], sizes: tuple[Area, ...], bound: Callable[[int], int], effort: int, seed: int
) -> tuple[Layout, ...]:
    """Lay all items on as few sheets as the search finds, of the sizes and counts given.

    `bound` is asked for a number of sheets that no layout beats; it may stop at the number that it is given.

    A short search goes first, and is enough if it meets the bound. Then comes the full one; then, if the large
    pieces might go on one sheet fewer, a longer one from another seed. Returns the best layouts, all of one rank.
    """
    found = [_search(maps, items, sizes, max(effort // 5, 1), seed)]
    for passes, share in enumerate((effort, 2 * effort), start=1):
        best = min(found, key=lambda x: x.rank)
        proven = not best.left and bound(len(best.sheets)) == len(best.sheets)
        if (proven and len(sizes) == 1) or (passes == 2 and (proven or not _might_shrink(best, items))):
            break
        found.append(_search(maps, items, sizes, share, seed + 1000 * passes, None if best.left else len(best.sheets)))
    return best_of(found)


def best_of(layouts: Iterable[Layout]) -> tuple[Layout, ...]:
    """Return those of the best rank."""
    found = tuple(layouts)
    least = min(x.rank for x in found)
    return tuple(x for x in found if x.rank == least)


def _might_shrink(layout: Layout, items: tuple[Item, ...]) -> bool:
    """Whether the hulls of the large pieces would leave a tenth of all sheets but the last free."""
    room = sum(s.area.width_mm * s.area.height_mm for s in layout.sheets[: len(layout.sheets) - (not layout.left)])
    return sum(i.hull_mm2 for i in split(items)[0]) <= 0.9 * room


# What has been found for an area, the pieces to lay on it, those that come first, and a seed: and with what effort.
_Seen = dict[tuple[Area, tuple[str, ...], frozenset[str], int], tuple[int, Filling]]


def _search(
    maps: Maps, items: tuple[Item, ...], sizes: tuple[Area, ...], effort: int, seed: int, beat: int | None = None
) -> Layout:
    stock = {a: a.count for a in sizes}
    seen: _Seen = {}
    layout = _open_and_fill(maps, items, stock, effort, seed, seen, largest=True, beat=beat)
    if len(sizes) > 1:
        # Taking the size that just holds the large pieces may leave no room for the small ones, or save much.
        other = _open_and_fill(maps, items, stock, effort, seed, seen, largest=False, beat=beat)
        layout = min((other, layout), key=lambda x: x.rank)
    layout = _drained(maps, layout)
    return _downsize(maps, layout, sizes, effort, seed) if len(sizes) > 1 else layout


def emptiest(layout: Layout) -> int:
    """Index of the sheet with the least hull area on it; the last of equals."""
    hulls = [sum(s.item.hull_mm2 for s in sheet.spots) for sheet in layout.sheets]
    return min(range(len(hulls)), key=lambda k: (hulls[k], -k))


def _drained(maps: Maps, layout: Layout) -> Layout:
    """Move what can be moved from the emptiest sheet to the others, largest first."""
    if layout.left or len(layout.sheets) < 2:
        return layout
    number = emptiest(layout)
    sheet = layout.sheets[number]
    order = tuple(sorted((s.item for s in sheet.spots), key=_size_key))
    others, rest = add_small(maps, [s for k, s in enumerate(layout.sheets) if k != number], order)
    if len(rest) == len(order):
        return layout
    keep = {i.piece.id for i in rest}
    spots = tuple(s for s in sheet.spots if s.item.piece.id in keep)
    return Layout((*others, *([Laid(sheet.area, spots)] if spots else [])), ())


def _open_and_fill(
    maps: Maps,
    items: tuple[Item, ...],
    counts: dict[Area, int],
    effort: int,
    seed: int,
    seen: _Seen,
    *,
    largest: bool,
    beat: int | None = None,
) -> Layout:
    """Lay large pieces sheet by sheet, then the small ones. Given up once `beat` sheets can hardly be beaten."""
    stock = dict(counts)
    sheets: list[Laid] = []
    fullest = 0.0
    todo = tuple(sorted(items, key=_size_key))
    while todo:
        large, small = split(todo)
        stuck: list[Item] = []
        while large:
            held = {i.piece.id: frozenset(a for a in stock if stock[a] and holds(maps, i, a)) for i in large}
            stuck += [i for i in large if not held[i.piece.id]]
            large = tuple(i for i in large if held[i.piece.id])
            if not large:
                break
            fewest = min(len(h) for h in held.values() if h)
            urgent = frozenset(i for i, h in held.items() if len(h) == fewest)
            picky = next(i for i in large if i.piece.id in urgent)
            choice = [a for a in stock if a in held[picky.piece.id]]
            if largest:
                choice = choice[:1]
            share = max(effort // len(choice), min(effort, 60))
            tries: list[tuple[Area, Filling]] = []
            for area in choice:
                if tries and max(t[1].score[1] for t in tries) > _MOST_HULL * area.width_mm * area.height_mm:
                    continue
                able = tuple(i for i in large if area in held[i.piece.id])
                key = (area, tuple(i.piece.id for i in able), urgent, seed + len(sheets))
                spent, filling = seen.get(key, (0, None))
                if filling is None or spent < share:
                    filling = fill(maps, area, able, urgent, share, seed + len(sheets))
                    seen[key] = (share, filling)
                tries.append((area, filling))
            # On a tie the smaller sheet: `stock` runs from large to small, and the last of equals is taken.
            area, filling = max(reversed(tries), key=lambda t: t[1].score[:2])
            stock[area] -= 1
            sheets.append(Laid(area, filling.spots))
            placed = {s.item.piece.id for s in filling.spots}
            large = tuple(i for i in large if i.piece.id not in placed)
            fullest = max(fullest, filling.score[1] / (area.width_mm * area.height_mm))
            still = sum(i.hull_mm2 for i in large)
            room = max(a.width_mm * a.height_mm for a in stock)
            if beat is not None and still > _HOPE * fullest * room * (beat - 1 - len(sheets)):
                return Layout(tuple(sheets), (*stuck, *large, *small))
        sheets, rest = _add_all_small(maps, sheets, (*stuck, *small), effort, seed)
        if len(rest) == len(todo) or not any(stock.values()):
            return Layout(tuple(sheets), rest)
        todo = rest
    return Layout(tuple(sheets), ())


def holds(maps: Maps, item: Item, area: Area) -> bool:
    """Whether an item lies on an empty area in some stance."""
    return any(maps.places(s.shell if area.plain else s.form, s.turn, area) for s in item.stances)


def _size_key(item: Item) -> tuple[int, float, str]:
    return (-item.hull_mm2, -item.filled_mm2, item.piece.id)


def split(items: tuple[Item, ...]) -> tuple[tuple[Item, ...], tuple[Item, ...]]:
    """Part the items that can lie in no window of the others from those that perhaps can."""
    windows = [(Polygon(ring).area, *_extent(ring)) for i in items for ring in i.piece.holes]

    def may_enter(item: Item) -> bool:
        w, h = size_at(item.piece, 0)
        return any(
            item.filled_mm2 < area and ((w <= ww and h <= wh) or (w <= wh and h <= ww)) for area, ww, wh in windows
        )

    large = tuple(i for i in items if not may_enter(i))
    return large, tuple(i for i in items if may_enter(i))


def _extent(ring: Ring) -> tuple[float, float]:
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return max(xs) - min(xs), max(ys) - min(ys)


def _add_all_small(
    maps: Maps, sheets: list[Laid], items: tuple[Item, ...], effort: int, seed: int
) -> tuple[list[Laid], tuple[Item, ...]]:
    """Put items into the sheets in use: first into windows, so that open areas stay open, then anywhere."""
    order = tuple(sorted(items, key=_size_key))
    best, rest = add_small(maps, sheets, order)
    rng = random.Random(seed)
    for _ in range(effort // 10):
        if not rest:
            break
        weights = [(-i.hull_mm2 * (0.4 + 1.2 * rng.random()), i.piece.id, i) for i in order]
        tried, over = add_small(maps, sheets, tuple(i for *_, i in sorted(weights, key=lambda w: w[:2])))
        if sum(i.hull_mm2 for i in over) < sum(i.hull_mm2 for i in rest):
            best, rest = tried, over
    return best, rest


def add_small(
    maps: Maps, sheets: list[Laid], order: tuple[Item, ...], *, across: bool = False
) -> tuple[list[Laid], tuple[Item, ...]]:
    """Put items one after the other into the first window that takes them, or else the first open place.

    Returns the sheets, and the items that found no place. `across`: places are counted from the left, not from below.
    """
    solid, open_ = [], []  # what lies on each sheet with its holes filled, and as it is
    for sheet in sheets:
        outer, inner = Board(maps, sheet.area), Board(maps, sheet.area)
        for s in sheet.spots:
            outer.put(s.stance.shell, s.stance.turn, s.x, s.y)
            inner.put(s.stance.open, s.stance.turn, s.x, s.y)
        solid.append(outer)
        open_.append(inner)
    added: list[list[Spot]] = [[] for _ in sheets]
    rest: list[Item] = []
    full: set[object] = set()
    for item in order:
        place = None if item.kind in full else _place(item, solid, open_, across)
        if place is None:
            full.add(item.kind)
            rest.append(item)
            continue
        number, spot = place
        open_[number].put(spot.stance.open, spot.stance.turn, spot.x, spot.y)
        added[number].append(spot)
    laid = [Laid(s.area, (*s.spots, *more)) for s, more in zip(sheets, added, strict=True)]
    return laid, tuple(rest)


def _place(item: Item, solid: list[Board], open_: list[Board], across: bool) -> tuple[int, Spot] | None:
    """Find the number of the sheet and the best place on it for a small item."""
    for in_windows in (True, False):
        for number, board in enumerate(open_):
            found = []
            for k, stance in enumerate(item.stances):
                free = board.free(stance.form, stance.turn, stance.open)
                if free and in_windows:
                    free &= solid[number].blocked(stance.open, stance.turn)
                if free:
                    x, y = board.lowest(free, across)
                    found.append((x, y, k) if across else (y, x, k))
            if found:
                first, second, k = min(found)
                x, y = (first, second) if across else (second, first)
                return number, Spot(item, item.stances[k], x, y)
    return None


def _downsize(maps: Maps, layout: Layout, sizes: tuple[Area, ...], effort: int, seed: int) -> Layout:
    """Move what lies on a sheet to a smaller one that is left, last sheet first."""
    if layout.left:
        return layout
    sheets = list(layout.sheets)
    stock = {a: a.count - sum(s.area == a for s in sheets) for a in sizes}
    for number in range(len(sheets) - 1, -1, -1):
        sheet = sheets[number]
        items = tuple(s.item for s in sheet.spots)
        grown = sum(i.wood_mm2 for i in items)
        for area in reversed(sizes):  # smallest first
            size = area.sheet_mm2
            if size >= sheet.area.sheet_mm2:
                break
            if not stock[area] or grown > size or sum(i.hull_mm2 for i in items) > _MOST_HULL * size:
                continue
            if not all(holds(maps, i, area) for i in items):
                continue
            tried = _open_and_fill(maps, items, {area: 1}, max(effort // 3, 1), seed, {}, largest=True)
            if not tried.left:
                stock[area] -= 1
                stock[sheet.area] += 1
                sheets[number] = Laid(area, tried.sheets[0].spots)
                break
    return Layout(tuple(sheets), ())
