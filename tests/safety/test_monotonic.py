"""More of a bad thing is never better, and more air is never worse."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kerfwave.safety import air, airflow, assess, hearing, laser, smoke
from safety_samples import job

powers = st.floats(0.01, 50.0)
wavelengths = st.floats(400.0, 700.0)
times = st.floats(1e-3, 3e4)


@given(powers, powers, wavelengths, times, st.floats(0.5, 50.0))
def test_more_power_reaches_farther_and_asks_for_more(
    one: float, other: float, wavelength: float, seconds: float, ratio: float
) -> None:
    low, high = sorted((one, other))
    limit = laser.exposure_limit(wavelength, seconds)
    assert laser.optical_density(low, limit) <= laser.optical_density(high, limit)
    assert laser.scale_number(low) <= laser.scale_number(high)
    assert laser.focused_hazard_distance(low, limit, ratio) <= laser.focused_hazard_distance(high, limit, ratio)
    assert laser.diffuse_distance(low, limit) <= laser.diffuse_distance(high, limit)


@settings(max_examples=25)
@given(st.floats(0.1, 40.0), st.floats(0.1, 40.0), wavelengths)
def test_more_power_in_the_list(one: float, other: float, wavelength: float) -> None:
    rank = {"note": 0, "duty": 1, "fix-first": 2, "stop": 3}
    weak, strong = (
        {entry.id: entry for entry in assess(job(optical_power_w=power, wavelength_nm=wavelength))}
        for power in sorted((one, other))
    )
    for ident in ("eyes-density", "eyes-density-long", "eyes-scale", "eyes-direct", "eyes-scatter", "eyes-bed"):
        assert weak[ident].value <= strong[ident].value
    for ident, entry in weak.items():
        assert rank[entry.level] <= rank[strong[ident].level], ident


@given(wavelengths, times, times)
def test_longer_exposure_never_has_a_higher_limit(wavelength: float, one: float, other: float) -> None:
    short, long = sorted((one, other))
    assert laser.exposure_limit(wavelength, short) >= laser.exposure_limit(wavelength, long)


@given(st.floats(400.0, 600.0), st.floats(400.0, 600.0), times)
def test_bluer_light_never_has_a_higher_limit(one: float, other: float, seconds: float) -> None:
    blue, red = sorted((one, other))
    assert laser.exposure_limit(blue, seconds) <= laser.exposure_limit(red, seconds)


@given(powers, wavelengths, times, st.floats(1.0, 50.0))
def test_at_the_distance_the_limit_is_met(power: float, wavelength: float, seconds: float, ratio: float) -> None:
    limit = laser.exposure_limit(wavelength, seconds)
    assert power / (math.pi * laser.diffuse_distance(power, limit) ** 2) == pytest.approx(limit)
    reach = laser.focused_hazard_distance(power, limit, ratio)
    assert power / (math.pi / 4 * (reach / ratio) ** 2) == pytest.approx(limit)


@pytest.mark.parametrize("wavelength", [399.9, 700.1, 1064.0, 10600.0])
def test_no_limits_outside_the_visible(wavelength: float) -> None:
    assert not laser.covered(wavelength)
    with pytest.raises(ValueError, match="only from 400 to 700 nm"):
        laser.exposure_limit(wavelength, 10.0)


def test_no_limits_outside_the_times() -> None:
    for seconds in (1e-6, 1e5):
        with pytest.raises(ValueError, match="only from 18 microseconds"):
            laser.exposure_limit(450.0, seconds)
    with pytest.raises(ValueError, match="400 to 600 nm"):
        laser.blue_factor(633.0)


flows = st.floats(0.5, 3000.0)


@settings(max_examples=40)
@given(
    flows,
    flows,
    st.none() | st.floats(0.0, 20.0),
    st.floats(60.0, 4e5),
    st.sampled_from(["enclosure", "nozzle"]),
    st.sampled_from(smoke.AIR_LIMITS),
)
def test_more_extraction_never_raises_a_concentration(
    one: float, other: float, rate: float | None, seconds: float, capture: str, limit: smoke.AirLimit
) -> None:
    means = []
    for flow in sorted((one, other)):
        made = job(
            air_changes_per_h=rate, cut_time_s=seconds, flow_m3_h=flow, capture=capture, nozzle_distance_mm=150.0
        )
        share = smoke.hood_share(made)
        means.append(smoke.worst_means(made, limit, extracted=True, share=share)[1])
    assert means[1] <= means[0] * (1 + 1e-9) + 1e-15


@settings(max_examples=40)
@given(flows, st.floats(0.0, 20.0), st.floats(60.0, 4e5), st.sampled_from(smoke.AIR_LIMITS))
def test_extraction_is_never_worse_than_none(flow: float, rate: float, seconds: float, limit: smoke.AirLimit) -> None:
    made = job(air_changes_per_h=rate, cut_time_s=seconds, flow_m3_h=flow)
    without = smoke.worst_means(made, limit, extracted=False)[1]
    assert smoke.worst_means(made, limit, extracted=True)[1] <= without * (1 + 1e-9)


@settings(max_examples=40)
@given(st.floats(1.0, 200.0), st.floats(0.1, 200.0), st.floats(0.0, 500.0), st.floats(0.01, 24.0), st.floats(1.0, 5.0))
def test_air_is_linear_and_bounded(volume: float, emission: float, flow: float, window: float, mixing: float) -> None:
    """Twice the smoke, twice the mean; no mean is above the steady state or above all the mass in the room at once."""
    hours = 2.0
    day = air.Day(volume, (air.Phase(hours, emission, flow), air.Phase(0.0, 0.0, flow)), 1, mixing)
    twice = air.Day(volume, (air.Phase(hours, 2 * emission, flow), air.Phase(0.0, 0.0, flow)), 1, mixing)
    mean = air.worst_mean(day, window)
    assert air.worst_mean(twice, window) == pytest.approx(2 * mean)
    assert mean <= emission * hours / volume * (1 + 1e-9)
    if flow > 0:
        assert mean <= air.steady(emission, flow, mixing) * (1 + 1e-9)


@given(st.floats(0.0, 100.0), st.floats(1e-6, 50.0), st.floats(0.0, 50.0), st.floats(0.0, 1e3), st.floats(1.0, 1e3))
def test_integral_is_that_of_the_concentration(
    start: float, hours: float, emission: float, flow: float, volume: float
) -> None:
    """V (C(t) - C(0)) = G t - (Q/K) ∫C: the two closed forms keep the mass."""
    assume(flow == 0 or flow > 1e-6)
    end = air.after(start, hours, emission, flow, volume)
    total = air.exposure(start, hours, emission, flow, volume)
    carried = flow / air.MIXING * total
    scale = volume * start + emission * hours + 1e-9
    assert abs(volume * (end - start) - (emission * hours - carried)) <= 1e-9 * scale


def test_passes_do_not_remove_more() -> None:
    assert smoke.removed_g(job(passes=2)) == smoke.removed_g(job(passes=16))


def test_label_thickness_stands_in_for_missing_readings() -> None:
    made = job(measured_mm=())
    assert made.thickness_mm == 6.35
    (entry,) = [entry for entry in assess(made) if entry.id == "fume-wood"]
    assert entry.status == "assumed"


def test_estimated_kerf_is_said_to_be_estimated() -> None:
    (entry,) = [entry for entry in assess(job(verified=False)) if entry.id == "fume-wood"]
    assert entry.status == "assumed"
    assert "estimated" in entry.formula


def test_long_jobs_are_spread_over_days() -> None:
    assert smoke.day(job(cut_time_s=8 * 3600.0), 1.0, extracted=True).days == 1
    assert smoke.day(job(cut_time_s=8 * 3600.0 + 1), 1.0, extracted=True).days == 2
    day = smoke.day(job(cut_time_s=20 * 3600.0), 1.0, extracted=True)
    assert day.days * day.phases[0].hours == pytest.approx(20.0)


@given(st.floats(40.0, 130.0), st.floats(40.0, 130.0))
def test_louder_is_shorter(one: float, other: float) -> None:
    quiet, loud = sorted((one, other))
    for hours in (hearing.niosh_hours, hearing.osha_hours, hearing.leisure_hours):
        assert hours(loud) <= hours(quiet)


@given(st.floats(0.0, 1.0), st.floats(0.01, 1.0), st.floats(0.0, 0.1))
def test_farther_nozzle_takes_more_air(near: float, step: float, area: float) -> None:
    assert airflow.nozzle_flow(near, area) < airflow.nozzle_flow(near + step, area)
