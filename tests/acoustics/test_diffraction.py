import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics.diffraction import edge_wave, piston_directivity

SQUARE = ((-0.1, -0.1), (0.1, -0.1), (0.1, 0.1), (-0.1, 0.1))
FAR = (0.0, 0.0, 40.0)
OMEGA = 2 * np.pi * np.geomspace(20, 4000, 40)


def disc(radius, corners=256):
    angles = 2 * np.pi * np.arange(corners) / corners
    return tuple((radius * math.cos(a), radius * math.sin(a)) for a in angles)


def test_a_front_is_worth_nothing_at_low_frequency_and_a_wall_at_high():
    """Forwards from 0 dB (a source in the open) to about 6 dB (an endless wall)."""
    low = 2 - edge_wave(SQUARE, (0.0, 0.0), 0.0, FAR, np.array([0.1]), 344.0)
    assert 20 * np.log10(abs(low[0])) == pytest.approx(0, abs=0.01)
    high = 2 - edge_wave(SQUARE, (0.023, 0.041), 0.03, FAR, 2 * np.pi * np.linspace(6000, 12000, 60), 344.0)
    assert 20 * np.log10(abs(high).mean()) == pytest.approx(6.02, abs=0.6)


def test_a_source_in_the_middle_of_a_disc():
    """All of the rim is one way off: E = e^{-jka}, and 2 - E has its peak of 9.5 dB at ka = pi."""
    a, k = 0.08, OMEGA / 344.0
    found = edge_wave(disc(a), (0.0, 0.0), 0.0, (0.0, 0.0, 1e4), OMEGA, 344.0)
    assert np.abs(found - np.exp(-1j * k * a)).max() < 2e-3
    at_peak = edge_wave(disc(a), (0.0, 0.0), 0.0, FAR, np.array([np.pi / a * 344.0]), 344.0)
    assert 20 * np.log10(abs(2 - at_peak[0])) == pytest.approx(20 * np.log10(3), abs=0.02)


@settings(max_examples=40, deadline=None)
@given(st.floats(-0.09, 0.09), st.floats(-0.09, 0.09), st.floats(0.0, 0.05), st.floats(0.3, 10.0), st.floats(0.0, 0.6))
def test_the_rim_sends_out_no_more_than_it_gets(u, v, radius, away, behind):
    wave = edge_wave(SQUARE, (u, v), radius, (0.0, 0.0, away), OMEGA, 344.0, behind)
    assert np.abs(wave).max() <= 1.05  # the listener may be a little nearer to the rim's wave than to the source


@settings(max_examples=30, deadline=None)
@given(st.floats(-0.08, 0.08), st.floats(-0.03, 0.03), st.floats(0, 2 * math.pi))
def test_turning_everything_changes_nothing(u, v, turn):
    c, s = math.cos(turn), math.sin(turn)
    rim = ((-0.1, -0.04), (0.1, -0.05), (0.09, 0.06), (-0.1, 0.05))

    def turned(p):
        return c * p[0] - s * p[1], s * p[0] + c * p[1]

    one = edge_wave(rim, (u, v), 0.0, (0.02, 0.01, 1.0), OMEGA, 344.0)
    other = edge_wave(tuple(map(turned, rim)), turned((u, v)), 0.0, (*turned((0.02, 0.01)), 1.0), OMEGA, 344.0)
    assert np.abs(one - other).max() < 1e-9


def test_a_piston_smooths_what_a_point_has():
    high = 2 * np.pi * np.linspace(3000, 6000, 30)
    point = edge_wave(disc(0.1), (0.0, 0.0), 0.0, FAR, high, 344.0)
    wide = edge_wave(disc(0.1), (0.0, 0.0), 0.06, FAR, high, 344.0)
    assert np.abs(wide).mean() < 0.7 * np.abs(point).mean()


def test_a_front_that_is_none_is_refused():
    with pytest.raises(ValueError, match="convex"):
        edge_wave(SQUARE[::-1], (0.0, 0.0), 0.0, FAR, OMEGA, 344.0)
    with pytest.raises(ValueError, match="convex"):
        edge_wave(((0, 0), (1, 0), (0.1, 0.1), (0, 1)), (0.05, 0.05), 0.0, FAR, OMEGA, 344.0)
    with pytest.raises(ValueError, match="inside"):
        edge_wave(SQUARE, (0.2, 0.0), 0.0, FAR, OMEGA, 344.0)


def test_the_beam_is_one_on_its_axis_and_none_at_its_first_zero():
    k = np.array([1.0, 20.0, 100.0])
    assert piston_directivity(0.002, 1.0, k) == pytest.approx(1.0)
    first_zero = 3.8317059702 / math.sqrt(0.002 / math.pi)  # of J1
    assert piston_directivity(0.002, 0.0, first_zero) == pytest.approx(0.0, abs=1e-9)
