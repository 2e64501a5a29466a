import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LinearRing

from cut_samples import circle, rectangle, rounded
from kerfwave.cut.arcs import moves_along
from kerfwave.cut.motion import sweep


def drawn(moves):
    """All points of closed moves, arcs finely sampled."""
    at = (moves[-1].x_mm, moves[-1].y_mm)
    points = [at]
    for move in moves:
        end = (move.x_mm, move.y_mm)
        if move.centre_x_mm is None:
            points.append(end)
        else:
            cx, cy = move.centre_x_mm, move.centre_y_mm
            begin, turn, radius = math.atan2(at[1] - cy, at[0] - cx), sweep(at, move), math.dist(at, (cx, cy))
            for k in range(1, 41):
                angle = begin + turn * k / 40
                points.append((cx + radius * math.cos(angle), cy + radius * math.sin(angle)))
        at = end
    return LinearRing(points)


def kinds(moves):
    return [move.kind for move in moves]


@pytest.mark.parametrize("radius", [0.9, 3.0, 33.0, 180.0])
def test_a_circle_becomes_four_or_five_arcs(radius):
    moves = moves_along(circle(200, 200, radius), arcs=True, decimals=3)
    assert set(kinds(moves)) == {"arc-ccw"}
    assert len(moves) <= 5
    for move in moves:
        assert math.dist((move.centre_x_mm, move.centre_y_mm), (200, 200)) < 0.01


def test_a_reversed_circle_turns_the_other_way():
    assert set(kinds(moves_along(circle(0, 0, 20.0)[::-1], arcs=True, decimals=3))) == {"arc-cw"}


def test_rounded_corners_are_arcs_and_edges_are_lines():
    moves = moves_along(rounded(10, 10, 80, 50, 8), arcs=True, decimals=3)
    assert sorted(kinds(moves)) == ["arc-ccw"] * 4 + ["line"] * 4


def test_corners_stay_corners():
    octagon = tuple((30 * math.cos(a * math.pi / 4), 30 * math.sin(a * math.pi / 4)) for a in range(8))
    assert kinds(moves_along(octagon, arcs=True, decimals=3)) == ["line"] * 8
    assert kinds(moves_along(rectangle(0, 0, 5, 5), arcs=True, decimals=3)) == ["line"] * 4


def test_a_machine_without_arcs_gets_lines():
    assert set(kinds(moves_along(circle(0, 0, 20.0), arcs=False, decimals=3))) == {"line"}


@given(
    st.lists(st.tuples(st.floats(0.3, 60), st.floats(0.01, 1.0)), min_size=3, max_size=9),
    st.sampled_from([2, 3, 4]),
    st.floats(0.2, 6),
)
def test_moves_stay_on_the_ring_and_their_arcs_on_their_radius(spokes, decimals, blunt):
    """Star-shaped rings with rounded corners of any radius: nothing is more than the tolerances away."""
    total = sum(share for _, share in spokes)
    angle, corners = 0.0, []
    for radius, share in spokes:
        corners.append((200 + (radius + 10) * math.cos(angle), 200 + (radius + 10) * math.sin(angle)))
        angle += 2 * math.pi * share / total
    shape = (
        shapely.Polygon(corners).buffer(0).buffer(blunt, quad_segs=math.ceil(math.pi / 4 / math.acos(1 - 0.01 / blunt)))
    )
    ring = tuple(shape.exterior.coords)[:-1]
    moves = moves_along(ring, arcs=True, decimals=decimals)
    # 0.005 for the fit, 0.0105 for chords against their arc, and rounding of an end and a centre.
    rounding = 10**-decimals
    assert shapely.hausdorff_distance(drawn(moves), LinearRing(ring), densify=0.1) <= 0.0155 + 1.5 * rounding
    at = (moves[-1].x_mm, moves[-1].y_mm)
    for move in moves:
        assert (move.x_mm, move.y_mm) != at
        assert move.x_mm == round(move.x_mm, decimals) and move.y_mm == round(move.y_mm, decimals)
        if move.centre_x_mm is not None:
            centre = (move.centre_x_mm, move.centre_y_mm)
            assert abs(math.dist(at, centre) - math.dist((move.x_mm, move.y_mm), centre)) <= 0.002
            assert abs(sweep(at, move)) < math.pi
        at = (move.x_mm, move.y_mm)
