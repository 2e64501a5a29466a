"""Routes: where the beam runs on every sheet, and in which order. No feed, power or number of passes changes them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Nest, Piece
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
    progress: Callable[[float, str], None],
) -> Routed:
    """Run the stage; `beams` are in the order of the `kinds`, `each`: "sheet" or "piece", what gets a program.

    Raises:
        StageError: if a beam path would leave the bed, or the kerf is wider than something to be cut.
    """
    by_thickness = {kind.thickness_mm: beam for kind, beam in zip(kinds, beams, strict=True)}
    found = []
    try:
        for sheet in nest.sheets:
            progress(sheet.number / (len(nest.sheets) + 1), f"sheet {sheet.number}")
            beam = by_thickness[sheet.thickness_mm or 0.0]
            plan = cut.planned(
                sheet.number,
                nest,
                (*layers, *insets),
                beam.kerf_mm,
                machine,
                bridged=cut.bridges_wanted(beam.bridges, machine),
                outline=sheet.outline,
                keep_out=[(place.what, place.outline, place.clearance_mm) for place in sheet.keep_out],
            )
            if each == "piece":
                found.append(SheetRoutes(plan, cut.piece_routes(plan)))
            else:
                found.append(SheetRoutes(plan, ((cut.whole_route(plan), cut.Share(sheet.number)),)))
    except cut.KerfTooWide as error:
        raise StageError(str(error), ("stock",)) from error
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error
    return Routed(tuple(found))
