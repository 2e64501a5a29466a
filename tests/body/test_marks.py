"""Marks: on the wood, under the next layer, readable, and pointing forward."""

import math

import pytest
from shapely.geometry import MultiLineString, Point, Polygon
from shapely.ops import unary_union

from bodies import DRIVER, made, rectangle, trapezoid
from kerfwave.body import shapes
from kerfwave.body.insets import insets
from kerfwave.body.marks import CLEAR_MM, LEAST_TALL_MM, check_marks, id_mark, mark_layers, mark_ring
from kerfwave.model.spec import Terminals
from kerfwave.model.strokes import KNOWN


def wood(piece):
    return shapes.polygon(piece.outline, piece.holes)


@pytest.mark.parametrize(
    ("plan", "stack", "forward"),
    [
        (trapezoid(186, 156, 212), "upright", (0, -1)),
        (rectangle(190, 230), "facing", (0, 1)),
    ],
)
def test_every_id_lies_where_the_next_layer_covers_it_and_its_arrow_points_forward(plan, stack, forward):
    body, cut, _, _, counts = made(plan, stack=stack, dowel_mm=3.0)
    marked = mark_layers(cut, stack, "outlines")
    by_id = {p.id: p for p in marked.pieces}
    assert [p.outline for p in marked.pieces] == [p.outline for p in cut.pieces]
    for layer, following in zip(marked.layers, marked.layers[1:], strict=False):
        above = unary_union([wood(by_id[name]) for name in following.pieces])
        for piece in (by_id[name] for name in layer.pieces):
            (mark,) = (m for m in piece.marks if m.kind == "id")
            assert mark.text == piece.id and set(mark.text) <= KNOWN
            lines = MultiLineString(mark.lines)
            assert wood(piece).intersection(above).buffer(-CLEAR_MM + 0.01).covers(lines)
            shaft, barbs = mark.lines[-2:]
            length = math.dist(*shaft)
            assert length >= LEAST_TALL_MM - 1e-3
            heading = ((shaft[1][0] - shaft[0][0]) / length, (shaft[1][1] - shaft[0][1]) / length)
            assert heading == pytest.approx(forward, abs=1e-3) and barbs[1] == shaft[1]
            # Nothing but edges of the next layer, on this piece's own wood.
            for outline in (m for m in piece.marks if m.kind == "next"):
                drawn = MultiLineString(outline.lines)
                assert above.boundary.buffer(0.03).covers(drawn) and wood(piece).covers(drawn)
    assert not any(by_id[name].marks for name in marked.layers[-1].pieces)
    floor = by_id[marked.layers[counts.floor - 1].pieces[0]]
    chamber = shapes.polygon(body.fold.chamber)
    (outline,) = (m for m in floor.marks if m.kind == "next")
    assert MultiLineString(outline.lines).intersection(chamber.boundary.buffer(0.1)).length > 0.7 * chamber.length
    assert check_marks(marked).level == "ok"


def test_marks_are_ids_alone_or_none_if_the_spec_says_so():
    _, cut, *_ = made(trapezoid(186, 156, 212))
    assert mark_layers(cut, "upright", "none") == cut
    ids = mark_layers(cut, "upright", "ids")
    assert {m.kind for p in ids.pieces for m in p.marks} == {"id"}
    assert mark_layers(cut, "upright", "ids") == ids


def test_an_id_stands_or_leans_where_it_cannot_lie_and_is_left_out_where_nothing_fits():
    strip = shapes.polygon(((0, 0), (5, 0), (5, 80), (0, 80)))
    standing = id_mark("L08a", strip, (0.0, -1.0), strip)
    assert standing is not None
    lines = MultiLineString(standing.lines)
    assert lines.bounds[3] - lines.bounds[1] > 3 * (lines.bounds[2] - lines.bounds[0])
    leaning = Polygon([(0, 0), (8, 0), (68, 60), (60, 60)])
    turned = id_mark("L08a", leaning, (0.0, -1.0), leaning)
    assert turned is not None and leaning.covers(MultiLineString(turned.lines))
    assert id_mark("L08a", shapes.polygon(((0, 0), (3, 0), (3, 80), (0, 80))), (0.0, -1.0), strip) is None


def test_what_is_too_narrow_is_named():
    _, cut, *_ = made(trapezoid(186, 156, 212))
    bare = check_marks(cut)
    assert bare.level == "warn" and bare.value == 0 and "L01" in bare.text


def test_the_rings_id_hides_under_the_flange():
    body, *_ = made(trapezoid(186, 156, 212))
    ring = mark_ring(insets(body, DRIVER, Terminals())[0], DRIVER.frame_mm)
    (mark,) = ring.marks
    flange = Point(0.0, 0.0).buffer(DRIVER.frame_mm / 2)
    assert flange.covers(MultiLineString(mark.lines)) and wood(ring).covers(MultiLineString(mark.lines))
    (_, low), (_, high) = mark.lines[-2]
    assert high > low
