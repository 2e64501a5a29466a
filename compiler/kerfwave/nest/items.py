"""Pieces made ready for packing: equal shapes found, turns worked out, sizes measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from shapely.geometry import MultiPoint, Polygon

from kerfwave.model.parts import Piece, Point, Ring
from kerfwave.nest.areas import Area

STEP_MM = 0.001  # placements are whole multiples of this
_KEY_DECIMALS = 7  # rings that agree to so many decimals are one shape
_SAME_MM = 1e-7
_EDGES = 3  # longest edges whose directions are tried
_LADDER_DEG = 15.0
_APART_DEG = 1.0  # of angles worth trying beside each other


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


@dataclass(frozen=True, slots=True, eq=False)
class Stance:
    """A way in which a piece may lie: a form, quarter turns on top of it, and what both make of the piece, in degrees.

    `shell` is the form without its holes; for a piece that fits no window only that matters. `open` is the form with
    those of its holes that might take another piece.
    """

    form: Form
    shell: Form
    open: Form
    turn: int
    deg: float


@dataclass(frozen=True, slots=True)
class Item:
    """One piece to place. Of the same `kind` are items that may be swapped."""

    piece: Piece
    stances: tuple[Stance, ...]
    ways: tuple[float, ...]  # degrees of the stances
    hull_mm2: int
    filled_mm2: float
    wood_mm2: float
    upright: tuple[Stance, ...] = ()  # the stances that are quarter turns

    @property
    def leaning(self) -> bool:
        """Whether it may lie upright, and at other angles too."""
        return 0 < len(self.upright) < len(self.stances)

    @property
    def oblique(self) -> bool:
        """Whether it may lie at other angles than quarter turns."""
        return any(deg % 90 for deg in self.ways)

    @property
    def kind(self) -> tuple[object, ...]:
        """What tells the item from others."""
        return (self.stances[0].form, self.ways)


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


def turned(ring: Iterable[Point], angle_deg: float) -> Ring:
    """Turn a ring counter-clockwise about the origin; exactly, where that is a whole number of quarter turns."""
    turns, rest = divmod(angle_deg, 90.0)
    if rest == 0:
        return quarter(ring, int(turns))
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return tuple((cos * x - sin * y, sin * x + cos * y) for x, y in ring)


def angles(piece: Piece) -> tuple[float, ...]:
    """Angles below a quarter turn worth trying for a piece: 0, those that lay its longest edges level, and a ladder.

    Together with the quarter turns on top of each that is every direction that a straight edge of it asks for.
    """
    ring = piece.outline
    edges: dict[float, float] = {}
    for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True):
        level = round(-math.degrees(math.atan2(y1 - y0, x1 - x0)) % 90.0, 3) % 90.0
        edges[level] = edges.get(level, 0.0) + math.hypot(x1 - x0, y1 - y0)
    longest = sorted(edges, key=lambda a: (-round(edges[a], 6), a))[:_EDGES]
    found = [0.0]
    for angle in (*longest, *(k * _LADDER_DEG for k in range(1, math.ceil(90 / _LADDER_DEG)))):
        if all(min(abs(angle - other), 90.0 - abs(angle - other)) >= _APART_DEG for other in found):
            found.append(angle)
    return tuple(found)


def opening(pieces: tuple[Piece, ...], *, upright: bool) -> Callable[[Ring], bool]:
    """Return the question whether a hole is large enough for one of the pieces, by area and, if `upright`, by box."""
    sizes = {(Polygon(p.outline).area, *size_at(p, 0)) for p in pieces}

    def takes(hole: Ring) -> bool:
        area = Polygon(hole).area
        w, h = _size(hole, 0)
        return any(
            size < area and (not upright or (min(pw, ph) <= min(w, h) and max(pw, ph) <= max(w, h)))
            for size, pw, ph in sizes
        )

    return takes


def corner(ring: Iterable[Point]) -> Point:
    """Lower-left corner of the box around a ring."""
    points = tuple(ring)
    return min(x for x, _ in points), min(y for _, y in points)


def allowed_quarters(piece: Piece, sheet_grain: str | None) -> tuple[int, ...]:
    """Quarter turns that a piece may take: all, or the two that lay its grain axis along the sheet's."""
    if piece.grain is None or sheet_grain is None:
        return (0, 1, 2, 3)
    return (0, 2) if piece.grain == sheet_grain else (1, 3)


def size_at(piece: Piece, turns: int) -> tuple[float, float]:
    """Width and height of the box around a piece after quarter turns."""
    return _size(piece.outline, turns)


def _size(ring: Ring, turns: int) -> tuple[float, float]:
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    w, h = max(xs) - min(xs), max(ys) - min(ys)
    return (w, h) if turns % 2 == 0 else (h, w)


def fits(width_mm: float, height_mm: float, area: Area) -> bool:
    """Whether a box lies within a usable area."""
    return width_mm <= area.width_mm + _SAME_MM and height_mm <= area.height_mm + _SAME_MM


def item(
    piece: Piece,
    forms: Forms,
    sizes: tuple[Area, ...],
    margin_mm: float,
    sheet_grain: str | None,
    angles_deg: tuple[float, ...] = (0.0,),
    takes: Callable[[Ring], bool] = lambda hole: True,
) -> Item | None:
    """Make a piece ready, or return None if it fits the box of no sheet in any way allowed.

    `angles_deg` are tried with all quarter turns on top, where the grain does not forbid it. `takes` says whether
    a hole might take another piece.

    Raises:
        ValueError: if its outline crosses itself or a hole leaves it.
    """
    solid = Polygon(piece.outline, piece.holes)
    if not solid.is_valid or solid.is_empty:
        raise ValueError(f"piece {piece.id} is not a simple outline with holes inside it")
    free = piece.grain is None or sheet_grain is None
    stances = [
        stance
        for angle in (angles_deg if free else (0.0,))
        for stance in _stances(piece, forms, sizes, margin_mm, allowed_quarters(piece, sheet_grain), angle, takes)
    ]
    if not stances:
        return None
    return Item(
        piece=piece,
        stances=tuple(stances),
        ways=tuple(s.deg for s in stances),
        hull_mm2=round(MultiPoint(piece.outline).convex_hull.area),
        filled_mm2=Polygon(piece.outline).area,
        wood_mm2=solid.area,
        upright=tuple(s for s in stances if s.deg % 90 == 0),
    )


def _stances(
    piece: Piece,
    forms: Forms,
    sizes: tuple[Area, ...],
    margin_mm: float,
    quarters: tuple[int, ...],
    angle_deg: float,
    takes: Callable[[Ring], bool],
) -> list[Stance]:
    """Quarter turns on top of one angle that fit the box of some sheet; of those that look the same only one."""
    outline = turned(piece.outline, angle_deg)
    holes = tuple(turned(ring, angle_deg) for ring in piece.holes)
    fuzz = _fuzz(outline, margin_mm)
    allowed = [
        q for q in quarters if any(fits(w + 2 * fuzz, h + 2 * fuzz, a) for w, h in (_size(outline, q),) for a in sizes)
    ]
    found: dict[tuple[Ring, tuple[Ring, ...]], Stance] = {}
    base: tuple[int, tuple[Form, Form, Form]] | None = None
    for q in allowed:
        shape = _normal(outline, holes, q)
        if base is None:
            size = _size(outline, q)
            holed = (shape[1], (), tuple(hole for hole in shape[1] if takes(hole)))
            form, shell, opened = (forms.form(shape[0], some, size, fuzz) for some in holed)
            base = (q, (form, shell, opened))
        if shape not in found:  # a rectangle turned by half looks the same: keep one
            found[shape] = Stance(*base[1], q - base[0], angle_deg + 90.0 * q)
    return list(found.values())


def _fuzz(outline: Ring, margin_mm: float) -> float:
    x, y = corner(outline)
    w, h = _size(outline, 0)
    steps = [v / STEP_MM for v in (x - margin_mm, y - margin_mm, w, h)]
    on_step = all(abs(s - round(s)) * STEP_MM < _SAME_MM / 2 for s in steps)
    return 0.0 if on_step else STEP_MM / 2


def _normal(outline: Ring, holes: tuple[Ring, ...], turns: int) -> tuple[Ring, tuple[Ring, ...]]:
    """One canonical way to write a turned shape: corner at the origin, fixed start and direction of each ring."""
    outline = quarter(outline, turns)
    x0, y0 = corner(outline)

    def canonical(ring: Ring, ccw: bool) -> Ring:
        points = [(round(x - x0, _KEY_DECIMALS) + 0.0, round(y - y0, _KEY_DECIMALS) + 0.0) for x, y in ring]
        twice = sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(points, points[1:] + points[:1], strict=True))
        if (twice > 0) != ccw:
            points.reverse()
        start = points.index(min(points))
        return tuple(points[start:] + points[:start])

    inner = sorted(canonical(quarter(ring, turns), False) for ring in holes)
    return canonical(outline, True), tuple(inner)
