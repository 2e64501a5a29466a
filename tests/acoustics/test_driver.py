import itertools
import math
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import complete, contradictions
from kerfwave.model.spec import Driver

AIR = air()
SIZES = {"name": "any", "frame_mm": 93, "cutout_mm": 74, "bolt_circle_mm": 84, "depth_mm": 50, "xmax_mm": 3}
drivers = st.builds(
    Driver,
    **{k: st.just(v) for k, v in SIZES.items()},
    power_w=st.just(15),
    fs_hz=st.floats(20, 400),
    sd_cm2=st.floats(5, 500),
    re_ohm=st.floats(1, 16),
    qms=st.floats(0.5, 20),
    qes=st.floats(0.1, 5),
    mms_g=st.floats(0.3, 200),
    le_mh=st.floats(0, 2),
)


def stated(driver, full, *keys):
    """The same driver, told by these keys only."""
    values = {
        "qms": full.qms,
        "qes": full.qes,
        "qts": full.qts,
        "vas_l": full.vas_m3 * 1e3,
        "cms_mm_n": full.cms_m_n * 1e3,
        "mms_g": full.mms_kg * 1e3,
        "bl_tm": full.bl_tm,
    }
    return replace(driver, **{k: (v if k in keys else None) for k, v in values.items()})


@given(
    drivers,
    st.sampled_from([("qms", "qes"), ("qts", "qms"), ("qts", "qes"), ("qms", "bl_tm"), ("qts", "bl_tm")]),
    st.sampled_from(["vas_l", "cms_mm_n", "mms_g"]),
)
def test_any_sufficient_subset_gives_the_same_driver(driver, damping, suspension):
    full = complete(driver, AIR)
    again = complete(stated(driver, full, *damping, suspension), AIR)
    for name in ("fs_hz", "qms", "qes", "qts", "vas_m3", "mms_kg", "cms_m_n", "rms_kg_s", "bl_tm"):
        assert getattr(again, name) == pytest.approx(getattr(full, name), rel=1e-6), name


KEYS = ("qms", "qes", "qts", "vas_l", "cms_mm_n", "mms_g", "bl_tm")
SUBSETS = [keys for n in range(len(KEYS) + 1) for keys in itertools.combinations(KEYS, n)]


def determines(keys):
    """Counting, without regard to how the code goes about it: mass, Qms, Qes and Bl are four unknowns.

    Each mass key gives the mass; two of the Qs give both; Bl, Qes and the mass give the third of them.
    """
    known = {"mass"} if {"vas_l", "cms_mm_n", "mms_g"} & {*keys} else set()
    known |= {*keys} & {"qms", "qes", "qts", "bl_tm"}
    for _ in range(3):
        for three in (("qms", "qes", "qts"), ("mass", "qes", "bl_tm")):
            if len(known & {*three}) == 2:
                known |= {*three}
    return known == {"mass", "qms", "qes", "qts", "bl_tm"}


@settings(max_examples=25, deadline=None)
@given(drivers)
def test_every_subset_that_determines_the_driver_gives_it_back_and_no_other_does(driver):
    full = complete(driver, AIR)
    for keys in SUBSETS:
        told = stated(driver, full, *keys)
        if not determines(keys):
            with pytest.raises(ValueError, match="unknown"):
                complete(told, AIR)
            continue
        again = complete(told, AIR)
        for name in ("fs_hz", "qms", "qes", "qts", "vas_m3", "mms_kg", "cms_m_n", "rms_kg_s", "bl_tm"):
            assert getattr(again, name) == pytest.approx(getattr(full, name), rel=1e-6), (keys, name)
        assert contradictions(told, AIR, tolerance=1e-6) == ()


@given(drivers)
def test_the_set_obeys_its_own_relations(driver):
    p = complete(driver, AIR)
    omega = 2 * math.pi * p.fs_hz
    assert omega**2 * p.mms_kg * p.cms_m_n == pytest.approx(1)
    assert omega * p.mms_kg / p.rms_kg_s == pytest.approx(p.qms)
    assert omega * p.mms_kg * p.re_ohm / p.bl_tm**2 == pytest.approx(p.qes)
    assert 1 / p.qms + 1 / p.qes == pytest.approx(1 / p.qts)


@given(drivers)
def test_a_consistent_sheet_has_no_contradiction(driver):
    full = complete(driver, AIR)
    told = stated(driver, full, "qms", "qes", "qts", "vas_l", "cms_mm_n", "mms_g", "bl_tm")
    assert contradictions(told, AIR, tolerance=1e-6) == ()


@given(drivers, st.sampled_from(["qts", "vas_l", "bl_tm"]), st.floats(1.06, 3))
def test_a_value_that_is_off_is_pointed_at_with_the_amount(driver, key, factor):
    full = complete(driver, AIR)
    told = stated(driver, full, "qms", "qes", "qts", "vas_l", "cms_mm_n", "mms_g", "bl_tm")
    wrong = replace(told, **{key: getattr(told, key) * factor})
    found = [c for c in contradictions(wrong, AIR) if c.keys[0] == key]
    assert found
    assert all(c.percent == pytest.approx(100 * (factor - 1), rel=1e-6) for c in found)


def test_resonance_against_mass_and_compliance(sheet):
    full = complete(sheet, AIR)
    wrong = replace(stated(sheet, full, "qms", "qes", "cms_mm_n", "mms_g"), fs_hz=120.0)
    (only,) = contradictions(wrong, AIR)
    assert only.keys == ("fs_hz", "mms_g", "cms_mm_n")
    assert only.implied == pytest.approx(105)
    assert only.text == "fs_hz is 120 Hz, but mms_g and cms_mm_n make it 105 Hz: stated 14.3 % more"


def test_wrong_cone_area_shows_in_vas(sheet):
    full = complete(sheet, AIR)
    wrong = replace(stated(sheet, full, "qms", "qes", "cms_mm_n", "mms_g", "vas_l"), sd_cm2=33.0)
    assert [c.keys for c in contradictions(wrong, AIR)] == [
        ("vas_l", "sd_cm2", "cms_mm_n"),
        ("vas_l", "fs_hz", "sd_cm2", "mms_g"),
    ]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"vas_l": None}, "give one of vas_l, cms_mm_n or mms_g"),
        ({"qes": None}, "give two of qts, qms and qes"),
        ({"qms": None}, "give two of qts, qms and qes"),
        ({"qes": None, "qts": 3.5}, "the total must be the smaller one"),
        ({"qms": None, "qts": 0.8}, "the total must be the smaller one"),
        ({"fs_hz": 0.0}, "fs_hz is 0"),
        ({"mms_g": -1.0}, "mms_g is -1"),
        ({"re_ohm": float("nan")}, "re_ohm is nan"),
        ({"le_mh": -0.1}, "le_mh is -0.1"),
        ({"l2_mh": 0.2}, "l2_mh and r2_ohm go together"),
        ({"r2_ohm": 2.0}, "l2_mh and r2_ohm go together"),
        ({"l2_mh": 0.2, "r2_ohm": -2.0}, "r2_ohm is -2"),
    ],
)
def test_what_is_missing_or_impossible_is_said(sheet, change, sentence):
    with pytest.raises(ValueError, match=sentence):
        complete(replace(sheet, **change), AIR)


def test_checking_a_driver_does_not_load_numpy():
    code = (
        "import sys, kerfwave.acoustics.driver, kerfwave.acoustics.air, kerfwave.acoustics.bends;"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
