import pytest

from kerfwave.acoustics.air import air


@pytest.mark.parametrize(
    "wrong", [{"temperature_c": 293.15}, {"pressure_pa": 1013.25}, {"humidity": 50.0}, {"humidity": float("nan")}]
)
def test_a_slip_of_unit_is_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        air(**wrong)


@pytest.mark.parametrize(
    ("name", "least", "most"), [("temperature_c", -30.0, 60.0), ("pressure_pa", 50e3, 120e3), ("humidity", 0.0, 1.0)]
)
def test_the_bounds_themselves_are_taken_and_nothing_beyond(name, least, most):
    assert air(**{name: least}).speed > 0.0 < air(**{name: most}).speed
    for beyond in (least - 1e-3, most + 1e-3):
        with pytest.raises(ValueError, match=name):
            air(**{name: beyond})


def test_warm_and_damp_air_is_lighter_and_faster():
    cold, warm, damp = air(10.0), air(30.0), air(10.0, humidity=1.0)
    assert warm.density < cold.density > damp.density
    assert warm.speed > cold.speed < damp.speed
    assert warm.viscosity > cold.viscosity
