"""The sweep's formulas against figures and libraries from outside."""

import math

import numpy as np
import pytest
from scipy import signal

from kerfwave.measure import bands
from kerfwave.measure.deconvolve import endless
from kerfwave.measure.nearfield import sum_near_fields
from kerfwave.measure.reading import MeasuredResponse, read
from kerfwave.measure.sweep import Sweep, design, samples, tone


class TestFarina:
    """A. Farina, AES 108th Convention (2000), preprint 5093 (from memory): L = T / ln(f2/f1), order n leads L ln n.

    The digits are recomputed from the formula.
    """

    # T s, f1, f2 Hz, L s, lead of orders 2 to 5 s, frequency at T/2: recomputed
    TABLE = (
        (10, 20, 20000, 1.44764827, (1.003433, 1.590404, 2.006867, 2.329900), 632.4555),
        (5, 20, 24000, 0.70521098, (0.488815, 0.774753, 0.977630, 1.134993), 692.8203),
    )

    @pytest.mark.parametrize(("seconds", "low", "high", "pace", "leads", "middle"), TABLE)
    def test_pace_and_leads(self, seconds, low, high, pace, leads, middle):
        cycles = 1_000_000  # so many that rounding them does not show
        fine = Sweep(48000, low, high, cycles)
        scale = seconds / fine.seconds
        assert fine.pace_s * scale == pytest.approx(pace, abs=5e-9)
        for order, lead in enumerate(leads, 2):
            assert fine.lead_of(order) * scale == pytest.approx(lead, abs=1e-6)
        assert fine.hz_at(fine.seconds / 2) == pytest.approx(middle, abs=1e-4)

    def test_the_synchronised_form(self):
        """Novak, Lotton, Simon 2015 (from memory): f1 L whole; recomputed: 10 s become L = 1.45 s, T = 10.0162452 s."""
        sweep = design(seconds=10.0, from_hz=20.0, to_hz=20000.0)
        assert sweep.pace_s == pytest.approx(1.45, abs=1e-12)
        assert sweep.seconds == pytest.approx(10.0162452, abs=1e-7)

    @pytest.mark.parametrize("order", [2, 3, 4, 5])
    def test_a_harmonic_is_the_sweep_itself_earlier(self, order):
        """The identity that the synchronised form is for: n times the phase is that L ln n later, in whole turns."""
        sweep = design(seconds=10.0)
        t = np.linspace(0.0, 8.0, 1001)

        def phase(at):
            return sweep.cycles * (np.exp(at / sweep.pace_s) - 1.0)

        turns = order * phase(t) - phase(t + sweep.lead_of(order))
        assert np.abs(turns - np.round(turns)).max() < 1e-7
        assert np.ptp(turns) < 1e-7

    @pytest.mark.parametrize("order", [2, 3, 4, 5])
    def test_harmonics_of_a_simulated_rig_arrive_when_the_formula_says(self, order):
        sweep = design(rate_hz=16000, seconds=4.0, from_hz=30.0, to_hz=1400.0)
        t = np.arange(round(sweep.seconds * 16000)) / 16000
        heard = tone(sweep) + 0.02 * np.sin(order * 2 * math.pi * sweep.cycles * (np.exp(t / sweep.pace_s) - 1))
        heard = np.pad(heard, (40000, 8000))
        # Deconvolved independently: convolution with the sweep reversed in time, falling 6.02 dB an octave.
        inverse = tone(sweep)[::-1] * np.exp(-t / sweep.pace_s)
        response = signal.fftconvolve(heard, inverse)
        main = int(np.argmax(np.abs(response)))
        expected = main - round(sweep.pace_s * math.log(order) * 16000)
        near = np.abs(response[expected - 800 : expected + 800])
        assert abs(int(np.argmax(near)) - 800) <= 3
        found = read(heard, 16000, sweep)
        harmonic = found.distortion.harmonics[order - 2]
        assert harmonic.lead_s == pytest.approx(sweep.pace_s * math.log(order))
        at = int(np.argmin(np.abs(np.asarray(found.distortion.frequency_hz) - 300.0)))
        assert harmonic.percent[at] == pytest.approx(100 * 0.02 / sweep.amplitude, rel=0.01)

    def test_the_inverse_falls_6_db_an_octave_in_time(self):
        """Farina 2000 (from memory): the inverse filter's envelope is -6.02 dB/octave; the sweep's spectrum -3.01."""
        sweep = design()
        f = np.array([100.0, 200.0, 400.0])
        level = 20 * np.log10(np.abs(endless(f, sweep)))
        assert np.diff(level) == pytest.approx([-3.0103, -3.0103], abs=1e-4)


def test_the_sweep_is_the_logarithmic_chirp_of_scipy():
    """scipy.signal.chirp(method="logarithmic"), an independent implementation; its phase starts at a cosine's."""
    sweep = design(rate_hz=48000, seconds=5.0, from_hz=20.0, to_hz=20000.0, fade_in_s=0.0, fade_out_s=0.0)
    ours = tone(sweep) / sweep.amplitude
    t = np.arange(len(ours)) / 48000
    theirs = signal.chirp(t, 20.0, sweep.seconds, 20000.0, method="logarithmic", phi=-90)
    assert np.abs(ours - theirs).max() < 1e-6


def test_the_spectrum_without_ends_is_that_of_the_sweep_away_from_its_ends():
    """Stationary phase (from memory of Novak et al. 2015) against the discrete Fourier transform of the samples."""
    sweep = design(rate_hz=48000, seconds=10.0, from_hz=20.0, to_hz=20000.0)
    played = tone(sweep)
    spectrum = np.fft.rfft(played)
    f = np.arange(1, len(spectrum)) * 48000 / len(played)
    ratio = spectrum[1:] / (48000 * endless(f, sweep))
    inside = (f > 200) & (f < 10000)
    assert np.abs(ratio[inside] - 1).max() < 0.01


def test_a_known_filter_is_read_as_scipy_computes_it():
    """scipy.signal.freqz of a filter against the reading of the sweep played through scipy.signal.lfilter."""
    sweep = design(rate_hz=48000, seconds=5.0)
    b, a = signal.iirpeak(1000.0, 3.0, fs=48000)
    heard = signal.lfilter(b, a, samples(sweep)) + 0.5 * samples(sweep)
    found = read(heard, 48000, sweep)
    hz = np.asarray(found.response.frequency_hz)
    _, h = signal.freqz(b, a, worN=hz, fs=48000)
    assert np.abs(np.asarray(found.response.level_db) - 20 * np.log10(np.abs(h + 0.5)))[hz > 30].max() < 0.02


class TestThirdOctaves:
    """IEC 61260-1:2014 and ISO 266, from the documentation of an open library (found); edges recomputed."""

    NOMINAL = (20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000)
    NOMINAL += (2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000)

    def test_names(self):
        assert tuple(bands.nominal_hz(k) for k in bands.indices_within(19, 21000)) == self.NOMINAL

    @pytest.mark.parametrize(
        ("index", "hz"), [(-17, 19.953), (-16, 25.119), (-15, 31.623), (-10, 100.0), (5, 3162.3), (13, 19953)]
    )
    def test_exact_frequencies(self, index, hz):
        assert bands.exact_hz(index) == pytest.approx(hz, rel=2e-5)

    def test_edges(self):
        assert bands.edges_hz(0) == pytest.approx((891.2509, 1122.0185), abs=1e-4)


def rayleigh(k, radius, height):
    """Return pressure over j omega rho u on the axis of a baffled piston: the Rayleigh integral, by midpoint rule."""
    r = (np.arange(4000) + 0.5) * radius / 4000
    far = np.hypot(r, height)
    return np.sum(np.exp(-1j * k * far) / (2 * np.pi * far) * 2 * np.pi * r) * radius / 4000


def test_near_fields_weighed_by_the_root_of_the_area_are_the_far_field():
    """Keele 1974 (from memory), against Rayleigh integrals of two pistons with different areas and velocities."""
    k, radii, speeds = 2 * math.pi * 10 / 343, (0.035, 0.02), (1.0, 2.5 * np.exp(1j * 1.9))
    near = [rayleigh(k, a, 0.0) * u for a, u in zip(radii, speeds, strict=True)]
    far = sum(rayleigh(k, a, 2.0) * u for a, u in zip(radii, speeds, strict=True))
    hz = tuple(np.geomspace(40, 200, 30))

    def curve(p):
        return MeasuredResponse(
            hz, (20 * math.log10(abs(p)),) * 30, (math.degrees(np.angle(p)),) * 30, None, absolute=True
        )

    areas = [math.pi * a * a for a in radii]
    summed = sum_near_fields(
        curve(near[0]), curve(near[1]), cone_area_m2=areas[0], mouth_area_m2=areas[1], distance_m=2.0
    )
    assert summed.response.level_db[0] == pytest.approx(20 * math.log10(abs(far)), abs=0.02)
