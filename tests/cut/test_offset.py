import math

import pytest
from shapely.geometry import LinearRing, Polygon

from cut_samples import circle, rectangle
from kerfwave.cut import KerfTooWide
from kerfwave.cut.offset import beam_line

SLOTTED = ((0, 0), (40, 0), (40, 30), (20.05, 30), (20.05, 10), (19.95, 10), (19.95, 30), (0, 30))


def test_an_outline_grows_and_a_hole_shrinks_by_half_a_kerf():
    outline = beam_line(rectangle(0, 0, 30, 20), 0.2, hole=False, name="p")
    # Grown rectangle with round corners: w h + perimeter r + pi r^2.
    assert outline.area == pytest.approx(600 + 100 * 0.1 + math.pi * 0.01, abs=1e-3)
    hole = beam_line(rectangle(0, 0, 30, 20), 0.2, hole=True, name="p")
    assert hole.area == pytest.approx(29.8 * 19.8)


def test_the_waste_is_on_the_right_of_the_beam():
    for ring in (rectangle(0, 0, 9, 9), rectangle(0, 0, 9, 9)[::-1]):
        assert LinearRing(beam_line(ring, 0.2, hole=False, name="p").exterior).is_ccw
        assert not LinearRing(beam_line(ring, 0.2, hole=True, name="p").exterior).is_ccw


def test_an_inner_corner_is_cut_to_a_fillet_and_no_more():
    bay = ((0, 0), (30, 0), (30, 30), (10, 30), (10, 10), (0, 10))
    line = beam_line(bay, 0.3, hole=False, name="p")
    left = line.buffer(-0.15).difference(Polygon(bay)).area
    assert left == pytest.approx(0.15**2 * (1 - math.pi / 4), rel=0.02)


DUMBBELL = (
    *((0, 0), (10, 0), (10, 4.95), (20, 4.95), (20, 0), (30, 0)),
    *((30, 10), (20, 10), (20, 5.05), (10, 5.05), (10, 10), (0, 10)),
)


@pytest.mark.parametrize(("ring", "hole"), [(circle(0, 0, 0.09), True), (SLOTTED, False), (DUMBBELL, True)])
def test_too_narrow_for_the_kerf(ring, hole):
    with pytest.raises(KerfTooWide, match="L01a"):
        beam_line(ring, 0.2, hole=hole, name="L01a")


def test_a_splinter_of_wood_needs_no_room_for_the_beam():
    splinter = ((0, 0), (10, 0), (10, 4), (10.5, 4), (10.5, 4.1), (10, 4.1), (10, 10), (0, 10))
    assert beam_line(splinter, 0.2, hole=False, name="p").contains(Polygon(splinter))


def test_a_narrow_slot_leading_off_a_hole():
    hole = ((0, 0), (20, 0), (20, 9.95), (40, 9.95), (40, 10.05), (20, 10.05), (20, 20), (0, 20))
    with pytest.raises(KerfTooWide, match="widen"):
        beam_line(hole, 0.2, hole=True, name="L01a, hole 1")
