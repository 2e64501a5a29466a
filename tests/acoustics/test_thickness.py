"""What thickness does to the tuning, against bodies that are built from thicker sheets."""

from __future__ import annotations

from dataclasses import replace

import pytest

import bodies
from kerfwave.acoustics import sizing, targets
from kerfwave.acoustics.air import air
from kerfwave.acoustics.builds import Sizes
from kerfwave.acoustics.driver import complete
from kerfwave.acoustics.network import responses
from kerfwave.acoustics.thickness import PER_OCTAVE, cases, stretched
from kerfwave.body import measure
from kerfwave.model.acoustic import Network
from kerfwave.model.spec import Target

TARGET = Target(80, 700, 60, 40, 70)
STRETCH = 1.03
DRIVER = complete(bodies.DRIVER, air())


def built(thickness: float) -> tuple[Network, Network, float]:
    """Return network, closed box and inner height of 15 layers of one fold."""
    plan = bodies.trapezoid(186, 156, 212)
    body, cut, *_, counts = bodies.made(plan, thickness=thickness, height=15.01 * thickness, wall_mm=11.0)
    volumes = measure.measured(body, cut, bodies.DRIVER)
    candidate = sizing.Candidate(
        0, counts.total, volumes.chamber_m3, volumes.closed_m3, volumes.guide, volumes.chamber, volumes.outside
    )
    setting = sizing.Setting("half", 20.0, 70.0)
    network = sizing.network(candidate, DRIVER, air(), sizing.Fill(), setting)
    return network, sizing.closed_box(candidate, DRIVER, air(), setting), counts.inner_mm


def test_a_stretched_network_is_that_of_a_body_from_thicker_sheets():
    network, closed, height = built(6.3)
    thick, thick_closed, taller = built(6.3 * STRETCH)
    assert taller == pytest.approx(STRETCH * height, abs=0.02)
    sizes = Sizes(height * 1e-3, 6.3e-3, bodies.DRIVER.displacement_cm3 * 1e-6)
    here, box = stretched(network, sizes, STRETCH), stretched(closed, sizes, STRETCH)
    assert here.chamber_m3 == pytest.approx(thick.chamber_m3, rel=5e-3)
    assert box.chamber_m3 == pytest.approx(thick_closed.chamber_m3, rel=5e-3)
    assert [s.area_in_m2 for s in here.guide] == pytest.approx([s.area_in_m2 for s in thick.guide], rel=2e-3)
    assert [s.perimeter_in_m for s in here.guide] == pytest.approx([s.perimeter_in_m for s in thick.guide], rel=2e-3)
    assert here.chamber_duct.perimeter_m == pytest.approx(thick.chamber_duct.perimeter_m, rel=2e-3)
    assert here.chamber_duct.perimeter_m > 1.005 * network.chamber_duct.perimeter_m
    f = (50.0, 60.0, 70.0, 85.0, 100.0, 150.0, 200.0, 300.0)
    both = responses((here, thick, network), f, air(), 2.0, 1.0, "half")
    assert both.spl_db[0] == pytest.approx(both.spl_db[1], abs=0.05)
    assert both.excursion_peak_mm[0] == pytest.approx(both.excursion_peak_mm[1], rel=5e-3)
    # The difference that is told is one that can be told from the design.
    assert abs(both.spl_db[1] - both.spl_db[2]).max() > 0.05


def test_cases_are_held_against_the_first():
    network, closed, height = built(6.3)
    sizes = Sizes(height * 1e-3, 6.3e-3, bodies.DRIVER.displacement_cm3 * 1e-6)
    named = (("as measured", 1.0), ("thinnest", 0.97), ("thickest", 1.03))
    own, thin, thick = cases(network, closed, sizes, named, TARGET, air(), volts=2.0, space="half")
    assert (own.response_db, own.excursion_percent, own.chamber_m3) == (0.0, 0.0, network.chamber_m3)
    assert thin.chamber_m3 < own.chamber_m3 < thick.chamber_m3
    # Near the design a little thinner does the opposite of a little thicker.
    assert thin.response_db == pytest.approx(-thick.response_db, rel=0.15)
    assert thin.excursion_percent == pytest.approx(-thick.excursion_percent, rel=0.15)
    assert thin.tuning_hz != thick.tuning_hz
    (box,) = cases(closed, closed, sizes, named[:1], TARGET, air(), volts=2.0, space="half")
    assert box.tuning_hz is None
    # The figures are the design's own, at a metre; of a range that ends below the tuning, the end holds the cone best.
    band = tuple(f for f in targets.target_grid(TARGET, PER_OCTAVE) if 80.0 <= f <= 700.0)
    plain = responses((network,), band, air(), 2.0, 1.0, "half")
    assert own.level_db == pytest.approx(plain.spl_db[0].mean(), abs=0.3)  # points lie closer in part of it
    low = replace(TARGET, relief_from_hz=40.0, relief_to_hz=0.8 * own.tuning_hz)
    (cut_off,) = cases(network, closed, sizes, named[:1], low, air(), volts=2.0, space="half")
    assert cut_off.tuning_hz == pytest.approx(0.8 * own.tuning_hz)


def test_a_driver_that_leaves_no_air_is_refused():
    network, _, height = built(6.3)
    whole = network.chamber_m3
    with pytest.raises(ValueError, match="leave no air in the chamber"):
        stretched(network, Sizes(height * 1e-3, 6.3e-3, 20 * whole), 0.9)
