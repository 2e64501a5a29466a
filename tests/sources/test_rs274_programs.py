"""Programs read back by an interpreter written from NISTIR 6556 (Kramer, Proctor, Messina: The NIST RS274NGC
Interpreter, version 3, 2000), and the cut pieces rebuilt from what the beam would do.

Nothing of the package takes part in the reading: the beam is a disc of one kerf that takes away what it passes
over, and what then lies loose on the sheet must be the pieces at their finished sizes.
"""

from dataclasses import replace

import pytest
import shapely
from shapely.geometry import LineString, Polygon

from cut_samples import MACHINE, RECIPE, burnt, demo, layout
from kerfwave.cut import sheet_program
from kerfwave.cut.placing import place
from kerfwave.writers.gcode import render
from rs274 import interpret

TOLERANCE_MM = 0.02


def rebuilt(text: str, kerf_mm: float) -> list[Polygon]:
    """Everything that is loose after the program ran on a sheet of 400 x 400 mm, or left of the sheet."""
    beam = burnt([LineString(line) for line in interpret(text, 0.004).burns()], kerf_mm)
    return list(shapely.get_parts(shapely.box(0, 0, 400, 400).difference(beam)))


def assert_rebuilt(nest, pieces, recipe, machine):
    text = render(sheet_program(1, nest, pieces, recipe, machine), machine, recipe)
    parts = rebuilt(text, recipe.kerf_mm)
    tree = shapely.STRtree(parts)
    by_id = {piece.id: piece for piece in pieces}
    for placement in nest.placements:
        finished = place(by_id[placement.piece], placement)
        near = [parts[k] for k in tree.query(finished, predicate="intersects")]
        cut = max(near, key=lambda part: part.intersection(finished).area)
        # No round beam cuts an inner corner sharper than its own radius.
        radius = recipe.kerf_mm / 2
        reachable = finished.buffer(radius, quad_segs=32).buffer(-radius, quad_segs=32)
        assert shapely.hausdorff_distance(cut.boundary, reachable.boundary, densify=0.1) <= TOLERANCE_MM
        assert len(cut.interiors) == len(finished.interiors)
        # Pieces are polygons whose chords lie up to 0.01 mm inside their arcs, on average two thirds of that; the
        # beam runs on the arc. On straight edges there is only rounding.
        assert cut.symmetric_difference(finished).area <= 0.0075 * finished.length + 0.05
        assert cut.area == pytest.approx(finished.area, rel=2e-3)


@pytest.mark.parametrize(("kerf", "arcs"), [(0.08, True), (0.35, True), (0.2, False)])
def test_a_full_sheet_is_rebuilt(kerf, arcs):
    nest, pieces = demo()
    assert_rebuilt(nest, pieces, replace(RECIPE, kerf_mm=kerf, passes=1), replace(MACHINE, arcs=arcs))


@pytest.mark.parametrize("seed", range(4))
def test_random_sheets_are_rebuilt(seed):
    nest, pieces = layout(seed)
    assert_rebuilt(nest, pieces, replace(RECIPE, passes=2), MACHINE)


def test_the_rebuilding_itself_notices_a_wrong_kerf():
    nest, pieces = demo()
    text = render(sheet_program(1, nest, pieces, RECIPE, MACHINE), MACHINE, RECIPE)
    disc = next(place(p, q) for p in pieces for q in nest.placements if p.id == q.piece == "disc")
    cut = max(rebuilt(text, 0.3), key=lambda part: part.intersection(disc).area)
    assert shapely.hausdorff_distance(cut.boundary, disc.boundary) > 2 * TOLERANCE_MM
