import pytest

from kerfwave.acoustics.air import air


@pytest.mark.parametrize(
    "wrong", [{"temperature_c": 293.15}, {"pressure_pa": 1013.25}, {"humidity": 50.0}, {"humidity": float("nan")}]
)
def test_a_slip_of_unit_is_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        air(**wrong)


def test_warm_and_damp_air_is_lighter_and_faster():
    cold, warm, damp = air(10.0), air(30.0), air(10.0, humidity=1.0)
    assert warm.density < cold.density > damp.density
    assert warm.speed > cold.speed < damp.speed
    assert warm.viscosity > cold.viscosity
