"""Relations that hold exactly, whatever the sizes: powers, scales, reciprocity, smooth tables."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from kerfwave.acoustics import bends, diffraction
from kerfwave.acoustics.air import air
from kerfwave.acoustics.biquads import biquad
from kerfwave.acoustics.builds import Tolerances, _drivers, _segments, _taller
from kerfwave.acoustics.chamber import rear
from kerfwave.acoustics.circuit import Solution
from kerfwave.acoustics.derivation import derived, sensitivity_db
from kerfwave.acoustics.driver import complete, contradictions
from kerfwave.model.acoustic import ChamberDuct, Segment
from kerfwave.model.spec import Driver

AIR, WARM = air(), air(30.0)


def test_the_air_of_a_room_is_taken_if_nothing_else_is_said():
    assert air() == air(20.0, 101325.0, 0.5)


@pytest.mark.parametrize("where", [AIR, WARM])
def test_a_watt_through_a_half_sphere(where):
    """Intensity is power over area, 2 pi r^2, and p^2 over density c (plane wave far away)."""
    pressure = math.sqrt(0.01 / (2 * math.pi * 1.0**2) * where.density * where.speed)
    assert sensitivity_db(0.01, where) == pytest.approx(20 * math.log10(pressure / 20e-6))


def test_the_peak_of_a_sine_is_root_two_of_its_rms_value():
    none = np.zeros(2, complex)
    cone = np.array([0.3j, 0.4 + 0.3j])
    solution = Solution(np.array([10.0, 20.0]), 1.2, cone, none, none, none, none, none, none)
    time = np.linspace(0, 2 * np.pi / 10.0, 4001)
    moved = np.cumsum(math.sqrt(2) * 0.3 * np.cos(10.0 * time)) * time[1]  # the integral of the velocity
    assert solution.excursion_peak()[0] == pytest.approx((moved.max() - moved.min()) / 2, rel=1e-3)
    assert solution.excursion_peak()[1] == pytest.approx(math.sqrt(2) * 0.5 / 20.0)


# --- bends and steps ------------------------------------------------------------------------------------------------


def test_a_flat_lump_grows_with_density_and_shrinks_with_depth():
    lumps = (
        lambda depth, where: bends.plane_step_inertance(0.02, 0.05, depth, where),
        lambda depth, where: bends.corner_inertance(0.02, 0.05, depth, where),
        lambda depth, where: bends.sharp_corner_correction(depth, where),
        lambda depth, where: bends.fold_correction(0.03, 0.006, 0.03, depth, where),
    )
    for lump in lumps:
        assert lump(0.035, AIR) == pytest.approx(2 * lump(0.07, AIR))
        assert lump(0.07, WARM) / lump(0.07, AIR) == pytest.approx(WARM.density / AIR.density)


def test_a_step_into_the_middle_is_two_flush_steps_side_by_side():
    # Cut along the axis of symmetry, each half is a flush step of half the width; both in parallel.
    middle = bends.plane_step_inertance(0.02, 0.05, 0.07, AIR, centred=True)
    half = bends.plane_step_inertance(0.01, 0.025, 0.07, AIR)
    assert middle == pytest.approx(half / 2)


def test_no_value_of_the_table_of_folds_sticks_out():
    """A field is smooth in its sizes, so every value is near what its neighbours foretell, and rises with the wall."""
    across, gaps = np.array(bends._PARTITIONS), np.array(bends._GAPS)
    ends, depth = 1 / gaps, 0.07
    table = np.array(
        [
            [bends.fold_correction(1.0, p, g, depth, AIR) * depth / AIR.density + g * (2 + p) for p in across]
            for g in gaps
        ]
    )
    assert (np.diff(table, axis=1) > 0).all() and (np.diff(table, axis=0) < 0).all()
    for values, knots in ((table, across), (table.T, ends[::-1])):
        for row in values if knots is across else values[:, ::-1]:
            for k in range(1, len(knots) - 1):
                rest = np.arange(len(knots)) != k
                assert CubicSpline(knots[rest], row[rest])(knots[k]) == pytest.approx(row[k], rel=0.02)
    # With a thick wall both corners are alone: each more step of it adds as many squares as it is long, 1 / gap.
    slope = (table[:, -1] - table[:, -2]) / (across[-1] - across[-2])
    assert slope[:5] == pytest.approx(ends[:5], rel=0.02)


# --- a chamber ------------------------------------------------------------------------------------------------------

DUCT = ChamberDuct(length_m=0.15, area_m2=6e-3, perimeter_m=0.32, driver_m=0.04, throat_m=0.12, step_kg_m4=30.0)
OMEGA = 2 * np.pi * np.array([60.0, 300.0, 900.0])


@pytest.mark.parametrize("resistivity", [0.0, 3000.0])
def test_a_chamber_is_reciprocal(resistivity):
    found = rear(1e-3, resistivity, 0.0, DUCT, OMEGA, AIR)
    a, c = found.from_guide(np.ones(3, complex), np.zeros(3, complex))
    b, d = found.from_guide(np.zeros(3, complex), np.ones(3, complex))
    assert a * d - b * c == pytest.approx(np.ones(3))


def test_a_short_chamber_is_one_spring_of_all_its_air():
    short = replace(DUCT, length_m=0.015, driver_m=0.004, throat_m=0.012, step_kg_m4=0.0)
    found = rear(1e-3, 0.0, 0.0, short, OMEGA[:1], AIR)
    pressure, flow = found.from_guide(np.ones(1, complex), np.zeros(1, complex))
    spring = 1j * OMEGA[:1] * 1e-3 / (AIR.density * AIR.speed**2)
    assert flow + found.beside * pressure == pytest.approx(spring, rel=0.01)


def test_the_step_of_a_chamber_is_an_inertance():
    plain, stepped = (rear(1e-3, 0.0, 0.0, replace(DUCT, step_kg_m4=s), OMEGA, AIR) for s in (0.0, 30.0))
    assert plain.step == pytest.approx(np.zeros(3))
    assert np.imag(stepped.step) == pytest.approx(30.0 * OMEGA, rel=0.05)  # and a little more, from the duct's walls


# --- builds ---------------------------------------------------------------------------------------------------------


def test_a_taller_sheet_makes_taller_ducts():
    """A rectangle w by h: area w h, perimeter 2 (w + h); a lump of a flat duct goes with density over height."""
    w, h, stretch, wider = 0.02, 0.07, 1.05, 3e-4
    segment = Segment("x", 0.3, w * h, 2 * w * h, 2 * (w + h), 2 * (2 * w + h), -40.0, 2000.0)
    found = _segments(segment, h, stretch, wider, 1.5, WARM)
    tall = stretch * h
    assert found.length_m == 0.3 and found.law == segment.law
    assert found.area_in_m2 == pytest.approx((w + wider) * tall)
    assert found.area_out_m2 == pytest.approx((2 * w + wider) * tall)
    assert found.perimeter_in_m == pytest.approx(2 * (w + wider + tall))
    assert found.perimeter_out_m == pytest.approx(2 * (2 * w + wider + tall))
    assert found.extra_inertance_kg_m4 == pytest.approx(-40.0 * WARM.density / AIR.density * h / tall)
    assert found.flow_resistivity_pa_s_m2 == pytest.approx(3000.0)
    duct = _taller(replace(DUCT, area_m2=w * h, perimeter_m=2 * (w + h)), h, stretch, WARM)
    assert duct.area_m2 == pytest.approx(w * tall) and duct.perimeter_m == pytest.approx(2 * (w + tall))
    assert duct.step_kg_m4 == pytest.approx(30.0 * WARM.density / AIR.density * h / tall)


def test_every_driver_that_varies_is_a_driver(driver):
    """Small 1972: all relations between the parameters hold for each of them, in the design's air."""
    z = {name: np.array([-1.5, 0.0, 0.7]) for name in ("moving mass", "compliance", "Qes", "Re")}
    one = _drivers(driver, Tolerances(), z)
    omega = 2 * np.pi * one.fs_hz
    assert omega == pytest.approx(1 / np.sqrt(one.mms_kg * one.cms_m_n))
    assert 1 / one.qts == pytest.approx(1 / one.qms + 1 / one.qes)
    assert one.qms == pytest.approx(omega * one.mms_kg / one.rms_kg_s)
    assert one.qes == pytest.approx(omega * one.mms_kg * one.re_ohm / one.bl_tm**2)
    assert one.vas_m3 / one.cms_m_n == pytest.approx(np.full(3, driver.vas_m3 / driver.cms_m_n))
    for name in ("qes", "re_ohm", "mms_kg", "cms_m_n", "fs_hz", "bl_tm", "vas_m3"):
        assert getattr(one, name)[1] == pytest.approx(getattr(driver, name), rel=1e-3), name
    assert (np.diff(one.mms_kg) > 0).all() and (np.diff(one.cms_m_n) > 0).all()


# --- filters --------------------------------------------------------------------------------------------------------


def test_a_filter_runs_below_half_the_rate():
    biquad("peaking", 23_900.0, 1.0, 3.0, 48_000.0)
    for wrong in (0.0, -5.0, 24_000.0, 30_000.0):
        with pytest.raises(ValueError, match="cannot run at 48000 Hz"):
            biquad("peaking", wrong, 1.0, 3.0, 48_000.0)


# --- pistons and fronts ---------------------------------------------------------------------------------------------


def test_the_points_of_a_piston_stand_for_a_disc():
    """Centre, mean square of the distance (half the radius squared) and both second moments of a full disc."""
    rim = np.array([(0.0, 0.0), (0.3, 0.0), (0.3, 0.2), (0.0, 0.2)])
    centre = np.array([0.1, 0.11])
    away = diffraction._piston(rim, np.roll(rim, -1, axis=0), centre, 0.04) - centre
    assert away.mean(axis=0) == pytest.approx([0.0, 0.0], abs=1e-12)
    assert (away**2).mean(axis=0) == pytest.approx(np.full(2, 0.04**2 / 4))
    assert len(np.unique(np.round(away, 9), axis=0)) == 16
    tight = diffraction._piston(rim, np.roll(rim, -1, axis=0), np.array([0.1, 0.18]), 0.04) - (0.1, 0.18)
    assert np.hypot(*tight.T).max() <= 0.02


def test_a_front_may_have_three_corners():
    omega = np.array([1.0, 5000.0])
    found = diffraction.edge_wave(((0, 0), (0.3, 0), (0.1, 0.3)), (0.12, 0.1), 0.02, (0.12, 0.1, 2.0), omega, 343.0)
    assert found[0] == pytest.approx(1.0, abs=0.01)  # low down a front is nothing
    for wrong in (((0, 0), (0.3, 0)), ((0, 0), (0.1, 0.3), (0.3, 0))):
        with pytest.raises(ValueError, match="convex polygon"):
            diffraction.edge_wave(wrong, (0.12, 0.1), 0.02, (0.12, 0.1, 2.0), omega, 343.0)


# --- what a data sheet says twice -----------------------------------------------------------------------------------


def test_a_contradiction_is_told_in_figures(driver_sheet):
    # Qms 4 and Qes 0.5 make Qts 4 * 0.5 / 4.5 = 0.4444.
    for qts, way in ((0.5, "12.5 % more"), (0.4, "10 % less")):
        (found,) = contradictions(replace(driver_sheet, qms=4.0, qes=0.5, qts=qts), AIR)
        assert found.text == f"qts is {qts}, but qms and qes make it 0.4444: stated {way}"
        assert found.percent == pytest.approx(100 * (qts / (4 / 9) - 1))
    # 10 g on 1 mm/N: fs = 1 / (2 pi sqrt(1e-2 * 1e-3)) = 50.33 Hz
    (found,) = contradictions(replace(driver_sheet, qms=4.0, qes=0.5, mms_g=10.0, cms_mm_n=1.0, fs_hz=60.0), AIR)
    assert found.text == "fs_hz is 60 Hz, but mms_g and cms_mm_n make it 50.33 Hz: stated 19.2 % more"


def test_without_a_semi_inductance_there_is_none(driver_sheet):
    full = complete(replace(driver_sheet, qms=4.0, qes=0.5, mms_g=10.0), AIR)
    assert (full.l2_h, full.r2_ohm) == (0.0, 0.0)


@pytest.fixture
def driver_sheet():
    """A driver of which only frame, resonance, area and resistance are known; invented."""
    return Driver(
        name="any", frame_mm=93, cutout_mm=74, bolt_circle_mm=84, depth_mm=50, xmax_mm=3, power_w=15,
        fs_hz=60.0, sd_cm2=50.0, re_ohm=4.0, le_mh=0.2,
    )  # fmt: skip


def test_one_of_mass_and_compliance_contradicts_nothing(driver_sheet):
    plain = replace(driver_sheet, qms=4.0, qes=0.5)
    assert contradictions(replace(plain, mms_g=10.0), AIR) == contradictions(replace(plain, cms_mm_n=1.0), AIR) == ()


def test_where_the_compliance_comes_from_is_said(driver_sheet):
    def spring(**stated):
        (row,) = [p for p in derived(replace(driver_sheet, qms=4.0, qes=0.5, **stated), AIR) if p.name == "Cms"]
        return row.how

    assert spring(mms_g=10.0) == spring(mms_g=10.0, vas_l=3.0) == "from fs and Mms"
    assert spring(vas_l=3.0) == "from Sd and Vas"
    assert spring(cms_mm_n=1.0) == "stated"
