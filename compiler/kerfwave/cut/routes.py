"""Where the beam runs on a nested sheet, and in which order: everything that no feed, power or pass changes."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely import STRtree
from shapely.geometry import Polygon

from kerfwave.cut import bridges, heat
from kerfwave.cut.arcs import moves_along
from kerfwave.cut.correction import is_true
from kerfwave.cut.errors import OutsideBed
from kerfwave.cut.lead import LENGTHS_MM, KeepOut, Surroundings, leads
from kerfwave.cut.motion import heading
from kerfwave.cut.offset import beam_line, thinned
from kerfwave.cut.order import tour
from kerfwave.cut.placing import place
from kerfwave.cut.precedence import precedence
from kerfwave.cut.scored import placed_marks
from kerfwave.model.parts import Move, Nest, Piece, Point, Ring, Sheet
from kerfwave.model.spec import Machine

_MOST_STARTS = 32  # entry points tried on one contour
_THIN_ARC_MM = 0.0005  # before arcs are fitted
_THIN_LINE_MM = 0.002  # where there are only straight moves
_EDGE_MM = 1e-6
_CORNER = math.cos(math.radians(30))
_OFF_BRIDGE_MM = 3.5  # from a start to the middle of a bridge: no lead-in burns it


@dataclass(frozen=True, slots=True)
class Line:
    """One closed line to cut: once round, with the points it can be entered at."""

    piece: int  # index among the pieces of this sheet
    hole: int | None  # index among the piece's holes; None for the outline
    bounds: tuple[float, float, float, float]
    moves: tuple[Move, ...]
    starts: tuple[int, ...]  # indices of the moves that may come first
    lit: tuple[Point | None, ...]  # where the beam is lit for each start; None: on the line
    dark: tuple[int, ...] = ()  # indices of the moves that cross a bridge
    bridges: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class Planned:
    """A sheet before its order is chosen: its pieces by id, and every line to cut with what must follow it."""

    sheet: Sheet
    names: tuple[str, ...]  # of the pieces, sorted
    hold: tuple[bool, ...]  # for each piece whether it should keep bridges
    lines: tuple[Line, ...]
    later: tuple[tuple[int, ...], ...]  # for each line those that must follow it
    marks: tuple[tuple[Ring, ...], ...]  # for each piece the lines that are scored on it, one after the other


@dataclass(frozen=True, slots=True)
class Route:
    """The order of one program: of which pieces it scores the marks, then which lines it cuts."""

    name: str
    pieces: tuple[int, ...]  # by their places in `Planned.names`
    marks: tuple[int, ...]  # those of them that carry marks, in turn
    visits: tuple[tuple[int, int], ...]  # indices of lines, and the number of the start of each


def planned(
    number: int,
    nest: Nest,
    pieces: tuple[Piece, ...],
    kerf_mm: float,
    machine: Machine,
    *,
    bridged: bool = False,
    outline: Ring = (),
    keep_out: Sequence[KeepOut] = (),
) -> Planned:
    """Return the lines that cut what `nest` puts on sheet `number`, half of `kerf_mm` beside the finished edges.

    Pieces that could tip or fall keep bridges (`bridges`) if the cut is to be `bridged`. Leads stay on a sheet whose
    `outline` is no rectangle, and off the places to `keep_out` of.

    Raises
    ------
    OutsideBed
        where a piece, or the beam beside it, leaves the sheet or the bed.
    KerfTooWide
        where a hole, slot or notch is narrower than the kerf.
    """
    sheet = next(s for s in nest.sheets if s.number == number)
    by_id = {piece.id: piece for piece in pieces}
    placed = sorted((p for p in nest.placements if p.sheet == number), key=lambda p: p.piece)
    names = [p.piece for p in placed]
    shapes = [place(by_id[p.piece], p) for p in placed]
    size = min(sheet.width_mm, machine.bed_width_mm), min(sheet.height_mm, machine.bed_height_mm)
    hold = [bridged and bridges.needed(shape, machine.support_gap_mm) for shape in shapes]
    woods = [bridges.width_mm(by_id[p.piece].thickness_mm, kerf_mm) for p in placed]
    wood = [w if h else None for w, h in zip(woods, hold, strict=True)]
    lines = _lines(names, shapes, kerf_mm, size, machine, wood, outline, keep_out)
    for line in lines:
        _check_inside(line, names[line.piece], sheet, machine)
    return Planned(
        sheet=sheet,
        names=tuple(names),
        hold=tuple(hold),
        lines=tuple(lines),
        later=tuple(precedence([(line.piece, line.hole) for line in lines], shapes, hold)),
        marks=tuple(placed_marks(by_id[p.piece], p, machine.decimals) for p in placed),
    )


def whole_route(plan: Planned) -> Route:
    """Return the order in which one program cuts every piece of a sheet."""
    return route(f"sheet-{plan.sheet.number:02d}", plan, range(len(plan.names)))


def route(name: str, plan: Planned, pieces: Collection[int]) -> Route:
    """Return the order in which a program cuts some pieces of a sheet.

    What must come before what is `precedence`; within that, the way with the beam off is short (`order.tour`) and
    neighbours do not follow each other at once where that costs little (`heat.spread`).
    """
    mine = [i for i, line in enumerate(plan.lines) if line.piece in pieces]
    at = {index: k for k, index in enumerate(mine)}
    lines = [plan.lines[i] for i in mine]
    entries = [entries_of(line) for line in lines]
    later = [tuple(at[j] for j in plan.later[i] if j in at) for i in mine]
    visits = heat.spread(tour(entries, later), entries, later, _hot(lines))
    marked = [k for k in pieces if plan.marks[k]]
    turns = tour([np.array([plan.marks[k][0][0]]) for k in marked], [None] * len(marked))
    return Route(
        name,
        tuple(pieces),
        tuple(marked[i] for i, _ in turns),
        tuple((mine[i], start) for i, start in visits),
    )


def entries_of(line: Line) -> npt.NDArray[np.float64]:
    """Return the points at which a line can be entered, shape (k, 2)."""
    return np.array([_point(line.moves[i - 1]) for i in line.starts])


def line_name(piece: str, hole: int | None) -> str:
    """Return what a line is called in messages and notes."""
    return f"{piece}, {line_kind(hole)}"


def line_kind(hole: int | None) -> str:
    """Return whether a line is the outline of its piece, or which of its holes."""
    return "outline" if hole is None else f"hole {hole + 1}"


def _hot(lines: Sequence[Line]) -> heat.Hot:
    """Return the pairs of lines that come within `heat.HOT_MM` of each other."""
    shapes = [shapely.linestrings([_point(line.moves[-1]), *map(_point, line.moves)]) for line in lines]
    if not shapes:
        return frozenset()
    a, b = STRtree(shapes).query(shapes, predicate="dwithin", distance=heat.HOT_MM)
    return frozenset((i, j) for i, j in zip(a.tolist(), b.tolist(), strict=True) if i != j)


def _lines(
    names: Sequence[str],
    shapes: Sequence[Polygon],
    kerf_mm: float,
    size_mm: Point,
    machine: Machine,
    wood_mm: Sequence[float | None],
    outline: Ring,
    keep_out: Sequence[KeepOut],
) -> list[Line]:
    plate = Polygon(outline) if outline else None
    kept = tuple(Polygon(place).buffer(clearance) for _, place, clearance in keep_out)
    for shape in shapes:
        shapely.prepare(shape)
    tree = STRtree(list(shapes))
    reach = LENGTHS_MM[0] + 3 * kerf_mm
    lines = []
    for index, shape in enumerate(shapes):
        near = tree.query(shapely.box(*shape.bounds).buffer(reach))
        others = tuple(shapes[k] for k in sorted(near.tolist()) if k != index)
        around = Surroundings(shape, (*others, *kept), kerf_mm, *size_mm, plate)
        for hole in (*range(len(shape.interiors)), None):
            wood = wood_mm[index] if hole is None else None
            lines.append(line_along(index, hole, names[index], around, machine, wood_mm=wood))
    return lines


def line_along(
    index: int,
    hole: int | None,
    name: str,
    around: Surroundings,
    machine: Machine,
    *,
    wood_mm: float | None = None,
) -> Line:
    """Return the line to cut for hole number `hole` of `around.own`, or for its outline if `hole` is None.

    With `wood_mm` it keeps two bridges so wide, where there is room for them.

    Raises
    ------
    KerfTooWide
        where the beam has no room in the waste.
    """
    ring = around.own.exterior if hole is None else around.own.interiors[hole]
    arcs = machine.arcs and is_true(machine)  # an arc on axes that are not true is none
    beam = beam_line(tuple(ring.coords)[:-1], around.kerf_mm, hole=hole is not None, name=line_name(name, hole))
    thin = thinned(beam, _THIN_ARC_MM if arcs else _THIN_LINE_MM)
    held = None
    if wood_mm is not None:
        size = (around.width_mm, around.height_mm)
        held = bridges.held(thin, wood_mm, around.kerf_mm, around.others, size, arcs=arcs, decimals=machine.decimals)
    moves = held.moves if held else moves_along(thin, arcs=arcs, decimals=machine.decimals)
    dark = held.dark if held else frozenset[int]()
    spots = held.bridges if held else ()
    apart = [min((math.dist(_point(m), spot) for spot in spots), default=math.inf) for m in moves]
    free = [i for i in range(len(moves)) if i not in dark and apart[i - 1] >= _OFF_BRIDGE_MM]
    free = free or [i for i in range(len(moves)) if i not in dark]
    starts = tuple(free[:: -(-len(free) // _MOST_STARTS)])
    lit = leads(moves, starts, around, decimals=machine.decimals)
    if any(lit):
        starts, lit = zip(*((s, p) for s, p in zip(starts, lit, strict=True) if p is not None), strict=True)
    else:
        starts = _corners(moves, starts)
        lit = (None,) * len(starts)
    return Line(index, hole, beam.bounds, moves, starts, lit, tuple(sorted(dark)), spots)


def _corners(moves: Sequence[Move], starts: tuple[int, ...]) -> tuple[int, ...]:
    """Return those of `starts` that are corners; all of them if none is."""
    found = []
    for i in starts:
        at = _point(moves[i - 1])
        (ux, uy), (vx, vy) = heading(_point(moves[i - 2]), moves[i - 1], at_end=True), heading(at, moves[i])
        if ux * vx + uy * vy < _CORNER:
            found.append(i)
    return tuple(found) or starts


def _check_inside(line: Line, name: str, sheet: Sheet, machine: Machine) -> None:
    left, bottom, right, top = line.bounds
    for what, width, height in (
        ("sheet", sheet.width_mm, sheet.height_mm),
        ("bed", machine.bed_width_mm, machine.bed_height_mm),
    ):
        if left < -_EDGE_MM or bottom < -_EDGE_MM or right > width + _EDGE_MM or top > height + _EDGE_MM:
            raise OutsideBed(
                f"{line_name(name, line.hole)}: the beam would run from ({left:.2f}, {bottom:.2f}) to "
                f"({right:.2f}, {top:.2f}) mm, and the {what} is {width:g} x {height:g} mm"
            )


def _point(move: Move) -> Point:
    return move.x_mm, move.y_mm
