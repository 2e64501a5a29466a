"""Driver relations after R. H. Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20 (1972) 383.

Formulas from memory, digits recomputed; the driver is made up for the purpose.
"""

import math

import numpy as np
import pytest

from kerfwave.acoustics.driver import complete
from kerfwave.acoustics.network import solve_network
from kerfwave.model.acoustic import Air, Network
from kerfwave.model.spec import Driver

DRY = Air(density=1.2046, speed=343.34, viscosity=1.8206e-5, gamma=1.4020, prandtl=0.7080)
RMS_KG_S = 0.9
FS_HZ = 45.9441
QMS = 3.84900
MECHANICS = {"name": "made up", "frame_mm": 160, "cutout_mm": 140, "bolt_circle_mm": 150, "depth_mm": 80}
LIMITS = {"xmax_mm": 4, "power_w": 40}
BASE = Driver(**MECHANICS, **LIMITS, fs_hz=FS_HZ, sd_cm2=132, re_ohm=5.6, qms=QMS, mms_g=12, bl_tm=6.0)


def test_example():
    # Re 5.6 ohm, Bl 6.0 T m, Mms 12 g, Cms 1.0 mm/N, Rms 0.9 kg/s, Sd 132 cm^2. recomputed.
    p = complete(BASE, DRY)
    assert p.qes == pytest.approx(0.53886, rel=1e-4)
    assert p.qts == pytest.approx(0.47268, rel=1e-4)
    assert p.cms_m_n == pytest.approx(1.0e-3, rel=1e-4)
    assert p.rms_kg_s == pytest.approx(RMS_KG_S, rel=1e-4)
    assert p.vas_m3 == pytest.approx(24.74227e-3, rel=1e-4)
    assert p.bl_tm == pytest.approx(6.0, rel=1e-6)


def test_example_in_other_air():
    # The same with density 1.18 and c 345: Vas 24.47192 L. recomputed.
    other = Air(density=1.18, speed=345.0, viscosity=1.8e-5, gamma=1.4, prandtl=0.71)
    assert complete(BASE, other).vas_m3 == pytest.approx(24.47192e-3, rel=1e-4)


def test_efficiency_both_ways():
    # eta0 = 4 pi^2 fs^3 Vas / (c^3 Qes) = rho Bl^2 Sd^2 / (2 pi c Re Mms^2) = 4.343486e-3. recomputed.
    p = complete(BASE, DRY)
    by_resonance = 4 * math.pi**2 * p.fs_hz**3 * p.vas_m3 / (DRY.speed**3 * p.qes)
    by_mass = DRY.density * p.bl_tm**2 * p.sd_m2**2 / (2 * math.pi * DRY.speed * p.re_ohm * p.mms_kg**2)
    assert by_resonance == pytest.approx(4.343486e-3, rel=1e-4)
    assert by_mass == pytest.approx(4.343486e-3, rel=1e-4)


def test_level_above_resonance_by_the_network():
    # Mass-controlled level in half space at 2.83 V, 1 m: 90.096 dB. recomputed. A huge closed box stands for free air.
    p = complete(BASE, DRY)
    solution = solve_network(Network(p, 1e3), np.array([20e3]), DRY, 2.83)
    level = 20 * np.log10(np.abs(solution.pressure(1.0, "half")) / 20e-6)
    assert level[0] == pytest.approx(90.096, abs=0.005)


def test_impedance_at_resonance_by_the_network():
    # Re (1 + Qms / Qes) = Re + Bl^2 / Rms = 45.6 ohm. recomputed.
    p = complete(BASE, DRY)
    frequency = np.linspace(45.5, 46.5, 2001)
    impedance = np.abs(solve_network(Network(p, 1e6), frequency, DRY, 1.0).electrical_impedance)
    assert impedance.max() == pytest.approx(45.6, rel=1e-4)
    assert frequency[impedance.argmax()] == pytest.approx(FS_HZ, abs=0.001)


def test_volume_acceleration_level():
    # 1 m^3/s^2 gives 73.612 dB in full space and 79.633 dB in half space at 1 m. recomputed from rho / (4 pi r).
    p = complete(BASE, DRY)
    solution = solve_network(Network(p, 0.01), np.array([100.0]), DRY, 1.0)
    acceleration = np.abs(solution.omega * solution.front_volume_velocity)
    for space, level in (("full", 73.612), ("half", 79.633)):
        pressure = np.abs(solution.pressure(1.0, space)) / acceleration
        assert 20 * np.log10(pressure[0] / 20e-6) == pytest.approx(level, abs=0.001)
