"""Listening times against outside tables.

Sources, once:
  N    NIOSH 98-126 table 1-1, 85 dB(A) for 8 h and 3 dB (published)
  O    29 CFR 1910.95 appendix A, table G-16a (published; rows marked * from memory)
  H    WHO-ITU H.870: 80 dB(A) for 40 h a week, 1.6 Pa²h (published)
"""

from __future__ import annotations

import pytest

from kerfwave.safety import hearing


@pytest.mark.parametrize(
    ("level_db", "minutes"), [(85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15), (103, 7.5)]
)
def test_niosh(level_db: float, minutes: float) -> None:
    assert 60 * hearing.niosh_hours(level_db) == pytest.approx(minutes)  # N


@pytest.mark.parametrize(
    ("level_db", "hours"),
    [
        (90, 8.0),
        (94, 4.6),
        (95, 4.0),
        (100, 2.0),
        (105, 1.0),
        (85, 16.0),
        (80, 32.0),
        (92, 6.1),
        (97, 3.0),
    ],  # last 6: *
)
def test_osha(level_db: float, hours: float) -> None:
    assert hearing.osha_hours(level_db) == pytest.approx(hours, abs=0.05)  # O


@pytest.mark.parametrize(("level_db", "hours"), [(80, 40.0), (86, 10.0), (92, 2.5), (100, 0.4)])
def test_leisure(level_db: float, hours: float) -> None:
    assert hearing.leisure_hours(level_db) == pytest.approx(hours, abs=0.01)  # H, equal energy (recomputed; 24 min)


def test_leisure_dose_is_the_energy_of_the_recommendation() -> None:
    # H: 1.6 Pa²h (published) is what 40 h at 80 dB hold: (20 µPa)² × 10^8 × 40 h
    assert pytest.approx(1.6) == (20e-6) ** 2 * 10**8 * 40
    # sensitive listeners: 75 dB, 0.51 Pa²h (from memory)
    assert (20e-6) ** 2 * 10**7.5 * hearing.leisure_hours(75.0, 75.0) == pytest.approx(0.51, abs=0.005)


def test_dose_of_a_mixed_day() -> None:
    # N, O: dose = 100 Σ C/T; 1 h at 94 and half an hour at 100: NIOSH 300 %, OSHA 46.8 % (recomputed)
    niosh = hearing.dose_percent(1.0, hearing.niosh_hours(94)) + hearing.dose_percent(0.5, hearing.niosh_hours(100))
    osha = hearing.dose_percent(1.0, hearing.osha_hours(94)) + hearing.dose_percent(0.5, hearing.osha_hours(100))
    assert niosh == pytest.approx(300.0)
    assert osha == pytest.approx(46.8, abs=0.05)


def test_level_and_time_are_inverse() -> None:
    assert hearing.leisure_hours(hearing.leisure_level(7.0)) == pytest.approx(7.0)
    assert hearing.leisure_hours(hearing.leisure_level(7.0, 75.0), 75.0) == pytest.approx(7.0)
