"""Where the driver goes in a facing stack: where there is room, and the same place whoever computes it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.affinity import translate
from shapely.geometry import Point, Polygon, box

from kerfwave.body import shapes


@given(st.floats(60, 300), st.floats(1.05, 3.0))
def test_of_many_equally_wide_places_the_middle_is_taken(depth, ratio):
    """A rectangle is as wide along a whole stretch of its middle line."""
    room = translate(box(0.0, 0.0, depth * ratio, depth), -11.0, 7.0)
    assert shapes.widest_mm(room) == pytest.approx(depth / 2, abs=0.11)
    x, y = shapes.roomy_place(room, depth / 2 - 0.5)
    assert (x, y) == pytest.approx((room.centroid.x, room.centroid.y), abs=0.0051)


def test_of_two_halves_alike_the_one_in_front_is_taken():
    """A dumb-bell about the origin: both heads are as far from the centroid, and the bar's corners are in the way."""
    bell = box(-20, -60, 20, -20).union(box(-20, 20, 20, 60)).union(box(-2, -30, 2, 30))
    nearest = -20 - math.sqrt(19.5**2 - 2**2)
    assert shapes.roomy_place(bell, 19.5) == pytest.approx((0.0, nearest), abs=0.02)
    assert shapes.roomy_place(bell, 21.0) is None


@pytest.mark.parametrize("corners", [3, 5, 6, 8, 12])
def test_the_widest_circle_of_a_regular_polygon(corners):
    """Its incircle: r = R cos(pi / n)."""
    ring = [(50 * math.cos(k * math.tau / corners), 50 * math.sin(k * math.tau / corners)) for k in range(corners)]
    within = 50 * math.cos(math.pi / corners)
    assert shapes.widest_mm(Polygon(ring)) == pytest.approx(within, abs=0.11)


def test_a_place_has_the_room_asked_for_in_a_room_with_a_reflex_corner():
    room = Polygon([(0, 0), (160, 0), (140, 90), (60, 90), (60, 140), (20, 140)])
    radius = shapes.widest_mm(room) - 0.5
    assert room.exterior.distance(Point(shapes.roomy_place(room, radius))) >= radius - 0.1
