"""Drawn: every drawing of the body, and its mesh, whatever sheet its pieces lie on.

None of them holds a word from the spec, so a new title is cheap.
"""

from __future__ import annotations

from kerfwave.body import path
from kerfwave.body.air import Body
from kerfwave.body.pairs import mirrored_opening, mirrored_ring
from kerfwave.model.parts import Check, Layer, Piece, Point
from kerfwave.stages.field import Compared
from kerfwave.stages.files import Files
from kerfwave.writers import drawings
from kerfwave.writers.field import pressure_svg
from kerfwave.writers.layers import PlaceNote
from kerfwave.writers.mesh import body_stl
from kerfwave.writers.words import INSETS

HAIR_MM = 0.01


def run(
    body: Body,
    layers: tuple[Layer, ...],
    right: tuple[Layer, ...],
    pieces: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    compared: Compared | None,
    checks: tuple[Check, ...],
) -> Files:
    """Run the stage; `right` are the layers of a pair's mirrored body, `checks` those that name a place in a layer."""
    plan, stack = body.skin, body.rules.stack
    found = {
        **_insides(body),
        "drawings/stack.svg": drawings.stack_svg(layers, body.openings, plan, stack=stack),
        "drawings/closed.svg": drawings.closed_view_svg(layers, pieces, stack=stack),
        "drawings/exploded.svg": drawings.exploded_view_svg(layers, pieces, stack=stack),
        "drawings/body.stl": body_stl(layers, pieces),
    }
    by_id = {p.id: p for p in pieces}
    below: tuple[Piece, ...] = ()
    for layer in layers:
        found[f"drawings/layer-{layer.index:02d}.svg"] = drawings.layer_svg(
            layer,
            pieces,
            below,
            plan,
            openings=body.openings,
            stack=stack,
            notes=_notes_of(layer.index, checks),
        )
        below = tuple(by_id[name] for name in layer.pieces)
    found |= _right(body, right, pieces)
    for piece in (p for p in insets if p.body == 1):
        found[f"drawings/{piece.role}.svg"] = drawings.inset_svg(piece, INSETS[piece.role][0])
    for number, picture in enumerate(compared.pictures if compared else (), 1):
        found[f"drawings/field-{number:02d}.svg"] = pressure_svg(
            plan,
            body.air,
            body.openings,
            ident=f"field-{number}",
            title=picture.title,
            frequency_hz=picture.frequency_hz,
            origin_mm=(picture.x_mm, picture.y_mm),
            step_mm=picture.step_mm,
            columns=picture.columns,
            pressure_pa=picture.pressure_pa,
            highest_pa=picture.highest_pa,
            driver_pa=picture.driver_pa,
            mouth_pa=picture.mouth_pa,
        )
    return Files(tuple(sorted(found.items())))


def _notes_of(layer: int, checks: tuple[Check, ...]) -> tuple[PlaceNote, ...]:
    """Return the places in a layer that a check is about."""
    return tuple(
        PlaceNote(check.text, spot.x_mm, spot.y_mm) for check in checks for spot in check.at if spot.layer == layer
    )


def _right(body: Body, layers: tuple[Layer, ...], pieces: tuple[Piece, ...]) -> dict[str, str]:
    """Return the layers of the mirrored body of a pair, and its mesh."""
    if not layers:
        return {}
    by_id = {p.id: p for p in pieces}
    openings = tuple(mirrored_opening(o) for o in body.openings)
    found = {"drawings/right-body.stl": body_stl(layers, pieces)}
    below: tuple[Piece, ...] = ()
    for layer in layers:
        name = f"right-layer-{layer.index:02d}"
        found[f"drawings/{name}.svg"] = drawings.layer_svg(
            layer,
            pieces,
            below,
            mirrored_ring(body.skin),
            openings=openings,
            stack=body.rules.stack,
            ident=name,
        )
        below = tuple(by_id[one] for one in layer.pieces)
    return found


def centreline(body: Body, storey: int = 0) -> tuple[Point, ...]:
    """Return points along the middle of the guide on one storey, from the chamber's side to the mouth's."""
    points, runs = [], [run for run in body.fold.runs if run.storey == storey]
    for one in runs:
        steps = 16 if one.turn_deg else 1
        points += [path.at(one, i / steps)[:2] for i in range(steps)]
    return (*points, path.end(runs[-1])[:2]) if runs else ()


def _insides(body: Body) -> dict[str, str]:
    """Return one drawing of the path inside for each storey of the guide."""
    z, storeys = body.counts.z_mm, body.levels.storeys
    if body.fold.key.arrangement.in_one_plane:
        whole = drawings.plan_svg(
            body.air, body.skin, openings=body.openings, path=centreline(body), title="The path inside"
        )
        return {"drawings/inside.svg": whole}
    found = {}
    for n, (low, high) in enumerate(storeys):
        # The floors next to it count, for the passages through them.
        here = [p for p in body.air if p.from_z_mm < z[high] + HAIR_MM and p.to_z_mm > z[low] - HAIR_MM]
        openings = [o for o in body.openings if o.kind != "mouth" or n == len(storeys) - 1]
        if body.fold.key.under:
            here = [p for p in here if p.kind != "chamber"]
            openings = [o for o in openings if o.kind == "mouth"]
        ident = "inside" if n == 0 else f"inside-{n + 1}"
        title = f"The path inside, storey {n + 1} of {len(storeys)}: layers {low + 1} to {high}"
        found[f"drawings/{ident}.svg"] = drawings.plan_svg(
            here, body.skin, openings=openings, path=centreline(body, n), title=title, ident=ident
        )
    return found
