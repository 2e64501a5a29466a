"""All that is known about one build, in one value, for the files that speak of everything."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from kerfwave.acoustics.derivation import Parameter, derived
from kerfwave.acoustics.guide import packing_kg_m3
from kerfwave.acoustics.shaping import Shaped
from kerfwave.body.storeys import Floor, floors
from kerfwave.body.wire import wire_layer
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Check, Nest, Piece, Ring
from kerfwave.model.spec import Spec
from kerfwave.stages.body import Built
from kerfwave.stages.breakdown import CutDown
from kerfwave.stages.field import Compared
from kerfwave.stages.learned import Learned
from kerfwave.stages.listening import AtTheListener
from kerfwave.stages.paths import Programs
from kerfwave.stages.recipe import Recipes
from kerfwave.stages.response import AsBuilt
from kerfwave.stages.safety import Assessed
from kerfwave.stages.sizing import Sized
from kerfwave.stages.slices import Sliced
from kerfwave.stages.source import Source
from kerfwave.stages.spread import Strayed
from kerfwave.stages.supply import Supplied
from kerfwave.writers.assembly import FillNote, FloorNote, WireNote
from kerfwave.writers.guide_model import ChartView

HANDLED_G = 0.5  # nobody weighs fibre finer than this


@dataclass(frozen=True, slots=True)
class Facts:
    """One build."""

    source: Source
    spec: Spec
    supplied: Supplied
    sized: Sized
    built: Built
    as_built: AsBuilt
    sliced: Sliced
    nest: Nest
    cut_down: CutDown
    recipes: Recipes
    paths: Programs
    assessed: Assessed
    shaped: Shaped | None  # filters before the amplifier; None if the spec asks for none
    learned: Learned  # from measurements of the finished speaker
    compared: Compared | None  # sound field and network; None if the spec leaves the field out
    at_listener: AtTheListener
    strayed: Strayed  # from build to build
    charts: tuple[ChartView, ...]
    joints_mm2: tuple[float, ...]  # between each layer and the next one
    checks: tuple[Check, ...]
    begins: Mapping[str, tuple[int, ...]]  # by program: the line on which each contour begins

    @property
    def driver(self) -> tuple[Parameter, ...]:
        """Every small-signal parameter of the driver, stated or derived."""
        return derived(self.spec.driver, self.as_built.air)

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds of sheet that something is cut from, the main one first."""
        used = {sheet.thickness_mm for sheet in self.nest.sheets}
        return tuple(kind for kind in self.supplied.main_first if kind.thickness_mm in used)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Everything that is cut, layers first."""
        return (*self.sliced.pieces, *self.sliced.insets)

    @property
    def of_one_body(self) -> tuple[Piece, ...]:
        """What one body is made of: of a pair, the left one."""
        return tuple(p for p in self.pieces if p.body == 1)

    @property
    def fill(self) -> tuple[FillNote, ...]:
        """Where loose fibre goes and how much of it, and before which layer if a floor closes the place."""
        found = []
        chamber = self.built.fill.chamber_pa_s_m2
        if chamber > 0:
            density = packing_kg_m3(chamber)
            grams = _grams(density * 1e3 * self.built.volumes.chamber_m3)
            text = f"teased out evenly, {density:.0f} g to the litre"
            found.append(FillNote("rear chamber", grams, text, self.covered_by(-1)))
        runs = [s for s in self.built.network.guide if s.flow_resistivity_pa_s_m2 > 0]
        if runs:
            density = packing_kg_m3(runs[0].flow_resistivity_pa_s_m2)
            length = math.fsum(s.length_m for s in runs)
            whole = math.fsum(s.length_m for s in self.built.network.guide)
            place = "the whole guide" if length > 0.999 * whole else f"the guide's first {1e3 * length:.0f} mm"
            text = f"teased out evenly from the chamber on, {density:.0f} g to the litre"
            volumes = self._on_storeys(length) or {0: math.fsum(s.length_m * s.area_in_m2 for s in runs)}
            for storey, volume in volumes.items():
                here = place if len(volumes) == 1 else f"storey {storey + 1} of the guide"
                found.append(FillNote(here, _grams(density * 1e3 * volume), text, self.covered_by(storey)))
        return tuple(found)

    def _on_storeys(self, length_m: float) -> dict[int, float]:
        """Return how many m3 of the guide's first so many metres lie on each storey; nothing if it has only one."""
        fold, found = self.built.body.fold, dict[int, float]()
        if fold.key.storeys == 1:
            return found
        storeys = iter(run.storey for run in fold.runs)
        waiting: list[float] = []  # a passage counts with the storey that it leads to
        for run in self.built.volumes.guide:
            part = min(run.length_m, length_m)
            length_m -= part
            waiting.append(part * run.height_m * (run.width_in_m + run.width_out_m) / 2)
            if not run.gap_m:
                storey = next(storeys)
                found[storey] = found.get(storey, 0.0) + math.fsum(waiting)
                waiting = []
        return {storey: volume for storey, volume in found.items() if volume > 0.0}

    def covered_by(self, room: int) -> int | None:
        """Return the first layer of the floor over a storey, or over the chamber (-1); None: the lid covers it."""
        floor = next((one for one in self._floors if one.below == room), None)
        return None if floor is None else floor.span[0] + 1

    @property
    def _floors(self) -> tuple[Floor, ...]:
        body = self.built.body
        return floors(body.levels, body.fold.key.arrangement) if body.fold.runs else ()

    @property
    def floors(self) -> tuple[FloorNote, ...]:
        """The floors between storeys, the lowest first."""

        def room(n: int) -> str:
            alone = self.built.body.fold.key.storeys == 1
            return "the chamber" if n < 0 else "the guide" if alone else f"storey {n + 1} of the guide"

        return tuple(FloorNote(f.span[0] + 1, f.span[1], room(f.below), room(f.above)) for f in self._floors)

    @property
    def wire(self) -> WireNote | None:
        """Where the wire lies; None if no channel is cut for it."""
        kinds = {p.kind for p in self.built.body.air}
        return WireNote(wire_layer(self.built.body.levels.middle), "wire-tie" in kinds) if "wire" in kinds else None

    def piece_mass_g(self, piece: Piece) -> float:
        """Return the mass of a piece of this stock."""
        return mass_g(piece, self.spec.stock.density_kg_m3)


def mass_g(piece: Piece, density_kg_m3: float) -> float:
    """Return the mass of a piece of a stock of this density."""
    area = area_mm2(piece.outline) - sum(area_mm2(hole) for hole in piece.holes)
    return area * piece.thickness_mm * density_kg_m3 * 1e-6


def proved_least(nest: Nest) -> str:
    """Return how the number of sheets stands to what is proved: "proved least", or "at least 2 by proof"."""
    return "proved least" if len(nest.sheets) == nest.bound else f"at least {nest.bound} by proof"


def area_mm2(ring: Ring) -> float:
    """Return what a ring encloses, whichever way it runs."""
    return abs(math.fsum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True))) / 2


def _grams(mass: float) -> float:
    return max(HANDLED_G, round(mass / HANDLED_G) * HANDLED_G)
