"""Impedance of a driver against the relations that textbooks print, and fits against handbook readings of a curve.

R. H. Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20 (1972) 383, and "Closed-Box Loudspeaker Systems",
JAES 20 (1972) 798: formulas from memory, digits recomputed; the driver is made up. The circuit is written out here from
the physical elements (voice coil, force factor, mass, compliance, friction), not with the program's formula.
"""

import math

import numpy as np
import pytest

from kerfwave.measure.fit import Given, fit
from kerfwave.measure.impedance import ImpedanceSweep
from kerfwave.measure.impedance_model import driver_impedance
from kerfwave.model.acoustic import Air

DRY = Air(density=1.2046, speed=343.34, viscosity=1.8206e-5, gamma=1.4020, prandtl=0.7080)
RE, BL, MMS, CMS, RMS, SD = 5.6, 6.0, 12e-3, 1.0e-3, 0.9, 132e-4
HZ = np.geomspace(10, 2000, 400)


def circuit(hz, *, mass=0.0, stiffness=0.0):
    """Return the impedance of the example, with a mass on its cone or a spring of air behind it."""
    omega = 2 * np.pi * np.asarray(hz)
    mechanical = RMS + 1j * (omega * (MMS + mass) - (1 / CMS + stiffness) / omega)
    return RE + BL**2 / mechanical


def swept(values, hz=HZ):
    return ImpedanceSweep("sweep", tuple(hz), tuple(np.abs(values)), tuple(np.degrees(np.angle(values))))


def test_the_example_comes_back_from_its_curves():
    # fs 45.9441 Hz, Qms 3.84900, Qes 0.53886, Qts 0.47268, Vas 24.74227 L, Zmax 45.6 ohm. recomputed.
    found = fit(swept(circuit(HZ)), Given(added_mass_kg=8e-3, sd_m2=SD), DRY, with_mass=swept(circuit(HZ, mass=8e-3)))
    assert found.fs_hz.value == pytest.approx(45.9441, rel=1e-4)
    assert found.qms.value == pytest.approx(3.84900, rel=1e-4)
    assert found.qes.value == pytest.approx(0.53886, rel=1e-4)
    assert found.qts.value == pytest.approx(0.47268, rel=1e-4)
    assert found.zmax_ohm.value == pytest.approx(45.6, rel=1e-4)
    assert found.mms_kg.value == pytest.approx(MMS, rel=1e-4)
    assert found.cms_m_n.value == pytest.approx(CMS, rel=1e-4)
    assert found.bl_tm.value == pytest.approx(BL, rel=1e-4)
    assert found.vas_m3.value == pytest.approx(24.74227e-3, rel=1e-4)
    assert found.coil == "resistance"


def test_closed_box_by_the_same_example():
    # A box of Vb adds density c^2 Sd^2 / Vb to the stiffness, so alpha = Vas / Vb. recomputed.
    box = 20e-3
    stiffness = DRY.density * DRY.speed**2 * SD**2 / box
    found = fit(swept(circuit(HZ)), Given(box_m3=box, sd_m2=SD), DRY, in_box=swept(circuit(HZ, stiffness=stiffness)))
    assert found.vas_m3.value == pytest.approx(24.74227e-3, rel=1e-4)
    assert found.mms_kg.value == pytest.approx(MMS, rel=1e-4)


def test_formula_and_circuit_are_the_same():
    qms, qes = 3.849002, 0.538860
    z = driver_impedance(HZ, re_ohm=RE, fs_hz=1 / (2 * math.pi * math.sqrt(MMS * CMS)), qms=qms, qes=qes)
    assert np.abs(z / circuit(HZ) - 1).max() < 1e-5


def test_greatest_impedance():
    # Zmax = Re (1 + Qms / Qes), at fs (Small 1972; from memory).
    z = np.abs(driver_impedance([104.9, 105.0, 105.1], re_ohm=3.6, fs_hz=105.0, qms=3.0, qes=0.7))
    assert z[1] == pytest.approx(3.6 * (1 + 3.0 / 0.7), rel=1e-12)
    assert z[1] > max(z[0], z[2])


@pytest.mark.parametrize("share", [0.5, 0.3, 0.7])
def test_frequencies_of_equal_impedance_mirror_about_resonance(share):
    # f1 f2 = fs^2 for any two frequencies of equal |Z|, coil apart (Small 1972; from memory).
    hz = np.geomspace(20, 500, 200_001)
    z = np.abs(driver_impedance(hz, re_ohm=3.6, fs_hz=105.0, qms=3.0, qes=0.7))
    level = z.min() + share * (z.max() - z.min())
    f1, f2 = hz[np.flatnonzero(z > level)[[0, -1]]]
    assert math.sqrt(f1 * f2) == pytest.approx(105.0, rel=1e-4)


def test_fit_agrees_with_the_three_point_reading():
    # r0 = Zmax / Re; f1, f2 where |Z| = Re sqrt(r0); Qms = fs sqrt(r0) / (f2 - f1), Qes = Qms / (r0 - 1): the bench's
    # reading of three points, exact for a coil without inductance (Small 1972; from memory).
    hz = np.geomspace(20, 500, 200_001)
    z = np.abs(driver_impedance(hz, re_ohm=3.6, fs_hz=105.0, qms=3.0, qes=0.7))
    ratio = z.max() / 3.6
    f1, f2 = hz[np.flatnonzero(z > 3.6 * math.sqrt(ratio))[[0, -1]]]
    qms = math.sqrt(f1 * f2) * math.sqrt(ratio) / (f2 - f1)
    assert qms == pytest.approx(3.0, rel=1e-4)
    assert qms / (ratio - 1) == pytest.approx(0.7, rel=1e-4)
    coarse = np.geomspace(10, 2000, 120)
    found = fit(swept(driver_impedance(coarse, re_ohm=3.6, fs_hz=105.0, qms=3.0, qes=0.7), coarse), Given(), DRY)
    assert found.qms.value == pytest.approx(qms, rel=1e-4)
    assert found.qes.value == pytest.approx(qms / (ratio - 1), rel=1e-4)


def test_three_points_mislead_where_the_coil_is_an_inductance_and_the_fit_does_not():
    # With 0.3 mH at 105 Hz the same reading strays by more than 1 %, which is why the whole curve is fitted.
    hz = np.geomspace(20, 1000, 200_001)
    parts = {"re_ohm": 3.6, "fs_hz": 105.0, "qms": 3.0, "qes": 0.7, "le_h": 3e-4, "l2_h": 6e-4, "r2_ohm": 4.0}
    z = np.abs(driver_impedance(hz, **parts))
    ratio = z.max() / 3.6
    f1, f2 = hz[np.flatnonzero(z > 3.6 * math.sqrt(ratio))[[0, -1]]]
    qms = hz[z.argmax()] * math.sqrt(ratio) / (f2 - f1)
    assert abs(qms / 3.0 - 1) > 0.01
    coarse = np.geomspace(15, 20e3, 160)
    found = fit(swept(driver_impedance(coarse, **parts), coarse), Given(), DRY)
    assert found.qms.value == pytest.approx(3.0, rel=1e-4)


def test_added_mass_by_hand():
    # Mms = added / ((fs / fm)^2 - 1): the handbook's formula (Small 1972; from memory).
    added = 8e-3
    fs, fm = (1 / (2 * math.pi * math.sqrt((MMS + m) * CMS)) for m in (0, added))
    assert added / ((fs / fm) ** 2 - 1) == pytest.approx(MMS, rel=1e-12)
