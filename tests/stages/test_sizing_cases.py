"""What `enclosure.case` makes of the search, on the demo's body."""

from dataclasses import replace
from pathlib import Path

import pytest

from kerfwave.acoustics.air import air
from kerfwave.engine.errors import StageError
from kerfwave.spec import load
from kerfwave.stages import sizing

DEMO = Path(__file__).parents[2] / "specs" / "listening-post.yaml"


def silent(fraction, text):
    """Nobody listens."""


def sized(case, **target):
    spec = load(DEMO).spec
    return sizing.run(
        spec.driver,
        replace(spec.target, **target),
        replace(spec.enclosure, case=case, guide_least_mm=None, least_duct_mm=16.0),
        spec.stock.measured_mm,
        spec.drive.volts,
        spec.listening.space,
        progress=silent,
    )


def test_a_vented_box_has_a_short_duct_and_a_quarter_wave_line_a_long_one():
    wave_mm = 1e3 * air().speed / 70.0
    vented, line = sized("vented"), sized("quarter-wave")
    assert vented.designs and line.designs
    assert vented.least_guide_mm == 0.0
    assert all(d.fold.length_mm <= wave_mm / 8 for d in vented.designs)
    assert line.least_guide_mm == pytest.approx(0.8 * wave_mm / 4, abs=0.1)
    if line.long_enough:
        assert all(d.fold.length_mm >= line.least_guide_mm for d in line.designs)
    areas = [d.fold.chamber_area_mm2 for d in line.designs]
    assert max(areas) <= 1.25 * min(areas) * (1 + 1e-9) or len(areas) == 1
    assert max(areas) < min(d.fold.chamber_area_mm2 for d in vented.designs)


def test_a_vent_that_cannot_be_short_enough_is_said():
    with pytest.raises(StageError, match=r"the shortest duct that folds into this plan is .* an eighth of the wave"):
        sized("vented", relief_from_hz=900.0, relief_to_hz=1000.0)
