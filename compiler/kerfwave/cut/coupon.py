"""Test cuts that turn an estimate into a measured recipe.

Two small programs. "coupon-passes" cuts a row of squares with more and more passes: the first that falls out
says how many it takes. "coupon-kerf" cuts a frame full of strips: pushed together, they leave a gap of as many
kerfs as there are cuts across the row. It also cuts a row of small holes to measure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely.geometry import Polygon

from kerfwave.cut.errors import OutsideBed
from kerfwave.cut.lead import Surroundings
from kerfwave.cut.paths import contour
from kerfwave.cut.program import assemble
from kerfwave.cut.recipe import thickness_mm
from kerfwave.cut.routes import line_along
from kerfwave.model.parts import Contour, Move, Piece, Placement, Point, Recipe, Ring, SheetProgram
from kerfwave.model.spec import Machine, Stock
from kerfwave.numfmt import fixed

_MARGIN_MM = 8.0  # scrap left around everything
_STRIPS = 10
_STRIP_MM = (10.0, 30.0)
_HOLES_MM = (2.0, 3.0, 5.0)
_PLATE_MM = (40.0, 12.0)
_SQUARE_MM = 10.0
_GAP_MM = 6.0
_TICK_MM = 3.0
_MOST_SQUARES = 9
_MARK_POWER = 0.2  # a share of the recipe's power, one pass: a brown line, not a cut
_MARK_FEED_MM_MIN = 1500.0
_SIDES = 64  # of a polygon that stands for a circle of 5 mm: true to 0.003 mm


@dataclass(frozen=True, slots=True)
class Coupon:
    """One test cut: its program, what it frees (in sheet coordinates), and how to read it."""

    program: SheetProgram
    pieces: tuple[Piece, ...]
    reading: tuple[str, ...]
    depths_mm: tuple[float, ...] = ()  # of the focus in each contour; empty: the head stays
    raw: bool = False  # drawn as the axes are, uncorrected
    columns: tuple[str, ...] = ()  # of the table to fill in
    rows: tuple[tuple[str, ...], ...] = ()

    @property
    def placements(self) -> tuple[Placement, ...]:
        """The pieces lie where they are drawn."""
        return tuple(Placement(piece.id, 1, 0.0, 0.0, 0.0) for piece in self.pieces)


def design(machine: Machine, stock: Stock, recipe: Recipe) -> tuple[Coupon, ...]:
    """Return the coupons for this machine, stock and recipe: first the passes, then the kerf.

    Raises
    ------
    OutsideBed
        where the bed is too small even for these.
    KerfTooWide
        where the recipe's kerf is wider than the smallest hole.
    """
    return passes_coupon(machine, stock, recipe), kerf_coupon(machine, stock, recipe)


def passes_coupon(machine: Machine, stock: Stock, recipe: Recipe) -> Coupon:
    """Return a row of squares cut with from half to one and a half times the recipe's passes.

    Under each square stand as many ticks as its place in the row.
    """
    tries = pass_ladder(recipe.passes)
    pitch_x, pitch_y = _SQUARE_MM + _GAP_MM, _SQUARE_MM + _GAP_MM + _TICK_MM
    columns = min(len(tries), int((machine.bed_width_mm - 2 * _MARGIN_MM + _GAP_MM) // pitch_x))
    rows = -(-len(tries) // columns) if columns > 0 else 0
    size = (2 * _MARGIN_MM + columns * pitch_x - _GAP_MM, 2 * _MARGIN_MM + rows * pitch_y)
    check_bed(size, machine, "coupon-passes", columns)
    marks: list[Contour] = []
    cuts: list[Contour] = []
    pieces = []
    for k, passes in enumerate(tries):
        row, column = divmod(k, columns)
        x = _MARGIN_MM + column * pitch_x
        y = size[1] - _MARGIN_MM - _SQUARE_MM - row * pitch_y  # the first row is at the top, as one reads
        name = f"passes-{passes}"
        step = _SQUARE_MM / (_MOST_SQUARES + 1)
        marks += [_tick(name, (x + (n + 1) * step, y - 1.5), recipe, machine) for n in range(k + 1)]
        square = rectangle(x, y, _SQUARE_MM, _SQUARE_MM)
        pieces.append(piece_of(name, square, stock))
        cuts += cut_free(pieces[-1], recipe, machine, size, passes=passes)
    table = ", ".join(f"{k + 1}: {passes}" for k, passes in enumerate(tries))
    reading = (
        f"Ticks under a square and the passes it was cut with: {table}.",
        "Lift the sheet straight up and press nothing. The square with the fewest ticks that fell out is enough; "
        "take one pass more where the sheet has knots or glue spots.",
        "If none fell out, slow the feed and cut this coupon again. If all fell out, ask for fewer passes.",
        "Write the passes into a recipe file, with the date, then cut coupon-kerf.",
    )
    program = assemble(
        "coupon-passes", stock.name, size, (*marks, *cuts), machine, verified=recipe.verified, notes=reading
    )
    return Coupon(program, tuple(pieces), reading)


def pass_ladder(passes: int) -> tuple[int, ...]:
    """Return the numbers of passes to try, from half to one and a half times `passes`, nine at most, no repeats."""
    low, high = max(1, math.ceil(passes / 2)), max(passes + 1, math.floor(1.5 * passes))
    count = min(_MOST_SQUARES, high - low + 1)
    return tuple(sorted({low + round((high - low) * k / (count - 1)) for k in range(count)}))


def kerf_coupon(machine: Machine, stock: Stock, recipe: Recipe) -> Coupon:
    """Return a frame of strips that share their cuts, and a plate with small holes.

    The beam's centre runs on the nominal lines, so each strip comes out one kerf narrower than its pitch.
    """
    pitch, tall = _STRIP_MM
    # Whole strips that fit the bed; four already give a fifth of a kerf's worth of averaging.
    strips = min(_STRIPS, int((machine.bed_width_mm - 2 * _MARGIN_MM) // pitch))
    size = (2 * _MARGIN_MM + max(strips * pitch, _PLATE_MM[0]), 3 * _MARGIN_MM + tall + _PLATE_MM[1])
    check_bed(size, machine, "coupon-kerf", strips - 3)
    left, low = _MARGIN_MM, 2 * _MARGIN_MM + _PLATE_MM[1]
    total = strips * pitch
    cuts = [
        _straight("strips", (left + k * pitch, low), (left + k * pitch, low + tall), recipe, down=k % 2 == 0)
        for k in range(1, strips)
    ]
    cuts.append(_frame("strips", rectangle(left, low, total, tall), recipe))
    half = recipe.kerf_mm / 2
    pieces = [
        piece_of(
            f"strip-{k + 1}",
            rectangle(left + k * pitch + half, low + half, pitch - recipe.kerf_mm, tall - recipe.kerf_mm),
            stock,
        )
        for k in range(strips)
    ]
    plate = rectangle(left, _MARGIN_MM, *_PLATE_MM)
    third = _PLATE_MM[0] / len(_HOLES_MM)
    holes = tuple(
        _circle(left + third * (n + 0.5), _MARGIN_MM + _PLATE_MM[1] / 2, diameter)
        for n, diameter in enumerate(_HOLES_MM)
    )
    pieces.append(piece_of("holes", plate, stock, holes))
    cuts += cut_free(pieces[-1], recipe, machine, size, passes=recipe.passes)
    wanted = " / ".join(fixed(d, 1) for d in _HOLES_MM)
    reading = (
        f"Leave the strips in their frame and push them together to one side. Kerf = gap / {strips + 1}.",
        # No parentheses: these lines also stand in the program's comments, which cannot hold any.
        f"Or take them out, push them together and measure across all {strips}: take that from "
        f"{fixed(total, 1)} mm and divide by {strips}.",
        f"Holes: {wanted} mm as drawn with a kerf of {fixed(recipe.kerf_mm, 3)} mm. If they all measure larger by "
        "the same amount, the kerf is larger by that amount; smaller, likewise.",
        "Write the kerf into the recipe file, with the date and this coupon's name.",
    )
    program = assemble("coupon-kerf", stock.name, size, tuple(cuts), machine, verified=recipe.verified, notes=reading)
    return Coupon(program, tuple(pieces), reading)


def cut_free(piece: Piece, recipe: Recipe, machine: Machine, size_mm: Point, *, passes: int) -> list[Contour]:
    """Return the contours that free a piece which lies alone, holes first."""
    around = Surroundings(Polygon(piece.outline, piece.holes), (), recipe.kerf_mm, *size_mm)
    contours = []
    for hole in (*range(len(piece.holes)), None):
        line = line_along(0, hole, piece.id, around, machine)
        start = next((k for k, lit in enumerate(line.lit) if lit is not None), 0)
        contours.append(contour(line, start, piece.id, recipe, machine, passes=passes))
    return contours


def _straight(name: str, start: Point, end: Point, recipe: Recipe, *, down: bool) -> Contour:
    """Return a straight cut on the nominal line, to and fro without lifting."""
    if down:
        start, end = end, start
    power, feed = recipe.power_percent / 100, recipe.feed_mm_min
    passes = [Move("line", *(start if k % 2 else end), power, feed) for k in range(recipe.passes)]
    return Contour(name, "outline", (Move("rapid", *start), *passes), recipe.passes * math.dist(start, end))


def _frame(name: str, ring: Ring, recipe: Recipe) -> Contour:
    """Return a closed cut on the nominal line itself."""
    power, feed = recipe.power_percent / 100, recipe.feed_mm_min
    once = [Move("line", *point, power, feed) for point in (*ring[1:], ring[0])]
    length = math.fsum(math.dist(a, b) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))
    return Contour(name, "outline", (Move("rapid", *ring[0]), *once * recipe.passes), recipe.passes * length)


def _tick(name: str, top: Point, recipe: Recipe, machine: Machine) -> Contour:
    power, feed = _MARK_POWER * recipe.power_percent / 100, min(_MARK_FEED_MM_MIN, machine.max_feed_mm_min)
    moves = (Move("rapid", *top), Move("line", top[0], top[1] - _TICK_MM, power, feed))
    return Contour(name, "mark", moves, _TICK_MM)


def piece_of(name: str, outline: Ring, stock: Stock, holes: tuple[Ring, ...] = ()) -> Piece:
    """Return a piece of a coupon in its own coordinates."""
    return Piece(name, "coupon", outline, holes, thickness_mm(stock))


def rectangle(x: float, y: float, width: float, height: float) -> Ring:
    """Return a rectangle, counter-clockwise from its lower left corner."""
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def _circle(x: float, y: float, diameter: float) -> Ring:
    """Return a hole: clockwise."""
    angles = (-2 * math.pi * k / _SIDES for k in range(_SIDES))
    return tuple((x + diameter / 2 * math.cos(a), y + diameter / 2 * math.sin(a)) for a in angles)


def check_bed(size_mm: Point, machine: Machine, name: str, columns: int) -> None:
    """Raise OutsideBed where a coupon of `size_mm`, or a single column of it, does not fit the bed."""
    if columns < 1 or size_mm[0] > machine.bed_width_mm or size_mm[1] > machine.bed_height_mm:
        raise OutsideBed(
            f"{name} needs at least a bed of {max(size_mm[0], 56):g} x {size_mm[1]:g} mm, "
            f"this one is {machine.bed_width_mm:g} x {machine.bed_height_mm:g} mm"
        )
