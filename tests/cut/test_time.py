"""Time against trapezoids worked out by hand. Acceleration 500 mm/s2, feed 6000 mm/min = 100 mm/s."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cut_samples import MACHINE
from kerfwave.cut import estimate
from kerfwave.model.parts import Move


def line(x, y, feed=6000.0):
    return Move("line", x, y, 1.0, feed)


def test_long_move_is_a_trapezoid():
    # 0.2 s up over 10 mm, 0.2 s down over 10 mm, 80 mm at 100 mm/s.
    assert estimate([line(100, 0)], MACHINE) == pytest.approx(1.2)


def test_short_move_is_a_triangle():
    # 5 mm up at 500 mm/s2: t = sqrt(2 s / a) = 0.14142 s, twice.
    assert estimate([line(10, 0)], MACHINE) == pytest.approx(2 * math.sqrt(2 * 5 / 500))


def test_straight_on_keeps_its_speed():
    assert estimate([line(30, 0), line(60, 0), line(100, 0)], MACHINE) == pytest.approx(1.2)


def test_a_bend_of_less_than_30_degrees_keeps_its_speed():
    bend = [line(50, 0), line(50 + 50 * math.cos(0.5), 50 * math.sin(0.5))]  # 28.6 degrees
    assert estimate(bend, MACHINE) == pytest.approx(1.2)


def test_a_sharp_corner_stops():
    # Twice: 50 mm = 0.2 + 0.3 + 0.2 s.
    assert estimate([line(50, 0), line(50, 50)], MACHINE) == pytest.approx(1.4)


def test_slower_feed_after_faster_brakes_before_the_junction():
    # 100 mm/s, then 50 mm/s: up 0.2 s / 10 mm, down to 50 in 0.1 s / 7.5 mm, 82.5 mm at 100; then 50 mm, of which
    # 2.5 mm / 0.1 s braking and 47.5 mm at 50 mm/s.
    assert estimate([line(100, 0), line(150, 0, 3000.0)], MACHINE) == pytest.approx(0.2 + 0.825 + 0.1 + 0.95 + 0.1)


def test_rapids_stop_at_both_ends_and_run_at_their_own_speed():
    moves = [Move("rapid", 100.0, 0.0), line(200, 0)]
    assert estimate(moves, replace(MACHINE, rapid_feed_mm_min=3000.0)) == pytest.approx(1.2 + 2.1)


def test_the_machine_limits_the_feed():
    assert estimate([line(100, 0, 60000.0)], MACHINE) == pytest.approx(1.2)


def test_an_arc_keeps_below_its_centripetal_limit():
    # Radius 5 mm: v = sqrt(500 * 5) = 50 mm/s. Length 5 pi: 0.1 s and 2.5 mm at either end.
    half = Move("arc-ccw", -5.0, 0.0, 1.0, 6000.0, 0.0, 0.0)
    assert estimate([half], MACHINE, (5.0, 0.0)) == pytest.approx(0.2 + (5 * math.pi - 5) / 50)


def test_a_tangent_arc_runs_on_from_a_line():
    slow = 600.0  # 10 mm/s, below the arc's limit: one trapezoid over all of it
    moves = [line(20, 0, slow), Move("arc-ccw", 20.0, 20.0, 1.0, slow, 20.0, 10.0), line(0, 20, slow)]
    assert estimate(moves, MACHINE) == pytest.approx((40 + 10 * math.pi) / 10 + 10 / 500)


@given(st.lists(st.tuples(st.floats(0, 400), st.floats(0, 400), st.floats(100, 9000)), min_size=1, max_size=12))
def test_never_faster_than_the_feed_nor_slower_than_stopping_everywhere(stops):
    moves = [line(x, y, feed) for x, y, feed in stops]
    fastest = slowest = 0.0
    at = (0.0, 0.0)
    for move in moves:
        length = math.dist(at, (move.x_mm, move.y_mm))
        fastest += length / (min(move.feed_mm_min, 6000.0) / 60)
        slowest += estimate([move], MACHINE, at)
        at = (move.x_mm, move.y_mm)
    assert fastest - 1e-9 <= estimate(moves, MACHINE) <= slowest + 1e-9
