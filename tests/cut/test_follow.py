"""How the beam is followed along a ring: laps, bridges, and to which ring a run belongs."""

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import LinearRing, Polygon

from cut_by_hand import HALF, SQUARE, cut, lap, moved, run_of
from cut_samples import rectangle
from kerfwave.cut.follow import Followed, Ring, _gaps, follow, held_faults, owners, runs_of

RING = Ring("a, outline", "a", False, LinearRing(SQUARE.outline), Polygon(SQUARE.outline))


def test_runs_begin_where_the_beam_is_lit_and_end_where_it_is_not():
    runs = run_of("F100\nG0 X1\nM4 S5\nG1 X2\nX3\nM5\nX4\nM4\nX5\n")
    assert [(run.line, run.points[:, 0].tolist()) for run in runs] == [(4, [1, 2, 3]), (9, [4, 5])]
    deeper = runs_of([moved(5, 1), moved(5, 1), replace(moved(5, 1), depth_mm=1.0)])
    assert [(len(run.points), run.depth_mm) for run in deeper] == [(3, 0.5), (2, 1.0)]


def test_a_turn_is_measured_from_where_it_begins():
    (run,) = run_of(cut(laps=2))
    found = follow(run.points, RING, HALF)
    # The ring begins at (10, 10) and goes counter-clockwise: (10, 25) lies 15 mm before its end.
    assert (found.begin, found.turned) == (pytest.approx(105 / 120, abs=1e-6), pytest.approx(2.0, abs=1e-6))
    assert found.fault == "" and found.error_mm <= 0.002
    backwards = follow(run.points[:0:-1], RING, HALF)  # without the lead
    assert (backwards.begin, backwards.turned) == (pytest.approx(found.begin), pytest.approx(2.0, abs=1e-3))


def test_a_run_elsewhere_never_reaches_the_ring():
    found = follow(np.array([[100.0, 100.0], [110.0, 100.0]]), RING, HALF)
    assert (found.begin, found.turned, found.fault) == (0.0, 0.0, "never reached")
    assert found.error_mm == pytest.approx(np.hypot(70, 60) - HALF)
    inside = follow(np.array([[10.1, 20.0], [10.1, 22.0]]), RING, HALF)
    assert inside == Followed(HALF, 0.0, 0.0, "cut on the side of the wood")


def test_a_run_belongs_to_the_ring_beside_which_it_ends():
    right = Ring("b", "b", False, LinearRing(rectangle(40.25, 10, 9, 30)), Polygon(rectangle(40.25, 10, 9, 30)))
    hole = Ring("c", "c", True, LinearRing(rectangle(20, 20, 5, 5)), Polygon(rectangle(20, 20, 5, 5)))

    def ends(x, y):
        (run,) = run_of(f"F9\nM4 S5\nG1 X100 Y100\nX{x} Y{y}\n")
        return run

    runs = [
        ends(40.1, 20),
        ends(40.15, 20),
        ends(20.1, 22),
        ends(19.9, 22),
        ends(9.8, 20),
        ends(9.75, 20),
        ends(200, 200),
    ]
    assert owners(runs, [RING, right, hole], HALF) == [0, 1, 2, None, 0, None, None]
    nearer = Ring("d", "d", False, LinearRing(rectangle(40.16, 10, 9, 30)), Polygon(rectangle(40.16, 10, 9, 30)))
    assert owners([ends(40.11, 20)], [nearer, RING], HALF) == [1]  # nearly half a kerf beside it, not nearest to it
    assert owners(runs[:1], [], HALF) == [None] and owners([], [RING], HALF) == []


def bridge_faults(gap, meant=25.0, wood=0.8, laps=3, half=HALF, extra_mm=0.0):
    """Go round the square but for a gap in the left side, its middle at (10, 25); then along the lower side again."""
    ring = replace(RING, bridges=((10.0, meant),), wood_mm=wood)
    way = lap(half).replace("G1 Y25\n", f"G1 Y{25 + gap / 2:.4f}\n")
    runs = run_of(f"F250\nG0 X{10 - half} Y{25 - gap / 2:.4f}\nM4 S9\n{way}M5\n") * laps
    if extra_mm:
        runs += run_of(f"F250\nG0 X15 Y{10 - half}\nM4 S9\nG1 X{15 + extra_mm}\nM5\n")
    return held_faults(ring, runs, [follow(run.points, ring, half) for run in runs], half, 3)


def test_a_bridge_is_as_wide_as_it_is_meant():
    """The beam leaves the bridge and a kerf bare; to a tenth of a millimetre and one step of 0.05 mm."""
    assert bridge_faults(1.0) == bridge_faults(1.1) == bridge_faults(0.9) == []
    assert bridge_faults(1.3) == ["a bridge is 1.10 mm wide, 0.80 are meant"]
    assert bridge_faults(0.7) == ["a bridge is 0.50 mm wide, 0.80 are meant"]
    assert bridge_faults(1.1, wood=0.755) == [] and len(bridge_faults(1.1, wood=0.745)) == 1
    assert "a bridge is 0.1" in bridge_faults(0.28, wood=0.15)[0]  # too little to hold, meant or not
    assert bridge_faults(0.4, wood=0.21, half=0.095) == []


def test_a_bridge_lies_where_it_is_meant():
    assert bridge_faults(1.0, meant=25.48) == bridge_faults(1.0, meant=24.52) == []
    assert bridge_faults(1.0, meant=25.6) == ["a bridge lies 0.6 mm from where it is meant"]
    assert bridge_faults(1.0, meant=25.53) == ["a bridge lies 0.5 mm from where it is meant"]
    assert bridge_faults(1.0, meant=24.4) == ["a bridge lies 0.6 mm from where it is meant"]


def test_a_bridge_may_take_a_corner():
    ring = replace(RING, bridges=((10.35, 10.0),), wood_mm=0.8)
    way = lap().split("G1 X40\n", 1)[1].replace("G1 Y25\n", "G1 Y10.15\n")
    (run,) = run_of(f"F250\nG0 X10.85 Y{10 - HALF}\nM4 S9\nG1 X40\n{way}")
    assert held_faults(ring, [run] * 3, [follow(run.points, ring, HALF)] * 3, HALF, 3) == []


def test_an_edge_with_bridges_is_cut_as_often_as_it_is_meant():
    assert bridge_faults(1.0, laps=2) == ["part of the edge is cut 2 times, the recipe means 3"]
    assert bridge_faults(1.0, laps=4) == ["it is cut 4.0 times, the recipe means 3"]
    # Each of three passes may run a millimetre past its start, and one is for rounding.
    assert bridge_faults(1.0, extra_mm=3.95) == []
    assert bridge_faults(1.0, extra_mm=4.05) == ["it is cut 3.0 times, the recipe means 3"]
    nothing = bridge_faults(1.0, laps=0)
    assert "bridges, 1 are meant" not in "".join(nothing) and "part of the edge is left out" in nothing
    assert any(fault.startswith("a bridge is 119.85 mm wide") for fault in nothing)


def test_turns_are_counted_where_no_bridge_is_kept():
    """One run of two and a half turns, then half a turn more: three everywhere, and only the bridge is missing."""
    ring = replace(RING, bridges=((10.0, 25.0),), wood_mm=0.8)
    (lapped,) = run_of(cut())
    found = [Followed(0.0, 0.25, 2.5, ""), Followed(0.0, 0.75, 0.5, "")]
    assert held_faults(ring, [lapped, lapped], found, HALF, 3) == ["0 bridges, 1 are meant"]
    assert "cut 4 times" in "".join(held_faults(ring, [lapped, lapped], [found[0], found[0]], HALF, 6))


def test_a_turn_may_begin_where_the_ring_ends():
    ring = replace(RING, bridges=((10.0, 10.0),), wood_mm=0.8)
    here, there = (held_faults(ring, run_of(cut()), [Followed(0.0, begin, 0.9, "")], HALF, 1) for begin in (0.0, 1.0))
    assert here == there != []


def test_a_ring_that_is_never_cut_is_one_gap():
    assert _gaps(np.ones(5, dtype=bool)) == [(0, 5)] and _gaps(np.zeros(5, dtype=bool)) == []
    assert _gaps(np.array([True, False, True, True, False, True])) == [(2, 2), (5, 2)]


def test_long_straight_moves_are_looked_at_between_their_ends():
    """An edge bulges at a quarter of a straight move, whose ends and middle run where they should."""
    bulged = ((0, 0), (40, 0), (40, 10), (31, 10), (30, 10.4), (29, 10), (0, 10))
    ring = Ring("a", "a", False, LinearRing(bulged), Polygon(bulged))
    h = 0.5
    path = np.array(
        [[-h, 0], [0, -h], [40, -h], [40 + h, 0], [40 + h, 10], [40, 10 + h], [0, 10 + h], [-h, 10], [-h, 0]]
    )
    assert follow(path, ring, h).error_mm == pytest.approx(0.4, abs=0.03)


def test_a_run_that_goes_over_to_the_wood_is_found():
    crossing = np.array([[9.9, 20.0], [9.9, 22.0], [10.1, 24.0], [10.1, 25.0]])
    assert follow(crossing, RING, HALF).fault == "cut on the side of the wood"
