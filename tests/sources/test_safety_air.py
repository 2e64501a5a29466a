"""Room air against outside figures and an independent integration.

Sources, once:
  UT    University of Toledo, industrial-hygiene formula page: V dC/dt = G - (Q/K) C, Q = K G / C (published)
  IH    Basic Concepts of Industrial Hygiene p. 163: build-up and decay (published)
  DE    an article on the dilution equation: purge time (published)
"Recomputed" rows are worked by hand from these for a room of 30 m³ and K = 1, and given to the figures shown.
scipy's `solve_ivp` integrates the same equation with no closed form of ours.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from kerfwave.safety import air


def test_decay_halves_as_the_text_says() -> None:
    # IH: C = C0 e^(-Q t / V); one air change leaves 36.8 % (recomputed)
    assert air.after(1.0, 2.0, 0.0, 15.0, 30.0, 1.0) == pytest.approx(0.3679, abs=5e-5)


def test_build_up_of_particles() -> None:
    # IH, recomputed: 0.31 mg/s for 10 min into 30 m³ at 0.5/h gives 5.95 mg/m³
    assert air.after(0.0, 1 / 6, 0.31 * 3600, 15.0, 30.0, 1.0) == pytest.approx(5.95, abs=0.005)
    # 0.12 mg/s: 2.3 mg/m³
    assert air.after(0.0, 1 / 6, 0.12 * 3600, 15.0, 30.0, 1.0) == pytest.approx(2.3, abs=0.01)


def test_carbon_monoxide() -> None:
    emission = 0.235 * 3600  # mg/h
    assert air.steady(emission, 15.0, 1.0) == pytest.approx(56.0, rel=0.01)  # UT, recomputed
    assert air.after(0.0, 1.0, emission, 15.0, 30.0, 1.0) == pytest.approx(22.0, rel=0.01)  # IH, recomputed
    assert air.exposure(0.0, 1.0, emission, 15.0, 30.0, 1.0) / 1.0 == pytest.approx(12.0, rel=0.01)  # recomputed
    assert air.steady(emission, 254.0, 3.0) == pytest.approx(10.0, rel=0.002)  # UT, recomputed


def test_formaldehyde() -> None:
    emission = 1.97e-3 * 3600
    assert air.steady(emission, 15.0, 1.0) == pytest.approx(0.47, abs=0.005)  # recomputed
    assert air.exposure(0.0, 0.5, emission, 15.0, 30.0, 1.0) / 0.5 == pytest.approx(0.054, abs=0.0005)  # recomputed


def test_purge_time() -> None:
    # DE: t = (V / Q) ln(C0 / C1); 5.95 to 0.015 mg/m³: 12 h at 0.5 changes an hour, 1.0 h at 6 (recomputed)
    assert air.purge_hours(5.95, 0.015, 15.0, 30.0, 1.0) == pytest.approx(12.0, abs=0.05)
    assert air.purge_hours(5.95, 0.015, 180.0, 30.0, 1.0) == pytest.approx(1.0, abs=0.005)
    assert air.after(5.95, air.purge_hours(5.95, 0.015, 15.0, 30.0, 1.0), 0.0, 15.0, 30.0, 1.0) == pytest.approx(0.015)


def a_day_after(milligrams: float, hours: float, flow_m3_h: float) -> float:
    """Return the worst 24 h mean, mg/m³, in a room of 30 m³ in which a mass is let out evenly, day after day."""
    phases = (air.Phase(hours, milligrams / hours, flow_m3_h), air.Phase(0.0, 0.0, flow_m3_h))
    return air.worst_mean(air.Day(30.0, phases, 10, 1.0), 24.0)


def test_worst_day_by_the_mass_balance() -> None:
    # m / (24 h Q), recomputed: 0.31 mg/s for 10 min, 517 µg/m³ over 24 h; 0.12 mg/s, 200 µg/m³
    assert a_day_after(0.31 * 600, 1 / 6, 15.0) == pytest.approx(0.517, abs=0.0005)
    assert a_day_after(0.12 * 600, 1 / 6, 15.0) == pytest.approx(0.200, abs=0.0005)
    # 20 m of 3 mm plywood, 8.16 g: particles at 0.04 g/g 907 µg/m³, carbon monoxide at 0.115 g/g 2.6 mg/m³
    assert a_day_after(8160 * 0.04, 2.0, 15.0) == pytest.approx(0.907, abs=0.0005)
    assert a_day_after(8160 * 0.115, 2.0, 15.0) == pytest.approx(2.6, abs=0.01)


def test_capture_that_the_guideline_asks_for() -> None:
    # WHO 2021: 15 µg/m³ over 24 h (published); 97.1 % of 0.31 mg/s × 10 min, 98.3 % of the 20 m job (recomputed)
    assert 1 - 0.015 / a_day_after(0.31 * 600, 1 / 6, 15.0) == pytest.approx(0.971, abs=0.0005)
    assert 1 - 0.015 / a_day_after(8160 * 0.04, 2.0, 15.0) == pytest.approx(0.9835, abs=0.0005)


def test_worst_day_is_the_mass_balance() -> None:
    # a short job in a room that clears within the day leaves its mass balance's mean, whatever the room's size
    for volume in (20.0, 30.0):
        day = air.Day(volume, (air.Phase(0.5, 1000.0, 60.0), air.Phase(0.0, 0.0, 60.0)), 1, 1.0)
        assert air.worst_mean(day, 24.0) == pytest.approx(500.0 / (24.0 * 60.0), rel=1e-6)


@pytest.mark.parametrize(
    ("phases", "days", "window_h"),
    [
        (((2.0, 300.0, 15.0), (0.0, 0.0, 15.0)), 1, 1.0),
        (((2.0, 300.0, 15.0), (0.0, 0.0, 15.0)), 1, 24.0),
        (((3.0, 500.0, 200.0), (1.0, 0.0, 200.0), (0.0, 0.0, 5.0)), 1, 8.0),
        (((8.0, 250.0, 90.0), (0.7, 0.0, 90.0), (0.0, 0.0, 0.0)), 3, 24.0),
        (((6.0, 250.0, 30.0), (0.0, 0.0, 10.0)), 2, 8.0),
        (((0.1, 900.0, 0.0), (0.0, 0.0, 0.0)), 1, 0.5),
    ],
)
def test_against_an_independent_integration(
    phases: tuple[tuple[float, float, float], ...], days: int, window_h: float
) -> None:
    """Integrate the equation and slide the window over every minute or so of the last day."""
    volume, mixing = 30.0, 3.0
    concentration, integral = 0.0, 0.0
    times, integrals = [0.0], [0.0]
    for index in range(days):
        left = 24.0 if index < days - 1 else 24.0 + window_h
        for hours, emission, flow in (*phases[:-1], (left, *phases[-1][1:])):
            spent = min(hours, left)
            if spent <= 0:
                continue
            solution = solve_ivp(
                lambda _t, y, g=emission, q=flow: [(g - q / mixing * y[0]) / volume, y[0]],
                (0.0, spent),
                [concentration, integral],
                rtol=1e-9,
                atol=1e-11,
                t_eval=np.linspace(0.0, spent, 1500),
            )
            begin = 24.0 * index + (24.0 - left if index < days - 1 else 24.0 + window_h - left)
            times += [begin + t for t in solution.t[1:]]
            integrals += list(solution.y[1][1:])
            concentration, integral = solution.y[0][-1], solution.y[1][-1]
            left -= spent
    starts = np.linspace(24.0 * (days - 1), 24.0 * days, 4000)
    means = (np.interp(starts + window_h, times, integrals) - np.interp(starts, times, integrals)) / window_h
    day = air.Day(volume, tuple(air.Phase(*phase) for phase in phases), days, mixing)
    assert air.worst_mean(day, window_h) == pytest.approx(means.max(), rel=2e-4)
    assert air.worst_mean(day, window_h) >= means.max() * (1 - 1e-6)
