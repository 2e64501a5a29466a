"""Centrelines and what they sweep."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from kerfwave.body import path

steps = st.lists(
    st.tuples(st.floats(40.0, 120.0), st.sampled_from([90.0, -90.0, 180.0, -180.0])), min_size=1, max_size=3
)


def chain_of(steps: list[tuple[float, float]], radius: float, width: float = 8.0) -> tuple[path.Run, ...]:
    rows: list[path.Step] = []
    for i, (length, turn) in enumerate(steps):
        rows.append((f"lane {i}", length, 0.0, width, width))
        # Every bend narrows the duct by a tenth.
        rows.append((f"bend {i}", radius * math.radians(abs(turn)), turn, width, 0.9 * width))
        width *= 0.9
    rows.append(("last", 30.0, 0.0, width, width))
    return path.chain(3.0, -2.0, 90.0, tuple(rows))


@given(steps, st.floats(5.0, 12.0), st.floats(4.0, 8.0))
@settings(max_examples=40, deadline=None)
def test_a_swept_duct_has_the_area_of_its_width_along_its_centreline(steps, half_width, septum):
    """Pappus-Guldin: true of bends about any centre outside the duct. Chords cost at most sagitta times length."""
    runs = chain_of(steps, half_width + septum / 2, 2 * half_width)
    shape = Polygon(path.sweep(runs))
    if not shape.is_valid:  # the chain may run into itself; the law is for those that do not
        return
    expected = sum(run.length_mm * (run.width_in_mm + run.width_out_mm) / 2 for run in runs)
    assert shape.area == pytest.approx(expected, abs=2 * path.SAGITTA_MM * path.length_mm(runs))


@given(steps, st.floats(20.0, 40.0))
@settings(max_examples=30, deadline=None)
def test_runs_join_without_a_step_or_a_kink(steps, radius):
    runs = chain_of(steps, radius)
    for before, after in itertools.pairwise(runs):
        x, y, heading = path.end(before)
        assert (x, y) == pytest.approx((after.x, after.y), abs=1e-9)
        assert math.isclose(math.cos(math.radians(heading - after.heading_deg)), 1.0, abs_tol=1e-12)


def test_mirroring_and_swapping_twice_changes_nothing():
    runs = chain_of([(50.0, 180.0), (60.0, -90.0)], 15.0)
    for turn in (path.mirrored, path.swapped):
        for a, b in zip(runs, turn(turn(runs)), strict=True):
            assert path.end(a)[:2] == pytest.approx(path.end(b)[:2])
            assert a.turn_deg == b.turn_deg


def test_mirrored_runs_end_at_the_mirrored_place():
    runs = chain_of([(50.0, 180.0), (60.0, -90.0)], 15.0)
    x, y, _ = path.end(runs[-1])
    mx, my, _ = path.end(path.mirrored(runs)[-1])
    assert (mx, my) == pytest.approx((-x, y))


@given(st.floats(1.0, 200.0))
@settings(max_examples=30, deadline=None)
def test_a_circle_reads_its_diameter_on_a_calliper(diameter):
    ring = path.circle(10.0, -3.0, diameter)
    assert max(x for x, _ in ring) - min(x for x, _ in ring) == pytest.approx(diameter, abs=3e-6)
    assert max(y for _, y in ring) - min(y for _, y in ring) == pytest.approx(diameter, abs=3e-6)
    assert Polygon(ring).area <= math.pi / 4 * diameter**2
    assert Polygon(ring).area == pytest.approx(math.pi / 4 * diameter**2, abs=2 * path.SAGITTA_MM * math.pi * diameter)
