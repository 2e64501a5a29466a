import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.acoustics.air import air
from kerfwave.acoustics.derivation import derived, reference_efficiency
from kerfwave.acoustics.driver import complete
from kerfwave.model.spec import Driver

AIR = air()


def by_name(driver):
    return {p.name: p for p in derived(driver, AIR)}


def test_what_was_stated_and_what_follows(sheet):
    found = by_name(sheet)
    assert {n for n, p in found.items() if p.how == "stated"} == {"fs", "Re", "Sd", "Qms", "Qes", "Vas", "Le"}
    assert found["Qts"].how == "from Qms and Qes"
    assert found["Mms"].how == "from fs, Sd and Vas"
    assert found["Bl"].how == "from fs, Mms, Re and Qes"
    full = complete(sheet, AIR)
    assert found["Mms"].value == pytest.approx(full.mms_kg * 1e3)
    assert found["Mms"].unit == "g"
    name, value, unit, how = found["Rms"]
    assert (name, value, unit, how) == ("Rms", full.rms_kg_s, "kg/s", "from fs, Mms and Qms")


def test_a_value_that_others_overrule_is_said(sheet):
    found = by_name(replace(sheet, qts=0.55))
    assert found["Qts"].value == pytest.approx(3.0 * 0.7 / 3.7)
    assert found["Qts"].how == "from Qms and Qes; 0.55 was stated"


def test_the_semi_inductance_is_listed_if_there_is_one(sheet):
    assert "L2" not in by_name(sheet)
    found = by_name(replace(sheet, l2_mh=0.15, r2_ohm=1.8))
    assert (found["L2"].value, found["R2"].value) == (pytest.approx(0.15), 1.8)


def test_sensitivities_differ_by_the_power_that_the_voltage_is(sheet):
    # 2.83 V into 3.6 ohm is 2.222 W. Small 1972, and the definition of the decibel.
    found = by_name(sheet)
    assert found["level at 2.83 V, 1 m, half space"].value - found["level at 1 W, 1 m, half space"].value == (
        pytest.approx(3.468, abs=0.001)
    )


@given(st.sampled_from(["vas_l", "cms_mm_n", "mms_g", None]), st.sampled_from([("qms", "qes"), ("qms", "qts")]))
def test_stated_values_are_said_to_be_stated(mass, damping):
    sizes = {"frame_mm": 93, "cutout_mm": 74, "bolt_circle_mm": 84, "depth_mm": 50, "xmax_mm": 3, "power_w": 15}
    values = {"qms": 3.0, "qes": 0.7, "qts": 3.0 * 0.7 / 3.7, "vas_l": 1.0, "cms_mm_n": 1.4, "mms_g": 1.6}
    keys = {*damping, mass} - {None}
    extra = {"bl_tm": 2.3} if mass is None else {}
    told = Driver("any", 105.0, 22.0, 3.6, **sizes, **{k: values[k] for k in keys}, **extra)
    symbols = {"qms": "Qms", "qes": "Qes", "qts": "Qts", "vas_l": "Vas", "cms_mm_n": "Cms", "mms_g": "Mms"}
    symbols["bl_tm"] = "Bl"
    found = by_name(told)
    for key, symbol in symbols.items():
        assert (found[symbol].how == "stated") == (key in {*keys, *extra}), symbol


def test_the_efficiency_by_its_other_form(sheet):
    """Density Bl^2 Sd^2 / (2 pi c Re Mms^2), from the force and the mass in place of the resonance (Small 1972)."""
    full = complete(sheet, AIR)
    wanted = AIR.density * (full.bl_tm * full.sd_m2 / full.mms_kg) ** 2 / (2 * math.pi * AIR.speed * full.re_ohm)
    assert reference_efficiency(full, AIR) == pytest.approx(wanted, rel=1e-9)
