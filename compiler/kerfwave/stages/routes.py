"""Routes: where the beam runs on every sheet, and in which order. No feed, power or number of passes changes them."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.engine.sharing import Beside, shared
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Nest, Piece, Sheet
from kerfwave.model.spec import Machine
from kerfwave.stages.recipe import Beam


@dataclass(frozen=True, slots=True)
class SheetRoutes:
    """One sheet: its lines, and a route over them for each program, with what that cuts of the sheet."""

    plan: cut.Planned
    routes: tuple[tuple[cut.Route, cut.Share], ...]


@dataclass(frozen=True, slots=True)
class Routed:
    """The routes over all sheets, in their order."""

    sheets: tuple[SheetRoutes, ...]


def run(
    nest: Nest,
    layers: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    beams: tuple[Beam, ...],
    machine: Machine,
    kinds: tuple[Kind, ...],
    each: str,
    *,
    beside: Beside,
) -> Routed:
    """Run the stage; `beams` are in the order of the `kinds`, `each`: "sheet" or "piece", what gets a program.

    Raises:
        StageError: if a beam path would leave the bed, or the kerf is wider than something to be cut.
    """
    by_thickness = {kind.thickness_mm: beam for kind, beam in zip(kinds, beams, strict=True)}
    pieces = (*layers, *insets)
    calls = [(s, nest, pieces, by_thickness[s.thickness_mm or 0.0], machine, each) for s in nest.sheets]
    try:
        return Routed(tuple(shared(over_sheet, calls, beside)))
    except cut.KerfTooWide as error:
        raise StageError(str(error), ("stock",)) from error
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error


def over_sheet(
    sheet: Sheet, nest: Nest, pieces: tuple[Piece, ...], beam: Beam, machine: Machine, each: str
) -> SheetRoutes:
    """Return the routes over one sheet.

    Raises:
        CutError: if a beam path would leave the bed, or the kerf is wider than something to be cut.
    """
    plan = cut.planned(
        sheet.number,
        nest,
        pieces,
        beam.kerf_mm,
        machine,
        bridged=cut.bridges_wanted(beam.bridges, machine),
        outline=sheet.outline,
        keep_out=[(place.what, place.outline, place.clearance_mm) for place in sheet.keep_out],
    )
    if each == "piece":
        return SheetRoutes(plan, cut.piece_routes(plan))
    return SheetRoutes(plan, ((cut.whole_route(plan), cut.Share(sheet.number)),))
