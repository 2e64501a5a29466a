"""Filters designed for a response: they flatten it, and the cone stays within its limit."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics.biquads import Biquad, biquad, response
from kerfwave.acoustics.shaping import ShapingLimits, _outcome, shape
from kerfwave.writers.filters import filters_csv, filters_json

F = np.geomspace(20, 2000, 240)


def limits(most: int, **more: float) -> ShapingLimits:
    values = {
        "band_from_hz": 100.0,
        "band_to_hz": 700.0,
        "relief_from_hz": 70.0,
        "excursion_mm": 3.0,
        "volts": 2.0,
        "most_volts": None,
        "most_boost_db": 9.0,
        "rate_hz": 48000.0,
    }
    return ShapingLimits(most_filters=most, **(values | more))


def bumpy(bumps: list[tuple[float, float]]) -> np.ndarray:
    """Return a level that rolls off below 80 Hz, with bumps of (Hz, dB) a third of an octave wide."""
    level = 84 - 12 * np.maximum(0.0, np.log2(80 / F))
    for hz, gain in bumps:
        level = level + gain * np.exp(-((np.log2(F / hz) / 0.3) ** 2))
    return level


CONE = 2.2 / (1 + (F / 75) ** 2) + 0.05  # mm


@given(st.lists(st.tuples(st.floats(110, 600), st.floats(-5, 5)), min_size=1, max_size=3), st.integers(2, 6))
@settings(max_examples=15)
def test_filters_never_make_it_worse_and_keep_the_limits(bumps, most):
    spl = bumpy(bumps)
    found = shape(F, spl, CONE, limits(most, most_volts=6.0))
    assert 1 <= len(found.filters) <= most
    assert found.filters[0].kind == "high-pass" and found.filters[0].frequency_hz <= 70
    band = (F >= 100) & (F <= 700)
    assert found.ripple_db <= np.ptp(spl[band]) + 0.6
    assert found.most_excursion_mm <= 3.0 * 1.05
    assert found.most_volts <= 6.0 * 1.05
    gain = 20 * np.log10(np.abs(response(found.filters, F, 48000.0)))
    assert np.allclose(found.gain_db, gain)
    assert found.most_volts == pytest.approx(2.0 * 10 ** (gain.max() / 20))
    assert np.allclose(found.spl_db, spl + gain)


def test_one_bump_is_taken_out_by_one_filter():
    found = shape(F, bumpy([(300.0, 5.0)]), CONE, limits(3))
    assert found.ripple_db < 2.0
    assert any(abs(b.frequency_hz / 300 - 1) < 0.1 and b.gain_db < -3 for b in found.filters)


def test_the_high_pass_comes_up_where_the_cone_would_go_too_far():
    easy = shape(F, bumpy([]), CONE, limits(1))
    tight = shape(F, bumpy([]), 2 * CONE, limits(1, excursion_mm=1.5))
    assert tight.filters[0].frequency_hz > easy.filters[0].frequency_hz


def test_more_filters_never_reach_less_even():
    spl = bumpy([(150.0, 4.0), (320.0, -4.0), (500.0, 3.0)])
    ripples = [shape(F, spl, CONE, limits(most)).ripple_db for most in (1, 3, 5)]
    assert ripples[0] > ripples[1] > ripples[2]


def test_numbers_can_be_typed_in():
    found = shape(F, bumpy([(300.0, 5.0)]), CONE, limits(4))
    data = json.loads(filters_json(found.filters, 48000.0))
    assert [row["kind"] for row in data["filters"]] == [b.kind for b in found.filters]
    rows = filters_csv(found.filters).splitlines()
    assert len(rows) == 1 + len(found.filters)
    assert float(rows[1].split(",")[4]) == pytest.approx(found.filters[0].b0, abs=1e-14)
    for b in found.filters[1:]:
        assert b.gain_db == round(b.gain_db, 1) and b.q == round(b.q, 2)


def test_no_filter_at_all_is_no_shaping():
    with pytest.raises(ValueError, match="at least one"):
        shape(F, bumpy([]), CONE, limits(0))


def test_the_outcome_is_counted_from_what_the_filters_do():
    f = np.array([50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 700.0, 900.0])
    spl = np.array([90.0, 70.0, 76.9, 77.1, 79.0, 80.0, 81.0, 80.5, 60.0])
    moved = np.linspace(2.0, 0.2, 9)
    plain = _outcome(f, spl, moved, 80.0, (), limits(3, band_from_hz=160.0))
    assert plain.gain_db == (0.0,) * 9 and plain.spl_db == tuple(spl) and plain.most_volts == 2.0
    assert plain.reach_hz == 100.0  # downwards from the band, the last that is within 3 dB; what comes back is no reach
    assert plain.ripple_db == 1.0 and plain.most_excursion_mm == 2.0
    louder = (Biquad("peaking", 100.0, 1.0, 6.0, 2.0, 0.0, 0.0, 0.0, 0.0),)  # twice as loud everywhere
    found = _outcome(f, spl, moved, 80.0, louder, limits(3))
    assert found.gain_db == pytest.approx([20 * np.log10(2)] * 9)
    assert found.spl_db == pytest.approx(spl + 20 * np.log10(2))
    assert found.most_excursion_mm == pytest.approx(4.0) and found.most_volts == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("q", "gain", "least", "most"), [(0.6, 5.0, 0.6, 2.2), (0.6, -5.0, 0.6, 2.2), (3.0, 4.0, 3.0, 6.0)]
)
def test_a_broad_bump_takes_a_broad_filter_and_a_narrow_one_a_narrow(q, gain, least, most):
    """A level that is even but for one peaking filter; what is aimed at is its mean, so less of it is taken out."""
    bump = 20 * np.log10(np.abs(response((biquad("peaking", 300.0, q, gain, 48000.0),), F, 48000.0)))
    _, found = shape(F, 84 + bump, CONE, limits(2, band_from_hz=70.0, band_to_hz=1800.0, excursion_mm=99.0)).filters
    assert found.frequency_hz == pytest.approx(300.0, rel=0.02)
    assert least < found.q < most
    assert 0.5 < -found.gain_db / gain < 1.0
