"""Whole lines of the list against outside figures: fume of a job, emission defaults, reasons for refusals.

Sources stand beside each value. "Recomputed" rows are worked by hand from the inputs named.
"""

from __future__ import annotations

import pytest

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import assess, find, smoke
from safety_samples import job


def line(made: tuple[SafetyLine, ...], ident: str) -> SafetyLine:
    (found,) = [entry for entry in made if entry.id == ident]
    return found


def test_wood_removed_per_metre() -> None:
    # kerf 0.20 mm × 3 mm × 680 kg/m³ = 0.408 g/m, 6 mm 0.816 g/m, 20 m of 3 mm 8.16 g (recomputed)
    for thickness, metres, grams in ((3.0, 1.0, 0.408), (6.0, 1.0, 0.816), (3.0, 20.0, 8.16)):
        made = job(measured_mm=(thickness,), cut_length_mm=1000.0 * metres)
        assert smoke.removed_g(made) == pytest.approx(grams)


def test_emission_defaults_follow_from_their_sources() -> None:
    # Particle and Fibre Toxicology 6:29, table 3: conventional stoves up to 2100 mg/MJ (published) × 18.5 MJ/kg dry
    # wood (from memory) = 39 g/kg
    assert pytest.approx(2.1 * 18.5 / 1000, rel=0.04) == smoke.PM25.low_g_g
    # Jeong et al. 2024: a laser on paperboard, up to 18.783 mg/min (published); over 2.04 mg/s removed by a cut of
    # 0.408 g/m at 300 mm/min (recomputed; that the paper's cut removed as much is assumed)
    assert pytest.approx(18.783 / 60 / (0.408 * 300 / 60), rel=0.03) == smoke.PM25.high_g_g
    # US EPA AP-42 section 1.10: conventional stove, 230.8 lb/ton CO (from memory)
    assert pytest.approx(230.8 / 2000, rel=0.01) == smoke.CARBON_MONOXIDE.high_g_g
    # Environ. Sci. Technol. 18(5) 1984: aldehydes up to 2.3 g/kg, up to 42 % of it formaldehyde (published)
    assert pytest.approx(2.3e-3 * 0.42, rel=0.04) == smoke.FORMALDEHYDE.high_g_g


def test_limits_in_the_air() -> None:
    limits = {limit.key: limit.limit_mg_m3 for limit in smoke.AIR_LIMITS}
    assert limits["pm25"] == 0.015  # WHO 2021: 15 µg/m³, 24 h (published)
    assert (limits["co-1h"], limits["co-8h"]) == (30.0, 10.0)  # WHO 2000: mg/m³ over 1 h and 8 h (published)
    assert limits["co-24h"] == 4.0  # WHO 2021: mg/m³ over 24 h (published)
    assert limits["formaldehyde"] == 0.1  # WHO 2010, indoor: mg/m³ over 30 min (from memory)


def test_lines_of_a_five_watt_head() -> None:
    """The worked rows of `test_safety_laser.py`, now as a person reads them."""
    made = assess(job(optical_power_w=5.0))
    assert line(made, "eyes-density").value == pytest.approx(4.1137, abs=0.0005)
    assert line(made, "eyes-density-short").value == pytest.approx(3.7078, abs=0.0005)
    assert line(made, "eyes-density-long").value == pytest.approx(5.1137, abs=0.0005)
    assert line(made, "eyes-scale").value == 6.0
    assert line(made, "eyes-scatter").value == pytest.approx(1.262, abs=0.0005)
    assert line(made, "eyes-direct").value == pytest.approx(7.979, abs=0.0005)  # 10 sqrt(4·5/(pi·10)) (recomputed)


def test_hood_lines() -> None:
    # recomputed: 0.02 m² × 0.5 m/s = 36 m³/h; nozzle 200 mm, 100 mm duct, 0.5 m/s: 734 m³/h, twice with air assist
    assert line(assess(job()), "fume-hood").limit == pytest.approx(36.0)
    nozzle = {"capture": "nozzle", "nozzle_distance_mm": 200.0}
    assert line(assess(job(**nozzle, air_assist=False)), "fume-hood").limit == pytest.approx(734.0, abs=0.6)
    assert line(assess(job(**nozzle)), "fume-hood").limit == pytest.approx(1468.0, abs=1.2)


def test_sound_lines() -> None:
    # WHO-ITU H.870: 86 dB for 10 h a week is all of it (recomputed); NIOSH 85 dB: 8 h (published)
    assert line(assess(job(level_db_at_listener=86.0)), "sound-week").value == pytest.approx(100.0)
    assert line(assess(job(level_db_at_listener=85.0)), "sound-day").value == pytest.approx(8.0)


def test_electric_lines() -> None:
    # V = sqrt(P R): 100 W into 8 ohm are 28.3 V (recomputed)
    made = assess(job(drive_volts=28.28, driver_re_ohm=8.0, driver_power_w=100.0))
    assert line(made, "electric-driver").value == pytest.approx(100.0, rel=1e-3)


def test_chemistry_of_the_refusals() -> None:
    # Standard atomic masses, IUPAC (published): H 1.008, C 12.011, N 14.007, F 18.998, Cl 35.45
    hydrogen, carbon, fluorine, chlorine = 1.008, 12.011, 18.998, 35.45
    pvc = 2 * carbon + 3 * hydrogen + chlorine
    assert (hydrogen + chlorine) / pvc == pytest.approx(0.58, abs=0.005)
    assert "0.58 g" in find("pvc").reason
    assert 4 * fluorine / (2 * carbon + 4 * fluorine) == pytest.approx(0.76, abs=0.001)
    assert "three quarters" in find("ptfe").reason


def test_reasons_that_chemistry_denies_are_not_repeated() -> None:
    # Polycarbonate (C16H14O3) holds no chlorine; several of the policies read say it does
    assert "chlor" not in find("polycarbonate").reason
    # viscose, rayon and acetate hold no nitrogen, acetal no fluorine: not in the table with those reasons
    assert all(find(key) is None for key in ("viscose", "rayon", "acetate", "pom"))
