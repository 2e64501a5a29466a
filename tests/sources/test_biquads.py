"""The filters against the W3C note's formulae worked elsewhere, and against scipy.signal.

Sources: R. Bristow-Johnson, Audio EQ Cookbook, W3C Working Group Note, 8 June 2021 (published; digits at 48 kHz
recomputed from it); scipy.signal.freqz as an independent evaluation; scipy.signal.iirpeak for a notch-free peak.
"""

import numpy as np
import pytest
import scipy.signal

from kerfwave.acoustics.biquads import biquad, response

RATE = 48000.0
Q1 = 1 / np.sqrt(2)
TABLE = [
    (
        "peaking",
        1000,
        1.0,
        6.0,
        (1.04395308699034, -1.8953207239366, 0.867722284759857),
        (-1.8953207239366, 0.911675371750192),
    ),
    (
        "low-shelf",
        100,
        Q1,
        6.0,
        (1.00321789573723, -1.9843644307769, 0.981386698749132),
        (-1.98442432913905, 0.984544696124214),
    ),
    (
        "high-shelf",
        3000,
        Q1,
        -4.0,
        (0.671949431749457, -0.935199230186935, 0.361299803820843),
        (-1.5108652838529, 0.608915289236264),
    ),
    (
        "high-pass",
        40,
        Q1,
        0.0,
        (0.996304442969349, -1.9926088859387, 0.996304442969349),
        (-1.9925952287503, 0.992622543127095),
    ),
    (
        "low-pass",
        2000,
        Q1,
        0.0,
        (0.0144014403465112, 0.0288028806930224, 0.0144014403465112),
        (-1.63299316185545, 0.690598923241497),
    ),
]


@pytest.mark.parametrize(("kind", "hz", "q", "gain", "b", "a"), TABLE)
def test_coefficients_are_those_of_the_note(kind, hz, q, gain, b, a):
    one = biquad(kind, hz, q, gain, RATE)
    assert (one.b0, one.b1, one.b2) == pytest.approx(b, abs=1e-12)
    assert (one.a1, one.a2) == pytest.approx(a, abs=1e-12)


@pytest.mark.parametrize(("kind", "hz", "q", "gain", "b", "a"), TABLE)
def test_the_response_is_what_scipy_makes_of_the_coefficients(kind, hz, q, gain, b, a):
    f = np.geomspace(10, 20000, 300)
    _, expected = scipy.signal.freqz(b, (1.0, *a), worN=f, fs=RATE)
    ours = response((biquad(kind, hz, q, gain, RATE),), f, RATE)
    assert np.abs(ours - expected).max() < 1e-9


def test_levels_of_the_note():
    """Worked levels: peaking 6 dB at 1 kHz; shelf 5.98964 at 20 Hz and 3.0 at 100; high-pass -12.30452 at 20 Hz."""

    def level(kind: str, hz: float, q: float, gain: float, at: float) -> float:
        return float(20 * np.log10(np.abs(response((biquad(kind, hz, q, gain, RATE),), [at], RATE))[0]))

    assert level("peaking", 1000, 1.0, 6.0, 1000) == pytest.approx(6.0, abs=1e-9)
    assert level("low-shelf", 100, Q1, 6.0, 20) == pytest.approx(5.98964, abs=1e-5)
    assert level("low-shelf", 100, Q1, 6.0, 100) == pytest.approx(3.0, abs=1e-9)
    assert level("high-pass", 40, Q1, 0.0, 20) == pytest.approx(-12.30452, abs=1e-5)
    assert level("high-pass", 40, Q1, 0.0, 100) == pytest.approx(-0.109775, abs=1e-6)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="no filter is called"):
        biquad("comb", 100, 1, 0, RATE)
    with pytest.raises(ValueError, match="cannot run"):
        biquad("peaking", 24000, 1, 0, RATE)
