"""The sound field against closed forms: ducts, rooms with straight and round walls, corner and step.

Everything lies askew to the grid or has round walls, so that nearly every wall cuts cells. Air without loss.
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from kerfwave.acoustics import field
from kerfwave.acoustics.field import Medium, Patch, Space, Strip
from kerfwave.model.acoustic import Air

AIR = Air(density=1.2046, speed=343.34, viscosity=0.0, gamma=1.4020, prandtl=0.7080)
HEIGHT, TURN = 0.08, 0.37
SHUT = 1e12 + 0j  # Pa s/m^3 at a mouth that is no mouth
SHORT = 1e-3 + 0j  # and at one where p = 0


def at(x, y):
    return (x * math.cos(TURN) - y * math.sin(TURN), x * math.sin(TURN) + y * math.cos(TURN))


def strip(a, b):
    return (Strip(at(*a), at(*b), HEIGHT),)


def space(shape, driver, mouth):
    turned = affinity.rotate(shape, TURN, origin=(0, 0), use_radians=True)
    return Space(turned, (Patch(turned, HEIGHT, 0),), (Medium(),), strip(*mouth), strip(*driver))


def solved(where, low, high, z, cell_m=0.004):
    f = np.linspace(low, high, 12)
    return field.solve(where, AIR, f, np.full(len(f), z), cell_m=cell_m)


def test_straight_duct_open_at_its_end():
    # Z = j (rho c / S) tan kL; e.g. L. E. Kinsler et al., "Fundamentals of Acoustics". published formula, recomputed
    length, width = 0.8, 0.03
    duct = solved(space(box(0, 0, length, width), ((0, 0), (0, width)), ((length, 0), (length, width))), 30, 520, SHORT)
    f = np.linspace(40, 500, 93)
    omega = 2 * np.pi * f
    z = np.full(len(f), SHORT)
    own = AIR.density * AIR.speed / (width * HEIGHT)
    line = 1j * own * np.tan(omega / AIR.speed * length)
    assert duct.impedance(omega, z) == pytest.approx(line, rel=2e-5, abs=1e-5 * own)
    # The mouth's flow over the driver's is 1 / cos kL.
    assert 1 / duct.transfer(omega, z) == pytest.approx(np.cos(omega / AIR.speed * length), abs=1e-5)


def peak(found, near):
    def quiet(f):
        return -abs(found.impedance([2 * np.pi * f], np.array([SHUT]))[0])

    return minimize_scalar(quiet, bounds=(0.995 * near, 1.005 * near), method="bounded", options={"xatol": 1e-7}).x


@pytest.mark.parametrize(("m", "n"), [(1, 0), (0, 1), (1, 1), (2, 0)])
def test_rectangular_room(m, n):
    # f = c / 2 sqrt((m / a)^2 + (n / b)^2), Rayleigh, "The Theory of Sound" II, 267. published formula, recomputed
    a, b = 0.21, 0.13
    wanted = AIR.speed / 2 * math.hypot(m / a, n / b)
    corner = ((0, 0), (0, 0.02))
    room = solved(space(box(0, 0, a, b), corner, ((a, 0), (a, 0.02))), 0.9 * wanted, 1.1 * wanted, SHUT, cell_m=0.008)
    assert peak(room, wanted) == pytest.approx(wanted, rel=2e-5)


def test_round_room():
    # f = 1.84118 c / (2 pi a): the first zero of J1' (Rayleigh II, 331). published value
    radius = 0.07
    wanted = 1.841183781 * AIR.speed / (2 * math.pi * radius)
    shape = Point(0, 0).buffer(radius, quad_segs=256)
    flat = radius * math.cos(0.05)
    edge = ((flat, -radius * math.sin(0.05)), (flat, radius * math.sin(0.05)))
    far = ((-flat, edge[0][1]), (-flat, edge[1][1]))
    room = solved(space(shape, edge, far), 0.9 * wanted, 1.1 * wanted, SHUT, cell_m=0.01)
    assert peak(room, wanted) == pytest.approx(wanted, rel=1e-4)


def inertance(where, cell_m):
    """Return the inertance between driver and mouth at so low a frequency that the air does not yield; kg/m^4."""
    f = np.array([0.01])
    found = field.solve(where, AIR, f, np.array([SHORT]), cell_m=cell_m)
    return found.impedance(2 * np.pi * f, np.array([SHORT]))[0].imag / (2 * np.pi * f[0])


def test_sharp_corner():
    # A square corner counts as 1 - (2 / pi) ln 2 = 0.5587 squares. from memory (sheet resistors); the form is exact.
    width, leg = 0.03, 0.06
    shape = Polygon(
        [(0, 0), (leg + width, 0), (leg + width, leg + width), (leg, leg + width), (leg, width), (0, width)]
    )
    where = space(shape, ((0, 0), (0, width)), ((leg, leg + width), (leg + width, leg + width)))
    squares = inertance(where, 0.002) * HEIGHT / AIR.density
    assert squares - 2 * leg / width == pytest.approx(1 - 2 / math.pi * math.log(2), abs=0.01)


def test_plane_step():
    # N. Marcuvitz, "Waveguide Handbook" (1951), static term, one-sided: 0.24983 of the narrow width for 1 : 2.
    # from memory; recomputed
    narrow, wide, leg = 0.02, 0.04, 0.08
    shape = box(0, 0, leg, narrow).union(box(leg, 0, 2 * leg, wide))
    where = space(shape, ((0, 0), (0, narrow)), ((2 * leg, 0), (2 * leg, wide)))
    squares = inertance(where, 0.002) * HEIGHT / AIR.density
    assert squares - leg / narrow - leg / wide == pytest.approx(0.24983, abs=0.005)


def test_chamber_and_neck():
    # Two ducts of widths 5 : 1 with a centred step between (Marcuvitz, as above): the mouth lags the driver by a
    # quarter period where the D of lines and lump vanishes. recomputed
    deep, wide, long, narrow = 0.12, 0.10, 0.06, 0.02
    chamber = box(0, 0, deep, wide)
    neck = box(deep, (wide - narrow) / 2, deep + long, (wide + narrow) / 2)
    mouth = ((deep + long, (wide - narrow) / 2), (deep + long, (wide + narrow) / 2))
    found = solved(space(chamber.union(neck), ((0, 0), (0, wide)), mouth), 20, 400, SHORT, cell_m=0.005)
    f0 = brentq(lambda f: (1 / found.transfer([2 * np.pi * f], np.array([SHORT]))[0]).real, 150, 390)
    a = narrow / wide
    log = math.log((1 - a**2) / (4 * a)) + (a + 1 / a) / 2 * math.log((1 + a) / (1 - a))
    step = AIR.density / (math.pi * HEIGHT) * log

    def d(f):
        k, own = 2 * math.pi * f / AIR.speed, AIR.density * AIR.speed
        s1, s2 = wide * HEIGHT, narrow * HEIGHT
        pressure = 1j * own / s2 * math.sin(k * long) + 2j * math.pi * f * step * math.cos(k * long)
        return (1j * s1 / own * math.sin(k * deep) * pressure + math.cos(k * deep) * math.cos(k * long)).real

    assert f0 == pytest.approx(brentq(d, 150, 390), rel=3e-3)
