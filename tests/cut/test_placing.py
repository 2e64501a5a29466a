"""Pieces laid on a sheet: mirrored, turned and moved, in that order, as complex numbers do it."""

import cmath
import math

import pytest

from kerfwave.cut.placing import place, place_line
from kerfwave.model.parts import Piece, Placement

RING = ((0.0, 0.0), (30.0, 1.0), (20.0, 11.0))
WINDOW = ((18.0, 4.0), (14.0, 4.0), (16.0, 6.0))


@pytest.mark.parametrize("flipped", [False, True])
@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 270.0, 360.0, -90.0, 17.0, 200.5])
def test_as_complex_numbers_do_it(turn, flipped):
    placement = Placement("a", 1, 5.0, -7.0, turn, flipped)
    unit = cmath.exp(1j * math.radians(turn))
    wanted = [unit * complex(-x if flipped else x, y) + complex(5.0, -7.0) for x, y in RING]
    found = [complex(*point) for point in place_line(RING, placement)]
    assert found == pytest.approx(wanted, abs=1e-12)
    if turn % 90 == 0:  # whole numbers stay whole: nothing is lost by a quarter turn
        assert all(z.real == round(z.real) and z.imag == round(z.imag) for z in found)
    shape = place(Piece("a", "layer", RING, (WINDOW,), 3.0), placement)
    assert shape.exterior.is_ccw and not shape.interiors[0].is_ccw
    assert {complex(*p) for p in shape.exterior.coords} == set(found)
    assert shape.area == pytest.approx((30 * 11 - 20 * 1) / 2 - 4 * 2 / 2)


def test_a_line_keeps_its_direction():
    for flipped in (False, True):
        line = place_line(RING, Placement("a", 1, 0.0, 0.0, 0.0, flipped))
        assert [p[1] for p in line] == [0.0, 1.0, 11.0]
