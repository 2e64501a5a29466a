"""Lossy ducts, cones and fibre against closed formulas of the literature.

Air: dry, 20 degC, CoolProp values, which all digits below were computed with.
"""

import math

import numpy as np
import pytest
from scipy.special import jv

from kerfwave.acoustics.duct import propagation, series_and_shunt
from kerfwave.acoustics.porous import miki
from kerfwave.acoustics.segments import SegmentArrays, abcd
from kerfwave.model.acoustic import Air

DRY = Air(density=1.2046, speed=343.34, viscosity=1.8206e-5, gamma=1.4020, prandtl=0.7080)
LOSSLESS = Air(density=1.2046, speed=343.34, viscosity=0.0, gamma=1.4020, prandtl=0.7080)
RHO_C = DRY.density * DRY.speed


def circle(radius_mm: float) -> tuple[float, float]:
    r = radius_mm * 1e-3
    return math.pi * r**2, 2 * math.pi * r


def rectangle(width_mm: float, height_mm: float) -> tuple[float, float]:
    return width_mm * height_mm * 1e-6, 2e-3 * (width_mm + height_mm)


def slit(width_mm: float) -> tuple[float, float]:
    return rectangle(width_mm, 1e6)


# C. Zwikker and C. W. Kosten 1949 and D. H. Keefe, JASA 75 (1984) 58 (circle); M. R. Stinson, JASA 89 (1991) 550
# (rectangle); formulas from memory, digits recomputed: frequency, Np/m, rad/m, Zc S / (rho c).
TUBES = [
    (circle(2), 100, 0.160815, 1.977644, 1.028463 - 0.035686j),
    (circle(5), 100, 0.061258, 1.889293, 1.011445 - 0.012569j),
    (circle(5), 1000, 0.189487, 18.487744, 1.003622 - 0.003733j),
    (circle(10), 100, 0.030138, 1.859671, 1.005726 - 0.006005j),
    (circle(10), 1000, 0.094263, 18.393969, 1.001811 - 0.001839j),
    (circle(20), 100, 0.014948, 1.844847, 1.002864 - 0.002933j),
    (circle(20), 1000, 0.047012, 18.347077, 1.000906 - 0.000912j),
    (slit(2), 100, 0.170632, 1.976077, 1.027878 - 0.037478j),
    (slit(5), 1000, 0.190893, 18.487718, 1.003621 - 0.003755j),
    (slit(10), 100, 0.030493, 1.859660, 1.005722 - 0.006060j),
    (rectangle(20, 20), 100, 0.030043, 1.859673, 1.005727 - 0.005990j),
    (rectangle(20, 20), 1000, 0.094169, 18.393970, 1.001811 - 0.001837j),
    (rectangle(10, 60), 100, 0.035440, 1.864604, 1.006677 - 0.007089j),
    (rectangle(10, 60), 1000, 0.110246, 18.409597, 1.002113 - 0.002153j),
    (rectangle(5, 100), 100, 0.065669, 1.892169, 1.011986 - 0.013459j),
]


@pytest.mark.parametrize(("section", "frequency", "attenuation", "phase", "impedance"), TUBES)
def test_tube_losses(section, frequency, attenuation, phase, impedance):
    gamma, specific = propagation(*section, DRY, 2 * math.pi * frequency)
    assert gamma.real == pytest.approx(attenuation, rel=1e-4)
    assert gamma.imag == pytest.approx(phase, rel=1e-6)
    assert abs(specific / RHO_C - impedance) < 2e-6


@pytest.mark.parametrize(
    # Keefe 1984: radius over boundary layer, attenuation c / omega, c / phase velocity, Zc / Z0. recomputed, exact.
    ("ratio", "attenuation", "slowness", "impedance"),
    [
        (1, 2.209652, 2.542701, 1.857810 - 1.534519j),
        (5, 0.258705, 1.201621, 1.069788 - 0.121831j),
        (20, 0.055036, 1.052147, 1.018424 - 0.021377j),
        (100, 0.010557, 1.010448, 1.003693 - 0.003809j),
    ],
)
def test_tube_losses_without_dimensions(ratio, attenuation, slowness, impedance):
    medium = Air(density=1.2046, speed=343.34, viscosity=1.8206e-5, gamma=1.4017, prandtl=0.8410**2)
    omega = 500.0
    radius = ratio * math.sqrt(medium.viscosity / (medium.density * omega))
    gamma, specific = propagation(math.pi * radius**2, 2 * math.pi * radius, medium, omega)
    assert gamma.real * medium.speed / omega == pytest.approx(attenuation, abs=1e-6)
    assert gamma.imag * medium.speed / omega == pytest.approx(slowness, rel=1e-6)
    assert abs(specific / RHO_C - impedance) < 2e-6


def test_circle_against_unscaled_bessel_functions():
    # F = 2 J1(z) / (z J0(z)), z = a sqrt(-j omega rho / mu). Zwikker and Kosten, published.
    radius, omega = 0.003, 2 * math.pi * 200
    z = radius * np.sqrt(-1j * omega * DRY.density / DRY.viscosity)
    wanted = 1j * omega * DRY.density / (math.pi * radius**2) / (1 - 2 * jv(1, z) / (z * jv(0, z)))
    series, _ = series_and_shunt(*circle(3), DRY, omega)
    assert abs(series / wanted - 1) < 1e-10


@pytest.mark.parametrize("sides_mm", [(20, 20), (3, 8), (12, 84), (0.5, 30)])
@pytest.mark.parametrize("frequency", [20.0, 300.0, 4000.0])
def test_rectangle_against_stinsons_double_series(sides_mm, frequency):
    # 1 - F = 4 q / (a b)^2 sum sum 1 / (alpha^2 beta^2 (alpha^2 + beta^2 + q)). Stinson 1991, published. Truncated
    # at 1500 x 1500 terms the double series itself is off by about 1e-6.
    a, b = (side * 0.5e-3 for side in sides_mm)
    q = 1j * 2 * math.pi * frequency * DRY.density / DRY.viscosity
    n = np.arange(1500) + 0.5
    alpha, beta = ((n * math.pi / side)[:, None] ** 2 for side in (a, b))
    held_back = 1 - 4 * q / (a * b) ** 2 * np.sum(1 / (alpha * beta.T * (alpha + beta.T + q)))
    series, _ = series_and_shunt(*rectangle(*sides_mm), DRY, 2 * math.pi * frequency)
    wanted = 1j * 2 * math.pi * frequency * DRY.density / (4 * a * b) / (1 - held_back)
    assert abs(series / wanted - 1) < 3e-5


def test_wide_duct_tends_to_kirchhoff():
    # (P / 2 S) sqrt(mu omega / 2 rho) (1 + (gamma - 1) / sqrt(Pr)) / c. from memory; 1 mm boundary layer, 0.5 m duct.
    area, perimeter = rectangle(500, 800)
    omega = 2 * math.pi * 1000
    gamma, _ = propagation(area, perimeter, DRY, omega)
    kirchhoff = perimeter / (2 * area) * math.sqrt(DRY.viscosity * omega / (2 * DRY.density))
    kirchhoff *= (1 + (DRY.gamma - 1) / math.sqrt(DRY.prandtl)) / DRY.speed
    assert gamma.real == pytest.approx(kirchhoff, rel=1e-3)


# Conical segment, S1 10 cm^2, S2 400 cm^2, L 0.5 m, no loss. M. L. Munjal, "Acoustics of Ducts and Mufflers" (from
# memory); digits recomputed and equal to a cascade of 20 000 cylinders.
@pytest.mark.parametrize(
    ("frequency", "a", "b", "c", "d"),
    [
        (100, -0.755447, 51829.1j, 3.13286e-5j, 0.825645),
        (300, -6.58294, 25258.5j, 3.24543e-5j, -0.0273816),
        (1000, -6.24529, 17737.7j, 1.15807e-5j, -0.127229),
    ],
)
def test_cone(frequency, a, b, c, d):
    horn = SegmentArrays(0.5, 10e-4, 400e-4, 0.1265, 0.8)
    port = abcd(horn, 2 * math.pi * frequency, LOSSLESS)
    for got, wanted in zip((port.a, port.b, port.c, port.d), (a, b, c, d), strict=True):
        assert abs(complex(got) / wanted - 1) < 1e-5


# Exponential segment, the same ends and length: m = ln(S2 / S1) / L, cut-off 201.5761 Hz. L. E. Kinsler et al.,
# "Fundamentals of Acoustics" (from memory); digits recomputed and equal to a cascade of 20 000 cylinders.
@pytest.mark.parametrize(
    ("frequency", "a", "b", "c", "d"),
    [
        (100, -1.00804, 88900.6j, 2.07888e-5j, 0.841374),
        (300, -7.95616, 79029.8j, 1.84806e-5j, 0.0578821),
        (1000, -6.24083, 29790.0j, 6.96621e-6j, -0.126982),
    ],
)
def test_exponential_horn(frequency, a, b, c, d):
    horn = SegmentArrays(0.5, 10e-4, 400e-4, 0.1265, 0.8, law="exponential")
    port = abcd(horn, 2 * math.pi * frequency, LOSSLESS)
    for got, wanted in zip((port.a, port.b, port.c, port.d), (a, b, c, d), strict=True):
        assert abs(complex(got) / wanted - 1) < 1e-5


# Infinite exponential horn over its throat: Z S1 / (rho c) = sqrt(1 - q^2) + j q, q = cut-off / f; below it
# j (q - sqrt(q^2 - 1)). Textbook formula from memory, digits recomputed.
@pytest.mark.parametrize(
    ("frequency", "wanted"),
    [(150, 0.446117j), (250, 0.591501 + 0.806304j), (403, 0.865916 + 0.500189j), (1000, 0.979473 + 0.201576j)],
)
def test_endless_exponential_horn(frequency, wanted):
    # One piece of it, ended by what the rest of it looks like: the same again, scaled by the area.
    rho_c = LOSSLESS.density * LOSSLESS.speed
    port = abcd(SegmentArrays(0.5, 10e-4, 400e-4, 0.1265, 0.8, law="exponential"), 2 * math.pi * frequency, LOSSLESS)
    load = wanted * rho_c / 400e-4
    throat = complex((port.a * load + port.b) / (port.c * load + port.d))
    assert abs(throat * 10e-4 / rho_c - wanted) < 2e-5


# Y. Miki, J. Acoust. Soc. Jpn (E) 11 (1990) 19, coefficients as found in an open environmental acoustics code
# (published), digits recomputed: flow resistivity, frequency, Zc / rho c, k / k0.
MIKI = [
    (2000, 100, 1.46422 - 0.71128j, 1.69608 - 1.01705j),
    (5000, 200, 1.53453 - 0.81901j, 1.79900 - 1.16743j),
    (5000, 500, 1.29956 - 0.45898j, 1.45354 - 0.66268j),
    (5000, 1000, 1.19330 - 0.29617j, 1.29552 - 0.43179j),
    (10000, 200, 1.82837 - 1.26922j, 2.22626 - 1.79171j),
    (10000, 500, 1.46422 - 0.71128j, 1.69608 - 1.01705j),
    (10000, 1000, 1.29956 - 0.45898j, 1.45354 - 0.66268j),
]


@pytest.mark.parametrize(("resistivity", "frequency", "impedance", "wavenumber"), MIKI)
def test_fibre(resistivity, frequency, impedance, wavenumber):
    zc, k = miki(2 * math.pi * frequency, resistivity, DRY)
    k0 = 2 * math.pi * frequency / DRY.speed
    assert abs(complex(zc) / RHO_C - impedance) < 1e-4
    assert abs(complex(k) / k0 - wavenumber) < 1e-4
    gamma, specific = propagation(1e-3, 0.13, DRY, 2 * math.pi * frequency, resistivity)
    assert complex(gamma) == pytest.approx(1j * complex(k))
    assert complex(specific) == pytest.approx(complex(zc))


@pytest.mark.parametrize(("frequency", "absorbed"), [(250, 0.1899), (500, 0.4832), (1000, 0.8822), (2000, 0.9815)])
def test_fibre_before_a_wall(frequency, absorbed):
    # 50 mm of 10 000 Pa s/m^2 on a rigid wall, normal incidence, Miki. recomputed. By the two-port A / C of a segment.
    area = 1e-3
    filled = SegmentArrays(0.05, area, area, 0.13, 0.13, flow_resistivity_pa_s_m2=10000)
    port = abcd(filled, 2 * math.pi * frequency, DRY)
    surface = complex(port.a / port.c) * area / RHO_C
    assert 1 - abs((surface - 1) / (surface + 1)) ** 2 == pytest.approx(absorbed, abs=1e-4)
