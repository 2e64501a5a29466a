"""Air against IEC 61094-2 and against an independent equation of state."""

from importlib import import_module

import pytest

from kerfwave.acoustics.air import _mixed, air


@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa", "humidity", "density", "speed", "gamma", "viscosity", "diffusivity"),
    [
        # IEC 61094-2:2009, Annex F, Table F.1, as transcribed in the conformance tests of an open acoustics library
        # (jmrplens/phonometry). published; the conditions of the second row are inferred from its values.
        (23.0, 101325.0, 0.50, 1.1860848, 345.86652, 1.4007573, 1.826566e-5, 2.115317e-5),
        (20.0, 80000.0, 0.65, 0.9441589, 344.38267, 1.4000266, 1.811295e-5, 2.627024e-5),
    ],
)
def test_standard_table(temperature_c, pressure_pa, humidity, density, speed, gamma, viscosity, diffusivity):
    a = air(temperature_c, pressure_pa, humidity)
    assert a.density == pytest.approx(density, rel=2e-7)
    assert a.speed == pytest.approx(speed, rel=2e-7)
    assert a.gamma == pytest.approx(gamma, rel=2e-7)
    assert a.viscosity == pytest.approx(viscosity, rel=4e-7)
    assert a.viscosity / a.density / a.prandtl == pytest.approx(diffusivity, rel=4e-7)


@pytest.mark.parametrize(
    ("temperature_c", "humidity", "density", "speed", "viscosity", "prandtl"),
    [
        # Lemmon et al. 2000 with Lemmon and Jacobsen 2004, and moist air after Hyland and Wexler, by CoolProp 8.0.0.
        # recomputed. Fair tolerances between such sources: density 1e-4, speed 0.05 m/s, viscosity 0.5 %, Pr 3 %.
        (20.0, 0.0, 1.204575, 343.3439, 1.820568e-5, 0.707956),
        (20.0, 0.5, 1.199359, 343.9630, 1.814316e-5, None),
        (20.0, 1.0, 1.194133, 344.5849, 1.808050e-5, None),
        (30.0, 0.5, 1.155557, 350.2795, 1.856354e-5, None),
    ],
)
def test_other_equation_of_state(temperature_c, humidity, density, speed, viscosity, prandtl):
    a = air(temperature_c, humidity=humidity)
    assert a.density == pytest.approx(density, rel=1e-4)
    assert a.speed == pytest.approx(speed, abs=0.05)
    assert a.viscosity == pytest.approx(viscosity, rel=5e-3)
    if prandtl:
        assert a.prandtl == pytest.approx(prandtl, rel=0.03)


@pytest.mark.parametrize(("temperature_c", "speed"), [(0.0, 331.2859), (20.0, 343.2), (30.0, 349.0046)])
def test_outdoor_standard(temperature_c, speed):
    # ISO 9613-1, Formula A.5: c = 343.2 sqrt(T / 293.15), for dry air to about 0.2 m/s. published; recomputed.
    assert air(temperature_c, humidity=0.0).speed == pytest.approx(speed, abs=0.2)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa", "water", "carbon_dioxide", "speed"),
    [
        # O. Cramer, JASA 93 (1993) 2510, as pyfar 0.8.1 transcribes it, with as much carbon dioxide as it is for, so
        # that every term counts. recomputed: mole fractions and speed are those of its function.
        (0.0, 101325.0, 0.0, 0.000314, 331.4549986512),
        (20.0, 101325.0, 0.0, 0.0004, 343.3594668583),
        (20.0, 101325.0, 0.0, 0.01, 342.5007209337),
        (30.0, 75000.0, 0.0, 0.01, 348.2509374012),
        (30.0, 101325.0, 0.0420771640299, 0.01, 350.6083704582),
        (30.0, 75000.0, 0.0567994606614, 0.0004, 352.2615166805),
    ],
)
def test_speed_by_another_hand(temperature_c, pressure_pa, water, carbon_dioxide, speed):
    speeds = import_module("kerfwave.acoustics.air")._SPEED  # the module: `air` is its function in the package
    assert _mixed(speeds, temperature_c, pressure_pa, water, carbon_dioxide) == pytest.approx(speed, rel=1e-11)
