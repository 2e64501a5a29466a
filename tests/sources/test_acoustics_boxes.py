"""Closed and vented boxes of the handbooks, recovered by the very network that the guide is sized with."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from kerfwave.acoustics.chamber import leak_resistance
from kerfwave.acoustics.network import response
from kerfwave.model.acoustic import Air, DriverParameters, Mouth, Network, Segment

LOSSLESS = Air(density=1.2046, speed=343.34, viscosity=0.0, gamma=1.4020, prandtl=0.7080)
FS_HZ = 35.0
VOLTS = 2.0


def driver(qts: float, vas_m3: float) -> DriverParameters:
    """A driver without voice coil inductance and with as good as no mechanical loss."""
    sd, re, omega = 1e-3, 6.0, 2 * math.pi * FS_HZ
    cms = vas_m3 / (LOSSLESS.density * LOSSLESS.speed**2 * sd**2)
    mms, qms = 1 / (omega**2 * cms), 10.0
    qes = 1 / (1 / qts - 1 / qms)
    bl = math.sqrt(omega * mms * re / qes)
    return DriverParameters(FS_HZ, qms, qes, qts, vas_m3, sd, re, 0.0, mms, cms, omega * mms / qms, bl)


def relative_level(network: Network, frequency_hz: float) -> float:
    """Level over the driver's mass-controlled level rho Sd Bl E / (2 pi Re Mms) in half space at 1 m."""
    d = network.driver
    flat = LOSSLESS.density * d.sd_m2 * d.bl_tm * VOLTS / (2 * math.pi * d.re_ohm * d.mms_kg)
    spl = response(network, (frequency_hz,), LOSSLESS, VOLTS, 1.0, "half").spl_db[0]
    return spl - 20 * math.log10(flat / 20e-6)


# R. H. Small, "Closed-Box Loudspeaker Systems", JAES 20 (1972) 798 and 21 (1973) 11: f3/fc, peak, its place, level at
# fc. The formula of f3 is published, that of the peak from memory; digits recomputed.
CLOSED = [
    (0.5, 1.553774, None, None, -6.0206),
    (0.577350, 1.272020, None, None, -4.7712),
    (0.707107, 1.000000, None, None, -3.0103),
    (0.8, 0.897160, 0.21295, 2.13809, -1.9382),
    (0.9, 0.829469, 0.68782, 1.61645, -0.9151),
    (1.0, 0.786151, 1.24939, 1.41421, 0.0),
    (1.1, 0.756747, 1.83300, 1.30546, 0.8279),
    (1.2, 0.735815, 2.41178, 1.23771, 1.5836),
    (1.5, 0.699345, 4.03335, 1.13389, 3.5218),
]


@pytest.mark.parametrize(("qtc", "f3", "peak_db", "peak_at", "at_fc_db"), CLOSED)
def test_closed_box(qtc, f3, peak_db, peak_at, at_fc_db):
    qts, vas = 0.38, 50e-3
    alpha = (qtc / qts) ** 2 - 1
    network = Network(driver(qts, vas), vas / alpha)
    fc = FS_HZ * qtc / qts
    half_power = 10 * math.log10(0.5)
    found = brentq(lambda x: relative_level(network, x * fc) - half_power, 0.4, 2.0, xtol=1e-9)
    assert found == pytest.approx(f3, rel=1e-5)
    assert relative_level(network, fc) == pytest.approx(at_fc_db, abs=1e-4)
    if peak_db is not None:
        top = minimize_scalar(lambda x: -relative_level(network, x * fc), bounds=(0.8, 3.0), options={"xatol": 1e-7})
        assert -top.fun == pytest.approx(peak_db, abs=2e-5)
        assert top.x == pytest.approx(peak_at, rel=1e-4)


# Sizing of the same source: alpha, Vb and fc for fs 35 Hz, Qts 0.38, Vas 50 L. recomputed.
@pytest.mark.parametrize(
    ("qtc", "vb_l", "fc"),
    [(0.5, 68.371, 46.053), (0.57735, 38.215, 53.177), (0.70711, 20.304, 65.129), (1.0, 8.4385, 92.105)],
)
def test_closed_box_impedance_is_real_at_its_resonance(qtc, vb_l, fc):
    network = Network(driver(0.38, 50e-3), vb_l * 1e-3)
    phase = response(network, (fc * 0.9999, fc * 1.0001), LOSSLESS, VOLTS, 1.0, "half").impedance_phase_deg
    assert phase[0] > 0 > phase[1]  # the impedance is real at fc and capacitive above
    assert relative_level(network, fc) == pytest.approx(20 * math.log10(qtc), abs=1e-3)


def vented(qts: float, alpha: float, h: float, ql: float | None = None) -> Network:
    """A small box, so that the vent's radiation loss is as negligible as the lumped theory has it."""
    vas = 1e-3
    box = vas / alpha
    omega_b = 2 * math.pi * FS_HZ * h
    inertance = LOSSLESS.density * LOSSLESS.speed**2 / (omega_b**2 * box)
    length = 0.02

    def excess(radius: float) -> float:  # the mouth's own 0.8216 a belongs to the vent
        return LOSSLESS.density * (length + 0.8216 * radius) / (math.pi * radius**2) - inertance

    radius = brentq(excess, 1e-5, 0.1)
    area, perimeter = math.pi * radius**2, 2 * math.pi * radius
    vent = Segment("vent", length, area, area, perimeter, perimeter)
    leak = leak_resistance(ql, FS_HZ * h, box, LOSSLESS) if ql else 0.0
    return Network(driver(qts, vas), box, 0.0, (vent,), Mouth(area, "flanged"), leak)


# A. N. Thiele, "Loudspeakers in Vented Boxes" (1961; JAES 19 (1971) 382): QT, f3/fs, fB/fs, VB/Vas as printed
# (published), the one misprint of a reprint (.446 for .466) corrected by the polynomial; then f3/fs recomputed
# from the fourth-order polynomial.
THIELE = [
    ("QB3", 0.180, 2.68, 2.000, 0.0954, 2.6792, 1.9968, 10.4449),
    ("QB3", 0.209, 2.28, 1.730, 0.1337, 2.2738, 1.7298, 7.4543),
    ("QB3", 0.259, 1.77, 1.420, 0.2242, 1.7721, 1.4133, 4.4563),
    ("QB3", 0.303, 1.45, 1.230, 0.3390, 1.4481, 1.2244, 2.9469),
    ("B4", 0.383, 1.000, 1.000, 0.7072, 1.0, 1.0, 1.41421),
    ("C4", 0.415, 0.867, 0.927, 0.9479, 0.8663, 0.9277, 1.0528),
    ("C4", 0.466, 0.729, 0.829, 1.372, 0.7260, 0.8270, 0.7243),
    ("C4", 0.518, 0.641, 0.757, 1.790, 0.6414, 0.7553, 0.5578),
    ("C4", 0.557, 0.600, 0.716, 2.062, 0.6001, 0.7177, 0.4858),
]


def half_power_frequency(network: Network) -> float:
    """f3 / fs: the lowest frequency above which the level stays over -3.01 dB, by a scan from above."""
    half_power = 10 * math.log10(0.5)
    x = 4.0
    while relative_level(network, x * FS_HZ) > half_power:
        x *= 0.97
    return float(brentq(lambda y: relative_level(network, y * FS_HZ) - half_power, x, x / 0.97))


@pytest.mark.parametrize(("kind", "qt", "f3", "fb", "vb", "f3_again", "h_again", "alpha_again"), THIELE)
def test_vented_box_as_printed(kind, qt, f3, fb, vb, f3_again, h_again, alpha_again):
    assert half_power_frequency(vented(qt, 1 / vb, fb)) == pytest.approx(f3, rel=0.012)
    # QT is printed to three figures, which alone moves f3 by up to 0.2 %.
    assert half_power_frequency(vented(qt, alpha_again, h_again)) == pytest.approx(f3_again, rel=2e-3)


@pytest.mark.parametrize(("kind", "qt", "f3", "fb", "vb", "f3_again", "h_again", "alpha_again"), THIELE[::4])
def test_vented_box_response_is_the_fourth_order_polynomial(kind, qt, f3, fb, vb, f3_again, h_again, alpha_again):
    # R. H. Small, "Vented-Box Loudspeaker Systems", JAES 21 (1973): response function without leakage. published.
    network = vented(qt, alpha_again, h_again)
    x = np.geomspace(0.3, 6.0, 25)
    root = math.sqrt(h_again)
    s = 1j * x / root  # normalised to sqrt(wB wS)
    a1, a2, a3 = 1 / (root * qt), (alpha_again + 1 + h_again**2) / h_again, root / qt
    wanted = 20 * np.log10(np.abs(s**4 / (s**4 + a1 * s**3 + a2 * s**2 + a3 * s + 1)))
    got = [relative_level(network, float(f * FS_HZ)) for f in x]
    assert np.abs(got - wanted).max() < 0.02


def test_butterworth_is_flat_and_three_decibels_down_at_resonance():
    # B4 without loss: QT = 0.38268, alpha = sqrt 2, h = 1, |G| = 1 / sqrt(1 + (fs/f)^8). recomputed.
    network = vented(0.3826834, math.sqrt(2), 1.0)
    for x in (0.5, 0.8, 1.0, 1.3, 2.0, 4.0):
        wanted = -10 * math.log10(1 + x**-8)
        assert relative_level(network, x * FS_HZ) == pytest.approx(wanted, abs=0.01)


def test_vent_relieves_the_cone_at_the_box_frequency():
    # Small 1973: at fB the cone's excursion has its minimum and both impedance humps lie about it.
    network = vented(0.3826834, math.sqrt(2), 1.0)
    frequency = np.geomspace(20, 60, 400)
    excursion = response(network, tuple(frequency), LOSSLESS, VOLTS, 1.0, "half").excursion_peak_mm
    assert frequency[int(np.argmin(excursion))] == pytest.approx(FS_HZ, rel=0.01)


# R. H. Small, "Vented-Box Loudspeaker Systems", JAES 21 (1973): alignments with leakage losses, QL = omega_B Cab RL.
# QL, kind, QT, alpha, h, f3 / fs. Response function published; recomputed from the polynomials of each alignment.
SMALL = [
    (7, "QB3", 0.20, 7.7775, 1.9393, 2.5289),
    (7, "QB3", 0.25, 4.5822, 1.5629, 1.9667),
    (7, "QB3", 0.30, 2.8452, 1.3145, 1.5732),
    (7, "QB3", 0.35, 1.7964, 1.1395, 1.2702),
    (7, "QB3", 0.40, 1.1141, 1.0106, 1.0214),
    (7, "B4", 0.40481, 1.06132, 1.0, 1.0),
    (7, "C4", 0.45, 0.6868, 0.8992, 0.8348),
    (7, "C4", 0.50, 0.4642, 0.8031, 0.7155),
    (7, "C4", 0.55, 0.3453, 0.7321, 0.6393),
    (7, "C4", 0.60, 0.2749, 0.6805, 0.5884),
    (15, "QB3", 0.30, 2.9455, 1.2703, 1.5159),
    (15, "B4", 0.39270, 1.24445, 1.0, 1.0),
    (15, "C4", 0.50, 0.5349, 0.7873, 0.6873),
    (10, "B4", 0.39791, 1.16290, 1.0, 1.0),
    (5, "QB3", 0.30, 2.7663, 1.3512, 1.6183),
    (5, "B4", 0.41440, 0.93159, 1.0, 1.0),
    (5, "C4", 0.50, 0.4166, 0.8178, 0.7395),
    (3, "B4", 0.43864, 0.65428, 1.0, 1.0),
]


@pytest.mark.parametrize(("ql", "kind", "qt", "alpha", "h", "f3"), SMALL)
def test_vented_box_with_leaks(ql, kind, qt, alpha, h, f3):
    assert half_power_frequency(vented(qt, alpha, h, ql)) == pytest.approx(f3, rel=1e-3)


@pytest.mark.parametrize(("ql", "kind", "qt", "alpha", "h", "f3"), SMALL[::3])
def test_vented_box_with_leaks_has_smalls_response(ql, kind, qt, alpha, h, f3):
    # The coefficients with leakage, published. The leak's flow radiates as Small has it, with its own phase, or this
    # would not come out.
    network = vented(qt, alpha, h, ql)
    x = np.geomspace(0.3, 6.0, 25)
    root = math.sqrt(h)
    s = 1j * x / root
    a1, a3 = 1 / (root * qt) + root / ql, root / qt + 1 / (root * ql)
    a2 = 1 / (ql * qt) + (alpha + 1 + h**2) / h
    wanted = 20 * np.log10(np.abs(s**4 / (s**4 + a1 * s**3 + a2 * s**2 + a3 * s + 1)))
    got = [relative_level(network, float(f * FS_HZ)) for f in x]
    assert np.abs(got - wanted).max() < 0.02
