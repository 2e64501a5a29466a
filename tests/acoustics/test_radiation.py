import numpy as np
import pytest

from kerfwave.acoustics.air import air
from kerfwave.acoustics.radiation import END_OF_FIT, loads_of_two, mouth_impedance, piston_impedance

AIR = air()


@pytest.mark.parametrize("end", ["flanged", "free"])
def test_the_air_outside_only_takes_and_is_a_mass(end):
    ka = np.linspace(1e-3, 8, 400)
    radius = 0.03
    z = mouth_impedance(np.pi * radius**2, end, ka / radius * AIR.speed, AIR)
    assert (z.real > 0).all() and (z.imag > 0).all()


@pytest.mark.parametrize("end", ["flanged", "free"])
def test_beyond_the_fit_it_stays_near_the_plane_wave(end):
    radius = 0.03
    area = np.pi * radius**2
    omega = np.array([END_OF_FIT, 4.0, 20.0]) / radius * AIR.speed
    z = mouth_impedance(area, end, omega, AIR) * area / (AIR.density * AIR.speed)
    assert z[0] == pytest.approx(z[1]) == pytest.approx(z[2])
    assert abs(z[0] - 1) < 0.25


def test_a_flange_adds_mass_and_doubles_the_loss():
    omega = np.array([2 * np.pi * 50])
    flanged, free = (mouth_impedance(2e-3, end, omega, AIR)[0] for end in ("flanged", "free"))
    assert flanged.imag > free.imag
    assert flanged.real / free.real == pytest.approx(2, rel=0.02)


def test_unknown_end():
    with pytest.raises(ValueError, match="'flanged', 'free' or 'near-wall'"):
        mouth_impedance(1e-3, "flared", np.array([100.0]), AIR)


def test_piston_at_rest_and_at_high_frequency():
    assert piston_impedance(0.0) == 0
    assert piston_impedance(200.0) == pytest.approx(1, abs=5e-3)


def test_a_cone_whose_wall_nobody_gives_is_as_far_from_it_as_the_mouth():
    omega = 2 * np.pi * np.geomspace(30, 1000, 7)
    told = (0.2, 22e-4, 14e-4, "near-wall", omega, AIR, "half", 0.05)
    as_far = loads_of_two(*told, 0.05)
    for given in (loads_of_two(*told), loads_of_two(*told, 0.0)):
        assert np.array(given) == pytest.approx(np.array(as_far))
    assert np.array(loads_of_two(*told, 0.1))[:2] != pytest.approx(np.array(as_far)[:2], rel=0.01)
