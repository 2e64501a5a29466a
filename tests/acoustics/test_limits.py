import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics.limits import bass_control, limits, low_shelf, stretches
from kerfwave.acoustics.network import response
from kerfwave.model.acoustic import Mouth, Network, Segment

F = tuple(float(f) for f in np.geomspace(20, 2000, 80))


@pytest.fixture(scope="module")
def network(driver):
    guide = (Segment("guide", 0.9, 6e-4, 6e-4, 0.1, 0.1),)
    return Network(driver, 0.6e-3, 0.0, guide, Mouth(6e-4, "flanged"))


@pytest.fixture(scope="module")
def made(network, medium):
    return response(network, F, medium, 2.0, 1.0, "half")


def found(network, medium, volts, **more):
    sizes = {"xmax_mm": 2.5, "power_w": 15.0, "re_ohm": 3.6, "mouth_m_s": 17.0, **more}
    return limits(response(network, F, medium, volts, 1.0, "half"), volts, **sizes)


def test_turned_up_to_the_limit_exactly_the_limit_is_met(network, medium):
    """The response made again at the voltage that is told, at every frequency."""
    made = found(network, medium, 2.0, most_volts=7.0)
    assert set(made.binding) == {"excursion", "voltage", "mouth"}
    for i in range(0, len(F), 5):
        again = response(network, (F[i],), medium, made.volts[i], 1.0, "half")
        values = {
            "excursion": again.excursion_peak_mm[0] / 2.5,
            "mouth": again.mouth_velocity_peak_m_s[0] / 17.0,
            "voltage": made.volts[i] / 7.0,
        }
        assert values[made.binding[i]] == pytest.approx(1.0, rel=1e-9)
        assert max(values.values()) <= 1.0 + 1e-9
        assert again.spl_db[0] == pytest.approx(made.level_db[i])


def test_the_drive_that_it_is_counted_from_does_not_matter(network, medium):
    one, other = found(network, medium, 0.05), found(network, medium, 4.0)  # at the one the mouth is slow
    assert one.level_db == pytest.approx(other.level_db)
    assert one.binding == other.binding
    assert [name for name, _ in one.by_limit] == [name for name, _ in other.by_limit]


def test_without_a_mouth_none_is_named(driver, medium):
    made = found(Network(driver, 1e-3), medium, 2.0)
    assert {name for name, _ in made.by_limit} == {"excursion", "power"}


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 20), st.floats(0.5, 100), st.floats(1, 40))
def test_the_greatest_level_is_the_least_of_all(made, xmax, power, volts):
    found = limits(made, 2.0, xmax_mm=xmax, power_w=power, re_ohm=3.6, mouth_m_s=17.0, most_volts=volts)
    table = np.array([levels for _, levels in found.by_limit])
    assert found.level_db == pytest.approx(tuple(table.min(axis=0)))


def test_stretches_cover_the_axis_once(network, medium):
    parts = stretches(found(network, medium, 2.0, most_volts=7.0))
    assert (parts[0].from_hz, parts[-1].to_hz) == (F[0], F[-1])
    for a, b in itertools.pairwise(parts):
        assert a.to_hz == b.from_hz
        assert a.limit != b.limit


def test_a_bass_control_lifts_the_low_end_by_its_gain():
    lift = 20 * np.log10(low_shelf((1.0, 100.0, 20000.0)))
    assert lift == pytest.approx([6.0, 3.0, 0.0], abs=0.01)
    found = bass_control((1.0, 50.0, 20000.0), (1.0, 2.0, 3.0), (4.0, 1.0, 0.5), 40.0)
    assert found.here_mm == pytest.approx(2.0 * low_shelf((50.0,))[0])
    assert found.closed_below_mm == pytest.approx(4.0 * 10 ** (6 / 20), rel=1e-3)
    assert bass_control((50.0,), (1.0,), (1.0,), 40.0).here_below_mm == 0.0
    assert bass_control((100.0,), (1.0,), (1.0,), 40.0).here_mm == pytest.approx(10 ** (3 / 20))  # half of 6 dB
