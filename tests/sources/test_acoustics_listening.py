"""Cone and mouth of a whole body at the listening place, and a bass control, by independent means.

Sources: the boundary integral equation of a rigid box beside a wall (see `rigid_body`, recomputed); the piston's beam
as an integral over its face (Rayleigh; recomputed); scipy's bilinear transform of the low shelf's prototype in R.
Bristow-Johnson, "Audio EQ Cookbook", W3C Working Group Note (2021), published; levels of that shelf at 20, 100 Hz
recomputed outside this project.
"""

import numpy as np
import pytest
from scipy.signal import bilinear, freqz

from kerfwave.acoustics.air import air
from kerfwave.acoustics.circuit import Solution
from kerfwave.acoustics.diffraction import piston_directivity
from kerfwave.acoustics.limits import low_shelf
from kerfwave.acoustics.listening import Scene, Source, pressure
from rigid_body import quarter_box, surface_pressure

WIDTH, HEIGHT, DEPTH, RADIUS, LISTENER = 0.186, 0.089, 0.212, 0.0265, 1.0
HZ = np.array([60, 100, 160, 210, 300, 360, 400, 500, 600, 700, 800])


def solution(front, mouth):
    zero = np.zeros(len(HZ), complex)
    return Solution(2 * np.pi * HZ, air().density, zero, front, mouth, zero, zero, zero, zero)


@pytest.mark.parametrize("wall", [True, False])
def test_a_body_with_its_mouth_in_a_side_face(wall):
    """Cone in front, mouth at the side close to the back, ever later in phase: to 0.3 of what one alone gives in the
    open (the two cancel at places, where decibels would say nothing)."""
    medium = air()
    panels = quarter_box(WIDTH, HEIGHT, DEPTH, 0.018, back=not wall)
    places, normals, areas = panels
    cone = (normals[:, 2] > 0.5) & (np.hypot(places[:, 0], places[:, 1]) < RADIUS)
    mouth = (normals[:, 0] > 0.5) & (places[:, 1] < 0.038) & (abs(places[:, 2] + 0.19) < 0.014)
    centre = places[mouth].mean(axis=0)
    front = np.full(len(HZ), 1e-4, complex)
    from_mouth = 1e-4 * np.exp(-1j * HZ / 200.0)
    total = []
    for f, one, two in zip(HZ, front, from_mouth, strict=True):
        k = 2 * np.pi * f / medium.speed
        field = surface_pressure(panels, k, LISTENER, DEPTH if wall else None)
        found = one * field[cone].mean() + two * field[mouth].mean()
        total.append(2j * np.pi * f * medium.density / (4 * np.pi) * found)
    rim = tuple((u * WIDTH / 2, v * HEIGHT / 2) for u, v in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    scene = Scene(
        Source((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), np.pi * RADIUS**2),
        Source((WIDTH / 2, 0.0, float(centre[2])), (1.0, 0.0, 0.0), areas[mouth].sum() * 2),
        rim,
        (0.0, 0.0, LISTENER),
        DEPTH if wall else None,
    )
    ours = pressure(scene, solution(front, from_mouth), medium)
    alone = 2 * np.pi * HZ * medium.density / (4 * np.pi * LISTENER) * 1e-4
    off = (np.abs(ours) - np.abs(total)) / alone
    assert np.abs(off).max() < 0.3, off.round(2)


@pytest.mark.parametrize("angle_deg", [10, 35, 60, 85])
def test_the_beam_of_a_piston(angle_deg):
    """The mean of e^{jk y sin} over a disc, far away; Rayleigh's integral."""
    area, k = np.pi * 0.04**2, np.array([5.0, 40.0, 90.0])
    y = np.linspace(-0.04, 0.04, 20001)
    chord = np.sqrt(0.04**2 - y**2)
    wanted = [(chord * np.exp(1j * one * y * np.sin(np.radians(angle_deg)))).sum().real / chord.sum() for one in k]
    assert piston_directivity(area, np.cos(np.radians(angle_deg)), k) == pytest.approx(wanted, abs=1e-4)


def test_a_bass_control_is_the_cookbooks_low_shelf():
    """A (s^2 + sqrt(A)/Q s + A) / (A s^2 + sqrt(A)/Q s + 1) with Q = 1 / sqrt 2, warped at its corner; 6 dB, 100 Hz."""
    a, rate = 10 ** (6 / 40), 48000.0
    warped = 2 * rate * np.tan(np.pi * 100 / rate)
    middle = np.sqrt(2 * a)
    above = [a / warped**2, a * middle / warped, a * a]
    below = [a / warped**2, middle / warped, 1.0]
    f = np.array([20.0, 50.0, 100.0, 200.0, 1000.0])
    _, gain = freqz(*bilinear(above, below, rate), worN=f, fs=rate)
    assert low_shelf(f) == pytest.approx(np.abs(gain), rel=1e-6)
    level = 20 * np.log10(low_shelf((20.0, 100.0)))
    assert level == pytest.approx([5.98964, 3.0], abs=1e-4)
