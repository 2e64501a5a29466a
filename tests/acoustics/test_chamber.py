"""The chamber as a duct: what holds wherever driver and guide meet it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.acoustics.air import air
from kerfwave.acoustics.bends import corner_inertance, plane_step_inertance
from kerfwave.acoustics.chamber import chamber_admittance, chamber_duct, rear
from kerfwave.acoustics.duct import propagation
from kerfwave.acoustics.network import responses, solve_network
from kerfwave.model.acoustic import ChamberDuct, ChamberShape, DriverParameters, Mouth, Network, Segment

AIR = air()
DRIVER = DriverParameters(105.0, 3.0, 0.7, 0.567568, 1.0e-3, 22e-4, 3.6, 1e-4, 1.578e-3, 1.456e-3, 0.347, 2.314)
FREQUENCY = np.geomspace(20, 2000, 40)
OMEGA = 2 * np.pi * FREQUENCY
GUIDE = (Segment("a", 0.3, 15e-4, 15e-4, 0.19, 0.19, 0.0, 800.0), Segment("b", 0.5, 15e-4, 11e-4, 0.19, 0.18, -3.0))
FIBRES = st.sampled_from([0.0, 1000.0, 4000.0])


@st.composite
def ducts(draw):
    length = draw(st.floats(0.05, 0.3))
    width, height = draw(st.floats(0.02, 0.08)), draw(st.floats(0.03, 0.1))
    at = [draw(st.floats(0.0, 1.0)) * length for _ in range(2)]
    return ChamberDuct(length, width * height, 2 * (width + height), *at, draw(st.floats(0.0, 20.0)))


def network(duct, fibre=0.0, odd=0.98, **more):
    return Network(
        DRIVER, odd * duct.area_m2 * duct.length_m, fibre, GUIDE, Mouth(11e-4, "flanged"), chamber_duct=duct, **more
    )


@given(ducts(), FIBRES)
def test_it_gives_out_no_more_than_it_is_given(duct, fibre):
    """Every rear admittance has a positive real part, and the way between driver and guide is reciprocal."""
    seen = rear(0.97 * duct.area_m2 * duct.length_m, fibre, 5e6, duct, OMEGA, AIR)
    one, zero = np.ones_like(OMEGA, complex), np.zeros_like(OMEGA, complex)
    (a, c), (b, d) = seen.from_guide(one, zero), seen.from_guide(zero, one)
    assert a * d - b * c == pytest.approx(one, rel=1e-6)
    for load in (1e5 + 1e6j, 1e7 - 1e7j):
        pressure, flow = seen.from_guide(load * one, one)
        assert ((seen.beside + flow / pressure).real > 0).all()
    assert (seen.beside.real >= 0).all()


@given(ducts(), FIBRES)
def test_low_down_it_is_a_spring(duct, fibre):
    """Far below its first mode a duct of any shape is its volume, where fibre does not hold the air back."""
    volume = 0.9 * duct.area_m2 * duct.length_m
    omega = np.array([2 * np.pi * 0.02])
    one, zero = np.ones(1, complex), np.zeros(1, complex)
    air_of_no_walls = replace(AIR, viscosity=0.0)
    seen = rear(volume, fibre, 0.0, duct, omega, air_of_no_walls)
    pressure, flow = seen.from_guide(one, zero)
    assert seen.beside + flow / pressure == pytest.approx(
        chamber_admittance(volume, fibre, omega, air_of_no_walls), rel=2e-3
    )


@given(ducts(), FIBRES)
def test_it_does_not_matter_from_which_end_places_are_counted(duct, fibre):
    turned = replace(duct, driver_m=duct.length_m - duct.driver_m, throat_m=duct.length_m - duct.throat_m)
    one, other = (solve_network(network(d, fibre), FREQUENCY, AIR, 2.0) for d in (duct, turned))
    assert other.mouth_volume_velocity == pytest.approx(one.mouth_volume_velocity, rel=1e-6)


def test_a_stub_of_a_quarter_wave_closes_the_guide():
    """A driver at one end beside the guide's inlet, and nothing but a stub behind: no sound goes where the stub is a
    quarter of the wave. This is what one spring cannot know."""
    duct = ChamberDuct(0.175, 27e-4, 0.209, 0.0, 0.0)
    f = np.linspace(300, 700, 401)
    out = np.abs(solve_network(network(duct, odd=1.0), f, AIR, 2.0).mouth_volume_velocity)
    spring = np.abs(
        solve_network(replace(network(duct, odd=1.0), chamber_duct=None), f, AIR, 2.0).mouth_volume_velocity
    )
    notch = f[int(np.argmin(out / spring))]
    gamma, _ = propagation(duct.area_m2, duct.perimeter_m, AIR, 2 * np.pi * f)
    assert notch == pytest.approx(f[int(np.argmin(np.abs(gamma.imag * duct.length_m - np.pi / 2)))], abs=2.0)
    assert (out / spring).min() < 0.02


@pytest.mark.parametrize("more", [{}, {"leak_pa_s_m3": 2e6}, {"spacing_m": 0.12}])
def test_many_at_once_are_each_alone(more):
    bodies = [
        network(ChamberDuct(0.1 + 0.02 * i, 25e-4 + 2e-4 * i, 0.2, 0.05, 0.01 * i, 2.0 * i), fibre, **more)
        for i in range(4)
        for fibre in (0.0, 1000.0)
    ]
    bodies += [replace(bodies[0], chamber_duct=None), *bodies[:2]]
    f = tuple(FREQUENCY.tolist())
    together = responses(bodies, f, AIR, 2.0, 1.0, "half")
    for row, one in enumerate(bodies):
        alone = responses([one], f, AIR, 2.0, 1.0, "half")
        assert together.spl_db[row] == pytest.approx(alone.spl_db[0], abs=1e-9)
        assert together.excursion_peak_mm[row] == pytest.approx(alone.excursion_peak_mm[0], rel=1e-9)


def test_leaks_are_at_the_driver():
    seen = rear(1e-3, 0.0, 4e6, ChamberDuct(0.2, 50e-4, 0.3, 0.0, 0.2), OMEGA, AIR)
    tight = rear(1e-3, 0.0, 0.0, ChamberDuct(0.2, 50e-4, 0.3, 0.0, 0.2), OMEGA, AIR)
    assert seen.beside - tight.beside == pytest.approx(np.full(len(OMEGA), 2.5e-7), rel=1e-6)


def test_shapes_become_ducts():
    shape = ChamberShape(0.17, 0.05, 0.075, 0.085, 0.016, sideways=True)
    duct = chamber_duct(shape, 0.022, AIR)
    assert (duct.area_m2, duct.perimeter_m) == (pytest.approx(0.05 * 0.075), pytest.approx(0.25))
    corner = corner_inertance(0.022, 0.05, 0.075, AIR) - AIR.density * 0.011 / (0.05 * 0.075)
    assert duct.step_kg_m4 == pytest.approx(corner)
    end = chamber_duct(replace(shape, sideways=False), 0.022, AIR)
    assert end.step_kg_m4 == pytest.approx(plane_step_inertance(0.022, 0.05, 0.075, AIR))
    # An inlet as wide as the chamber goes straight on.
    assert chamber_duct(replace(shape, sideways=False), 0.06, AIR).step_kg_m4 == 0.0


@pytest.mark.parametrize("wrong", [-1.0, float("nan")])
def test_fibre_of_negative_resistivity_is_refused(wrong):
    duct = ChamberDuct(0.175, 27e-4, 0.209, 0.0, 0.16)
    guide = (replace(GUIDE[0], flow_resistivity_pa_s_m2=wrong), GUIDE[1])
    for one in (network(duct, wrong), replace(network(duct), guide=guide), Network(DRIVER, 1e-3, wrong)):
        with pytest.raises(ValueError, match=r"a flow resistivity is (-1|nan) Pa s/m\^2; it must be 0"):
            solve_network(one, FREQUENCY, AIR, 2.0)
