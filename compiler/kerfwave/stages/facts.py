"""All that is known about one build, in one value, for the files that speak of everything."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from kerfwave.acoustics.guide import packing_kg_m3
from kerfwave.acoustics.shaping import Shaped
from kerfwave.body import path
from kerfwave.body.pairs import mirrored_opening, mirrored_ring
from kerfwave.body.wire import wire_layer
from kerfwave.model.parts import Check, Nest, Piece, Point, Recipe
from kerfwave.model.spec import Spec
from kerfwave.stages.body import Built
from kerfwave.stages.field import Compared, Picture
from kerfwave.stages.learned import Learned
from kerfwave.stages.listening import AtTheListener
from kerfwave.stages.paths import Programs
from kerfwave.stages.response import AsBuilt
from kerfwave.stages.safety import Assessed
from kerfwave.stages.sizing import Sized
from kerfwave.stages.slices import Sliced
from kerfwave.stages.source import Source
from kerfwave.stages.spread import Strayed
from kerfwave.writers import drawings
from kerfwave.writers.assembly import FillNote, WireNote
from kerfwave.writers.field import pressure_svg
from kerfwave.writers.layers import PlaceNote
from kerfwave.writers.words import INSETS

HANDLED_G = 0.5  # nobody weighs fibre finer than this


@dataclass(frozen=True, slots=True)
class Facts:
    """One build."""

    source: Source
    spec: Spec
    sized: Sized
    built: Built
    as_built: AsBuilt
    sliced: Sliced
    nest: Nest
    recipe: Recipe
    paths: Programs
    assessed: Assessed
    shaped: Shaped | None  # filters before the amplifier; None if the spec asks for none
    learned: Learned  # from measurements of the finished speaker
    compared: Compared | None  # sound field and network; None if the spec leaves the field out
    at_listener: AtTheListener
    strayed: Strayed  # from build to build
    checks: tuple[Check, ...]
    begins: Mapping[str, tuple[int, ...]]  # by program: the line on which each contour begins

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Everything that is cut, layers first."""
        return (*self.sliced.pieces, *self.sliced.insets)

    @property
    def of_one_body(self) -> tuple[Piece, ...]:
        """What one body is made of: of a pair, the left one."""
        return tuple(p for p in self.pieces if p.body == 1)

    def centreline(self, storey: int = 0) -> tuple[Point, ...]:
        """Return points along the middle of the guide on one storey, from the chamber's side to the mouth's."""
        runs = [run for run in self.built.body.fold.runs if run.storey == storey]
        points = []
        for run in runs:
            steps = 16 if run.turn_deg else 1
            points += [path.at(run, i / steps)[:2] for i in range(steps)]
        return (*points, path.end(runs[-1])[:2]) if runs else ()

    @property
    def insides(self) -> dict[str, str]:
        """One drawing of the path inside for each storey of the guide, by file name."""
        body = self.built.body
        t, storeys = body.rules.thickness_mm, body.levels.storeys
        if body.fold.key.arrangement.in_one_plane:
            whole = drawings.plan_svg(
                body.air, body.skin, openings=body.openings, path=self.centreline(), title="The path inside"
            )
            return {"drawings/inside.svg": whole}
        found = {}
        for n, (low, high) in enumerate(storeys):
            # The floors next to it count, for the passages through them.
            here = [p for p in body.air if p.from_z_mm < (high + 0.5) * t and p.to_z_mm > (low - 0.5) * t]
            openings = [o for o in body.openings if o.kind != "mouth" or n == len(storeys) - 1]
            if body.fold.key.under:
                here = [p for p in here if p.kind != "chamber"]
                openings = [o for o in openings if o.kind == "mouth"]
            ident = "inside" if n == 0 else f"inside-{n + 1}"
            title = f"The path inside, storey {n + 1} of {len(storeys)}: layers {low + 1} to {high}"
            found[f"drawings/{ident}.svg"] = drawings.plan_svg(
                here, body.skin, openings=openings, path=self.centreline(n), title=title, ident=ident
            )
        return found

    @property
    def drawings(self) -> dict[str, str]:
        """Drawings of the body, by file name."""
        body = self.built.body
        plan, stack = body.skin, body.rules.stack
        found = {
            **self.insides,
            "drawings/stack.svg": drawings.stack_svg(self.sliced.layers, body.openings, plan, stack=stack),
            "drawings/closed.svg": drawings.closed_view_svg(self.sliced.layers, self.sliced.pieces, stack=stack),
            "drawings/exploded.svg": drawings.exploded_view_svg(self.sliced.layers, self.sliced.pieces, stack=stack),
            "drawings/pieces.svg": drawings.pieces_svg(self.pieces, self.nest.placements),
        }
        by_id = {p.id: p for p in self.sliced.pieces}
        below: tuple[Piece, ...] = ()
        for layer in self.sliced.layers:
            found[f"drawings/layer-{layer.index:02d}.svg"] = drawings.layer_svg(
                layer,
                self.sliced.pieces,
                below,
                plan,
                openings=body.openings,
                stack=stack,
                notes=self._notes_of(layer.index),
            )
            below = tuple(by_id[name] for name in layer.pieces)
        found |= self._right_layers()
        for piece in self.of_one_body:
            if piece.layer is not None:
                continue
            found[f"drawings/{piece.role}.svg"] = drawings.inset_svg(piece, INSETS[piece.role][0])
        for number, picture in enumerate(self.compared.pictures if self.compared else (), 1):
            found[f"drawings/field-{number:02d}.svg"] = pressure_svg(
                plan,
                body.air,
                body.openings,
                ident=f"field-{number}",
                title=picture_title(picture),
                frequency_hz=picture.frequency_hz,
                origin_mm=(picture.x_mm, picture.y_mm),
                step_mm=picture.step_mm,
                columns=picture.columns,
                pressure_pa=picture.pressure_pa,
                highest_pa=picture.highest_pa,
                driver_pa=picture.driver_pa,
                mouth_pa=picture.mouth_pa,
            )
        return found

    def _notes_of(self, layer: int) -> tuple[PlaceNote, ...]:
        """Return the places in a layer that a check is about."""
        return tuple(
            PlaceNote(check.text, spot.x_mm, spot.y_mm)
            for check in self.sliced.checks
            for spot in check.at
            if spot.layer == layer
        )

    def _right_layers(self) -> dict[str, str]:
        """Return the layers of the mirrored body of a pair."""
        body, by_id = self.built.body, {p.id: p for p in self.sliced.pieces}
        openings = tuple(mirrored_opening(o) for o in body.openings)
        found: dict[str, str] = {}
        below: tuple[Piece, ...] = ()
        for layer in self.sliced.right:
            found[f"drawings/right-layer-{layer.index:02d}.svg"] = drawings.layer_svg(
                layer,
                self.sliced.pieces,
                below,
                mirrored_ring(body.skin),
                openings=openings,
                stack=body.rules.stack,
                ident=f"right-layer-{layer.index:02d}",
            )
            below = tuple(by_id[name] for name in layer.pieces)
        return found

    @property
    def fill(self) -> tuple[FillNote, ...]:
        """Where loose fibre goes and how much of it."""
        found = []
        chamber = self.built.fill.chamber_pa_s_m2
        if chamber > 0:
            density = packing_kg_m3(chamber)
            grams = _grams(density * 1e3 * self.built.volumes.chamber_m3)
            found.append(FillNote("rear chamber", grams, f"teased out evenly, {density:.0f} g to the litre"))
        runs = [s for s in self.built.network.guide if s.flow_resistivity_pa_s_m2 > 0]
        if runs:
            density = packing_kg_m3(runs[0].flow_resistivity_pa_s_m2)
            volume = math.fsum(s.length_m * s.area_in_m2 for s in runs)
            length = math.fsum(s.length_m for s in runs)
            whole = math.fsum(s.length_m for s in self.built.network.guide)
            place = "the whole guide" if length > 0.999 * whole else f"the guide's first {1e3 * length:.0f} mm"
            text = f"teased out evenly from the chamber on, {density:.0f} g to the litre"
            found.append(FillNote(place, _grams(density * 1e3 * volume), text))
        return tuple(found)

    @property
    def wire(self) -> WireNote | None:
        """Where the wire lies; None if no channel is cut for it."""
        kinds = {p.kind for p in self.built.body.air}
        return WireNote(wire_layer(self.built.body.counts.total), "wire-tie" in kinds) if "wire" in kinds else None

    def piece_mass_g(self, piece: Piece) -> float:
        """Return the mass of a piece of this stock."""
        area = _area(piece.outline) - sum(_area(hole) for hole in piece.holes)
        return area * piece.thickness_mm * self.spec.stock.density_kg_m3 * 1e-6


def picture_title(picture: Picture) -> str:
    """Return "Pressure at 70 Hz, where relief starts"."""
    return f"Pressure at {picture.frequency_hz:.0f} Hz" + (f", {picture.name}" if picture.name else "")


def _area(ring: tuple[Point, ...]) -> float:
    return abs(math.fsum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True))) / 2


def _grams(mass: float) -> float:
    return max(HANDLED_G, round(mass / HANDLED_G) * HANDLED_G)
