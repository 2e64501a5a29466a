"""One nested sheet becomes one program: the route over it, at the settings of a recipe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kerfwave.cut.lead import KeepOut, overrun
from kerfwave.cut.motion import length_mm
from kerfwave.cut.program import assemble
from kerfwave.cut.routes import Line, Planned, Route, line_kind, line_name, planned, whole_route
from kerfwave.cut.scored import score_is_measured, score_settings, scored_lines
from kerfwave.cut.settings import bridges_wanted, focus_depths_mm, settings_of
from kerfwave.model.parts import Contour, Move, Nest, Piece, Point, Recipe, Ring, SheetProgram
from kerfwave.model.spec import Machine


@dataclass(frozen=True, slots=True)
class SheetJob:
    """A program, what each of its contours is, and how deep the focus lies in it; no depths if the head stays."""

    program: SheetProgram
    labels: tuple[str, ...]
    depths_mm: tuple[float, ...]


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
    Leads keep to `outline` and `keep_out` as in `routes.planned`.

    Raises
    ------
    OutsideBed, KerfTooWide
        as `routes.planned` does.
    """
    bridged = bridges_wanted(settings_of(recipe).bridges, machine)
    plan = planned(number, nest, pieces, recipe.kerf_mm, machine, bridged=bridged, outline=outline, keep_out=keep_out)
    return job(plan, whole_route(plan), recipe, machine)


def job(plan: Planned, way: Route, recipe: Recipe, machine: Machine) -> SheetJob:
    """Return the program that goes a route over a sheet, at the recipe's settings."""
    depths = focus_depths_mm(recipe, machine, recipe.passes)
    rounds = _rounds(way.visits, recipe, split=bool(depths))
    contours = [
        contour(plan.lines[index], choice, plan.names[plan.lines[index].piece], recipe, machine, passes=passes)
        for index, choice, passes, _ in rounds
    ]
    # First of all, while everything still lies flat and clean.
    scored = [scored_lines(plan.names[k], plan.marks[k], recipe, machine) for k in way.marks]
    program = assemble(
        way.name,
        recipe.stock,
        (plan.sheet.width_mm, plan.sheet.height_mm),
        (*scored, *contours),
        machine,
        verified=recipe.verified,
        notes=(*_notes(plan, way, recipe, machine), *_scoring(len(scored), recipe, machine)),
    )
    each_pass = len(rounds) > len(way.visits)
    labels = tuple(line_kind(plan.lines[i].hole) + (f", pass {k + 1}" if each_pass else "") for i, _, _, k in rounds)
    deep = (*(0.0 for _ in scored), *(depths[k] for *_, k in rounds)) if depths else ()
    return SheetJob(program, (*("marks" for _ in scored), *labels), deep)


def _rounds(visits: Sequence[tuple[int, int]], recipe: Recipe, *, split: bool) -> list[tuple[int, int, int, int]]:
    """Return (line, start, passes at once, number of the first of them) in the order of cutting."""
    if settings_of(recipe).pass_order == "sheet":
        return [(index, choice, 1, k) for k in range(recipe.passes) for index, choice in visits]
    if split:
        return [(index, choice, 1, k) for index, choice in visits for k in range(recipe.passes)]
    return [(index, choice, recipe.passes, 0) for index, choice in visits]


def _notes(plan: Planned, way: Route, recipe: Recipe, machine: Machine) -> list[str]:
    notes = []
    names, lines = plan.names, plan.lines
    on_line = [
        line_name(names[lines[i].piece], lines[i].hole) for i, choice in way.visits if lines[i].lit[choice] is None
    ]
    if on_line:
        notes.append(f"No room for a lead-in, beam lit on the line: {', '.join(on_line)}")
    held = {line.piece: line.bridges for line in lines if line.bridges and line.piece in way.pieces}
    if held:
        said = ", ".join(
            f"{names[k]} at {' and '.join(f'{x:.0f}/{y:.0f}' for x, y in spots)}" for k, spots in sorted(held.items())
        )
        notes.append(f"Bridges left, to cut with a knife from above, x/y in mm: {said}")
    loose = [names[k] for k in way.pieces if plan.hold[k] and k not in held]
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


def _point(move: Move) -> Point:
    return move.x_mm, move.y_mm
