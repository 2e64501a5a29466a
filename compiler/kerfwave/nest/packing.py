"""The way from pieces and sheets to a nest."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from shapely.geometry import Polygon

from kerfwave.model.parts import Nest, Piece, Placement, Sheet
from kerfwave.model.spec import SheetStock
from kerfwave.nest.areas import Area, areas
from kerfwave.nest.bound import least_sheets
from kerfwave.nest.errors import DoesNotFit, NotEnoughSheets
from kerfwave.nest.exact import Cover, lay, placed, placement, settle, verify
from kerfwave.nest.items import Forms, Item, allowed_quarters, angles, item, opening, size_at
from kerfwave.nest.layout import Laid, Layout, best_of, holds, lay_out
from kerfwave.nest.maps import Maps
from kerfwave.nest.offcut import largest_offcut
from kerfwave.nest.raster import best_cell
from kerfwave.nest.tidy import tidy
from kerfwave.numfmt import fixed

_SHARE = 8  # so much less effort goes into angles beside the quarter turns, whose maps are many and slow to make
_MOST_NAMED = 4  # so many pieces that are too large are named with their size: more is a wall of words


def pack(
    pieces: tuple[Piece, ...],
    sheets: tuple[SheetStock, ...],
    *,
    bed_mm: tuple[float, float],
    margin_mm: float,
    spacing_mm: float,
    sheet_grain: str | None = None,
    turns: str = "quarter",
    effort: int = 300,
    seed: int = 1,
) -> Nest:
    """Lay pieces on as few sheets as the search finds.

    Args:
        pieces: finished sizes in mm, anywhere; ids must differ. Their order does not matter.
        sheets: sizes, outlines and counts at hand, and the places on them to keep out of.
        bed_mm: width and height of the machine's bed. Of a larger sheet the lower-left part of that size is used.
        margin_mm: kept free along every edge of the sheet, and of the bed where that is smaller.
        spacing_mm: least distance between two pieces, windows included, and of a piece from a place kept out, on top
            of that place's clearance.
        sheet_grain: "x" or "y", the sheet's own grain axis. A piece with `grain` set lies with that axis along it.
        turns: "quarter", or "any" for angles beside the quarter turns: every 15 degrees, and those that lay a piece's
            longest edges along the sheet's. Never for a piece whose grain matters on this sheet.
        effort: layouts tried for each sheet in the main pass; a fifth as many in the pass before it, twice as many in
            a last one if a sheet might be saved. The search stops on counts and never on the clock.
        seed: of the search; the same input and seed give the same nest, byte for byte.

    Returns:
        The nest: placements sorted by piece, in whole 0.001 mm, never flipped. Fewest sheets come first; then the
        emptiest sheet is laid so that the largest rectangle is left over in one piece. Each sheet's offcut is the
        largest rectangle at least the spacing away from all pieces.

    Raises:
        DoesNotFit: if pieces are too big, or too wide for the outline, of every sheet.
        NotEnoughSheets: if there are too few sheets.
        ValueError: for repeated ids, outlines that aren't simple, or a negative margin or spacing.
    """
    if margin_mm < 0 or spacing_mm < 0:
        raise ValueError("margin and spacing can't be negative")
    names = [p.id for p in pieces]
    if len(set(names)) < len(names):
        raise ValueError("piece ids must differ: " + ", ".join(sorted({n for n in names if names.count(n) > 1})))
    if not pieces:
        return Nest((), (), 0.0, 0.0, 0)
    sizes = areas(sheets, bed_mm, margin_mm)
    if not any(s.count > 0 for s in sheets):
        raise NotEnoughSheets("there is no sheet to cut from", tuple(sorted(names)))
    forms = Forms()
    pieces = tuple(sorted(pieces, key=lambda p: p.id))
    plain = _items(pieces, forms, sizes, margin_mm, sheet_grain, free=False)
    ready = plain if turns == "quarter" else _items(pieces, forms, sizes, margin_mm, sheet_grain, free=True)
    too_big = tuple(p for p, found in zip(pieces, ready, strict=True) if found is None)
    if too_big:
        raise DoesNotFit(_too_big(too_big, sizes, sheet_grain), tuple(p.id for p in too_big))
    items = tuple(i for i in ready if i is not None)
    maps = Maps(_cell(items, spacing_mm), spacing_mm, sizes)
    maps.join(f for i in (*items, *(i for i in plain if i)) for s in i.stances for f in (s.shell, s.open))
    odd = tuple(i.piece for i in items if not any(holds(maps, i, area) for area in sizes))
    if odd:
        raise DoesNotFit(_too_odd(odd), tuple(p.id for p in odd))
    bound = _prover(items, sizes, spacing_mm)
    effort = max(effort, 1)
    layouts: list[Layout] = []
    if turns != "quarter" and all(plain):
        # Quarter turns first: a small part of the ways to lie, and often the best of them.
        layouts += lay_out(maps, tuple(i for i in plain if i is not None), sizes, bound, effort, seed)
    if not layouts or layouts[0].left or bound(len(layouts[0].sheets)) < len(layouts[0].sheets):
        share = 1 if turns == "quarter" else _SHARE
        layouts += lay_out(maps, items, sizes, bound, max(effort // share, 1), seed)
    layout = tidy(maps, best_of(layouts), effort // 3, seed)
    if layout.left:
        left = tuple(sorted(i.piece.id for i in layout.left))
        total = sum(a.count for a in sizes)
        raise NotEnoughSheets(
            f"{len(left)} of {len(pieces)} pieces found no place on the {total} "
            f"{'sheet' if total == 1 else 'sheets'} there are: {', '.join(left)}",
            left,
        )
    return _finish(maps, layout.sheets, bound(len(layout.sheets)))


def _prover(items: tuple[Item, ...], sizes: tuple[Area, ...], spacing_mm: float) -> Callable[[int], int]:
    """Return a function that proves a lower bound on the sheets, up to the number it is given; it works once."""
    whole: list[int] = []

    def bound(enough: int) -> int:
        if whole:
            return whole[0]
        found = least_sheets(items, sizes, spacing_mm, enough)
        if found < enough:
            whole.append(found)
        return found

    return bound


def _items(
    pieces: tuple[Piece, ...],
    forms: Forms,
    sizes: tuple[Area, ...],
    margin_mm: float,
    sheet_grain: str | None,
    *,
    free: bool,
) -> tuple[Item | None, ...]:
    """Make pieces ready; None stands for one that fits no sheet. `free`: angles beside the quarter turns."""
    takes = opening(pieces, upright=not free)
    return tuple(item(p, forms, sizes, margin_mm, sheet_grain, angles(p) if free else (0.0,), takes) for p in pieces)


def _cell(items: tuple[Item, ...], spacing_mm: float) -> float:
    forms = [(i.stances[0].form, i.hull_mm2) for i in items]
    lengths = [(side + 2 * f.fuzz_mm, weight) for f, weight in forms for side in (f.width_mm, f.height_mm)]
    return best_cell(np.array([n for n, _ in lengths]), np.array([w for _, w in lengths], dtype=float), spacing_mm)


def _finish(maps: Maps, laid: tuple[Laid, ...], bound: int) -> Nest:
    """Turn cells into millimetres, push together, prove, and sum up."""
    spacing_mm = maps.spacing_mm
    covers = [settle(_cover(maps, sheet), spacing_mm) for sheet in laid]
    sheets: list[Sheet] = []
    placements: list[Placement] = []
    outlines = 0.0
    for number, cover in enumerate(covers, start=1):
        at = [placement(one, number) for one in cover.lying]
        shapes = {p.piece: placed(one.item.piece, p) for one, p in zip(cover.lying, at, strict=True)}
        verify(shapes, cover.area, spacing_mm)
        placements += at
        outlines += _outer_area(list(shapes.values()))
        area, wood = cover.area, sum(one.item.wood_mm2 for one in cover.lying)
        offcut = largest_offcut(list(shapes.values()), area, spacing_mm)
        size = (area.sheet_width_mm, area.sheet_height_mm)
        sheets.append(Sheet(number, *size, area.margin_mm, wood, offcut, area.outline, area.keep_out))
    used = sum(cover.area.sheet_mm2 for cover in covers)
    return Nest(
        sheets=tuple(sheets),
        placements=tuple(sorted(placements, key=lambda p: p.piece)),
        utilisation=sum(s.pieces_area_mm2 for s in sheets) / used,
        outline_utilisation=outlines / used,
        bound=bound,
    )


def _cover(maps: Maps, sheet: Laid) -> Cover:
    margin_mm = sheet.area.margin_mm
    lying = []
    for spot in sheet.spots:
        dx, dy = maps.offset(spot.stance.form, spot.stance.turn)
        left, bottom = margin_mm + spot.x * maps.cell_mm + dx, margin_mm + spot.y * maps.cell_mm + dy
        lying.append(lay(spot.item, spot.stance, left, bottom))
    return Cover(sheet.area, tuple(lying))


def _outer_area(shapes: list[Polygon]) -> float:
    """Sum the filled areas of the pieces that don't lie in a window of another."""
    filled = [Polygon(s.exterior) for s in shapes]
    return float(
        sum(
            f.area
            for k, f in enumerate(filled)
            if not any(other.area > f.area and other.contains(f) for j, other in enumerate(filled) if j != k)
        )
    )


def _too_odd(pieces: tuple[Piece, ...]) -> str:
    names = ", ".join(p.id for p in pieces)
    return f"the outlines of the sheets, and the places kept out, leave no room that takes: {names}"


def _too_big(pieces: tuple[Piece, ...], sizes: tuple[Area, ...], sheet_grain: str | None) -> str:
    if not sizes:
        return "no sheet has any usable area inside its margin: " + ", ".join(p.id for p in pieces)
    room = " or ".join(f"{fixed(a.width_mm, 2)} x {fixed(a.height_mm, 2)} mm" for a in sizes)
    lines = []
    for piece in pieces[:_MOST_NAMED]:
        turns = allowed_quarters(piece, sheet_grain)
        w, h = size_at(piece, turns[0])
        bound = "" if len(turns) == 4 else " with its grain along the sheet's"
        lines.append(f"{piece.id} is {fixed(w, 2)} x {fixed(h, 2)} mm{bound}")
    more = len(pieces) - len(lines)
    if more > 0:
        lines.append(f"{more} more are too large as well")
    return (
        f"the usable area of a sheet on this bed is {room}, and {'; '.join(lines)}. Take larger sheets or a "
        "smaller body, or have pieces split (split: when-needed in enclosure)"
    )
