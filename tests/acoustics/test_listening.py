from dataclasses import replace

import numpy as np
import pytest

from kerfwave.acoustics.diffraction import piston_directivity
from kerfwave.acoustics.listening import Scene, Source, baffle_step, laid_over, pressure, transfer
from kerfwave.acoustics.network import solve_network
from kerfwave.model.acoustic import Mouth, Network, Segment

F = np.geomspace(20, 2000, 60)
RIM = ((-0.09, -0.045), (0.09, -0.045), (0.09, 0.045), (-0.09, 0.045))
CONE = Source((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 22e-4)
SIDE = Source((0.09, 0.0, -0.1), (1.0, 0.0, 0.0), 14e-4)


def scene(mouth=None, away=1.0, wall=None, rim=RIM):
    return Scene(CONE, mouth, rim, (0.0, 0.0, away), wall)


@pytest.fixture(scope="module")
def network(driver):
    guide = (Segment("guide", 0.9, 14e-4, 14e-4, 0.18, 0.18),)
    return Network(driver, 0.6e-3, 0.0, guide, Mouth(14e-4, "flanged"))


@pytest.mark.parametrize(("space", "wall"), [("full", None), ("half", 0.0)])
def test_far_away_and_low_down_it_is_the_plain_sum(network, medium, space, wall):
    """With the wall at the front itself: then there is nothing between front and wall to interfere."""
    low = F[F < 60]
    solution = solve_network(network, low, medium, 2.0, space)
    tiny = tuple((u / 100, v / 100) for u, v in RIM)
    at_one_place = scene(Source((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 14e-4), 5.0, wall, tiny)
    heard = pressure(at_one_place, solution, medium)
    assert np.abs(heard / solution.pressure(5.0, space) - 1).max() < 0.01


def test_a_longer_way_is_later_and_quieter(medium):
    near, far = (transfer(scene(SIDE, away), SIDE, 2 * np.pi * F, medium) for away in (1.0, 2.0))
    way = np.hypot(0.09, 1.1), np.hypot(0.09, 2.1)
    assert np.abs(near / far) == pytest.approx(way[1] / way[0], rel=1e-3)
    lag = 2 * np.pi * F / medium.speed * (way[0] - 1.0)
    assert np.angle(near / (1j * np.exp(-1j * lag))) == pytest.approx(0.0, abs=1e-9)


def test_a_wall_doubles_what_lies_on_it(medium):
    on_it = replace(SIDE, centre_m=(0.09, 0.0, -0.21))
    free, hung = (transfer(scene(on_it, 3.0, wall), on_it, 2 * np.pi * F, medium) for wall in (None, 0.21))
    assert np.abs(hung / free) == pytest.approx(2.0, rel=1e-6)


def test_the_wall_behind_a_front_makes_a_dip_near_a_quarter_wave(medium):
    """The way there and back is half a wave; the front's own size makes it somewhat longer than twice the depth."""
    level = np.abs(transfer(scene(wall=0.212), CONE, 2 * np.pi * F, medium)) / F
    dip = F[np.argmin(level[F < 700])]
    assert 0.65 * medium.speed / (4 * 0.212) < dip < medium.speed / (4 * 0.212)


def test_the_baffle_step_goes_from_minus_six_up(medium):
    step = baffle_step(scene(), 2 * np.pi * F, medium)
    assert step[0] == pytest.approx(-6.0, abs=0.05)
    assert -1.0 < step[-1] < 3.6
    assert (np.diff(step[F < 1500]) > 0).all()


@pytest.mark.parametrize("stiffer", [1, 400])
def test_a_measured_cone_counts_above_ka_one_and_only_its_shape(driver, medium, stiffer):
    """The model's own response laid over itself changes nothing; a bump shows where it is, whole above ka = 1.

    Also of a cone that its suspension holds up to 2.1 kHz.
    """
    driver = replace(driver, cms_m_n=driver.cms_m_n / stiffer)
    f = np.geomspace(100, 20000, 200)
    grid = np.geomspace(50, 20000, 2000)
    omega = 2 * np.pi * grid
    coil = driver.re_ohm + 1j * omega * driver.le_h
    moving = driver.rms_kg_s + 1j * (omega * driver.mms_kg - 1 / (omega * driver.cms_m_n))
    own = 20 * np.log10(np.abs(omega * driver.bl_tm / (coil * moving + driver.bl_tm**2)))
    gain, (low, high) = laid_over(driver, grid, own + 37.0, f, medium)
    assert 20 * np.log10(gain) == pytest.approx(0.0, abs=0.01)
    assert high == pytest.approx(2 * low)
    assert 2 * np.pi * high / medium.speed * np.sqrt(driver.sd_m2 / np.pi) == pytest.approx(1.0)
    bump = np.where(grid > 4000, 3.0, 0.0)
    gain, _ = laid_over(driver, grid, own + bump, f, medium)
    assert 20 * np.log10(gain[f > 4300]) == pytest.approx(3.0, abs=0.01)
    assert gain[f < low] == pytest.approx(1.0)
    # What is equal in the octave from ka = 1/2 to 1 is equal above, however it is below.
    gain, _ = laid_over(driver, grid, own - np.where(grid < 0.95 * low, 5.0, 0.0), f, medium)
    assert gain[f > low] == pytest.approx(1.0, abs=1e-3)


def test_what_leaks_is_heard(network, medium):
    leaky = replace(network, leak_pa_s_m3=2e5)
    solution = solve_network(leaky, F, medium, 2.0)
    silent = replace(solution, leak_volume_velocity=np.zeros_like(solution.leak_volume_velocity))
    leak = pressure(scene(), solution, medium) - pressure(scene(), silent, medium)
    beside_the_cone = transfer(scene(), CONE, solution.omega, medium)
    assert leak == pytest.approx(beside_the_cone * solution.leak_volume_velocity, rel=1e-9)
    assert np.abs(leak).max() > 1e-4


def test_a_front_flush_with_the_wall_has_no_edges(medium):
    """A round piston in an endless wall (Rayleigh): j omega density / (2 pi r), and its beam off the axis."""
    omega = 2 * np.pi * np.array([100.0, 2000.0, 6000.0])
    aside = replace(scene(wall=0.0), listener_m=(0.6, 0.0, 0.8))
    beam = piston_directivity(CONE.area_m2, 0.8, omega / medium.speed)
    assert beam[-1] < 0.8
    wanted = 1j * omega * medium.density / (2 * np.pi * 1.0) * beam
    assert transfer(aside, CONE, omega, medium) == pytest.approx(wanted, rel=1e-9)
    assert baffle_step(aside, omega, medium) == pytest.approx(np.zeros(3))
