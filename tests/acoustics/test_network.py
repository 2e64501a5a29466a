import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics.air import air
from kerfwave.acoustics.network import input_impedance, response, responses, solve, solve_network
from kerfwave.model.acoustic import DriverParameters, Mouth, Network, Segment

AIR = air()
DRIVER = DriverParameters(105.0, 3.0, 0.7, 0.567568, 1.0e-3, 22e-4, 3.6, 1e-4, 1.578e-3, 1.456e-3, 0.347, 2.314)
FREQUENCY = tuple(np.geomspace(20, 2000, 40).tolist())
OMEGA = 2 * np.pi * np.array(FREQUENCY)


ANY_FIBRE = st.sampled_from([0.0, 500.0, 2500.0])


@st.composite
def networks(draw, fibre=ANY_FIBRE):
    guide = []
    width, height = draw(st.floats(0.01, 0.06)), draw(st.floats(0.03, 0.12))
    for i in range(draw(st.integers(0, 5))):
        grow = draw(st.sampled_from([1.0, 1.0, 0.6, 1.7]))
        inside = (width * height, 2 * (width + height))
        width *= grow
        outside = (width * height, 2 * (width + height))
        area, perimeter = zip(inside, outside, strict=True)
        guide.append(
            Segment(f"s{i}", draw(st.floats(0.02, 0.4)), *area, *perimeter, draw(st.floats(-2, 15)), draw(fibre))
        )
    end = draw(st.sampled_from(["flanged", "free", None]))
    mouth = Mouth(width * height, end) if end and guide else None
    return Network(DRIVER, draw(st.floats(1e-4, 5e-3)), draw(fibre), tuple(guide), mouth)


@settings(max_examples=50)
@given(networks())
def test_passive(network):
    """No part gives out more than it takes: neither the guide, nor what the amplifier sees."""
    electrical = solve_network(network, np.array(FREQUENCY), AIR, 2.0).electrical_impedance
    assert (electrical.real >= DRIVER.re_ohm * (1 - 1e-12)).all()
    if network.guide:
        guide = input_impedance(network, OMEGA, AIR)
        assert (guide.real >= -1e-9 * np.abs(guide)).all()


@settings(max_examples=50)
@given(networks(fibre=st.just(0.0)))
def test_power_balance_without_loss(network):
    """Without viscosity and fibre all that enters the chamber leaves by the mouth."""
    lossless = replace(AIR, viscosity=0.0)
    solution = solve_network(network, np.array(FREQUENCY), lossless, 2.0)
    entered = -(solution.chamber_pressure * np.conj(solution.front_volume_velocity)).real
    if network.mouth is None:
        left = np.zeros(len(OMEGA))
    else:
        from kerfwave.acoustics.radiation import mouth_impedance

        load = mouth_impedance(network.mouth.area_m2, network.mouth.end, OMEGA, lossless).real
        left = load * np.abs(solution.mouth_volume_velocity) ** 2
    scale = np.abs(solution.chamber_pressure * solution.front_volume_velocity)
    assert (np.abs(entered - left) <= 1e-8 * scale + 1e-18).all()


@settings(max_examples=15)
@given(st.lists(networks(), min_size=1, max_size=5))
def test_a_batch_is_its_members(batch):
    together = responses(batch, FREQUENCY, AIR, 2.0, 1.0, "half")
    for row, network in enumerate(batch):
        alone = response(network, FREQUENCY, AIR, 2.0, 1.0, "half")
        assert together.spl_db[row] == pytest.approx(np.array(alone.spl_db), abs=1e-8)
        assert together.excursion_peak_mm[row] == pytest.approx(np.array(alone.excursion_peak_mm), rel=1e-9)
        assert together.mouth_velocity_peak_m_s[row] == pytest.approx(
            np.array(alone.mouth_velocity_peak_m_s), rel=1e-9, abs=1e-15
        )


def guide_of(length, area=18e-4, fibre=0.0):
    perimeter = 2 * (0.084 + area / 0.084)
    return (Segment("guide", length, area, area, perimeter, perimeter, 0.0, fibre),)


def test_arrays_of_candidates_are_the_candidates(driver):
    lengths, chambers = np.array([[0.5], [0.8], [1.1]]), np.array([[0.5e-3], [0.7e-3], [0.9e-3]])
    segment = replace_arrays(guide_of(1.0)[0], length_m=lengths)
    many = solve(driver, chambers, 0.0, (segment,), 18e-4, "flanged", OMEGA, AIR, 2.0)
    assert many.cone_velocity.shape == (3, len(OMEGA))
    for row in range(3):
        network = Network(driver, chambers[row, 0], 0.0, guide_of(lengths[row, 0]), Mouth(18e-4, "flanged"))
        alone = solve_network(network, np.array(FREQUENCY), AIR, 2.0)
        assert many.mouth_velocity[row] == pytest.approx(alone.mouth_velocity)
        assert many.electrical_impedance[row] == pytest.approx(alone.electrical_impedance)


def replace_arrays(segment, **changes):
    from kerfwave.acoustics.segments import SegmentArrays

    names = SegmentArrays.__dataclass_fields__
    return replace(SegmentArrays(**{n: getattr(segment, n) for n in names}), **changes)


def test_a_larger_closed_box_lets_the_cone_move_more(driver):
    low = FREQUENCY[:10]
    moves = [response(Network(driver, v), low, AIR, 2.0, 1.0, "half").excursion_peak_mm for v in (1e-3, 2e-3, 4e-3)]
    assert all(a < b < c for a, b, c in zip(*moves, strict=True))


def test_a_longer_guide_is_tuned_lower(driver):
    def relief(length):
        network = Network(driver, 0.6e-3, 0.0, guide_of(length), Mouth(18e-4, "flanged"))
        frequency = np.geomspace(40, 150, 300)
        moves = response(network, tuple(frequency), AIR, 2.0, 1.0, "half").excursion_peak_mm
        return frequency[int(np.argmin(moves))]

    assert relief(1.0) < relief(0.8) < relief(0.6)


def test_fibre_calms_the_higher_resonances(driver):
    def spans(fibre):
        network = Network(driver, 0.6e-3, 0.0, guide_of(0.8, fibre=fibre), Mouth(18e-4, "flanged"))
        level = response(network, tuple(np.geomspace(100, 700, 200)), AIR, 2.0, 1.0, "half").spl_db
        return max(level) - min(level)

    assert spans(500.0) < 0.5 * spans(0.0)


def test_twice_the_drive_half_space_and_half_the_distance(driver):
    network = Network(driver, 2e-3)
    base = response(network, (100.0,), AIR, 1.0, 1.0, "full")
    assert response(network, (100.0,), AIR, 2.0, 1.0, "full").spl_db[0] == pytest.approx(base.spl_db[0] + 6.0206)
    assert response(network, (100.0,), AIR, 1.0, 1.0, "half").spl_db[0] == pytest.approx(base.spl_db[0] + 6.0206)
    assert response(network, (100.0,), AIR, 1.0, 0.5, "full").spl_db[0] == pytest.approx(base.spl_db[0] + 6.0206)
    assert response(network, (100.0,), AIR, 2.0, 1.0, "full").excursion_peak_mm[0] == pytest.approx(
        2 * base.excursion_peak_mm[0]
    )


def test_group_delay_of_a_closed_box_by_its_formula(driver):
    # G = s^2 / (s^2 + s w / Q + w^2): delay = (w0 / Q) (w0^2 + w^2) / ((w0^2 - w^2)^2 + (w0 w / Q)^2).
    quiet = replace(driver, le_h=0.0)
    network = Network(quiet, 2e-3)
    rise = math.sqrt(1 + quiet.vas_m3 / 2e-3)
    w0, q = 2 * math.pi * quiet.fs_hz * rise, quiet.qts * rise
    got = response(network, FREQUENCY, AIR, 2.0, 1.0, "half").group_delay_ms
    wanted = 1e3 * (w0 / q) * (w0**2 + OMEGA**2) / ((w0**2 - OMEGA**2) ** 2 + (w0 * OMEGA / q) ** 2)
    assert np.array(got) == pytest.approx(wanted, rel=1e-5)
    # At a lone frequency, where there is nothing to unwrap.
    assert response(network, (100.0,), AIR, 2.0, 1.0, "half").group_delay_ms[0] == pytest.approx(
        np.interp(100, FREQUENCY, wanted), rel=0.02
    )


def test_an_open_chamber_without_tuning_cancels_at_low_frequency(driver):
    # Front and rear through a short wide hole: two equal sources out of phase.
    hole = guide_of(0.01, area=40e-4)
    network = Network(driver, 1e-4, 0.0, hole, Mouth(40e-4, "free"))
    solution = solve_network(network, np.array([20.0]), AIR, 2.0)
    total = solution.front_volume_velocity + solution.mouth_volume_velocity
    assert np.abs(total / solution.front_volume_velocity)[0] < 0.01


def test_closed_box_has_no_mouth(driver):
    network = Network(driver, 2e-3)
    assert set(response(network, FREQUENCY, AIR, 2.0, 1.0, "half").mouth_velocity_peak_m_s) == {0.0}
    with pytest.raises(ValueError, match="closed box"):
        input_impedance(network, OMEGA, AIR)


def test_a_guide_with_a_rigid_end_adds_its_volume(driver):
    stub = Network(driver, 1e-3, 0.0, guide_of(0.1, area=50e-4))
    same = Network(driver, 1e-3 + 0.1 * 50e-4)
    low = (15.0, 25.0)
    got = response(stub, low, replace(AIR, viscosity=0.0), 2.0, 1.0, "half").spl_db
    assert got == pytest.approx(response(same, low, AIR, 2.0, 1.0, "half").spl_db, abs=0.02)


def test_fibre_softens_a_chamber(driver):
    # Heat stays with the fibre: the air's spring goes from adiabatic towards isothermal, 1 / 1.4 of it.
    from kerfwave.acoustics.network import chamber_admittance

    ratio = chamber_admittance(1e-3, 3000.0, OMEGA[:5], AIR) / chamber_admittance(1e-3, 0.0, OMEGA[:5], AIR)
    assert ((ratio.real > 1.2) & (ratio.real < 1.5)).all()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [({"space": "quarter"}, "'half' or 'full'"), ({"frequency_hz": (0.0, 10.0)}, "above 0")],
)
def test_refusals(driver, change, sentence):
    asked = {"frequency_hz": (100.0,), "air": AIR, "volts": 2.0, "distance_m": 1.0, "space": "half"} | change
    with pytest.raises(ValueError, match=sentence):
        response(Network(driver, 1e-3), **asked)
