"""The way from pieces and sheets to a nest."""

from __future__ import annotations

import numpy as np
from shapely.geometry import Polygon

from kerfwave.model.parts import Nest, Piece, Placement, Sheet
from kerfwave.model.spec import SheetStock
from kerfwave.nest.bound import least_sheets
from kerfwave.nest.errors import DoesNotFit, NotEnoughSheets
from kerfwave.nest.exact import Cover, lay, placed, placement, settle, verify
from kerfwave.nest.items import Area, Forms, Item, allowed_quarters, areas, item, size_at
from kerfwave.nest.layout import Laid, lay_out
from kerfwave.nest.maps import Maps
from kerfwave.nest.offcut import largest_offcut
from kerfwave.nest.raster import best_cell
from kerfwave.numfmt import fixed


def pack(
    pieces: tuple[Piece, ...],
    sheets: tuple[SheetStock, ...],
    *,
    bed_mm: tuple[float, float],
    margin_mm: float,
    spacing_mm: float,
    sheet_grain: str | None = None,
    effort: int = 300,
    seed: int = 1,
) -> Nest:
    """Lay pieces on as few sheets as the search finds.

    Args:
        pieces: finished sizes in mm, anywhere; ids must differ. Their order does not matter.
        sheets: sizes and counts at hand.
        bed_mm: width and height of the machine's bed. Of a larger sheet the lower-left part of that size is used.
        margin_mm: kept free along every edge of the sheet, and of the bed where that is smaller.
        spacing_mm: least distance between two pieces, windows included.
        sheet_grain: "x" or "y", the sheet's own grain axis. A piece with `grain` set lies with that axis along it.
        effort: layouts tried for each sheet in the main pass; a fifth as many in the pass before it, twice as many in
            a last one if a sheet might be saved. The search stops on counts and never on the clock.
        seed: of the search; the same input and seed give the same nest, byte for byte.

    Returns:
        The nest: placements sorted by piece, in whole 0.001 mm, turned by quarter turns and never flipped. Each
        sheet's offcut is the largest rectangle at least the spacing away from all pieces.

    Raises:
        DoesNotFit: if pieces are too big for every sheet.
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
    found = [(p, item(p, forms, sizes, margin_mm, sheet_grain)) for p in sorted(pieces, key=lambda p: p.id)]
    too_big = tuple(p for p, ready in found if ready is None)
    if too_big:
        raise DoesNotFit(_too_big(too_big, sizes, sheet_grain), tuple(p.id for p in too_big))
    items = tuple(ready for _, ready in found if ready is not None)
    maps = Maps(_cell(items, spacing_mm), spacing_mm, sizes)
    bound = least_sheets(items, sizes, spacing_mm)
    layout = lay_out(maps, items, sizes, bound, max(effort, 1), seed)
    if layout.left:
        left = tuple(sorted(i.piece.id for i in layout.left))
        total = sum(a.count for a in sizes)
        raise NotEnoughSheets(
            f"{len(left)} of {len(pieces)} pieces found no place on the {total} "
            f"{'sheet' if total == 1 else 'sheets'} there are: {', '.join(left)}",
            left,
        )
    return _finish(maps, layout.sheets, bound, margin_mm)


def _cell(items: tuple[Item, ...], spacing_mm: float) -> float:
    lengths = [(side + 2 * i.form.fuzz_mm, i.hull_mm2) for i in items for side in (i.form.width_mm, i.form.height_mm)]
    return best_cell(np.array([n for n, _ in lengths]), np.array([w for _, w in lengths], dtype=float), spacing_mm)


def _finish(maps: Maps, laid: tuple[Laid, ...], bound: int, margin_mm: float) -> Nest:
    """Turn cells into millimetres, push together, prove, and sum up."""
    spacing_mm = maps.spacing_mm
    covers = [settle(_cover(maps, sheet, margin_mm), margin_mm, spacing_mm) for sheet in laid]
    sheets: list[Sheet] = []
    placements: list[Placement] = []
    outlines = 0.0
    for number, cover in enumerate(covers, start=1):
        at = [placement(one, number) for one in cover.lying]
        shapes = {p.piece: placed(one.item.piece, p) for one, p in zip(cover.lying, at, strict=True)}
        verify(shapes, cover.area, margin_mm, spacing_mm)
        placements += at
        outlines += _outer_area(list(shapes.values()))
        width, height = cover.area.sheet_width_mm, cover.area.sheet_height_mm
        wood = sum(one.item.wood_mm2 for one in cover.lying)
        offcut = largest_offcut(list(shapes.values()), width, height, spacing_mm)
        sheets.append(Sheet(number, width, height, margin_mm, wood, offcut))
    used = sum(s.width_mm * s.height_mm for s in sheets)
    return Nest(
        sheets=tuple(sheets),
        placements=tuple(sorted(placements, key=lambda p: p.piece)),
        utilisation=sum(s.pieces_area_mm2 for s in sheets) / used,
        outline_utilisation=outlines / used,
        bound=bound,
    )


def _cover(maps: Maps, sheet: Laid, margin_mm: float) -> Cover:
    lying = []
    for spot in sheet.spots:
        dx, dy = maps.offset(spot.item.form, spot.turn)
        left, bottom = margin_mm + spot.x * maps.cell_mm + dx, margin_mm + spot.y * maps.cell_mm + dy
        lying.append(lay(spot.item, spot.turn, left, bottom))
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


def _too_big(pieces: tuple[Piece, ...], sizes: tuple[Area, ...], sheet_grain: str | None) -> str:
    if not sizes:
        return "no sheet has any usable area inside its margin: " + ", ".join(p.id for p in pieces)
    room = " or ".join(f"{fixed(a.width_mm, 2)} x {fixed(a.height_mm, 2)} mm" for a in sizes)
    lines = []
    for piece in pieces:
        turns = allowed_quarters(piece, sheet_grain)
        w, h = size_at(piece, turns[0])
        bound = "" if len(turns) == 4 else " with its grain along the sheet's"
        lines.append(
            f"piece {piece.id} is {fixed(w, 2)} x {fixed(h, 2)} mm{bound} and can't be cut: "
            f"the usable area of a sheet is {room}"
        )
    return "; ".join(lines)
