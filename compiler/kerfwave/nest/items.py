"""Pieces made ready for packing: equal shapes found, turns worked out, sizes measured. Sheets likewise."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from shapely.geometry import MultiPoint, Polygon

from kerfwave.model.parts import Piece, Point, Ring
from kerfwave.model.spec import SheetStock

STEP_MM = 0.001  # placements are whole multiples of this
_KEY_DECIMALS = 7  # rings that agree to so many decimals are one shape
_SAME_MM = 1e-7


@dataclass(frozen=True, slots=True)
class Area:
    """The usable part of one size of sheet: `width_mm` by `height_mm`, its corner at the margin."""

    width_mm: float
    height_mm: float
    sheet_width_mm: float
    sheet_height_mm: float
    count: int


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """A shape in its base turn, lower-left corner of its box at (`fuzz_mm`, `fuzz_mm`).

    Equal shapes share one form (see `Forms`), so forms are compared by identity, which is quick. `fuzz_mm` is how
    far rounding to `STEP_MM` may carry the piece to any side: 0 where its corners lie on that step.
    """

    outline: Ring
    holes: tuple[Ring, ...]
    width_mm: float
    height_mm: float
    fuzz_mm: float


@dataclass(frozen=True, slots=True)
class Item:
    """One piece to place.

    `turns` are quarter turns counter-clockwise on top of `base`, itself in quarter turns of the piece's own
    coordinates. `shell` is the form without its holes; for a piece that fits no window only that matters.
    """

    piece: Piece
    base: int
    turns: tuple[int, ...]
    form: Form
    shell: Form
    hull_mm2: int
    filled_mm2: float
    wood_mm2: float


class Forms:
    """The forms of one set of pieces, each shape once."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], Form] = {}

    def form(self, outline: Ring, holes: tuple[Ring, ...], size_mm: tuple[float, float], fuzz_mm: float) -> Form:
        """Return the form of a shape whose lower-left corner is the origin."""
        key = (outline, holes, fuzz_mm)
        if key not in self._known:
            moved = tuple(tuple((x + fuzz_mm, y + fuzz_mm) for x, y in ring) for ring in (outline, *holes))
            self._known[key] = Form(moved[0], moved[1:], size_mm[0], size_mm[1], fuzz_mm)
        return self._known[key]


def quarter(ring: Iterable[Point], turns: int) -> Ring:
    """Turn a ring counter-clockwise about the origin by quarter turns, exactly (no sine, no rounding)."""
    turns %= 4
    if turns == 0:
        return tuple((x, y) for x, y in ring)
    if turns == 1:
        return tuple((-y, x) for x, y in ring)
    if turns == 2:
        return tuple((-x, -y) for x, y in ring)
    return tuple((y, -x) for x, y in ring)


def corner(ring: Iterable[Point]) -> Point:
    """Lower-left corner of the box around a ring."""
    points = tuple(ring)
    return min(x for x, _ in points), min(y for _, y in points)


def areas(sheets: tuple[SheetStock, ...], bed_mm: tuple[float, float], margin_mm: float) -> tuple[Area, ...]:
    """Usable areas by size, largest first, equal sizes counted together.

    Of a sheet larger than the bed only the lower-left, bed-sized part is used; the margin is kept on all four sides
    of that part, so that cuts round a piece at its edge stay on the bed too.
    """
    counts: dict[tuple[float, float], int] = {}
    for sheet in sheets:
        size = (sheet.width_mm, sheet.height_mm)
        counts[size] = counts.get(size, 0) + max(sheet.count, 0)
    found = [
        Area(min(w, bed_mm[0]) - 2 * margin_mm, min(h, bed_mm[1]) - 2 * margin_mm, w, h, n)
        for (w, h), n in counts.items()
    ]
    usable = (a for a in found if a.count and a.width_mm > 0 and a.height_mm > 0)
    return tuple(sorted(usable, key=lambda a: (-a.width_mm * a.height_mm, a.sheet_width_mm, a.sheet_height_mm)))


def allowed_quarters(piece: Piece, sheet_grain: str | None) -> tuple[int, ...]:
    """Quarter turns that a piece may take: all, or the two that lay its grain axis along the sheet's."""
    if piece.grain is None or sheet_grain is None:
        return (0, 1, 2, 3)
    return (0, 2) if piece.grain == sheet_grain else (1, 3)


def size_at(piece: Piece, turns: int) -> tuple[float, float]:
    """Width and height of the box around a piece after quarter turns."""
    xs, ys = [x for x, _ in piece.outline], [y for _, y in piece.outline]
    w, h = max(xs) - min(xs), max(ys) - min(ys)
    return (w, h) if turns % 2 == 0 else (h, w)


def fits(width_mm: float, height_mm: float, area: Area) -> bool:
    """Whether a box lies within a usable area."""
    return width_mm <= area.width_mm + _SAME_MM and height_mm <= area.height_mm + _SAME_MM


def item(piece: Piece, forms: Forms, sizes: tuple[Area, ...], margin_mm: float, sheet_grain: str | None) -> Item | None:
    """Make a piece ready, or return None if it fits no size of sheet in any turn allowed.

    Raises:
        ValueError: if its outline crosses itself or a hole leaves it.
    """
    solid = Polygon(piece.outline, piece.holes)
    if not solid.is_valid or solid.is_empty:
        raise ValueError(f"piece {piece.id} is not a simple outline with holes inside it")
    fuzz = _fuzz(piece, margin_mm)
    allowed = [
        q
        for q in allowed_quarters(piece, sheet_grain)
        if any(fits(w + 2 * fuzz, h + 2 * fuzz, a) for w, h in (size_at(piece, q),) for a in sizes)
    ]
    if not allowed:
        return None
    base = allowed[0]
    turns: dict[tuple[Ring, tuple[Ring, ...]], int] = {}
    for q in allowed:  # a rectangle turned by half looks the same: keep one
        turns.setdefault(_normal(piece, q), q - base)
    outline, holes = next(iter(turns))
    size = size_at(piece, base)
    return Item(
        piece=piece,
        base=base,
        turns=tuple(turns.values()),
        form=forms.form(outline, holes, size, fuzz),
        shell=forms.form(outline, (), size, fuzz),
        hull_mm2=round(MultiPoint(piece.outline).convex_hull.area),
        filled_mm2=Polygon(piece.outline).area,
        wood_mm2=solid.area,
    )


def _fuzz(piece: Piece, margin_mm: float) -> float:
    x, y = corner(piece.outline)
    w, h = size_at(piece, 0)
    steps = [v / STEP_MM for v in (x - margin_mm, y - margin_mm, w, h)]
    on_step = all(abs(s - round(s)) * STEP_MM < _SAME_MM / 2 for s in steps)
    return 0.0 if on_step else STEP_MM / 2


def _normal(piece: Piece, turns: int) -> tuple[Ring, tuple[Ring, ...]]:
    """One canonical way to write a turned shape: corner at the origin, fixed start and direction of each ring."""
    outline = quarter(piece.outline, turns)
    x0, y0 = corner(outline)

    def canonical(ring: Ring, ccw: bool) -> Ring:
        points = [(round(x - x0, _KEY_DECIMALS) + 0.0, round(y - y0, _KEY_DECIMALS) + 0.0) for x, y in ring]
        twice = sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(points, points[1:] + points[:1], strict=True))
        if (twice > 0) != ccw:
            points.reverse()
        start = points.index(min(points))
        return tuple(points[start:] + points[:start])

    holes = sorted(canonical(quarter(ring, turns), False) for ring in piece.holes)
    return canonical(outline, True), tuple(holes)
