"""Resonators, quarter-wave lines and cascades: the whole guide against formulas and an independent circuit solver."""

import math
import warnings

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from kerfwave.acoustics.duct import propagation
from kerfwave.acoustics.network import chamber_admittance, input_impedance, solve
from kerfwave.acoustics.radiation import mouth_impedance
from kerfwave.acoustics.segments import cascade, towards_chamber
from kerfwave.model.acoustic import Air, DriverParameters, Mouth, Network, Segment

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what it warns of on import is not ours
    import skrf

DRY = Air(density=1.2046, speed=343.34, viscosity=1.8206e-5, gamma=1.4020, prandtl=0.7080)
LOSSLESS = Air(density=1.2046, speed=343.34, viscosity=0.0, gamma=1.4020, prandtl=0.7080)
DRIVER = DriverParameters(105.0, 3.0, 0.7, 0.5676, 1.02e-3, 22e-4, 3.6, 1e-4, 1.55e-3, 1.48e-3, 0.341, 2.29)


def tube(length: float, radius: float, name: str = "tube") -> Segment:
    area, perimeter = math.pi * radius**2, 2 * math.pi * radius
    return Segment(name, length, area, area, perimeter, perimeter)


@pytest.mark.parametrize(
    # Box of 20 L, port 60 mm across and 120 mm long, c 343.34 m/s: f = c / (2 pi) sqrt(S / (V L')). recomputed;
    # end corrections 0.8217 a flanged and 0.6127 a free. Here the inner end is a lump at the inlet.
    ("inner", "end", "frequency"),
    [(0.8217, "free", 50.885), (0.8217, "flanged", 49.934)],
)
def test_helmholtz_resonator(inner, end, frequency):
    radius, volume = 0.03, 20e-3
    port = tube(0.12, radius)
    lump = LOSSLESS.density * inner * radius / port.area_in_m2
    port = Segment("port", 0.12, port.area_in_m2, port.area_in_m2, port.perimeter_in_m, port.perimeter_in_m, lump)
    network = Network(DRIVER, volume, 0.0, (port,), Mouth(port.area_in_m2, end))

    def total_reactance(f: float) -> float:
        omega = 2 * math.pi * f
        box = 1 / chamber_admittance(volume, 0.0, omega, LOSSLESS)
        return float((input_impedance(network, omega, LOSSLESS) + box).imag)

    # The lumped formula leaves out the port's own compliance, 1.7 % of the box's, which adds a third of itself.
    assert brentq(total_reactance, 30, 80) == pytest.approx(frequency, rel=0.004)


def driving_end(frequency: float, load: complex) -> complex:
    """Impedance of a tube 1 m long, 20 mm radius, over rho c / S."""
    omega = np.array([2 * math.pi * frequency])
    segment = tube(1.0, 0.02)
    flow = np.array([1.0 + 0j])
    pressure, flow = towards_chamber((segment,), omega, DRY, np.array([load + 0j]), flow)
    return complex((pressure / flow)[0]) * segment.area_in_m2 / (DRY.density * DRY.speed)


@pytest.mark.parametrize(
    # Driving-end peaks of a lossy closed-open tube, radius 20 mm, length 1 m: Zwikker and Kosten. recomputed. First
    # with p = 0 at the far end, then with the unflanged load (ka)^2 / 4 + j 0.6127 ka.
    ("loaded", "near", "frequency", "height"),
    [
        (False, 85, 85.084, 72.704),
        (False, 256, 256.205, 42.003),
        (True, 84, 84.062, 72.217),
        (True, 253, 253.118, 38.923),
    ],
)
def test_quarter_wave_line(loaded, near, frequency, height):
    def load(f: float) -> complex:
        ka = 2 * math.pi * f / DRY.speed * 0.02
        return (ka**2 / 4 + 0.6127j * ka) * DRY.density * DRY.speed / (math.pi * 0.02**2) if loaded else 0j

    found = minimize_scalar(
        lambda f: -abs(driving_end(f, load(f))), bounds=(near - 4, near + 4), options={"xatol": 1e-6}
    )
    assert found.x == pytest.approx(frequency, abs=0.02)
    assert -found.fun == pytest.approx(height, rel=2e-3)


@pytest.mark.parametrize(
    # f1 = c / 4 (L + d), a 50 mm. recomputed with d = 0.6127 a and 0.8217 a.
    ("length", "end", "frequency"),
    [(0.5, "free", 161.759), (1.0, "free", 83.284), (1.0, "flanged", 82.448), (1.7167, "flanged", 48.831)],
)
def test_closed_open_resonance(length, end, frequency):
    # Towards low ka; at ka 0.15 the exact correction has fallen by less than 2 %, or 0.1 % of the length.
    segment = tube(length, 0.05)
    network = Network(DRIVER, 1e-3, 0.0, (segment,), Mouth(segment.area_in_m2, end))
    found = minimize_scalar(
        lambda f: -abs(input_impedance(network, 2 * math.pi * f, LOSSLESS)),
        bounds=(0.9 * frequency, 1.1 * frequency),
        options={"xatol": 1e-6},
    )
    assert found.x == pytest.approx(frequency, rel=2e-3)


def test_cascade_against_a_circuit_solver():
    # scikit-rf (general-purpose network library; waves inside): line = duct, series inductor = lump,
    # p as voltage, U as current. published library, run here.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frequency = skrf.Frequency(20, 1000, 50, unit="Hz")
        omega = 2 * np.pi * frequency.f
        guide = (
            Segment("first", 0.31, 18e-4, 18e-4, 0.2, 0.2, flow_resistivity_pa_s_m2=1500.0),
            Segment("bend", 0.09, 18e-4, 18e-4, 0.2, 0.2, extra_inertance_kg_m4=-7.5),
            Segment("second", 0.28, 24e-4, 24e-4, 0.22, 0.22, extra_inertance_kg_m4=3.0),
        )
        total = None
        for s in guide:
            gamma, specific = propagation(s.area_in_m2, s.perimeter_in_m, DRY, omega, s.flow_resistivity_pa_s_m2)
            z0 = specific / s.area_in_m2
            # One real impedance at every port, so that the waves mean the same to every piece.
            medium = skrf.media.DefinedGammaZ0(frequency=frequency, z0_port=2e5, z0=z0, gamma=gamma)
            piece = medium.line(s.length_m, unit="m")
            if s.extra_inertance_kg_m4:
                piece = medium.inductor(s.extra_inertance_kg_m4) ** piece
            total = piece if total is None else total**piece
        wanted = total.a
    ours = cascade(guide, omega, DRY)
    assert np.abs(ours.a / wanted[:, 0, 0] - 1).max() < 1e-10
    assert np.abs(ours.b / wanted[:, 0, 1] - 1).max() < 1e-10
    assert np.abs(ours.c / wanted[:, 1, 0] - 1).max() < 1e-10
    assert np.abs(ours.d / wanted[:, 1, 1] - 1).max() < 1e-10
    load = mouth_impedance(24e-4, "flanged", omega, DRY)
    network = Network(DRIVER, 1e-3, 0.0, guide, Mouth(24e-4, "flanged"))
    theirs = (wanted[:, 0, 0] * load + wanted[:, 0, 1]) / (wanted[:, 1, 0] * load + wanted[:, 1, 1])
    assert np.abs(input_impedance(network, omega, DRY) / theirs - 1).max() < 1e-10


def test_whole_circuit_against_one_matrix():
    # The same physics set up the other way: unknowns i, v, p_chamber, U_guide, U_mouth, p_mouth in one linear system
    # with the two-port relations as rows. recomputed by numpy's solver.
    omega = 2 * np.pi * np.array([40.0, 90.0, 180.0, 700.0])
    guide = (Segment("a", 0.4, 18e-4, 18e-4, 0.2, 0.2), Segment("b", 0.3, 18e-4, 30e-4, 0.2, 0.25))
    solution = solve(DRIVER, 0.7e-3, 0.0, guide, 30e-4, "free", omega, DRY, 2.0)
    ports = cascade(guide, omega, DRY)
    loads = mouth_impedance(30e-4, "free", omega, DRY)
    compliance = 0.7e-3 / (DRY.density * DRY.speed**2)
    d = DRIVER
    for i, w in enumerate(omega):
        s = 1j * w
        ze, zm = d.re_ohm + s * d.le_h, d.rms_kg_s + s * d.mms_kg + 1 / (s * d.cms_m_n)
        a, b, c, dd, load = ports.a[i], ports.b[i], ports.c[i], ports.d[i], loads[i]
        rows = [
            [ze, d.bl_tm, 0, 0, 0, 0],  # E = Ze i + Bl v
            [-d.bl_tm, zm, -d.sd_m2, 0, 0, 0],  # Bl i = Zm v - Sd p (p pushes the cone outwards)
            [0, d.sd_m2, s * compliance, 1, 0, 0],  # 0 = Sd v + jwC p + U: what leaves the chamber
            [0, 0, 1, 0, -b, -a],  # p = A p2 + B U2
            [0, 0, 0, 1, -dd, -c],  # U = C p2 + D U2
            [0, 0, 0, 0, load, -1],  # p2 = Z U2
        ]
        current, velocity, pressure, _, mouth, _ = np.linalg.solve(np.array(rows, complex), [2.0, 0, 0, 0, 0, 0])
        assert solution.cone_velocity[i] == pytest.approx(velocity, rel=1e-10)
        assert solution.chamber_pressure[i] == pytest.approx(pressure, rel=1e-10)
        assert solution.mouth_volume_velocity[i] == pytest.approx(mouth, rel=1e-10)
        assert solution.electrical_impedance[i] == pytest.approx(2.0 / current, rel=1e-10)
