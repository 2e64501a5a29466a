"""Cone and mouth that feel each other, leaks and the lossy coil: what holds whatever the sizes are."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics.air import air
from kerfwave.acoustics.chamber import leak_resistance
from kerfwave.acoustics.circuit import solve, voice_coil_impedance
from kerfwave.acoustics.network import response, responses, solve_network
from kerfwave.acoustics.radiation import loads_of_two, mouth_impedance
from kerfwave.model.acoustic import DriverParameters, Mouth, Network, Segment

AIR = air()
LOSSLESS = replace(AIR, viscosity=0.0)
DRIVER = DriverParameters(105.0, 3.0, 0.7, 0.567568, 1.0e-3, 22e-4, 3.6, 1e-4, 1.578e-3, 1.456e-3, 0.347, 2.314)
FREQUENCY = np.geomspace(20, 2000, 30)
OMEGA = 2 * np.pi * FREQUENCY
ends = st.sampled_from(["flanged", "free", "near-wall"])
spaces = st.sampled_from(["half", "full"])
areas = st.floats(2e-4, 100e-4)
distances = st.floats(0.02, 1.0)


@settings(max_examples=150)
@given(areas, areas, distances, st.floats(0.005, 0.5), st.sampled_from([0.0, 0.01, 0.2, 0.9]), ends, spaces)
def test_two_sources_never_give_out_more_than_they_get(front, mouth, spacing, wall, cone_wall, end, space):
    own, mutual, other = loads_of_two(
        spacing, front, mouth, end, 2 * np.pi * np.geomspace(5, 20000, 60), AIR, space, wall, cone_wall
    )
    scale = own.real * other.real
    assert (own.real > 0).all() and (other.real > 0).all()
    assert (mutual.real**2 <= scale * (1 + 1e-9)).all()


@given(areas, areas, distances, spaces)
def test_two_sources_are_reciprocal(one, other, spacing, space):
    """Both flanged by the same wall, or both free: it does not matter which of them is called the cone."""
    end = "flanged" if space == "half" else "free"
    there = loads_of_two(spacing, one, other, end, OMEGA, AIR, space)
    back = loads_of_two(spacing, other, one, end, OMEGA, AIR, space)
    assert there[1] == pytest.approx(back[1])
    assert there[0].real == pytest.approx(back[2].real)


def guide(fibre=800.0):
    return (
        Segment("a", 0.3, 18e-4, 18e-4, 0.2, 0.2, 0.0, fibre),
        Segment("b", 0.4, 18e-4, 27e-4, 0.2, 0.24, -2.0, law="exponential"),
    )


def full(**changes):
    """A network with everything that there is."""
    driver = replace(DRIVER, l2_h=3e-4, r2_ohm=2.5)
    whole = Network(driver, 0.7e-3, 0.0, guide(), Mouth(27e-4, "flanged"), leak_pa_s_m3=2e6, spacing_m=0.15)
    return replace(whole, **changes)


@settings(max_examples=60)
@given(st.floats(0.05, 0.6), ends, spaces, st.sampled_from([0.0, 2e5, 3e7]), st.floats(0.03, 0.3))
def test_the_power_that_goes_in_is_the_power_that_comes_out(spacing, end, space, leak, wall):
    """Coil, suspension, leak and the air outside take all of it, each source working against the other as well."""
    net = full(guide=guide(0.0), mouth=Mouth(27e-4, end, wall), leak_pa_s_m3=leak, spacing_m=spacing)
    s = solve_network(net, FREQUENCY, LOSSLESS, 2.0, space)
    own, mutual, load = loads_of_two(spacing, DRIVER.sd_m2, 27e-4, end, OMEGA, LOSSLESS, space, wall)
    coil = voice_coil_impedance(net.driver, OMEGA)
    current = (2.0 - DRIVER.bl_tm * s.cone_velocity) / coil
    front, mouth = s.front_volume_velocity, s.mouth_volume_velocity
    given_in = (2.0 * np.conj(current)).real
    taken = np.abs(current) ** 2 * coil.real + np.abs(s.cone_velocity) ** 2 * DRIVER.rms_kg_s
    radiated = own.real * np.abs(front) ** 2 + load.real * np.abs(mouth) ** 2
    radiated += 2 * mutual.real * (front * np.conj(mouth)).real
    leaked = (s.chamber_pressure * np.conj(s.leak_volume_velocity)).real
    assert taken + radiated + leaked == pytest.approx(given_in, rel=1e-9)
    assert (radiated > 0).all()
    assert s.electrical_impedance == pytest.approx(2.0 / current, rel=1e-9)


@pytest.mark.parametrize("changes", [{}, {"spacing_m": 0.0}, {"mouth": Mouth(27e-4, "near-wall", 0.05)}])
def test_whole_circuit_against_one_matrix(changes):
    """The same physics as one linear system, unknowns current, velocity, chamber, guide, mouth."""
    from kerfwave.acoustics.segments import cascade

    net = full(**changes)
    s = solve_network(net, FREQUENCY, AIR, 2.0, "half")
    ports = cascade(net.guide, OMEGA, AIR)
    end, wall = net.mouth.end, net.mouth.wall_m
    if net.spacing_m:
        own, mutual, load = loads_of_two(0.15, DRIVER.sd_m2, 27e-4, end, OMEGA, AIR, "half", wall)
    else:
        own = mutual = np.zeros(len(OMEGA))
        load = mouth_impedance(27e-4, end, OMEGA, AIR, wall)
    compliance, sd, bl = 0.7e-3 / (AIR.density * AIR.speed**2), DRIVER.sd_m2, DRIVER.bl_tm
    for i, w in enumerate(OMEGA):
        coil = DRIVER.re_ohm + 1j * w * DRIVER.le_h + 1 / (1 / 2.5 + 1 / (1j * w * 3e-4))
        moving = DRIVER.rms_kg_s + 1j * w * DRIVER.mms_kg + 1 / (1j * w * DRIVER.cms_m_n)
        rows = [
            [coil, bl, 0, 0, 0, 0],  # E = Z i + Bl v
            [-bl, moving + sd**2 * own[i], -sd, 0, sd * mutual[i], 0],  # Bl i = Z v + Sd (p in front - p behind)
            [0, sd, 1j * w * compliance + 1 / 2e6, 1, 0, 0],  # nothing but the cone drives the chamber
            [0, 0, 1, 0, -ports.b[i], -ports.a[i]],
            [0, 0, 0, 1, -ports.d[i], -ports.c[i]],
            [0, sd * mutual[i], 0, 0, load[i], -1],  # at the mouth: p = Z U + Zm Sd v
        ]
        current, velocity, pressure, _, flow, _ = np.linalg.solve(np.array(rows, complex), [2.0, 0, 0, 0, 0, 0])
        assert s.cone_velocity[i] == pytest.approx(velocity, rel=1e-9)
        assert s.chamber_pressure[i] == pytest.approx(pressure, rel=1e-9)
        assert s.mouth_volume_velocity[i] == pytest.approx(flow, rel=1e-9)
        assert s.leak_volume_velocity[i] == pytest.approx(pressure / 2e6, rel=1e-9)
        assert s.electrical_impedance[i] == pytest.approx(2.0 / current, rel=1e-9)


def test_a_batch_of_all_kinds_is_its_members():
    kinds = [
        full(),
        full(leak_pa_s_m3=0.0, spacing_m=0.3),
        full(spacing_m=0.0),
        full(mouth=Mouth(27e-4, "near-wall", 0.05)),
        full(mouth=Mouth(20e-4, "near-wall", 0.08), spacing_m=0.0),
        full(guide=(replace(guide()[1], law="cone"), guide()[1])),
        full(guide=(), mouth=None),
        Network(DRIVER, 2e-3, leak_pa_s_m3=5e6),
        Network(DRIVER, 2e-3),
    ]
    grid = tuple(FREQUENCY.tolist())
    together = responses(kinds, grid, AIR, 2.0, 1.0, "full")
    for row, network in enumerate(kinds):
        alone = response(network, grid, AIR, 2.0, 1.0, "full")
        assert together.spl_db[row] == pytest.approx(np.array(alone.spl_db), abs=1e-8)
        assert together.excursion_peak_mm[row] == pytest.approx(np.array(alone.excursion_peak_mm), rel=1e-9)


def test_what_is_far_away_is_not_felt():
    level = {
        d: np.array(response(full(spacing_m=d), tuple(FREQUENCY), AIR, 2.0, 1.0, "half").spl_db) for d in (50, 100)
    }
    assert np.abs(level[50] - level[100]).max() < 0.02


def test_mutual_loading_moves_little_and_least_where_the_guide_is_tuned():
    """What it is worth: tenths of a decibel in a small body, for the mouth's own load is several times as large."""
    with_it = np.array(response(full(), tuple(FREQUENCY), AIR, 2.0, 1.0, "half").spl_db)
    without = np.array(response(full(spacing_m=0.0), tuple(FREQUENCY), AIR, 2.0, 1.0, "half").spl_db)
    assert 0.01 < np.abs(with_it - without).max() < 1.0


def test_a_tight_chamber_is_the_limit_of_small_leaks():
    quiet = [
        np.array(response(full(leak_pa_s_m3=r), tuple(FREQUENCY), AIR, 2.0, 1.0, "half").spl_db) for r in (1e15, 0.0)
    ]
    assert quiet[0] == pytest.approx(quiet[1], abs=1e-6)


def test_a_leaking_closed_box_has_no_bass():
    """Leak and front are equal and opposite once the leak is wide open: what is left falls with the leak."""
    open_box, tight = (Network(DRIVER, 2e-3, leak_pa_s_m3=r) for r in (1e3, 0.0))
    levels = [response(n, (30.0,), AIR, 2.0, 1.0, "half").spl_db[0] for n in (open_box, tight)]
    assert levels[0] < levels[1] - 20


def test_a_wall_beside_the_mouth_lowers_the_tuning():
    def input_length(**end):
        return mouth_impedance(27e-4, omega=np.array([300.0]), air=AIR, **end).imag[0]

    flanged = input_length(end="flanged")
    near, far = (input_length(end="near-wall", wall_m=w) for w in (0.04, 0.4))
    assert near > far > flanged
    # density / (2 pi 2 h), the mass of a small source at twice the distance.
    assert near - flanged == pytest.approx(300 * AIR.density / (4 * np.pi * 0.04), rel=0.05)


def test_resistance_doubles_close_to_a_wall():
    omega = np.array([200.0])
    flanged = mouth_impedance(5e-4, "flanged", omega, AIR).real
    assert mouth_impedance(5e-4, "near-wall", omega, AIR, 0.02).real == pytest.approx(2 * flanged, rel=1e-3)


def test_small_leaks_by_their_quality():
    # QL = omega_B C_AB R_L, so R_L = 7 / (2 pi 50 Hz x 1 L / (density c^2)). Small 1973, by hand.
    wanted = 7 * AIR.density * AIR.speed**2 / (2 * np.pi * 50 * 1e-3)
    assert leak_resistance(7.0, 50.0, 1e-3, AIR) == pytest.approx(wanted)
    with pytest.raises(ValueError, match="above 0"):
        leak_resistance(0.0, 50.0, 1e-3, AIR)


def test_the_lossy_pair_is_an_inductor_at_first_and_a_resistor_in_the_end():
    low, high = 2 * np.pi * np.array([1.0]), 2 * np.pi * np.array([1e6])
    coil = replace(DRIVER, le_h=0.0, l2_h=3e-4, r2_ohm=2.5)
    assert voice_coil_impedance(coil, low) == pytest.approx(coil.re_ohm + 1j * low * 3e-4, rel=1e-5)
    assert voice_coil_impedance(coil, high) == pytest.approx(coil.re_ohm + 2.5, rel=1e-2)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"space": "quarter", "spacing_m": 0.2}, "'half' or 'full'"),
        ({"mouth_end": "near-wall"}, "how near"),
        ({"mouth_end": "flared"}, "'flanged', 'free' or 'near-wall'"),
    ],
)
def test_refusals(change, sentence):
    asked = {"mouth_end": "flanged", "omega": OMEGA, "air": AIR, "volts": 2.0} | change
    with pytest.raises(ValueError, match=sentence):
        solve(DRIVER, 1e-3, 0.0, guide(), 27e-4, **asked)
