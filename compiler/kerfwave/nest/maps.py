"""No-fit maps: for two shapes, every shift on the grid at which they would come too close.

A map is the cross-correlation of the cells of one shape with the grown cells of the other, taken by FFT. It is kept
as one long whole number, a bit a shift, row after row of the sheet: laying a piece down is then a shift and an OR,
and the lowest free place is the lowest zero bit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from kerfwave.model.parts import Ring
from kerfwave.nest.areas import Area
from kerfwave.nest.items import Form
from kerfwave.nest.raster import Cells, cells_across, rasterise, taken_cells
from kerfwave.nest.spectra import Spectrum, back, forward, quick_size

_AREA_MM = 1e-7
_BUCKET = 48  # sides of transforms are rounded up to this many cells
_ALIKE = 1.04  # cells of shapes that are joined, to those of the smallest of them
_SPECTRA = 128  # transforms kept; 0.6 MB each for pieces of 190 mm


class Maps:
    """All maps on one grid, made when first asked for.

    Turns are quarter turns from the base turn of each form. Places are counted row by row from below.
    """

    def __init__(self, cell_mm: float, spacing_mm: float, sizes: tuple[Area, ...]) -> None:
        self.cell_mm = cell_mm
        self.spacing_mm = spacing_mm
        self.pad = math.ceil(spacing_mm / cell_mm) + 1
        longest = max(max(a.width_mm, a.height_mm) for a in sizes)
        # Wide enough that what runs over one end of a row can't reach a place of the next row that is in use.
        self.stride = cells_across(longest, cell_mm) + self.pad + 2
        self._ids: dict[Form, int] = {}
        self._rasters: list[tuple[Cells, Cells]] = []
        self._same: dict[tuple[tuple[int, ...], bytes, bytes], int] = {}
        self._maps: dict[tuple[int, int, int], Cells] = {}
        self._spectra: dict[tuple[int, int | None, tuple[int, ...]], Spectrum] = {}
        self._bits: dict[tuple[int, int], dict[tuple[int, int], tuple[int, int]]] = {}
        self._places: dict[tuple[Form, int, Area], int] = {}
        self._columns: dict[int, int] = {}
        self._walls: dict[Area, Cells] = {}

    def raster_id(self, form: Form) -> int:
        """Return the number of a form's cells; forms that look the same on the grid share it."""
        found = self._ids.get(form)
        if found is None:
            plain, grown = self._cells(form)
            key = (plain.shape, np.packbits(plain).tobytes(), np.packbits(grown).tobytes())
            found = self._same.setdefault(key, len(self._rasters))
            if found == len(self._rasters):
                self._rasters.append((plain, grown))
            self._ids[form] = found
        return found

    def join(self, forms: Iterable[Form]) -> None:
        """Give forms that look nearly the same one raster, that of all of them laid on each other.

        Layers of one body often differ by a hair. One raster for several saves most of the maps, and what the few
        cells too many take away is got back when pieces are pushed together at the end. Boxes must agree, so that no
        row holds one piece less.
        """
        groups: list[tuple[list[Form], Cells, Cells, int]] = []  # members, their union, fewest cells of a member
        for form, (plain, grown) in sorted(
            ((f, self._cells(f)) for f in dict.fromkeys(forms)), key=lambda x: (-int(x[1][1].sum()), x[0].outline)
        ):
            count = int(grown.sum())
            for k, (members, one, other, fewest) in enumerate(groups):
                if one.shape == plain.shape and int((other | grown).sum()) <= _ALIKE * min(fewest, count):
                    groups[k] = ([*members, form], one | plain, other | grown, min(fewest, count))
                    break
            else:
                groups.append(([form], plain, grown, count))
        for members, plain, grown, _ in groups:
            self._ids |= dict.fromkeys(members, len(self._rasters))
            self._rasters.append((plain, grown))

    def _cells(self, form: Form) -> tuple[Cells, Cells]:
        rings = (form.outline, *form.holes)
        rows_columns = self.box(form, 0)[::-1]

        def cells(grow_mm: float, pad: int) -> Cells:
            return rasterise(rings, rows_columns, cell_mm=self.cell_mm, grow_mm=grow_mm, pad=pad, slack_mm=form.fuzz_mm)

        return np.ascontiguousarray(cells(0.0, 1)[1:-1, 1:-1]), cells(self.spacing_mm, self.pad)

    def box(self, form: Form, turn: int) -> tuple[int, int]:
        """Columns and rows of the cells of a form."""
        columns = cells_across(form.width_mm + 2 * form.fuzz_mm, self.cell_mm)
        rows = cells_across(form.height_mm + 2 * form.fuzz_mm, self.cell_mm)
        return (columns, rows) if turn % 2 == 0 else (rows, columns)

    def offset(self, form: Form, turn: int) -> tuple[float, float]:
        """Where in its box of cells the lower-left corner of the turned form lies, in mm."""
        columns, rows = self.box(form, 0)
        spare_x = columns * self.cell_mm - form.width_mm - form.fuzz_mm
        spare_y = rows * self.cell_mm - form.height_mm - form.fuzz_mm
        fuzz = form.fuzz_mm
        return ((fuzz, fuzz), (spare_y, fuzz), (spare_x, spare_y), (fuzz, spare_x))[turn % 4]

    def reach(self, form: Form, turn: int, area: Area) -> tuple[int, int]:
        """How many columns and rows of places, from the first, keep the turned form inside an area."""
        x, y = self.offset(form, turn)
        w, h = (form.width_mm, form.height_mm) if turn % 2 == 0 else (form.height_mm, form.width_mm)
        fuzz = form.fuzz_mm - _AREA_MM
        columns = math.floor((area.width_mm - x - w - fuzz) / self.cell_mm) + 1
        rows = math.floor((area.height_mm - y - h - fuzz) / self.cell_mm) + 1
        return columns, rows

    def places(self, form: Form, turn: int, area: Area) -> int:
        """Bits of all places at which the form lies within the area."""
        key = (form, turn, area)
        found = self._places.get(key)
        if found is None:
            columns, rows = self.reach(form, turn, area)
            found = 0
            if columns > 0 and rows > 0:
                grid = np.zeros((rows, self.stride), dtype=np.bool_)
                grid[:, :columns] = True
                if not area.plain:
                    grid[:, :columns] &= ~self._walled(form, turn, area)[:rows, :columns]
                found = _pack(grid)
            self._places[key] = found
        return found

    def walls(self, area: Area) -> Cells:
        """Cells of an area that no piece may touch."""
        if area not in self._walls:
            self._walls[area] = _wall_cells(area, self.cell_mm, self.spacing_mm)
        return self._walls[area]

    def grown(self, form: Form, turn: int) -> Cells:
        """Cells that a turned form touches once grown by the spacing, `pad` more on each side than its box."""
        return np.rot90(self._rasters[self.raster_id(form)][1], -turn)

    def _walled(self, form: Form, turn: int, area: Area) -> Cells:
        """Places at which the form would touch what lies outside the sheet, or a place that is kept out."""
        walls = self.walls(area)
        cells = np.rot90(self._rasters[self.raster_id(form)][0], -turn)
        size = quick_size(walls.shape)
        # Wherever the form lies within the area nothing runs over the ends, so no room is needed for that.
        counts = back(forward(walls, size) * np.conj(forward(cells, size)), size)
        return np.asarray(counts > 0.5, dtype=np.bool_)

    def column(self, rows: int) -> int:
        """Bits of the first place of so many rows."""
        if rows not in self._columns:
            self._columns[rows] = sum(1 << (k * self.stride) for k in range(rows))
        return self._columns[rows]

    def known(self, wanted: int, turn: int) -> dict[tuple[int, int], tuple[int, int]]:
        """Return what `blocked` has found so far for a raster in a turn, by the number and turn of what lies there."""
        return self._bits.setdefault((wanted, turn), {})

    def blocked(self, lying: int, lying_turn: int, wanted: int, turn: int) -> tuple[int, int]:
        """Bits of the blocked shifts of one raster against another, and by how much to shift them.

        Laid at (x, y) the bits move left by ``y * stride + x - shift``.
        """
        grid = np.rot90(self._map(lying, wanted, (turn - lying_turn) % 4), -lying_turn)
        rows, columns = self._rasters[wanted][0].shape[:: -1 if turn % 2 else 1]
        back_x, back_y = columns + self.pad - 1, rows + self.pad - 1
        wide = np.zeros((grid.shape[0] + 1, self.stride), dtype=np.bool_)
        body = grid[:, : self.stride]
        wide[:-1, : body.shape[1]] = body
        over = grid[:, self.stride :]
        wide[1:, : over.shape[1]] |= over
        found = (_pack(wide), back_y * self.stride + back_x)
        self.known(wanted, turn)[lying, lying_turn] = found
        return found

    def _map(self, a: int, b: int, turn: int) -> Cells:
        """Blocked shifts of b, turned, against a in its base turn; row and column 0 are the lowest shifts."""
        key = (a, b, turn)
        found = self._maps.get(key)
        if found is None:
            seen = self._maps.get((b, a, -turn % 4))
            # Seen from the other shape shifts change sign and the view turns.
            found = self._correlate(a, b, turn) if seen is None else np.rot90(seen[::-1, ::-1], -turn)
            self._maps[key] = found
        return found

    def _correlate(self, a: int, b: int, turn: int) -> Cells:
        """Shifts of b, grown and turned, at which it shares a cell with a."""
        cells, grown = self._rasters[a][0], self._rasters[b][1]
        lines, columns = grown.shape if turn % 2 == 0 else grown.shape[::-1]
        full = (cells.shape[0] + lines - 1, cells.shape[1] + columns - 1)
        # Few sizes, so that most transforms are there already.
        size = quick_size(full, _BUCKET)
        counts = back(self._spectrum(a, None, size) * self._spectrum(b, turn, size), size)
        # Counts are whole numbers; single precision is right to about 0.01 for shapes of a million cells.
        return np.asarray(counts[: full[0], : full[1]] > 0.5, dtype=np.bool_)

    def _spectrum(self, number: int, turn: int | None, size: tuple[int, ...]) -> Spectrum:
        """Transform of a shape's cells (`turn` None) or of its grown cells, turned and seen backwards."""
        key = (number, turn, size)
        found = self._spectra.get(key)
        if found is None:
            plain, grown = self._rasters[number]
            grid = plain if turn is None else np.rot90(grown, -turn)[::-1, ::-1]
            found = forward(grid, size)
            if len(self._spectra) >= _SPECTRA:
                self._spectra.pop(next(iter(self._spectra)))  # the oldest
            self._spectra[key] = found
        return found


def _wall_cells(area: Area, cell_mm: float, spacing_mm: float) -> Cells:
    """Cells of an area that no piece may touch. A piece may lie right beside them."""
    shape = (cells_across(area.height_mm, cell_mm), cells_across(area.width_mm, cell_mm))
    margin = area.margin_mm

    def moved(ring: Ring) -> Ring:
        return tuple((x - margin, y - margin) for x, y in ring)

    walls = np.zeros(shape, dtype=np.bool_)
    if area.outline:
        far = 4 * margin + 10.0
        right, top = area.sheet_width_mm + far, area.sheet_height_mm + far
        around = ((-far, -far), (right, -far), (right, top), (-far, top))
        walls |= taken_cells(((moved(around), moved(area.outline)),), shape, cell_mm=cell_mm, grow_mm=margin)
    for place in area.keep_out:
        grow = spacing_mm + place.clearance_mm
        walls |= taken_cells(((moved(place.outline),),), shape, cell_mm=cell_mm, grow_mm=grow)
    return walls


def _pack(grid: Cells) -> int:
    return int.from_bytes(np.packbits(grid.reshape(-1), bitorder="little").tobytes(), "little")
