"""One nested sheet becomes one program."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import Polygon

from kerfwave.cut.arcs import moves_along
from kerfwave.cut.errors import OutsideBed
from kerfwave.cut.lead import LENGTHS_MM, Surroundings, leads, overrun
from kerfwave.cut.motion import length_mm
from kerfwave.cut.offset import beam_line, thinned
from kerfwave.cut.order import tour
from kerfwave.cut.placing import place
from kerfwave.cut.program import assemble
from kerfwave.model.parts import Contour, Move, Nest, Piece, Point, Recipe, Sheet, SheetProgram
from kerfwave.model.spec import Machine

_MOST_STARTS = 32  # entry points tried on one contour
_THIN_ARC_MM = 0.0005  # before arcs are fitted
_THIN_LINE_MM = 0.002  # where there are only straight moves
_EDGE_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Line:
    """One closed line to cut: once round, with the points it can be entered at."""

    piece: int  # index among the pieces of this sheet
    hole: int | None  # index among the piece's holes; None for the outline
    bounds: tuple[float, float, float, float]
    moves: tuple[Move, ...]
    starts: tuple[int, ...]  # indices of the moves that may come first
    lit: tuple[Point | None, ...]  # where the beam is lit for each start; None: on the line


def sheet_program(number: int, nest: Nest, pieces: tuple[Piece, ...], recipe: Recipe, machine: Machine) -> SheetProgram:
    """Return the program that cuts the pieces which `nest` puts on sheet `number`.

    Holes come before the outline of their piece, and pieces that lie in a hole before that hole; within that,
    the way with the beam off is short (`order.tour`). All passes of a contour follow each other without lifting,
    after a lead-in through waste; the last pass runs half a millimetre past its start. Where no lead has room,
    the beam is lit on the line itself and the notes say so.

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
    width, height = min(sheet.width_mm, machine.bed_width_mm), min(sheet.height_mm, machine.bed_height_mm)
    lines = _lines(names, shapes, recipe.kerf_mm, (width, height), machine)
    for line in lines:
        _check_inside(line, names[line.piece], sheet, machine)
    entries = [np.array([_point(line.moves[i - 1]) for i in line.starts]) for line in lines]
    contours = []
    on_line = []
    for index, choice in tour(entries, _parents(lines, shapes)):
        line = lines[index]
        contours.append(contour(line, choice, names[line.piece], recipe, machine, passes=recipe.passes))
        if line.lit[choice] is None:
            on_line.append(_name(names[line.piece], line.hole))
    notes = [f"No room for a lead-in, beam lit on the line: {', '.join(on_line)}"] if on_line else []
    return assemble(
        f"sheet-{number:02d}",
        recipe.stock,
        (sheet.width_mm, sheet.height_mm),
        tuple(contours),
        machine,
        verified=recipe.verified,
        notes=notes,
    )


def _name(piece: str, hole: int | None) -> str:
    return f"{piece}, outline" if hole is None else f"{piece}, hole {hole + 1}"


def _point(move: Move) -> Point:
    return move.x_mm, move.y_mm


def _lines(
    names: Sequence[str], shapes: Sequence[Polygon], kerf_mm: float, size_mm: Point, machine: Machine
) -> list[Line]:
    for shape in shapes:
        shapely.prepare(shape)
    tree = STRtree(list(shapes))
    reach = LENGTHS_MM[0] + 3 * kerf_mm
    lines = []
    for index, shape in enumerate(shapes):
        near = tree.query(shapely.box(*shape.bounds).buffer(reach))
        others = tuple(shapes[k] for k in sorted(near.tolist()) if k != index)
        around = Surroundings(shape, others, kerf_mm, *size_mm)
        for hole in (*range(len(shape.interiors)), None):
            lines.append(line_along(index, hole, names[index], around, machine))
    return lines


def line_along(index: int, hole: int | None, name: str, around: Surroundings, machine: Machine) -> Line:
    """Return the line to cut for hole number `hole` of `around.own`, or for its outline if `hole` is None.

    Raises
    ------
    KerfTooWide
        where the beam has no room in the waste.
    """
    ring = around.own.exterior if hole is None else around.own.interiors[hole]
    beam = beam_line(tuple(ring.coords)[:-1], around.kerf_mm, hole=hole is not None, name=_name(name, hole))
    thin = thinned(beam, _THIN_ARC_MM if machine.arcs else _THIN_LINE_MM)
    moves = moves_along(thin, arcs=machine.arcs, decimals=machine.decimals)
    starts = tuple(range(0, len(moves), -(-len(moves) // _MOST_STARTS)))
    lit = leads(moves, starts, around, decimals=machine.decimals)
    if any(lit):
        starts, lit = zip(*((s, p) for s, p in zip(starts, lit, strict=True) if p is not None), strict=True)
    return Line(index, hole, beam.bounds, moves, starts, lit)


def _check_inside(line: Line, name: str, sheet: Sheet, machine: Machine) -> None:
    left, bottom, right, top = line.bounds
    for what, width, height in (
        ("sheet", sheet.width_mm, sheet.height_mm),
        ("bed", machine.bed_width_mm, machine.bed_height_mm),
    ):
        if left < -_EDGE_MM or bottom < -_EDGE_MM or right > width + _EDGE_MM or top > height + _EDGE_MM:
            raise OutsideBed(
                f"{_name(name, line.hole)}: the beam would run from ({left:.2f}, {bottom:.2f}) to "
                f"({right:.2f}, {top:.2f}) mm, and the {what} is {width:g} x {height:g} mm"
            )


def _parents(lines: Sequence[Line], shapes: Sequence[Polygon]) -> list[int | None]:
    """Return for each line the one that must follow it: a hole's outline; for an outline, the hole it lies in."""
    outline = {line.piece: i for i, line in enumerate(lines) if line.hole is None}
    holes = [
        (i, Polygon(shapes[line.piece].interiors[line.hole])) for i, line in enumerate(lines) if line.hole is not None
    ]
    parents: list[int | None] = []
    for line in lines:
        if line.hole is not None:
            parents.append(outline[line.piece])
            continue
        inside = shapes[line.piece].representative_point()
        around = [(hole.area, i) for i, hole in holes if lines[i].piece != line.piece and hole.contains(inside)]
        parents.append(min(around)[1] if around else None)
    return parents


def contour(line: Line, choice: int, name: str, recipe: Recipe, machine: Machine, *, passes: int) -> Contour:
    """Return all passes round `line`, entered at its start number `choice`: rapid, lead-in, rounds, overrun."""
    first = line.starts[choice]
    power, feed = recipe.power_percent / 100, recipe.feed_mm_min
    once = [replace(m, power=power, feed_mm_min=feed) for m in line.moves[first:] + line.moves[:first]]
    start = _point(once[-1])
    lit = line.lit[choice]
    moves = [Move("rapid", *(lit or start))]
    if lit:
        moves.append(Move("line", *start, power, feed))
    moves += once * passes
    moves += overrun(start, once, _length(start, once), machine.decimals)
    kind = "outline" if line.hole is None else "hole"
    return Contour(name, kind, tuple(moves), _length(_point(moves[0]), moves[1:]))


def _length(start: Point, moves: Sequence[Move]) -> float:
    total = 0.0
    for move in moves:
        total += length_mm(start, move)
        start = _point(move)
    return total
