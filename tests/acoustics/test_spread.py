from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from kerfwave.acoustics import builds
from kerfwave.acoustics.air import air
from kerfwave.acoustics.builds import (
    CLIMATES,
    SOURCES,
    Sizes,
    Tolerances,
    _drivers,
    normal_draws,
    sheet_deviation_mm,
    solve_all,
)
from kerfwave.acoustics.network import response
from kerfwave.acoustics.spread import _figure, spread
from kerfwave.model.acoustic import Mouth, Network, Segment
from kerfwave.model.spec import Target

TARGET = Target(100, 700, 70.0, 14.0, 70.0, relief_to_hz=160.0, relief_least_db=-5.0)
SIZES = Sizes(0.07, 0.006, 35e-6)
NOTHING = Tolerances(0, 0, 0, 0, 0, 0, (20.0, 20.0), 0)
F = tuple(float(f) for f in np.geomspace(20, 2000, 40))


@pytest.fixture(scope="module")
def bodies(driver):
    guide = (
        Segment("filled", 0.3, 14e-4, 14e-4, 0.18, 0.18, 0.0, 2000.0),
        Segment("open", 0.6, 14e-4, 12e-4, 0.18, 0.175, -40.0),
    )
    return Network(driver, 0.8e-3, 1000.0, guide, Mouth(12e-4, "flanged")), Network(driver, 2.0e-3)


def built(bodies, tolerances, **more):
    return spread(
        *bodies, SIZES, tolerances, TARGET, excursion_limit_mm=3.0, frequency_hz=F, volts=2.0, distance_m=2.0,
        space="half", **more,
    )  # fmt: skip


def test_with_no_tolerance_every_build_is_the_design(bodies):
    found = built(bodies, NOTHING)
    plain = response(bodies[0], F, air(), 2.0, 2.0, "half")
    closed = response(bodies[1], F, air(), 2.0, 2.0, "half")
    for band, wanted in (
        (found.level_db, plain.spl_db),
        (found.excursion_peak_mm, plain.excursion_peak_mm),
        (found.impedance_ohm, plain.impedance_ohm),
        (found.relief_db, 20 * np.log10(np.array(closed.excursion_peak_mm) / plain.excursion_peak_mm)),
    ):
        for line in (band.low, band.middle, band.high):
            assert line == pytest.approx(tuple(wanted), rel=1e-6)
    assert found.kept in (0.0, 1.0)
    assert all(figure.shares == () for figure in found.figures)


def test_it_comes_out_the_same_every_time(bodies):
    assert built(bodies, Tolerances()) == built(bodies, Tolerances())


def test_more_tolerance_spreads_further(bodies):
    tight, loose = built(bodies, Tolerances(5, 7, 5, 1)), built(bodies, Tolerances(20, 30, 20, 6))

    def width(found):
        return np.array(found.level_db.high) - np.array(found.level_db.low)

    assert (width(loose) > width(tight)).all()
    assert (np.array(loose.level_db.low) <= loose.level_db.middle).all()


@pytest.mark.parametrize(
    ("changed", "source"),
    [
        ({"qes_percent": 10.0}, {"Qes"}),
        ({"re_percent": 3.0}, {"Re"}),
        ({"sheet_mm": 0.2}, {"sheet thickness"}),
        ({"kerf_mm": 0.2}, {"kerf"}),
        ({"fibre_percent": 30.0}, {"fibre"}),
        ({"temperature_c": (10.0, 30.0)}, {"temperature"}),
        ({"fs_percent": 10.0}, {"moving mass"}),
        ({"fs_percent": 10.0, "vas_percent": 20.0}, {"compliance"}),
    ],
)
def test_what_varies_alone_is_named_alone(bodies, changed, source):
    """With fs at 10 % and Vas at 20 % the compliance says it all: fs goes as its root."""
    level = next(f for f in built(bodies, replace(NOTHING, **changed)).figures if f.name == "level")
    assert {name for name, share in level.shares if share > 0.02} == source
    assert sum(share for _, share in level.shares) > 0.9


def test_fs_and_vas_come_out_as_stated(driver):
    """Two standard deviations are the tolerance, though mass and compliance are what is drawn."""
    z = normal_draws(4000, len(SOURCES))
    columns = {name: values[:, np.newaxis] for name, values in zip(SOURCES, z.T, strict=True)}
    made = _drivers(driver, Tolerances(), columns)
    assert 2 * np.std(np.log(made.fs_hz)) == pytest.approx(0.10, rel=0.03)
    assert 2 * np.std(np.log(made.vas_m3)) == pytest.approx(0.15, rel=0.02)
    assert 2 * np.std(np.log(made.qes)) == pytest.approx(0.10, rel=0.02)
    omega = 2 * np.pi * made.fs_hz
    assert omega == pytest.approx(1 / np.sqrt(made.mms_kg * made.cms_m_n))
    assert omega * made.mms_kg * made.re_ohm / made.bl_tm**2 == pytest.approx(made.qes)
    held = _drivers(driver, Tolerances(fs_percent=4.0), columns)
    assert 2 * np.std(np.log(held.fs_hz)) == pytest.approx(0.04, rel=0.03)


def test_the_draws_meet_every_part_once():
    z = normal_draws(200, 8)
    assert z.shape == (200, 8)
    assert 200 % CLIMATES == 0
    assert np.sort(z, axis=0) == pytest.approx(np.tile(np.sort(z[:, :1], axis=0), 8))
    assert z.mean(axis=0) == pytest.approx(0, abs=1e-12)
    assert np.abs(np.corrcoef(z.T) - np.eye(8)).max() < 0.2
    assert z[:3, 0] == pytest.approx(normal_draws(200, 8)[:3, 0])


def test_a_warm_room_moves_the_tuning_with_the_speed_of_sound(bodies):
    found = built(bodies, replace(NOTHING, temperature_c=(0.0, 40.0)))
    tuning = next(f for f in found.figures if f.name == "tuning")
    speeds = [air(t).speed for t in (2.5, 37.5)]  # the middles of the lowest and the highest eighth
    assert tuning.high / tuning.low == pytest.approx(speeds[1] / speeds[0], rel=0.02)


def test_a_sheets_deviation():
    assert sheet_deviation_mm((6.27, 6.31, 6.30, 6.33), 6.5) == pytest.approx(0.025, abs=1e-3)
    assert sheet_deviation_mm((6.3, 6.3), 6.5) == 0.02
    assert sheet_deviation_mm((6.3,), 6.5) == pytest.approx((0.6 + 0.39) / 5)


def test_more_fibre_is_more_of_it_everywhere(bodies):
    """A build two deviations off has 30 % more of it, on a logarithmic scale, in the guide and in the chamber."""
    z = np.zeros((2, len(SOURCES)))
    z[:, SOURCES.index("fibre")] = 2.0, -2.0
    alone = replace(NOTHING, fibre_percent=30.0)
    found, _ = solve_all(*bodies, SIZES, alone, z, np.array(F), 2.0, "half")
    for row, packed in zip(found.level_db, (np.exp(0.3), np.exp(-0.3)), strict=True):
        chamber = bodies[0].chamber_flow_resistivity_pa_s_m2 * packed
        guide = tuple(replace(s, flow_resistivity_pa_s_m2=s.flow_resistivity_pa_s_m2 * packed) for s in bodies[0].guide)
        wanted = replace(bodies[0], chamber_flow_resistivity_pa_s_m2=chamber, guide=guide)
        assert row == pytest.approx(response(wanted, F, air(), 2.0, 1.0, "half").spl_db, abs=1e-6)


def test_builds_stand_in_the_middles_of_equal_parts_of_the_temperatures(bodies, monkeypatch):
    met = []

    def noted(*temperature_c):
        met.extend(temperature_c)
        return air(*temperature_c)

    monkeypatch.setattr(builds, "air_at", noted)
    solve_all(
        *bodies, SIZES, replace(NOTHING, temperature_c=(0.0, 40.0)), normal_draws(8, len(SOURCES)), np.array(F), 2.0,
        "half",
    )  # fmt: skip
    assert met == pytest.approx([2.5, 7.5, 12.5, 17.5, 22.5, 27.5, 32.5, 37.5])


def test_a_figure_by_hand():
    """Of 0 to 100 one in ten lies below 10 and one in ten above 90; a promise is kept where nothing is missing."""
    values = np.arange(101.0)
    figure = _figure("any", "dB", values, np.array([0.0, 0.0, 0.5, 2.0]), normal_draws(101, len(SOURCES)))
    assert (figure.low, figure.middle, figure.high, figure.kept) == (10.0, 50.0, 90.0, 0.5)


def test_tolerances_are_those_of_the_docs():
    text = (Path(__file__).parents[2] / "docs/physics.md").read_text("utf-8")
    t = Tolerances()
    driver = ", ".join(f"{v:g}" for v in (t.fs_percent, t.vas_percent, t.qes_percent, t.re_percent))
    assert f"| {driver} %, or the driver's" in text
    assert f"| fibre | {t.fibre_percent:g} % of flow resistivity |" in text
