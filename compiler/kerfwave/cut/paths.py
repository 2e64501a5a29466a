"""One nested sheet becomes one program."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from shapely import STRtree
from shapely.geometry import Polygon

from kerfwave.cut import bridges, heat
from kerfwave.cut.arcs import moves_along
from kerfwave.cut.correction import is_true
from kerfwave.cut.errors import OutsideBed
from kerfwave.cut.lead import LENGTHS_MM, KeepOut, Surroundings, leads, overrun
from kerfwave.cut.motion import heading, length_mm
from kerfwave.cut.offset import beam_line, thinned
from kerfwave.cut.order import tour
from kerfwave.cut.placing import place
from kerfwave.cut.precedence import precedence
from kerfwave.cut.program import assemble
from kerfwave.cut.scored import marks, score_is_measured, score_settings
from kerfwave.cut.settings import bridges_wanted, focus_depths_mm, settings_of
from kerfwave.model.parts import Contour, Move, Nest, Piece, Placement, Point, Recipe, Ring, Sheet, SheetProgram
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
    dark: frozenset[int] = frozenset()  # indices of the moves that cross a bridge
    bridges: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetJob:
    """A program, what each of its contours is, and how deep the focus lies in it; no depths if the head stays."""

    program: SheetProgram
    labels: tuple[str, ...]
    depths_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Planned:
    """A sheet before its order is chosen: its pieces by id, and every line to cut with what must follow it."""

    sheet: Sheet
    pieces: tuple[tuple[Piece, Placement], ...]
    hold: tuple[bool, ...]  # for each piece whether it should keep bridges
    lines: tuple[Line, ...]
    entries: tuple[npt.NDArray[np.float64], ...]  # for each line the points at which it can be entered, shape (k, 2)
    later: tuple[tuple[int, ...], ...]  # for each line those that must follow it


def sheet_program(number: int, nest: Nest, pieces: tuple[Piece, ...], recipe: Recipe, machine: Machine) -> SheetProgram:
    """Return the program of `sheet_job`."""
    return sheet_job(number, nest, pieces, recipe, machine).program


def sheet_job(
    number: int,
    nest: Nest,
    pieces: tuple[Piece, ...],
    recipe: Recipe,
    machine: Machine,
    *,
    outline: Ring = (),
    keep_out: Sequence[KeepOut] = (),
) -> SheetJob:
    """Return the program that cuts the pieces which `nest` puts on sheet `number`.

    Marks are scored first. What must come before what is `precedence`; within that, the way with the beam off is
    short (`order.tour`) and neighbours do not follow each other at once where that costs little (`heat.spread`). All
    passes of a contour follow each other without lifting, after a lead-in through waste, and the last runs half a
    millimetre past its start. Where the recipe asks for the passes sheet by sheet, or the focus moves between them,
    each pass is a contour of its own, with lead-in and overrun. Where no lead has room, the beam is lit on the line
    itself, at a corner if there is one, and the notes say so. Pieces that could tip or fall keep bridges (`bridges`).
    Leads stay on a sheet whose `outline` is no rectangle, and off the places to `keep_out` of.

    Raises
    ------
    OutsideBed
        where a piece, or the beam beside it, leaves the sheet or the bed.
    KerfTooWide
        where a hole, slot or notch is narrower than the kerf.
    """
    return whole_job(
        planned(number, nest, pieces, recipe, machine, outline=outline, keep_out=keep_out), recipe, machine
    )


def whole_job(plan: Planned, recipe: Recipe, machine: Machine) -> SheetJob:
    """Return the program that cuts every piece of a sheet."""
    return job(f"sheet-{plan.sheet.number:02d}", plan, range(len(plan.pieces)), recipe, machine)


def planned(
    number: int,
    nest: Nest,
    pieces: tuple[Piece, ...],
    recipe: Recipe,
    machine: Machine,
    *,
    outline: Ring = (),
    keep_out: Sequence[KeepOut] = (),
) -> Planned:
    """Return the lines of sheet `number`; see `sheet_job`, which raises what this raises."""
    sheet = next(s for s in nest.sheets if s.number == number)
    by_id = {piece.id: piece for piece in pieces}
    placed = sorted((p for p in nest.placements if p.sheet == number), key=lambda p: p.piece)
    names = [p.piece for p in placed]
    shapes = [place(by_id[p.piece], p) for p in placed]
    size = min(sheet.width_mm, machine.bed_width_mm), min(sheet.height_mm, machine.bed_height_mm)
    wanted = bridges_wanted(recipe, machine)
    hold = [wanted and bridges.needed(shape, machine.support_gap_mm) for shape in shapes]
    woods = [bridges.width_mm(by_id[p.piece].thickness_mm, recipe.kerf_mm) for p in placed]
    wood = [w if h else None for w, h in zip(woods, hold, strict=True)]
    lines = _lines(names, shapes, recipe.kerf_mm, size, machine, wood, outline, keep_out)
    for line in lines:
        _check_inside(line, names[line.piece], sheet, machine)
    return Planned(
        sheet=sheet,
        pieces=tuple((by_id[p.piece], p) for p in placed),
        hold=tuple(hold),
        lines=tuple(lines),
        entries=tuple(np.array([_point(line.moves[i - 1]) for i in line.starts]) for line in lines),
        later=tuple(precedence([(line.piece, line.hole) for line in lines], shapes, hold)),
    )


def job(name: str, plan: Planned, chosen: Collection[int], recipe: Recipe, machine: Machine) -> SheetJob:
    """Return the program that cuts the `chosen` pieces of a sheet, by their places in `plan.pieces`."""
    mine = [i for i, line in enumerate(plan.lines) if line.piece in chosen]
    at = {index: k for k, index in enumerate(mine)}
    lines, entries = [plan.lines[i] for i in mine], [plan.entries[i] for i in mine]
    later = [tuple(at[j] for j in plan.later[i] if j in at) for i in mine]
    visits = heat.spread(tour(entries, later), entries, later, _hot(lines))
    names = [piece.id for piece, _ in plan.pieces]
    depths = focus_depths_mm(recipe, machine, recipe.passes)
    rounds = _rounds(visits, recipe, split=bool(depths))
    contours = [
        contour(lines[index], choice, names[lines[index].piece], recipe, machine, passes=passes)
        for index, choice, passes, _ in rounds
    ]
    # First of all, while everything still lies flat and clean.
    scored = marks([plan.pieces[k] for k in chosen], recipe, machine)
    hold = {names[k]: plan.hold[k] for k in chosen}
    program = assemble(
        name,
        recipe.stock,
        (plan.sheet.width_mm, plan.sheet.height_mm),
        (*scored, *contours),
        machine,
        verified=recipe.verified,
        notes=(*_notes(lines, visits, names, hold, recipe, machine), *_scoring(len(scored), recipe, machine)),
    )
    each_pass = len(rounds) > len(visits)
    labels = tuple(_what(lines[i].hole) + (f", pass {k + 1}" if each_pass else "") for i, _, _, k in rounds)
    deep = (*(0.0 for _ in scored), *(depths[k] for *_, k in rounds)) if depths else ()
    return SheetJob(program, (*("marks" for _ in scored), *labels), deep)


def _rounds(visits: Sequence[tuple[int, int]], recipe: Recipe, *, split: bool) -> list[tuple[int, int, int, int]]:
    """Return (line, start, passes at once, number of the first of them) in the order of cutting."""
    if settings_of(recipe).pass_order == "sheet":
        return [(index, choice, 1, k) for k in range(recipe.passes) for index, choice in visits]
    if split:
        return [(index, choice, 1, k) for index, choice in visits for k in range(recipe.passes)]
    return [(index, choice, recipe.passes, 0) for index, choice in visits]


def _notes(
    lines: Sequence[Line],
    visits: Sequence[tuple[int, int]],
    names: Sequence[str],
    hold: Mapping[str, bool],
    recipe: Recipe,
    machine: Machine,
) -> list[str]:
    notes = []
    on_line = [_name(names[lines[i].piece], lines[i].hole) for i, choice in visits if lines[i].lit[choice] is None]
    if on_line:
        notes.append(f"No room for a lead-in, beam lit on the line: {', '.join(on_line)}")
    held = {line.piece: line.bridges for line in lines if line.bridges}
    if held:
        said = ", ".join(
            f"{names[k]} at {' and '.join(f'{x:.0f}/{y:.0f}' for x, y in spots)}" for k, spots in sorted(held.items())
        )
        notes.append(f"Bridges left, to cut with a knife from above, x/y in mm: {said}")
    loose = [name for name, wanted in hold.items() if wanted and name not in {names[k] for k in held}]
    if loose:
        notes.append(f"Could tip or fall, and there is no room for bridges: pin or tape {', '.join(loose)}")
    said_recipe = settings_of(recipe)
    if not machine.focus_axis and said_recipe.focus_offset_mm != 0:
        notes.append(f"Set the focus {said_recipe.focus_offset_mm:g} mm below the upper face by hand")
    return notes


def _scoring(count: int, recipe: Recipe, machine: Machine) -> list[str]:
    if not count:
        return []
    power, feed = score_settings(recipe, machine)
    said = "" if score_is_measured(recipe) else ", an estimate: look at the first piece"
    return [f"Ids are scored first, at {100 * power:g} percent and {feed:g} mm/min{said}"]


def _name(piece: str, hole: int | None) -> str:
    return f"{piece}, {_what(hole)}"


def _what(hole: int | None) -> str:
    return "outline" if hole is None else f"hole {hole + 1}"


def _point(move: Move) -> Point:
    return move.x_mm, move.y_mm


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
    beam = beam_line(tuple(ring.coords)[:-1], around.kerf_mm, hole=hole is not None, name=_name(name, hole))
    thin = thinned(beam, _THIN_ARC_MM if arcs else _THIN_LINE_MM)
    held = None
    if wood_mm is not None:
        size = (around.width_mm, around.height_mm)
        held = bridges.held(thin, wood_mm, around.kerf_mm, around.others, size, arcs=arcs, decimals=machine.decimals)
    moves = held.moves if held else moves_along(thin, arcs=arcs, decimals=machine.decimals)
    dark = held.dark if held else frozenset()
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
    return Line(index, hole, beam.bounds, moves, starts, lit, dark, spots)


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
                f"{_name(name, line.hole)}: the beam would run from ({left:.2f}, {bottom:.2f}) to "
                f"({right:.2f}, {top:.2f}) mm, and the {what} is {width:g} x {height:g} mm"
            )


def contour(line: Line, choice: int, name: str, recipe: Recipe, machine: Machine, *, passes: int) -> Contour:
    """Return `passes` rounds along `line`, entered at its start number `choice`: rapid, lead-in, rounds, overrun."""
    first = line.starts[choice]
    power, feed = recipe.power_percent / 100, recipe.feed_mm_min
    around = [replace(m, power=0.0 if i in line.dark else power, feed_mm_min=feed) for i, m in enumerate(line.moves)]
    once = around[first:] + around[:first]
    start = _point(once[-1])
    lit = line.lit[choice]
    moves = [Move("rapid", *(lit or start))]
    if lit:
        moves.append(Move("line", *start, power, feed))
    moves += once * passes
    moves += overrun(start, once, _length(start, once), machine.decimals)
    while moves[-1].power == 0 and len(moves) > 1:  # an overrun that stops over a bridge has nothing to burn there
        moves.pop()
    kind = "outline" if line.hole is None else "hole"
    return Contour(name, kind, tuple(moves), _length(_point(moves[0]), moves[1:], lit_only=True), line.bridges)


def _length(start: Point, moves: Sequence[Move], *, lit_only: bool = False) -> float:
    total = 0.0
    for move in moves:
        if move.power > 0 or not lit_only:
            total += length_mm(start, move)
        start = _point(move)
    return total
