"""Pieces on sheets: which sheet to take next, large pieces sheet by sheet, small ones into windows and gaps."""

from __future__ import annotations

import random
from dataclasses import dataclass

from shapely.geometry import Polygon

from kerfwave.model.parts import Ring
from kerfwave.nest.board import Board
from kerfwave.nest.fill import Spot, fill
from kerfwave.nest.items import Area, Item, size_at
from kerfwave.nest.maps import Maps


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
        area = sum(s.area.sheet_width_mm * s.area.sheet_height_mm for s in self.sheets)
        return (len(self.left), len(self.sheets), area)


def lay_out(maps: Maps, items: tuple[Item, ...], sizes: tuple[Area, ...], bound: int, effort: int, seed: int) -> Layout:
    """Lay all items on as few sheets as the search finds, of the sizes and counts given.

    A short search goes first, and is enough if it meets the bound. Then comes the full one; then, if the large
    pieces might go on one sheet fewer, a longer one from another seed.
    """
    best = _search(maps, items, sizes, max(effort // 5, 1), seed)
    for passes, share in enumerate((effort, 2 * effort), start=1):
        proven = not best.left and len(best.sheets) == bound
        if (proven and len(sizes) == 1) or (passes == 2 and (proven or not _might_shrink(best, items))):
            break
        found = _search(maps, items, sizes, share, seed + 1000 * passes)
        best = min((found, best), key=lambda x: x.rank)
    return best


def _might_shrink(layout: Layout, items: tuple[Item, ...]) -> bool:
    """Whether the hulls of the large pieces would leave a tenth of all sheets but the last free."""
    room = sum(s.area.width_mm * s.area.height_mm for s in layout.sheets[: len(layout.sheets) - (not layout.left)])
    return sum(i.hull_mm2 for i in split(items)[0]) <= 0.9 * room


def _search(maps: Maps, items: tuple[Item, ...], sizes: tuple[Area, ...], effort: int, seed: int) -> Layout:
    layout = _open_and_fill(maps, items, sizes, effort, seed, largest=False)
    if len(sizes) > 1:
        # Taking the size that just holds the large pieces may leave no room for the small ones.
        other = _open_and_fill(maps, items, sizes, effort, seed, largest=True)
        layout = min((layout, other), key=lambda x: x.rank)
        layout = _downsize(maps, layout, sizes, effort, seed)
    return layout


def _open_and_fill(
    maps: Maps, items: tuple[Item, ...], sizes: tuple[Area, ...], effort: int, seed: int, *, largest: bool
) -> Layout:
    sheets: list[Laid] = []
    stock = {a: a.count for a in sizes}
    todo = tuple(sorted(items, key=_size_key))
    while todo:
        large, small = split(todo)
        stuck: list[Item] = []
        while large:
            held = {i.piece.id: frozenset(a for a in sizes if stock[a] and holds(maps, i, a)) for i in large}
            stuck += [i for i in large if not held[i.piece.id]]
            large = tuple(i for i in large if held[i.piece.id])
            if not large:
                break
            fewest = min(len(h) for h in held.values() if h)
            urgent = frozenset(i for i, h in held.items() if len(h) == fewest)
            picky = next(i for i in large if i.piece.id in urgent)
            choice = [a for a in sizes if a in held[picky.piece.id]]
            if largest:
                choice = choice[:1]
            share = max(effort // len(choice), min(effort, 60))
            tries = []
            for area in choice:
                able = tuple(i for i in large if area in held[i.piece.id])
                tries.append((area, fill(maps, area, able, urgent, share, seed + len(sheets))))
            # On a tie the smaller sheet: `sizes` runs from large to small, and the last of equals is taken.
            area, filling = max(reversed(tries), key=lambda t: t[1].score[:2])
            stock[area] -= 1
            sheets.append(Laid(area, filling.spots))
            placed = {s.item.piece.id for s in filling.spots}
            large = tuple(i for i in large if i.piece.id not in placed)
        sheets, rest = _add_small(maps, sheets, (*stuck, *small), effort, seed)
        if len(rest) == len(todo) or not any(stock.values()):
            return Layout(tuple(sheets), rest)
        todo = rest
    return Layout(tuple(sheets), ())


def holds(maps: Maps, item: Item, area: Area) -> bool:
    """Whether an item lies on an empty area in some turn."""
    return any(maps.places(item.shell, t, area, False) for t in item.turns)


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


def _add_small(
    maps: Maps, sheets: list[Laid], items: tuple[Item, ...], effort: int, seed: int
) -> tuple[list[Laid], tuple[Item, ...]]:
    """Put items into the sheets in use: first into windows, so that open areas stay open, then anywhere."""
    order = tuple(sorted(items, key=_size_key))
    best, rest = _first_fit(maps, sheets, order)
    rng = random.Random(seed)
    for _ in range(effort // 10):
        if not rest:
            break
        weights = [(-i.hull_mm2 * (0.4 + 1.2 * rng.random()), i.piece.id, i) for i in order]
        tried, over = _first_fit(maps, sheets, tuple(i for *_, i in sorted(weights, key=lambda w: w[:2])))
        if sum(i.hull_mm2 for i in over) < sum(i.hull_mm2 for i in rest):
            best, rest = tried, over
    return best, rest


def _first_fit(maps: Maps, sheets: list[Laid], order: tuple[Item, ...]) -> tuple[list[Laid], tuple[Item, ...]]:
    solid, open_ = [], []  # what lies on each sheet with its holes filled, and as it is
    for sheet in sheets:
        outer, inner = Board(maps, sheet.area), Board(maps, sheet.area)
        for s in sheet.spots:
            outer.put(s.item.shell, s.turn, s.x, s.y)
            inner.put(s.item.form, s.turn, s.x, s.y)
        solid.append(outer)
        open_.append(inner)
    added: list[list[Spot]] = [[] for _ in sheets]
    rest: list[Item] = []
    full: set[object] = set()
    for item in order:
        kind = (item.form, item.turns)
        spot = None if kind in full else _place(item, solid, open_)
        if spot is None:
            full.add(kind)
            rest.append(item)
            continue
        number, turn, x, y = spot
        open_[number].put(item.form, turn, x, y)
        added[number].append(Spot(item, turn, x, y))
    laid = [Laid(s.area, (*s.spots, *more)) for s, more in zip(sheets, added, strict=True)]
    return laid, tuple(rest)


def _place(item: Item, solid: list[Board], open_: list[Board]) -> tuple[int, int, int, int] | None:
    """Find the number of the sheet, turn, column and row of the best place for a small item."""
    for in_windows in (True, False):
        for number, board in enumerate(open_):
            found = []
            for turn in item.turns:
                free = board.free(item.form, turn)
                if free and in_windows:
                    free &= solid[number].blocked(item.form, turn)
                if free:
                    x, y = board.lowest(free)
                    found.append((y, x, turn))
            if found:
                y, x, turn = min(found)
                return number, turn, x, y
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
            size = area.sheet_width_mm * area.sheet_height_mm
            if size >= sheet.area.sheet_width_mm * sheet.area.sheet_height_mm:
                break
            if not stock[area] or grown > size or not all(holds(maps, i, area) for i in items):
                continue
            one = Area(area.width_mm, area.height_mm, area.sheet_width_mm, area.sheet_height_mm, 1)
            tried = _open_and_fill(maps, items, (one,), max(effort // 3, 1), seed, largest=True)
            if not tried.left:
                stock[area] -= 1
                stock[sheet.area] += 1
                sheets[number] = Laid(area, tried.sheets[0].spots)
                break
    return Layout(tuple(sheets), ())
